"""More hands for one plan: spawned processes that work things out ahead, the same as this process would.

What they answer goes into the run's memory under the key that this process asks for later; the order of the search,
and so the plan, is the same with any number of hands.
"""

from __future__ import annotations

import multiprocessing
import pickle
import signal
import tempfile
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import BrokenExecutor, Executor, Future, ProcessPoolExecutor, wait
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from palletwright.plan.crew import one_thread_each
from palletwright.progress import Progress

if TYPE_CHECKING:
    from palletwright.plan.context import Context

R = TypeVar("R")

GROUND = ("access", "variants", "in-process")
"""Kinds of memory that every hand is given from the start."""

LOOK = 0.2
"""s between two looks at whether the run was told to stop."""

Needs = tuple[tuple[Any, str], ...]

_known: dict[str, Any] = {}
"""In a hand: the run that it works for, by the name of its file; the newest only."""


@dataclass(eq=False)
class Hands:
    """`count` processes, started when first needed, and the files through which they are handed what they need."""

    count: int
    folder: Path
    _executor: Executor | None = None
    _ground: tuple[frozenset[Any], str] = (frozenset(), "")
    _handed: dict[int, str] = field(default_factory=dict)
    _files: int = 0
    _kept: list[Any] = field(default_factory=list)

    def start(self) -> None:
        """Begin to start the processes, so that they are ready when the first work comes."""
        if self._executor is None:
            with one_thread_each():
                spawned = multiprocessing.get_context("spawn")
                self._executor = ProcessPoolExecutor(self.count, mp_context=spawned, initializer=_ready)
                for _ in range(self.count):
                    self._executor.submit(_here)

    def run(
        self, context: Context, work: Callable[[Context, Any], R], rows: Sequence[Any], needs: Sequence[Any] = ()
    ) -> Iterator[tuple[int, R]]:
        """(position, `work(context, row)`) of every row, as they end; fewer when the run is told to stop.

        `work` is a function of a module; `needs` are keys of the run's memory that it would have to make otherwise.
        What `work` raises is raised here. A hand that dies ends the help: what is missing is left to the caller.
        """
        self.start()
        assert self._executor is not None
        ground = self._grounded(context)
        handed = tuple((key, self._hand(context.memo[key])) for key in needs if key in context.memo)
        futures: dict[Future[tuple[R, dict[str, float]]], int] = {
            self._executor.submit(_worked, ground, handed, work, row): i for i, row in enumerate(rows)
        }
        left = set(futures)
        while left:
            done, left = wait(left, timeout=LOOK)
            for future in done:
                try:
                    answer, stages = future.result()
                except BrokenExecutor:
                    self.close()
                    return
                for stage, seconds in stages.items():
                    context.stages[stage] = context.stages.get(stage, 0.0) + seconds
                yield futures[future], answer
            if context.stopped_early:
                self.close()
                return

    def _grounded(self, context: Context) -> str:
        """The file of what every hand knows; written anew once more of it is known."""
        known = frozenset(k for k in context.memo if k[0] in GROUND)
        if self._ground[0] != known or not self._ground[1]:
            memo = {k: context.memo[k] for k in known}
            bare = replace(context, memo=memo, stages={}, hands=None)
            vars(bare).pop("progress")
            self._ground = known, self._write(bare)
        return self._ground[1]

    def _hand(self, value: Any) -> str:
        if id(value) not in self._handed:
            self._kept.append(value)
            self._handed[id(value)] = self._write(value)
        return self._handed[id(value)]

    def _write(self, value: Any) -> str:
        self._files += 1
        file = self.folder / f"{self._files}.pickle"
        file.write_bytes(pickle.dumps(value, protocol=pickle.HIGHEST_PROTOCOL))
        return str(file)

    def close(self) -> None:
        """Let the processes go: at once, whatever they are at."""
        if self._executor is not None:
            processes = list((getattr(self._executor, "_processes", None) or {}).values())
            self._executor.shutdown(wait=False, cancel_futures=True)
            for process in processes:
                process.terminate()
            self._executor = None


@contextmanager
def hands(count: int) -> Iterator[Hands | None]:
    """`count` hands for one run, gone at its end; None where there would be only one."""
    if count < 2:
        yield None
        return
    with tempfile.TemporaryDirectory(prefix="plan-") as folder:
        made = Hands(count, Path(folder))
        try:
            yield made
        finally:
            made.close()


def _ready() -> None:
    """In a hand: load what all work needs, and leave Ctrl-C to the process that leads."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    import palletwright.grip
    import palletwright.holding
    import palletwright.layout
    import palletwright.reach  # noqa: F401


def _here() -> None:
    """In a hand: nothing, once it is ready."""


def _worked(ground: str, handed: Needs, work: Callable[[Any, Any], R], row: Any) -> tuple[R, dict[str, float]]:
    """In a hand: one row of work, and the seconds of its stages."""
    context = _run(ground)
    for key, file in handed:
        if key not in context.memo:
            context.memo[key] = pickle.loads(Path(file).read_bytes())
    context.stages.clear()
    answer = work(context, row)
    return answer, dict(context.stages)


def _run(ground: str) -> Any:
    if ground not in _known:
        context = pickle.loads(Path(ground).read_bytes())
        context.progress = Progress()
        for old in _known.values():
            context.memo = {**old.memo, **context.memo}
        _known.clear()
        _known[ground] = context
    return _known[ground]
