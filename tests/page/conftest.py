"""One small plan for the whole run, made once, and a server a module."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from served import Served, serving
from small_plan import small_plan


@pytest.fixture(scope="session")
def plan_data(tmp_path_factory: pytest.TempPathFactory, worker_id: str) -> dict[str, Any]:
    """The small plan's data: made by the first worker that needs it, read by the others."""
    base = tmp_path_factory.getbasetemp()
    shared = (base if worker_id == "master" else base.parent) / "small_plan.json"
    lock = shared.with_suffix(".lock")
    while not shared.exists():
        try:
            lock.mkdir()
        except FileExistsError:
            time.sleep(0.5)
            continue
        try:
            if not shared.exists():
                part = shared.with_suffix(".part")
                part.write_text(json.dumps(small_plan()), encoding="utf-8")
                part.replace(shared)
        finally:
            lock.rmdir()
    return dict(json.loads(shared.read_text(encoding="utf-8")))


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with serving(tmp_path_factory.mktemp("store") / "jobs.sqlite") as made:
        yield made
