"""Loading, sets and people: what one start takes, and how finished parts leave it."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from palletwright.flow.loading import station_time
from palletwright.flow.model import StationLoad, Timing
from palletwright.flow.tending import start_seconds
from palletwright.shop.model import Rates

FALLBACK = "the shop's seconds a station (common practice, no source)"


def load_seconds(loads: Sequence[StationLoad], rates: Rates) -> float:
    """Seconds to unload and load one set by hand: every station's handling, its screws, and the allowance.

    A station with `handling` takes its measured or built-up time with the allowance of its own weight. Without it:
    `rates.station_seconds` a station (common practice, no source), the clamp's own seconds a screw, and the shop's
    allowance.
    """
    plain = sum(
        s.stations * (rates.station_seconds + s.screws * s.seconds_per_screw) for s in loads if s.handling is None
    )
    built = sum(s.stations / s.handling.parts * station_time(s.handling).seconds for s in loads if s.handling)
    return plain * (1.0 + rates.allowance) + built


def load_basis(loads: Sequence[StationLoad]) -> str:
    """What the loading time rests on, every basis once."""
    return "; ".join(dict.fromkeys(station_time(s.handling).label if s.handling else FALLBACK for s in loads))


def timing(
    machine_seconds: float,
    loads: Sequence[StationLoad],
    parts: float,
    sets: int,
    rates: Rates,
    *,
    pallet_change: float | None = None,
) -> Timing:
    """One start: with one set loading stands in the cycle; with two or more it runs beside the spindle.

    Attended is what keeps a person there: loading and the swap. Spindle minutes are the machine's own cycle. A
    machine with a pallet changer (`pallet_change`, s) swaps two sets or more by itself, with nobody there.
    """
    load = load_seconds(loads, rates)
    changes = pallet_change is not None and sets > 1
    swap = pallet_change if changes and pallet_change is not None else rates.swap_seconds
    whole = start_seconds(machine_seconds, load, swap, sets)
    by_hand = load + (0.0 if changes else swap)
    attended = by_hand / 60.0
    short = load - machine_seconds if sets > 1 else load
    return Timing(
        sets=sets,
        machine_seconds=machine_seconds,
        load_seconds=load,
        swap_seconds=swap,
        start_seconds=whole,
        parts_per_start=parts,
        attended_minutes=attended,
        unattended_minutes=max(0.0, whole / 60.0 - attended),
        spindle_minutes_per_part=machine_seconds / 60.0 / parts,
        attended_minutes_per_part=attended / parts,
        waits_for="loading" if short > 0 else "the spindle",
        load_basis=load_basis(loads),
        spindle_waits_seconds=whole - machine_seconds,
        set_waits_seconds=max(0.0, -short) if sets > 1 else 0.0,
    )


def waiting(t: Timing) -> str:
    """Who waits how long in a start, as one sentence: the spindle for hands, or the loaded set for the spindle."""
    sets = f"{t.sets} set{'s' if t.sets > 1 else ''}"
    stands = f"with {sets} the spindle stands {_minutes(t.spindle_waits_seconds)} a start for "
    if t.sets == 1:
        return stands + "loading and swapping"
    if t.set_waits_seconds > 0:
        return f"{stands}the swap; the loaded set waits {_minutes(t.set_waits_seconds)} for the spindle"
    return stands + "the swap and for loading to end"


def _minutes(seconds: float) -> str:
    return f"{seconds / 60:.1f} min" if seconds >= 60 else f"{seconds:.0f} s"


def combined(cycles: Sequence[Timing]) -> Timing:
    """The timing of a part that passes through several cycles: sums per part, starts per part from their counts.

    `unattended_minutes` is the longest single stretch.
    """
    if len(cycles) == 1:
        return cycles[0]
    parts = 1.0 / sum(1.0 / t.parts_per_start for t in cycles)

    def per_part(pick: Callable[[Timing], float]) -> float:
        return sum(pick(t) / t.parts_per_start for t in cycles)

    return Timing(
        sets=max(t.sets for t in cycles),
        machine_seconds=per_part(lambda t: t.machine_seconds) * parts,
        load_seconds=per_part(lambda t: t.load_seconds) * parts,
        swap_seconds=per_part(lambda t: t.swap_seconds) * parts,
        start_seconds=per_part(lambda t: t.start_seconds) * parts,
        parts_per_start=parts,
        attended_minutes=per_part(lambda t: t.attended_minutes) * parts,
        unattended_minutes=max(t.unattended_minutes for t in cycles),
        spindle_minutes_per_part=sum(t.spindle_minutes_per_part for t in cycles),
        attended_minutes_per_part=sum(t.attended_minutes_per_part for t in cycles),
        waits_for="; ".join(dict.fromkeys(t.waits_for for t in cycles)),
        load_basis="; ".join(dict.fromkeys(t.load_basis for t in cycles if t.load_basis)),
        spindle_waits_seconds=per_part(lambda t: t.spindle_waits_seconds) * parts,
        set_waits_seconds=per_part(lambda t: t.set_waits_seconds) * parts,
    )
