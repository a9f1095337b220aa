"""Processes of the page's server: spawned, one thread each, gone when the server is gone."""

from __future__ import annotations

import contextlib
import importlib
import multiprocessing
import os
import signal
import threading
from collections.abc import Iterator
from multiprocessing.connection import Connection
from typing import Any

THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS")


@contextlib.contextmanager
def _one_thread() -> Iterator[None]:
    """The libraries of a child started inside use one thread each: they read these names when they load."""
    before = {name: os.environ.get(name) for name in THREADS}
    os.environ.update(dict.fromkeys(THREADS, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


class Child:
    """A spawned process that runs `run(pipe, *arguments)` of the module named, and talks over its pipe."""

    def __init__(self, module: str, *arguments: Any) -> None:
        context = multiprocessing.get_context("spawn")
        self.pipe, other = context.Pipe()
        with _one_thread():
            self.process = context.Process(target=_run, args=(module, other, arguments), daemon=True)
            self.process.start()
        other.close()

    def send(self, message: Any) -> None:
        with contextlib.suppress(BrokenPipeError, OSError):
            self.pipe.send(message)

    def heard(self) -> Iterator[Any]:
        """What the child says, until it ends."""
        with contextlib.suppress(EOFError, ConnectionResetError, OSError):
            while True:
                yield self.pipe.recv()

    def end(self, seconds: float = 2.0) -> None:
        """End the process; it holds nothing that could be lost."""
        self.process.terminate()
        self.process.join(seconds)
        if self.process.is_alive():
            self.process.kill()
            self.process.join(seconds)
        self.pipe.close()


def _run(module: str, pipe: Connection, arguments: tuple[Any, ...]) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    importlib.import_module(module).run(pipe, *arguments)


def _end_with_parent() -> None:
    """A killed server leaves nobody running."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
