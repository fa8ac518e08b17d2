"""Meshes and load vectors of problems with known answers; sheets and sewings are those that closures use."""

from dataclasses import replace
from functools import partial

import numpy as np
import skfem

from fem.material.laws import neo_hooke
from fem.mechanics.constraints import Constraints, constraints
from fem.mechanics.sheet import ElasticFoundation
from fem.mechanics.triangulation import from_triangulation

NO_PAIRS = np.zeros((2, 0), int)
NO_NODES = np.zeros(0, int)


def rubber(modulus):
    """Neo-Hookean law of the given Young's modulus at small strain, E = 3 mu, MPa."""
    return partial(neo_hooke, shear_MPa=modulus / 3)


def plate(modulus, *, poisson):
    """Law of small strain e = (C - 1)/2 in plane stress, psi = E/2(1 - nu^2) [(1 - nu) |e|^2 + nu (tr e)^2], MPa."""
    stiffness = modulus / 4 / (1 - poisson**2) * np.array([[1, poisson, 0], [poisson, 1, 0], [0, 0, 2 * (1 - poisson)]])

    def law(C):
        points = [1] * (C.ndim - 1)
        change = C - np.array([1.0, 1.0, 0.0]).reshape(3, *points)
        dpsi = np.einsum("cd,d...->c...", stiffness, change)
        ddpsi = np.broadcast_to(stiffness.reshape(3, 3, *points), (3, *C.shape)).copy()
        return (dpsi * change).sum(axis=0) / 2, dpsi, ddpsi

    return law


def bending_as(skin, D):
    """The same sheet, as stiff against bending as D, N mm, along the lines: its law is asked at other heights."""
    ratio = D / skin.D[0, 0]
    edges = [replace(e, sides=e.sides._replace(penalty=ratio * e.sides.penalty)) for e in skin.edges]
    return replace(skin, z=np.sqrt(ratio) * skin.z, D=ratio * skin.D, edges=tuple(edges))


def flat(mesh):
    """Positions (3, n) of all nodes in the reference."""
    return np.vstack([mesh.X, np.zeros(mesh.X.shape[1])])


def springs(mesh, *, normal, shear):
    """The same bed, MPa/mm, everywhere below a mesh, pulling as hard as it pushes."""
    one = np.ones(mesh.undermined.size)
    return ElasticFoundation(push=normal * one, pull=normal * one, shear=shear * one)


def unsewn(mesh, held=NO_NODES):
    """Sewing of a mesh of which some nodes are held where they are."""
    return constraints(flat(mesh), NO_PAIRS, held)


def patch(n, *, size=1.0, skew=0.15, seed=0):
    """Square of n x n x 2 triangles; inner vertices moved at random by up to skew of a side."""
    tri = _squares(*[np.linspace(0, size, n + 1)] * 2)
    p = tri.p.copy()
    inner = tri.interior_nodes()
    p[:, inner] += np.random.default_rng(seed).uniform(-skew, skew, (2, inner.size)) * size / n
    return from_triangulation(skfem.MeshTri(p, tri.t, sort_t=False), [], rim_vertices=tri.boundary_nodes())


def strip(first, last, *, width, side):
    """Strip from x = first to x = last, 0 < y < width, of squares of about the given side halved alike."""
    along, across = round((last - first) / side), max(1, round(width / side))
    return from_triangulation(_squares(np.linspace(first, last, along + 1), np.linspace(0, width, across + 1)), [])


def _squares(x, y):
    """Rectangles halved alike, vertices counter-clockwise."""
    return counter_clockwise(skfem.MeshTri.init_tensor(x, y))


def counter_clockwise(tri):
    """The same triangles, their vertices in that order."""
    clockwise = tri.mapping().detA.ravel() < 0
    return skfem.MeshTri(tri.p, np.where(clockwise, tri.t[[0, 2, 1]], tri.t), sort_t=False)


def square_on(surface, n=8, size=60.0):
    """Square patch of n x n x 2 triangles on a body, its middle the origin."""
    tri = _squares(*[np.linspace(-size / 2, size / 2, n + 1)] * 2)
    return replace(from_triangulation(tri, [], rim_vertices=tri.boundary_nodes()), surface=surface)


def disc(*, rings, beyond=0, wedge=0.0):
    """Disc of radius 1 mm of nearly equilateral triangles, with a wedge about the x axis cut out.

    rings    of triangles from the centre to the radius;  beyond   more of them, outside
    wedge    angle cut out, rad; its two edges are the only seam and meet in the one node at the centre

    The radius is that of the circle with the area of the polygon through the nodes.
    """
    turn = 2 * np.pi - wedge
    sector = turn / (6 * rings)
    radius = np.sqrt(sector / np.sin(sector))
    angle = [wedge / 2 + turn * np.arange(6 * k + (wedge > 0)) / max(6 * k, 1) for k in range(rings + beyond + 1)]
    angle[0] = np.zeros(1)
    first = np.concatenate([[0], np.cumsum([a.size for a in angle])])
    p = np.hstack([radius * k / rings * np.array([np.cos(a), np.sin(a)]) for k, a in enumerate(angle)])
    t = [_ring(k, first[k - 1 : k + 1], [a.size for a in angle[k - 1 : k + 1]]) for k in range(1, len(angle))]
    edges = np.array([first[:-1], first[1:] - 1]) if wedge else None
    rim = np.arange(first[-2], first[-1])
    tri = skfem.MeshTri(p, np.hstack(t), sort_t=False)
    return from_triangulation(tri, [] if edges is None else [edges], rim_vertices=rim)


