"""The numbers asked of a closed wound.

Each measure is one function of a Closure and one entry in MEASURES; its unit ends its name. Lists, one entry a tip, run
from left to right, then from below. Stress is singular at a tip and where seams meet, so measures of stress and line
tension leave out TIP_ZONE around the ends of seams; those that nothing is left for, in a wound of a few mm, are None.
"""

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from fem.geometry.outlines import facts
from fem.mechanics.self_intersection import crossings
from fem.mechanics.sheet import assemble, cauchy_stress
from fem.mechanics.tips import axis, outward, scars, tips
from fem.plan.plan import removed_area

TIP_ZONE = 2.0  # mm, our choice; doubling it lowers the greatest stress of a 60 x 20 mm lens
CONE_LEVEL = 0.5  # mm, our choice: skin above it belongs to a cone; doubling it shrinks footprint and reach
COMPRESSED = -1e-3  # MPa
CORNERS = np.array([[0, 3, 5], [3, 1, 4], [5, 4, 2], [3, 4, 5]])  # linear triangles of a quadratic one


def measures(closure):
    """All MEASURES of a closure by name, as plain numbers and lists."""
    return {name: measure(closure) for name, measure in MEASURES.items()}


def cone_height(closure):
    """Greatest height of the closed skin above the patch's level, mm."""
    return float(closure.x[2].max())


def dip(closure):
    """Greatest depression below the patch's level, mm, positive."""
    return float(max(0.0, -closure.x[2].min()))


def cones(closure):
    """The cone at each tip: where its highest point is, its height, footprint, volume, reach and slope.

    Skin belongs to the nearer tip. Footprint and volume are those of the skin more than CONE_LEVEL high, seen from
    above; reach is how far that skin extends beyond the closed tip, along the axis of the wound; the slope is the
    steepest of that skin outside the tip zone.
    """
    ends, away = tips(closure), outward(closure, closure.x)
    X = closure.mesh.X
    if not ends.size:
        return []
    nearer = cKDTree(X[:, ends].T).query(X.T)[1]
    return [_cone(closure, end, nearer == k, away[:, k]) for k, end in enumerate(ends)]


def _cone(closure, end, own, away):
    x, mesh = closure.x, closure.mesh
    top = np.flatnonzero(own)[np.argmax(x[2, own])]
    triangles = mesh.elements[CORNERS].transpose(1, 0, 2).reshape(3, -1)
    triangles = triangles[:, own[triangles].sum(axis=0) >= 2]
    area, above, volume = _above(x[:, triangles], CONE_LEVEL)
    beyond = away @ (x[:2] - x[:2, [end]])
    corners = x[:, triangles]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0], axis=0)
    slope = np.degrees(np.arccos(normal[2] / np.linalg.norm(normal, axis=0)))
    centre = mesh.X[:, triangles].mean(axis=1) - mesh.X[:, [end]]
    steep = (above > 0) & (np.hypot(*centre) > TIP_ZONE)
    return {
        "at_mm": [float(c) for c in x[:2, top]],
        "height_mm": float(x[2, top]),
        "footprint_mm2": float((area * above).sum()),
        "volume_mm3": float((area * volume).sum()),
        "reach_mm": float(_higher(x[2, triangles], beyond[triangles], CONE_LEVEL).max(initial=0.0)),
        "slope_deg": float(slope[steep].max(initial=0.0)),
    }


def _higher(z, values, level):
    """Values at the corners of flat triangles (3, n) where z is above a level, and where their edges cross it."""
    next_z, next_values = np.roll(z, -1, axis=0), np.roll(values, -1, axis=0)
    crossed = (z > level) != (next_z > level)
    share = (level - z[crossed]) / (next_z - z)[crossed]
    return np.concatenate([values[z > level], values[crossed] + share * (next_values - values)[crossed]])


def _above(corners, level):
    """Of flat triangles (3, 3 corners, n): area seen from above, share of it higher than `level`, mean height there.

    The mean height counts from `level` and is taken over the whole triangle.
    """
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


