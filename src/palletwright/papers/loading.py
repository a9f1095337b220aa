"""The load sheet: one page a side, as the operator sees it, in numbered order."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from palletwright.flow.sets import FALLBACK
from palletwright.papers.facts import Facts, side_angle
from palletwright.papers.live import Live
from palletwright.papers.setup import cautions, head
from palletwright.papers.typeset import Block, Sheet, new_page, picture, room, steps, words
from palletwright.papers.views import side_view

WIDE = 1.6
"""A side more than so many times wider than high is printed across the sheet."""

BASES = {"motion-time elements": "basis_elements", "measured": "basis_measured", FALLBACK: "basis_default"}
"""Keys of what a plan's loading times may rest on."""

FEELER = 0.05
"""mm: gap under a part that is looked for: common practice, no source."""

ROW = 10.0
"""mm: stations whose places differ by less than this across the side are one row of loading."""


def load_sheet(
    facts: Facts, cycle: int, paper: str, live: Live | str, wrong: Mapping[int, Sequence[str]] | None = None
) -> Sheet:
    """One cycle's load sheet. `wrong`: by operation, lines about ways to load it wrongly."""
    w = facts.words
    sides = facts.way["scene"]["cycles"][cycle]["sides"]
    landscape = any(_stretch(side) > WIDE for side in sides)
    wide, high = room(paper, landscape)
    blocks: list[Block] = []
    pictures: dict[str, str] = {}
    for k, side in enumerate(sides):
        if k:
            blocks.append(new_page())
        name = f"side{k + 1}"
        pictures[name] = side_view(side, loading_order(side), wide, (0.5 if landscape else 0.46) * high)
        blocks += [words(_title(facts, cycle, side), "big"), picture(name), words(w.say("load_legend"), "small")]
        blocks.append(steps(_steps(facts, side, live, wrong or {})))
        blocks.append(words(" ".join([w.say("load_empty"), _minutes(facts), _heavy(facts)])))
    return Sheet(
        w.say("load_title"),
        head(facts, cycle),
        facts.identity,
        w.say("page"),
        cautions(facts),
        tuple(blocks),
        pictures,
        landscape,
    )


def _stretch(side: dict[str, Any]) -> float:
    """How many times wider than high a side's free area is."""
    wide, high = np.ptp(np.concatenate([np.asarray(r) for r in side["area"]]), axis=0)
    return float(wide / high)


def loading_order(side: dict[str, Any]) -> dict[str, int]:
    """Each part's turn in loading: as the plan worked it out past the parts already in; where it didn't, rows from far
    to near, each from left to right (common practice, no source).
    """
    known = side.get("loading")
    if known:
        return {name: i + 1 for i, name in enumerate(known["order"])}
    stations = sorted(side["stations"], key=lambda s: -s["y"])
    rows: list[list[dict[str, Any]]] = []
    for s in stations:
        if rows and rows[-1][0]["y"] - s["y"] < ROW:
            rows[-1].append(s)
        else:
            rows.append([s])
    names = [name for row in rows for s in sorted(row, key=lambda s: s["x"]) for name in s["parts"]]
    return {name: i + 1 for i, name in enumerate(names)}


def _title(facts: Facts, cycle: int, side: dict[str, Any]) -> str:
    names = {n for s in side["stations"] for n in s["parts"]}
    fact = next(s for s in facts.stations(cycle) if s.name in names)
    mount = facts.mounts(cycle)[fact.mount]
    angle = side_angle(fact, mount)
    if not mount.rotary or angle is None:
        return facts.words.say("load_plate", side=side["side"])
    return facts.words.say("load_side", side=side["side"], angle=facts.words.number(angle))


