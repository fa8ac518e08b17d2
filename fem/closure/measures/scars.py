"""Scars, edges and sutures: lengths along and between the ends of a wound, gaps, the area left open, and forces."""

from collections.abc import Iterable

import numpy as np
import shapely
from scipy.interpolate import CubicSpline

from fem.closure.closure import Closure
from fem.closure.measures.cones import TIP_ZONE, cone_height, from_tips, zone
from fem.geometry.curve import turn
from fem.material.skin import N_PER_M

# mm to either side of the middle, our choice: 2 mm about a rhombus's corner hang on how triangles end there, by 4 %
MIDDLE = 4.0
WAVE_LEVEL = 0.1  # mm, our choice, as heights are printed: what stands out less from its sides is no crest or trough


def total(parts: Iterable[float]) -> float | None:
    """Sum of some numbers; None if there is none."""
    known = list(parts)
    return float(sum(known)) if known else None


def segment_lengths(closure: Closure, scar: np.ndarray) -> np.ndarray:
    """Lengths (k,) in mm of a closed scar's segments, parabolas through three nodes, means of both edges.

    Between sutures tied one by one the edges part, and one may bulge more than the other.
    """
    p = closure.x[:, scar]
    first, middle, last = p[..., :-1:2], p[..., 1::2], p[..., 2::2]
    at, weight = np.polynomial.legendre.leggauss(4)
    velocity = (last - first)[..., None] / 2 + (first - 2 * middle + last)[..., None] * at
    return (np.linalg.norm(velocity, axis=0) @ weight).mean(axis=0)


def scar_length(closure: Closure) -> float | None:
    """Length of all closed seams along the skin, mm; None if there is none."""
    return total(segment_lengths(closure, scar).sum() for scar in closure.mesh.scars)


def seam_waves(closure: Closure) -> tuple[float | None, float | None]:
    """Height and length of the waves along the scars outside the `zone` of all tips, mm; 0 and None of none.

    The height is the greatest between a crest and the trough beside it, the length twice the mean distance between such
    two along the scar, seen from above. None and None without a scar.
    """
    if not closure.mesh.scars:
        return None, None
    beyond, waves = from_tips(closure)[0] > zone(closure), [np.zeros((2, 0))]
    for scar in closure.mesh.scars:
        line, first = closure.over[:, scar].mean(axis=1), scar[0]
        place = np.append(0.0, np.cumsum(np.hypot(*np.diff(line[:2]))))
        for run in np.split(np.arange(first.size), np.flatnonzero(np.diff(beyond[first])) + 1):
            if beyond[first[run[0]]]:
                waves.append(_half_waves(np.stack([place, line[2]])[:, run]))
    length, height = np.hstack(waves)
    return float(height.max(initial=0.0)), 2 * float(length.mean()) if length.size else None


def _half_waves(line):
    """Distance and height (2, k) between each crest and the trough beside it of a line (2, n)."""
    if np.ptp(line[1]) < WAVE_LEVEL:
        return np.zeros((2, 0))
    from scipy.signal import find_peaks  # takes as long to load as a small wound to close

    crests, troughs = (find_peaks(side * line[1], prominence=WAVE_LEVEL)[0] for side in (1, -1))
    turns, kind = np.append(crests, troughs), np.repeat([0, 1], [crests.size, troughs.size])
    order = np.argsort(turns)
    return np.abs(np.diff(line[:, turns[order]]))[:, np.diff(kind[order]) != 0]


def seam_depth(closure: Closure) -> float | None:
    """Greatest depth of a scar below the body's surface, mm, 0 where none is sunk; None without a scar.

    A line drawn straight on a convex body sinks as a chord does below its arc.
    """
    lowest = [closure.over[2, scar].min() for scar in closure.mesh.scars]
    return float(max(0.0, -min(lowest))) if lowest else None


def contour(closure: Closure) -> float | None:
    """Height of the cone that is farthest off the body above the deepest place of the scars, mm; None without one."""
    depth = seam_depth(closure)
    return None if depth is None else cone_height(closure) + depth


