"""How a hole is cut: which drill, in how many goes, from which end, and what follows it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from palletwright.access.columns import usable_length
from palletwright.access.directions import negated
from palletwright.access.holes import SAME_RADIUS, Bore, Piece
from palletwright.access.model import LeftOver, Route
from palletwright.access.threads import Thread
from palletwright.access.work import Work, cut
from palletwright.cutting import Cut, Stage, hole_seconds, point_length
from palletwright.shop.model import Tool
from palletwright.solid.model import Floats
from palletwright.verdict import Vec

SIZE_MATCH = 0.05
"""mm between a drill's diameter and the hole's."""
BREAK_THROUGH = 0.5
"""mm that a drill's full diameter comes out at the far side (common practice, no source)."""
OVERLAP = 1.0
"""mm by which two drillings from both ends overlap (common practice, no source)."""
MEETING = (0.5, 0.48, 0.52, 0.45, 0.55, 0.4, 0.6, 0.3, 0.7)
"""shares of the depth at which two drillings may meet, the middle first."""
CIRCULAR = 0.85
"""greatest share of a hole's diameter for a mill that goes round in it (common practice, no source)."""

# Depth over diameter: in one go up to, at all up to (practice.md: common practice, no source).
HSS_LIMITS = (4.5, 12.0)
CARBIDE_LIMITS = (5.0, 12.0)
COOLANT_LIMITS = (12.0, 20.0)

Clear = Callable[[Tool, Vec, Vec], bool]
"""clear(tool, tip, direction): whether shank and holder are free of the part with the tip there."""


@dataclass(frozen=True, eq=False)
class End:
    """A hole entered along `direction`; heights count along it. `bottom_open`: the far end isn't solid."""

    hole: Bore
    direction: Vec
    pieces: tuple[Piece, ...]
    bottom_open: bool

    @property
    def core(self) -> Piece:
        straight = [p for p in self.pieces if p.straight]
        return min(straight, key=lambda p: p.radius) if straight else max(self.pieces, key=lambda p: p.radius)

    def at(self, height: float) -> Vec:
        p = np.asarray(self.hole.point) + height * np.asarray(self.direction)
        return (float(p[0]), float(p[1]), float(p[2]))

    def along(self, height: float) -> float:
        """Height in the part frame's own dot product with the direction."""
        return float(np.asarray(self.at(height)) @ np.asarray(self.direction))

    @property
    def drilled(self) -> tuple[float, float]:
        """From and to (deeper first) of the room with the core's diameter."""
        rows = [p for p in self.pieces if p.straight and abs(p.radius - self.core.radius) < SAME_RADIUS]
        rows = rows or [self.core]
        return min(p.start for p in rows), max(p.end for p in rows)

    @property
    def top(self) -> float:
        return max(p.end for p in self.pieces)


@dataclass(frozen=True, eq=False)
class Answer:
    """The routes of one hole, what stays, and remarks."""

    routes: tuple[Route, ...]
    left_over: tuple[LeftOver, ...]
    notes: tuple[str, ...]


def drill(
    work: Work, feature: str, hole: Bore, volume: float, thread: Thread | None, opens: bool, clear: Clear
) -> Answer:
    """Every way to cut `hole` with the shop's tools. `opens`: its bottom ends in a cavity, not in material."""
    ends = [End(hole, hole.axis, hole.pieces, hole.through or opens)]
    plain = all(abs(p.radius - hole.core.radius) < SAME_RADIUS for p in hole.pieces if p.straight)
    if hole.through:
        turned = tuple(p.turned() for p in reversed(hole.pieces))
        other = End(hole, negated(hole.axis), turned, True)
        if plain and all(p.straight for p in hole.pieces):
            ends.append(other)
    routes: list[Route] = []
    reasons: list[str] = []
    for end in ends:
        found, why = from_one_end(work, feature, end, volume, thread, clear)
        routes += found
        reasons += why
    if hole.through and (not routes or shallow_enough_only_by_pecking(routes)):
        routes += from_both_ends(work, feature, hole, volume, thread, clear)
    if routes:
        return Answer(tuple(routes), (), tuple(dict.fromkeys(reasons)))
    size = f"Ø{2 * hole.core.radius:.2f} mm, {hole.length:.1f} mm deep"
    because = "; ".join(dict.fromkeys(reasons)) or "no tool of the shop"
    would = f"a drill Ø{2 * hole.core.radius:.2f} mm with usable length {hole.length + 2:.0f} mm"
    return Answer((), (LeftOver(feature, volume, f"hole {size}: {because}", would),), ())


