"""How far a thin wall or a clamped-in span of the part gives under the tool: a beam estimate, then a light FE plate.

The FE plate needs scikit-fem, which is not among the packages that a plain installation brings; without it the
estimate stands and says so.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

POISSON = 0.33  # aluminium; steel 0.30
# Share of the tolerance past which the estimate no longer serves (issue: 30 %).
ESTIMATE_LIMIT = 0.3


@dataclass(frozen=True, slots=True)
class Give:
    """Deflection (mm) under the tool, how it was found ('beam' or 'plate FE'), and a note where one is due."""

    deflection: float
    method: str
    note: str = ""


def wall_estimate(force: float, height: float, width: float, thickness: float, modulus: float) -> float:
    """Deflection (mm) of a wall clamped along its foot under `force` N across its top edge.

    Cantilever F·h³/(3·E·I) with the width that carries a point force at a wall's middle: min(w, 2·h) (45° spread,
    estimated). `modulus` N/mm². Slender walls only: shear is left out.
    """
    carries = min(width, 2.0 * height)
    return 4.0 * force * height**3 / (modulus * carries * thickness**3)


def span_estimate(force: float, span: float, width: float, thickness: float, modulus: float) -> float:
    """Deflection (mm) of a span clamped in at both ends under `force` N at its middle: F·L³/(192·E·I)."""
    return force * span**3 / (192.0 * modulus * width * thickness**3 / 12.0)


def wall_give(force: float, height: float, width: float, thickness: float, modulus: float, tolerance: float) -> Give:
    """Give of a wall at the middle of its top edge; the FE plate where the estimate passes 30 % of `tolerance` mm."""
    estimate = wall_estimate(force, height, width, thickness, modulus)
    return _refined(estimate, tolerance, lambda: plate(force, height, width, thickness, modulus))


def span_give(force: float, span: float, width: float, thickness: float, modulus: float, tolerance: float) -> Give:
    """Give of a span between two supports; the FE plate where the estimate passes 30 % of `tolerance` mm."""
    estimate = span_estimate(force, span, width, thickness, modulus)
    return _refined(estimate, tolerance, lambda: plate(force, span, width, thickness, modulus, held="foot and top"))


def _refined(estimate: float, tolerance: float, exact: Callable[[], float]) -> Give:
    if estimate <= ESTIMATE_LIMIT * tolerance:
        return Give(estimate, "beam")
    try:
        import skfem  # noqa: F401
    except ImportError:
        return Give(estimate, "beam", "past 30 % of the tolerance and scikit-fem isn't installed: unproven")
    return Give(exact(), "plate FE")


Held = Literal["foot", "foot and ends", "foot and top"]


def plate(
    force: float, height: float, width: float, thickness: float, modulus: float,
    *, poisson: float = POISSON, cells: int = 16, held: Held = "foot",
) -> float:  # fmt: skip
    """Deflection (mm) under a point force at the middle of a plate's free edge, or in its middle between two supports.

    Kirchhoff plate, Morley triangles (scikit-fem): D·∫ (1−ν)·κ(u):κ(v) + ν·tr κ(u)·tr κ(v) = F·v, D = E·t³/(12(1−ν²)).

    Parameters
    ----------
    cells : squares along the height; the width has as many as keep them square, an even number
    held : clamped edges: the foot; the foot and both upright ends, as a pocket's wall is; the foot and the top, as a
        span between two supports is (the force then in the middle)
    """
    from skfem import Basis, BilinearForm, ElementTriMorley, MeshTri, condense, solve
    from skfem.helpers import dd, ddot, eye, trace

    across = 2 * max(1, math.ceil(cells * width / height / 2.0))
    mesh = MeshTri.init_tensor(np.linspace(0, width, across + 1), np.linspace(0, height, cells + 1))
    mesh = mesh.with_boundaries(
        {
            "foot": lambda x: x[1] < 1e-9,
            "top": lambda x: x[1] > height - 1e-9,
            "ends": lambda x: (x[0] < 1e-9) | (x[0] > width - 1e-9),
        }
    )
    basis = Basis(mesh, ElementTriMorley())
    stiffness = modulus * thickness**3 / (12.0 * (1.0 - poisson**2))

    @BilinearForm  # type: ignore[untyped-decorator]
    def bending(u: Any, v: Any, _: Any) -> Any:
        def moment(bent: Any) -> Any:
            return stiffness * ((1.0 - poisson) * bent + poisson * eye(trace(bent), 2))

        return ddot(moment(dd(u)), dd(v))

    matrix = bending.assemble(basis)
    load = basis.zeros()
    loaded = height / 2.0 if held == "foot and top" else height
    place = int(np.argmin(np.hypot(mesh.p[0] - width / 2.0, mesh.p[1] - loaded)))
    node = int(basis.nodal_dofs[0, place])
    load[node] = force
    return float(solve(*condense(matrix, load, D=basis.get_dofs(held.split(" and "))))[node])