def scar_chord(closure: Closure) -> float | None:
    """Distance between the ends of the closed wound, mm, at an M half way between its tips; None without two tips."""
    along = closure.mesh.axis(closure.x)
    return None if along is None else float(np.linalg.norm(along))


def push_out(closure: Closure) -> list[float]:
    """How far each tip travels outward on the plan, along the axis of the wound as drawn, mm."""
    moved = (closure.over[:2] - closure.mesh.X)[:, closure.mesh.tips]
    return (closure.mesh.outward(closure.mesh.X) * moved).sum(axis=0).tolist()


def gape(closure: Closure) -> tuple[float, float, float] | tuple[None, None, None]:
    """Greatest extent of the gaping wound, its extent across that, mm, and the direction of the first, degrees.

    Counter-clockwise from the axis of the wound, or from x if it has none, above -90 and up to 90. None of a wound that
    was found no rest.
    """
    if not closure.effort.gaping_at_rest:
        return None, None, None
    along = closure.mesh.axis(closure.mesh.X)
    along = np.array([1.0, 0.0]) if along is None else along
    edge = closure.mesh.surface.over(closure.gaping[:, closure.mesh.edge])[:2]
    hull = shapely.get_coordinates(shapely.MultiPoint(edge.T).convex_hull).T
    between = hull[:, :, None] - hull[:, None]
    i, j = np.unravel_index(np.hypot(*between).argmax(), between.shape[1:])
    long = between[:, i, j]
    across = np.array([-long[1], long[0]]) / np.hypot(*long)
    turn = np.arctan2(along[0] * long[1] - along[1] * long[0], along @ long)
    return float(np.hypot(*long)), float(np.ptp(across @ edge)), float(90 - (90 - np.degrees(turn)) % 180)


def largest_gap(closure: Closure) -> float | None:
    """Greatest distance between places that should meet on both edges of a closed seam, mm; None if there is none."""
    first, second = closure.mesh.pairs
    gaps = np.linalg.norm(closure.x[:, first] - closure.x[:, second], axis=0)
    return float(gaps.max()) if gaps.size else None


def open_area(closure: Closure) -> float | None:
    """Area, mm2, on the plan, inside the edges that are left open; None if there are none.

    Where an edge has crossed itself, that is what it still goes round with the skin outside.
    """
    return sum(area for area, turns in loops(closure) if turns > 0) if closure.mesh.open else None


def loops(closure: Closure) -> list[tuple[float, int]]:
    """Areas, mm2, on the plan, into which open edges divide it, and how often these go round each, the skin outside.

    Where they do so the wrong way round, skin lies in skin.
    """
    edges = [closure.over[:2, edge[::-1]] for edge in closure.mesh.open]
    faces = shapely.polygonize([shapely.union_all([shapely.LineString(edge.T) for edge in edges])]).geoms
    return [(face.area, _turns(edges, face.representative_point())) for face in faces]


def _turns(edges, point):
    """How often edges, each (2, k), or what they make together, go round a point, counter-clockwise."""
    ways = [edge - [[point.x], [point.y]] for edge in edges]
    return round(sum(turn(way[:, :-1], way[:, 1:]).sum() for way in ways) / (2 * np.pi))


def seam_force(closure: Closure, scar: np.ndarray) -> np.ndarray:
    """Force (k,) in N across each segment of a scar, positive where the edges pull apart; its two end nodes left out.

    The nodal force that holds the first edge against its skin, on the left, along the body and across the seam; a
    vertex's goes to its two segments by their lengths.
    """
    first, _ = scar
    along = np.gradient(closure.x[:, first], axis=1)
    left = np.cross(closure.mesh.surface.normal(closure.over[:2, first]), along, axis=0)
    across = left / np.linalg.norm(left, axis=0)
    pull = -(across * closure.assembled[1][:, first]).sum(axis=0)
    length = segment_lengths(closure, scar)
    share = length[:-1] / (length[:-1] + length[1:])  # of an inner vertex to the segment before it
    force = pull[1::2].copy()
    force[:-1] += share * pull[2:-1:2]
    force[1:] += (1 - share) * pull[2:-1:2]
    return force


