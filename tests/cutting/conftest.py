"""Two materials."""

from __future__ import annotations

import pytest

from palletwright.shop.model import CuttingData, Material


@pytest.fixture
def steel() -> Material:
    return Material(
        id="steel", group="P", kc11=1500, mc=0.22, source="VDI 3323 group 2", density=7850, yield_strength=340, price=2,
        mill=CuttingData(vc=160, feed=0.06), drill=CuttingData(vc=80, feed=0.2),
        drill_hss=CuttingData(vc=25, feed=0.18), tap_vc=12, friction=(0.1, 0.15),
    )  # fmt: skip


@pytest.fixture
def aluminium() -> Material:
    return Material(
        id="al", group="N", kc11=800, mc=0.25, source="VDI 3323 group 22", density=2700, yield_strength=260, price=5,
        mill=CuttingData(vc=300, feed=0.08), drill=CuttingData(vc=120, feed=0.25), tap_vc=20, friction=(0.1, 0.15),
    )  # fmt: skip
