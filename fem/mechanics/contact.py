"""Skin that meets skin: which parts lie near each other and far apart along the skin, and how hard they push.

Only what was cut, folded or drawn together far enough gets there: a sheet that no part of which comes nearer to another
than `reach` has no contact, and costs nothing more.
"""

from dataclasses import dataclass, field
from functools import cache, cached_property

import numpy as np
import shapely
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import connected_components, dijkstra
from scipy.spatial import cKDTree

from fem.mechanics.kernels.self_contact import Cloud, Pairs, listed, nearest, self_contact, spheres, step_kept_apart
from fem.mechanics.kernels.storage import NO_TANGENT, Stored
from fem.mechanics.quadratic import shapes
from fem.mechanics.triangulation import Mesh, facets_between

# Our choices, in thicknesses of the skin (beside a cut: twice the distance to it). Middle surfaces of two parts push
# each other within REACH and lie about one thickness apart under the pressure that skin exerts; parts nearer than ALONG
# along the skin, seams crossed, are neighbours and do not.
REACH, ALONG = 1.25, 3.0
FINE, SLACK = 0.4, 0.25  # thicknesses: between the points that push; by which those listed are farther than REACH
EDGE = 0.15  # thicknesses, radius of the points along a cut
LEAST = 0.2  # thicknesses from a cut: skin nearer to it is so thin that these points are too far apart for it
LARGEST = 20.0  # thicknesses: edges of triangles that have contact. Larger ones fold more sharply than skin, at edges
THROUGH = 0.4  # thicknesses, more than points are apart: nearer lies only skin that has passed through
SHARE = 0.5  # of its distance by which a pair of points comes nearer in an iteration at most
SMALLEST, FAR = 1e-300, 1e9  # mm
MANY, MOST = 500, 6000  # nodes from which ways are sought at a time, and between which they are kept: memory
NO_KEYS = np.zeros(0, int)
BENT, SQUEEZED = 0.5, 0.6  # cosine of the angle, share of the distance: neighbours turned and squeezed less do not meet

NOWHERE = next(NO_TANGENT)
NO_PAIRS = Pairs(np.zeros((0, 12), int), np.zeros(1, int), np.zeros(0, int), np.zeros(0, int), np.zeros((0, 6)),
                 np.zeros(0), np.zeros(0))  # fmt: skip