def _ring(k, first, size):
    """Triangles (3, 6 (2k - 1)) between ring k - 1 and ring k, which start at node `first`."""
    sector, j = np.divmod(np.arange(6 * k), k)
    inside, outside = sector * (k - 1) + j, sector * k + j

    def node(ring, i):
        return first[ring] + i % size[ring]

    out = np.array([node(0, inside), node(1, outside), node(1, outside + 1)])
    back = np.array([node(0, inside), node(1, outside + 1), node(0, inside + 1)])
    return np.hstack([out, back[:, j < k - 1]])


def sewn_flat(mesh, wedge):
    """Positions (3, n) of `disc` with the wedge shut by an even turn of all radii, in the plane."""
    r, angle = np.hypot(*mesh.X), np.arctan2(-mesh.X[1], -mesh.X[0])  # 0 opposite the wedge
    angle = angle * 2 * np.pi / (2 * np.pi - wedge)
    return np.array([-r * np.cos(angle), -r * np.sin(angle), 0 * r])


def hole(*, a, b, rings, around, radius, seam=False):
    """Sheet around an elliptical hole of semi-axes a along x and b along y, on confocal ellipses.

    around  segments of the hole's edge;  rings of quadrangles between it and about `radius`
    """
    c, m = (a + b) / 2, (a - b) / (a + b)  # z = c (zeta + m / zeta) takes the unit circle to the ellipse
    rho = np.geomspace(1, radius / c, rings + 1)
    zeta = rho[:, None] * np.exp(2j * np.pi * np.arange(around) / around)
    z = (c * (zeta + m / zeta)).ravel()
    k, j = np.divmod(np.arange(rings * around), around)
    one, two = k * around + j, k * around + (j + 1) % around
    three, four = two + around, one + around  # counter-clockwise from outside: one four three two
    even = (j + k) % 2 == 0
    first = np.where(even, [one, three, two], [one, four, two])
    second = np.where(even, [one, four, three], [four, three, two])
    t = np.hstack([first, second])
    edge, left = np.arange(around), around // 2
    pairs = [np.array([edge[: left + 1][::-1], np.append(edge[left:], 0)])] if seam else []
    tri = skfem.MeshTri(np.array([z.real, z.imag]), np.ascontiguousarray(t), sort_t=False)
    return from_triangulation(tri, pairs, rim_vertices=rings * around + np.arange(around))


def edge_load(mesh, facets, traction):
    """Nodal forces (3, n) of a line load (3, n_facets) or (3, 1), N/mm, on straight facets."""
    ends = mesh.tri.facets[:, facets]
    length = np.hypot(*np.diff(mesh.tri.p[:, ends], axis=1)[:, 0])
    f = np.zeros((3, mesh.X.shape[1]))
    for nodes, share in ((ends[0], 1 / 6), (ends[1], 1 / 6), (mesh.tri.nvertices + facets, 2 / 3)):
        np.add.at(f.T, nodes, (share * length * traction).T)
    return f


def outward(mesh, facets):
    """Unit normals (3, n_facets) of straight facets on the border, pointing away from the sheet."""
    start, end = mesh.tri.p[:, mesh.tri.facets[:, facets]].transpose(1, 0, 2)
    normal = np.array([end[1] - start[1], start[0] - end[0]]) / np.hypot(*(end - start))
    inside = mesh.tri.p[:, mesh.tri.t[:, mesh.tri.f2t[0, facets]]].mean(axis=1)
    normal *= np.sign((normal * (start - inside)).sum(axis=0))
    return np.vstack([normal, np.zeros(facets.size)])


def rigid_strip(mesh, *, held, turned, angle, centre):
    """Sewing that holds some nodes and turns others about y, as one, by `angle` rad about a node free to travel."""
    X = flat(mesh)
    free = np.full(X.shape[1], -1)
    moving = np.setdiff1d(np.arange(X.shape[1]), np.concatenate([held, turned]))
    free[moving] = np.arange(moving.size)
    free[turned] = moving.size
    arm = X[:, turned] - X[:, [centre]]
    offset = np.zeros_like(X)
    offset[:, held] = X[:, held]
    offset[:, turned] = np.array([np.cos(angle) * arm[0], arm[1], np.sin(angle) * arm[0]])
    return Constraints(free=free, offset=offset, gap=np.zeros_like(X))


def crumpled(x, seed=1):
    """Positions far from flat: a roll, a saddle and noise in every direction."""
    X, Y, _ = x
    wave = np.array([0.1 * np.sin(3 * Y), 0.15 * X * Y, 0.4 * np.sin(3 * X) + 0.3 * X * Y])
    return x + wave + np.random.default_rng(seed).uniform(-0.01, 0.01, x.shape)
