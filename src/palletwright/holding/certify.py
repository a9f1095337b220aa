"""One grip under all its cuts: the worst load, the factor against its floor, what gives first, what would help."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from palletwright.cutting.model import Load
from palletwright.grip.model import Grip
from palletwright.holding.advice import Prices, Question, advise, greatest_share, least_share
from palletwright.holding.contacts import STANDARD_GRAVITY, Array, Contacts, contacts_of, location, wrench
from palletwright.holding.devices import device_margins, short_by, windows
from palletwright.holding.elastic import PRESSED, PRESSED_BY_FRICTION, elastic_factor, respond, rest
from palletwright.holding.friction import LeastPreload, friction_factors, least_preload
from palletwright.holding.loads import Loads, StationCut, loads_of, undominated
from palletwright.holding.model import HoldingReport
from palletwright.holding.moves import Motion, moving_margin
from palletwright.holding.told import by_state, by_twist
from palletwright.holding.worst import failing, lower_bounds, worst_factor
from palletwright.shop.model import Clamp, Floors
from palletwright.verdict import Margin, Reason, Vec

PRELOAD_DROP = 0.3  # common practice, no source
# More on raw stock: surfaces and sizes vary (common practice, no source).
RAW = 1.2
_ELASTIC_ABOVE = 1.6
_LEAST_ROUNDS = 6
_BALANCED = 1e-6


@dataclass(frozen=True, eq=False)
class _Finding:
    """The worst of one gravity direction."""

    friction: float
    elastic: float
    row: int
    gives: str
    bound: float
    twist: Array
    reactions: Array
    elastic_is_least: bool

    @property
    def factor(self) -> float:
        return min(self.friction, self.elastic)


def floor_of(grip: Grip, floors: Floors) -> float:
    """The factor that the grip must reach: by its regime, and more where friction holds raw stock."""
    if grip.regime == "stop":
        return floors.holding
    return floors.holding_friction * (RAW if any(c.raw for c in grip.contacts) else 1.0)


def pressed_share(grip: Grip) -> float:
    """Share of the greatest preload from which a locator counts as pressed, by the grip's regime."""
    return PRESSED_BY_FRICTION if grip.regime == "friction" else PRESSED


def certify(
    grip: Grip,
    cuts: Sequence[StationCut | tuple[str, Array, Vec, Load]],
    *,
    mass_kg: float,
    floors: Floors,
    centre: Vec | None = None,
    gravity_directions: Sequence[Vec] = (),
    preload_drop: float = PRELOAD_DROP,
    clamps: Sequence[Clamp] = (),
    yield_strength: float | None = None,
    advice: bool = True,
    least: bool = True,
    motions: Sequence[Motion] = (),
    details: bool = False,
    prices: Prices | None = None,
) -> HoldingReport:
    """Holding report of a grip under its cuts, all in the station frame.

    Parameters
    ----------
    cuts : (name, tips (n, 3) mm, direction to the spindle, load) each
    mass_kg, centre : of the part as clamped; the weight acts at the contacts' middle unless `centre` (mm) is given
    gravity_directions : further directions of gravity (index angles) in which the clamped part must stay put. During
        a cut gravity points against the cut's direction: the spindle is vertical.
    preload_drop : fraction by which every preload may be short; a clamp driven by pressure has its own
    clamps : the shop's clamps, for screws and marks; contacts name theirs through the grip's devices
    yield_strength : N/mm² of the part, for marks
    advice, least : also look for the cheapest change where the floor is missed (`prices` tell which is), and for the
        least preloads; a search over many grips leaves both out
    motions : what the part feels between cuts (`moves.motions`)
    details : also what to set at each clamp, and how far the part moves at the tool

    Notes
    -----
    Regime 'stop': no friction at clamps. Regime 'friction': all contacts, at the low value. Loads stand at the upper
    end of their spread.
    """
    if not cuts:
        raise ValueError("certify needs at least one cut")
    a = _task(grip, cuts, floors, centre, preload_drop, clamps, yield_strength)
    best, gravity = _worst_way(grip, a.contacts, a.cuts, a.loads, a.middle, mass_kg)
    loose = _loose(a.contacts, a.middle, mass_kg, gravity_directions)
    moving = moving_margin(a.contacts, a.middle, mass_kg, motions, a.floor)
    pressures = device_margins(grip, a.base, best.reactions, clamps, yield_strength)
    report = _report(grip, a.contacts, a.loads, best, a.floor, loose, [*([moving] if moving else []), *pressures])
    if least:
        report = _with_least(report, a.contacts, a.loads.wrenches, gravity, a.kept)
    return _completed(report, a, _question(a, best.row, gravity, report), advice, details, prices)


@dataclass(frozen=True, eq=False)
class _Task:
    """What is certified: `base` holds the contacts at their full preloads, `kept` (m,) the share that is sure."""

    grip: Grip
    base: Contacts
    kept: Array
    contacts: Contacts
    floor: float
    middle: Array
    cuts: Sequence[StationCut]
    loads: Loads
    clamps: Sequence[Clamp]
    yield_strength: float | None


