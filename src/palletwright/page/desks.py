"""The server's side of warm desks: at most two, the one used longest ago goes."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from typing import Any

from palletwright.page.children import Child

MOST = 2
SECONDS = 600.0
"""s by the clock that a desk may take for one answer; finding the grips of a large part takes a while."""


class DeskFailed(RuntimeError):
    """The desk couldn't answer; the text says why."""


@dataclass
class Warm:
    """One desk: who asks holds the lock, so that questions and answers stay in order."""

    child: Child
    lock: threading.Lock = field(default_factory=threading.Lock)
    asked: int = 0


class Desks:
    """Desks by plan."""

    def __init__(self) -> None:
        self.open: dict[str, Warm] = {}
        self.lock = threading.Lock()

    def ask(self, plan: str, job: dict[str, Any], shop: dict[str, Any], name: str, *arguments: Any) -> Any:
        """The answer of a plan's desk, opened where there is none. Raises DeskFailed."""
        warm = self._warm(plan, job, shop)
        with warm.lock:
            warm.asked += 1
            warm.child.send((warm.asked, name, arguments))
            try:
                while warm.child.pipe.poll(SECONDS):
                    number, kind, answer = warm.child.pipe.recv()
                    if number == warm.asked:
                        if kind == "failed":
                            raise DeskFailed(answer)
                        return answer
            except (EOFError, OSError):
                pass
        self._drop(plan, warm)
        raise DeskFailed("the checking process stopped or took too long; try again")

    def _warm(self, plan: str, job: dict[str, Any], shop: dict[str, Any]) -> Warm:
        with self.lock:
            warm = self.open.pop(plan, None)
            if warm is None or not warm.child.process.is_alive():
                while len(self.open) >= MOST:
                    self.open.pop(next(iter(self.open))).child.end()
                warm = Warm(Child("palletwright.page.desk", job, shop))
            self.open[plan] = warm
            return warm

    def _drop(self, plan: str, warm: Warm) -> None:
        with self.lock:
            if self.open.get(plan) is warm:
                del self.open[plan]
        warm.child.end()

    def close(self) -> None:
        with self.lock:
            for warm in self.open.values():
                warm.child.end(0.5)
            self.open.clear()
