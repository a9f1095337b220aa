"""Examples in the docs run; the tables of keys are whole; links lead somewhere."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from palletwright import job, shop
from palletwright.shop import example_shop, read_shop

DOCS = Path(__file__).parents[2] / "docs"


def blocks(page: str, language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", (DOCS / page).read_text(encoding="utf-8"), re.DOTALL)


def test_the_shop_of_the_docs_is_read(tmp_path: Path) -> None:
    (whole,) = [text for text in blocks("file-formats.md", "toml") if "[[machine]]" in text]
    file = tmp_path / "shop.toml"
    file.write_text(whole, encoding="utf-8")
    read = read_shop(file)
    assert read.machines[0].spindle_power == pytest.approx(8.95, abs=0.01)
    assert {x.source for x in (*read.machines, *read.clamps, *read.carriers)} == {"measured here"}


def test_the_jobs_of_the_docs_are_read(tmp_path: Path) -> None:
    texts = [text for text in blocks("file-formats.md", "toml") if "per_year" in text]
    assert len(texts) == 2
    (tmp_path / "bracket.step").write_text("ISO-10303-21;\n")
    for text in texts:
        (tmp_path / "job.toml").write_text(text, encoding="utf-8")
        assert job.read_job(tmp_path / "job.toml", example_shop()).material == "6061-T6"


@pytest.mark.parametrize("page", sorted(p.name for p in DOCS.glob("*.md")))
def test_python_in_the_docs_runs(page: str) -> None:
    for text in blocks(page, "python"):
        exec(compile(text, page, "exec"), {})


def keys(schema: dict[str, Any]) -> Iterator[tuple[str, str]]:
    for table in (schema, *schema.get("$defs", {}).values()):
        yield from ((table.get("title", ""), key) for key in table.get("properties", {}))


@pytest.mark.parametrize("schema", [shop.schema(), job.schema()], ids=["shop", "job"])
def test_every_key_of_a_file_is_in_the_docs(schema: dict[str, Any]) -> None:
    told = set(re.findall(r"`(\w+)`", (DOCS / "file-formats.md").read_text(encoding="utf-8")))
    small = {"Travel", "Cylinder"}
    assert [pair for pair in keys(schema) if pair[0] not in small and pair[1] not in told] == []


def test_links_inside_the_docs_lead_somewhere() -> None:
    for page in DOCS.rglob("*.md"):
        for link in re.findall(r"\]\(([^)#:]+)(?:#[^)]*)?\)", page.read_text(encoding="utf-8")):
            assert (page.parent / link).exists(), f"{page.name}: {link}"