def _task(
    grip: Grip,
    cuts: Sequence[StationCut | tuple[str, Array, Vec, Load]],
    floors: Floors,
    centre: Vec | None,
    preload_drop: float,
    clamps: Sequence[Clamp],
    yield_strength: float | None,
) -> _Task:
    base = contacts_of(grip.contacts, clamp_friction=grip.regime == "friction")
    kept = short_by(grip, base, clamps, preload_drop)
    middle = np.array(centre) if centre is not None else (base.at.min(axis=0) + base.at.max(axis=0)) / 2.0
    left = undominated(cuts)  # what is covered can't be the worst
    floor = floor_of(grip, floors)
    return _Task(grip, base, kept, base.scaled(kept), floor, middle, left, loads_of(left), clamps, yield_strength)


def _completed(
    report: HoldingReport, a: _Task, asked: Question, advice: bool, details: bool, prices: Prices | None
) -> HoldingReport:
    """The report with advice where its floor is missed, and with details where they are asked for."""
    if advice and asked.factor < a.floor:
        report = replace(report, reasons=(*report.reasons, *advise(a.contacts, asked, prices)))
    if not details:
        return report
    share = least_share(a.contacts, asked)
    set_to = windows(a.grip, a.base, share, a.clamps, a.yield_strength) if share is not None else ()
    return replace(report, windows=set_to, at_tool=_at_tool(a.contacts, a.loads, asked.gravity))


def _question(a: _Task, row: int, gravity: Array, report: HoldingReport) -> Question:
    """What advice and windows are asked about: all loads, the worst of which is `row`."""
    cut, device = a.cuts[a.loads.cut[row]], {c.id: c.device for c in a.grip.contacts}
    return Question(
        a.loads.wrenches,
        gravity,
        report.floor,
        report.holding_factor or 0.0,
        cut.name,
        _aside(a.loads.force[row], down_of(cut.direction)),
        *greatest_share(a.base, a.clamps, a.grip, a.yield_strength),
        a.grip.regime == "friction",
        tuple(device[i] for i in a.contacts.ids[a.contacts.locators :]),
        pressed_share(a.grip),
    )


def _report(
    grip: Grip, contacts: Contacts, loads: Loads, best: _Finding, floor: float, loose: str, more: Sequence[Margin]
) -> HoldingReport:
    """The report of what was found, without least preloads, advice and details."""
    rank, condition = location(contacts)
    factor = 0.0 if loose else best.factor
    gives = loose or _first(best, factor, floor, more)
    margin = _margin(loads, best.row, floor, factor, gives)
    return HoldingReport(
        located=rank + len(grip.unlocated) == 6,
        rank=rank,
        condition=condition,
        least_preload=(),
        friction_factor=best.friction,
        elastic_factor=best.elastic,
        holding_factor=factor,
        floor=floor,
        worst_load=margin.obstacle,
        gives_first=gives,
        margins=(margin, *more),
        reasons=_reasons(grip, rank),
        certificate=_certificate(best, len(loads)),
        elastic=_entries(contacts, best),
    )


def _certificate(best: _Finding, loads: int) -> dict[str, object]:
    """What proves the friction verdict: no larger scale of the worst load can be balanced (see `answer`)."""
    return {
        "friction_upper_bound": best.bound,
        "twist": [float(x) for x in best.twist],
        "checked": bool(abs(best.bound - best.friction) <= 1e-4 * max(1.0, best.friction)),
        "least_preload": {},
        "loads": loads,
    }


def _with_least(
    report: HoldingReport, contacts: Contacts, wrenches: Array, gravity: Array, kept: Array
) -> HoldingReport:
    """The report with the least preloads, as they have to be set: what may be short is added."""
    enough = _least(contacts, wrenches, gravity, report.floor)
    each = enough.each / kept[contacts.locators :] if enough.status == "ok" else ()
    return replace(
        report,
        least_preload=tuple(float(p) for p in each),
        certificate=report.certificate | {"least_preload": enough.certificate},
    )


def _at_tool(contacts: Contacts, loads: Loads, gravity: Array) -> dict[str, object]:
    """The greatest motion of the part at the tool (mm) under the cuts as they are, and the load that makes it."""
    state = respond(contacts, rest(contacts, gravity), loads.wrenches, gravity)
    moved = np.linalg.norm(state.twist[:, :3] + np.cross(state.twist[:, 3:], loads.at), axis=1)
    moved[state.residual > _BALANCED] = np.inf
    k = int(np.argmax(moved))
    return {"mm": float(moved[k]) if np.isfinite(moved[k]) else None, "load": loads.name(k)}


def _worst_way(
    grip: Grip, contacts: Contacts, cuts: Sequence[StationCut], loads: Loads, middle: Array, mass: float
) -> tuple[_Finding, Array]:
    """The worst over the gravity directions of the cuts, with that weight (6,); each verdict is the least of all."""
    found: list[tuple[_Finding, Array]] = []
    for down in _gravities(cuts):
        falls = np.array([np.allclose(down_of(cut[2]), down, atol=1e-6) for cut in cuts])
        weight = wrench(middle, mass * STANDARD_GRAVITY * down, np.zeros(3))
        found.append((_find(contacts, loads, np.flatnonzero(falls[loads.cut]), weight, pressed_share(grip)), weight))
    best, weight = min(found, key=lambda f: f[0].factor)
    friction, elastic = min(f.friction for f, _ in found), min(f.elastic for f, _ in found)
    return replace(best, friction=friction, elastic=elastic), weight


