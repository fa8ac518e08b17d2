"""What geometry alone says of a plan: each edge sewn once, how edges match, where cones will stand (why: README)."""

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from fem.geometry.curve import part, samples, turn
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
    if abs(left := remainder(plan)) > SUM:
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
    """Deficit (n,) spread along each seam, rad: by how much more its first edge turns left than its second."""
    return np.array([_bend(first) - _bend(second) for first, second in plan.seams])


def remainder(plan: Plan) -> float:
    """Sum of all deficits, rad, open edges' too, and 2 pi for each wound left open: 0 if the plan is sound."""
    met, loops = _ledger(plan)
    turns = sum(_bend(edge) + _corner_turns(edge) for edge in plan.open)
    return sum(m.deficit for m in met) + float(spread(plan).sum()) + turns + 2 * np.pi * loops


@lru_cache(RECENT)
def _ledger(plan):
    """The Junctions of a plan, and the number of wounds that are left open once all seams are sewn."""
    edges = _edges(plan)  # e starts at end 2 e and stops at end 2 e + 1; ends are one where edges follow or are sewn
    follow, middle, angle = wedges(plan)
    n, sewn, first = 2 * len(edges), 2 * len(plan.seams), 4 * np.arange(len(plan.seams))
    around = np.stack([2 * np.arange(len(edges)) + 1, 2 * follow])
    joined = np.hstack([around, [first, first + 3], [first + 1, first + 2]])
    group, rims = groups(n, joined), np.arange(2 * sewn, n).reshape(-1, 2).T
    loops = len(set(groups(n, np.hstack([joined, rims]))[2 * sewn :].tolist()))
    stops = np.hstack([edge.ends[:, 1:] for edge in edges])
    met = []
    for e in (np.flatnonzero(group[1::2] == g) for g in dict.fromkeys(group.tolist())):
        closed = group[2 * e[0] + 1] not in group[2 * sewn :]
        on = e[e < sewn]  # a second edge runs backwards
        seam, fraction = (int(on[0]) // 2, float(on[0] % 2 == 0)) if on.size else (-1, 0.0)
        met.append(Junction(stops[:, e], middle[e], angle[e], closed, seam, fraction))
    return (*met, *(at for k in range(len(plan.seams)) for at in _along(plan, k))), loops


def groups(n: int, pairs: np.ndarray) -> np.ndarray:
    """Number of the group (n,) that each of n things belongs to, joined by pairs (2, m)."""
    graph = coo_array((np.ones(len(pairs[0])), tuple(pairs)), shape=(n, n))
    return connected_components(graph, directed=False)[1]


def _edges(plan):
    """All edges that are sewn or left open, the skin on the left; the second of a seam backwards."""
    return [*(edge for first, second in plan.seams for edge in (first, part(second, 1, 0))), *plan.open]


def wedges(plan: Plan) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """For each edge, that which goes on where it stops (n,), the way to the middle of the skin between, its angle, rad.

    Edges in the order of `plan.seams`, second ones backwards, then `plan.open`. Of several that go on, that which is
    met first, turning from the edge's way back over the skin.
    """
    edges = _edges(plan)
    starts, stops = np.stack([edge.ends for edge in edges]).transpose(2, 0, 1)
    leaving = np.arctan2(*np.hstack([edge.tangent(np.zeros(1), 1) for edge in edges])[::-1])
    coming = np.arctan2(*np.hstack([edge.tangent(np.ones(1), -1) for edge in edges])[::-1])
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
        before, after = (np.hstack([e.tangent(c, side) for e, c in zip(seam, near, strict=True)]) for side in (-1, 1))
        angles = np.pi - turn(before, after) * [1, -1]
        yield Junction(places, np.arctan2(*after[::-1]) + angles / 2 * [1, -1], angles, True, k, float(s))


def _bend(curve):
    """How far a curve turns left between its corners, rad."""
    s = samples(curve, SAMPLES)
    ways = np.stack([curve.tangent(s[:-1], 1), curve.tangent(s[1:], -1)], axis=-1).reshape(2, -1)
    return float(turn(ways[:, :-1], ways[:, 1:]).sum()) - _corner_turns(curve)


def _corner_turns(curve):
    """How far a curve turns left at all of its corners, rad."""
    corners = np.array(curve.corners)
    return float(turn(curve.tangent(corners, -1), curve.tangent(corners, 1)).sum())


def _pieces(curves, others):
    """The parts of all curves between those ends of other curves that lie on them."""
    stations = shapely.points(np.unique(np.hstack([other.ends for other in others]), axis=1).T)
    lines = np.array([shapely.LineString(curve.point(samples(curve, 8 * SAMPLES)).T) for curve in curves])
    k, j = shapely.STRtree(stations).query(lines, "dwithin", SAME)
    share = shapely.line_locate_point(lines[k], stations[j], normalized=True)
    for number, curve in enumerate(curves):
        at = np.sort(share[k == number])
        at = at[np.minimum(at, 1 - at) * curve.length > SAME]
        at = at[np.diff(at, prepend=-1.0) * curve.length > SAME]
        yield from (part(curve, start, end) for start, end in pairwise([0.0, *at.tolist(), 1.0]))


def _refuse_unsewn(cut, sewn):
    """Raise ValueError unless the edges that are cut, skin on their left, are just those that are sewn or left open."""
    wanted, given = ([*_pieces(curves, [*cut, *sewn])] for curves in (cut, sewn))
    places = np.array([piece.point(np.array([0, 0.5, 1])).T.ravel() for piece in wanted + given])
    group = groups(len(places), cKDTree(places).query_pairs(10 * SAME, output_type="ndarray").T)
    is_cut, is_sewn = (np.bincount(of, minlength=len(places)) for of in np.split(group, [len(wanted)]))
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


def _refuse_crossing(curves):
    """Raise ValueError where curves cross or touch each other or themselves but at their ends."""
    pieces = _pieces(curves, curves)
    lines = np.array([shapely.LineString(piece.point(samples(piece, SAMPLES)).round(DIGITS).T) for piece in pieces])
    i, j = shapely.STRtree(lines).query(lines, "intersects")
    met = shapely.intersection(lines[i[i < j]], lines[j[i < j]])
    ends = shapely.MultiPoint(np.hstack([curve.ends for curve in curves]).T).buffer(SAME)
    for place in (*shapely.difference(met, ends), *(line for line in lines if not line.is_simple)):
        if not place.is_empty:
            x, y = place.representative_point().coords[0]
            raise ValueError(f"cuts or edges of removed skin cross, or lie on each other, near ({x:.4g}, {y:.4g}) mm")
