"""Who does the work: spawned processes of one thread each, or a Dask cluster; a worker's death costs one job."""

from __future__ import annotations

import multiprocessing
import os
import signal
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, ProcessPoolExecutor, wait
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Generic, TypeVar

from palletwright.errors import Fault, InputError

T = TypeVar("T")
R = TypeVar("R")

ONE_THREAD = (
    "OMP_NUM_THREADS",
    "OPENBLAS_NUM_THREADS",
    "MKL_NUM_THREADS",
    "NUMBA_NUM_THREADS",
    "RAYON_NUM_THREADS",
    "VECLIB_MAXIMUM_THREADS",
)

TASKS_A_WORKER = 50
"""Tasks after which workers are replaced, so that memory stays bounded."""


@contextmanager
def one_thread_each() -> Iterator[None]:
    """Children that are spawned inside have one thread for each library."""
    before = {k: os.environ.get(k) for k in ONE_THREAD}
    os.environ.update(dict.fromkeys(ONE_THREAD, "1"))
    try:
        yield
    finally:
        for key, value in before.items():
            if value is None:
                os.environ.pop(key, None)
            else:
                os.environ[key] = value


@dataclass(eq=False)
class Crew(Generic[T, R]):
    """Runs `work` on tasks, at most `workers` at once.

    `make_executor` gives a fresh executor; `replace_after` tasks it is closed and a new one made. `work` must return,
    not raise, what goes wrong inside a task.
    """

    work: Callable[[T], R]
    make_executor: Callable[[], Executor]
    workers: int
    replace_after: int | None = None
    _executor: Executor | None = None
    _given: int = 0
    _pending: dict[Future[R], T] = field(default_factory=dict)

    def run(self, next_task: Callable[[], T | None]) -> Iterator[tuple[T, R | BaseException]]:
        """(task, answer) of every task in the order in which they end; the next one is asked for when a worker is free.

        Once `next_task` has given None it isn't asked again. A task that kills its worker, alone with it, gives the
        exception; those that were beside it are done again.
        """
        more = True
        while more or self._pending:
            while more and len(self._pending) < self.workers and not self._tired:
                task = next_task()
                if task is None:
                    more = False
                else:
                    self._submit(task)
            if self._pending:
                yield from self._collect()
            elif self._tired:
                self.close()
            else:
                return

    @property
    def _tired(self) -> bool:
        return self.replace_after is not None and self._given >= self.replace_after

    def _submit(self, task: T) -> None:
        if self._executor is None:
            self._executor, self._given = self.make_executor(), 0
        self._pending[self._executor.submit(self.work, task)] = task
        self._given += 1

    def _collect(self) -> Iterator[tuple[T, R | BaseException]]:
        done, _ = wait(self._pending, return_when=FIRST_COMPLETED)
        fallen: list[T] = []
        for future in [f for f in self._pending if f in done]:
            task = self._pending.pop(future)
            error = future.exception()
            if isinstance(error, BrokenExecutor):
                fallen.append(task)
            else:
                yield task, future.result() if error is None else error
        if fallen:
            fallen += self._pending.values()
            self._pending.clear()
            self.close()
            yield from self._alone(fallen)

    def _alone(self, tasks: Iterable[T]) -> Iterator[tuple[T, R | BaseException]]:
        """Each task with a worker to itself, so that the one that kills it is known."""
        for task in tasks:
            self._submit(task)
            ((future, _),) = self._pending.items()
            error = future.exception()
            self._pending.clear()
            yield task, future.result() if error is None else error
            if isinstance(error, BrokenExecutor):
                self.close()

    def close(self) -> None:
        """Let the workers go; the next task gets new ones."""
        if self._executor is not None:
            self._executor.shutdown(wait=True, cancel_futures=True)
            self._executor = None
        self._given = 0


def local_pool(workers: int) -> Callable[[], Executor]:
    """Makes pools of spawned processes, which leave Ctrl-C to the process that leads: what they are at is finished."""
    context = multiprocessing.get_context("spawn")
    return lambda: ProcessPoolExecutor(workers, mp_context=context, initializer=_deaf)


def _deaf() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)


@contextmanager
def crew(
    work: Callable[[T], R], workers: int, scheduler: str | None = None, tasks_a_worker: int = TASKS_A_WORKER
) -> Iterator[Crew[T, R]]:
    """A crew of local processes, or with `scheduler` (its address) of a Dask cluster's workers.

    A cluster's workers must see the same folders. Raises InputError without the extra that a cluster needs.
    """
    if workers < 1:
        raise InputError([Fault("rank", "workers", str(workers), "isn't a count", "at least 1")])
    if scheduler is None:
        made: Crew[T, R] = Crew(work, local_pool(workers), workers, tasks_a_worker * workers)
        with one_thread_each():
            try:
                yield made
            finally:
                made.close()
        return
    try:
        from distributed import Client
    except ImportError as error:
        fault = Fault(
            "rank", "scheduler", scheduler, "needs Dask, which isn't installed", "pip install palletwright[cluster]"
        )
        raise InputError([fault]) from error
    with Client(scheduler, set_as_default=False) as client:
        slots = max(1, sum(client.nthreads().values()))
        yield Crew(work, lambda: client.get_executor(pure=False, retries=0), slots)
