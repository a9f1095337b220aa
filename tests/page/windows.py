"""A browser window on the page, which notes every fault and every request to elsewhere."""

from __future__ import annotations

import contextlib
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from served import Served

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
FLAGS = [
    *("--no-sandbox", "--disable-quic", "--no-first-run", "--disable-background-networking"),
    *("--disable-component-update", "--disable-sync", "--use-gl=angle", "--use-angle=swiftshader"),
    "--enable-unsafe-swiftshader",
]
AXE = Path(__file__).parents[2] / "web" / "node_modules" / "axe-core" / "axe.min.js"
EXPECTED = ("GPU stall", "swiftshader", "Failed to load resource")
"""Words of messages that aren't faults of the page; refusals of the server that a test provokes are asserted there."""


class Window:
    """One window with its own cookies."""

    def __init__(self, browser: Any, served: Served, width: int, dark: bool) -> None:
        theme = "dark" if dark else "light"
        self.context = browser.new_context(
            viewport={"width": width, "height": 900}, color_scheme=theme, reduced_motion="reduce"
        )
        self.context.set_default_navigation_timeout(120_000)
        self.page = self.context.new_page()
        self.faults: list[str] = []
        self.page.on("console", self._console)
        self.page.on("pageerror", lambda error: self.faults.append(str(error)))
        self.page.on("request", lambda request: self._request(request.url, served.address))
        self.page.on("dialog", lambda dialog: dialog.accept())
        self.address = served.address
        self.page.goto(f"{served.address}#key={served.key}")
        self.page.wait_for_selector("h1")

    def _console(self, message: Any) -> None:
        if message.type in ("error", "warning") and not any(word in message.text for word in EXPECTED):
            self.faults.append(message.text)

    def _request(self, url: str, own: str) -> None:
        if not url.startswith((own, "data:", f"blob:{own}")):
            self.faults.append(f"asks elsewhere: {url}")

    def go(self, place: str, until: str = "h1") -> Any:
        """Open a place of the page and wait for what shows that it is there."""
        self.page.evaluate("place => { location.hash = place }", place)
        self.page.wait_for_selector(until)
        return self.page


@contextlib.contextmanager
def window(browser: Any, served: Served, width: int = 1280, dark: bool = False) -> Iterator[Window]:
    """A window that must have had no fault when it is closed."""
    made = Window(browser, served, width, dark)
    try:
        yield made
    finally:
        made.context.close()
    assert made.faults == []


def until(page: Any, what: str, seconds: float = 60.0) -> None:
    """Wait until a JavaScript expression holds; the page's own policy forbids the driver to evaluate it inside."""
    for _ in range(int(seconds * 10)):
        if page.evaluate(what):
            return
        page.wait_for_timeout(100)
    raise AssertionError(f"never came true: {what}")


def serious(page: Any) -> list[str]:
    """What axe calls serious or critical on the page as it stands."""
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    return [
        f"{v['id']}: {v['help']}: {n['html'][:160]} {n.get('failureSummary', '')[:300]}"
        for v in found["violations"]
        if v["impact"] in ("serious", "critical")
        for n in v["nodes"][:3]
    ]
