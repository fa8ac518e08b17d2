"""The sheet: its energy, nodal forces and tangent on a mesh of quadratic triangles.

Pi(x) = h int psi(C) + D/2 int [(1 - nu) |k|^2 + nu (tr k)^2] + jumps + foundation + ties,
C = G F^T F G,   F = dx/dX,   k_ij = n . x,ij,   G the natural stretches along and across the lines
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from skfem.quadrature import get_quadrature
from skfem.refdom import RefLine

from fem.material.laws import Law
from fem.mechanics.kernels.bending import bending
from fem.mechanics.kernels.elastic_foundation import ElasticFoundation, elastic_foundation
from fem.mechanics.kernels.interior_penalty import interior_penalty
from fem.mechanics.kernels.membrane import cauchy_green, membrane
from fem.mechanics.kernels.storage import NO_TANGENT, Stored, scatter_all
from fem.mechanics.kernels.surface import VECTORS, Points
from fem.mechanics.quadratic import barycentric, gradients, integration_points, second_derivatives, shapes
from fem.mechanics.ties import Contact, PenaltyTie, Thread, assembled
from fem.mechanics.triangulation import Mesh

PENALTY = 10.0  # times D/h, our choice; stable above 3.5; 20 lowers a nearly flat 2 mm cone on 2 mm triangles by 3 %


@dataclass(frozen=True)
class FacetTerms:
    """Edges across which the sheet carries moment."""

    points: Points
    per_height: np.ndarray  # (n,) 1/mm
    seam: bool  # the sides' outward normals are not opposite in the reference, so x,nu lines up only through n


@dataclass(frozen=True)
class Sheet:
    """Everything about the skin that does not change while a wound is closed."""

    X: np.ndarray  # (2, n) mm
    law: Law  # C (3, ...) -> psi, dpsi/dC, d2psi/dC2, MPa
    h: float  # mm
    D: float  # N mm
    poisson: float  # of bending
    membrane: Points
    bending: Points
    interior_penalty: tuple[FacetTerms, ...]
    shapes: np.ndarray  # (n_quad, 6) at the membrane's points
    foundation: ElasticFoundation | None
    ties: tuple[Thread | PenaltyTie, ...] = ()  # sutures tied one by one
    contact: Contact | None = None  # of the edges between them

    @property
    def groups(self) -> tuple[np.ndarray, ...]:
        """Node numbers (n, m) of all that couples nodes: elements, then each group of edges, then each tie."""
        return (
            self.membrane.nodes,
            *(facets.points.nodes for facets in self.interior_penalty),
            *(np.atleast_2d(tie.nodes) for tie in self.joints),
        )

    @property
    def joints(self) -> tuple[Thread | PenaltyTie | Contact, ...]:
        """Its ties, then its contact."""
        return self.ties if self.contact is None else (*self.ties, self.contact)


def sheet(
    mesh: Mesh, *, law: Law, h: float, D: float, poisson: float, stretch: Sequence[float] | np.ndarray = (1.0, 1.0),
    lines: float = 0.0, foundation: ElasticFoundation | None = None, hinged: bool = False,
) -> Sheet:  # fmt: skip
    """Sheet on a mesh, its law in the axes of the lines; the seams of a hinged one turn freely.

    stretch  natural stretch along and across the lines;  lines  their angle to x, rad;  the rest as in `Sheet`
    """
    tri = mesh.tri
    inner = tri.f2t[1] >= 0
    facets = [_facet_terms(mesh, tri.f2t[:, inner], np.stack([tri.facets[:, inner]] * 2), poisson, seam=False)]
    for seam in () if hinged else mesh.seams:
        elements = tri.f2t[0, seam[:, 1::2] - tri.nvertices]
        ends = np.stack([seam[:, :-1:2], seam[:, 2::2]], axis=1)  # side, end, edge
        facets.append(_facet_terms(mesh, elements, ends, poisson, seam=True))
    c, s = np.cos(lines), np.sin(lines)
    to_lines = np.array([[c, -s], [s, c]]) * np.asarray(stretch)
    lam, weights = integration_points(tri, 4)
    dN = gradients(lam, barycentric(tri)[0]) @ to_lines
    skin = Points(nodes=np.ascontiguousarray(mesh.elements.T), B=dN, weights=weights)
    return Sheet(mesh.X, law, h, D, poisson, skin, _bending(mesh), tuple(facets), shapes(lam[0]), foundation)


def assemble(
    sheet: Sheet, x: np.ndarray, *, regularisation: float = 0.0, tangent: Iterator[Stored] = NO_TANGENT
) -> tuple[float, np.ndarray]:
    """Energy in N mm and nodal forces (3, n) in N at positions x (3, n).

    regularisation   weight of plain second derivatives in the bending energy away from seams, 0 for the stated model
    tangent          where each of the sheet's groups adds its own
    """
    x = np.ascontiguousarray(x.T)
    r = np.zeros_like(x)
    elements, skin = next(tangent), sheet.membrane
    psi, dpsi, ddpsi = sheet.law(cauchy_green(x, skin))
    Pi = float((sheet.h * skin.weights * psi).sum())
    membrane(x, skin, sheet.h, dpsi, ddpsi, r, elements)
    Pi += bending(x, sheet.bending, sheet.D, sheet.poisson, regularisation, r, elements)
    for terms in sheet.interior_penalty:
        penalty, plain = PENALTY * sheet.D * terms.per_height, 0.0 if terms.seam else regularisation
        Pi += interior_penalty(x, terms.points, penalty, sheet.D, plain, r, next(tangent))
    if sheet.foundation is not None:
        u = x.copy()
        u[:, :2] -= sheet.X.T
        Pi += elastic_foundation(u, skin, sheet.shapes, sheet.foundation, r, elements)
    for tie in sheet.joints:
        energy, f, K = assembled(tie, x)
        Pi += energy
        nodes = np.atleast_2d(tie.nodes)
        np.add.at(r, nodes, f)
        scatter_all(K, nodes, next(tangent))
    return Pi, r.T


def lift(sheet: Sheet, pressure: float) -> np.ndarray:
    """Nodal forces (3, n) in N of an upward pressure in MPa of the reference area."""
    return np.outer([0, 0, 1], at_nodes(sheet, pressure * sheet.membrane.weights @ sheet.shapes))


def at_nodes(sheet: Sheet, values: np.ndarray) -> np.ndarray:
    """Sums (n,) at the nodes of values (n_elements, 6) at those of the elements."""
    return np.bincount(sheet.membrane.nodes.ravel(), values.ravel(), minlength=sheet.X.shape[1])


def cauchy_stress(sheet: Sheet, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Principal Cauchy stresses (2, n_elements, n_quad), MPa, smaller first, and greatest principal stretch.

    sigma = 2 F_G dpsi/dC F_G^T, F_G = F G; its in-plane principal values are those of 2 dpsi/dC C.
    """
    skin = sheet.membrane
    C = cauchy_green(np.ascontiguousarray(x.T), skin)
    S = sheet.law(C)[1]
    s11, s22, s12 = 2 * S[0], 2 * S[1], S[2]  # below, eigenvalues of S C from trace and determinant
    half = (s11 * C[0] + s22 * C[1] + 2 * s12 * C[2]) / 2
    det = (s11 * s22 - s12**2) * (C[0] * C[1] - C[2] ** 2)
    root = np.sqrt(np.maximum(half**2 - det, 0))
    mean = (C[0] + C[1]) / 2
    stretch = np.sqrt(mean + np.sqrt(np.maximum(mean**2 - C[0] * C[1] + C[2] ** 2, 0)))
    return np.stack([half - root, half + root]), stretch