def force_between(closure: Closure, scar: np.ndarray, start: float, end: float) -> float:
    """Force across a scar from one place to another along it, both in mm, N.

    By a cubic spline through the force up to each vertex but the ends, towards which line tension has no limit: order 3
    on the lens of MEASURED.md, where counting segments by their share between both places shows none.
    """
    place, force = (np.append(0, np.cumsum(of)) for of in (segment_lengths(closure, scar), seam_force(closure, scar)))
    inner = slice(1, -1) if place.size > 3 else slice(None)
    up_to = CubicSpline(place[inner], force[inner])
    return float(up_to(end) - up_to(start))


def closing_force(closure: Closure) -> float | None:
    """Force across all scars, N, without TIP_ZONE, or a quarter of a shorter scar, at each end; None if there is none.

    Towards the ends line tension has no limit, and the sum up to them converges with the root of the triangles' size.
    """
    lengths = [float(segment_lengths(closure, scar).sum()) for scar in closure.mesh.scars]
    ends = [min(TIP_ZONE, length / 4) for length in lengths]
    parts = zip(closure.mesh.scars, lengths, ends, strict=True)
    return total(force_between(closure, scar, end, length - end) for scar, length, end in parts)


def closing_force_after(closure: Closure) -> list[dict[str, float]] | None:
    """Closing force at the times asked for since closure, and the share left of every force; None if none was."""
    force = closing_force(closure)
    if closure.left is None or force is None:
        return None
    return [{"time_s": t, "closing_force_N": share * force, "share_left": share} for t, share in closure.left.items()]


def line_tension(closure: Closure, scar: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Force across each segment of a scar per closed length (k,), N/mm, and how far its middle is along it (k,), mm."""
    length = segment_lengths(closure, scar)
    return seam_force(closure, scar) / length, np.cumsum(length) - length / 2


def line_tension_max(closure: Closure) -> float | None:
    """Greatest line tension of any scar outside the tip zones, N/m, or None if none is longer than they are."""
    greatest = -np.inf
    for scar in closure.mesh.scars:
        tension, at = line_tension(closure, scar)
        inner = (at > TIP_ZONE) & (at < segment_lengths(closure, scar).sum() - TIP_ZONE)
        greatest = tension[inner].max(initial=greatest)
    return float(N_PER_M * greatest) if np.isfinite(greatest) else None


def line_tension_mid(closure: Closure) -> float | None:
    """Mean line tension half way along the first scar, that between the rest of both edges, N/m; None if there is none.

    Over MIDDLE, or a quarter of a shorter scar, to either side: where the edges have a corner there, only a mean has a
    limit. Where they are sutured one by one, over at least one spacing of the sutures, for the skin between pulls less.
    """
    if not closure.mesh.seams:
        return None
    first = closure.mesh.scars[0]
    middle = float(segment_lengths(closure, first).sum()) / 2
    tied = closure.sutures.kinds.count("edges") if closure.sutures else 0
    spacing = (scar_length(closure) or 0.0) / tied if tied else 0.0
    half = min(max(MIDDLE, spacing / 2), middle / 2)
    return N_PER_M * force_between(closure, first, middle - half, middle + half) / (2 * half)


def suture_forces(closure: Closure, kind: str, *, when_tied: bool = False) -> list[float] | None:
    """Tensions, N, of the sutures of a kind as tied, when all are or each as soon as it was; None if there are none."""
    if (sutures := closure.sutures) is None or kind not in sutures.kinds:
        return None
    forces = sutures.when_tied if when_tied else sutures.at_end
    return [float(force) for force, of in zip(forces, sutures.kinds, strict=True) if of == kind]
