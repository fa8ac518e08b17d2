"""What geometry alone says of a plan: each edge sewn once, how edges match, and where cones will stand.

Sewn shut, edges keeping their lengths, flat skin stays flat but where edges meet. There the angles of skin add up to
2 pi minus a deficit: above 0 a cone, below 0 a saddle. Curved edges spread theirs along the seam, as much as one edge
turns left more than the other; two equal arcs of radius R that bulge away from each other, -2/R per length. All
deficits of a wound that is closed add up to 0 (Gauss and Bonnet), so what stands up at one place hangs down at another.
"""

from dataclasses import dataclass
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
DIGITS = 9  # of a fraction of a curve; two that agree in them are one
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
    _refuse_crossing(plan)
    _refuse_unsewn(plan)
    left = remainder(plan)
    if abs(left) > SUM:
        raise ValueError(
            f"the seams do not make one sheet of skin: the angle deficits add up to {np.degrees(left):.4g} degrees, "
            "not to 0; edges are sewn crosswise"
        )


def ratios(plan: Plan) -> np.ndarray:
    """Length of the first edge of each seam over that of the second (n,)."""
    return np.array([first.length / second.length for first, second in plan.seams])


def junctions(plan: Plan) -> list[Junction]:
    """Each Junction: at the ends of seams first, then at corners along them."""
    return [*_at_ends(plan), *(met for k in range(len(plan.seams)) for met in _along(plan, k))]


def spread(plan: Plan) -> np.ndarray:
    """Deficit (n,) that is spread along each seam by the bend of its edges, rad: the left turns of the first, less."""
    return np.array([_bend(first) - _bend(second) for first, second in plan.seams])


def remainder(plan: Plan) -> float:
    """Sum of all deficits, rad, those along open edges included, and 2 pi for each wound left open.

    It is 0 if the plan is sound.
    """
    met, left = junctions(plan), [*plan.open]
    turns = sum(_bend(curve) + sum(_turns(curve)) for curve in left)
    return sum(m.deficit for m in met) + float(spread(plan).sum()) + turns + 2 * np.pi * _loops(plan)


# Junctions ---------------------------------------------------------------------------------------------------


def _edges(plan):
    """All edges that are sewn or left open, the skin on the left; the second of a seam backwards."""
    sewn = [edge for first, second in plan.seams for edge in (first, part(second, 1, 0))]
    return [*sewn, *plan.open]


def _links(plan):
    """Pairs (n, 2) of ends of edges that become one in sewing; an edge e starts at end 2 e and stops at 2 e + 1."""
    first = 4 * np.arange(len(plan.seams))
    return np.concatenate([np.stack([first, first + 3], axis=1), np.stack([first + 1, first + 2], axis=1)])


def _corners(edges):
    """For each edge, the edge that goes on where it stops (n,), that one's way and the angle of skin between (n,), rad.

    Of several, that which is met first, turning from the edge's way back over the skin.
    """
    starts, stops = (np.array([edge.point(np.array([s]))[:, 0] for edge in edges]) for s in (0.0, 1.0))
    ways = np.array([_ways(edge) for edge in edges])
    near = cKDTree(starts).query_ball_point(stops, SAME)
    follow, angle = np.zeros(len(edges), int), np.zeros(len(edges))
    for e, candidates in enumerate(near):
        wedge = (ways[e, 1] + np.pi - ways[candidates, 0] + FLAT) % (2 * np.pi) - FLAT
        wedge[wedge < FLAT] += 2 * np.pi
        follow[e], angle[e] = candidates[wedge.argmin()], wedge.min()
    return follow, ways[follow, 0], angle


def _at_ends(plan):
    """The Junctions at the ends of edges."""
    edges = _edges(plan)
    follow, way, angle = _corners(edges)
    n = 2 * len(edges)
    around = np.stack([2 * np.arange(len(edges)) + 1, 2 * follow], axis=1)
    i, j = np.concatenate([around, _links(plan)]).T
    group = connected_components(coo_array((np.ones(i.size), (i, j)), shape=(n, n)), directed=False)[1]
    is_open = np.isin(group, group[4 * len(plan.seams) :])
    stops = np.array([edge.point(np.array([1.0]))[:, 0] for edge in edges]).T
    middle = way + angle / 2
    met = [np.flatnonzero(group[1::2] == g) for g in dict.fromkeys(group.tolist())]
    return [Junction(stops[:, e], middle[e], angle[e], not is_open[2 * e[0] + 1], *_on_seam(plan, e)) for e in met]


