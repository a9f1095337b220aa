"""Published screw figures.

Sources
-------
VDI 2230 fine-thread table as reproduced at mastik.pt (2001/2003 edition): greatest assembly preloads, ±0.5 %.
Bossard VDI 2230 guide: M12 8.8, µ 0.14: 41.9 kN; least preload 41.9/1.8 = 23.3 kN.
ISO 898-1 proof loads through optimas.com and slsbearings.com.
A workholding maker's stud table: 1/2-13 at 38 ft·lb gives 4600 lb (K 0.2), within its rounding of 1 %.
"""

from __future__ import annotations

import pytest

from palletwright.holding.bolts import greatest_preload, proof_load, screw_force


@pytest.mark.parametrize(
    ("thread", "pitch", "grade", "friction", "published_kn"),
    [
        ("M8", 1.0, "8.8", 0.10, 20.7),
        ("M8", 1.0, "8.8", 0.12, 20.2),
        ("M8", 1.0, "8.8", 0.14, 19.7),
        ("M10", 1.25, "8.8", 0.12, 31.6),
        ("M12", 1.25, "8.8", 0.12, 48.0),
        ("M16", 1.5, "8.8", 0.12, 87.6),
        ("M16", 1.5, "10.9", 0.12, 128.7),
        ("M16", 1.5, "12.9", 0.12, 150.6),
        ("M12", None, "8.8", 0.14, 41.9),
    ],
)
def test_greatest_assembly_preload(thread, pitch, grade, friction, published_kn):
    assert greatest_preload(thread, grade, friction, pitch) / 1000 == pytest.approx(published_kn, rel=0.005)


@pytest.mark.parametrize(
    ("thread", "grade", "published"),
    [("M5", "8.8", 8230), ("M8", "10.9", 30400), ("M12", "12.9", 81800), ("M20", "8.8", 147000)],
)
def test_proof_loads(thread, grade, published):
    assert proof_load(thread, grade) == published


def test_stud_table():
    published_lb = 4600
    newton_metres = 38 * 1.355818
    assert screw_force(newton_metres, 12.7)[1] / 4.448222 == pytest.approx(published_lb, rel=0.01)
