"""What access answers: features, the ways to cut each, and the clampings that cut them all."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from palletwright.cutting.model import Cut
from palletwright.solid.model import Mesh, Solid
from palletwright.verdict import Reason, Vec

FeatureKind = Literal[
    "hole", "face", "pocket", "slot", "step", "profile", "chamfer", "fillet", "boss", "edge_break", "region"
]


@dataclass(frozen=True, slots=True)
class HoleStep:
    """One cylinder or cone of a hole, from the mouth inwards: diameter at its start and end, depth from and to."""

    diameter: float
    end_diameter: float
    start: float
    end: float


@dataclass(frozen=True, eq=False)
class Route:
    """One way to cut a feature: from `direction` with `cuts` in order; `left_over` mm³ stays and `notes` say why.

    A hole from both ends is two routes' worth: `pair` names the direction that must be used as well.
    """

    direction: Vec
    cuts: tuple[Cut, ...]
    reached: float
    left_over: float
    pair: Vec | None = None
    notes: tuple[str, ...] = ()

    @property
    def seconds(self) -> float:
        return sum(c.seconds for c in self.cuts)


@dataclass(frozen=True, eq=False)
class Feature:
    """One hole, or one connected region of material to remove. `removal` is a closed mesh in the part frame.

    `after` are the ids of features that must be cut before it. `faces` are the part's faces that it makes.
    """

    id: str
    kind: FeatureKind
    signature: str
    removal: Mesh
    volume: float
    faces: frozenset[int]
    routes: tuple[Route, ...]
    after: tuple[str, ...] = ()
    diameter: float | None = None
    depth: float | None = None
    through: bool | None = None
    axis: Vec | None = None
    position: Vec | None = None
    steps: tuple[HoleStep, ...] = ()
    thread: str | None = None
    notes: tuple[str, ...] = ()
    forms: tuple[str, ...] = ()
    """the pockets, slots and steps that a milled region makes, greatest first"""


@dataclass(frozen=True)
class Clamping:
    """One clamping: the directions used and the features cut in it, each from which direction.

    `axis` is the part-frame direction that must lie along the rotary axis, None for a fixed spindle. `ups` are
    the candidate normals of the side that the part may sit on, as seen from the part (the part rests on -up); along
    the axis where the part is held by its end.
    """

    directions: tuple[Vec, ...]
    features: tuple[tuple[str, Vec], ...]
    axis: Vec | None
    ups: tuple[Vec, ...]

    @property
    def on_end(self) -> bool:
        """Whether the part is held by its end, along the rotary axis: then nothing hides one of its sides."""
        return on_end(self.axis, self.ups[0])


def on_end(axis: Vec | None, up: Vec) -> bool:
    """Whether a part that rests on -up stands on the end of the axis rather than beside it."""
    return axis is not None and abs(sum(a * b for a, b in zip(axis, up, strict=True))) > 0.5


@dataclass(frozen=True)
class Sequence:
    """Clampings in order that cut everything that can be cut; `bound` is the least number possible.

    With a rotary axis it holds for mountings on sides and by the end; where none is by the end and the first sequence
    has one, for sides alone.
    """

    clampings: tuple[Clamping, ...]
    bound: int
    proven: bool
    seconds: float
    reasons: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True)
class LeftOver:
    """Material that no tool of the shop reaches from any direction."""

    feature: str
    mm3: float
    why: str
    would_do: str = ""


@dataclass(frozen=True, eq=False)
class Access:
    """Everything that access found, for one part, blank and shop."""

    solid: Solid
    stock: Mesh
    directions: tuple[tuple[Vec, float], ...]
    features: tuple[Feature, ...]
    left_over: tuple[LeftOver, ...]
    fixed: tuple[Sequence, ...]
    rotary: tuple[Sequence, ...]
    pitch: float
    error_bound: float
    reasons: tuple[Reason, ...] = ()
    status: Literal["ok", "infeasible"] = "ok"
    wanted: tuple[tuple[str, ...], ...] = ()
    """features that the job or tight tolerances want in one clamping, whether or not that could be kept"""
    known: tuple[str, ...] = ()
    """families (fixed, rotary) whose sequence is the job's own operations"""

    def kept(self, sequence: Sequence) -> frozenset[tuple[str, ...]]:
        """Those of `wanted` that a sequence cuts in one clamping."""
        rows = [{name for name, _ in c.features} for c in sequence.clampings]
        return frozenset(w for w in self.wanted if any(set(w) <= row for row in rows))
