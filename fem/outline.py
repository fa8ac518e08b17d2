"""Outlines of excised skin: two edges from tip to tip, with the closed forms of their lengths and angles.

Long axis x, centre at the origin (a polygon stays where it was drawn). L is the tip-to-tip length, W the
greatest width, S the length of one edge. Adding an outline: one function and one entry in OUTLINES; its
keyword arguments are the keys of a case file, and the docstring's line on each is their description.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import asin, atan, atan2, cos, pi, sin, sqrt, tau
from typing import Annotated

import numpy as np
import shapely
from annotated_types import Ge, Le
from scipy.special import ellipe, ellipeinc

# Sizes and places, mm. The limits are our choice: beyond them is no wound, and no overflow lies within.
Length = Annotated[float, Ge(0.1), Le(1000)]
Coordinate = Annotated[float, Ge(-1000), Le(1000)]

MAX_POINTS = 1000  # of a polygon; our choice, a tracing at every millimetre of a large wound
APART = 1e-3  # mm, between corners of a polygon; our choice, a tenth would still mesh
ROUND_OFF = 1e-14  # of an angle, rad


@dataclass(frozen=True)
class Curve:
    """An open plane curve."""

    point: Callable[[np.ndarray], np.ndarray]  # fractions of arc length (n,) in [0, 1] -> (2, n), mm
    length: float  # mm
    corners: tuple[float, ...] = ()  # inner fractions where the tangent turns


@dataclass(frozen=True)
class Outline:
    """The edge of removed skin, cut at its two tips."""

    upper: Curve  # from the left tip to the right tip
    lower: Curve  # the same ends, below
    tip_angles: tuple[float, float]  # full inner angle at the left and the right tip, rad
    length: float  # tip to tip, mm
    width: float  # greatest width across the tip-to-tip line, mm
    area: float  # mm2


def circle(*, diameter_mm: Length) -> Outline:
    """A circle, its tips at the ends of the horizontal diameter: S = pi/2 W, no tip sharper than 180 degrees.

    diameter_mm  diameter, mm
    """
    return lens(length_mm=diameter_mm, width_mm=diameter_mm)


def ellipse(*, length_mm: Length, width_mm: Length) -> Outline:
    """An ellipse: S = L E(m) with m = 1 - (W/L)^2, smooth at its tips.

    length_mm  long axis, mm
    width_mm   short axis, mm; at most the length

    Raises ValueError if wider than long. Source: Abramowitz & Stegun (1964), 17.2.
    """
    _not_wider_than_long(length_mm, width_mm)
    a, b = length_mm / 2, width_mm / 2
    m = 1 - (b / a) ** 2

    def point(fraction):
        t = _amplitude((2 * np.asarray(fraction) - 1) * ellipe(m), m)
        return np.array([a * np.sin(t), b * np.cos(t)])

    return _symmetric(Curve(point, float(2 * a * ellipe(m))), pi, length_mm, width_mm, area=pi * a * b)


def lens(*, length_mm: Length, width_mm: Length) -> Outline:
    """Two equal circular arcs: tip angle 4 atan(W/L), S = L theta / sin(theta), theta half the tip angle.

    length_mm  tip to tip, mm
    width_mm   greatest width, mm; at most the length

    Raises ValueError if wider than long. Source: Moody, McCarthy & Sengelmann (2001), the same construction.
    """
    _not_wider_than_long(length_mm, width_mm)
    theta = 2 * atan(width_mm / length_mm)
    R = length_mm / (2 * sin(theta))

    def point(fraction):
        t = (2 * np.asarray(fraction) - 1) * theta
        return R * np.array([np.sin(t), np.cos(t) - cos(theta)])

    area = R**2 * (2 * theta - sin(2 * theta))
    return _symmetric(Curve(point, 2 * R * theta), 2 * theta, length_mm, width_mm, area)


def rhombus(*, length_mm: Length, width_mm: Length) -> Outline:
    """Four equal straight sides: tip angle 2 atan(W/L), S = sqrt(L^2 + W^2).

    length_mm  tip to tip, mm
    width_mm   between the blunt corners, mm; at most the length

    Raises ValueError if wider than long.
    """
    _not_wider_than_long(length_mm, width_mm)
    a, b = length_mm / 2, width_mm / 2
    upper = _polyline(np.array([[-a, 0, a], [0, b, 0]]))
    return _symmetric(upper, 2 * atan(b / a), length_mm, width_mm, area=2 * a * b)


def tangent(*, length_mm: Length, width_mm: Length) -> Outline:
    """A circle with straight tangents to two tips: tip angle 2 asin(W/L), S = sqrt(L^2 - W^2) + W asin(W/L).

    length_mm  tip to tip, mm
    width_mm   diameter of the circle, mm; at most the length

    Raises ValueError if wider than long.
    """
    _not_wider_than_long(length_mm, width_mm)
    r, theta = width_mm / 2, asin(width_mm / length_mm)
    straight = sqrt((length_mm / 2) ** 2 - r**2)
    half = straight + r * theta

    def point(fraction):
        s = (2 * np.asarray(fraction) - 1) * half  # from the top of the circle
        t = np.clip(s / r, -theta, theta)
        return r * np.array([np.sin(t), np.cos(t)]) + (s - r * t) * np.array([np.cos(t), -np.sin(t)])

    return _symmetric(Curve(point, 2 * half), 2 * theta, length_mm, width_mm, area=2 * r * half)


def polygon(*, points_mm: tuple[tuple[Coordinate, Coordinate], ...]) -> Outline:
    """Straight sides between given points, in either sense, as drawn; the two farthest corners are the tips.

    The left tip has the smaller x (then y); the upper edge lies to the left on the way to the right tip.

    points_mm  corners [x, y] in order, mm; the last joins the first by itself

    Raises ValueError with fewer than 3 or too many points, with points that repeat, with sides that cross or
    touch, and without area.
    """
    ring = simple_polygon(points_mm)
    X = np.array(ring.exterior.coords[:-1]).T  # (2, n), counter-clockwise
    n = X.shape[1]
    distance = np.linalg.norm(X[:, :, None] - X[:, None], axis=0)
    left, right = sorted(np.unravel_index(distance.argmax(), distance.shape), key=lambda i: tuple(X[:, i]))
    X = np.roll(X, -left, axis=1)
    k = (right - left) % n
    upper = np.hstack([X[:, k:], X[:, :1]])[:, ::-1]
    length = float(distance.max())
    along = (X[:, k] - X[:, 0]) / length
    return Outline(
        upper=_polyline(upper),
        lower=_polyline(X[:, : k + 1]),
        tip_angles=(
            _turn(X[:, 1] - X[:, 0], X[:, -1] - X[:, 0]),
            _turn(X[:, (k + 1) % n] - X[:, k], X[:, k - 1] - X[:, k]),
        ),
        length=length,
        width=float(np.ptp(along[0] * X[1] - along[1] * X[0])),
        area=float(ring.area),
    )


OUTLINES: dict[str, Callable[..., Outline]] = {
    "circle": circle,
    "ellipse": ellipse,
    "lens": lens,
    "rhombus": rhombus,
    "tangent": tangent,
    "polygon": polygon,
}


def facts(outline):
    """What geometry alone says of an outline, by the names of the measures; lists run from left to right.

    `push_out_mm` is how far each tip moves outward when both edges keep their length and are sewn straight:
    (S - L)/2, with S the mean of unequal edges. Source: Zou et al. (2023).
    """
    edges = [outline.upper.length, outline.lower.length]
    push_out = (sum(edges) / 2 - outline.length) / 2
    return {
        "length_mm": outline.length,
        "width_mm": outline.width,
        "length_to_width": outline.length / outline.width,
        "tip_angles_deg": [float(np.degrees(angle)) for angle in outline.tip_angles],
        "edge_lengths_mm": edges,
        "removed_area_mm2": outline.area,
        "push_out_mm": [push_out, push_out],
    }


def boundary(outline, *, n=2000):
    """The outline as a shapely polygon of 2 n chords or more, counter-clockwise, corners included.

    The chords of a half circle lie within L pi^2 / 16 n^2 of it, 1.5e-7 L at the default.
    """
    fractions = np.linspace(0, 1, n + 1)
    lower = outline.lower.point(np.union1d(fractions, outline.lower.corners))
    upper = outline.upper.point(np.union1d(fractions, outline.upper.corners))
    return shapely.Polygon(np.hstack([lower[:, :-1], upper[:, :0:-1]]).T)


def _not_wider_than_long(length, width):
    if width > length:
        raise ValueError(f"width_mm {width:g} is more than length_mm {length:g}; the long axis is the length")


def _symmetric(upper, tip_angle, length, width, area):
    """The outline of an upper edge and its mirror image."""
    mirror = np.array([[1.0], [-1.0]])
    lower = Curve(lambda fraction: mirror * upper.point(fraction), upper.length, upper.corners)
    return Outline(upper, lower, (tip_angle, tip_angle), length, width, area)


def _polyline(X):
    """The curve along straight lines through points X (2, n); it has a corner at each inner one."""
    s = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(X), axis=0)))
    at = s / s[-1]
    corners = tuple(at[1:-1].tolist())
    return Curve(lambda fraction: np.array([np.interp(fraction, at, x) for x in X]), float(s[-1]), corners)


def _amplitude(u, m):
    """Angle t (n,) with E(t | m) = u, u (n,) within a quarter period on either side of 0.

    Newton from t = 0, where the slope sqrt(1 - m sin^2 t) is greatest: every step stays short of the root, so
    it cannot overshoot; the number of steps grows with log(L/W).
    """
    t = np.zeros_like(u)
    for _ in range(100):
        step = (u - ellipeinc(t, m)) / np.sqrt(1 - m * np.sin(t) ** 2)
        t = np.clip(t + step, -pi / 2, pi / 2)
        if np.all(abs(step) <= ROUND_OFF / sqrt(1 - m)):
            return t
    raise ArithmeticError(f"no arc length of an ellipse with m = {m:g}")


def simple_polygon(points):
    """The shapely polygon through the points, counter-clockwise; ValueError says what is wrong with them."""
    if not 3 <= len(points) <= MAX_POINTS:
        raise ValueError(f"{len(points)} points; a polygon has 3 to {MAX_POINTS}")
    pairs = shapely.STRtree(shapely.points(points)).query(shapely.points(points), "dwithin", APART).T
    repeated = [(i, j) for i, j in pairs.tolist() if i < j]
    if repeated:
        i, j = min(repeated)
        raise ValueError(f"point {j + 1} repeats point {i + 1}; the last point joins the first by itself")
    ring = shapely.Polygon(points)
    if ring.convex_hull.area < APART * ring.length:
        raise ValueError("the points lie on one line")
    if not ring.is_valid:
        raise ValueError(f"the sides cross or touch: {shapely.is_valid_reason(ring)} mm")
    return ring if ring.exterior.is_ccw else shapely.reverse(ring)


def _turn(a, b):
    """Angle from vector a to vector b, counter-clockwise, rad in [0, 2 pi)."""
    return atan2(a[0] * b[1] - a[1] * b[0], a @ b) % tau
