"""The sheet: its energy, nodal forces and tangent on a mesh of quadratic triangles.

    Pi(x) = h int psi(C) + D/2 int [(1 - nu) |k|^2 + nu (tr k)^2] + jumps + foundation,
    C = G F^T F G,   F = dx/dX,   k_ij = n . x,ij

G holds the natural stretches along and across the lines: the mesh is the skin in place, under its natural tension.
The bending term is Koiter's; quadratic triangles leave jumps of slope at their edges, which a symmetric interior
penalty controls (Brenner & Sung 2005 for the plate; here with the current normal).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree
from skfem import MeshTri
from skfem.quadrature import get_quadrature
from skfem.refdom import RefLine, RefTri

from fem.material.laws import Law
from fem.mechanics.kernels.bending import bending
from fem.mechanics.kernels.elastic_foundation import elastic_foundation
from fem.mechanics.kernels.interior_penalty import VECTORS, interior_penalty
from fem.mechanics.kernels.membrane import cauchy_green, membrane
from fem.mechanics.kernels.storage import scatter_all
from fem.mechanics.ties import Contact, PenaltyTie, Thread, assembled
from fem.mechanics.triangulation import Mesh

PENALTY = 10.0  # times D/h, our choice; stable above 3.5; 20 lowers a nearly flat 2 mm cone on 2 mm triangles by 3 %
NEAREST = 12  # triangles whose centres are nearest to a point, among which is the one it lies in
NO_TANGENT, NO_WIDTHS = np.empty(0), np.zeros(1, int)


@dataclass(frozen=True)
class Points:
    """Integration points of one kind: v_k = sum_a B_ak x_a at each."""

    nodes: np.ndarray  # (n, m) node numbers
    B: np.ndarray  # (n, n_quad, m, n_vectors)
    weights: np.ndarray  # (n, n_quad) mm2, or mm for edges


@dataclass(frozen=True)
class FacetTerms:
    """Edges across which the sheet carries moment."""

    points: Points
    per_height: np.ndarray  # (n,) 1/mm
    seam: bool  # the sides' outward normals are not opposite in the reference, so x,nu lines up only through n


@dataclass(frozen=True)
class ElasticFoundation:
    """Springs below the skin, by element, MPa/mm."""

    push: np.ndarray  # (n_elements,) where the skin is pressed down
    pull: np.ndarray  # (n_elements,) where it is lifted
    shear: np.ndarray  # (n_elements,) against sliding


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
            *(tie.group for tie in self.joints),
        )

    @property
    def joints(self) -> tuple[Thread | PenaltyTie | Contact, ...]:
        """Its ties, then its contact."""
        return self.ties if self.contact is None else (*self.ties, self.contact)


def sheet(
    mesh: Mesh,
    *,
    law: Law,
    h: float,
    D: float,
    poisson: float,
    stretch: Sequence[float] | np.ndarray = (1.0, 1.0),
    lines: float = 0.0,
    foundation: ElasticFoundation | None = None,
    hinged: bool = False,
) -> Sheet:
    """Sheet on a mesh.

    law      C (3, ...) -> psi, dpsi/dC, d2psi/dC2; C in the axes of the lines, MPa
    h        skin thickness, mm
    D        bending stiffness, N mm;  poisson  its Poisson ratio
    stretch  natural stretch along and across the lines;  lines  their angle to x, rad
    foundation   ElasticFoundation, or None for nothing below
    hinged   True lets the seams turn freely
    """
    facets = [_facet_terms(mesh, interior_edges(mesh.tri), poisson, seam=False)]
    if not hinged:
        facets += [_facet_terms(mesh, seam_edges(mesh, seam), poisson, seam=True) for seam in mesh.seams]
    c, s = np.cos(lines), np.sin(lines)
    to_lines = np.array([[c, -s], [s, c]]) * np.asarray(stretch)
    stretched, shapes = _membrane(mesh, to_lines)
    return Sheet(
        X=mesh.X,
        law=law,
        h=h,
        D=D,
        poisson=poisson,
        membrane=stretched,
        bending=_bending(mesh),
        interior_penalty=tuple(facets),
        shapes=shapes,
        foundation=foundation,
    )


def assemble(
    sheet: Sheet,
    x: np.ndarray,
    *,
    regularisation: float = 0.0,
    data: np.ndarray = NO_TANGENT,
    slots: Sequence[np.ndarray] = (),
    widths: np.ndarray = NO_WIDTHS,
) -> tuple[float, np.ndarray]:
    """Energy in N mm and nodal forces (3, n) in N at positions x (3, n); the tangent is added to `data` if given.

    regularisation   weight of plain second derivatives in the bending energy away from seams, 0 for the stated model
    slots, widths   of the pattern in which `data` is stored (fem.mechanics.kernels.storage.Pattern)
    """
    x = np.ascontiguousarray(x.T)
    r = np.zeros_like(x)
    if data.size == 0:
        slots = [np.zeros((len(nodes), 1, 1), int) for nodes in sheet.groups]
    store = (data, slots[0], widths)

    skin = sheet.membrane
    psi, dpsi, ddpsi = sheet.law(cauchy_green(x, skin.nodes, skin.B))
    volume = sheet.h * skin.weights
    Pi = float((volume * psi).sum())
    membrane(x, skin.nodes, skin.B, volume, dpsi, ddpsi, r, *store)

    bend = sheet.bending
    Pi += bending(x, bend.nodes, bend.B, bend.weights, sheet.D, sheet.poisson, regularisation, r, *store)
    for facets, slot in zip(sheet.interior_penalty, slots[1 : 1 + len(sheet.interior_penalty)], strict=True):
        at, share = facets.points, 0.0 if facets.seam else regularisation
        penalty = PENALTY * sheet.D * facets.per_height
        Pi += interior_penalty(x, at.nodes, at.B, at.weights, penalty, sheet.D, share, r, data, slot, widths)
    if sheet.foundation is not None:
        X = np.ascontiguousarray(sheet.X.T)
        below = sheet.foundation
        Pi += elastic_foundation(
            x, X, skin.nodes, sheet.shapes, skin.weights, below.push, below.pull, below.shear, r, *store
        )
    for tie, slot in zip(sheet.joints, slots[1 + len(sheet.interior_penalty) :], strict=True):
        energy, f, K = assembled(tie, x)
        Pi += energy
        np.add.at(r, tie.group, f)
        if data.size:
            scatter_all(data, K, tie.group, slot, widths)
    return Pi, r.T


def lift(sheet: Sheet, pressure: float) -> np.ndarray:
    """Nodal forces (3, n) in N of an upward pressure in MPa of the reference area."""
    f = np.zeros((3, sheet.X.shape[1]))
    np.add.at(f[2], sheet.membrane.nodes, pressure * sheet.membrane.weights @ sheet.shapes)
    return f


def cauchy_stress(sheet: Sheet, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Principal Cauchy stresses (2, n_elements, n_quad), MPa, smaller first, and greatest principal stretch.

    sigma = 2 F_G dpsi/dC F_G^T, F_G = F G; its in-plane principal values are those of 2 dpsi/dC C.
    """
    skin = sheet.membrane
    C = cauchy_green(np.ascontiguousarray(x.T), skin.nodes, skin.B)
    S = sheet.law(C)[1]
    s11, s22, s12 = 2 * S[0], 2 * S[1], S[2]
    # eigenvalues of S C from trace and determinant
    half = (s11 * C[0] + s22 * C[1] + 2 * s12 * C[2]) / 2
    det = (s11 * s22 - s12**2) * (C[0] * C[1] - C[2] ** 2)
    root = np.sqrt(np.maximum(half**2 - det, 0))
    mean = (C[0] + C[1]) / 2
    stretch = np.sqrt(mean + np.sqrt(np.maximum(mean**2 - C[0] * C[1] + C[2] ** 2, 0)))
    return np.stack([half - root, half + root]), stretch


