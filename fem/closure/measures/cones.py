"""The cones of a closed wound: what stands or sinks where its edges meet in a tip; and what rises or dips anywhere."""

from typing import Any

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from fem.closure.closure import Closure
from fem.mechanics.triangulation import flat_triangles

TIP_ZONE = 2.0  # mm, our choice; doubling it lowers the greatest stress of a 60 x 20 mm lens
CONE_LEVEL = 0.5  # mm, our choice: skin farther off the level is a cone's; doubling it shrinks footprint and reach


def zone(closure: Closure) -> float:
    """How far skin belongs to a tip, mm: half the wound's width, of a slit half its length.

    Our choice: cones of circles, lenses and flaps peak within 3 mm of their tip.
    """
    return (closure.outline.width or closure.outline.length) / 2


def from_tips(closure: Closure) -> tuple[np.ndarray, np.ndarray]:
    """Distance (n,) of all nodes from the nearest tip in the closed skin, mm, and its number; inf without tips.

    In the closed skin, for there all that meets at a tip lies around it, whatever was cut before.
    """
    return cKDTree(closure.x[:, closure.mesh.tips].T).query(closure.x.T)


def tops(closure: Closure) -> np.ndarray:
    """At each tip, the node (k,) in its `zone` that is farthest off the body, above or below."""
    distance, tip = from_tips(closure)
    near = [np.flatnonzero((distance <= zone(closure)) & (tip == k)) for k in range(closure.mesh.tips.size)]
    return np.array([nodes[np.abs(closure.over[2, nodes]).argmax()] for nodes in near], int)


def cone_height(closure: Closure) -> float:
    """Height above the body of the cone that is farthest off it, negative if it is sunk, mm.

    Without tips, as around a purse-string, that of the skin within the `zone` of the wound's edge.
    """
    nodes = tops(closure)
    if not nodes.size:
        edge = cKDTree(closure.x[:, closure.mesh.edge].T)
        nodes = np.flatnonzero(edge.query(closure.x.T)[0] <= zone(closure))
    heights = closure.over[2, nodes]
    return float(heights[np.abs(heights).argmax()])


def rise(closure: Closure) -> float:
    """Greatest height above the body anywhere, mm."""
    return float(max(0.0, closure.over[2].max()))


def dip(closure: Closure) -> float:
    """Greatest depression below the body's surface anywhere, mm, positive."""
    return float(max(0.0, -closure.over[2].min()))


def cones(closure: Closure) -> list[dict[str, Any]]:
    """The cone at each tip: where its top is, its height, negative if it is sunk, footprint, volume, reach and slope.

    Footprint and volume are those of the skin around the top that is more than CONE_LEVEL off the level on its side and
    nearer to this tip than to others, seen along normals of the body; reach is how far that skin extends beyond the
    closed tip, along the axis of the wound; the slope is the steepest of that skin outside the tip zone.
    """
    tip, away = from_tips(closure)[1], closure.mesh.outward(closure.over)
    return [_cone(closure, k, top, tip == k, away[:, k]) for k, top in enumerate(tops(closure))]


def _cone(closure, k, top, nearer, away):
    """The cone of tip k: of its top, the nodes nearer to it than to others (n,), and its way outward (2,)."""
    x, mesh, end = closure.over, closure.mesh, closure.mesh.tips[k]
    side = 1.0 if x[2, top] >= 0 else -1.0
    off = side * x[2]
    triangles = flat_triangles(mesh.elements)
    triangles = triangles[:, nearer[triangles].sum(axis=0) >= 2]
    triangles = triangles[:, _joined(mesh, triangles, off > CONE_LEVEL, top)[triangles].any(axis=0)]
    corners = x[:, triangles]
    area, beyond_level, volume = _above(np.stack([*corners[:2], off[triangles]]), CONE_LEVEL)
    area *= mesh.surface.stretches(corners[:2].mean(axis=1)).prod(axis=0)
    beyond = away @ (x[:2] - x[:2, [end]])
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0], axis=0)
    slope = np.degrees(np.arccos(normal[2] / np.linalg.norm(normal, axis=0)))
    centre = mesh.X[:, triangles].mean(axis=1) - mesh.X[:, [end]]
    steep = (beyond_level > 0) & (np.hypot(*centre) > TIP_ZONE)
    return {
        "at_mm": [float(c) for c in x[:2, top]],
        "height_mm": float(x[2, top]),
        "footprint_mm2": float((area * beyond_level).sum()),
        "volume_mm3": float((area * volume).sum()),
        "reach_mm": float(_higher(off[triangles], beyond[triangles], CONE_LEVEL).max(initial=0.0)),
        "slope_deg": float(slope[steep].max(initial=0.0)),
    }


def _joined(mesh, triangles, of, top):
    """Whether each node (n,) is one `of` those (n,) joined to the top across triangles (3, m) and seams."""
    links = np.hstack([triangles[:2], triangles[1:], mesh.pairs])
    links = links[:, of[links].all(axis=0)]
    graph = coo_array((np.ones(links.shape[1]), tuple(links)), shape=(of.size, of.size))
    part = connected_components(graph, directed=False)[1]
    return of & (part == part[top])


def _higher(z, values, level):
    """Values at the corners of flat triangles (3, n) where z is above a level, and where their edges cross it."""
    next_z, next_values = np.roll(z, -1, axis=0), np.roll(values, -1, axis=0)
    crossed = (z > level) != (next_z > level)
    share = (level - z[crossed]) / (next_z - z)[crossed]
    return np.concatenate([values[z > level], values[crossed] + share * (next_values - values)[crossed]])


def _above(corners, level):
    """Of flat triangles (3, 3 corners, n): area seen from above, share above a level, mean over all of height above."""
    (x1, y1, _), (x2, y2, _), (x3, y3, _) = corners.transpose(1, 0, 2)
    area = np.abs((x2 - x1) * (y3 - y1) - (x3 - x1) * (y2 - y1)) / 2
    low, mid, high = np.sort(corners[2] - level, axis=0)
    span = np.where(high > low, high - low, 1.0)
    peak = high**2 / (span * np.where(high > mid, high - mid, 1.0))  # share, if only one corner is high
    pit = low**2 / (span * np.where(mid > low, mid - low, 1.0))  # share that is low, if only one corner is
    cases = [low >= 0, high <= 0, mid <= 0]
    share = np.select(cases, [1.0, 0.0, peak], 1 - pit)
    mean = np.select(cases, [(low + mid + high) / 3, 0.0, peak * high / 3], (low + mid + high - pit * low) / 3)
    return area, share, mean
