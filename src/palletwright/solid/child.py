"""The child's side of the CAD kernel: read a job from standard input, answer on standard output, print nothing."""

from __future__ import annotations

import importlib
import os
import pickle
import sys

from palletwright.solid.kernel import Refused

JOBS = {
    "read": "palletwright.solid.brep",
    "write": "palletwright.solid.writing",
    "measure": "palletwright.solid.measuring",
    "tolerances": "palletwright.solid.semantic",
    "views": "palletwright.solid.hidden",
}


def main() -> None:
    """Answer one job. The kernel prints to file descriptor 1, so that is pointed away before it is loaded."""
    answer_to = os.dup(1)
    away = os.open(os.devnull, os.O_WRONLY)
    os.dup2(away, 1)
    job, arguments = pickle.load(sys.stdin.buffer)
    try:
        message = ("done", importlib.import_module(JOBS[job]).run(**arguments))
    except Refused as refusal:
        message = ("refused", str(refusal))
    with os.fdopen(answer_to, "wb") as pipe:
        pipe.write(pickle.dumps(message, protocol=pickle.HIGHEST_PROTOCOL))
    sys.stdout.flush()
    os._exit(0)
