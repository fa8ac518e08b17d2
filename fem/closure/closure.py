"""A closure: a wound before and after it was closed, and the stress at its nodes."""

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from fem.geometry.outlines import Outline
from fem.material.skin import KPA
from fem.mechanics.contact import SelfContact
from fem.mechanics.sheet import Sheet, assemble, cauchy_stress
from fem.mechanics.solve import Effort
from fem.mechanics.ties import TiedSutures
from fem.mechanics.triangulation import Mesh
from fem.plan.plan import Plan


@dataclass(frozen=True)
class Stage:
    """A state between the gaping wound and the closed one."""

    closed: float  # fraction of the gaping wound's gap
    x: np.ndarray  # (3, n) mm
    stress: np.ndarray  # (n,) kPa, greatest principal
    label: str = ""  # what was done last, if it is not said by `closed`


@dataclass(frozen=True)
class Closure:
    """A wound before and after it was closed."""

    outline: Outline
    plan: Plan
    lesion_area: float  # mm2, inside the outline
    mesh: Mesh
    sheet: Sheet
    gaping: np.ndarray  # (3, n) mm: positions of the cut, open wound at rest
    x: np.ndarray  # (3, n) mm: positions of the closed wound at rest
    left: dict[float, float] | None = None  # share of every force that is left, by seconds after closure
    sutures: TiedSutures | None = None  # None: edges joined all along, and no other suture
    stages: tuple[Stage, ...] = ()  # from the gaping wound to the closed one
    trimmed: "Trimmed | None" = None  # None: its cones are left
    contact: SelfContact | None = None  # of skin with skin; None: no part is near another
    effort: Effort = field(default_factory=Effort)

    @cached_property
    def over(self) -> np.ndarray:
        """Places on the plan below the nodes, and heights above the body (3, n), mm: on a flat one, x itself."""
        return self.mesh.surface.over(self.x)

    @cached_property
    def stress(self) -> tuple[np.ndarray, np.ndarray]:
        """Principal Cauchy stresses (2, n_elements, n_quad) in MPa, and greatest stretch, at the integration points."""
        return cauchy_stress(self.sheet, self.x)

    @cached_property
    def assembled(self) -> tuple[float, np.ndarray]:
        """Energy of the closed skin and its bed, N mm, and forces (3, n) that hold the nodes, N."""
        return assemble(self.sheet, self.x, contact=self.contact)


@dataclass(frozen=True)
class Trimmed:
    """What a wound was before its cones were cut off."""

    before: Closure
    cut: tuple[float, ...]  # mm, from the left and the right tip to the apex of the cuts
    tried: tuple[tuple[tuple[float, ...], tuple[float, ...]], ...]  # such cuts, and heights of the cones they leave, mm


def nodal_stress(closure: Closure) -> np.ndarray:
    """Greatest principal Cauchy stress (n,) at the nodes, kPa."""
    return KPA * nodal(closure, closure.stress[0][1])


def nodal(closure: Closure, values: np.ndarray) -> np.ndarray:
    """Values (n,) at the nodes from those at the integration points (n_elements, n_quad), exact if linear.

    The linear function that fits an element best gives the values at its corners; a vertex takes the average
    of its elements, by area, and a midpoint that of its ends.
    """
    sheet, tri = closure.sheet, closure.mesh.tri
    N, weights = sheet.shapes, sheet.area.weights
    linear = N[:, :3] + (N[:, 3:] + N[:, [5, 3, 4]]) / 2
    weighted = linear.T * weights[0]
    corners = np.linalg.solve(weighted @ linear, weighted @ values.T)
    area = np.broadcast_to(weights.sum(axis=1), corners.shape).ravel()
    vertices = np.bincount(tri.t.ravel(), area * corners.ravel()) / np.bincount(tri.t.ravel(), area)
    return np.append(vertices, vertices[tri.facets].mean(axis=0))
