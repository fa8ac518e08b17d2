"""What closed skin bears: stress, stretch, energy, and where it has passed through itself, which nothing holds back."""

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from fem.closure.closure import Closure
from fem.closure.measures.cones import TIP_ZONE
from fem.material.skin import KPA
from fem.mechanics.sheet import assemble
from fem.mechanics.triangulation import flat_triangles

COMPRESSED = -1 / KPA  # MPa
CLEAR = 1e-6  # share of an edge, and of a triangle, within which meeting is not crossing: round-off


def _distance(closure, nodes):
    """Distance (n_elements, n_quad) in uncut skin from the integration points to the nearest node, mm; inf of none."""
    at = np.einsum("qa,iea->eqi", closure.sheet.shapes, closure.mesh.X[:, closure.sheet.area.nodes])
    return cKDTree(closure.mesh.X[:, nodes].T).query(at)[0]


def _outside_tip_zones(closure):
    """Whether each of the integration points (n_elements, n_quad) is."""
    ends = np.hstack([np.empty(0, int), *(scar[:, [0, -1]].ravel() for scar in closure.mesh.scars)])
    return _distance(closure, ends) > TIP_ZONE


def skin_stress_max(closure: Closure) -> float:
    """Greatest principal Cauchy stress outside the tip zones, kPa."""
    return float(KPA * closure.stress[0][1, _outside_tip_zones(closure)].max())


def skin_stretch_max(closure: Closure) -> float:
    """Greatest principal stretch, from the unstressed state, outside the tip zones."""
    return float(closure.stress[1][_outside_tip_zones(closure)].max())


def skin_stress_p99(closure: Closure) -> float | None:
    """99th percentile by area, kPa, of the greatest principal stress within a width (slit: length) of the wound.

    The tip zones are left out; None if they cover all of it.
    """
    (_, stress), _ = closure.stress
    near = _distance(closure, closure.mesh.edge) < (closure.outline.width or closure.outline.length)
    near &= _outside_tip_zones(closure)
    if not near.any():
        return None
    area = closure.sheet.area.weights[near]
    return float(KPA * np.quantile(stress[near], 0.99, weights=area, method="inverted_cdf"))


def compressed_area(closure: Closure) -> float:
    """Reference area, mm2, where the smaller principal stress is below -1 kPa."""
    return float(closure.sheet.area.weights[closure.stress[0][0] < COMPRESSED].sum())


def strain_energy(closure: Closure) -> float:
    """Energy of the closed skin and its bed, mJ (N mm), above that of the same skin uncut."""
    return float(closure.assembled[0] - assemble(closure.sheet, closure.mesh.flat)[0])


def self_intersection(closure: Closure) -> float:
    """Reference area, mm2, of skin that has passed through other skin; triangles at edges, which meet, left out."""
    mesh = closure.mesh
    n, pairs = mesh.X.shape[1], mesh.pairs
    same = connected_components(coo_array((np.ones(pairs.shape[1]), pairs), shape=(n, n)), directed=False)[1]
    triangles = flat_triangles(mesh.elements)
    triangles = triangles[:, ~np.isin(triangles, pairs).any(axis=0)]
    crossed = triangles[:, np.unique(self_intersections(closure.x, triangles, same))]
    a, b, c = mesh.X[:, crossed].transpose(1, 0, 2)
    return float(np.abs((b - a)[0] * (c - a)[1] - (b - a)[1] * (c - a)[0]).sum() / 2)


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
