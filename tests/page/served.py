"""The page's server as a process of its own, as a person starts it; and a client that may write."""

from __future__ import annotations

import contextlib
import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx


class Served:
    """One running server over one store file."""

    def __init__(self, store: Path, port: int = 0) -> None:
        self.store = store
        command = [sys.executable, str(Path(__file__)), str(store), str(port)]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        found = re.search(r"(http://127\.0\.0\.1:(\d+)/)#key=([\w-]+)", line)
        assert found, (line, self.process.stderr.read() if self.process.stderr else "")
        self.address, self.port, self.key = found[1], int(found[2]), found[3]
        self.client = httpx.Client(base_url=self.address, headers={"x-palletwright-key": self.key}, timeout=120)
        self._up()

    def _up(self) -> None:
        for _ in range(200):
            with contextlib.suppress(httpx.TransportError):
                if self.client.get("/api/health").status_code == 200:
                    return
            time.sleep(0.05)
        raise AssertionError("the server doesn't come up")

    def kill(self) -> None:
        """As a power cut would."""
        os.kill(self.process.pid, signal.SIGKILL)
        self.process.wait()
        self._closed()

    def end(self) -> str:
        """As Ctrl-C does; what it said on standard error."""
        self.process.send_signal(signal.SIGINT)
        try:
            _, said = self.process.communicate(timeout=20)
        except subprocess.TimeoutExpired:
            self.process.kill()
            _, said = self.process.communicate()
        self._closed()
        return said or ""

    def _closed(self) -> None:
        self.client.close()
        for pipe in (self.process.stdout, self.process.stderr):
            if pipe is not None:
                pipe.close()

    def example(self) -> str:
        """A job from the shipped example; its id."""
        answer = self.client.post("/api/jobs", json={"example": "hinge_yoke"})
        assert answer.status_code == 200, answer.text
        return str(answer.json()["id"])

    def planned(self, data: dict[str, Any]) -> tuple[str, str]:
        """The example with a plan that was made before; ids of job and plan."""
        from palletwright.page.runs import keep_plan
        from palletwright.page.store import Store

        job = self.example()
        store = Store(self.store)
        plan = keep_plan(store, job, json.loads(json.dumps(data)))
        store.close()
        return job, plan


@contextlib.contextmanager
def serving(store: Path, port: int = 0) -> Iterator[Served]:
    """A server that is ended afterwards."""
    made = Served(store, port)
    try:
        yield made
    finally:
        if made.process.poll() is None:
            made.end()


def main() -> None:
    from palletwright.demo import NAMES, demo_job
    from palletwright.page import serve

    examples = {name: demo_job(name) for name in NAMES}
    serve(int(sys.argv[2]), Path(sys.argv[1]), False, say=lambda text: print(text, flush=True), examples=examples)


if __name__ == "__main__":
    main()
