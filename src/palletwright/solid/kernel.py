"""The parent's side of the CAD kernel: it runs in a spawned child, so that its crashes and its printing stay there."""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
from typing import Any


class KernelFailure(Exception):
    """The child gave no answer: it crashed, ran out of time, or raised something that nobody expected."""


class Refused(Exception):
    """Raised in the child: the file was read and can't be used. Its text is the reason."""


def ask(job: str, /, timeout: float, **arguments: Any) -> Any:
    """Run the kernel job named `job` in a fresh child and return its answer.

    Raises Refused with the child's reason, KernelFailure where no answer came within `timeout` (s).
    """
    environment = dict(os.environ, PYTHONPATH=os.pathsep.join(p for p in sys.path if p))
    command = [sys.executable, "-P", "-c", "from palletwright.solid.child import main; main()"]
    try:
        done = subprocess.run(
            command, input=pickle.dumps((job, arguments)), capture_output=True, timeout=timeout, env=environment
        )
    except subprocess.TimeoutExpired as error:
        raise KernelFailure(f"the CAD kernel gave no answer within {timeout:g} s") from error
    if done.returncode != 0:
        lines = done.stderr.decode("utf-8", "replace").strip().splitlines()
        raise KernelFailure(f"the CAD kernel stopped (exit {done.returncode}): {lines[-1] if lines else 'no word'}")
    kind, answer = pickle.loads(done.stdout)
    if kind == "refused":
        raise Refused(answer)
    return answer
