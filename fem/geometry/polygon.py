"""Outlines given by points: checked (ValueError says what is wrong), cut into two edges at their ends, simplified."""

from collections.abc import Sequence
from math import atan2, tau
from typing import Annotated

import numpy as np
import shapely
from annotated_types import Ge, Gt, Le, MaxLen
from scipy.spatial import cKDTree
from shapely.ops import substring

from fem.geometry.curve import Outline, Place, polyline, turn, turned

FileName = Annotated[str, MaxLen(200)]
Edges = tuple[np.ndarray, np.ndarray]  # the upper and the lower one (2, n), mm, from left to right

MAX_POINTS = 1000  # of an outline; our choice, a tracing at every millimetre of a large wound
APART = 1e-3  # mm, between points of an outline; our choice, a tenth would still mesh
BEND = 0.5  # rad: a traced edge has a corner where it turns by more; our choice, a tracing of an arc turns by less
INSIDE = 1e-8  # mm, so far from a corner, as upright sides may lean by round-off
NEAR = 1.0  # mm, that a given end may lie off the outline; our choice, the eye's aim at a drawing


def polygon(*, points_mm: tuple[Place, ...]) -> Outline:
    """Straight sides between given points, in either sense, as drawn; the two farthest corners are the tips.

    The left tip has the smaller x (then y); the upper edge lies to the left on the way to the right tip.

    points_mm  corners [x, y] in order, mm; the last joins the first by itself
    """
    sides = simple_polygon(points_mm)
    return _between(*edges(sides, farthest(sides)), corner=0.0)


def traced(
    *, file: FileName | None = None, ends_mm: tuple[Place, Place] | None = None,
    tolerance_mm: Annotated[float, Ge(0.001), Le(10)] = 0.01, points_mm: tuple[Place, ...] | None = None,
    traced_from: FileName | None = None, unit_mm: Annotated[float, Gt(0), Le(1000)] | None = None,
) -> Outline:  # fmt: skip
    """An outline traced elsewhere, laid with its two ends on the x axis, half of its length to either side of 0.

    file          GeoJSON polygon (.geojson, .json), points (.csv) or path (.svg), in mm; read in place of points_mm
    ends_mm       the left and the right end [x, y], mm, as in the file; by default the two farthest points
    tolerance_mm  points are left out as long as no edge moves by more, mm
    points_mm     points [x, y] in order, mm; the last joins the first by itself
    traced_from   written by the program: the file that points_mm came from
    unit_mm       length of a unit of an SVG file whose size is not in mm, cm or in, mm; 0.26458 of px, 96 an inch
    """
    if points_mm is None or file is not None:
        raise ValueError("needed: either file or points_mm")
    if unit_mm is not None:
        raise ValueError("unit_mm is for a file, not for points_mm, which are in mm")
    upper, lower = traced_edges(points_mm, ends_mm, tolerance_mm)
    middle, axis = (upper[:, 0] + upper[:, -1]) / 2, upper[:, -1] - upper[:, 0]
    laid = [turned(edge - middle[:, None], -atan2(axis[1], axis[0])) for edge in (upper, lower)]
    return _between(*laid, corner=BEND)


def traced_edges(points: Sequence[Place] | np.ndarray, ends: Sequence[Place] | None, tolerance: float) -> Edges:
    """The edges of the outline that `traced` makes of points, as they lie in the file."""
    X = np.asarray(points)
    X = X[np.hypot(*(X - np.roll(X, 1, axis=0)).T) >= APART]  # neighbours may repeat
    if len(X) < 3:
        raise ValueError(f"{len(X)} different points; an outline has 3 or more")
    area = _uncrossed(X, "the outline crosses or touches itself")
    upper, lower = edges(area, farthest(area) if ends is None else ends, tolerance=tolerance)
    if (left := upper.shape[1] + lower.shape[1] - 2) > MAX_POINTS:
        raise ValueError(f"{left} points are left, {MAX_POINTS} at most; a larger tolerance_mm leaves fewer")
    return upper, lower


def simple_polygon(points: Sequence[Place]) -> shapely.Polygon:
    """The shapely polygon through corners [x, y] in order, counter-clockwise."""
    if not 3 <= len(points) <= MAX_POINTS:
        raise ValueError(f"{len(points)} points; a polygon has 3 to {MAX_POINTS}")
    for i, j in coinciding(points):
        raise ValueError(f"point {j + 1} repeats point {i + 1}; the last point joins the first by itself")
    return _uncrossed(points, "the sides cross or touch")


def coinciding(points: Sequence[Place]) -> list[tuple[int, int]]:
    """Numbers i < j of points [x, y] that are the same within APART, in order."""
    return sorted(cKDTree(points).query_pairs(APART))


