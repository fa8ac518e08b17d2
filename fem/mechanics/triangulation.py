"""Quadratic triangles around a wound: what is sewn to what, the tips and scars of it, the angles, files."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import meshio
import numpy as np
import skfem

from fem.errors import MeshError
from fem.geometry.curve import turn
from fem.geometry.surface import FLAT, Surface

CORNERS = np.array([[0, 3, 5], [3, 1, 4], [5, 4, 2], [3, 4, 5]])  # flat triangles of a quadratic one


@dataclass(frozen=True)
class Mesh:
    """Quadratic triangles, straight on the plan; nodes and elements are numbered as in skfem.ElementTriP2."""

    X: np.ndarray  # (2, n) mm, on the plan: vertices, then the midpoint of each facet of `tri`
    elements: np.ndarray  # (6, n_elements) vertices 0 1 2, then midpoints of 01 12 02
    tri: skfem.MeshTri  # the triangulation itself
    seams: tuple[np.ndarray, ...]  # each (2, 2 k + 1) nodes along its edges: vertex, midpoint, vertex, ...
    rim: np.ndarray  # nodes on the outer edge, ascending
    undermined: np.ndarray  # (n_elements,) bool: inside the undermined zone
    open: tuple[np.ndarray, ...] = ()  # each (2 k + 1,) nodes along an edge that is not sewn, skin on its left
    surface: Surface = FLAT  # of the body, on which the plan lies

    @cached_property
    def x0(self) -> np.ndarray:
        """Positions (3, n) of the nodes in the uncut skin, mm."""
        return self.surface.place(self.X)

    @cached_property
    def pairs(self) -> np.ndarray:
        """Nodes (2, n) that are sewn to each other."""
        return np.hstack([np.zeros((2, 0), int), *self.seams])

    @cached_property
    def edge(self) -> np.ndarray:
        """Nodes (n,) on all edges of the wound, sewn or open, ascending."""
        return np.unique(np.concatenate([self.pairs.ravel(), *self.open]))

    @cached_property
    def scars(self) -> list[np.ndarray]:
        """Nodes (2, 2 k + 1) along both edges of each scar: the seams, in one where one carries on from the last."""
        joined = list(self.seams[:1])
        for seam in self.seams[1:]:
            end = joined[-1][:, -1]
            if (end == seam[:, 0]).all() and end[0] != end[1]:
                joined[-1] = np.hstack([joined[-1], seam[:, 1:]])
            else:
                joined.append(seam)
        return joined

    @cached_property
    def tips(self) -> np.ndarray:
        """Nodes where both edges of a seam end in the same node; from left to right, then from below."""
        first, second = np.hstack([np.zeros((2, 0), int), *(seam[:, [0, -1]] for seam in self.seams)])
        nodes = np.unique(first[first == second])
        x, y = self.X[:, nodes].round(6)
        return nodes[np.lexsort((y, x))]

    @cached_property
    def ends(self) -> tuple[np.ndarray, np.ndarray]:
        """Tips at left and right end, each at the nearer of the two farthest apart; none if fewer than two."""
        if self.tips.size < 2:
            return self.tips[:0], self.tips[:0]
        X = self.X[:, self.tips]
        distance = np.hypot(*(X[:, :, None] - X[:, None]))
        one, other = np.unravel_index(distance.argmax(), distance.shape)
        left = distance[one] <= distance[other]
        left = left if left[0] else ~left
        return self.tips[left], self.tips[~left]

    def axis(self, x: np.ndarray) -> np.ndarray | None:
        """The way (2,) or (3,) from left to right end with nodes at x, between middles of tips; None without ends."""
        left, right = self.ends
        return x[:, right].mean(axis=1) - x[:, left].mean(axis=1) if left.size else None

    def outward(self, x: np.ndarray) -> np.ndarray:
        """Level unit vectors (2, n) outward at each tip, along the axis; a single one faces away from the edge."""
        along = self.axis(x[:2])
        if along is None:
            away = x[:2, self.tips] - x[:2, self.edge].mean(axis=1)[:, None]
            return away / np.linalg.norm(away, axis=0)
        side = np.where(np.isin(self.tips, self.ends[0]), -1.0, 1.0)
        return side * along[:, None] / np.linalg.norm(along)


def flat_triangles(elements: np.ndarray) -> np.ndarray:
    """Flat triangles (3, 4 n), as node numbers, that the nodes of quadratic ones (6, n) make."""
    return elements[CORNERS].transpose(1, 0, 2).reshape(3, -1)


def from_triangulation(
    tri: skfem.MeshTri, seams: Sequence[np.ndarray], *, rim_vertices: Sequence[int] | np.ndarray = (),
    undermined: np.ndarray | None = None, open_edges: Sequence[Sequence[int] | np.ndarray] = (),
) -> Mesh:  # fmt: skip
    """Mesh of quadratic triangles on a triangulation, with seams and rim given by its vertices.

    seams          each (2, k + 1) vertices along the two edges of a seam, matched and in order
    rim_vertices   vertices on the outer edge; boundary facets between two of them belong to the rim
    undermined     (n_elements,) bool; None: nothing is undermined
    open_edges     each (k + 1,) vertices along an edge that is not sewn

    Raises MeshError as `facets_between`.
    """
    boundary = tri.boundary_facets()
    on_rim = boundary[np.isin(tri.facets[:, boundary], rim_vertices).all(axis=0)]
    return Mesh(
        X=np.hstack([tri.p, tri.p[:, tri.facets].mean(axis=1)]), elements=np.vstack([tri.t, tri.nvertices + tri.t2f]),
        tri=tri, seams=tuple(np.array([_with_midpoints(tri, chain) for chain in pair]) for pair in seams),
        rim=np.unique(np.concatenate([rim_vertices, tri.nvertices + on_rim]).astype(int)),
        undermined=np.zeros(tri.nelements, bool) if undermined is None else undermined,
        open=tuple(_with_midpoints(tri, chain) for chain in open_edges),
    )  # fmt: skip


def facets_between(tri: skfem.MeshTri, pairs: np.ndarray) -> np.ndarray:
    """Numbers (k,) of the facets that join pairs (2, k) of vertices. Raises MeshError if one is not joined."""
    known, asked = (np.sort(e.astype(np.int64), axis=0).T @ [tri.nvertices, 1] for e in (tri.facets, pairs))
    order = np.argsort(known)
    found = order[np.searchsorted(known, asked, sorter=order).clip(max=known.size - 1)]
    if lost := np.flatnonzero(known[found] != asked).tolist():
        start, end = tri.p[:, pairs[:, lost[0]]].T
        raise MeshError(
            f"{len(lost)} of {asked.size} prescribed edges are missing from the triangulation, "
            f"first ({start[0]:.4g}, {start[1]:.4g}) to ({end[0]:.4g}, {end[1]:.4g}) mm"
        )
    return found


def corner_angles(tri: skfem.MeshTri) -> np.ndarray:
    """Angles (3, n_elements) of the triangles at their vertices 0, 1, 2, rad."""
    ahead = np.roll(tri.p[:, tri.t], -1, axis=1) - tri.p[:, tri.t]
    back = -np.roll(ahead, 1, axis=1)
    return abs(turn(ahead, back))


def quality(mesh: Mesh) -> tuple[float, np.ndarray]:
    """Smallest angle of any triangle, degrees, and the vertex (2,) at which it is, mm."""
    angles = corner_angles(mesh.tri)
    worst = np.unravel_index(angles.argmin(), angles.shape)
    return np.degrees(angles[worst]), mesh.tri.p[:, mesh.tri.t[worst]]


def write(mesh: Mesh, path_stem: str | Path) -> tuple[str, str]:
    """Write the mesh as `path_stem`.vtu and `path_stem`.msh (gmsh 4.1) and return the two paths.

    Six-node triangles with cell data `undermined` (0, 1) and point data `rim` (0, 1) and `seam`: k on the first
    edge of seam k = 1, 2, ..., -k on the second, k where the two are the same node, 0 elsewhere.
    """
    seam, rim = np.zeros((2, mesh.X.shape[1]), np.int32)
    for k, (first, second) in enumerate(mesh.seams, start=1):
        seam[second], seam[first] = -k, k
    rim[mesh.rim] = 1
    zone = {"undermined": [mesh.undermined.astype(np.int32)]}
    written = meshio.Mesh(mesh.x0.T, [("triangle6", mesh.elements.T)], {"seam": seam, "rim": rim}, cell_data=zone)
    vtu, msh = f"{path_stem}.vtu", f"{path_stem}.msh"
    written.write(vtu)
    written.write(msh, file_format="gmsh")
    return vtu, msh


def _with_midpoints(tri, chain):
    """Nodes (2 k + 1,) along a chain of k + 1 vertices: vertex, midpoint, vertex, ..."""
    midpoints = tri.nvertices + facets_between(tri, np.array([chain[:-1], chain[1:]]))
    return np.insert(chain, np.arange(1, len(chain)), midpoints)
