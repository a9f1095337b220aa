"""Wrong ways of hand-made parts: exactly those that symmetry says."""

from __future__ import annotations

import numpy as np
import pytest

from palletwright.grip.model import Contact, Device
from palletwright.papers.mistakes import WrongWay, turns, wrong_ways
from palletwright.papers.offsetting import offset_locator
from palletwright.scene import box
from palletwright.solid import subtract

BLOCK = box((0.0, 0.0, 0.0), (40.0, 30.0, 20.0))
NOTCH = box((30.0, 20.0, 10.0), (41.0, 31.0, 21.0))
NOTCHED = subtract(BLOCK, NOTCH)
FRICTION = (0.1, 0.15)


def contact(name, kind, at, normal, device=""):
    return Contact(name, kind, at, normal, FRICTION, device=device)


SEATS = [contact(f"R{k}", "locator", at, (0.0, 0.0, 1.0)) for k, at in enumerate([(5, 5, 0), (25, 5, 0), (12, 15, 0)])]
STOPS = [
    contact("A1", "locator", (5.0, 0.0, 5.0), (0.0, 1.0, 0.0)),
    contact("A2", "locator", (25.0, 0.0, 5.0), (0.0, 1.0, 0.0)),
    contact("B1", "locator", (0.0, 12.0, 5.0), (1.0, 0.0, 0.0)),
]
CLAMP = contact("C1", "clamp", (12.0, 30.0, 5.0), (0.0, -1.0, 0.0), "clamp-1")
CONTACTS = [*SEATS, *STOPS, CLAMP]
STOP = Device("stop-1", "locator", "stop", box((-8.0, -8.0, 0.0), (30.0, 0.0, 8.0)))
STROKES = {"clamp-1": 1.0}


def test_there_are_24_ways_and_the_first_is_the_right_one():
    ways = turns()
    assert len(ways) == 24
    assert (ways[0] == np.eye(3)).all()
    assert len({m.tobytes() for m in ways}) == 24


def clamped(part, contacts, devices):
    return {w.turned for w in wrong_ways(part, contacts, devices, STROKES) if w.clamps}


def test_a_plain_block_has_no_wrong_way_that_clamps():
    """The clamp of 1 mm stroke needs 30 mm across, stop A2 at x = 25 needs more than 25 along: the half turns only,
    and those leave the block as it was."""
    assert clamped(BLOCK, CONTACTS, [STOP]) == set()


def test_with_near_stops_a_block_can_stand_on_end():
    """Stop A2 and rest R1 at x = 15 are met by the 20 mm side as well: its length and height may be exchanged."""
    near = [
        SEATS[0],
        contact("R1", "locator", (15.0, 5.0, 0.0), (0.0, 0.0, 1.0)),
        SEATS[2],
        STOPS[0],
        contact("A2", "locator", (15.0, 0.0, 5.0), (0.0, 1.0, 0.0)),
        STOPS[2],
        CLAMP,
    ]
    assert clamped(BLOCK, near, [STOP]) == {"90° +y", "90° -y", "180° +x +z", "180° +x -z"}


def test_a_notched_block_seats_turned_by_half_and_the_clamp_reaches_it():
    assert clamped(NOTCHED, CONTACTS, [STOP]) == {"180° +x", "180° +y", "180° +z"}


def test_a_pin_in_the_notch_leaves_none_that_clamps():
    pin = Device("pin-1", "locator", "pin", box((33.0, 23.0, 11.0), (38.0, 28.0, 19.0)))
    assert clamped(NOTCHED, CONTACTS, [STOP, pin]) == set()


def test_a_longer_stroke_reaches_more():
    few = [w for w in wrong_ways(BLOCK, CONTACTS, [STOP], STROKES) if w.clamps]
    many = [w for w in wrong_ways(BLOCK, CONTACTS, [STOP], {"clamp-1": 20.0}) if w.clamps]
    assert len(many) > len(few)
    assert set(few) <= set(many)


def test_a_stop_that_is_not_touched_is_no_seat():
    """A stop beyond the short face: the part turned by a quarter about z never meets A2."""
    far = [*SEATS, STOPS[0], contact("A2", "locator", (35.0, 0.0, 5.0), (0.0, 1.0, 0.0)), STOPS[2], CLAMP]
    names = {w.turned for w in wrong_ways(BLOCK, far, [], {})}
    assert "90° +z" not in names
    assert "90° +z" in {w.turned for w in wrong_ways(BLOCK, CONTACTS, [], {})}


@pytest.mark.parametrize("shift", [(0.0, 0.0, 0.0), (100.0, -50.0, 3.0)])
def test_where_the_station_stands_does_not_matter(shift):
    move = np.eye(4)
    move[:3, 3] = shift
    moved = [contact(c.id, c.kind, tuple(np.add(c.at, shift)), c.normal, c.device) for c in CONTACTS]
    part = NOTCHED.moved(move)
    stop = Device("stop-1", "locator", "stop", STOP.mesh.moved(move))
    here = wrong_ways(part, moved, [stop], STROKES)
    assert here == wrong_ways(NOTCHED, CONTACTS, [STOP], STROKES)
    assert all(isinstance(w, WrongWay) for w in here)


def test_an_offset_locator_keeps_out_what_no_pin_can():
    """Two stops in the height of the notch: the half turn about z brings the notch to x 0 to 10 on the stops' face.
    A stop at x = 14 doesn't feel it, one at 5 or 8 does; the right part lies on the stop there too."""
    body = box((11.0, -8.0, 0.0), (17.0, 0.0, 18.0))
    stops = [
        contact("A1", "locator", (14.0, 0.0, 15.0), (0.0, 1.0, 0.0), "stop-1"),
        contact("A2", "locator", (28.0, 0.0, 15.0), (0.0, 1.0, 0.0)),
        STOPS[2],
    ]
    contacts = [*SEATS, *stops, CLAMP]
    devices = [Device("stop-1", "locator", "stop", body)]
    left = [w for w in wrong_ways(NOTCHED, contacts, devices, STROKES) if w.clamps]
    assert "180° +z" in {w.turned for w in left}
    made = offset_locator(NOTCHED, contacts, devices, STROKES, {}, left)
    assert made is not None
    assert made.offset.device == "stop-1"
    assert made.offset.x <= -3.0
    assert "180° +z" in made.offset.blocks
    again = {w.turned for w in wrong_ways(NOTCHED, made.contacts, made.devices, STROKES) if w.clamps}
    assert again == {w.turned for w in made.left}
    assert "180° +z" not in again
    (moved,) = [c for c in made.contacts if c.id == "A1"]
    assert 0.0 < moved.at[0] < 10.0
    assert offset_locator(BLOCK, contacts, devices, STROKES, {}, []) is None
