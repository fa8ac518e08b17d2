"""Stress and stretch of closed skin."""

import numpy as np
from scipy.spatial import cKDTree

from fem.closure.closure import Closure
from fem.closure.measures.cones import TIP_ZONE

COMPRESSED = -1e-3  # MPa


def _places(closure):
    """Places (2, m) of the membrane's points in the uncut skin, mm."""
    at = np.einsum("qa,iea->ieq", closure.sheet.shapes, closure.mesh.X[:, closure.sheet.membrane.nodes])
    return at.reshape(2, -1)


def _away_from_tips(closure, at):
    ends = np.unique(np.concatenate([np.empty(0, int), *(scar[:, [0, -1]].ravel() for scar in closure.mesh.scars)]))
    if not ends.size:
        return np.ones(at.shape[1], bool)
    return cKDTree(closure.mesh.X[:, ends].T).query(at.T)[0] > TIP_ZONE


def skin_stress_max(closure: Closure) -> float:
    """Greatest principal Cauchy stress outside the tip zones, kPa."""
    stress, _ = closure.stress
    return float(1e3 * stress[1].ravel()[_away_from_tips(closure, _places(closure))].max())


def skin_stretch_max(closure: Closure) -> float:
    """Greatest principal stretch, from the unstressed state, outside the tip zones."""
    _, stretch = closure.stress
    return float(stretch.ravel()[_away_from_tips(closure, _places(closure))].max())


def skin_stress_p99(closure: Closure) -> float | None:
    """99th percentile by area, in kPa, of the greatest principal stress within one wound width of the edge.

    A slit's length counts as its width. The tip zones are left out; None if they cover all of it.
    """
    (_, stress), _ = closure.stress
    stress, area, at = stress.ravel(), closure.sheet.membrane.weights.ravel(), _places(closure)
    edge = closure.mesh.X[:, closure.mesh.edge]
    near = cKDTree(edge.T).query(at.T)[0] < (closure.outline.width or closure.outline.length)
    near &= _away_from_tips(closure, at)
    if not near.any():
        return None
    order = np.argsort(stress[near])
    share = np.cumsum(area[near][order])
    return float(1e3 * stress[near][order][np.searchsorted(share, 0.99 * share[-1])])


def compressed_area(closure: Closure) -> float:
    """Reference area, mm2, where the smaller principal stress is below -1 kPa."""
    (least, _), _ = closure.stress
    return float(closure.sheet.membrane.weights[least < COMPRESSED].sum())
