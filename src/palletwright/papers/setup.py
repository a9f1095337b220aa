"""The set-up sheet: carriers in the machine, work zeros, tools, what to check first."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from palletwright.papers.facts import Facts, quarter_turn, zero_at
from palletwright.papers.live import Live
from palletwright.papers.tool_pictures import tool_rows
from palletwright.papers.typeset import Block, Sheet, checks, heading, picture, room, side_by_side, table, words
from palletwright.papers.views import machine_view

MOST_PIECES = 99_999
"""Pieces an edge above which no more is said: the edge is changed for other reasons first."""


def cautions(facts: Facts) -> tuple[str, ...]:
    """What stands in the foot of every page that can lead to a cut."""
    return tuple(facts.words.say(f"caution_{k}") for k in ("prove", "builder", "guards", "person"))


def head(facts: Facts, cycle: int | None = None) -> str:
    """Job and machine, and which cycle where there are several."""
    text = f"{facts.data['job']['name']} · {facts.machine.name or facts.machine.id}"
    if cycle is not None and len(facts.cycles) > 1:
        text += " · " + facts.words.say("cycle_of", k=cycle + 1, n=len(facts.cycles))
    return text


def setup_sheet(
    facts: Facts, cycle: int, paper: str, live: Live | str, offsets: Mapping[str, list[str]], programs: list[str]
) -> Sheet:
    """One cycle's set-up sheet. `offsets`: for each dialect the words of each place, in the order of `places_of`."""
    w = facts.words
    wide, high = room(paper)
    pictures = {"above": machine_view(facts, cycle, "above", wide, 0.33 * high)}
    blocks: list[Block] = [words(w.say("view_above"), "small"), picture("above")]
    pictures["front"] = machine_view(facts, cycle, "front", 0.62 * wide, 0.25 * high)
    pictures["right"] = machine_view(facts, cycle, "right", 0.34 * wide, 0.25 * high)
    blocks.append(
        side_by_side(
            [words(w.say("view_front"), "small"), picture("front")],
            [words(w.say("view_right"), "small"), picture("right")],
        )
    )
    blocks += [heading(w.say("carriers")), _carriers(facts, cycle)]
    blocks += [heading(w.say("check_first")), checks(_first_checks(facts, cycle))]
    blocks += [heading(w.say("programs")), words(" · ".join(programs) if programs else _without(facts, live))]
    blocks += [
        heading(w.say("offsets")),
        words(w.say("offsets_note"), "small", lead=True),
        _offsets(facts, cycle, offsets),
    ]
    blocks += [heading(w.say("part_from_zero", unit=w.length_unit)), _parts(facts, cycle)]
    blocks += [heading(w.say("tools")), _tools(facts, cycle, live), words(w.say("tools_note"), "small")]
    known = {t.number: t for t in facts.shop.tools}
    strips = tool_rows([known[n] for n in sorted(facts.tools(cycle))], w, wide)
    blocks.append(words(w.say("tool_pictures", unit=w.length_unit)))
    for k, strip in enumerate(strips):
        pictures[f"tools{k}"] = strip
        blocks.append(picture(f"tools{k}"))
    if isinstance(live, str):
        blocks.append(words(w.say("not_rebuilt", why=live), "small"))
    return Sheet(
        w.say("setup_title"),
        head(facts, cycle),
        facts.identity,
        w.say("page"),
        cautions(facts),
        tuple(blocks),
        pictures,
    )


def places_of(facts: Facts, cycle: int) -> list[tuple[str, float]]:
    """Every station at every angle at which it is cut, stations in order, angles ascending."""
    return [(s.name, a) for s in facts.stations(cycle) for a in s.angles]


def _without(facts: Facts, live: Live | str) -> str:
    return facts.words.say("no_programs", why=live if isinstance(live, str) else "")


def _carriers(facts: Facts, cycle: int) -> Block:
    w, numbers = facts.words, sorted({p.cycle for p in facts.design.placings})
    rows = []
    for p in facts.design.placings:
        if p.cycle != numbers[cycle]:
            continue
        there = sum(len(s.parts) for s in facts.design.stations if s.mount == p.mount)
        if p.kind == "pallet" and facts.machine.rotary is not None:
            at = w.say("on_axis", axis=facts.machine.rotary.word)
        else:
            at = f"{w.length(p.at[0])} / {w.length(p.at[1])}" + (f", {90 * p.turn}°" if p.turn else "")
        rows.append([p.mount, p.carrier, str(p.sides), str(there), at])
    titles = [w.say(k) for k in ("mount", "carrier", "sides", "stations")]
    return table([*titles, w.say("stands_at", unit=w.length_unit)], rows, "llrrl", ["auto"] * 4 + ["1fr"])


