"""The sheet: its energy, nodal forces and tangent on a mesh of quadratic triangles.

Pi(x) = h int mean over z of psi(E) + foundation + ties,
C = G F^T F G,   F = dx/ds,   k = G (n . x,ij) G + jumps of slope,   G the natural stretches along and across the lines

x0 are the positions of uncut skin on the body, and s lengths on it, at every integration point in an orthonormal frame
that touches it, its first axis along the lines as the plan shows them: areas, lines and G are those of the skin,
however the plan was laid. n . x,ij is the same by the plan's coordinates as by any others, for n . x,i = 0.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial

import numpy as np

from fem.geometry.surface import Surface
from fem.material.laws import Law
from fem.material.skin import bending_stiffness, tension
from fem.mechanics.contact import Parts, SelfContact
from fem.mechanics.kernels.elastic_foundation import Body, ElasticFoundation, elastic_foundation, pressed_by
from fem.mechanics.kernels.shell import Sides, bends, layers, shell
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
    apart: bool = False  # of a seam, both of whose sides lie apart in uncut skin, turned against each other on a body


@dataclass(frozen=True)
class Sheet:
    """Everything about the skin that does not change while a wound is closed."""

    x0: np.ndarray  # (3, n) mm, uncut
    surface: Surface  # of the body, on which it lies
    stretch: np.ndarray  # (2,) natural, along and across the lines
    law: Law  # C (3, ...) -> psi, dpsi/dC, d2psi/dC2, MPa
    h: float  # mm, in place
    z: np.ndarray  # (n_z,) mm, heights in place at which the law is asked
    D: np.ndarray  # (3, 3) N mm, bending stiffness in place, against k
    edges: tuple[Edges, ...]  # between two triangles; free; of seams
    area: Points  # of x,1 and x,2; what acts on areas and what is measured
    shapes: np.ndarray  # (n_quad, 6) at these points
    body: Body  # at these points
    held: np.ndarray  # (3, n) N, dead loads: what `_held` says
    plain: np.ndarray  # (3, n) N, forces of x0 that plain second derivatives do not resist
    foundation: ElasticFoundation | None
    ties: tuple[Thread | PenaltyTie, ...] = ()  # sutures tied one by one
    contact: Contact | None = None  # of the edges between them
    parts: Parts | None = None  # of the skin, as contact knows them; None: it may pass through itself

    @property
    def groups(self) -> tuple[np.ndarray, ...]:
        """Node numbers (n, m) of all that couples nodes: triangles, then each group of edges, then each tie."""
        return (
            self.area.nodes,
            *(edges.nodes for edges in self.edges),
            *(np.atleast_2d(tie.nodes) for tie in self.joints),
        )

    @cached_property
    def rest(self) -> np.ndarray:
        """Depth (n_elements, n_quad), mm, to which the springs of its bed are pressed in uncut skin."""
        assert self.foundation is not None
        return pressed_by(self.body.pressure, self.foundation)

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
    stretch = np.asarray(stretch)
    to_lines = partial(_to_lines, lines=lines, stretch=stretch)
    lam, weights = integration_points(mesh.tri, 4)
    dlam, off = barycentric(mesh.tri)[0], (mesh.x0 - np.vstack([mesh.X, 0 * mesh.X[0]])).T
    dN, (one, other) = gradients(lam, dlam), stretch
    axes, growth, normal, tangents = to_lines(_slopes(dN, off[mesh.elements.T][:, None]))
    area = Points(np.ascontiguousarray(mesh.elements.T), np.ascontiguousarray(dN @ axes), weights * growth)
    natural = np.array([one**2, other**2, one * other])  # k in place per k of natural lengths
    D = bending_stiffness(law, stretch, h=h) / np.outer(natural, natural)
    edges, none = _edges(mesh, to_lines, off, D, hinged), np.zeros_like(mesh.x0)
    second = np.einsum("eaij,eax->eijx", second_derivatives(dlam), off[mesh.elements.T])
    k0 = axes.swapaxes(-1, -2) @ np.einsum("eijx,eqx->eqij", second, normal) @ axes / np.outer(stretch, stretch)
    pressure = -np.einsum("i,eqii->eq", tension(law, stretch, h=h), k0)
    body = Body(normal, -np.ascontiguousarray(tangents @ k0 @ tangents.swapaxes(-1, -2)), pressure)
    plain, at = _plain(edges, D, off), shapes(lam[0])
    skin = Sheet(mesh.x0, mesh.surface, stretch, law, h, h * GAUSS, D, edges, area, at, body, none, plain, foundation)
    if not mesh.surface.curved:
        return skin
    unsewn = edges if hinged else _edges(mesh, to_lines, off, D, hinged=True)
    return replace(skin, held=_held(replace(skin, edges=unsewn, foundation=None), mesh))


def assemble(
    sheet: Sheet, x: np.ndarray, *, regularisation: float = 0.0, closed: float = 1.0,
    contact: SelfContact | None = None, tangent: Iterator[Stored] = NO_TANGENT,
) -> tuple[float, np.ndarray]:  # fmt: skip
    """Energy in N mm and nodal forces (3, n) in N at positions x (3, n); infinite if a layer is turned inside out.

    regularisation   of the bending stiffness in place is added to that against plain second derivatives; 0: the model
    closed           of the wound: the sides of its seams are at rest turned by what is left of that in uncut skin
    contact          of skin with skin, whose pairs are the last group
    tangent          where each of the sheet's groups adds its own
    """
    u, dead = x - sheet.x0, sheet.held + regularisation * sheet.plain
    x = np.ascontiguousarray(x.T)
    r = np.ascontiguousarray(-dead.T)
    elements, Pi, plain = next(tangent), -float((dead * u).sum()), regularisation * sheet.D
    for at in sheet.edges:
        if at.apart and closed < 1 and sheet.surface.curved:
            at = _from_rest(at, sheet.x0, across=1 - closed)
        E = layers(x, at.nodes, at.B, at.sides, sheet.z)
        if not ((E[0] > 0) & (E[0] * E[1] > E[2] ** 2)).all():
            return np.inf, r.T
        psi, dpsi, ddpsi = sheet.law(E)
        Pi += float((sheet.h * at.sides.area * psi.mean(axis=-1)).sum())
        Pi += shell(x, at.nodes, at.B, at.sides, sheet.h, sheet.z, dpsi, ddpsi, plain, r, next(tangent))
    if (bed := sheet.foundation) is not None:
        u = np.ascontiguousarray(u.T)
        Pi += elastic_foundation(u, sheet.area, sheet.shapes, bed, sheet.body, sheet.rest, r, elements)
    for tie in sheet.joints:
        energy, f, K = assembled(tie, x)
        Pi += energy
        nodes = np.atleast_2d(tie.nodes)
        np.add.at(r, nodes, f)
        scatter_all(K, nodes, next(tangent))
    if contact is not None and contact.near:
        Pi += contact.assembled(x, r, next(tangent))[0]
    return Pi, r.T


def uncut_energy(sheet: Sheet) -> float:
    """Energy of the same skin uncut, on its bed, N mm."""
    psi = sheet.law(np.append(sheet.stretch**2, 0.0))[0]
    area = sum(at.sides.area.sum() for at in sheet.edges)
    return assemble(replace(sheet, edges=(), ties=(), contact=None), sheet.x0)[0] + float(sheet.h * psi * area)


def lift(sheet: Sheet, pressure: float | np.ndarray) -> np.ndarray:
    """Nodal forces (3, n) in N of an outward pressure in MPa of the reference area, at its integration points."""
    pressed = (pressure * sheet.area.weights)[..., None] * sheet.body.normal
    return np.stack([at_nodes(sheet, pressed[..., i] @ sheet.shapes) for i in range(3)])


def at_nodes(sheet: Sheet, values: np.ndarray) -> np.ndarray:
    """Sums (n,) at the nodes of values (n_elements, 6) at those of the elements."""
    return np.bincount(sheet.area.nodes.ravel(), values.ravel(), minlength=sheet.x0.shape[1])


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


def _slopes(dN, off):
    """dx0/dX (..., 3, 2) from shape functions' gradients (..., 6, 2), and how far (..., 6, 3) x0 is off the plan."""
    return np.eye(3, 2) + off.swapaxes(-1, -2) @ dN