@dataclass(frozen=True)
class Parts:
    """The skin as contact knows it."""

    mesh: Mesh
    cuts: tuple[np.ndarray, ...]  # each (k,) nodes along an edge that is not sewn all along
    areas: np.ndarray  # (n_elements,) mm2 of uncut skin
    h: float  # mm, thickness
    stiffness: float  # MPa, k
    known: dict[str, np.ndarray] = field(default_factory=dict, repr=False)  # nodes and the ways between them so far

    @cached_property
    def centres(self) -> np.ndarray:
        """Middles (2, n_elements) of the elements on the plan."""
        return self.mesh.X[:, self.mesh.elements[:3]].mean(axis=1)

    @cached_property
    def radii(self) -> np.ndarray:
        """Greatest distance (n_elements,) on the plan from there to a node."""
        away = self.mesh.X[:, self.mesh.elements] - self.centres[:, None]
        return np.sqrt((away**2).sum(axis=0)).max(axis=0)

    @cached_property
    def longest(self) -> np.ndarray:
        """Longest edge (n_elements,) on the plan."""
        X = self.mesh.X[:, self.mesh.elements[:3]]
        return np.linalg.norm(X - np.roll(X, 1, axis=1), axis=0).max(axis=0)

    @cached_property
    def seam(self) -> tuple[np.ndarray, np.ndarray]:
        """The node of a seam (n_elements,) that is nearest to each element on the plan, and how far; inf of none."""
        sewn = np.unique(self.mesh.pairs)
        if not sewn.size:
            return np.zeros(self.radii.size, int), np.full(self.radii.size, np.inf)
        far, nearest = cKDTree(self.mesh.X[:, sewn].T).query(self.centres.T)
        return sewn[nearest], far

    @cached_property
    def drawn(self) -> shapely.MultiLineString:
        """The cuts on the plan; a point far away where there are none."""
        lines = [shapely.LineString(self.mesh.X[:, cut].T) for cut in self.cuts]
        return shapely.MultiLineString(lines) if lines else shapely.Point(FAR, FAR)

    @cached_property
    def edges(self) -> tuple[np.ndarray, np.ndarray]:
        """Elements (n,) beside the edges of triangles along cuts, and which two (n, 2) of their vertices these join."""
        tri, chains = self.mesh.tri, [cut[::2] for cut in self.cuts]
        ends = np.hstack([np.zeros((2, 0), int), *(np.array([chain[:-1], chain[1:]]) for chain in chains)])
        element = tri.f2t[0, facets_between(tri, ends)]
        on = tri.t[:, element]
        return element, np.stack([(on == end).argmax(axis=0) for end in ends], axis=1)

    @cached_property
    def groups(self) -> np.ndarray:
        """Number (n,) of each node; nodes that are sewn together have the same."""
        n, pairs = self.mesh.X.shape[1], self.mesh.pairs
        return connected_components(coo_array((np.ones(pairs.shape[1]), pairs), shape=(n, n)), directed=False)[1]

    @cached_property
    def partner(self) -> np.ndarray:
        """The node (n,) to which each is sewn, itself if to none, one of several."""
        partner = np.arange(self.mesh.X.shape[1])
        first, second = self.mesh.pairs
        partner[first], partner[second] = second, first
        return partner

    @cached_property
    def ways(self) -> csr_array:
        """Distances on the plan between nodes of an element, by groups of nodes that are sewn together."""
        one, other = np.triu_indices(6, 1)
        a, b = self.mesh.elements[one].ravel(), self.mesh.elements[other].ravel()
        far = np.hypot(*(self.mesh.X[:, a] - self.mesh.X[:, b]))
        m, pairs = self.groups.max() + 1, np.sort([self.groups[a], self.groups[b]], axis=0)
        order = np.lexsort((far, *pairs[::-1]))
        first = np.append(True, np.diff(pairs[:, order]).any(axis=0))  # the shorter of what both triangles say
        row, column = pairs[:, order][:, first]
        return coo_array((far[order][first], (row, column)), shape=(m, m)).tocsr()


