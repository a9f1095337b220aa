"""How long work says how far it is, and how it is told to stop. Bars are the command line's business."""

from __future__ import annotations

import signal
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from types import FrameType
from typing import Any, Protocol, TypeVar

T = TypeVar("T")


class Report(Protocol):
    """Hears of progress: `done` of `total` work units of a stage."""

    def __call__(self, stage: str, done: float, total: float) -> None: ...


def silent(stage: str, done: float, total: float) -> None:
    """A `Report` that tells nobody."""


class Stop:
    """Whether to stop early: set by hand, by Ctrl-C, or past a clock limit of `seconds` from its making."""

    def __init__(self, seconds: float | None = None) -> None:
        if seconds is not None and seconds < 0:
            raise ValueError(f"seconds = {seconds:g}: a clock limit is at least 0")
        self._asked = threading.Event()
        self._until = None if seconds is None else time.monotonic() + seconds

    def set(self) -> None:
        self._asked.set()

    @property
    def stopped(self) -> bool:
        return self._asked.is_set() or (self._until is not None and time.monotonic() >= self._until)

    @property
    def seconds_left(self) -> float | None:
        """s until the clock limit, never below 0; None where there is none."""
        return None if self._until is None else max(0.0, self._until - time.monotonic())


def unheard(results: Sequence[Any]) -> None:
    """Hears of results, and tells nobody."""


@dataclass(frozen=True)
class Progress:
    """What long work is handed: whom to tell, when to stop, and who hears of workable results, best first, as soon as
    there are any and whenever there are more."""

    report: Report = silent
    stop: Stop = field(default_factory=Stop)
    found: Callable[[Sequence[Any]], None] = unheard

    def __call__(self, stage: str, done: float, total: float) -> None:
        self.report(stage, done, total)

    @property
    def stopped(self) -> bool:
        return self.stop.stopped

    def steps(self, stage: str, items: Sequence[T]) -> Iterator[T]:
        """The items one by one, each reported when it is done; ends early once stopped."""
        self(stage, 0, len(items))
        for done, item in enumerate(items, start=1):
            if self.stopped:
                return
            yield item
            self(stage, done, len(items))


@contextmanager
def interruptible(report: Report = silent, seconds: float | None = None) -> Iterator[Progress]:
    """Progress that a first Ctrl-C stops softly, so that the best so far is kept; a second one breaks off.

    Only the main thread can hear Ctrl-C: elsewhere only the clock limit and `stop.set()` stop.
    """
    progress = Progress(report, Stop(seconds))
    if threading.current_thread() is not threading.main_thread():
        yield progress
        return

    def on_interrupt(number: int, frame: FrameType | None) -> None:
        if progress.stop._asked.is_set():
            raise KeyboardInterrupt
        progress.stop.set()

    before = signal.signal(signal.SIGINT, on_interrupt)
    try:
        yield progress
    finally:
        signal.signal(signal.SIGINT, before)
