"""What geometry alone says of a plan: each edge sewn once, how edges match, and where cones will stand.

Sewn shut, edges keeping their lengths, flat skin stays flat but where edges meet. There the angles of skin add up to
2 pi minus a deficit: above 0 a cone, below 0 a saddle. Curved edges spread theirs along the seam, as much as one edge
turns left more than the other; two equal arcs of radius R that bulge away from each other, -2/R per length. All
deficits of a wound that is closed add up to 0 (Gauss and Bonnet), so what stands up at one place hangs down at another.
"""

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from fem.geometry.curve import part, samples
from fem.plan.plan import Plan

SAME = 1e-4  # mm: places closer than this are one; our choice, a thousandth of the shortest length
SAMPLES = 256  # chords along a curve that is bent
FLAT = 1e-9  # rad: a wedge of skin sharper than this is all around the free end of a cut
DIGITS = 9  # of a place, mm: ends of curves that agree in them are one
RECENT = 32  # plans whose junctions are kept; our choice, a comparison shows fewer
SUM = 1e-6  # rad, by which the deficits of a sound plan may miss their sum; round-off is 1e-12


@dataclass(frozen=True)
class Junction:
    """Points that meet when all seams are sewn."""

    places: np.ndarray  # (2, k) mm, one for each wedge of skin
    ways: np.ndarray  # (k,) rad, direction of the middle of each wedge
    angles: np.ndarray  # (k,) rad, of each wedge
    closed: bool  # skin all around; else an edge that is left open ends here
    seam: int  # on which all of them come to lie, from 0; -1: on none
    fraction: float  # of that seam

    @property
    def deficit(self) -> float:
        """2 pi minus the angles; at the end of an open edge pi minus the angles, rad."""
        return (2 if self.closed else 1) * np.pi - float(self.angles.sum())


def check(plan: Plan) -> None:
    """Raise ValueError, with the place, if the plan cannot be cut and sewn as it is drawn."""
    cut = [*plan.cuts, *(curve for chain in plan.removed for curve in chain)]
    _refuse_crossing(cut)
    _refuse_unsewn([*plan.cuts, *(part(curve, 1, 0) for curve in cut)], _edges(plan))
    left = remainder(plan)
    if abs(left) > SUM:
        raise ValueError(
            f"the seams do not make one sheet of skin: the angle deficits add up to {np.degrees(left):.4g} degrees, "
            "not to 0; edges are sewn crosswise"
        )


def ratios(plan: Plan) -> np.ndarray:
    """Length of the first edge of each seam over that of the second (n,)."""
    return np.array([first.length / second.length for first, second in plan.seams])


def junctions(plan: Plan) -> tuple[Junction, ...]:
    """Each Junction: at the ends of seams first, then at corners along them."""
    return _ledger(plan)[0]


def spread(plan: Plan) -> np.ndarray:
    """Deficit (n,) that is spread along each seam by the bend of its edges, rad: the left turns of the first, less."""
    return np.array([_bend(first) - _bend(second) for first, second in plan.seams])


def remainder(plan: Plan) -> float:
    """Sum of all deficits, rad, those along open edges included, and 2 pi for each wound left open.

    It is 0 if the plan is sound.
    """
    met, loops = _ledger(plan)
    turns = sum(_bend(edge) + _corner_turns(edge).sum() for edge in plan.open)
    return sum(m.deficit for m in met) + float(spread(plan).sum()) + turns + 2 * np.pi * loops