def scar_length(closure):
    """Length of all closed seams along the skin, mm; None if there is none."""
    return _total(_segment_lengths(closure, scar).sum() for scar in scars(closure))


def _total(parts):
    """Sum of some numbers; None if there is none."""
    known = list(parts)
    return float(sum(known)) if known else None


def _segment_lengths(closure, scar):
    """Lengths (k,) in mm of a closed scar's segments, each a parabola through three nodes."""
    p = closure.x[:, scar[0]]
    first, middle, last = p[:, :-1:2], p[:, 1::2], p[:, 2::2]
    at, weight = np.polynomial.legendre.leggauss(4)
    velocity = (last - first)[..., None] / 2 + (first - 2 * middle + last)[..., None] * at
    return np.linalg.norm(velocity, axis=0) @ weight


def scar_chord(closure):
    """Straight distance between the ends of the closed wound, mm; at an M, from half way between its tips.

    None where the plan has fewer than two tips.
    """
    along = axis(closure, closure.x)
    return None if along is None else float(np.linalg.norm(along))


def push_out(closure):
    """How far each tip travels outward, along the axis of the wound as drawn and level, mm."""
    nodes = tips(closure)
    moved = closure.x[:2, nodes] - closure.mesh.X[:, nodes]
    return [float(distance) for distance in (outward(closure, closure.mesh.X) * moved).sum(axis=0)]


def gape(closure):
    """Greatest extent of the fresh, open wound, its extent across that, mm, and the direction of the first.

    The direction is that from the axis of the wound, or from x if it has none, counter-clockwise, degrees above -90 and
    up to 90.
    """
    along = axis(closure, closure.mesh.X)
    along = np.array([1.0, 0.0]) if along is None else along
    edge = closure.fresh[:2, closure.mesh.edge]
    hull = shapely.get_coordinates(shapely.MultiPoint(edge.T).convex_hull).T
    between = hull[:, :, None] - hull[:, None]
    i, j = np.unravel_index(np.hypot(*between).argmax(), between.shape[1:])
    long = between[:, i, j]
    across = np.array([-long[1], long[0]]) / np.hypot(*long)
    turn = np.arctan2(along[0] * long[1] - along[1] * long[0], along @ long)
    return float(np.hypot(*long)), float(np.ptp(across @ edge)), float(90 - (90 - np.degrees(turn)) % 180)


def seam_force(closure, scar):
    """Force (k,) in N across each segment of a scar, positive where the edges pull apart; its two end nodes left out.

    It is the nodal force that holds the first edge against the pull of its own skin, on its left, taken level and
    across the seam; a vertex's share goes to its two segments by their lengths.
    """
    first, _ = scar
    r = assemble(closure.sheet, closure.x)[1]
    p = closure.x[:2, first]
    along = np.gradient(p, axis=1)
    across = np.stack([-along[1], along[0]]) / np.hypot(*along)
    pull = -(across * r[:2, first]).sum(axis=0)
    length = _segment_lengths(closure, scar)
    share = length[:-1] / (length[:-1] + length[1:])  # of an inner vertex to the segment before it
    force = pull[1::2].copy()
    force[:-1] += share * pull[2:-1:2]
    force[1:] += (1 - share) * pull[2:-1:2]
    return force


def closing_force(closure):
    """Sum over all scars of the force across them, N, without the two end nodes of each; None if there is no scar."""
    return _total(seam_force(closure, scar).sum() for scar in scars(closure))


def closing_force_after(closure):
    """Closing force while the wound is held, a list in the order of the times asked for; None if none was.

    Each has the time since closure and the share that is left of every force and stress, see `skin.left_after`.
    """
    force = closing_force(closure)
    if closure.left is None or force is None:
        return None
    return [{"time_s": t, "closing_force_N": share * force, "share_left": share} for t, share in closure.left.items()]


def line_tension(closure, scar):
    """Force across each segment of a scar per closed length (k,), N/mm, and how far its middle is along it (k,), mm."""
    length = _segment_lengths(closure, scar)
    return seam_force(closure, scar) / length, np.cumsum(length) - length / 2


