"""A new revision of a part: what of fixture, programs and papers survives, and which prints are withdrawn."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from palletwright.papers.facts import Facts
from palletwright.papers.setup import head
from palletwright.papers.typeset import Block, Sheet, checks, heading, table, words

SAME = 0.01
"""mm within which a station or feature counts as where it was: below what a fixture repeats to."""


@dataclass(frozen=True, slots=True)
class Change:
    """One thing under comparison: what it is, `survives`, `changed`, `new` or `gone`, and how."""

    kind: str
    name: str
    state: str
    how: str = ""


@dataclass(frozen=True)
class Revision:
    """Everything compared between two plans, and the identity whose prints are withdrawn."""

    withdrawn: str
    valid: str
    changes: tuple[Change, ...]

    def of(self, kind: str, state: str) -> list[str]:
        """Names of one kind in one state."""
        return [c.name for c in self.changes if (c.kind, c.state) == (kind, state)]


def revision(old: Facts, new: Facts) -> Revision:
    """Compare two ways of plans, part by part: features, carriers, stations, grips, tools, programs."""
    rows = _compared("feature", _features(old), _features(new))
    rows += _compared("carrier", _carriers(old), _carriers(new))
    rows += _compared("station", _stations(old), _stations(new))
    rows += _compared("grip", _grips(old), _grips(new))
    rows += _compared("tool", _tools(old), _tools(new))
    rows += _compared("program", _programs(old), _programs(new))
    return Revision(old.identity, new.identity, tuple(rows))


def _compared(kind: str, old: dict[str, Any], new: dict[str, Any]) -> list[Change]:
    rows = []
    for name in dict.fromkeys([*old, *new]):
        if name not in new:
            rows.append(Change(kind, name, "gone"))
        elif name not in old:
            rows.append(Change(kind, name, "new"))
        elif old[name] == new[name]:
            rows.append(Change(kind, name, "survives"))
        else:
            rows.append(Change(kind, name, "changed", f"{old[name]} → {new[name]}"))
    return rows


def _round(values: Iterable[float] | None) -> tuple[float, ...] | None:
    """Places in steps of SAME; -0 is 0."""
    return None if values is None else tuple(round(v / SAME) * SAME + 0.0 for v in values)


def _features(facts: Facts) -> dict[str, Any]:
    """By signature: kind, size, axis and place, so that another numbering is no change."""
    rows = {}
    for f in facts.data["access"]["features"]:
        place = _round(f.get("position_mm"))
        spot = "" if place is None else " at " + ", ".join(f"{v:.2f}" for v in place)
        size = f.get("diameter_mm")
        rows[f"{f['kind']}{spot}"] = (None if size is None else round(size, 3), f.get("thread"), _round(f.get("axis")))
    return rows


def _carriers(facts: Facts) -> dict[str, Any]:
    known = {c.id: c.model_dump(mode="json") for c in facts.shop.carriers}
    return {
        p.mount: (p.carrier, p.sides, p.apothem, _round(p.at), p.turn, known[p.carrier]["length"])
        for p in facts.design.placings
    }


def _stations(facts: Facts) -> dict[str, Any]:
    return {s.parts[0]: (s.mount, s.side, *(_round((s.x, s.y)) or ()), s.turn) for s in facts.design.stations}


def _grips(facts: Facts) -> dict[str, Any]:
    """What holds each operation: the devices' shapes about the station, from the plan's own pictures."""
    rows: dict[str, Any] = {}
    numbers = {o.clamping: o.number for o in facts.design.operations}
    for cycle in facts.cycles:
        owner = {s.name: s.operation for s in facts.stations(cycle)}
        done: dict[int, str] = {}
        for body in facts.bodies(cycle):
            operation = owner.get(body["owner"])
            if body["kind"] not in ("clamp", "locator") or operation is None:
                continue
            if done.setdefault(operation, body["owner"]) == body["owner"]:
                rows.setdefault(f"op {numbers[operation]}", []).append(body["mesh"][:12])
    return {name: sorted(keys) for name, keys in rows.items()}


def _tools(facts: Facts) -> dict[str, Any]:
    known = {t.number: t for t in facts.shop.tools}
    return {
        f"T{n}": (known[n].cutter.id, known[n].holder.id, known[n].stick_out)
        for n in sorted({n for c in facts.cycles for n in facts.tools(c)})
    }


def _programs(facts: Facts) -> dict[str, Any]:
    """A cycle's program survives where every cut comes in the same order, at the same angle, with the same tool, from
    the same start to the same end, and every way across is as high. Without kept visits, where stations stand counts
    in their place."""
    rows: dict[str, Any] = {}
    kept = facts.way.get("kept") or {}
    for c in facts.cycles:
        order = [(e["note"], round(e["angle"], 4), e["tool"]) for e in facts.events(c) if e["what"] == "cut"]
        told: list[Any] = [order]
        if kept:
            cycle = kept["cycles"][c]
            told += [(v["id"], _round(v["start"]), _round(v["end"])) for v in sorted(cycle["visits"], key=_name)]
            told += sorted([m, round(a, 4), t, *(_round([z]) or ())] for m, a, t, z in cycle["clear"])
        else:
            told += [(s.name, _round(s.pose[:3].ravel())) for s in facts.stations(c)]
        rows[f"cycle {c + 1}"] = hash_of(told)
    return rows


def _name(visit: dict[str, Any]) -> str:
    return str(visit["id"])


def hash_of(rows: list[Any]) -> str:
    """Twelve signs that stand for a list."""
    import hashlib
    import json

    return hashlib.sha256(json.dumps(rows).encode()).hexdigest()[:12]


def revision_sheet(old: Facts, new: Facts) -> Sheet:
    """What survives and what doesn't, with the identity to collect and destroy on top."""
    w, found = new.words, revision(old, new)
    blocks: list[Block] = [
        words(w.say("rev_withdrawn", old=found.withdrawn, new=found.valid), "big"),
        checks([w.say("rev_collect", old=found.withdrawn), w.say("rev_programs"), w.say("rev_readings")]),
    ]
    kinds = list(dict.fromkeys(c.kind for c in found.changes))
    rows = [
        [w.say(f"rev_{kind}"), *(str(len(found.of(kind, s))) for s in ("survives", "changed", "new", "gone"))]
        for kind in kinds
    ]
    titles = ["", *(w.say(f"rev_{s}") for s in ("survives", "changed", "is_new", "gone"))]
    blocks.append(table(titles, rows, "lrrrr", ["1fr", *["auto"] * 4]))
    for kind in kinds:
        lines = [c for c in found.changes if c.kind == kind and c.state != "survives"]
        if lines:
            blocks.append(heading(w.say(f"rev_{kind}")))
            texts = [[c.name, w.say("rev_is_new" if c.state == "new" else f"rev_{c.state}"), c.how[:90]] for c in lines]
            blocks.append(table([w.say("item"), "", w.say("rev_how")], texts, "lll", ["auto", "auto", "1fr"]))
    return Sheet(w.say("rev_title"), head(new), new.identity, w.say("page"), (), tuple(blocks))
