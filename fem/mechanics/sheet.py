"""The sheet: its energy, nodal forces and tangent on a mesh of quadratic triangles.

Pi(x) = h int mean over z of psi(E) + foundation + ties,
C = G F^T F G,   F = dx/dX,   k = G (n . x,ij) G + jumps of slope,   G the natural stretches along and across the lines
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from fem.material.laws import Law
from fem.material.skin import bending_stiffness
from fem.mechanics.kernels.elastic_foundation import ElasticFoundation, elastic_foundation
from fem.mechanics.kernels.shell import Sides, layers, shell
from fem.mechanics.kernels.storage import NO_TANGENT, Stored, scatter_all
from fem.mechanics.kernels.surface import Points
from fem.mechanics.quadratic import barycentric, gradients, integration_points, second_derivatives, shapes
from fem.mechanics.ties import Contact, PenaltyTie, Thread, assembled
from fem.mechanics.triangulation import Mesh

GAUSS = np.array([-1.0, 1.0]) / np.sqrt(12)  # heights in h: the mean of the law there is right to the third power
PENALTY = 10.0  # of bending stiffness in place per height; our choice, 30 moves cones by 0.1 % on triangles of 2 mm
REACH = 3.0  # of a jump over the height of the triangle beside it: a third of the triangle is bent by it


@dataclass(frozen=True)
class Edges:
    """Edges at whose middles the skin's energy is taken."""

    nodes: np.ndarray  # (n, m)
    B: np.ndarray  # (n, m, 10) of the vectors of `kernels/shell.py`
    sides: Sides


@dataclass(frozen=True)
class Sheet:
    """Everything about the skin that does not change while a wound is closed."""

    X: np.ndarray  # (2, n) mm
    law: Law  # C (3, ...) -> psi, dpsi/dC, d2psi/dC2, MPa
    h: float  # mm, in place
    z: np.ndarray  # (n_z,) mm, heights in place at which the law is asked
    D: np.ndarray  # (3, 3) N mm, bending stiffness in place, against k
    edges: tuple[Edges, ...]  # between two triangles; free; of seams
    area: Points  # of x,1 and x,2; what acts on areas and what is measured
    shapes: np.ndarray  # (n_quad, 6) at these points
    foundation: ElasticFoundation | None
    ties: tuple[Thread | PenaltyTie, ...] = ()  # sutures tied one by one
    contact: Contact | None = None  # of the edges between them

    @property
    def groups(self) -> tuple[np.ndarray, ...]:
        """Node numbers (n, m) of all that couples nodes: triangles, then each group of edges, then each tie."""
        return (
            self.area.nodes,
            *(edges.nodes for edges in self.edges),
            *(np.atleast_2d(tie.nodes) for tie in self.joints),
        )

    @property
    def joints(self) -> tuple[Thread | PenaltyTie | Contact, ...]:
        """Its ties, then its contact."""
        return self.ties if self.contact is None else (*self.ties, self.contact)


def sheet(
    mesh: Mesh, *, law: Law, h: float, stretch: Sequence[float] | np.ndarray = (1.0, 1.0), lines: float = 0.0,
    foundation: ElasticFoundation | None = None, hinged: bool = False,
) -> Sheet:  # fmt: skip
    """Sheet on a mesh, its law in the axes of the lines; the seams of a hinged one turn freely.

    stretch  natural stretch along and across the lines;  lines  their angle to x, rad;  the rest as in `Sheet`
    """
    c, s = np.cos(lines), np.sin(lines)
    to_lines = np.array([[c, -s], [s, c]]) * np.asarray(stretch)
    lam, weights = integration_points(mesh.tri, 4)
    dN = gradients(lam, barycentric(mesh.tri)[0]) @ to_lines
    area = Points(np.ascontiguousarray(mesh.elements.T), np.ascontiguousarray(dN), weights)
    one, other = stretch
    natural = np.array([one**2, other**2, one * other])  # k in place per k of natural lengths
    D = bending_stiffness(law, stretch, h=h) / np.outer(natural, natural)
    edges = _edges(mesh, to_lines, D, hinged)
    return Sheet(mesh.X, law, h, h * GAUSS, D, edges, area, shapes(lam[0]), foundation)