def _to_lines(slopes, *, lines, stretch):
    """Of slopes dx0/dX (..., 3, 2): dX/ds G (..., 2, 2), area per area of the plan, normals, tangents (..., 3, 2).

    s along the tangents, the first in the direction of the plan's `lines`, rad
    """
    normal = np.cross(slopes[..., 0], slopes[..., 1])
    growth = np.linalg.norm(normal, axis=-1)
    normal = normal / growth[..., None]
    along = slopes @ [np.cos(lines), np.sin(lines)]
    along = along / np.linalg.norm(along, axis=-1)[..., None]
    tangents = np.stack([along, np.cross(normal, along)], axis=-1)
    return np.linalg.inv(tangents.swapaxes(-1, -2) @ slopes) * stretch, growth, normal, tangents


def _held(sheet, mesh):
    """Dead loads (3, n), N, that keep uncut skin at rest besides its bed: zero at edges, whose pull shall open a wound.

    Line tension N and curvature make a pressure N : k0, which the bed bears. Left are, if lines turn on a body that is
    bent both ways, forces along the skin (of the order of r/R^2 of the tension), and what triangles err.
    """
    _, r = assemble(sheet, sheet.x0)
    left = r - lift(sheet, sheet.body.pressure)  # of what the bed pushes back
    left[:, mesh.edge] = 0.0
    return left


