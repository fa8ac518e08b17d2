"""What closed skin bears: stress, stretch, energy, where it lies on itself, or has passed through itself."""

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from fem.closure.closure import Closure
from fem.closure.measures.cones import TIP_ZONE
from fem.closure.measures.scars import loops
from fem.material.skin import KPA
from fem.mechanics.sheet import uncut_energy
from fem.mechanics.triangulation import flat_triangles
from fem.plan.junctions import junctions

COMPRESSED = -1 / KPA  # MPa
PRESSED = 0.1 / KPA  # MPa; our choice: less shows nowhere
LEAST = 1e-6  # rad of an angle deficit, above round-off
CLEAR = 1e-6  # share of an edge, and of a triangle, within which meeting is not crossing: round-off


def _distance(closure, places):
    """Distance (n_elements, n_quad) in uncut skin from the integration points to the nearest place, mm; inf of none."""
    at = np.einsum("qa,iea->eqi", closure.sheet.shapes, closure.mesh.X[:, closure.sheet.area.nodes])
    return cKDTree(places.T).query(at)[0]


def corners(closure: Closure) -> np.ndarray:
    """Places (2, n) in uncut skin where edges of the plan end or bend, and stress has no limit, mm.

    The ends of a circle's seam are, though it is smooth there; where straight edges go on across a junction is none.
    """
    met = [at for at in junctions(closure.plan) if abs(at.deficit) > LEAST or not np.allclose(at.angles, np.pi)]
    return np.hstack([np.zeros((2, 0)), *(at.places for at in met)])


def _outside_corners(closure):
    """Whether each of the integration points (n_elements, n_quad) is more than TIP_ZONE from all corners."""
    return _distance(closure, corners(closure)) > TIP_ZONE


def skin_stress_max(closure: Closure) -> float:
    """Greatest principal Cauchy stress more than TIP_ZONE from all corners, kPa."""
    return float(KPA * closure.stress[0][1, _outside_corners(closure)].max())


def skin_stretch_max(closure: Closure) -> float:
    """Greatest principal stretch, from the unstressed state, more than TIP_ZONE from all corners."""
    return float(closure.stress[1][_outside_corners(closure)].max())


def skin_stress_p99(closure: Closure) -> float | None:
    """99th percentile by area of the greatest principal Cauchy stress beside the wound, kPa; see `_p99`."""
    greatest = _p99(closure, closure.stress[0][1])
    return None if greatest is None else KPA * greatest


def skin_stretch_p99(closure: Closure) -> float | None:
    """99th percentile by area of the greatest principal stretch beside the wound; see `_p99`."""
    return _p99(closure, closure.stress[1])


def _p99(closure, values):
    """99th percentile by area of values (n_elements, n_quad) within a width (slit: length) of the wound.

    Skin within TIP_ZONE of corners is left out; None if that is all of it.
    """
    near = _distance(closure, closure.mesh.X[:, closure.mesh.edge]) < (closure.outline.width or closure.outline.length)
    near &= _outside_corners(closure)
    if not near.any():
        return None
    return float(np.quantile(values[near], 0.99, weights=closure.sheet.area.weights[near], method="inverted_cdf"))


def skin_stress_corner(closure: Closure) -> float | None:
    """Greatest of the means of the greatest principal Cauchy stress about each corner, kPa; None if there is none.

    By the area of uncut skin, the weight falling from the corner to none at 2 TIP_ZONE: stress has no limit at a
    corner, such a mean has. Source: the average stress criterion, Whitney & Nuismer (1974), there of a notch; the
    weight and the distance are our choice, a mean over twice as far is lower.
    """
    area, stress = closure.sheet.area.weights, closure.stress[0][1]
    apart = (_distance(closure, place[:, None]) for place in corners(closure).T)
    means = (np.average(stress, weights=area * np.maximum(0, 1 - away / (2 * TIP_ZONE))) for away in apart)
    return max((float(KPA * mean) for mean in means), default=None)


def compressed_area(closure: Closure) -> float:
    """Reference area, mm2, where the smaller principal stress is below -1 kPa."""
    return float(closure.sheet.area.weights[closure.stress[0][0] < COMPRESSED].sum())


def strain_energy(closure: Closure) -> float:
    """Energy of the closed skin and its bed, mJ (N mm), above that of the same skin uncut."""
    return float(closure.assembled[0] - uncut_energy(closure.sheet))


def pressed(closure: Closure) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Points (3, n) of skin that other skin presses with more than PRESSED, their areas, mm2, and pressures, MPa."""
    if closure.contact is None:
        return np.zeros((3, 0)), np.zeros(0), np.zeros(0)
    at, area, pressure = closure.contact.pressed(closure.x)
    met = pressure > PRESSED
    return at[:, met], area[met], pressure[met]


def contact_area(closure: Closure) -> float:
    """Reference area, mm2, of skin that other skin presses with more than 0.1 kPa; both parts count."""
    return float(pressed(closure)[1].sum())


def contact_pressure_max(closure: Closure) -> float | None:
    """Greatest pressure of skin on skin, kPa; None where none meets."""
    pressure = pressed(closure)[2]
    return float(KPA * pressure.max()) if pressure.size else None


def self_intersection(closure: Closure) -> float:
    """Reference area, mm2, of skin that has passed through other skin; triangles at edges, which meet, left out.

    And, on the plan, what lies in other skin beside edges that are left open.
    """
    mesh = closure.mesh
    n, pairs = mesh.X.shape[1], mesh.pairs
    same = connected_components(coo_array((np.ones(pairs.shape[1]), pairs), shape=(n, n)), directed=False)[1]
    triangles = flat_triangles(mesh.elements)
    triangles = triangles[:, ~np.isin(triangles, pairs).any(axis=0)]
    crossed = triangles[:, np.unique(self_intersections(closure.x, triangles, same))]
    a, b, c = mesh.x0[:, crossed].transpose(1, 0, 2)
    within = sum(-turns * area for area, turns in loops(closure) if turns < 0)
    return float(np.linalg.norm(np.cross(b - a, c - a, axis=0), axis=0).sum() / 2 + within)


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
