"""Pictures of each direction: the right faces in the right colours, in files that open."""

from __future__ import annotations

import struct
import zlib

import numpy as np
from access_cases import answered, block

from palletwright.access import write_report
from palletwright.access.pictures import OTHER, STAYS, colour, picture
from palletwright.job.model import Blank, Job

UP, DOWN = (0.0, 0.0, 1.0), (0.0, 0.0, -1.0)


def job() -> Job:
    return Job(part="block.step", material="6061-T6", per_year=100, blank=Blank(kind="finished"))


def test_a_pocket_has_its_colour_where_it_is_cut_and_nowhere_else():
    access = answered(block([("box", (20, 20, 30), (60, 50, 51))]), job())
    (pocket,) = access.features
    image, shown = picture(access, UP)
    assert shown == [pocket]
    kinds = {}
    for name, rgb in (("pocket", colour(access, pocket)), ("stays", STAYS), ("other", OTHER)):
        kinds[name] = float((image == np.array(rgb)).all(axis=2).mean())
    inside = (image != 255).any(axis=2).mean()
    # 40 x 30 mm of 100 x 80; edges between faces are dark.
    assert abs((kinds["pocket"] + kinds["stays"]) / inside - 0.15) < 0.01
    assert kinds["stays"] == 0
    assert abs(kinds["other"] / inside - 0.85) < 0.03
    image, shown = picture(access, DOWN)
    assert shown == []
    assert not (image == np.array(colour(access, pocket))).all(axis=2).any()


def test_the_page_holds_its_pictures_and_says_what_stays(tmp_path):
    access = answered(block([("box", (20, 38, 30), (80, 42, 51)), ("box", (20, 25, 20), (80, 55, 30))]), job())
    path = write_report(access, tmp_path / "new")
    text = path.read_text(encoding="utf-8")
    assert (picture(access, UP)[0] == np.array(STAYS)).all(axis=2).any()
    files = sorted(path.parent.glob("*.png"))
    assert len(files) == text.count("data:image/png;base64,") == sum(v > 0 for _, v in access.directions)
    assert "undercut" in text
    assert "http" not in text
    data = files[0].read_bytes()
    nx, ny = struct.unpack(">II", data[16:24])
    start = data.index(b"IDAT") + 4
    length = struct.unpack(">I", data[start - 8 : start - 4])[0]
    assert len(zlib.decompress(data[start : start + length])) == ny * (3 * nx + 1)