def shallow_enough_only_by_pecking(routes: list[Route]) -> bool:
    return all(any("peck" in n or "pilot" in n for c in r.cuts for n in c.notes) for r in routes)


def from_one_end(
    work: Work, feature: str, end: End, volume: float, thread: Thread | None, clear: Clear
) -> tuple[list[Route], list[str]]:
    """The routes along one direction (drilled, and milled where no drill fits), with the reasons against the rest."""
    reasons: list[str] = []
    main, why = core_cuts(work, feature, end, clear)
    reasons += why
    if main is None:
        return [], reasons
    rest, left, notes = step_cuts(work, feature, end, clear)
    cuts = [*main, *rest]
    if thread is not None:
        tapped, remark = tap_cut(work, feature, end, thread, clear)
        cuts += tapped
        notes += remark
    stays = min(left, volume)
    share = 1.0 - stays / volume if volume > 0 else 1.0
    return [Route(end.direction, tuple(cuts), share, stays, notes=tuple(notes))], reasons


def core_cuts(work: Work, feature: str, end: End, clear: Clear) -> tuple[list[Cut] | None, list[str]]:
    """The cuts that make the narrowest straight piece: drill; drill and ream; or mill round."""
    low, high = end.drilled
    diameter, depth = 2 * end.core.radius, high - low
    reasons: list[str] = []
    for tool in sorted(work.tools("drill"), key=lambda t: (abs(t.cutter.DC - diameter), t.stick_out, t.number)):
        if abs(tool.cutter.DC - diameter) <= SIZE_MATCH:
            cuts, why = drilled(work, feature, end, tool, clear)
            if cuts is not None:
                return [*cuts, *flat_bottom(work, feature, end, tool, clear)], reasons
            reasons.append(why)
    for reamer in work.tools("reamer"):
        if abs(reamer.cutter.DC - diameter) <= 0.02 and depth <= reamer.cutter.LU:
            for tool in work.tools("drill"):
                if 0.1 <= diameter - tool.cutter.DC <= 0.1 + 0.05 * diameter:
                    cuts, why = drilled(work, feature, end, tool, clear)
                    if cuts is not None:
                        return [*cuts, axial(work, feature, end, reamer, "ream", low, high)], reasons
    milled = round_cuts(work, feature, end, low, high, diameter, "finish", clear)
    if milled is None:
        reasons.append(
            f"no drill Ø{diameter:.2f} mm and no mill under Ø{CIRCULAR * diameter:.2f} mm reaches {depth:.1f} mm"
        )
        return None, reasons
    for tool in work.tools("drill"):
        if 0.5 * diameter <= tool.cutter.DC <= diameter - 0.3:
            cuts, _ = drilled(work, feature, end, tool, clear)
            if cuts is not None:
                return [*cuts, *milled], reasons
    return milled, reasons


def limits(tool: Tool, work: Work) -> tuple[float, float]:
    """Depth over diameter that the drill makes in one go, and at all."""
    if not tool.cutter.carbide:
        return HSS_LIMITS
    return COOLANT_LIMITS if tool.cutter.coolant_through and work.machine.coolant_through else CARBIDE_LIMITS


