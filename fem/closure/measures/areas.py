"""Areas that are left open, or where skin has passed through skin."""

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from fem.closure.closure import Closure
from fem.closure.measures.cones import CORNERS
from fem.closure.measures.scars import total
from fem.mechanics.self_intersection import self_intersections


def open_area(closure: Closure) -> float | None:
    """Area, mm2, seen from above, inside the edges that are left open; None if there are none."""
    return total(_left_of(closure.x[:2, edge[::-1]]) for edge in closure.mesh.open)


def _left_of(x):
    """Area between the origin and a line through points (2, n), on its left; of lines that make a ring, their area."""
    return (x[0, :-1] * x[1, 1:] - x[1, :-1] * x[0, 1:]).sum() / 2


def self_intersection(closure: Closure) -> float:
    """Reference area, mm2, of skin that has passed through other skin, which the model does not prevent.

    Triangles at the wound's edges, which meet others there, are left out.
    """
    mesh = closure.mesh
    n, pairs = mesh.X.shape[1], mesh.pairs
    same = connected_components(coo_array((np.ones(pairs.shape[1]), pairs), shape=(n, n)), directed=False)[1]
    triangles = mesh.elements[CORNERS].transpose(1, 0, 2).reshape(3, -1)
    triangles = triangles[:, ~np.isin(triangles, pairs).any(axis=0)]
    crossed = triangles[:, np.unique(self_intersections(closure.x, triangles, same))]
    a, b, c = mesh.X[:, crossed].transpose(1, 0, 2)
    return float(np.abs((b - a)[0] * (c - a)[1] - (b - a)[1] * (c - a)[0]).sum() / 2)