def interpolated(mesh: Mesh, values: np.ndarray, X: np.ndarray, *, inside: np.ndarray | None = None) -> np.ndarray:
    """Values (k, m) at points X (2, m) of a field given at the nodes, (k, n); off the mesh, the nearest triangle's.

    inside  as in `located`
    """
    nodes, shapes = located(mesh, X, inside=inside)
    return np.einsum("ma,kam->km", shapes, values[:, nodes])


def located(mesh: Mesh, X: np.ndarray, *, inside: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray]:
    """Nodes (6, m) of the triangles in which points X (2, m) lie, and their shape functions (m, 6) there.

    inside  (2, m) points whose triangles are taken instead: they tell the two sides of a cut apart
    """
    inside = X if inside is None else inside
    centres = mesh.tri.p[:, mesh.tri.t].mean(axis=1)
    near = cKDTree(centres.T).query(inside.T, k=min(NEAREST, centres.shape[1]))[1]  # (m, NEAREST)
    gradient = _barycentric(mesh.tri)[0][near]
    lam = 1 / 3 + np.einsum("mcai,mci->mca", gradient, inside.T[:, None] - centres.T[near])
    best = lam.min(axis=-1).argmax(axis=-1)[:, None]
    element = np.take_along_axis(near, best, axis=1)[:, 0]
    own = np.take_along_axis(gradient, best[..., None, None], axis=1)[:, 0]
    return mesh.elements[:, element], _shape(1 / 3 + np.einsum("mai,mi->ma", own, X.T - centres.T[element]))