def line_tension_max(closure):
    """Greatest line tension of any scar outside the tip zones, N/m, or None if none is longer than they are."""
    greatest = []
    for scar in scars(closure):
        tension, at = line_tension(closure, scar)
        inner = (at > TIP_ZONE) & (at < _segment_lengths(closure, scar).sum() - TIP_ZONE)
        greatest += [tension[inner].max()] if inner.any() else []
    return float(1e3 * max(greatest)) if greatest else None


def line_tension_mid(closure):
    """Line tension half way along the first scar, that between the rest of both edges, N/m; None if there is none."""
    if not closure.mesh.seams:
        return None
    first = scars(closure)[0]
    tension, at = line_tension(closure, first)
    return float(1e3 * np.interp(_segment_lengths(closure, first).sum() / 2, at, tension))


def _stress_points(closure):
    """Principal stresses (2, m) in MPa, greatest stretch (m,), reference area (m,) and place (2, m) of all points."""
    stress, stretch = cauchy_stress(closure.sheet, closure.x)
    at = np.einsum("qa,iea->ieq", closure.sheet.shapes, closure.mesh.X[:, closure.sheet.membrane.nodes])
    area = closure.sheet.membrane.weights
    return stress.reshape(2, -1), stretch.ravel(), area.ravel(), at.reshape(2, -1)


def _away_from_tips(closure, at):
    ends = np.unique(np.concatenate([np.empty(0, int), *(scar[:, [0, -1]].ravel() for scar in scars(closure))]))
    if not ends.size:
        return np.ones(at.shape[1], bool)
    return cKDTree(closure.mesh.X[:, ends].T).query(at.T)[0] > TIP_ZONE


def skin_stress_max(closure):
    """Greatest principal Cauchy stress outside the tip zones, kPa."""
    stress, _, _, at = _stress_points(closure)
    return float(1e3 * stress[1, _away_from_tips(closure, at)].max())


def skin_stretch_max(closure):
    """Greatest principal stretch, from the unstressed state, outside the tip zones."""
    _, stretch, _, at = _stress_points(closure)
    return float(stretch[_away_from_tips(closure, at)].max())


def skin_stress_p99(closure):
    """99th percentile by area, in kPa, of the greatest principal stress within one wound width of the edge.

    A slit's length counts as its width. The tip zones are left out; None if they cover all of it.
    """
    stress, _, area, at = _stress_points(closure)
    edge = closure.mesh.X[:, closure.mesh.edge]
    near = cKDTree(edge.T).query(at.T)[0] < (closure.outline.width or closure.outline.length)
    near &= _away_from_tips(closure, at)
    if not near.any():
        return None
    order = np.argsort(stress[1, near])
    share = np.cumsum(area[near][order])
    return float(1e3 * stress[1, near][order][np.searchsorted(share, 0.99 * share[-1])])


def compressed_area(closure):
    """Reference area, mm2, where the smaller principal stress is below -1 kPa."""
    stress, _, area, _ = _stress_points(closure)
    return float(area[stress[0] < COMPRESSED].sum())


def trimmed(closure, measure):
    """What cutting the cones off has added to a measure; None if they are left."""
    return None if closure.trimmed is None else measure(closure) - measure(closure.trimmed.before)


def suture_forces(closure, kind, *, when_tied=False):
    """Tensions in N of the sutures of a kind, in order of tying, when all are tied or each as soon as it was.

    None if there are none of them.
    """
    sutures = closure.sutures
    if sutures is None or kind not in sutures.kinds:
        return None
    forces = sutures.when_tied if when_tied else sutures.at_end
    return [float(force) for force, of in zip(forces, sutures.kinds, strict=True) if of == kind]


def largest_gap(closure):
    """Greatest distance between places that should meet on both edges of a closed seam, mm; None if there is none."""
    first, second = closure.mesh.pairs
    gaps = np.linalg.norm(closure.x[:, first] - closure.x[:, second], axis=0)
    return float(gaps.max()) if gaps.size else None


