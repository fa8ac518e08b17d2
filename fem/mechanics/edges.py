"""Points along the edges that a plan sews or leaves open, matched by arc length; cuts pulled a little open."""

from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise

import numpy as np
import shapely
from scipy.integrate import cumulative_trapezoid

from fem.plan.plan import Plan

# Our choices. GROWTH: size gained per mm, a ratio of 1.25 from one segment or triangle to the next; doubling
# it saves triangles far away and lets the smallest angle drop.
GROWTH = np.log(1.25)
SAME = 1e-6  # mm: points closer than this are one
NEAR = 1e-3  # of its length: the piece of a line that gives the way it leaves a point
TURNED = 1e-2  # rad: ways that differ by less are one


def edge_points(plan: Plan, *, edge: float, tip: float, marks: Mapping[int, Sequence[float]]) -> list[np.ndarray]:
    """Points (2, k + 1) along the edges of all seams, two by two, then along the open edges.

    marks   fractions at which there is a point, by the number of the seam
    """
    placed = []
    for number, curves in enumerate((*plan.seams, *((curve,) for curve in plan.open))):
        s = _fractions(curves, marks.get(number, ()), edge=edge, tip=tip)
        placed += [curve.point(s) for curve in curves]
    return placed


def pulled_aside(plan: Plan, placed: Sequence[np.ndarray], *, by: float) -> list[np.ndarray]:
    """Points (2, k + 1) along each edge pulled into the skin by `by` mm, half way between the edge and the next one.

    So both edges of a cut are apart. Edges that end in the same corner of skin share a node there, pulled once.
    """
    lines = [_line(curve) for curve in (*plan.cuts, *(curve for chain in plan.removed for curve in chain))]
    left = [k % 2 == 0 or k >= 2 * len(plan.seams) for k in range(len(placed))]
    return [x + by * _into_skin(x, lines, side) for x, side in zip(placed, left, strict=True)]


def graded(knots: Sequence[float] | np.ndarray, size: Callable[[np.ndarray], np.ndarray]) -> np.ndarray:
    """Fractions (k + 1,) from 0 to 1, all knots among them, spaced by at most about size(fraction)."""
    pieces = []
    for start, end in pairwise(knots):
        s = np.linspace(start, end, 1001)
        count = cumulative_trapezoid(1 / size(s), s, initial=0)
        n = max(1, int(np.ceil(count[-1] - 1e-9)))
        pieces.append(np.interp(np.arange(n) / n, count / count[-1], s))
    return np.append(np.concatenate(pieces), 1.0)


def _fractions(curves, marks, *, edge, tip):
    """Fractions (k + 1,) of arc length at which all the curves have nodes, corners and marks among them.

    The size grows from `tip` at both ends, and from a short piece between two of them, to `edge`.
    """
    length = max(curve.length for curve in curves)
    knots = np.unique([0.0, 1.0, *marks, *(s for curve in curves for s in curve.corners)])
    knots = knots[np.append(True, np.diff(knots) * length > SAME)]

    def size(s):
        tips = tip + GROWTH * length * np.minimum(s, 1 - s)
        beyond = np.maximum(0, np.maximum(knots[:-1, None] - s, s - knots[1:, None]))
        pieces = length * (np.diff(knots)[:, None] + GROWTH * beyond)
        return np.minimum(np.minimum(edge, tips), pieces.min(axis=0)) / length

    return graded(knots, size)


def _line(curve):
    return shapely.LineString(curve.point(np.union1d(np.linspace(0, 1, 2001), curve.corners)).T)


def _into_skin(x, lines, left):
    """Unit vectors (2, k + 1) half way between the ways on and back from points x (2, k + 1), on one side of them."""
    on = np.diff(x, axis=1)
    on = np.arctan2(on[1], on[0])
    back = on + np.pi
    first, last = _ways(x[:, 0], lines), _ways(x[:, -1], lines)
    turn = 1 if left else -1
    begin = np.concatenate([[_near(first, on[0])], on[1:], [_near(last, back[-1], -turn)]])
    end = np.concatenate([[_near(first, on[0], turn)], back[:-1], [_near(last, back[-1])]])
    swept = turn * (end - begin) % (2 * np.pi)
    swept[swept < TURNED] = 2 * np.pi  # the free end of a cut
    middle = begin + turn * swept / 2
    return np.array([np.cos(middle), np.sin(middle)])


def _ways(point, lines):
    """Directions, rad, ascending, in which the lines leave a point."""
    directions = []
    for line in lines:
        at, step = line.project(shapely.Point(point)), NEAR * line.length
        if line.distance(shapely.Point(point)) < SAME * line.length:
            for other in (at - step, at + step):
                if 0 <= other <= line.length:
                    dx, dy = np.array(line.interpolate(other).coords[0]) - point
                    directions.append(np.arctan2(dy, dx))
    ways = np.sort(directions)
    after = np.roll(ways, -1) - ways
    return ways[after % (2 * np.pi) > TURNED] if len(ways) > 1 else ways


def _near(ways, way, then=0):
    """Of some ways, ascending, the one nearest to a way, or the one `then` places after it, counter-clockwise."""
    return ways[(int(np.cos(ways - way).argmax()) + then) % len(ways)]