@dataclass(frozen=True)
class SelfContact:
    """Pairs of points of the skin that are in contact, or nearly, at some positions."""

    pairs: Pairs
    keys: np.ndarray  # (n_pairs,) of the pairs of elements, ascending
    at: np.ndarray  # (3, n) mm, the positions at which they were listed
    parts: Parts

    @property
    def near(self) -> bool:
        """Whether there are any."""
        return bool(self.pairs.first.size)

    @cached_property
    def nearest(self) -> float:
        """Least distance of two points where they were listed, in the sum of their radii."""
        return nearest(np.ascontiguousarray(self.at.T), self.pairs)

    @property
    def pushes(self) -> bool:
        """Whether some part pushes another where they were listed."""
        return self.nearest < REACH

    @property
    def passed(self) -> bool:
        """Whether skin has passed through skin where they were listed, or lies as near as if it had."""
        return self.nearest < THROUGH

    def holds(self, x: np.ndarray) -> bool:
        """Whether these are all pairs within reach at positions x (3, n)."""
        return bool(((x - self.at) ** 2).sum(axis=0).max() <= (SLACK * self.parts.h / 2) ** 2)

    def assembled(self, x: np.ndarray, r: np.ndarray, to: Stored = NOWHERE) -> tuple[float, np.ndarray]:
        """Energy at x (n, 3), N mm, and what pushes each point (n_points, 3), MPa; forces and tangent are added."""
        pressed = np.zeros((self.pairs.areas.size, 3))
        return self_contact(x, self.pairs, REACH, self.parts.stiffness, r, pressed, to), pressed

    def pressed(self, x: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Points' positions (3, n), areas of uncut skin (n,), mm2, and pressures (n,), MPa, at positions x (3, n)."""
        _, push = self.assembled(np.ascontiguousarray(x.T), np.zeros_like(x.T))
        at, pairs = np.empty((3, self.pairs.areas.size)), self.pairs
        of = np.repeat(np.arange(len(pairs.nodes)), np.diff(pairs.starts))
        for points, nodes in ((pairs.first, pairs.nodes[of, :6]), (pairs.second, pairs.nodes[of, 6:])):
            at[:, points] = np.einsum("pa,ipa->ip", pairs.shapes[points], x[:, nodes])
        return at, pairs.areas, np.linalg.norm(push, axis=1)

    def part(self, x: np.ndarray, step: np.ndarray) -> float:
        """Part of a step (3, n) from x (3, n), at most 1, on which nothing passes through anything.

        Pairs come nearer by a SHARE of their distance at most, other parts, which are farther apart, by the slack.
        """
        part = step_kept_apart(np.ascontiguousarray(x.T), np.ascontiguousarray(step.T), self.pairs, SHARE)
        moved, reach = part * np.linalg.norm(step, axis=0), SLACK * self.parts.h
        if 2 * moved.max() > reach:  # only what may meet
            moved = moved[np.unique(self.parts.mesh.elements[:, _near(self.parts, x, 2 * moved.max())])]
        return part * min(1.0, reach / (2 * moved.max(initial=0.0) + SMALLEST))


def contact(parts: Parts, x: np.ndarray, before: SelfContact | None = None) -> SelfContact:
    """Contact at positions x (3, n).

    before  whose pairs of elements are named again, in the same array if there are no others
    """
    reach = (REACH + SLACK) * parts.h
    near = _near(parts, x, reach)
    elements, known = np.unique(near, return_inverse=True)
    if not elements.size:
        return SelfContact(NO_PAIRS, NO_KEYS, x, parts)
    cloud, N, areas = _cloud(parts, x, elements)
    rows = listed(known.reshape(near.shape), cloud, REACH, SLACK * parts.h, ALONG)
    found = np.sort(near, axis=1)[rows[:, 0]] @ [parts.radii.size, 1]
    keys, nodes = (NO_KEYS, NO_PAIRS.nodes) if before is None else (before.keys, before.pairs.nodes)
    if not np.isin(found, keys).all():
        keys = np.union1d(keys, found)
        nodes = np.hstack([parts.mesh.elements[:, side].T for side in np.divmod(keys, parts.radii.size)])
    turned = near[rows[:, 0], 0] > near[rows[:, 0], 1]
    rows[turned, 1:] = rows[turned, :0:-1]
    order = np.argsort(found, kind="stable")
    points, numbers = np.unique(rows[order, 1:], return_inverse=True)
    one, other = np.ascontiguousarray(numbers.reshape(-1, 2).T)
    starts = np.append(np.searchsorted(found[order], keys), found.size)
    return SelfContact(Pairs(nodes, starts, one, other, N[points], areas[points], cloud.radii[points]), keys, x, parts)


def _near(parts, x, reach):
    """Pairs (n, 2) of elements whose points may be within reach at x (3, n) and are no neighbours along the skin."""
    mesh, h = parts.mesh, parts.h
    corners = x[:, mesh.elements]
    centres = corners[:, :3].mean(axis=1)
    radii = np.sqrt(((corners - centres[:, None]) ** 2).sum(axis=0)).max(axis=0)
    one, other = spheres(np.ascontiguousarray(centres.T), radii, reach).T
    a, b, c = corners[:, :3].transpose(1, 0, 2)
    normals = np.cross(b - a, c - a, axis=0)
    normals /= np.linalg.norm(normals, axis=0)

    def met(one: np.ndarray, other: np.ndarray, way: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """The pairs without those that are neighbours by a way (n,) along the skin, little turned and squeezed."""
        even = (normals[:, one] * normals[:, other]).sum(axis=0) > BENT
        apart = np.linalg.norm(centres[:, one] - centres[:, other], axis=0)
        near = way < parts.radii[one] + parts.radii[other] + ALONG * h
        keep = ~(even & near & (apart > SQUEEZED * way))
        return one[keep], other[keep]

    fine = parts.longest < LARGEST * h
    one, other = (side[fine[one] & fine[other]] for side in (one, other))
    one, other = met(one, other, np.hypot(*(parts.centres[:, one] - parts.centres[:, other])))
    node, far = parts.seam
    i, j = node[one], node[other]
    along = [np.hypot(*(mesh.X[:, p] - mesh.X[:, q])) for p in (i, parts.partner[i]) for q in (j, parts.partner[j])]
    return np.stack(met(one, other, far[one] + far[other] + np.min(along, axis=0)), axis=1)


def _cloud(parts, x, elements):
    """Points of elements (m,) at x (3, n), FINE from each other, and their shapes (n, 6) and areas (n,)."""
    mesh = parts.mesh
    nodes = mesh.elements[:, elements]
    fineness = np.ceil(parts.longest[elements] / (np.sqrt(3) * FINE * parts.h)).astype(int)
    N, of = np.vstack([_middles(n) for n in fineness]), np.repeat(np.arange(elements.size), fineness**2)
    areas = (parts.areas[elements] / fineness**2)[of]
    on_plan = np.einsum("pa,iap->pi", N, mesh.X[:, nodes[:, of]])
    radii = np.minimum(parts.h / 2, shapely.distance(shapely.points(on_plan), parts.drawn))
    thick = radii > LEAST * parts.h
    edge = _edges(parts, elements)
    of = np.append(of[thick], edge[0])
    order = np.argsort(of, kind="stable")
    of, N, areas = of[order], np.vstack([N[thick], edge[1]])[order], np.append(areas[thick], edge[2])[order]
    radii = np.append(radii[thick], np.full(edge[0].size, EDGE * parts.h))[order]
    on_plan = np.einsum("pa,iap->pi", N, mesh.X[:, nodes[:, of]])
    away = np.linalg.norm(mesh.X[:, nodes[:, of]].T - on_plan[:, None], axis=2)
    at = np.einsum("pa,iap->pi", N, x[:, nodes[:, of]])
    starts = np.searchsorted(of, np.arange(elements.size + 1))
    known, ways = _ways(parts, nodes)
    return Cloud(starts, on_plan, at, radii, parts.h / 2, away, known.T.copy(), ways), N, areas


def _edges(parts, elements):
    """Points of cuts: numbers (n,) of their elements (m,), shapes (n, 6) and areas (n,)."""
    element, ends = parts.edges
    of = np.searchsorted(elements, element).clip(max=elements.size - 1)
    here = elements[of] == element
    lam, number, areas = [], [], []
    for k, (i, j) in zip(of[here], ends[here], strict=True):
        X = parts.mesh.X[:, parts.mesh.elements[[i, j], elements[k]]]
        long = np.hypot(*(X[:, 1] - X[:, 0]))
        n = int(np.ceil(long / (2 * FINE * EDGE * parts.h)))
        at = np.zeros((n, 3))
        at[:, j] = (np.arange(n) + 0.5) / n
        at[:, i] = 1 - at[:, j]
        lam.append(at)
        number += [k] * n
        areas += [long / n * parts.h] * n  # the face of a cut is as high as the skin is thick
    return np.array(number, int), shapes(np.vstack([np.zeros((0, 3)), *lam])), np.array(areas)


@cache
def _middles(n):
    """Shape functions (n^2, 6) at the middles of the triangles into which rows of n divide one."""
    i, j = (index.ravel() for index in np.meshgrid(np.arange(n), np.arange(n), indexing="ij"))
    up = np.stack([i + 1 / 3, j + 1 / 3], axis=1)[i + j < n]
    down = np.stack([i + 2 / 3, j + 2 / 3], axis=1)[i + j < n - 1]
    two = np.concatenate([up, down]) / n
    return shapes(np.column_stack([1 - two.sum(axis=1), two]))


def _ways(parts, nodes):
    """Numbers (6, m) of the nodes (6, m) of elements, and shortest ways between them, up to ALONG."""
    wanted = parts.groups[nodes]
    if not np.isin(wanted, parts.known.get("nodes", [])).all():
        some = np.union1d(wanted, parts.known.get("nodes", [])).astype(int)
        parts.known["nodes"] = some if some.size < MOST else np.unique(wanted)
        parts.known["ways"] = np.vstack([
            dijkstra(parts.ways, directed=False, indices=rows, limit=ALONG * parts.h)[:, parts.known["nodes"]]
            for rows in np.array_split(parts.known["nodes"], 1 + some.size // MANY)
        ]).astype(np.float32)  # fmt: skip
    return np.searchsorted(parts.known["nodes"], wanted), parts.known["ways"]