def _on_seam(plan, stops):
    """Seam and fraction at which one of some edges stops, -1 and 0 if all are open; a second edge runs backwards."""
    sewn = stops[stops < 2 * len(plan.seams)]
    return (int(sewn[0]) // 2, float(sewn[0] % 2 == 0)) if sewn.size else (-1, 0.0)


def _along(plan, k):
    """The Junctions along seam k where either edge has a corner."""
    seam = plan.seams[k]
    length = max(curve.length for curve in seam)
    at = np.unique([s for curve in seam for s in curve.corners])
    at = at[np.diff(at, prepend=-1) * length > SAME]
    return [_within(plan, k, s) for s in at]


def _within(plan, k, s):
    """The Junction along seam k at a fraction."""
    seam = plan.seams[k]
    ways = np.array([_passing(curve, s) for curve in seam])  # in and out
    turn = _left(*ways.T)
    angles = np.pi - turn * [1, -1]
    middle = np.array([ways[0, 1] + angles[0] / 2, ways[1, 1] - angles[1] / 2])
    places = np.hstack([curve.point(np.array([s])) for curve in seam])
    return Junction(places, middle, angles, True, k, float(s))


def _loops(plan):
    """Number of wounds that are left open, once all seams are sewn."""
    edges, k = _edges(plan), 2 * len(plan.seams)
    if not plan.open:
        return 0
    follow = _corners(edges)[0]
    n = 2 * len(edges)
    i, j = np.concatenate([np.stack([2 * np.arange(len(edges)) + 1, 2 * follow], axis=1), _links(plan)]).T
    own = np.arange(2 * k, n, 2)
    i, j = np.concatenate([i, own]), np.concatenate([j, own + 1])
    group = connected_components(coo_array((np.ones(i.size), (i, j)), shape=(n, n)), directed=False)[1]
    return len(set(group[2 * k :].tolist()))


# Curves -----------------------------------------------------------------------------------------------------


def _direction(curve, s, side):
    """Direction in which a curve goes on from a fraction (1), or comes to it (-1), rad."""
    x, y = curve.tangent(np.array([s]), side)[:, 0]
    return float(np.arctan2(y, x))


def _ways(curve):
    """Directions in which a curve starts and stops, rad."""
    return _direction(curve, 0.0, 1), _direction(curve, 1.0, -1)


def _passing(curve, s):
    """Directions in which a curve comes to a fraction and leaves it, rad."""
    s = next((corner for corner in curve.corners if abs(corner - s) * curve.length < SAME), s)
    return _direction(curve, s, -1), _direction(curve, s, 1)


def _bend(curve):
    """How far a curve turns left between its corners, rad."""
    bend = 0.0
    all_s = samples(curve, SAMPLES)
    for start, end in pairwise([0.0, *curve.corners, 1.0]):
        s = all_s[(all_s >= start) & (all_s <= end)]
        if s.size == 2:  # straight
            continue
        x, y = np.hstack([curve.tangent(s[:-1]), curve.tangent(s[-1:], -1)])
        way = np.unwrap(np.arctan2(y, x))
        bend += float(way[-1] - way[0])
    return bend


def _turns(curve):
    """How far a curve turns left at each of its corners, rad."""
    return [_left(*_passing(curve, s)) for s in curve.corners]


def _left(before, after):
    """The turn to the left from one direction to another, rad in [-pi, pi)."""
    return (after - before + np.pi) % (2 * np.pi) - np.pi


# What is cut and what is sewn -------------------------------------------------------------------------------


def _pieces(curves, stations):
    """Places (n, 6) where the pieces of curves between stations (2, m) start, are half way, and end."""
    pieces = []
    for curve in curves:
        s = _stations_on(curve, stations)
        knots = np.stack([s[:-1], (s[:-1] + s[1:]) / 2, s[1:]])
        pieces.append(curve.point(knots.ravel()).reshape(2, 3, -1).transpose(2, 1, 0).reshape(-1, 6))
    return np.concatenate(pieces) if pieces else np.zeros((0, 6))


def _stations_on(curve, stations):
    """Fractions from 0 to 1 at which the stations (2, m) lie on a curve."""
    s = samples(curve, 8 * SAMPLES)
    X, points = curve.point(s), stations[..., None]
    chord = np.diff(X)
    share = np.clip(((points - X[:, None, :-1]) * chord[:, None]).sum(axis=0) / (chord**2).sum(axis=0), 0, 1)
    off = np.hypot(*(points - X[:, None, :-1] - share * chord[:, None]))
    station, k = np.arange(len(off)), off.argmin(axis=1)
    at = (s[k] + share[station, k] * np.diff(s)[k])[off[station, k] < SAME]
    at = np.sort(at[(at * curve.length > SAME) & ((1 - at) * curve.length > SAME)])
    return np.concatenate([[0.0], at[np.diff(at, prepend=-1.0) * curve.length > SAME], [1.0]])


def _cut(plan):
    """Curves that bound skin on their left: both ways along each cut, and once around what is removed."""
    around = [
        [part(curve, 1, 0) for curve in chain] if _counter_clockwise(chain) else list(chain) for chain in plan.removed
    ]
    cuts = [edge for curve in plan.cuts for edge in (curve, part(curve, 1, 0))]
    return [*cuts, *(curve for chain in around for curve in chain)]


def _counter_clockwise(chain):
    x, y = np.hstack([curve.point(samples(curve, 64)[:-1]) for curve in chain])
    return (x * np.roll(y, -1) - y * np.roll(x, -1)).sum() > 0


def _stations(curves):
    """Places (2, n) at which curves start and end."""
    return np.hstack([curve.point(np.array([0.0, 1.0])) for curve in curves])


def _refuse_unsewn(plan):
    """Raise ValueError unless what is sewn or left open is just what is cut, with the skin on the same side."""
    cut, sewn = _cut(plan), _edges(plan)
    stations = _stations([*cut, *sewn])
    wanted, given = _pieces(cut, stations), _pieces(sewn, stations)
    places = np.concatenate([wanted, given])
    i, j = cKDTree(places).query_pairs(10 * SAME, output_type="ndarray").T
    n = len(places)
    group = connected_components(coo_array((np.ones(i.size), (i, j)), shape=(n, n)), directed=False)[1]
    count = np.stack([np.bincount(part, minlength=n) for part in np.split(group, [len(wanted)])])
    for bad, words in [
        (count[0] > 1, "is cut twice"),
        (count[1] > count[0], "is sewn or left open more often than it is cut, or its skin lies on the other side"),
        (count[1] < count[0], "is cut, but neither sewn nor left open"),
    ]:
        if bad.any():
            ax, ay, mx, my, bx, by = places[np.isin(group, np.flatnonzero(bad)).argmax()]
            raise ValueError(
                f"the edge from ({ax:.4g}, {ay:.4g}) over ({mx:.4g}, {my:.4g}) to ({bx:.4g}, {by:.4g}) mm, skin on its "
                f"left, {words}"
            )


def _refuse_crossing(plan):
    """Raise ValueError where what is cut crosses or touches itself but at ends of curves."""
    curves = [*plan.cuts, *(curve for chain in plan.removed for curve in chain)]
    stations = _stations(curves)
    lines = []
    for curve in curves:
        s = _stations_on(curve, stations)
        for start, end in pairwise(s):
            inner = samples(curve, SAMPLES, start=start, end=end)[1:-1].round(DIGITS)
            lines.append(shapely.LineString(_joined(curve.point(np.array([start, *inner, end])), stations).T))
    ends = shapely.multipoints(stations.T).buffer(SAME)
    i, j = shapely.STRtree(lines).query(lines, "intersects")
    met = shapely.intersection(np.array(lines)[i[i < j]], np.array(lines)[j[i < j]])
    bad = [*shapely.difference(met, ends), *(line for line in lines if not line.is_simple)]
    for place in bad:
        if not place.is_empty:
            x, y = place.representative_point().coords[0]
            raise ValueError(f"cuts or edges of removed skin cross, or lie on each other, near ({x:.4g}, {y:.4g}) mm")


def _joined(X, stations):
    """Points (2, n) along a line, its two ends taken to the station they lie on."""
    return np.hstack([_first_at(stations, X[:, :1]), X[:, 1:-1], _first_at(stations, X[:, -1:])])


def _first_at(stations, x):
    """The first of the stations (2, n) that is at x (2, 1)."""
    return stations[:, [(np.hypot(*(stations - x)) < SAME).argmax()]]