def _margin(loads: Loads, row: int, floor: float, factor: float, gives: str) -> Margin:
    """The holding factor against its floor, at the tool position of the worst load."""
    x, y, z = (float(v) for v in loads.at[row])
    note = f"first gives: {gives}"
    return Margin("holding", "part", loads.name(row), floor, factor, "factor", (x, y, z), "station", note=note)


def _aside(force: Array, down: Array) -> Array:
    """The force (3,) square to the tool: no stop can stand in the tool's way."""
    return np.round(force - (force @ down) * down, 6)


def down_of(direction: Vec) -> Array:
    """(3,) unit vector of gravity while a cut is made: against its direction, since the spindle is vertical."""
    return -np.asarray(direction, dtype=float) / float(np.linalg.norm(direction))


def _gravities(cuts: Sequence[StationCut | tuple[str, Array, Vec, Load]]) -> list[Array]:
    found: list[Array] = []
    for cut in cuts:
        down = down_of(cut[2])
        if not any(np.allclose(down, other, atol=1e-6) for other in found):
            found.append(down)
    return found


def _find(contacts: Contacts, loads: Loads, rows: np.ndarray, gravity: Array, share: float) -> _Finding:
    wrenches = loads.wrenches[rows]
    worst = worst_factor(contacts, wrenches, gravity)
    at_rest = rest(contacts, gravity, share)
    # Past the friction factor the elastic one decides nothing: the search ends a little above it.
    stop = max(2.0, _ELASTIC_ABOVE * min(worst.factor, 20.0))
    order = np.concatenate([[worst.row], worst.order[worst.order != worst.row]])
    elastic, row = elastic_factor(contacts, at_rest, wrenches, gravity, stop=stop, order=order)
    decides = elastic < worst.factor
    if not decides:
        row = worst.row
    past = respond(contacts, at_rest, (min(elastic, worst.factor) * 1.001 + 1e-6) * wrenches[row : row + 1], gravity)
    gives = by_state(contacts, at_rest, past, 0) if decides else by_twist(contacts, worst.twist, worst.factor)
    return _Finding(worst.factor, elastic, int(rows[row]), gives, worst.bound, worst.twist, past.force[0], decides)


def _loose(contacts: Contacts, middle: Array, mass: float, directions: Sequence[Vec]) -> str:
    """What gives at an index angle without any cut; empty if nothing."""
    for towards in directions:
        down = np.asarray(towards, dtype=float) / float(np.linalg.norm(towards))
        weight = wrench(middle, mass * STANDARD_GRAVITY * down, np.zeros(3))
        if friction_factors(contacts, weight[None, :], np.zeros(6)).factor[0] < 1.0:
            return f"falls out with gravity along ({down[0]:.2f}, {down[1]:.2f}, {down[2]:.2f})"
    return ""


def _least(contacts: Contacts, wrenches: Array, gravity: Array, floor: float) -> LeastPreload:
    """Least preload over all loads by adding the worst that the last answer fails, until none is left."""
    order = np.argsort(lower_bounds(contacts, wrenches, gravity), kind="stable")
    chosen = list(order[:16])
    for _ in range(_LEAST_ROUNDS):
        least = least_preload(contacts, wrenches[chosen], gravity, floor)
        if least.status != "ok":
            return least
        more = failing(contacts.with_preload(least.each * (1.0 + 1e-6) + 1e-3), wrenches, gravity, floor)
        if len(more) == 0:
            return least
        chosen += list(more[:16])
    return replace(least, certificate=least.certificate | {"loads": "not all: the sum is a lower bound"})


def _first(best: _Finding, factor: float, floor: float, others: Sequence[Margin]) -> str:
    """A failing screw or a mark comes before a slip that the floor still keeps away."""
    failed = [m for m in others if not m.passed]
    if failed and factor >= floor:
        return f"{failed[0].check}: {failed[0].subject}"
    return best.gives


def _reasons(grip: Grip, rank: int) -> tuple[Reason, ...]:
    reasons = []
    if rank + len(grip.unlocated) < 6:
        reasons.append(
            Reason(grip.id, f"not located: the locators' rank is {rank} of 6", float(6 - rank), "directions")
        )
    if grip.regime == "friction":
        reasons.append(
            Reason(grip.id, "held by friction alone, at its low (wet) value; floor: common practice, no source")
        )
    return tuple(reasons)


def _entries(contacts: Contacts, best: _Finding) -> tuple[dict[str, object], ...]:
    world = np.einsum("mi,mij->mj", best.reactions, contacts.basis)
    return tuple({"contact": c, "reaction_n": [float(x) for x in f]} for c, f in zip(contacts.ids, world, strict=True))
