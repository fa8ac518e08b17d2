"""The cones of a closed wound, and what stands up or dips elsewhere."""

from typing import Any

import numpy as np
from scipy.spatial import cKDTree

from fem.closure.closure import Closure
from fem.mechanics.triangulation import flat_triangles

TIP_ZONE = 2.0  # mm, our choice; doubling it lowers the greatest stress of a 60 x 20 mm lens
CONE_LEVEL = 0.5  # mm, our choice: skin above it belongs to a cone; doubling it shrinks footprint and reach


def cone_height(closure: Closure) -> float:
    """Greatest height of the closed skin above the patch's level, mm."""
    return float(closure.x[2].max())


def dip(closure: Closure) -> float:
    """Greatest depression below the patch's level, mm, positive."""
    return float(max(0.0, -closure.x[2].min()))


def cones(closure: Closure) -> list[dict[str, Any]]:
    """The cone at each tip: where its highest point is, its height, footprint, volume, reach and slope.

    Skin belongs to the nearer tip. Footprint and volume are those of the skin more than CONE_LEVEL high, seen from
    above; reach is how far that skin extends beyond the closed tip, along the axis of the wound; the slope is the
    steepest of that skin outside the tip zone.
    """
    ends, away, X = closure.mesh.tips, closure.mesh.outward(closure.x), closure.mesh.X
    nearer = cKDTree(X[:, ends].T).query(X.T)[1]
    return [_cone(closure, end, nearer == k, away[:, k]) for k, end in enumerate(ends)]


def _cone(closure, end, nearer, away):
    """The cone at a tip: of the nodes nearer to it than to others (n,), and its way outward (2,)."""
    x, mesh = closure.x, closure.mesh
    top = np.flatnonzero(nearer)[np.argmax(x[2, nearer])]
    triangles = flat_triangles(mesh.elements)
    triangles = triangles[:, nearer[triangles].sum(axis=0) >= 2]
    corners = x[:, triangles]
    area, above, volume = _above(corners, CONE_LEVEL)
    beyond = away @ (x[:2] - x[:2, [end]])
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0], axis=0)
    slope = np.degrees(np.arccos(normal[2] / np.linalg.norm(normal, axis=0)))
    centre = mesh.X[:, triangles].mean(axis=1) - mesh.X[:, [end]]
    steep = (above > 0) & (np.hypot(*centre) > TIP_ZONE)
    return {
        "at_mm": [float(c) for c in x[:2, top]],
        "height_mm": float(x[2, top]),
        "footprint_mm2": float((area * above).sum()),
        "volume_mm3": float((area * volume).sum()),
        "reach_mm": float(_higher(corners[2], beyond[triangles], CONE_LEVEL).max(initial=0.0)),
        "slope_deg": float(slope[steep].max(initial=0.0)),
    }


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
