"""Jobs and shops through the server: the files' own checks, all faults at once, changes kept whole or not at all."""

from __future__ import annotations

from served import Served

from palletwright.page import shopfiles
from palletwright.page.shopfiles import edited, example_files, rows, tools_from_csv


def test_the_example_is_ready_to_be_planned(served: Served) -> None:
    job = served.example()
    assert served.client.get(f"/api/jobs/{job}/check").json() == {"ready": True, "faults": []}
    shown = served.client.get(f"/api/jobs/{job}").json()
    assert shown["part"]["size_mm"] == [62.0, 44.0, 28.0]
    glb = served.client.get(f"/api/parts/{shown['part']['id']}.glb").content
    assert glb[:4] == b"glTF"
    assert int.from_bytes(glb[8:12], "little") == len(glb)


def test_an_empty_job_says_everything_that_it_needs_at_once(served: Served) -> None:
    job = served.client.post("/api/jobs", json={}).json()["id"]
    (fault,) = served.client.get(f"/api/jobs/{job}/check").json()["faults"]
    assert fault["key"] == "part"
    example = served.example()
    body = {"revision": 0, "name": "x", "draft": {"machines": ["no such"], "greatest_sets": 9}, "shop": None}
    assert served.client.put(f"/api/jobs/{example}/draft", json=body).status_code == 200
    faults = {f["key"]: f for f in served.client.get(f"/api/jobs/{example}/check").json()["faults"]}
    assert set(faults) == {"material", "per_year", "machines[1]", "greatest_sets"}
    assert "mc-rotary" in faults["machines[1]"]["allowed"]


def test_planning_a_job_that_isn_t_ready_is_refused_with_the_same_faults(served: Served) -> None:
    job = served.client.post("/api/jobs", json={}).json()["id"]
    answer = served.client.post(f"/api/jobs/{job}/run")
    assert answer.status_code == 422
    assert answer.json()["faults"][0]["key"] == "part"


def test_a_job_is_thrown_away_with_its_history(served: Served) -> None:
    job = served.example()
    assert served.client.delete(f"/api/jobs/{job}").status_code == 200
    assert served.client.get(f"/api/jobs/{job}").status_code == 404
    assert job not in [j["id"] for j in served.client.get("/api/start").json()["jobs"]]


def test_the_whole_job_goes_out_as_text_and_comes_back(served: Served) -> None:
    job = served.example()
    before = served.client.get(f"/api/jobs/{job}").json()
    shown = served.client.get(f"/api/jobs/{job}/text").json()
    assert 'value = "12 H7"' in shown["text"]
    same = served.client.put(f"/api/jobs/{job}/text", json=shown).json()
    assert {k: v for k, v in same["draft"].items() if v} == {k: v for k, v in before["draft"].items() if v}
    more = same | {"text": shown["text"] + '\n[[overrides]]\nfeature = "hole-1"\ntool = 4711\n'}
    said = {"revision": more["revision"], "text": more["text"]}
    assert served.client.put(f"/api/jobs/{job}/text", json=said).status_code == 200
    faults = served.client.get(f"/api/jobs/{job}/check").json()["faults"]
    assert [f["key"] for f in faults] == ["overrides[1].tool"]
    assert served.client.put(f"/api/jobs/{job}/text", json=said).status_code == 409
    broken = {"revision": said["revision"] + 1, "text": "name = "}
    answer = served.client.put(f"/api/jobs/{job}/text", json=broken)
    assert answer.status_code == 422
    assert "isn't valid TOML" in answer.text


def own_shop(served: Served) -> dict[str, object]:
    id = served.client.post("/api/shops", json={"name": "mine"}).json()["id"]
    made: dict[str, object] = served.client.get(f"/api/shops/{id}").json()
    return made


def test_a_value_is_changed_in_its_file_and_comments_stay(served: Served) -> None:
    shop = own_shop(served)
    top = "example_shop.toml"
    said = {"revision": 0, "file": top, "loc": ["rates", "operator"], "value": 51.5}
    after = served.client.patch(f"/api/shops/{shop['id']}", json=said).json()
    assert after["data"][top]["rates"]["operator"] == 51.5
    assert after["revision"] == 1
    before_lines, after_lines = example_files()[top].splitlines(), after["files"][top].splitlines()
    assert len(before_lines) == len(after_lines)
    assert sum(a != b for a, b in zip(before_lines, after_lines, strict=True)) == 1