def assemble(
    sheet: Sheet, x: np.ndarray, *, regularisation: float = 0.0, tangent: Iterator[Stored] = NO_TANGENT
) -> tuple[float, np.ndarray]:
    """Energy in N mm and nodal forces (3, n) in N at positions x (3, n); infinite if a layer is turned inside out.

    regularisation   of the bending stiffness in place is added to that against plain second derivatives; 0: the model
    tangent          where each of the sheet's groups adds its own
    """
    x = np.ascontiguousarray(x.T)
    r = np.zeros_like(x)
    elements, Pi, plain = next(tangent), 0.0, regularisation * sheet.D
    for at in sheet.edges:
        E = layers(x, at.nodes, at.B, at.sides, sheet.z)
        if not ((E[0] > 0) & (E[0] * E[1] > E[2] ** 2)).all():
            return np.inf, r.T
        psi, dpsi, ddpsi = sheet.law(E)
        Pi += float((sheet.h * at.sides.area * psi.mean(axis=-1)).sum())
        Pi += shell(x, at.nodes, at.B, at.sides, sheet.h, sheet.z, dpsi, ddpsi, plain, r, next(tangent))
    if sheet.foundation is not None:
        u = x.copy()
        u[:, :2] -= sheet.X.T
        Pi += elastic_foundation(u, sheet.area, sheet.shapes, sheet.foundation, r, elements)
    for tie in sheet.joints:
        energy, f, K = assembled(tie, x)
        Pi += energy
        nodes = np.atleast_2d(tie.nodes)
        np.add.at(r, nodes, f)
        scatter_all(K, nodes, next(tangent))
    return Pi, r.T


def lift(sheet: Sheet, pressure: float) -> np.ndarray:
    """Nodal forces (3, n) in N of an upward pressure in MPa of the reference area."""
    return np.outer([0, 0, 1], at_nodes(sheet, pressure * sheet.area.weights @ sheet.shapes))


def at_nodes(sheet: Sheet, values: np.ndarray) -> np.ndarray:
    """Sums (n,) at the nodes of values (n_elements, 6) at those of the elements."""
    return np.bincount(sheet.area.nodes.ravel(), values.ravel(), minlength=sheet.X.shape[1])