def _bending(mesh):
    lam, weights = integration_points(mesh.tri, 2)
    dlam = barycentric(mesh.tri)[0]
    dN, ddN = gradients(lam, dlam), second_derivatives(dlam)[:, None, :, (0, 0, 1), (0, 1, 1)]
    B = np.concatenate([dN, np.broadcast_to(ddN, (*dN.shape[:3], 3))], axis=-1)
    return Points(np.ascontiguousarray(mesh.elements.T), np.ascontiguousarray(B), weights)


def _facet_terms(mesh, elements, ends, poisson, *, seam):
    """Terms of facets: element on either side (2, n), and the end vertices as each side names them (2, 2, n)."""
    tri = mesh.tri
    dlam, _ = barycentric(tri)
    (s,), weight = get_quadrature(RefLine, 3)
    B = np.zeros((elements.shape[1], s.size, 12, VECTORS))
    per_height, length = np.zeros((2, elements.shape[1]))
    for side, (e, (a, b)) in enumerate(zip(elements, ends, strict=True)):
        t = tri.t[:, e].T  # (n, 3)
        at_a, at_b = t == a[:, None], t == b[:, None]
        lam = (1 - s)[:, None] * at_a[:, None] + s[:, None] * at_b[:, None]
        inward = dlam[e][~(at_a | at_b)]  # (n, 2), the gradient of the opposite vertex's coordinate
        steepness = np.linalg.norm(inward, axis=1)
        nu = -inward / steepness[:, None]
        frame = np.stack([nu[:, ::-1] * [1, -1], nu], axis=-1)  # component, (tau, nu)
        ddN = second_derivatives(dlam[e])
        normal = np.einsum("ei,eaij,ej->ea", nu, ddN, nu)
        local = slice(6 * side, 6 * side + 6)
        B[:, :, local, 2 * side : 2 * side + 2] = gradients(lam, dlam[e]) @ frame[:, None]
        B[:, :, local, 4] = ((1 - poisson) * normal + poisson * np.trace(ddN, axis1=2, axis2=3))[:, None] / 2
        per_height += np.sqrt(3) / 4 * steepness  # 1/h; h is the edge of an equilateral triangle
        length += np.hypot(*(tri.p[:, b] - tri.p[:, a])) / 2
    nodes = np.ascontiguousarray(np.concatenate(mesh.elements[:, elements].swapaxes(0, 1)).T)
    points = Points(nodes=nodes, B=B, weights=length[:, None] * weight)
    return FacetTerms(points=points if seam else _merged(points), per_height=per_height, seam=seam)


def _merged(points):
    """The same points with the three nodes that both sides share named once."""
    nodes, B, weights = points
    shared = nodes[:, :6, None] == nodes[:, None, 6:]
    edge, first, second = np.nonzero(shared)
    B[edge, :, first] += B[edge, :, 6 + second]
    rest = np.nonzero(~shared.any(axis=1))[1].reshape(-1, 3) + 6  # the three of the second side alone
    keep = np.hstack([np.tile(np.arange(6), (len(rest), 1)), rest])
    B = np.ascontiguousarray(np.take_along_axis(B, keep[:, None, :, None], axis=2))
    return Points(np.take_along_axis(nodes, keep, axis=1), B, weights)
