"""In a child: one planning run, telling how far it is and each workable way as soon as there is one."""

from __future__ import annotations

import threading
import time
from multiprocessing.connection import Connection
from typing import Any

from palletwright.errors import InputError, NoPlan
from palletwright.job.model import Job
from palletwright.progress import Progress, Stop
from palletwright.shop.model import Shop

LEAST_PAUSE = 0.15
"""s between two words about the same stage."""


def run(pipe: Connection, job: dict[str, Any], shop: dict[str, Any]) -> None:
    """Plan and say so over the pipe.

    Says ("progress", stage, done, total) and ("ways", [...]) on the way, at the end one of ("plan", data),
    ("faults", [...]), ("no plan", [...]), ("crash", text). Hears "stop", after which the best so far is kept.
    """
    from palletwright.plan import make, to_dict
    from palletwright.plan.record import plain

    stop, lock = Stop(), threading.Lock()
    threading.Thread(target=_listen, args=(pipe, stop), daemon=True).start()
    last: dict[str, float] = {}

    def report(stage: str, done: float, total: float) -> None:
        now = time.monotonic()
        if done < total and now - last.get(stage, 0.0) < LEAST_PAUSE:
            return
        last[stage] = now
        with lock:
            pipe.send(("progress", stage, done, total))

    def found(ways: Any) -> None:
        with lock:
            pipe.send(("ways", [plain(_brief(w)) for w in ways]))

    try:
        data = to_dict(make(Job.model_validate(job), Shop.model_validate(shop), watched(report, stop, found)))
        answer: tuple[str, Any] = ("plan", data)
    except InputError as error:
        answer = ("faults", [{k: getattr(f, k) for k in ("file", "key", "value", "problem", "allowed")}
            for f in error.faults])  # fmt: skip
    except NoPlan as error:
        answer = ("no plan", [{"about": r.about, "text": r.text} for r in error.reasons])
    except Exception as error:
        answer = ("crash", f"{type(error).__name__}: {error}")
    with lock:
        pipe.send(answer)


def watched(report: Any, stop: Stop, found: Any) -> Progress:
    """Progress that also hears of workable ways, where the search tells of them."""
    known = getattr(Progress, "__dataclass_fields__", {})
    return Progress(report, stop, **({"found": found} if "found" in known else {}))


def _listen(pipe: Connection, stop: Stop) -> None:
    try:
        while pipe.recv() != "stop":
            pass
    except (EOFError, OSError):
        return
    stop.set()


def _brief(way: Any) -> dict[str, Any]:
    """What a point on the page needs of a way."""
    keys = ("name", "parts_per_start", "attended_minutes_per_part", "cost_per_part", "capital", "least_clearance_mm")
    return {k: getattr(way, k) for k in keys} | {"label": (way.timing or {}).get("label", "")}