def drilled(
    work: Work, feature: str, end: End, tool: Tool, clear: Clear, down_to: float | None = None
) -> tuple[list[Cut] | None, str]:
    """Drill the core from this end, to `down_to` where both ends share it; None with the reason where it can't."""
    cutter = tool.cutter
    low, high = end.drilled
    pointed = any(not p.straight and min(p.r_start, p.r_end) < 1e-3 and p.end <= low + 0.1 for p in end.pieces)
    point = point_length(cutter.DC, cutter.SIG or 118.0)
    if down_to is not None:
        tip = down_to
    elif end.bottom_open:
        tip = low - point - BREAK_THROUGH
    else:
        tip = low - point if pointed else low
    depth = high - tip
    one_go, at_all = limits(tool, work)
    ratio = (high - max(low, tip)) / cutter.DC
    name = f"{tool.id} Ø{cutter.DC:g}"
    if depth - 1e-6 > cutter.LU:
        return None, f"{name}: usable length {cutter.LU:g} mm, {depth:.1f} mm needed"
    if ratio > at_all + 1e-6:
        return None, f"{name}: {ratio:.1f} diameters deep, {at_all:g} at most"
    if not clear(tool, end.at(tip), end.direction):
        return None, f"{name}: shank or holder would touch the part"
    notes: tuple[str, ...] = ()
    peck = None
    if ratio > one_go:
        through_coolant = one_go >= COOLANT_LIMITS[0]
        notes = (f"pilot hole first: {ratio:.1f} D",) if through_coolant else (f"pecking: {ratio:.1f} D",)
        peck = None if through_coolant else cutter.DC
    conditions, _ = work.rates(tool, "drill", depth)
    seconds = hole_seconds(conditions, depth, "drill", peck=peck)
    if notes and peck is None:
        seconds += hole_seconds(conditions, 1.5 * cutter.DC, "drill")
    made = cut(
        work, feature, tool, "drill", end.direction, [end.at(tip)], end.along(high), seconds, depth=depth, notes=notes
    )
    return [made], ""


def flat_bottom(work: Work, feature: str, end: End, tool: Tool, clear: Clear) -> list[Cut]:
    """The mill that takes the drill's cone out of a flat blind bottom; nothing where the bottom is pointed or open."""
    low, high = end.drilled
    pointed = any(not p.straight and p.end <= low + 0.1 for p in end.pieces)
    if end.bottom_open or pointed:
        return []
    for mill in work.tools("end_mill"):
        fits = 2 * end.core.radius + 0.02 >= mill.cutter.DC and usable_length(mill) >= high - low
        if fits and clear(mill, end.at(low), end.direction):
            spare = max(0.0, end.core.radius - mill.cutter.DC / 2)
            return [circular(work, feature, end, mill, "finish", low, low + 0.3 * tool.cutter.DC, spare)]
    return []


def axial(work: Work, feature: str, end: End, tool: Tool, stage: Stage, low: float, high: float) -> Cut:
    """A cut straight down the axis from `high` to `low`."""
    conditions, _ = work.rates(tool, stage)
    seconds = hole_seconds(conditions, high - low, stage)
    return cut(work, feature, tool, stage, end.direction, [end.at(low)], end.along(high), seconds)


def ring(end: End, height: float, radius: float) -> Floats:
    """Tip positions on a circle about the axis."""
    w = np.asarray(end.direction)
    guide = np.eye(3)[int(np.argmin(np.abs(w)))]
    u = np.cross(guide, w)
    u /= np.linalg.norm(u)
    v = np.cross(w, u)
    n = int(np.clip(np.ceil(2 * np.pi * radius / 2.0), 8, 48)) if radius > 1e-3 else 1
    angles = 2 * np.pi * np.arange(n) / n
    circle = radius * (np.outer(np.cos(angles), u) + np.outer(np.sin(angles), v))
    return np.asarray(np.asarray(end.at(height)) + circle)