def _uncrossed(points, words):
    """The polygon through points, counter-clockwise. Raises ValueError with these words where it crosses itself."""
    polygon = shapely.Polygon(points)
    if polygon.convex_hull.area < APART * polygon.length:
        raise ValueError("the points lie on one line")
    if not polygon.is_valid:
        raise ValueError(f"{words}: {shapely.is_valid_reason(polygon)} mm")
    return shapely.orient_polygons(polygon)


def farthest(polygon: shapely.Polygon) -> list[Place]:
    """The two corners (2,) that are farthest apart; first the one with the smaller x (then y)."""
    hull = polygon.convex_hull
    corners, side = shapely.get_coordinates(hull)[:-1], 1 if hull.exterior.is_ccw else -1
    n, (x, y) = len(corners), (np.roll(corners, -1, axis=0) - corners).T
    turned_to = np.unwrap(np.arctan2(side * y, x))  # ascending: each side turns on
    facing = np.searchsorted(turned_to, (turned_to - turned_to[0] + np.pi) % (2 * np.pi) + turned_to[0])
    near = np.arange(n)[:, None, None] + np.arange(2)[:, None], facing[:, None, None] + np.arange(-1, 2)
    one, other = (np.broadcast_to(side % n, (n, 2, 3)).ravel() for side in near)  # corners that parallels may touch
    one, other = np.append(one, other), np.append(other, one)
    distance = np.hypot(*(corners[one] - corners[other]).T)
    _, one, other = max(zip(distance, -one, -other, strict=True))
    return sorted(tuple(corners[i].tolist()) for i in (-one, -other))


def edges(polygon: shapely.Polygon, ends: Sequence[Place], *, tolerance: float = 0.0) -> Edges:
    """The edges of a counter-clockwise polygon between two ends, moved by up to tolerance, mm (Douglas & Peucker)."""
    around = shapely.LineString(polygon.exterior)
    for k, (x, y) in enumerate(ends, start=1):
        if (distance := around.distance(shapely.Point(x, y))) > NEAR:
            raise ValueError(f"end {k} ({x:g}, {y:g}) lies {distance:.3g} mm off the outline, {NEAR:g} at most")
    left, right = (around.project(shapely.Point(end)) for end in ends)
    if abs(left - right) < APART or around.length - abs(left - right) < APART:
        raise ValueError("the two ends are the same point of the outline")
    lower, upper = _part(around, left, right), shapely.reverse(_part(around, right, left))
    if tolerance:
        lower, upper = (shapely.simplify(edge, tolerance, preserve_topology=False) for edge in (lower, upper))
        if not shapely.Polygon([*lower.coords[:-1], *upper.coords[:0:-1]]).is_valid:
            raise ValueError(f"simplified by up to {tolerance:g} mm, the outline crosses itself; allow less")
    return np.array(upper.coords).T, np.array(lower.coords).T


def _part(around, start, end):
    """The part of a closed line between two places along it, in its own sense."""
    ways = [(start, end)] if start < end else [(start, around.length), (0, end)]
    line = shapely.LineString([place for way in ways for place in substring(around, *way).coords])
    return shapely.remove_repeated_points(line, APART / 2)


def widest(X: np.ndarray) -> float:
    """Greatest width across x, mm, of the polygon through points X (2, n); if it is in pieces, of the widest piece."""
    corners, y = np.unique(X[0]), np.abs(X[1]).max() + 1.0
    wide = np.diff(corners) > 2 * INSIDE
    x = np.concatenate([corners[:-1][wide] + INSIDE, corners[1:][wide] - INSIDE])  # it is greatest next to a corner
    across = shapely.linestrings([[[at, -y], [at, y]] for at in x])
    return float(shapely.length(shapely.get_parts(shapely.intersection(across, shapely.Polygon(X.T)))).max())


def _between(upper, lower, *, corner):
    """The outline of two edges (2, n) along straight lines; `corner` as in fem.geometry.curve.polyline."""
    axis = upper[:, -1] - upper[:, 0]
    ring = np.hstack([lower[:, :-1], upper[:, :0:-1]])
    tips = (lower, upper), (upper[:, ::-1], lower[:, ::-1])  # each with its sides, counter-clockwise
    return Outline(
        upper=polyline(upper, corner=corner), lower=polyline(lower, corner=corner),
        tip_angles=tuple(float(turn(a[:, 1] - a[:, 0], b[:, 1] - b[:, 0]) % tau) for a, b in tips),
        length=float(np.hypot(*axis)), width=widest(turned(ring, -atan2(axis[1], axis[0]))),
        area=float(shapely.Polygon(ring.T).area),
    )  # fmt: skip