def open_area(closure):
    """Area, mm2, seen from above, inside the edges that are left open; None if there are none."""
    return _total(_left_of(closure.x[:2, edge[::-1]]) for edge in closure.mesh.open)


def _left_of(x):
    """Area between the origin and a line through points (2, n), on its left; of lines that make a ring, their area."""
    return (x[0, :-1] * x[1, 1:] - x[1, :-1] * x[0, 1:]).sum() / 2


def self_intersection(closure):
    """Reference area, mm2, of skin that has passed through other skin, which the model does not prevent.

    Triangles at the wound's edges, which meet others there, are left out.
    """
    mesh = closure.mesh
    n, pairs = mesh.X.shape[1], mesh.pairs
    same = connected_components(coo_array((np.ones(pairs.shape[1]), pairs), shape=(n, n)), directed=False)[1]
    triangles = mesh.elements[CORNERS].transpose(1, 0, 2).reshape(3, -1)
    triangles = triangles[:, ~np.isin(triangles, pairs).any(axis=0)]
    crossed = triangles[:, np.unique(crossings(closure.x, triangles, same))]
    a, b, c = mesh.X[:, crossed].transpose(1, 0, 2)
    return float(np.abs((b - a)[0] * (c - a)[1] - (b - a)[1] * (c - a)[0]).sum() / 2)


def strain_energy(closure):
    """Energy of the closed skin and its bed, mJ (N mm), above that of the same skin uncut."""
    flat = np.vstack([closure.mesh.X, np.zeros(closure.mesh.X.shape[1])])
    return float(assemble(closure.sheet, closure.x)[0] - assemble(closure.sheet, flat)[0])


MEASURES = {
    "cone_height_mm": cone_height,
    "cones": cones,
    "dip_mm": dip,
    "scar_length_mm": scar_length,
    "scar_chord_mm": scar_chord,
    "push_out_mm": push_out,
    "gape_length_mm": lambda closure: gape(closure)[0],
    "gape_width_mm": lambda closure: gape(closure)[1],
    "gape_axis_deg": lambda closure: gape(closure)[2],
    "closing_force_N": closing_force,
    "closing_force_after": closing_force_after,
    "line_tension_max_N_per_m": line_tension_max,
    "line_tension_mid_N_per_m": line_tension_mid,
    "trim_cut_mm": lambda closure: closure.trimmed and list(closure.trimmed.cut),
    "trim_cones_before_mm": lambda closure: (
        closure.trimmed and [cone["height_mm"] for cone in cones(closure.trimmed.before)]
    ),
    "trim_scar_added_mm": lambda closure: trimmed(closure, scar_length),
    "trim_skin_removed_mm2": lambda closure: trimmed(closure, lambda of: removed_area(of.plan)),
    "suture_forces_N": lambda closure: suture_forces(closure, "edges", when_tied=True),
    "suture_forces_final_N": lambda closure: suture_forces(closure, "edges"),
    "purse_force_N": lambda closure: (suture_forces(closure, "purse") or [None])[0],
    "open_area_mm2": open_area,
    "taper_forces_N": lambda closure: suture_forces(closure, "taper"),
    "anchor_forces_N": lambda closure: suture_forces(closure, "anchor"),
    "largest_gap_mm": largest_gap,
    "skin_stress_max_kPa": skin_stress_max,
    "skin_stretch_max": skin_stretch_max,
    "skin_stress_p99_kPa": skin_stress_p99,
    "compressed_area_mm2": compressed_area,
    "self_intersection_mm2": self_intersection,
    "removed_area_mm2": lambda closure: removed_area(closure.plan),
    "healthy_removed_mm2": lambda closure: removed_area(closure.plan) - closure.lesion_area,
    "tip_angles_deg": lambda closure: [float(angle) for angle in np.degrees(closure.outline.tip_angles)],
    "length_to_width": lambda closure: facts(closure.outline)["length_to_width"],
    "strain_energy_mJ": strain_energy,
}