def _plain(edges, D, off):
    """Forces (3, n), N, of plain second derivatives of uncut skin that lies `off` (n, 3) the plan."""
    r = np.zeros_like(off)
    for at in edges:
        for side in range(2):
            B = at.B[..., 4 + 3 * side : 7 + 3 * side]
            second = np.einsum("nmc,nmi->nci", B, off[at.nodes])
            np.add.at(r, at.nodes, B @ (at.sides.area[:, side, None, None] * (D @ second)))
    return r.T


def _edges(mesh, to_lines, off, D, hinged):
    """All edges: those between two triangles, free ones, those of the seams unless they are hinged and so free."""
    tri, x0 = mesh.tri, mesh.x0
    inner, seams = tri.f2t[1] >= 0, [seam[:, 1::2] - tri.nvertices for seam in mesh.seams]
    sewn = np.zeros(tri.nfacets, bool)
    if not hinged:
        sewn[np.concatenate([np.empty(0, int), *(seam.ravel() for seam in seams)])] = True
    pairs = [tri.f2t[:, inner], np.stack([tri.f2t[0, ~inner & ~sewn]] * 2)]
    ends = [np.stack([tri.facets[:, facets]] * 2) for facets in (inner, ~inner & ~sewn)]
    groups = [_beside(mesh, *pairs_ends, to_lines, off, D) for pairs_ends in zip(pairs, ends, strict=True)]
    groups = [_from_rest(_merged(groups[0]), x0), _from_rest(_free(groups[1]), x0)]
    for seam, facets in () if hinged else zip(mesh.seams, seams, strict=True):
        of_seam = np.stack([seam[:, :-1:2], seam[:, 2::2]], axis=1)  # side, end, edge
        beside = _beside(mesh, tri.f2t[0, facets], of_seam, to_lines, off, D)
        groups.append(_from_rest(replace(beside, apart=True), x0, across=0.0))  # sewn, it is at rest flat across
    return tuple(group for group in groups if group.nodes.size)


def _beside(mesh, elements, ends, to_lines, off, D):
    """Edges by the triangle on either side (2, n) and the end vertices as each side names them (2, 2, n)."""
    tri, n, stretch = mesh.tri, elements.shape[1], to_lines.keywords["stretch"]
    dlam, areas = barycentric(tri)
    B, nu, bent, area = np.zeros((n, 12, 10)), np.empty((n, 2, 2)), np.empty((n, 2, 3)), np.empty((n, 2))
    stiffness = np.zeros(n)
    for side, (e, (a, b)) in enumerate(zip(elements, ends, strict=True)):
        t = tri.t[:, e].T  # (n, 3)
        on = (t == a[:, None]) | (t == b[:, None])
        dN = gradients(on[:, None] / 2, dlam[e])[:, 0]
        axes, growth, _, _ = to_lines(_slopes(dN, off[mesh.elements[:, e].T]))
        inward = (axes.swapaxes(1, 2) @ dlam[e][~on][..., None])[..., 0] / stretch
        height = 1 / np.linalg.norm(inward, axis=1)  # inward is the gradient of the opposite vertex's coordinate
        out = -inward * height[:, None]
        local, (one, other) = slice(6 * side, 6 * side + 6), (out * stretch).T
        B[:, local, 2 * side : 2 * side + 2] = dN @ axes
        second = axes[:, None].swapaxes(-1, -2) @ second_derivatives(dlam[e]) @ axes[:, None]
        B[:, local, 4 + 3 * side : 7 + 3 * side] = second[..., (0, 1, 0), (0, 1, 1)]
        nu[:, side] = out / stretch
        bent[:, side] = REACH / height[:, None] * np.stack([one**2, other**2, one * other], axis=-1)
        area[:, side] = growth * areas[e] / 3
        stiffness += PENALTY * growth * areas[e] * np.einsum("ec,cd,ed->e", bent[:, side], D, bent[:, side]) / REACH**2
    nodes = np.ascontiguousarray(np.concatenate(mesh.elements[:, elements].swapaxes(0, 1)).T)
    return Edges(nodes, B, Sides(area, nu, bent, stiffness, k0=0 * bent, turned=0 * stiffness))


def _from_rest(edges, x0, *, across=1.0):
    """The same with what is measured from uncut skin at x0 (3, n): curvature, and `across` of the fold at an edge."""
    sides = edges.sides
    k0, theta = bends(np.ascontiguousarray(x0.T), edges.nodes, edges.B, sides._replace(bent=across * sides.bent))
    turned = 16 * across * sides.penalty * theta / (4 - theta**2) ** 2
    return replace(edges, sides=sides._replace(k0=k0, turned=turned))


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