def _first_checks(facts: Facts, cycle: int) -> list[str]:
    w, way = facts.words, facts.way
    names = ", ".join(m.carrier for m in facts.mounts(cycle).values())
    clearance, unit = w.length(way["least_clearance_mm"]), w.length_unit
    rows = [
        w.say("check_carrier", carrier=names),
        w.say("check_identity", identity=facts.identity),
        w.say("check_lengths", n=len(facts.tools(cycle))),
    ]
    if any(m.rotary for m in facts.mounts(cycle).values()):
        rows.append(w.say("check_index", clearance=clearance, unit=unit))
    rows.append(w.say("check_clearance", clearance=clearance, unit=unit))
    held = [o for o in way["operations"] if o["holding"]["factor"] is not None]
    if held:
        weak = min(held, key=lambda o: o["holding"]["factor"] / o["holding"]["floor"])
        factor, floor = (w.number(weak["holding"][k], 2) for k in ("factor", "floor"))
        rows.append(w.say("check_holding", factor=factor, floor=floor, op=weak["number"]))
    return rows


def _offsets(facts: Facts, cycle: int, offsets: Mapping[str, list[str]]) -> Block:
    w, mounts = facts.words, facts.mounts(cycle)
    word = facts.machine.rotary.word if facts.machine.rotary else "A"
    unit = w.length_unit
    titles = [w.say("station"), w.say("op"), w.say("side"), w.say("angle", word=word), w.say("turn")]
    titles += [f"{axis} [{unit}]" for axis in "XYZ"] + [w.say("offset", dialect=d) for d in offsets]
    rows: list[list[str]] = []
    for s in facts.stations(cycle):
        for angle in s.angles:
            at = zero_at(s, mounts[s.mount], angle)
            turn = f"{90 * quarter_turn(s, mounts[s.mount], angle)}°"
            row = [s.name, str(s.number), s.side, w.number(angle, 3), turn, *(w.length(v, 3) for v in at)]
            rows.append(row + [named[len(rows)] or w.say("set_in_program") for named in offsets.values()])
    return table(titles, rows, "rrlrrrrr" + "l" * len(offsets))


def _parts(facts: Facts, cycle: int) -> Block:
    """Where each operation's part lies in its station's frame, from the shapes in the plan."""
    w, rows, seen = facts.words, [], set()
    keys = {b["owner"]: b["mesh"] for b in facts.bodies(cycle) if b["kind"] == "part"}
    for s in facts.stations(cycle):
        if (s.number, keys[s.name]) in seen:
            continue
        seen.add((s.number, keys[s.name]))
        low, high = facts.meshes[keys[s.name]].bounds
        spans = [
            w.say("from_to", a=w.length(float(np.round(a, 4))), b=w.length(float(np.round(b, 4))))
            for a, b in zip(low, high, strict=True)
        ]
        rows.append([str(s.number), s.name, *spans])
    return table([w.say("op"), w.say("station"), "X", "Y", "Z"], rows, "rrrrr")


def _tools(facts: Facts, cycle: int, live: Live | str) -> Block:
    w, unit, known = facts.words, facts.words.length_unit, {t.number: t for t in facts.shop.tools}
    keys = (
        "magazine",
        "tool",
        "holder",
        "diameter",
        "gauge",
        "stick_out",
        "speed",
        "feed",
        "uses",
        "pieces_per_edge",
    )
    rows = []
    for number in facts.tools(cycle):
        tool = known[number]
        cuts = [e for e in facts.events(cycle) if e["what"] == "cut" and e["tool"] == number]
        speed, feed = _conditions(facts, live, number)
        rows.append(
            [
                str(number),
                tool.name or tool.cutter.id,
                tool.holder.id,
                w.length(tool.cutter.DC, 2),
                w.length(tool.gauge_length, 1),
                w.length(tool.stick_out, 1),
                speed,
                feed,
                str(len(cuts)),
                pieces_per_edge(facts, live, number),
            ]
        )
    widths = ["auto", "1fr", *["auto"] * 8]
    return table([w.say(k, unit=unit) for k in keys], rows, "rllrrrrrrr", widths)


def pieces_per_edge(facts: Facts, live: Live | str, number: int) -> str:
    """Whole parts that an edge does before the shop's share of its mean life (`edge_use`) is worn off."""
    if isinstance(live, str):
        return facts.words.say("unknown")
    worn = live.wear(number)
    if not worn:
        return facts.words.say("unknown")
    return facts.words.number(min(int(facts.shop.floors.edge_use / worn), MOST_PIECES))


def _conditions(facts: Facts, live: Live | str, number: int) -> tuple[str, str]:
    """Speeds and feeds of one tool's cuts, least to greatest."""
    if isinstance(live, str):
        return facts.words.say("unknown"), facts.words.say("unknown")
    cuts = [c.conditions for o in live.options.values() for c in o.cuts if c.tool == number]
    w = facts.words
    speeds, feeds = sorted({w.number(c.rpm) for c in cuts}, key=len), [c.feed for c in cuts]
    low, high = min(c.rpm for c in cuts), max(c.rpm for c in cuts)
    speed = speeds[0] if len(speeds) == 1 else w.say("from_to", a=w.number(low), b=w.number(high))
    least, most = w.length(min(feeds), 0), w.length(max(feeds), 0)
    return speed, least if least == most else w.say("from_to", a=least, b=most)
