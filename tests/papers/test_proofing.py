"""Pins verified by trying again; corrections that tell a station from a tool; maps and revisions."""

from __future__ import annotations

import copy

import numpy as np
import pytest
from test_mistakes import CONTACTS, NOTCHED, STOP, STROKES

from palletwright.errors import InputError
from palletwright.papers.blocking import mount_turns, pin_mesh, proofed
from palletwright.papers.corrections import Reading, approved_csv, corrections, read_readings
from palletwright.papers.facts import facts
from palletwright.papers.revision import revision
from palletwright.papers.stationmap import map_csv, measured_zeros, station_map
from palletwright.papers.words import Words
from palletwright.solid import intersect


def test_pins_leave_the_right_part_alone_and_what_is_left_is_named():
    found = proofed(NOTCHED, CONTACTS, [STOP], STROKES, {}, 30.0)
    assert {w.turned for w in found.found} == {"180° +x", "180° +y", "180° +z"}
    for pin in found.pins:
        assert intersect([NOTCHED, pin_mesh(pin)]).volume == 0.0
        assert pin.blocks
    kept = {name for pin in found.pins for name in pin.blocks}
    assert {w.turned for w in found.left} == {w.turned for w in found.found} - kept


def test_a_station_is_told_from_a_tool():
    """Station 2 stands 0.05 deep, tool 5 is 0.02 long: what all stations share is the tool's."""
    place, long = {"1": -0.025, "2": 0.025}, {3: 0.0, 5: 0.02}
    rows = [Reading(s, t, "z", place[s] + long[t]) for s in place for t in long]
    found = {(c.kind, c.name): c.add for c in corrections(rows).corrections}
    assert found == pytest.approx({("station", "1"): 0.025, ("station", "2"): -0.025, ("tool", "5"): -0.02})
    odd = corrections([*rows, Reading("1", 3, "z", 0.3)])
    assert odd.unexplained


def test_one_station_alone_is_not_told_from_its_tool():
    (c,) = corrections([Reading("1", 3, "z", 0.04)]).corrections
    assert (c.kind, c.separated) == ("tool", False)


def test_readings_of_another_plan_are_refused_all_at_once_and_nothing_goes_unapproved():
    with pytest.raises(InputError) as caught:
        read_readings("station,tool,axis,deviation_mm\n9,3,z,0.1\n1,3,q,x\n", ["1"], [3])
    assert len(caught.value.faults) == 3
    with pytest.raises(InputError, match="approve"):
        approved_csv(corrections([]), " ", "abc")


def test_one_dowel_off_the_middle_stops_a_turned_carrier(given):
    plate = next(c for c in given.shop.carriers if c.kind == "plate")
    assert mount_turns(plate, 1) == ([], "dowels")
    even = plate.model_copy(update={"mount_holes": tuple(h.model_copy(update={"y": 0.0}) if h.kind == "dowel" else h
                                                         for h in plate.mount_holes)})  # fmt: skip
    assert mount_turns(even, 1)[0] == [180.0]
    assert mount_turns(plate.model_copy(update={"mount_holes": ()}), 1) == ([], "")


def test_a_map_filled_in_moves_every_zero_with_its_master_point(given):
    text = map_csv(given, 0).replace("\n,", "\nS1,")
    rows = {r[1]: [float(v) for v in r[3:]] for r in measured_zeros(text, {"S1": (1.0, 2.0, 3.0)}, given.identity)}
    for m in station_map(given, 0, "fixed"):
        assert rows[m.station] == pytest.approx(np.add(m.at, (1.0, 2.0, 3.0)), abs=1e-3)
    with pytest.raises(InputError, match="another plan"):
        measured_zeros(text, {"S1": (0.0, 0.0, 0.0)}, "other")


def test_a_moved_station_is_changed_and_all_else_survives(data, given):
    other = copy.deepcopy(data)
    other["identity"] = "000000000000"
    other["plans"][0]["design"]["stations"][0]["x"] += 5.0
    found = revision(given, facts(other, 0, Words()))
    assert found.withdrawn == given.identity
    assert found.of("station", "changed") == ["10.1"]
    assert all(c.state == "survives" for c in found.changes if c.name != "10.1")


def test_a_program_survives_only_where_every_cut_is_where_it_was(data, given):
    """Kept visits: a cut that ends 0.1 mm deeper changes the program though its order is the same."""

    def told(deeper):
        other = copy.deepcopy(data)
        visits = [
            {"id": e["note"], "start": [0.0, 0.0, 30.0], "end": [0.0, 0.0, 5.0 - deeper]}
            for e in other["plans"][0]["cycle"]["cycles"][0]["events"]
            if e["what"] == "cut"
        ]
        other["plans"][0]["kept"] = {"cycles": [{"visits": visits, "clear": [["fixed", 0.0, 37, 400.0]]}]}
        return facts(other, 0, Words())

    assert revision(told(0.0), told(0.0)).of("program", "survives") == ["cycle 1"]
    assert revision(told(0.0), told(0.1)).of("program", "changed") == ["cycle 1"]
