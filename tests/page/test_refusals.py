"""Who may not talk to the page's server, and what it doesn't take: each refusal with its reason, never a crash."""

from __future__ import annotations

import io
import socket
import zipfile
from collections.abc import Iterator

import httpx
import pytest
from served import Served

from palletwright.demo import demo_job
from palletwright.errors import InputError
from palletwright.page import archive, parts, shopfiles
from palletwright.page.app import static_folder


def said(answer: httpx.Response) -> str:
    return " ".join(f["problem"] + " " + f.get("key", "") for f in answer.json()["faults"])


class TestWho:
    def test_only_this_machine_is_listened_to(self, served: Served) -> None:
        with pytest.raises(OSError), socket.create_connection(("127.0.0.2", served.port), timeout=1):
            pass

    @pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example:{port}", "127.0.0.1:1", "0.0.0.0:{port}"])
    def test_a_foreign_host_is_refused(self, served: Served, host: str) -> None:
        answer = served.client.get("/api/start", headers={"host": host.format(port=served.port)})
        assert answer.status_code == 421
        assert "isn't this page's" in said(answer)

    @pytest.mark.parametrize("origin", ["https://evil.example", "null", "http://127.0.0.1:1"])
    def test_a_foreign_origin_is_refused(self, served: Served, origin: str) -> None:
        answer = served.client.post("/api/jobs", json={}, headers={"origin": origin})
        assert answer.status_code == 403

    def test_its_own_origin_passes(self, served: Served) -> None:
        answer = served.client.post("/api/jobs", json={}, headers={"origin": served.address.rstrip("/")})
        assert answer.status_code == 200

    def test_another_page_of_the_same_browser_is_refused(self, served: Served) -> None:
        assert served.client.get("/api/start", headers={"sec-fetch-site": "cross-site"}).status_code == 403

    def test_nothing_is_read_or_written_without_the_key(self, served: Served) -> None:
        bare = httpx.Client(base_url=served.address)
        assert bare.get("/api/start").status_code == 401
        assert bare.post("/api/jobs", json={}).status_code == 401
        assert bare.post("/api/jobs", json={}, headers={"x-palletwright-key": "guess"}).status_code == 401
        assert bare.get("/api/openapi.json").status_code == 401
        bare.close()

    def test_the_cookie_reads_and_never_writes(self, served: Served) -> None:
        with httpx.Client(base_url=served.address) as browser:
            entered = browser.post("/api/enter", json={"key": served.key})
            assert "HttpOnly" in entered.headers["set-cookie"]
            assert "samesite=strict" in entered.headers["set-cookie"].lower()
            assert browser.get("/api/start").status_code == 200
            assert browser.post("/api/jobs", json={}).status_code == 401
            assert browser.post("/api/enter", json={"key": "guess"}).status_code == 401

    def test_every_answer_forbids_to_go_anywhere_else(self, served: Served) -> None:
        for path in ("/", "/api/start", "/api/nothing", "/nothing"):
            policy = served.client.get(path).headers["content-security-policy"]
            assert "default-src 'none'" in policy
            assert "unsafe" not in policy
            assert "http" not in policy

    def test_methods_that_aren_t_used_are_refused(self, served: Served) -> None:
        assert served.client.request("TRACE", "/api/start").status_code == 405
        assert served.client.options("/api/start").status_code == 405


class TestFilesOfThePage:
    @pytest.mark.parametrize(
        "path", ["/..%2f..%2fapp.py", "/%2e%2e/%2e%2e/store.py", "/assets/%00", "//etc/passwd", "/../app.py"]
    )
    def test_nothing_but_the_built_page_is_handed_out(self, served: Served, path: str) -> None:
        answer = served.client.get(path)
        assert answer.status_code in (404, 200)
        assert "palletwright.page" not in answer.text
        assert "root:" not in answer.text

    def test_the_built_page_names_no_other_place(self) -> None:
        text = (static_folder() / "index.html").read_text()
        assert "://" not in text.replace("http://www.w3.org", "")


class TestSizes:
    def test_a_body_that_says_it_is_too_long(self, served: Served) -> None:
        head = f"POST /api/jobs HTTP/1.1\r\nhost: 127.0.0.1:{served.port}\r\nx-palletwright-key: {served.key}\r\n"
        with socket.create_connection(("127.0.0.1", served.port), timeout=10) as line:
            line.sendall((head + "content-length: 99999999999\r\n\r\n").encode())
            assert b" 413 " in line.recv(200)

    def test_a_body_that_turns_out_too_long(self, served: Served) -> None:
        def endless() -> Iterator[bytes]:
            for _ in range(60):
                yield b" " * 100_000

        try:
            answer = served.client.post("/api/jobs", content=endless(), headers={"content-type": "application/json"})
        except httpx.WriteError:
            return  # the server hung up in the middle: refused as well
        assert answer.status_code in (400, 413)

    @pytest.mark.parametrize("value", ["NaN", "Infinity", "1e999", '"\\ud800"', "[" * 100_000])
    def test_what_json_can_t_say_is_never_kept(self, served: Served, value: str) -> None:
        job = served.client.post("/api/jobs", json={}).json()["id"]
        body = f'{{"revision": 0, "name": "x", "draft": {{"pain": {value}}}}}'
        answer = served.client.put(f"/api/jobs/{job}/draft", content=body, headers={"content-type": "application/json"})
        assert answer.status_code in (400, 422)
        assert served.client.get(f"/api/jobs/{job}").json()["revision"] == 0

    def test_the_server_still_answers(self, served: Served) -> None:
        assert served.client.get("/api/health").json()["up"] is True


STEP = demo_job("hinge_yoke").with_suffix(".step").read_bytes()