def _barycentric(tri):
    """Gradients (n_elements, 3, 2) of the three barycentric coordinates, 1/mm, and areas (n_elements,), mm2."""
    p = tri.p[:, tri.t]  # (2, 3, n_elements)
    across = np.roll(p, -2, axis=1) - np.roll(p, -1, axis=1)  # the side opposite to each vertex
    twice = across[0, 0] * across[1, 1] - across[1, 0] * across[0, 1]
    gradient = np.stack([-across[1], across[0]]) / twice
    return np.moveaxis(gradient, (0, 1, 2), (2, 1, 0)), np.abs(twice) / 2


EDGES = ((0, 1), (1, 2), (0, 2))  # local vertices of the three edges, as in scikit-fem


def _shape(lam):
    """Quadratic shape functions (..., 6) at barycentric coordinates lam (..., 3)."""
    at_edges = [4 * lam[..., a] * lam[..., b] for a, b in EDGES]
    return np.concatenate([lam * (2 * lam - 1), np.stack(at_edges, axis=-1)], axis=-1)


def _gradients(lam, dlam):
    """Gradients (n_elements, n_quad, 6, 2) at lam (n_elements or 1, n_quad, 3); dlam from `_barycentric`."""
    d = dlam[:, None]
    at = lam[..., None]
    at_edges = [4 * (at[:, :, a] * d[:, :, b] + at[:, :, b] * d[:, :, a]) for a, b in EDGES]
    return np.concatenate([(4 * at - 1) * d, np.stack(at_edges, axis=2)], axis=2)


def _second(dlam):
    """Second derivatives (n_elements, 6, 3) in 11, 12, 22."""

    def product(a, b):
        outer = a[:, :, None] * b[:, None, :]
        return np.stack([outer[:, 0, 0], (outer[:, 0, 1] + outer[:, 1, 0]) / 2, outer[:, 1, 1]], axis=-1)

    vertices = [4 * product(dlam[:, a], dlam[:, a]) for a in range(3)]
    edges = [8 * product(dlam[:, a], dlam[:, b]) for a, b in EDGES]
    return np.stack(vertices + edges, axis=1)


def _points_in(tri, order):
    """Barycentric coordinates (1, n_quad, 3) and weights (n_elements, n_quad) in mm2."""
    at, weight = get_quadrature(RefTri, order)
    lam = np.stack([1 - at[0] - at[1], at[0], at[1]], axis=-1)[None]
    return lam, 2 * _barycentric(tri)[1][:, None] * weight


def _membrane(mesh, to_lines):
    lam, weights = _points_in(mesh.tri, 4)
    dN = _gradients(lam, _barycentric(mesh.tri)[0]) @ to_lines
    return Points(nodes=np.ascontiguousarray(mesh.elements.T), B=dN, weights=weights), _shape(lam[0])


