"""The shipped example: two trailer fittings as STEP files, and job files that say how they are made today."""

from __future__ import annotations

from pathlib import Path

NAMES = ("hinge_yoke", "valve_block")


def demo_job(name: str = "hinge_yoke") -> Path:
    """The job file of one of the demo's parts.

    Raises ValueError where there is no such part.
    """
    if name not in NAMES:
        raise ValueError(f"no demo part {name!r}; allowed: {', '.join(NAMES)}")
    return Path(__file__).parent / f"{name}.toml"
