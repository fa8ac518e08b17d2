"""Points along the edges that a plan sews or leaves open, matched by arc length; cuts pulled a little open."""

from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise

import numpy as np

from fem.geometry.curve import MIN_SEGMENTS, turn
from fem.plan.junctions import wedges
from fem.plan.plan import Plan

# Our choices. GROWTH: size gained per mm, a ratio of 1.35 from one segment or triangle to the next.
# SWELL: size at the undermined zone's border over size at the wound; cones rise between the two. CORNER: rad, a turn
# by more is one; a drawn arc turns by less.
GROWTH = np.log(1.35)
SWELL = 2.0
CORNER = 0.5
Marks = Mapping[int, Sequence[float]]  # fractions of a seam at which there is a point, by its number
SAME = 1e-6  # mm: points closer than this are one


def edge_points(
    plan: Plan, *, edge: float, tip: float, marks: Marks, growth: float = GROWTH
) -> tuple[list[np.ndarray], float]:
    """Points (2, k + 1) along the edges of all seams, two by two, then along the open edges.

    Then how far, mm, any edge bulges beyond the chords between its points.
    """
    placed: list[np.ndarray] = []
    bulge = 0.0
    for number, curves in enumerate((*plan.seams, *((curve,) for curve in plan.open))):
        s = _fractions(curves, marks.get(number, ()), edge=edge, tip=tip, growth=growth)
        for curve in curves:
            x = curve.point(s)
            beyond = curve.point((s[:-1] + s[1:]) / 2) - (x[:, :-1] + x[:, 1:]) / 2
            placed.append(x)
            bulge = max(bulge, float(np.hypot(*beyond).max()))
    return placed, bulge


def pulled_aside(plan: Plan, placed: Sequence[np.ndarray], *, by: float) -> list[np.ndarray]:
    """Points (2, k + 1) along each edge pulled into the skin by `by` mm; those that share a corner stay joined."""
    follow, stop, _ = wedges(plan)
    start = stop[np.argsort(follow)]
    return [
        x + by * (_into_skin(x, *ends) if left else _into_skin(x[:, ::-1], *ends)[:, ::-1])
        for x, left, ends in zip(placed, skin_on_left(plan), zip(start, stop, strict=True), strict=True)
    ]


def skin_on_left(plan: Plan) -> list[bool]:
    """Whether the skin is on the left of each edge: of the first of a seam and of open ones, not of the second."""
    return [True, False] * len(plan.seams) + [True] * len(plan.open)


def _into_skin(x, start, stop):
    """Unit vectors (2, k + 1) half way between the ways on and back from points, on their left; start, stop in rad."""
    on = np.arctan2(*np.diff(x)[::-1])
    swept = (on[:-1] + np.pi - on[1:]) % (2 * np.pi)
    middle = np.concatenate([[start], on[1:] + swept / 2, [stop]])
    return np.array([np.cos(middle), np.sin(middle)])


def graded(knots: Sequence[float] | np.ndarray, size: Callable[[np.ndarray], np.ndarray]) -> np.ndarray:
    """Fractions (k + 1,) from 0 to 1, all knots among them, spaced by at most about size(fraction)."""
    pieces = []
    for start, end in pairwise(knots):
        s = np.linspace(start, end, 1001)
        per = 1 / size(s)
        count = np.append(0.0, np.cumsum((per[:-1] + per[1:]) / 2 * np.diff(s)))
        n = max(1, int(np.ceil(count[-1] - 1e-9)))
        pieces.append(np.interp(np.arange(n) / n, count / count[-1], s))
    return np.append(np.concatenate(pieces), 1.0)


def _fractions(curves, marks, *, edge, tip, growth):
    """Fractions (k + 1,) of arc length at which all the curves have nodes, corners and marks among them.

    The size grows from `tip` at both ends and at sharp corners, and from a short piece between two of them, to `edge`;
    in proportion less where a short edge would have fewer segments than show its curve.
    """
    length = max(curve.length for curve in curves)
    fits = min(1.0, length / (MIN_SEGMENTS * edge))
    edge, tip = fits * edge, fits * tip
    middle = [0.5] if not marks and all(map(_upright, curves)) else []
    knots = np.unique([0.0, *middle, 1.0, *marks, *(s for curve in curves for s in curve.corners)])
    knots = knots[np.append(True, np.diff(knots) * length > SAME)]

    sharp = np.unique([0.0, 1.0, *(s for curve in curves for s in _sharp(curve))])

    def size(s: np.ndarray) -> np.ndarray:
        tips = tip + growth * length * abs(s - sharp[:, None]).min(axis=0)
        beyond = np.maximum(0, np.maximum(knots[:-1, None] - s, s - knots[1:, None]))
        pieces = length * (np.diff(knots)[:, None] + growth * beyond)
        return np.minimum(np.minimum(edge, tips), pieces.min(axis=0)) / length

    return graded(knots, size)


def _upright(curve):
    """Whether a curve seems to be its own mirror image, left to right: then it needs a point on the axis."""
    start, near, far, end = curve.point(np.array([0.0, 0.2, 0.8, 1.0])).T
    return bool(np.allclose([start, near], np.array([end, far]) * [-1, 1], rtol=0, atol=SAME))


def _sharp(curve):
    """Fractions (k,) of the corners at which a curve turns by more than CORNER."""
    at = np.array(curve.corners)
    return at[abs(turn(curve.tangent(at, -1), curve.tangent(at, 1))) > CORNER]
