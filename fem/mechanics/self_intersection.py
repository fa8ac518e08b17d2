"""Where the skin has passed through itself: contact of skin with skin is not part of the model."""

import numpy as np
import shapely

CLEAR = 1e-6  # share of an edge, and of a triangle, within which meeting is not crossing: round-off


def self_intersections(x: np.ndarray, triangles: np.ndarray, same: np.ndarray) -> np.ndarray:
    """Pairs (2, k) of triangles of a surface that pass through each other.

    x           (3, n) mm
    triangles   (3, m) vertices of flat triangles
    same        (n,) number of each vertex; vertices that are sewn together have the same

    Triangles with a vertex in common meet there and are left out; so are those that lie in one plane. An edge that
    pierces the inside of a triangle is a crossing (Möller & Trumbore 1997).
    """
    corners = x[:, triangles]
    low, high = corners.min(axis=1), corners.max(axis=1)
    boxes = shapely.box(*low[:2], *high[:2])
    one, other = shapely.STRtree(boxes).query(boxes)
    near = (one < other) & (low[2, one] <= high[2, other]) & (low[2, other] <= high[2, one])
    one, other = one[near], other[near]
    mine, yours = same[triangles[:, one]], same[triangles[:, other]]
    apart = (mine[:, None] != yours).all(axis=(0, 1))
    one, other = one[apart], other[apart]
    crossed = _pierces(corners[:, :, one], corners[:, :, other]) | _pierces(corners[:, :, other], corners[:, :, one])
    return np.array([one[crossed], other[crossed]])


def _pierces(edges, triangles):
    """Whether some side of triangles (3, 3, k) pierces the inside of the other triangles (3, 3, k), each its own."""
    a, b, c = triangles.transpose(1, 0, 2)
    u, v = b - a, c - a
    found = np.zeros(a.shape[1], bool)
    for i, j in ((0, 1), (1, 2), (2, 0)):
        start, way = edges[:, i], edges[:, j] - edges[:, i]
        p = np.cross(way, v, axis=0)
        det = (u * p).sum(axis=0)
        parallel = np.abs(det) <= CLEAR * np.prod(np.linalg.norm([u, v, way], axis=1), axis=0)
        det = np.where(parallel, np.inf, det)
        s = start - a
        q = np.cross(s, u, axis=0)
        inside, at = np.array([(s * p).sum(axis=0), (way * q).sum(axis=0)]) / det, (v * q).sum(axis=0) / det
        found |= (inside > CLEAR).all(axis=0) & (inside.sum(axis=0) < 1 - CLEAR) & (at > CLEAR) & (at < 1 - CLEAR)
    return found
