"""The prove-out sheet: which parts first, what to measure, room for the results and who signs."""

from __future__ import annotations

from typing import Any

import numpy as np

from palletwright.papers.corrections import Proposal
from palletwright.papers.facts import Facts
from palletwright.papers.setup import cautions, head
from palletwright.papers.typeset import Block, Sheet, heading, steps, table, words

NEAR = 0.5
"""mm: a drawing fact belongs to the hole whose axis passes this near to its point (what the job file can be expected
to hit; from memory, unconfirmed)."""


def prove_sheet(facts: Facts, cycle: int) -> Sheet:
    """One cycle's prove-out sheet."""
    w = facts.words
    blocks: list[Block] = [heading(w.say("prove_order")), steps(_stages(facts, cycle))]
    blocks += [heading(w.say("measure")), words(w.say("place_note"), "small", lead=True), _measures(facts)]
    blocks += [heading(w.say("correction")), words(w.say("correction_rule")), _empty(facts), words(w.say("signed"))]
    return Sheet(
        w.say("prove_title"), head(facts, cycle), facts.identity, w.say("page"), cautions(facts), tuple(blocks)
    )


def _stages(facts: Facts, cycle: int) -> list[str]:
    w, stations = facts.words, facts.stations(cycle)
    one: dict[int, str] = {}
    each: dict[tuple[str, str, int], str] = {}
    for s in stations:
        one.setdefault(s.number, s.name)
        each.setdefault((s.mount, s.side, s.number), s.name)
    whole = int(facts.way["cycle"]["cycles"][cycle]["parts"])
    return [
        w.say("prove_one", list=", ".join(one.values())),
        w.say("prove_measure"),
        w.say("prove_side", list=", ".join(each.values())),
        w.say("prove_all"),
        w.say("prove_risk", n=whole),
    ]


def measured(facts: Facts) -> list[tuple[str, str, float | None, int, str]]:
    """Feature, what it is, its size (mm), its operation, its tolerance from the job's drawing facts ("" if none)."""
    rows = []
    found = {f["id"]: f for f in facts.data["access"]["features"]}
    seen = set()
    for operation in facts.way["operations"]:
        for name in operation["features"]:
            feature = found.get(name)
            if feature is None or name in seen:
                continue
            seen.add(name)
            text = _tolerance(facts, feature)
            if text or feature["kind"] == "hole" or feature.get("thread"):
                size = feature.get("diameter_mm")
                rows.append((name, feature.get("thread") or feature["kind"], size, operation["number"], text))
    return rows


def reading_rows(facts: Facts, cycle: int) -> list[tuple[str, int, str]]:
    """Station, tool and feature of every cut of a feature that is measured, for an empty file of readings."""
    wanted = {name for name, *_ in measured(facts)}
    rows = []
    for event in facts.events(cycle):
        if event["what"] == "cut":
            feature = event["note"].split("|")[-1].split("/")[0]
            if feature in wanted:
                rows.append((event["station"], int(event["tool"]), feature))
    return list(dict.fromkeys(rows))


def corrections_sheet(facts: Facts, cycle: int, proposal: Proposal) -> Sheet:
    """What the readings say about stations and tools, to be signed before it is entered."""
    w = facts.words
    rows = [
        [
            w.say("station" if c.kind == "station" else "tool"),
            c.name if c.kind == "station" else f"T{c.name}",
            c.axis.upper(),
            f"{'+' if c.add > 0 else ''}{w.length(c.add, 4)}",
            str(c.readings),
            w.say("corr_yes" if c.separated else "corr_no"),
        ]
        for c in proposal.corrections
    ]
    titles = ["", "", w.say("corr_axis"), w.say("corr_add", unit=w.length_unit), w.say("corr_n"), w.say("corr_sep")]
    blocks: list[Block] = [words(w.say("corr_rule")), table(titles, rows, "llrrrl")]
    if not rows:
        blocks = [words(w.say("corr_none"), "big")]
    if proposal.unexplained:
        blocks.append(heading(w.say("corr_odd")))
        odd = [
            [r.station, f"T{r.tool}", r.feature, r.axis.upper(), w.length(r.deviation, 4), w.length(rest, 4)]
            for r, rest in proposal.unexplained
        ]
        heads = [w.say("station"), w.say("tool"), w.say("feature"), w.say("corr_axis")]
        blocks.append(table([*heads, w.say("corr_read"), w.say("corr_rest")], odd, "lllrrr"))
    blocks.append(words(w.say("signed"), "big"))
    return Sheet(w.say("corr_title"), head(facts, cycle), facts.identity, w.say("page"), cautions(facts), tuple(blocks))


def _tolerance(facts: Facts, feature: dict[str, Any]) -> str:
    """The drawing facts of the job that lie on this feature's axis."""
    if feature.get("axis") is None or feature.get("position_mm") is None:
        return ""
    axis, at = np.asarray(feature["axis"]), np.asarray(feature["position_mm"])
    texts = []
    for fact in facts.data["job"]["facts"]:
        if fact["kind"] == "datum":
            continue
        away = np.asarray(fact["at"]) - at
        if float(np.linalg.norm(away - (away @ axis) * axis)) <= NEAR:
            texts.append(f"{fact['value']}" + (f" ({fact['to']})" if fact.get("to") else ""))
    return ", ".join(texts)


def _measures(facts: Facts) -> Block:
    w = facts.words
    datums = ", ".join(f["value"] for f in facts.data["job"]["facts"] if f["kind"] == "datum")
    unit = w.length_unit
    titles = [w.say("feature"), "", w.say("nominal", unit=unit), w.say("depth", unit=unit), w.say("place", unit=unit)]
    titles += [w.say("op"), w.say("tolerance"), w.say("datum", datums=datums or w.say("not_given"))]
    found = {f["id"]: f for f in facts.data["access"]["features"]}
    rows = []
    for name, kind, size, number, text in measured(facts):
        what = w.say("kind_hole") if kind == "hole" else kind
        nominal = "" if size is None else "Ø " + w.length(size, 2)
        depth, at = found[name].get("depth_mm"), found[name].get("position_mm")
        deep = "" if depth is None else w.length(depth, 1)
        spot = "" if at is None else " / ".join(w.length(v, 2) for v in at)
        rows.append([name, what, nominal, deep, spot, str(number), text or w.say("not_given"), "", "", "", ""])
    return table([*titles, *[w.say("result")] * 3], rows, "llrrlrlllll", ["auto"] * 8 + ["1fr"] * 3)


def _empty(facts: Facts) -> Block:
    w = facts.words
    titles = [w.say("station"), w.say("tool"), "X", "Y", "Z", w.say("gauge", unit=w.length_unit)]
    return table(titles, [["\u00a0"] * 6] * 6, "llllll", ["1fr"] * 6)
