"""What a plan keeps of its grips and cuts: the same after JSON, used without a search, void for another design."""

from __future__ import annotations

import copy
import json
from dataclasses import asdict

import pytest
from typer.testing import CliRunner

from palletwright.cli import app
from palletwright.errors import InputError
from palletwright.papers import live as papers_live
from palletwright.papers import write_papers
from palletwright.papers.facts import facts
from palletwright.papers.live import Live, live_of
from palletwright.papers.words import Words
from palletwright.plan import kept
from palletwright.plan.record import plain


@pytest.fixture
def keeping(data, live):
    """The plan's data with the grips of the fixture kept, as a file would hold them."""
    other = copy.deepcopy(data)
    way = other["plans"][0]
    visit = {"id": "10.1|0|hole-1/drill/T37", "tool": 37, "mount": "fixed", "angle": 0.0, "station": "10.1"}
    visit |= {"feature": "hole-1", "stage": "drill", "operation": 0, "start": (1.0, 2.0, 3.0), "end": (1.0, 2.0, 0.1)}
    visit |= {"cut_seconds": 9.5, "after": (), "lowest": 0.1, "basis": "geometry"}
    way["kept"] = plain(
        {
            "of": kept.fingerprint(way["design"]),
            "operations": {
                str(k): {"grip": kept._grip(h.grip), "cuts": [kept._cut(c) for c in h.cuts]}
                for k, h in live.options.items()
            },
            "cycles": [{"visits": [visit], "clear": [["fixed", 0.0, 37, 123.5]], "retract": 400.0}],
            "programmed": [1],
        }
    )
    return json.loads(json.dumps(other))


def test_grips_and_cuts_are_the_same_after_json(keeping, live, monkeypatch):
    monkeypatch.setattr(papers_live, "prepare", lambda *a: pytest.fail("the grips were searched again"))
    found = live_of(facts(keeping, 0, Words()), None)
    assert isinstance(found, Live)
    for k, held in live.options.items():
        grip, cuts = found.options[k].grip, found.options[k].cuts
        assert (grip.id, grip.kind, grip.regime, grip.price) == (held.grip.id, "edge", "stop", held.grip.price)
        assert grip.contacts == held.grip.contacts
        assert (grip.poses == held.grip.poses).all()
        for a, b in zip(grip.devices, held.grip.devices, strict=True):
            assert (a.id, a.kind, a.catalogue, a.tighten_from) == (b.id, b.kind, b.catalogue, b.tighten_from)
            assert (a.mesh.vertices == b.mesh.vertices).all()
            assert (a.mesh.triangles == b.mesh.triangles).all()
        for a, b in zip(cuts, held.cuts, strict=True):
            assert (a.tips == b.tips).all()
            assert {k: v for k, v in asdict(a).items() if k != "tips"} == {
                k: v for k, v in asdict(b).items() if k != "tips"
            }
    (cycle,) = found.kept.cycles
    assert cycle.visits[0].end == (1.0, 2.0, 0.1)
    assert cycle.clear == {("fixed", 0.0, 37): 123.5}
    assert found.kept.programmed == (1,)
    assert found.wear(37) is None or found.wear(37) > 0


def test_what_was_kept_for_another_design_is_not_used(keeping, monkeypatch):
    def gone(*args):
        raise LookupError("searched again")

    monkeypatch.setattr(papers_live, "prepare", gone)
    keeping["plans"][0]["design"]["stations"][0]["x"] += 1.0
    assert isinstance(live_of(facts(keeping, 0, Words()), None), str)
    keeping["plans"][0]["design"]["stations"][0]["x"] -= 1.0
    keeping["plans"][0]["design"]["sets"] += 1
    assert isinstance(live_of(facts(keeping, 0, Words()), None), Live)


def test_kept_data_of_the_wrong_kind_are_named(keeping):
    del keeping["plans"][0]["kept"]["operations"]["0"]["grip"]["poses"]
    text = live_of(facts(keeping, 0, Words()), None)
    assert isinstance(text, str)
    assert "kept" in text
    assert "poses" in text


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--projection", "sideways"], "first, third"),
        (["--logo", "nowhere.svg"], "readable file"),
        (["--approved-by", "Ada"], "readings"),
        (["--readings", "nowhere.csv"], "readable CSV"),
        (["--replaces", "nowhere.json"], "no such file"),
        (["--paper", "B5"], "A4, A3, Letter"),
    ],
)
def test_the_command_names_what_it_cannot_use(data, tmp_path, options, said):
    path = tmp_path / "plan.json"
    path.write_text(json.dumps(data))
    result = CliRunner().invoke(app, ["papers", str(path), "--out", str(tmp_path / "out"), *options])
    assert isinstance(result.exception, InputError)
    assert said in str(result.exception)
    assert not (tmp_path / "out").exists()


def test_approval_without_readings_is_refused(data, tmp_path):
    with pytest.raises(InputError, match="approves nothing"):
        write_papers(data, tmp_path, approved_by="Ada")
