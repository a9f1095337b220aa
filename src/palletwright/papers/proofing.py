"""The mistake-proofing sheet: wrong ways of every operation, pins against them, turned carriers and sides."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from palletwright.papers.blocking import Blocked, interchanged, mount_turns, named, proofed
from palletwright.papers.facts import Facts
from palletwright.papers.live import Live
from palletwright.papers.mistakes import mirrored
from palletwright.papers.setup import head
from palletwright.papers.typeset import Block, Sheet, checks, heading, table, words
from palletwright.plan.kept import Held
from palletwright.plan.options import moved_cut
from palletwright.shop.model import Tool
from palletwright.solid import Mesh

UNDER = 2.0
"""mm that a pin stays below any tool: the least clearance of common practice, no source."""


def wrong_of(facts: Facts, live: Live | str) -> dict[int, Blocked]:
    """By operation what can be put in wrongly, and pins against it; empty where the grips aren't known."""
    if isinstance(live, str):
        return {}
    shapes = {s.operation: _shape(facts, s.parts[0]) for s in reversed(facts.design.stations)}
    tools = {t.number: t for t in facts.shop.tools}
    return {o: _wrong(facts, live.options[o], o, shapes, tools) for o in shapes}


def _shape(facts: Facts, station: str) -> Mesh:
    body = next(b for c in facts.cycles for b in facts.bodies(c) if b["owner"] == station and b["kind"] == "part")
    return facts.meshes[body["mesh"]]


def _wrong(
    facts: Facts, option: Held, operation: int, shapes: Mapping[int, Mesh], tools: Mapping[int, Tool]
) -> Blocked:
    w = facts.words
    strokes = {c.id: c.stroke for c in facts.shop.clamps}
    grip = option.grip
    travel = {d.id: strokes[d.catalogue] for d in grip.devices if d.catalogue in strokes}
    part = shapes[operation]
    numbers = {o.clamping: o.number for o in facts.design.operations}
    others = {w.say("wrong_mirrored"): mirrored(part)}
    others |= {w.say("wrong_state", op=numbers[o]): shape for o, shape in shapes.items() if o != operation}
    ceiling, busy = below_tools(option, tools)
    return proofed(part, grip.contacts, grip.devices, travel, others, ceiling, busy)


def below_tools(option: Held, tools: Mapping[int, Tool]) -> tuple[float, list[tuple[float, float, float]]]:
    """mm over the side below which no tool passes, and (x, y, radius) of tools from above that come lower.

    Never above the true room: a tool across the side counts with its broadest cylinder wherever it is.
    """
    lows: list[float] = []
    busy: list[tuple[float, float, float]] = []
    for cut in option.cuts:
        tips, direction, _ = moved_cut(option.grip.poses[0], cut)
        stack = tools[cut.tool].stack()
        if direction[2] > 1 - 1e-6:
            lows.append(float(tips[:, 2].min()))
            spots = np.unique(tips[:, :2].round(1), axis=0)
            if float(tips[:, 2].min()) < 0.0 and len(spots) < 50:
                busy += [(float(x), float(y), stack[0][0]) for x, y in spots]
                lows.pop()
        else:
            lows.append(float(tips[:, 2].min()) - max(r for r, _, _ in stack))
    return max(0.0, min(lows, default=50.0) - UNDER), busy


def wrong_lines(facts: Facts, found: Mapping[int, Blocked]) -> dict[int, list[str]]:
    """For the load sheet: a line an operation that names wrong ways which no pin can keep out yet.

    Proposed pins aren't in the carrier until somebody puts them in, so their ways stand there as well.
    """
    numbers = {o.clamping: o.number for o in facts.design.operations}
    rows: dict[int, list[str]] = {}
    for operation, blocked in found.items():
        ways = ", ".join(dict.fromkeys(named(x) for x in blocked.found))
        rows[operation] = [facts.words.say("load_wrong", op=numbers[operation], ways=ways)] if ways else []
    return rows


def proofing_sheet(facts: Facts, cycle: int, found: Mapping[int, Blocked]) -> Sheet:
    """One cycle's mistake-proofing."""
    w, unit = facts.words, facts.words.length_unit
    numbers = {o.clamping: o.number for o in facts.design.operations}
    here = list(dict.fromkeys(s.operation for s in facts.stations(cycle)))
    blocks: list[Block] = [words(w.say("proof_tried"))]
    for operation in here:
        blocks.append(heading(w.say("proof_op", op=numbers[operation])))
        if operation not in found:
            blocks.append(words(w.say("proof_unknown")))
            continue
        blocked = found[operation]
        left = {named(x) for x in blocked.left}
        ways = list(dict.fromkeys(named(x) for x in blocked.found))
        if not ways:
            blocks.append(words(w.say("proof_none")))
            continue
        moved = set(blocked.moved.blocks) if blocked.moved else set()
        keys = {x: "proof_mark" if x in left else "proof_offset" if x in moved else "proof_pin" for x in ways}
        rows = [[x, w.say(key)] for x, key in keys.items()]
        blocks.append(table([w.say("proof_way"), w.say("proof_against")], rows, "ll", ["1fr", "1fr"]))
        pins = [
            [f"Ø{w.length(6.0, 1)}", w.length(p.x, 2), w.length(p.y, 2), w.length(p.height, 1), str(len(p.blocks))]
            for p in blocked.pins
        ]
        if pins:
            titles = [w.say("proof_pin_head"), f"x [{unit}]", f"y [{unit}]", w.say("proof_height", unit=unit)]
            blocks.append(table([*titles, w.say("proof_keeps")], pins, "lrrrr"))
            blocks.append(words(w.say("proof_pin_note"), "small"))
        if blocked.moved:
            by = f"{w.length(blocked.moved.x, 1)} / {w.length(blocked.moved.y, 1)}"
            blocks.append(words(w.say("proof_moved", device=blocked.moved.device, by=by, unit=unit)))
    blocks += [heading(w.say("proof_carriers")), checks(_carriers(facts, cycle))]
    return Sheet(w.say("proof_title"), head(facts, cycle), facts.identity, w.say("page"), (), tuple(blocks))


def _carriers(facts: Facts, cycle: int) -> list[str]:
    """Whether a carrier goes onto its mount turned or onto another's, and what keeps a side from a wrong angle."""
    w = facts.words
    rows = []
    known = {c.id: c for c in facts.shop.carriers}
    mounts = facts.mounts(cycle)
    placings = [p for p in facts.design.placings if p.mount in mounts and p.kind != "vise"]
    for p in placings:
        angles, by = mount_turns(known[p.carrier], p.sides)
        if not by:
            rows.append(w.say("proof_mount_unknown", carrier=p.carrier))
        elif angles:
            text = ", ".join(f"{w.number(a, 0 if a == round(a) else 2)}°" for a in angles)
            rows.append(w.say("proof_mount_turns", carrier=p.carrier, angles=text))
        else:
            rows.append(w.say("proof_mount_safe", carrier=p.carrier))
        if p.kind == "pallet" and p.sides > 1:
            rows.append(w.say("proof_side", carrier=p.carrier, n=p.sides))
    for a, b in interchanged([known[p.carrier] for p in placings]):
        rows.append(w.say("proof_swapped", a=a, b=b))
    return rows