def circular(
    work: Work, feature: str, end: End, tool: Tool, stage: Stage, low: float, high: float, offset: float
) -> Cut:
    """A mill going round at `offset` from the axis, from `high` down to `low` in turns."""
    conditions, _ = work.rates(tool, stage)
    turns = math.ceil((high - low) / max(0.5 * conditions.ap, 0.2)) + 1
    length = turns * max(2 * np.pi * offset, 1.0) + 2 * (high - low)
    seconds = 60.0 * length / conditions.feed
    return cut(
        work,
        feature,
        tool,
        stage,
        end.direction,
        ring(end, low, offset),
        end.along(high),
        seconds,
        notes=("milled round in turns",),
    )


def round_cuts(
    work: Work, feature: str, end: End, low: float, high: float, diameter: float, stage: Stage, clear: Clear
) -> list[Cut] | None:
    """A mill that goes round in a straight piece, the largest that fits; None where none does."""
    for mill in work.tools("end_mill"):
        if CIRCULAR * diameter >= mill.cutter.DC and usable_length(mill) >= high - low:
            offset = (diameter - mill.cutter.DC) / 2
            if all(clear(mill, (p[0], p[1], p[2]), end.direction) for p in ring(end, low, offset)[::2]):
                return [circular(work, feature, end, mill, stage, low, high, offset)]
    return None


def step_cuts(work: Work, feature: str, end: End, clear: Clear) -> tuple[list[Cut], float, list[str]]:
    """Counterbores, countersinks and edge breaks of the hole: cuts, mm³ left, remarks."""
    cuts: list[Cut] = []
    left, notes = 0.0, []
    core = end.core.radius
    for p in end.pieces:
        if p.straight and p.radius > core + SAME_RADIUS:
            made = counterbored(work, feature, end, p, clear)
            if made is None:
                left += math.pi * (p.radius**2 - core**2) * (p.end - p.start)
                notes.append(f"counterbore Ø{2 * p.radius:.2f} mm, {p.end - p.start:.1f} mm deep: no tool reaches it")
            else:
                cuts += made
        elif not p.straight and p.r_end > core + SAME_RADIUS and p.r_end > p.r_start:
            sunk = countersunk(work, feature, end, p, clear)
            if sunk is None:
                left += math.pi * (p.r_end**2 - p.r_start**2) / 2 * (p.end - p.start)
                notes.append(f"edge break Ø{2 * p.r_end:.2f} mm at the bench: no chamfering tool reaches it")
            else:
                cuts.append(sunk)
        elif not p.straight and p.r_start > p.r_end + SAME_RADIUS and p.r_end >= core - SAME_RADIUS:
            notes.append(f"edge break Ø{2 * p.r_start:.2f} mm at the far end: from the other side or at the bench")
    return cuts, left, notes


def counterbored(work: Work, feature: str, end: End, p: Piece, clear: Clear) -> list[Cut] | None:
    for tool in work.tools("counterbore", "end_mill"):
        exact = abs(tool.cutter.DC - 2 * p.radius) <= SIZE_MATCH
        if exact and usable_length(tool) >= p.end - p.start and clear(tool, end.at(p.start), end.direction):
            return [axial(work, feature, end, tool, "counterbore", p.start, p.end)]
    return round_cuts(work, feature, end, p.start, p.end, 2 * p.radius, "finish", clear)


