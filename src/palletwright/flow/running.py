"""How one way runs on the floor: balance, who waits, time alone, a shift, and the simulation, as plain data."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from palletwright.flow.balance import balance
from palletwright.flow.loading import bench_paces_from, resources
from palletwright.flow.machines import Step, split_over
from palletwright.flow.model import Timing
from palletwright.flow.money import DEBURR_SECONDS, LOOK_SECONDS, WASH_SECONDS
from palletwright.flow.people import Shift, best_machines, longest_alone, man_machine_chart, shift_walk
from palletwright.flow.people import most_without_waiting as kept_busy
from palletwright.flow.sets import waiting
from palletwright.flow.simulate import Floor, Ran, ToolBreaks, simulate
from palletwright.flow.spread import Spread
from palletwright.flow.tending import finite_source, least_sets, utilisation_exponential
from palletwright.shop.model import Rates

CHIP_BULK = 15.0
"""Litres of loose chips from a litre of solid metal: common practice, no source."""

MACHINE_SPREAD, LOAD_SPREAD, SWAP_SPREAD, STOP_SPREAD = 0.03, 0.25, 0.30, 0.60
"""± of a run's own length (triangle), standard deviations of loading, swap and stops over their means (lognormal):
common practice, no source."""

SHIFTS = 60
"""Shifts that are simulated."""

MOST_MACHINES = 6
"""Machines alike for one operator that the man-machine chart is looked for among."""


@dataclass(frozen=True)
class Start:
    """One kind of start that a part passes through.

    Parameters
    ----------
    stations : parts at the stations of each operation, in order
    wear : by tool, the fraction of an edge's life that one start wears off; unknown tools are left out
    chips : litres of solid metal that one start removes
    watched : somebody must stand there throughout
    fixed : s of the machine's time that doesn't grow with the parts (tool changes, indexing)
    """

    timing: Timing
    stations: tuple[int, ...]
    wear: Mapping[str, float]
    chips: float = 0.0
    watched: bool = False
    fixed: float = 0.0


def floor_of(start: Start, rates: Rates, *, scrap: float = 0.0, pallet_changer: bool = False) -> Floor:
    """The floor that the simulation runs: times with their spread, stops from the shop's up-time, late operators.

    Stops come so often that a machine which never waits for hands runs `up_time` of the time that it cuts or stands
    stopped: mean cutting between two = stop · up_time / (1 - up_time), the broken tools counted with them.
    """
    t, stop = start.timing, rates.stop_minutes * 60.0
    between = stop * rates.up_time / (1.0 - rates.up_time) if rates.up_time < 1.0 else None
    return Floor(
        machine=Spread(t.machine_seconds, "triangular", MACHINE_SPREAD),
        load=Spread(t.load_seconds, "lognormal", LOAD_SPREAD),
        swap=Spread(t.swap_seconds, "fixed") if pallet_changer else Spread(t.swap_seconds, "lognormal", SWAP_SPREAD),
        stations=start.stations,
        sets=t.sets,
        people=rates.people,
        scrap=scrap,
        breaks=ToolBreaks(rates.break_hours * 3600.0, Spread(rates.break_minutes * 60.0, "lognormal", STOP_SPREAD)),
        stops=ToolBreaks(between, Spread(stop, "lognormal", STOP_SPREAD), 0) if between else None,
        late=Spread(rates.late_seconds, "exponential") if rates.late_seconds > 0 else None,
        shift_seconds=rates.shift_hours * 3600.0,
        pauses=tuple((60.0 * a, 60.0 * n) for a, n in _pauses(rates)),
        swap_attended=not pallet_changer,
    )


def _pauses(rates: Rates) -> tuple[tuple[float, float], ...]:
    """The breaks that lie within the shift, minutes."""
    return tuple((a, n) for a, n in rates.pauses if a + n <= rates.shift_hours * 60.0)


def _ran(ran: Ran, floor: Floor, seed: int) -> dict[str, Any]:
    low, middle, high = ran.percentiles
    return {
        "parts_per_shift": {"p10": low, "p50": middle, "p90": high},
        "utilisation": ran.utilisation,
        "utilisation_error": ran.utilisation_error,
        "machine_minutes": {k: v / 60.0 for k, v in ran.machine_seconds.items()},
        "people_minutes": {k: v / 60.0 for k, v in ran.people_seconds.items()},
        "minutes": ran.seconds / 60.0,
        "parts_in": ran.parts_in,
        "finished": ran.finished,
        "scrapped": ran.scrapped,
        "in_process": ran.in_process,
        "piles": list(ran.piles),
        "shifts": len(ran.parts_per_shift),
        "seed": seed,
        "floor": asdict(floor),
    }


def alone(
    start: Start, *, edge_use: float, chip_room: float | None, changer: bool, limit: float | None
) -> dict[str, Any]:
    """The longest stretch from a start in which nobody need be there, what ends it, and every limit. Minutes."""
    minutes = start.timing.machine_seconds / 60.0
    if start.watched:
        return {"minutes": 0.0, "limited_by": "somebody who must stand there", "limits": {}, "loaded_pallets": 1}
    limits = {f"tool life of {tool}": edge_use / share * minutes for tool, share in start.wear.items() if share > 0}
    if chip_room is not None and start.chips > 0:
        limits["chips"] = chip_room / (start.chips * CHIP_BULK) * minutes
    if limit is not None:
        limits["the shop's own limit"] = limit
    pallets = start.timing.sets if changer else 1
    found = longest_alone(minutes, limits, pallets=pallets)
    return {
        "minutes": found.minutes,
        "limited_by": found.limited_by,
        "limits": dict(sorted(limits.items(), key=lambda row: row[1])),
        "loaded_pallets": pallets,
    }


def people(start: Start, *, operator_rate: float, machine_rate: float, stop_share: float) -> dict[str, Any]:
    """One operator and several such machines: how many are kept busy, which number is cheapest, its chart.

    Hands and machine are busy together at loading (one set) or the swap (more), and all the time where somebody must
    stand there; loading beside the machine is the operator's alone. `stop_share` is the service factor of stops at
    random, for the interference of each number.
    """
    timing = start.timing
    together = timing.swap_seconds + (timing.load_seconds if timing.sets == 1 else 0.0)
    beside = 0.0 if timing.sets == 1 else timing.load_seconds
    load, attend, run = together / 60.0, beside / 60.0, timing.machine_seconds / 60.0
    if start.watched:
        load, attend, run = load + run, 0.0, 0.0
    best, cost = best_machines(
        load=load, attend=attend, run=run, operator_rate=operator_rate, machine_rate=machine_rate, most=MOST_MACHINES
    )
    chart = man_machine_chart(machines=best, load=load, attend=attend, run=run)
    queues = [(n, finite_source(machines=n, service_factor=stop_share)) for n in range(1, MOST_MACHINES + 1)]
    return {
        "load_minutes": load,
        "attend_minutes": attend,
        "run_minutes": run,
        "machines_kept_busy": kept_busy(load=load, attend=attend, run=run),
        "best_machines": best,
        "cost_per_start": cost,
        "chart": {"minutes": chart.cycle, "rows": [asdict(r) for r in chart.rows]},
        "interference": [{"machines": n, "efficiency": q.efficiency, "waiting": q.waiting} for n, q in queues],
    }


def _shift(timing: Timing, rates: Rates, limit: float) -> dict[str, Any]:
    """One shift walked start by start, at the times as computed, and what runs on after it."""
    day = shift_walk(
        Shift(rates.shift_hours * 60.0, _pauses(rates)),
        machine=timing.machine_seconds / 60.0,
        load=timing.load_seconds / 60.0,
        swap=timing.swap_seconds / 60.0,
        sets=timing.sets,
        alone_limit=limit,
    )
    return asdict(day)


def one_start(
    start: Start,
    rates: Rates,
    *,
    edge_use: float,
    chip_room: float | None = None,
    changer: bool = False,
    scrap: float = 0.0,
    seed: int = 1,
    shifts: int = SHIFTS,
) -> dict[str, Any]:
    """Everything about one kind of start as plain data; minutes and seconds as the names say."""
    t = start.timing
    told = balance(start.stations, [t.start_seconds] * len(start.stations), rates.shift_hours * 3600.0)
    parts = min(start.stations)
    bench = (DEBURR_SECONDS + LOOK_SECONDS) * (1 + rates.allowance) * parts
    whole, uses = resources(
        machine=t.machine_seconds,
        load=t.load_seconds,
        swap=t.swap_seconds,
        sets=t.sets,
        deburr=bench,
        wash=WASH_SECONDS * parts,
        people=rates.people,
    )
    by_itself = alone(start, edge_use=edge_use, chip_room=chip_room, changer=changer, limit=rates.alone_minutes)
    floor = floor_of(start, rates, scrap=scrap, pallet_changer=changer)
    return {
        "parts": parts,
        "stations": list(start.stations),
        "finished_per_shift": told.finished_per_shift,
        "startup_starts": told.startup_starts,
        "work_in_process": told.work_in_process,
        "balanced": told.balanced,
        "piles": [asdict(p) for p in told.piles],
        "spindle_waits_seconds": t.spindle_waits_seconds,
        "set_waits_seconds": t.set_waits_seconds,
        "waiting": waiting(t),
        "least_sets": least_sets(t.machine_seconds, t.load_seconds, t.swap_seconds),
        "spindle_share": t.machine_seconds / t.start_seconds,
        "spindle_share_if_exponential": utilisation_exponential(t.machine_seconds, t.load_seconds, t.sets),
        "resources": [asdict(u) for u in uses],
        "with_deburr_seconds": whole,
        "bench_paces_from": bench_paces_from(
            machine_fixed=start.fixed,
            machine_per_part=(t.machine_seconds - start.fixed) / parts,
            load_per_part=t.load_seconds / parts,
            bench_per_part=bench / parts,
        ),
        "alone": by_itself,
        "shift": None if start.watched else _shift(t, rates, by_itself["minutes"]),
        "simulated": _ran(simulate(floor, shifts=shifts, seed=seed), floor, seed),
    }


def running(
    starts: Sequence[Start],
    rates: Rates,
    *,
    machine_rate: float,
    edge_use: float,
    chip_room: float | None = None,
    changer: bool = False,
    scrap: float = 0.0,
    batch: int,
    setup_hours: float,
    seed: int = 1,
) -> dict[str, Any]:
    """How a way runs, as plain data for reports: each kind of start, people, and a batch.

    Where a part passes through several kinds of starts, a whole batch waits between them; finished parts a shift
    are then 1 / Σ (1 / parts a shift of each), the shift shared among them. `two_machines` tells what a second machine
    like the first makes of them (`machines.Split`).
    """
    if not starts:
        raise ValueError("a way needs at least one start")
    rows = [
        one_start(s, rates, edge_use=edge_use, chip_room=chip_room, changer=changer, scrap=scrap, seed=seed + i)
        for i, s in enumerate(starts)
    ]
    percentiles = {p: _shared([r["simulated"]["parts_per_shift"][p] for r in rows]) for p in ("p10", "p50", "p90")}
    between = batch if len(starts) > 1 else 0
    steps = [_step_of(s, min(s.stations), setup_hours / len(starts)) for s in starts]
    lead = sum(
        math.ceil(batch / r["parts"] + r["startup_starts"]) * s.timing.start_seconds
        for r, s in zip(rows, starts, strict=True)
    )
    return {
        "starts": rows,
        "finished_per_shift": _shared([r["finished_per_shift"] for r in rows]),
        "parts_per_shift": percentiles,
        "utilisation": sum(r["simulated"]["utilisation"] for r in rows) / len(rows),
        "floor_pile": between + max(r["work_in_process"] for r in rows),
        "people": people(
            starts[0],
            operator_rate=rates.operator,
            machine_rate=machine_rate,
            stop_share=1.0 - rates.up_time,
        ),
        "batch": {"parts": batch, "setup_hours": setup_hours, "lead_hours": setup_hours + lead / 3600.0},
        "two_machines": _over_two(steps, rates, batch) if len(starts) > 1 else None,
    }


def _step_of(start: Start, parts: int, setup_hours: float) -> Step:
    timing = start.timing
    by_hand = timing.start_seconds if start.watched else timing.attended_minutes * 60.0
    return Step(parts, timing.start_seconds, by_hand, setup_hours * 3600.0)


def _over_two(steps: Sequence[Step], rates: Rates, batch: int) -> dict[str, Any]:
    """The same starts shared out over a second machine like this one, as plain data."""
    found = split_over(steps, 2, shift_seconds=rates.shift_hours * 3600.0, people=rates.people, batch=batch)
    return asdict(found)


def _shared(rates: Sequence[float]) -> float:
    """Parts a shift of a chain of starts that share it."""
    return 1.0 / sum(1.0 / r for r in rates) if rates and min(rates) > 0 else 0.0
