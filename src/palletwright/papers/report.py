"""The plan as one self-contained page, in the order in which the engineer asks.

First a page that stands alone, then: the part, how it runs today, what else is possible, why this one (pictures, time,
margins), what would allow more, and what it needs to start. Nothing is fetched from anywhere.
"""

from __future__ import annotations

from html import escape
from pathlib import Path

from palletwright.papers.drawn_flow import how_it_runs
from palletwright.papers.report_fixture import held, sides, view
from palletwright.papers.report_front import front
from palletwright.papers.report_holding import proofs
from palletwright.papers.report_margins import margins
from palletwright.papers.report_part import part, present
from palletwright.papers.report_start import start
from palletwright.papers.report_time import seconds_of
from palletwright.papers.report_ways import more, turned_down, ways, why
from palletwright.papers.report_words import Data, Html, num, section, shipped

CONTENTS = (
    ("part", "The part"),
    ("present", "Today"),
    ("ways", "What else is possible"),
    ("why", "Why this one"),
    ("sides", "Pictures"),
    ("seconds", "Time"),
    ("floor", "On the floor"),
    ("margins", "Margins"),
    ("more", "What would allow more"),
    ("start", "What it needs to start"),
)


def write_report(data: Data, path: Path) -> None:
    """Write the report whole or not at all."""
    part_file = path.with_name(path.name + ".part")
    path.parent.mkdir(parents=True, exist_ok=True)
    part_file.write_text(report(data), encoding="utf-8")
    part_file.replace(path)


def report(data: Data) -> str:
    """The whole page as text.

    Raises ValueError where the data holds no plan: without one there is nothing to report (`NoPlan` says why).
    """
    if not data["plans"]:
        raise ValueError("a report needs at least one plan")
    best = data["plans"][0]
    body = [
        front(data, best),
        contents(),
        section("part", "What is the part?", part(data)),
        section("present", "How does it run today?", present(data)),
        section("ways", "What else is possible?", ways(data)),
        section("why", "Why this one?", why(data, best), held(best), proofs(best)),
        section("sides", "What does it look like?", sides(data, best), view(data, best)),
        section("seconds", "Where do the seconds go?", seconds_of(data, best)),
        section("floor", "How does it run on the floor, and what sways the money?", how_it_runs(data, best)),
        section("margins", "How close is it?", margins(best)),
        section("more", "What would allow more?", more(data), turned_down(data)),
        section("start", "What does it need to start?", start(data, best)),
    ]
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<meta name="color-scheme" content="light dark"><link rel="icon" href="data:,">'
        f"<title>{escape(data['title'])}</title><style>{shipped('report.css')}</style></head><body><main>"
        + "\n".join(body)
        + f"{foot(data)}</main><script>{shipped('report.js')}</script></body></html>\n"
    )


def contents() -> Html:
    """Links to the questions."""
    links = "".join(f'<a href="#{id}">{escape(word)}</a>' for id, word in CONTENTS)
    return Html(f'<nav aria-label="Contents">{links}</nav>')


def foot(data: Data) -> Html:
    """What made this page."""
    early = ", stopped early" if data["stopped_early"] else ""
    made = ", ".join(f"{name} {version}" for name, version in data["versions"].items())
    text = f"Plan {data['identity']}, seed {data['seed']}, planned in {num(data['seconds'], 1)} s{early}. {made}."
    return Html(f"<footer>{escape(text)}</footer>")
