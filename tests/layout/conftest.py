"""Shared with the layout tests: where published instances lie."""

from __future__ import annotations

import os
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def published() -> Path:
    root = Path(os.environ.get("PALLETWRIGHT_SHARED", Path(__file__).parents[2].parent / "shared"))
    path = root / "checks"
    if not path.is_dir():
        pytest.skip(f"published instances are not at {path}; set PALLETWRIGHT_SHARED")
    return path