def test_a_value_that_fails_a_check_changes_nothing(served: Served) -> None:
    shop = own_shop(served)
    said = {"revision": 0, "file": "example_shop.toml", "loc": ["carrier", 0, "length"], "value": -3}
    answer = served.client.patch(f"/api/shops/{shop['id']}", json=said)
    assert answer.status_code == 422
    assert answer.json()["faults"][0]["key"] == "carrier[1].length"
    assert served.client.get(f"/api/shops/{shop['id']}").json()["files"] == shop["files"]


def test_a_stale_change_of_a_shop_is_told(served: Served) -> None:
    shop = own_shop(served)
    said = {"revision": 0, "file": "example_shop.toml", "loc": ["rates", "bench"], "value": 40}
    assert served.client.patch(f"/api/shops/{shop['id']}", json=said).status_code == 200
    assert served.client.patch(f"/api/shops/{shop['id']}", json=said).status_code == 409


def test_a_shop_goes_out_as_toml_and_comes_in_again(served: Served) -> None:
    import io
    import zipfile

    blob = served.client.get("/api/shops/example/toml").content
    with zipfile.ZipFile(io.BytesIO(blob)) as pack:
        files = [("file", (name, pack.read(name))) for name in pack.namelist()]
    assert [f[1][0] for f in files] == list(example_files())
    id = served.client.post("/api/shops/toml", files=files).json()["id"]
    assert served.client.get(f"/api/shops/{id}").json()["files"] == example_files()


def test_a_job_is_checked_against_its_own_shop(served: Served) -> None:
    shop = own_shop(served)
    job = served.example()
    body = {"revision": 0, "name": "x", "draft": {"material": "6061", "per_year": 5}, "shop": shop["id"]}
    assert served.client.put(f"/api/jobs/{job}/draft", json=body).status_code == 200
    assert served.client.get(f"/api/jobs/{job}/choices").json()["shop"] == "Trailer fittings, three machining centres"
    answer = served.client.delete(f"/api/shops/{shop['id']}")
    assert answer.status_code == 422
    assert "is used by x" in answer.text


def holder_for(shank: float) -> str:
    for holder in rows(example_files())["example_tools.toml"]["holder"]:
        low, high = holder["bore"]
        if low <= shank <= high:
            return str(holder["id"])
    raise AssertionError("the example shop has no such holder")


def test_tools_come_in_from_a_table() -> None:
    text = f"number;kind;DC;LU;LCF;DMM;OAL;holder;stick_out;ZEFP\n901;end_mill;10;30;22;10;72;{holder_for(10)};33;4\n"
    files = tools_from_csv(example_files(), text)
    shop = shopfiles.checked(files)
    (tool,) = [t for t in shop.tools if t.number == 901]
    assert (tool.cutter.DC, tool.cutter.ZEFP, tool.stick_out) == (10.0, 4, 33.0)
    assert tool.cutter.source == "read from a CSV table"


def test_a_table_s_faults_name_the_row(served: Served) -> None:
    shop = own_shop(served)
    head = "number,kind,DC,LU,LCF,DMM,OAL,holder,stick_out\n"
    row = f"901,end_mill,ten,30,22,10,72,{holder_for(10)},33\n"
    answer = served.client.post(f"/api/shops/{shop['id']}/tools", json={"revision": 0, "csv": head + row})
    assert answer.status_code == 422
    assert answer.json()["faults"][0]["line"] == 2
    assert served.client.post(f"/api/shops/{shop['id']}/tools", json={"revision": 0, "csv": "a,b\n"}).status_code == 422


def test_a_place_that_isn_t_there_can_t_be_set() -> None:
    import pytest

    from palletwright.errors import InputError

    for loc in (["machine", 99, "rate"], ["name", "x"], ["machine", "x", "y"]):
        with pytest.raises(InputError, match="can't be set"):
            edited(example_files(), "example_shop.toml", list(loc), 1)