def _steps(facts: Facts, side: dict[str, Any], live: Live | str, wrong: Mapping[int, Sequence[str]]) -> list[str]:
    w = facts.words
    here = sorted({s["operation"] for s in side["stations"]})
    known = side.get("loading")
    rows = [w.say("load_wipe"), w.say("load_order" if not known else "load_order_known")]
    tight = [s["name"] for s in known["steps"] if not s["easy"]] if known else []
    if tight:
        rows.append(w.say("load_tight", stations=", ".join(tight)))
    if side.get("chips", {}).get("pockets"):
        rows.append(w.say("load_chips", n=len(side["chips"]["pockets"])))
    for operation in here:
        names = [n for s in side["stations"] if s["operation"] == operation for n in s["parts"]]
        rows.append(_source(facts, operation, _listed(names)))
    rows.append(w.say("load_push", feeler=w.length(FEELER, 2), unit=w.length_unit))
    rows += [text for operation in here for text in wrong.get(operation, ())]
    rows += [_tighten(facts, operation, live) for operation in here]
    rows += [_goes_to(facts, operation) for operation in here]
    trace = facts.data["job"].get("trace", "none")
    if trace != "none":
        rows.append(w.say(f"trace_{trace}"))
    return rows


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{names[0]} … {names[-1]}, {len(names)} ×"


def _source(facts: Facts, operation: int, stations: str) -> str:
    """Which tray the parts of an operation come from, and whether they are turned over."""
    w, order = facts.words, list(facts.design.operations)
    k = next(i for i, o in enumerate(order) if o.clamping == operation)
    if k == 0:
        size = " × ".join(w.length(v, 1) for v in facts.data["part"]["blank_mm"]) + f" {w.length_unit}"
        return w.say("load_blank", op=order[k].number, stations=stations, size=size)
    lean = float(np.degrees(np.arccos(np.clip(np.dot(order[k].up, order[k - 1].up), -1.0, 1.0))))
    key = "load_moved" if lean < 1 else "load_turned" if lean > 179 else "load_tipped"
    return w.say(key, op=order[k].number, before=order[k - 1].number, stations=stations, degrees=w.number(lean))


def _tighten(facts: Facts, operation: int, live: Live | str) -> str:
    """The devices of an operation's grip with screw and torque from the shop."""
    w = facts.words
    number = next(o.number for o in facts.design.operations if o.clamping == operation)
    if isinstance(live, str):
        return w.say("load_torque_unknown", op=number)
    known = {c.id: c for c in facts.shop.clamps}
    vises = {c.id: c for c in facts.shop.carriers}
    texts = []
    used = Counter(d.catalogue for d in live.options[operation].grip.devices if d.kind == "clamp")
    for name, n in sorted(used.items()):
        if name in known:
            clamp = known[name]
            if clamp.pressure is not None:
                texts.append(f"{n} × {name} ({w.number(clamp.pressure, 2)} bar)")
                continue
            texts.append(w.say("load_device", n=n, clamp=name, screw=clamp.screw, torque=w.number(clamp.torque, 1)))
        elif name in vises:
            texts.append(w.say("load_jaw", n=n, clamp=name, force=w.number((vises[name].jaw_force or 0) / 1000, 1)))
        else:
            texts.append(f"{n} × {name}")
    return w.say("load_tighten", op=number, devices=", ".join(texts))


def _goes_to(facts: Facts, operation: int) -> str:
    w, order = facts.words, list(facts.design.operations)
    k = next(i for i, o in enumerate(order) if o.clamping == operation)
    where = w.say("load_next", op=order[k + 1].number) if k + 1 < len(order) else w.say("load_done")
    return w.say("load_off", op=order[k].number, where=where)


def _minutes(facts: Facts) -> str:
    timing = facts.way["timing"]
    minutes = facts.words.number(timing["load_seconds"] / 60, 0)
    told = [BASES.get(text) for text in timing["load_basis"].split("; ")]
    basis = ", ".join(facts.words.say(key) for key in told if key) if all(told) else timing["load_basis"]
    return facts.words.say("load_minutes", minutes=minutes, basis=basis)


def _heavy(facts: Facts) -> str:
    return facts.words.say("load_heavy", kg=facts.words.number(facts.shop.floors.lift_kg, 0))