def _bending(mesh):
    lam, weights = _points_in(mesh.tri, 2)
    dlam = _barycentric(mesh.tri)[0]
    dN = _gradients(lam, dlam)
    ddN = np.broadcast_to(_second(dlam)[:, None], (*dN.shape[:3], 3))
    B = np.concatenate([dN, ddN], axis=-1)
    return Points(nodes=np.ascontiguousarray(mesh.elements.T), B=np.ascontiguousarray(B), weights=weights)


def interior_edges(tri: MeshTri) -> tuple[np.ndarray, np.ndarray]:
    """Element on either side and the end vertices as each side names them: (2, n), (2, 2, n)."""
    inner = tri.f2t[1] >= 0
    ends = tri.facets[:, inner]
    return tri.f2t[:, inner], np.stack([ends, ends])


def seam_edges(mesh: Mesh, seam: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The same of a sewn seam (2, 2k + 1): its edges lie between every other node."""
    ends = np.stack([seam[:, :-1:2], seam[:, 2::2]], axis=1)  # side, end, edge
    return mesh.tri.f2t[0, seam[:, 1::2] - mesh.tri.nvertices], ends


def _facet_terms(mesh, edges, poisson, *, seam):
    """Terms of facets (elements (2, n), ends (2, 2, n)) from the gradients on both sides."""
    elements, ends = edges
    tri = mesh.tri
    dlam, area = _barycentric(tri)
    at, weight = get_quadrature(RefLine, 3)
    s = at[0]
    n = elements.shape[1]
    B = np.zeros((n, s.size, 12, VECTORS))
    per_height = np.zeros(n)
    length = np.zeros(n)
    for side in (0, 1):
        e, (a, b) = elements[side], ends[side]
        t = tri.t[:, e].T  # (n, 3)
        lam = (1 - s)[None, :, None] * (t == a[:, None])[:, None] + s[None, :, None] * (t == b[:, None])[:, None]
        along = tri.p[:, b] - tri.p[:, a]
        size = np.hypot(*along)
        nu = np.stack([along[1], -along[0]]) / size
        inside = tri.p[:, t.T].mean(axis=1) - tri.p[:, a]
        nu *= -np.sign((nu * inside).sum(axis=0))
        ddN = _second(dlam[e])
        normal = ddN[..., 0] * nu[0, :, None] ** 2 + 2 * ddN[..., 1] * (nu[0] * nu[1])[:, None]
        normal += ddN[..., 2] * nu[1, :, None] ** 2
        trace = ddN[..., 0] + ddN[..., 2]
        local = slice(6 * side, 6 * side + 6)
        frame = np.stack([np.stack([nu[1], -nu[0]]), nu])  # tau, nu: component, edge
        B[:, :, local, 2 * side : 2 * side + 2] = np.einsum("eqai,kie->eqak", _gradients(lam, dlam[e]), frame)
        B[:, :, local, 4] = ((1 - poisson) * normal + poisson * trace)[:, None] / 2
        per_height += np.sqrt(3) / 8 * size / area[e]  # 1/h; h is the edge of an equilateral triangle
        length += size / 2
    nodes = np.concatenate([mesh.elements[:, elements[0]], mesh.elements[:, elements[1]]]).T
    points = Points(nodes=np.ascontiguousarray(nodes), B=B, weights=length[:, None] * weight)
    return FacetTerms(points=points if seam else _merged(points), per_height=per_height, seam=seam)


def _merged(points):
    """The same points with the three nodes that both sides share named once."""
    shared = points.nodes[:, :6, None] == points.nodes[:, None, 6:]
    own = ~shared.any(axis=1)  # (n, 6) of the second side
    B = points.B.copy()
    edge, first, second = np.nonzero(shared)
    B[edge, :, first] += B[edge, :, 6 + second]
    rest = np.nonzero(own)[1].reshape(-1, 3) + 6
    keep = np.concatenate([np.broadcast_to(np.arange(6), (len(rest), 6)), rest], axis=1)
    return Points(
        nodes=np.take_along_axis(points.nodes, keep, axis=1),
        B=np.ascontiguousarray(np.take_along_axis(B, keep[:, None, :, None], axis=2)),
        weights=points.weights,
    )
