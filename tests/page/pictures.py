"""Pictures of the page for the docs, in both themes and at three widths: `python tests/page/pictures.py PLAN.json`.

Views may be named after the plan; without names all are taken.

They are written to docs/pictures/page, with few colours so that they stay small; look at each before keeping it.
"""

from __future__ import annotations

import io
import json
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from served import serving
from windows import CHROMIUM, FLAGS, window

HERE = Path(__file__).parents[2]
OUT = HERE / "docs" / "pictures" / "page"
WIDTHS = {1280: 900, 1600: 1000, 820: 1180}
"""Width and height of the window in CSS pixels: a laptop, a desk, a tablet upright."""


def changing(page: Any) -> None:
    """The way opened for changes, a station picked and locked."""
    page.click("text=Change this way")
    page.wait_for_selector(".desk", timeout=180_000)
    page.locator(".side .station").first.click()
    page.get_by_role("button", name="Lock", exact=True).click()
    page.wait_for_selector("text=what I locked (1)")
    page.locator("#h-change").evaluate("e => scrollTo(0, e.getBoundingClientRect().top + scrollY - 12)")


def otherwise(page: Any) -> None:
    """The form for clamps, sides, margins and tools."""
    changing(page)
    page.click(".otherwise summary")
    page.wait_for_selector(".otherwise form", timeout=60_000)


def loading(page: Any) -> None:
    """Some stations ticked."""
    for k in range(3):
        page.locator(".tickbox:not(.on)").nth(k).click()
    page.wait_for_timeout(300)


def nothing(page: Any) -> None:
    """As it opens."""


VIEWS: dict[str, tuple[str, Callable[[Any], None]]] = {
    "start": ("#/", nothing),
    "job": ("#/job/{job}", nothing),
    "part": ("#/plan/{plan}/part/0", nothing),
    "ways": ("#/plan/{plan}/ways/0", nothing),
    "way": ("#/plan/{plan}/why/0", nothing),
    "change": ("#/plan/{plan}/why/0", changing),
    "otherwise": ("#/plan/{plan}/why/0", otherwise),
    "more": ("#/plan/{plan}/more/0", nothing),
    "needs": ("#/plan/{plan}/start/0", nothing),
    "load": ("#/machine/{plan}/0/load", loading),
}


def kept(png: bytes, file: Path) -> None:
    """A picture with 128 colours."""
    from PIL import Image

    file.parent.mkdir(parents=True, exist_ok=True)
    Image.open(io.BytesIO(png)).convert("RGB").quantize(128).save(file, optimize=True)


def main() -> None:
    from playwright.sync_api import sync_playwright

    data = json.loads(Path(sys.argv[1]).read_text(encoding="utf-8"))
    wanted = {name: view for name, view in VIEWS.items() if name in sys.argv[2:]} or VIEWS
    with tempfile.TemporaryDirectory() as folder, serving(Path(folder) / "jobs.sqlite") as server:
        job, plan = server.planned(data)
        with sync_playwright() as play:
            browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
            for dark in (False, True):
                for width, height in WIDTHS.items():
                    with window(browser, server, width, dark) as w:
                        w.page.set_viewport_size({"width": width, "height": height})
                        for name, (place, ready) in wanted.items():
                            w.page.evaluate("location.hash = '#/shop/example'")
                            w.page.wait_for_selector("h1:has-text('shop')")
                            page = w.go(place.format(job=job, plan=plan), "main h1:not(:has-text('shop'))")
                            page.wait_for_timeout(1500)
                            ready(page)
                            page.wait_for_timeout(700)
                            kept(page.screenshot(), OUT / f"{name}-{width}-{'dark' if dark else 'light'}.png")
            browser.close()


if __name__ == "__main__":
    main()
