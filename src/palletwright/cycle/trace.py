"""Where a program goes, block by block: what our own reader makes of what we wrote."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from palletwright.cycle.modal_state import Habits, State, offset_name, start_state
from palletwright.cycle.motion import Axes
from palletwright.cycle.path_time import RAPID, WAIT
from palletwright.cycle.program_time import Run
from palletwright.cycle.totals import Totals
from palletwright.verdict import Vec


@dataclass(frozen=True, slots=True)
class Spot:
    """End of one block: tool, work offset by name, rotary angle, whether a rapid or a probing move, work coordinates
    in mm, and the same without offsets (the control's own, of the tip where the tool's length is on)."""

    tool: int
    offset: str
    angle: float
    rapid: bool
    at: Vec
    machine: Vec


class _Recorder(Totals):
    """Keeps every block's end instead of timing it."""

    def __init__(self) -> None:
        super().__init__(Axes((1.0, 1.0, 1.0), (1.0, 1.0, 1.0)), 0.0)
        self.spots: list[Spot] = []
        self.state: State | None = None

    def add(self, block: Sequence[float]) -> None:
        state = self.state
        if block[0] == WAIT or state is None:
            return
        x, y, z = (block[k + 1] - state.shift[k] for k in range(3))
        angle = next(iter(state.angles.values()), 0.0)
        here = (block[1], block[2], block[3])
        free = block[0] == RAPID or state.probing
        self.spots.append(Spot(self.tool, offset_name(state.offset), angle, free, (x, y, z), here))


def trace(
    text: str,
    lengths: Mapping[int, float] | None = None,
    settings: str = "",
    kept: Mapping[int, float] | None = None,
) -> tuple[tuple[Spot, ...], tuple[str, ...]]:
    """The ends of all blocks of a program, and what of it wasn't understood.

    `lengths` by tool number, mm: what the control's variables say about them (#5403 of the one whose length is on,
    #2001 on of all). `settings` is a program that ran before, such as the one that sets the work offsets. `kept` are
    variables that the control has from earlier runs, by number.
    """
    recorder = _Recorder()
    state = start_state(recorder, Habits(lambda turn: 0.0, 0.0, 1.0, 0.0), None)
    if settings:
        state.known_offsets, state.pos = True, [0.0, 0.0, 0.0]
        Run(settings.splitlines(), state, False).to_the_end()
    recorder.state = state
    run = Run(text.splitlines(), state, False)
    run.variables.values |= {f"{number}": value for number, value in (kept or {}).items()}
    for number, length in (lengths or {}).items():
        run.variables.values[f"{2000 + number}"] = length
    state.lengths, state.variables = dict(lengths or {}), run.variables.values
    run.to_the_end()
    return tuple(recorder.spots), tuple(f"line {u['line']}: {u['text']}: {u['why']}" for u in run.unknown)
