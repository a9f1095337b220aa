"""The report in a real browser: no errors, no sideways scrolling, the picture drawn with and without WebGL."""

from __future__ import annotations

import importlib.util
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from palletwright.papers.report import write_report

sync_api = pytest.importorskip("playwright.sync_api")
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
FLAGS = ["--no-sandbox", "--no-first-run", "--disable-background-networking", "--use-gl=angle",
         "--use-angle=swiftshader", "--enable-unsafe-swiftshader"]  # fmt: skip
pytestmark = [pytest.mark.slow, pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")]
NO_WEBGL = """const get = HTMLCanvasElement.prototype.getContext;
HTMLCanvasElement.prototype.getContext = function (kind, ...rest) {
  return kind.startsWith("webgl") ? null : get.call(this, kind, ...rest); };"""


def plan_data() -> dict[str, Any]:
    """The small plan of the report's own tests."""
    file = Path(__file__).parents[1] / "papers" / "test_report.py"
    spec = importlib.util.spec_from_file_location("small_plan", file)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return dict(module.plan_data())


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with sync_api.sync_playwright() as play:
        opened = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield opened
        opened.close()


def opened_page(browser: Any, folder: Path, width: int, before: str = "") -> tuple[Any, list[str]]:
    file = folder / "report.html"
    write_report(plan_data(), file)
    page = browser.new_page(viewport={"width": width, "height": 900})
    said: list[str] = []
    page.on("console", lambda m: said.append(m.text) if m.type in ("error", "warning") else None)
    page.on("pageerror", lambda e: said.append(str(e)))
    page.on("request", lambda r: said.append(r.url) if not r.url.startswith(("file:", "data:")) else None)
    if before:
        page.add_init_script(before)
    page.goto(file.as_uri())
    page.wait_for_timeout(400)
    return page, [s for s in said if "swiftshader" not in s.lower() and "GPU stall" not in s]


@pytest.mark.parametrize("width", [1280, 800])
def test_it_loads_clean_and_fits(browser: Any, tmp_path: Path, width: int) -> None:
    page, said = opened_page(browser, tmp_path, width)
    assert said == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.close()


@pytest.mark.parametrize("before", ["", NO_WEBGL], ids=["webgl", "without"])
def test_the_keys_turn_the_picture(browser: Any, tmp_path: Path, before: str) -> None:
    page, said = opened_page(browser, tmp_path, 1280, before)
    assert page.locator(".nogl").is_hidden() == (before == "")
    canvas = page.locator("#scene canvas")
    canvas.focus()
    first = canvas.evaluate("c => c.toDataURL()")
    for _ in range(4):
        page.keyboard.press("ArrowLeft")
    page.wait_for_timeout(200)
    turned = canvas.evaluate("c => c.toDataURL()")
    page.keyboard.press("0")
    page.wait_for_timeout(200)
    assert turned != first
    assert canvas.evaluate("c => c.toDataURL()") == first
    assert said == []
    page.close()