def cauchy_stress(sheet: Sheet, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Principal Cauchy stresses (2, n_elements, n_quad), MPa, smaller first, and greatest principal stretch.

    sigma = 2 F_G dpsi/dC F_G^T, F_G = F G; its in-plane principal values are those of 2 dpsi/dC C.
    """
    v = np.einsum("eqma,emi->aeqi", sheet.area.B, x.T[sheet.area.nodes])  # x,1 and x,2
    C = np.array([(v[a] * v[b]).sum(axis=-1) for a, b in ((0, 0), (1, 1), (0, 1))])
    S = sheet.law(C)[1]
    s11, s22, s12 = 2 * S[0], 2 * S[1], S[2]  # below, eigenvalues of S C from trace and determinant
    half = (s11 * C[0] + s22 * C[1] + 2 * s12 * C[2]) / 2
    det = (s11 * s22 - s12**2) * (C[0] * C[1] - C[2] ** 2)
    root = np.sqrt(np.maximum(half**2 - det, 0))
    mean = (C[0] + C[1]) / 2
    stretch = np.sqrt(mean + np.sqrt(np.maximum(mean**2 - C[0] * C[1] + C[2] ** 2, 0)))
    return np.stack([half - root, half + root]), stretch


def _edges(mesh, to_lines, D, hinged):
    """All edges: those between two triangles, free ones, those of the seams unless they are hinged and so free."""
    tri = mesh.tri
    inner, seams = tri.f2t[1] >= 0, [seam[:, 1::2] - tri.nvertices for seam in mesh.seams]
    sewn = np.zeros(tri.nfacets, bool)
    if not hinged:
        sewn[np.concatenate([np.empty(0, int), *(seam.ravel() for seam in seams)])] = True
    pairs = [tri.f2t[:, inner], np.stack([tri.f2t[0, ~inner & ~sewn]] * 2)]
    ends = [np.stack([tri.facets[:, facets]] * 2) for facets in (inner, ~inner & ~sewn)]
    groups = [_beside(mesh, *pairs_ends, to_lines, D) for pairs_ends in zip(pairs, ends, strict=True)]
    groups[0], groups[1] = _merged(groups[0]), _free(groups[1])
    for seam, facets in () if hinged else zip(mesh.seams, seams, strict=True):
        of_seam = np.stack([seam[:, :-1:2], seam[:, 2::2]], axis=1)  # side, end, edge
        groups.append(_beside(mesh, tri.f2t[0, facets], of_seam, to_lines, D))
    return tuple(group for group in groups if group.nodes.size)


def _beside(mesh, elements, ends, to_lines, D):
    """Edges by the triangle on either side (2, n) and the end vertices as each side names them (2, 2, n)."""
    tri, n = mesh.tri, elements.shape[1]
    dlam, areas = barycentric(tri)
    B, nu, bent, area = np.zeros((n, 12, 10)), np.empty((n, 2, 2)), np.empty((n, 2, 3)), np.empty((n, 2))
    stiffness = np.zeros(n)
    for side, (e, (a, b)) in enumerate(zip(elements, ends, strict=True)):
        t = tri.t[:, e].T  # (n, 3)
        on = (t == a[:, None]) | (t == b[:, None])
        inward = dlam[e][~on]  # (n, 2), the gradient of the opposite vertex's coordinate: 1 / height
        height = 1 / np.linalg.norm(inward, axis=1)
        out = -inward * height[:, None]
        local, (one, other) = slice(6 * side, 6 * side + 6), (out @ to_lines).T
        B[:, local, 2 * side : 2 * side + 2] = (gradients(on[:, None] / 2, dlam[e]) @ to_lines)[:, 0]
        second = to_lines.T @ second_derivatives(dlam[e]) @ to_lines
        B[:, local, 4 + 3 * side : 7 + 3 * side] = second[..., (0, 1, 0), (0, 1, 1)]
        nu[:, side] = out @ np.linalg.inv(to_lines).T
        bent[:, side] = REACH / height[:, None] * np.stack([one**2, other**2, one * other], axis=-1)
        area[:, side] = areas[e] / 3
        stiffness += PENALTY * areas[e] * np.einsum("ec,cd,ed->e", bent[:, side], D, bent[:, side]) / REACH**2
    nodes = np.ascontiguousarray(np.concatenate(mesh.elements[:, elements].swapaxes(0, 1)).T)
    return Edges(nodes, B, Sides(area, nu, bent, stiffness))


def _merged(edges):
    """The same with the three nodes that both sides share named once."""
    nodes, B = edges.nodes, edges.B
    shared = nodes[:, :6, None] == nodes[:, None, 6:]
    edge, first, second = np.nonzero(shared)
    B[edge, first] += B[edge, 6 + second]
    rest = np.nonzero(~shared.any(axis=1))[1].reshape(-1, 3) + 6  # the three of the second side alone
    keep = np.hstack([np.tile(np.arange(6), (len(rest), 1)), rest])
    B = np.ascontiguousarray(np.take_along_axis(B, keep[..., None], axis=1))
    return Edges(np.take_along_axis(nodes, keep, axis=1), B, edges.sides)


def _free(edges):
    """The same with its one side only: the second, equal to it, counts nothing."""
    B = edges.B[:, :6] + edges.B[:, 6:]
    area = edges.sides.area * [1.0, 0.0]
    return Edges(
        np.ascontiguousarray(edges.nodes[:, :6]),
        B,
        edges.sides._replace(area=area, bent=0 * edges.sides.bent, penalty=0 * edges.sides.penalty),
    )