def countersunk(work: Work, feature: str, end: End, p: Piece, clear: Clear) -> Cut | None:
    """A chamfering tool down the axis, or round the edge where the hole is wider than the tool."""
    angle = 2 * math.degrees(math.atan2(p.r_end - p.r_start, p.end - p.start))
    for tool in reversed(work.tools("chamfer_mill", "spot_drill")):
        if abs((tool.cutter.SIG or 90.0) - angle) > 4.0:
            continue
        slope = math.tan(math.radians(angle / 2))
        if p.r_end - 1e-6 <= tool.cutter.DC / 2:
            tip = p.end - p.r_end / slope
            if clear(tool, end.at(tip), end.direction):
                return axial(work, feature, end, tool, "countersink", tip, p.end)
        elif tool.cutter.kind == "chamfer_mill":
            offset = p.r_end - 0.4 * tool.cutter.DC
            tip = p.end - 0.4 * tool.cutter.DC / slope
            if clear(tool, end.at(tip), end.direction):
                made = circular(work, feature, end, tool, "chamfer", tip, tip + 0.1, offset)
                return replace(made, entry=end.along(p.end) + 2.0)
    return None


def tap_cut(work: Work, feature: str, end: End, thread: Thread, clear: Clear) -> tuple[list[Cut], list[str]]:
    """The tap for a thread that the job confirms, or the remark that the shop has none."""
    low, high = threaded_room(end, thread)
    depth = high - low
    runout = 0.0 if end.bottom_open or low > end.drilled[0] + 0.1 else 3.0 * thread.pitch
    for tool in work.tools("tap"):
        fits = abs(tool.cutter.DC - thread.diameter) < 0.01 and abs((tool.cutter.TP or 0.0) - thread.pitch) < 0.01
        reaches = depth - runout <= tool.cutter.LU + 1e-6
        if fits and reaches and clear(tool, end.at(low + runout), end.direction):
            return [axial(work, feature, end, tool, "tap", low + runout, high)], []
    return [], [f"thread {thread.name}: no tap of the shop reaches {depth:.1f} mm; cut it elsewhere"]


def threaded_room(end: End, thread: Thread) -> tuple[float, float]:
    """From and to of the straight piece whose diameter is nearest to the thread's core."""
    straight = [p for p in end.pieces if p.straight] or [end.core]
    p = min(
        straight, key=lambda p: round(min(abs(2 * p.radius - thread.tap_drill), abs(2 * p.radius - thread.minor)), 3)
    )
    same = [q for q in straight if abs(q.radius - p.radius) < SAME_RADIUS]
    return min(q.start for q in same), max(q.end for q in same)


def from_both_ends(
    work: Work, feature: str, hole: Bore, volume: float, thread: Thread | None, clear: Clear
) -> list[Route]:
    """One drill from both ends, meeting in the middle with an overlap: a route for each end, or none."""
    first = End(hole, hole.axis, hole.pieces, True)
    second = End(hole, negated(hole.axis), tuple(p.turned() for p in reversed(hole.pieces)), True)
    low, high = first.drilled
    for tool in sorted(work.tools("drill"), key=lambda t: (abs(t.cutter.DC - 2 * hole.core.radius), t.stick_out)):
        if abs(tool.cutter.DC - 2 * hole.core.radius) > SIZE_MATCH:
            continue
        point = point_length(tool.cutter.DC, tool.cutter.SIG or 118.0)
        for share in MEETING:
            meet = low + share * (high - low)
            a, _ = drilled(work, feature, first, tool, clear, down_to=meet - OVERLAP / 2 - point)
            b, _ = drilled(work, feature, second, tool, clear, down_to=-meet - OVERLAP / 2 - point)
            if a is not None and b is not None:
                break
        if a is None or b is None:
            continue
        rest, left, notes = step_cuts(work, feature, first, clear)
        if thread is not None:
            tapped, remark = tap_cut(work, feature, first, thread, clear)
            rest, notes = [*rest, *tapped], [*notes, *remark]
        notes.append(f"drilled from both ends, {OVERLAP:g} mm overlap: a step may stand at the meeting")
        share = 1.0 - min(left, volume) / volume if volume > 0 else 1.0
        stays, back = min(left, volume), negated(hole.axis)
        return [
            Route(hole.axis, (*a, *rest), share, stays, back, tuple(notes)),
            Route(back, tuple(b), share, stays, hole.axis, tuple(notes)),
        ]
    return []