class TestUploads:
    def sent(self, served: Served, name: str, data: bytes) -> httpx.Response:
        job = served.client.post("/api/jobs", json={}).json()["id"]
        return served.client.post(f"/api/jobs/{job}/part", files={"file": (name, data)})

    @pytest.mark.parametrize("name", ["part.exe", "part", "../../.step", ".stp", "a" * 300])
    def test_a_name_that_isn_t_a_step_file_s(self, served: Served, name: str) -> None:
        answer = self.sent(served, name, STEP)
        assert answer.status_code == 422
        assert "named as a STEP file" in said(answer)

    @pytest.mark.parametrize(
        ("name", "kept"),
        [
            ("../../../etc/x.step", "x.step"),
            ("C:\\temp\\y.stp", "y.stp"),
            ("<img src=x>.step", "_img src_x_.step"),
            ("a\nb.step", "a_b.step"),
        ],
    )
    def test_a_hostile_name_becomes_harmless(self, name: str, kept: str) -> None:
        assert parts.harmless(name) == kept

    @pytest.mark.parametrize(
        ("data", "words"),
        [
            (b"", "empty"),
            (b"MZ\x90\x00" * 50, "isn't a STEP file"),
            (STEP[: len(STEP) // 2], "cut short"),
            (b"ISO-10303-21;\nHEADER;ENDSEC;DATA;\n" + b"#1=(" * 5000 + b"\nENDSEC;\nEND-ISO-10303-21;\n", ""),
        ],
        ids=["empty", "other", "half", "brackets"],
    )
    def test_a_file_that_is_no_part(self, served: Served, data: bytes, words: str) -> None:
        answer = self.sent(served, "part.step", data)
        assert answer.status_code == 422
        assert words in said(answer)
        assert "/tmp" not in answer.text

    def test_reading_ends_at_its_time(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(parts, "WAIT", 0.05)
        with pytest.raises(InputError, match="took longer than"):
            parts.read_part("part.step", STEP)

    def test_reading_ends_at_its_memory(self) -> None:
        limited = parts.Child("starved")
        kind, answer = limited.pipe.recv() if limited.pipe.poll(60) else ("silent", None)
        limited.end()
        assert kind == "faults", answer


def zipped(files: dict[str, bytes], level: int = zipfile.ZIP_DEFLATED) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", level) as pack:
        for name, data in files.items():
            pack.writestr(name, data)
    return out.getvalue()


TOP = b'{"format": 1, "name": "x", "draft": {}, "plans": %s}'


class TestArchives:
    def sent(self, served: Served, blob: bytes) -> httpx.Response:
        return served.client.post("/api/archives", files={"file": ("a.zip", blob)})

    @pytest.mark.parametrize(
        ("blob", "words"),
        [
            (b"not a zip", "can't be unpacked"),
            (zipped({"x": b"y"}), "isn't a job of palletwright"),
            (zipped({"job.json": b"{}"}), "isn't a job of palletwright"),
            (zipped({"job.json": b"[1]"}), "isn't a job of palletwright"),
            (zipped({"job.json": b'{"format": 9}'}), "format 9"),
            (zipped({"../job.json": b"{}"}), "forbidden name"),
            (zipped({"/etc/passwd": b"{}"}), "forbidden name"),
            (zipped({f"{k}": b"" for k in range(400)}), "unpack to more than"),
            (zipped({"job.json": TOP % b"[{}]", "plans/0.json": b"[]"}), "unexpected"),
            (zipped({"job.json": TOP % b"[]", "shop.json": b'{"../a": "b"}'}), "file name"),
        ],
    )  # fmt: skip
    def test_what_isn_t_a_job_is_refused(self, served: Served, blob: bytes, words: str) -> None:
        answer = self.sent(served, blob)
        assert answer.status_code == 422
        assert words in said(answer) + answer.text

    def test_a_small_file_that_unpacks_to_a_huge_one(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(archive, "GREATEST", 1_000_000)
        with pytest.raises(InputError, match="unpack"):
            archive._files(zipped({"job.json": b"0" * 3_000_000}))

    def test_a_directory_that_lies_about_sizes(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(archive, "GREATEST", 1_000_000)
        blob = bytearray(zipped({"job.json": b"0" * 3_000_000}))
        for mark, at in ((b"PK\x01\x02", 24), (b"PK\x03\x04", 22)):
            place = blob.find(mark) + at
            blob[place : place + 4] = (10).to_bytes(4, "little")
        with pytest.raises(InputError):
            archive._files(bytes(blob))


class TestShops:
    @pytest.mark.parametrize("name", ["../x.toml", "/etc/x.toml", "x.txt", "a\\b.toml"])
    def test_a_file_name_that_leads_elsewhere(self, served: Served, name: str) -> None:
        answer = served.client.post("/api/shops", json={"files": {name: ""}})
        assert answer.status_code == 422

    @pytest.mark.parametrize("wanted", ["/etc/passwd", "../../secret.toml", "other.toml"])
    def test_a_file_that_isn_t_the_shop_s_is_never_read(self, served: Served, wanted: str) -> None:
        answer = served.client.post("/api/shops", json={"files": {"shop.toml": f'include = ["{wanted}"]'}})
        assert answer.status_code == 422
        assert "isn't among the shop's files" in said(answer)

    def test_faults_name_the_file_as_the_person_knows_it(self) -> None:
        files = shopfiles.example_files()
        top = next(iter(files))
        with pytest.raises(InputError) as caught:
            shopfiles.checked(shopfiles.edited(files, top, ["rates", "operator"], -5))
        (fault,) = caught.value.faults
        assert (fault.file, fault.key, fault.value) == (top, "rates.operator", "-5")
        assert fault.line is not None