@lru_cache(RECENT)
def _ledger(plan):
    """The Junctions of a plan, and the number of wounds that are left open once all seams are sewn.

    An edge e starts at end 2 e and stops at end 2 e + 1. Ends are one where an edge goes on from another around the
    skin, and where two edges of a seam are sewn; an open edge also joins its own ends to a loop.
    """
    edges = _edges(plan)
    follow, middle, angle = wedges(plan)
    n, sewn, first = 2 * len(edges), 2 * len(plan.seams), 4 * np.arange(len(plan.seams))
    around = np.stack([2 * np.arange(len(edges)) + 1, 2 * follow])
    joined = np.hstack([around, [first, first + 3], [first + 1, first + 2]])
    group, rims = _groups(n, joined), np.arange(2 * sewn, n).reshape(-1, 2).T
    loops = len(set(_groups(n, np.hstack([joined, rims]))[2 * sewn :].tolist()))
    stops = np.hstack([edge.ends[:, 1:] for edge in edges])
    met = []
    for e in (np.flatnonzero(group[1::2] == g) for g in dict.fromkeys(group.tolist())):
        closed = group[2 * e[0] + 1] not in group[2 * sewn :]
        on = e[e < sewn]  # a second edge runs backwards
        seam, fraction = (int(on[0]) // 2, float(on[0] % 2 == 0)) if on.size else (-1, 0.0)
        met.append(Junction(stops[:, e], middle[e], angle[e], closed, seam, fraction))
    return (*met, *(at for k in range(len(plan.seams)) for at in _along(plan, k))), loops


def _groups(n, pairs):
    """Number of the group (n,) that each of n things belongs to, joined by pairs (2, m)."""
    graph = coo_array((np.ones(len(pairs[0])), tuple(pairs)), shape=(n, n))
    return connected_components(graph, directed=False)[1]


def _edges(plan):
    """All edges that are sewn or left open, the skin on the left; the second of a seam backwards."""
    return [*(edge for first, second in plan.seams for edge in (first, part(second, 1, 0))), *plan.open]


def wedges(plan: Plan) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """For each edge, that which goes on where it stops (n,), the way to the middle of the skin between, its angle, rad.

    Edges in the order of `plan.seams`, then `plan.open`, their skin on the left, so the second of a seam backwards. Of
    several that go on, that which is met first, turning from the edge's way back over the skin.
    """
    edges = _edges(plan)
    starts, stops = np.stack([edge.ends for edge in edges]).transpose(2, 0, 1)
    leaving = np.concatenate([_ways(edge, np.zeros(1), 1) for edge in edges])
    coming = np.concatenate([_ways(edge, np.ones(1), -1) for edge in edges])
    follow, angle = np.zeros(len(edges), int), np.zeros(len(edges))
    for e, candidates in enumerate(cKDTree(starts).query_ball_point(stops, SAME)):
        wedge = (coming[e] + np.pi - leaving[candidates] + FLAT) % (2 * np.pi) - FLAT
        wedge[wedge < FLAT] += 2 * np.pi
        follow[e], angle[e] = candidates[wedge.argmin()], wedge.min()
    return follow, leaving[follow] + angle / 2, angle


def _along(plan, k):
    """The Junctions along seam k where either edge has a corner."""
    seam = plan.seams[k]
    at = np.unique([s for curve in seam for s in curve.corners])
    for s in at[np.diff(at, prepend=-1) * max(curve.length for curve in seam) > SAME]:
        places = np.hstack([curve.point(np.array([s])) for curve in seam])
        near = [np.array([next((c for c in e.corners if abs(c - s) * e.length < SAME), s)]) for e in seam]
        before, after = (np.hstack([_ways(e, c, side) for e, c in zip(seam, near, strict=True)]) for side in (-1, 1))
        angles = np.pi - _left(before, after) * [1, -1]
        yield Junction(places, after + angles / 2 * [1, -1], angles, True, k, float(s))


def _ways(curve, s, side):
    """Directions (n,) in which a curve goes on from fractions s (n,) (side 1), or comes to them (-1), rad."""
    x, y = curve.tangent(s, side)
    return np.arctan2(y, x)


def _bend(curve):
    """How far a curve turns left between its corners, rad."""
    if not curve.pieces[1].any():
        return 0.0
    s = samples(curve, SAMPLES)
    ways = np.stack([_ways(curve, s[:-1], 1), _ways(curve, s[1:], -1)], axis=1).ravel()
    return float(_left(ways[:-1], ways[1:]).sum() - _corner_turns(curve).sum())


def _corner_turns(curve):
    """How far a curve turns left at each of its corners, rad."""
    corners = np.array(curve.corners)
    return _left(_ways(curve, corners, -1), _ways(curve, corners, 1))


def _left(before, after):
    """The turn to the left from one direction to another, rad in [-pi, pi)."""
    return (after - before + np.pi) % (2 * np.pi) - np.pi


def _split(curves, stations):
    """For each curve, the fractions from 0 to 1 at which its ends lie, and the stations (shapely points) on it."""
    lines = np.array([shapely.LineString(curve.point(samples(curve, 8 * SAMPLES)).T) for curve in curves])
    k, j = shapely.STRtree(stations).query(lines, "dwithin", SAME)
    share = shapely.line_locate_point(lines[k], stations[j], normalized=True)
    for number, curve in enumerate(curves):
        at = np.sort(share[k == number])
        at = at[np.minimum(at, 1 - at) * curve.length > SAME]
        yield np.concatenate([[0.0], at[np.diff(at, prepend=-1.0) * curve.length > SAME], [1.0]])


def _ends(curves):
    """Where curves start and end, as shapely points."""
    return shapely.points(np.unique(np.hstack([curve.ends for curve in curves]), axis=1).T)


def _refuse_unsewn(cut, sewn):
    """Raise ValueError unless the edges that are cut, skin on their left, are just those that are sewn or left open."""
    stations = _ends([*cut, *sewn])
    wanted, given = (_pieces(curves, stations) for curves in (cut, sewn))
    places, n = np.concatenate([wanted, given]), len(wanted) + len(given)
    group = _groups(n, cKDTree(places).query_pairs(10 * SAME, output_type="ndarray").T)
    is_cut, is_sewn = (np.bincount(part, minlength=n) for part in np.split(group, [len(wanted)]))
    for bad, words in [
        (is_cut > 1, "is cut twice"),
        (is_sewn > is_cut, "is sewn or left open more often than it is cut, or its skin lies on the other side"),
        (is_sewn < is_cut, "is cut, but neither sewn nor left open"),
    ]:
        if bad.any():
            ax, ay, mx, my, bx, by = places[bad[group].argmax()]
            raise ValueError(
                f"the edge from ({ax:.4g}, {ay:.4g}) over ({mx:.4g}, {my:.4g}) to ({bx:.4g}, {by:.4g}) mm, skin on its "
                f"left, {words}"
            )


def _pieces(curves, stations):
    """Places (n, 6) where the pieces of curves between stations start, are half way, and end."""
    places = []
    for curve, s in zip(curves, _split(curves, stations), strict=True):
        places.append(np.vstack([curve.point(at) for at in (s[:-1], (s[:-1] + s[1:]) / 2, s[1:])]).T)
    return np.concatenate(places)


def _refuse_crossing(curves):
    """Raise ValueError where curves cross or touch each other or themselves but at their ends."""
    stations, lines = _ends(curves), []
    for curve, knots in zip(curves, _split(curves, stations), strict=True):
        fine = samples(curve, SAMPLES)
        for start, end in pairwise(knots):
            s = np.array([start, *fine[(fine > start) & (fine < end)], end])
            lines.append(shapely.LineString(curve.point(s).round(DIGITS).T))
    i, j = shapely.STRtree(lines).query(lines, "intersects")
    met = shapely.intersection(np.array(lines)[i[i < j]], np.array(lines)[j[i < j]])
    ends = shapely.multipoints(stations).buffer(SAME)
    for place in (*shapely.difference(met, ends), *(line for line in lines if not line.is_simple)):
        if not place.is_empty:
            x, y = place.representative_point().coords[0]
            raise ValueError(f"cuts or edges of removed skin cross, or lie on each other, near ({x:.4g}, {y:.4g}) mm")
