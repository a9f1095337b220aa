"""A batch through several machines: Johnson's order for two, and how long a batch takes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence


def johnson(jobs: Mapping[str, tuple[float, float]]) -> tuple[tuple[str, ...], float]:
    """The order of jobs through two machines, first the one and then the other, that ends soonest; and that end.

    `jobs` gives each job's time on the first and the second machine, in one unit. Johnson's rule (1954): jobs that
    are shorter on the first machine go first, shortest first; the others last, longest on the second first. No order
    ends sooner. Raises ValueError for a time below 0.
    """
    if any(min(times) < 0 for times in jobs.values()):
        raise ValueError(f"times must not be below 0: {dict(jobs)}")
    first = sorted((n for n, (a, b) in jobs.items() if a <= b), key=lambda n: (jobs[n][0], n))
    last = sorted((n for n, (a, b) in jobs.items() if a > b), key=lambda n: (-jobs[n][1], n))
    order = (*first, *last)
    return order, makespan([jobs[n] for n in order])


def makespan(times: Sequence[Sequence[float]]) -> float:
    """The end of the last job when jobs go through the same machines in this order; one row a job."""
    if not times:
        return 0.0
    free = [0.0] * len(times[0])
    for row in times:
        done = 0.0
        for m, t in enumerate(row):
            done = free[m] = max(done, free[m]) + t
    return free[-1]


def lead_seconds(parts: int, steps: Sequence[tuple[float, float, float]], *, wait_for_batch: bool = True) -> float:
    """s from the first set-up to the last finished part of a batch.

    Parameters
    ----------
    parts : parts in the batch
    steps : (parts a start, s from start to start, s of set-up) of every step that the batch passes through
    wait_for_batch : a step begins when the whole batch has left the step before; else each start's parts move on
        at once, with every step on a machine of its own
    """
    if parts < 1 or any(n <= 0 or s <= 0 or up < 0 for n, s, up in steps):
        raise ValueError("needs at least one part, and steps with parts and a time above 0")
    starts = [-(-parts // n) for n, _, _ in steps]
    if wait_for_batch:
        return sum(up + k * s for k, (_, s, up) in zip(starts, steps, strict=True))
    return _flowing(parts, steps)


def _flowing(parts: int, steps: Sequence[tuple[float, float, float]]) -> float:
    """The end of the last start when parts move on as they leave; all set-ups are made at the begin."""
    arrivals = [0.0] * parts
    for n, seconds, setup in steps:
        count, free, leave = int(n), setup, []
        for k in range(0, parts, count):
            load = arrivals[k : k + count]
            free = max(free, load[-1]) + seconds
            leave += [free] * len(load)
        arrivals = leave
    return arrivals[-1]
