"""Outlines of excised skin, about the origin, ends on the x axis (closed forms: README); ValueError for bad sizes."""

from collections.abc import Callable
from dataclasses import replace
from math import asin, atan, atan2, cos, degrees, pi, sin, sqrt, tan
from typing import Annotated, Any, Literal

import numpy as np
import shapely
from annotated_types import Ge, Gt, Le, Lt
from scipy.special import ellipe, ellipeinc

from fem.geometry.curve import Coordinate, Length, Outline, arc, chained, part, polyline, samples, smooth, swept
from fem.geometry.polygon import polygon, traced

Ends = Literal["left", "right", "both"]
TipAngle = Annotated[float, Gt(0), Lt(180)]  # degrees, of the key, as is its line of a docstring
ROUND_OFF = 1e-14  # of an angle, rad
SWAY = 0.25  # of the length; our choice, the middle line then crosses the axis at 57 degrees


def circle(*, diameter_mm: Length) -> Outline:
    """A circle, its tips at the ends of the horizontal diameter: S = pi/2 W, no tip sharper than 180 degrees.

    diameter_mm  diameter, mm
    """
    return lens(length_mm=diameter_mm, width_mm=diameter_mm)


def ellipse(*, length_mm: Length, width_mm: Length) -> Outline:
    """An ellipse: S = L E(m) with m = 1 - (W/L)^2, smooth at its tips.

    length_mm  long axis, mm
    width_mm   short axis, mm; at most the length
    """
    _not_wider_than_long(length_mm, width_mm)
    a, b = length_mm / 2, width_mm / 2
    m = 1 - (b / a) ** 2  # Abramowitz & Stegun (1964), 17.2
    upper = smooth(
        lambda t: np.array([a * np.sin(t), b * np.cos(t)]),
        lambda t: np.array([a * np.cos(t), -b * np.sin(t)]),
        lambda fraction: _amplitude((2 * fraction - 1) * ellipe(m), m),
        float(2 * a * ellipe(m)),
    )
    return _symmetric(upper, (pi, pi), length_mm, width_mm, area=pi * a * b)


def lens(*, length_mm: Length, width_mm: Length) -> Outline:
    """Two equal circular arcs: tip angle 4 atan(W/L), S = L theta / sin(theta), theta half the tip angle.

    length_mm  tip to tip, mm
    width_mm   greatest width, mm; at most the length
    """
    _not_wider_than_long(length_mm, width_mm)
    theta = 2 * atan(width_mm / length_mm)  # Moody, McCarthy & Sengelmann (2001)
    R = length_mm / (2 * sin(theta))
    area = R**2 * (2 * theta - sin(2 * theta))
    return _symmetric(arc(length_mm, width_mm / 2), (2 * theta, 2 * theta), length_mm, width_mm, area)


def rhombus(*, length_mm: Length, width_mm: Length) -> Outline:
    """Four equal straight sides: tip angle 2 atan(W/L), S = sqrt(L^2 + W^2).

    length_mm  tip to tip, mm
    width_mm   between the blunt corners, mm; at most the length
    """
    _not_wider_than_long(length_mm, width_mm)
    a, b = length_mm / 2, width_mm / 2
    upper, angle = polyline(np.array([[-a, 0, a], [0, b, 0]])), 2 * atan(b / a)
    return _symmetric(upper, (angle, angle), length_mm, width_mm, area=2 * a * b)


def tangent(*, length_mm: Length, width_mm: Length) -> Outline:
    """A circle with straight tangents to two tips: tip angle 2 asin(W/L), S = sqrt(L^2 - W^2) + W asin(W/L).

    length_mm  tip to tip, mm
    width_mm   diameter of the circle, mm; at most the length
    """
    _not_wider_than_long(length_mm, width_mm)
    r = width_mm / 2
    straight = sqrt((length_mm - width_mm) * (length_mm + width_mm)) / 2  # no digits lost where it is short
    theta = atan2(r, straight)
    half = straight + r * theta
    upper = _over_circle(r, -half, half, angles=(-theta, theta), length=length_mm)
    return _symmetric(upper, (2 * theta, 2 * theta), length_mm, width_mm, area=2 * r * half)


def teardrop(*, length_mm: Length, width_mm: Length) -> Outline:
    """A circle with tangents to one tip, on the right: tip angle 2 asin(r/D), D = L - r, the left end round.

    length_mm  from the round end to the tip, mm
    width_mm   diameter of the circle, 2 r, mm; at most the length
    """
    _not_wider_than_long(length_mm, width_mm)
    r = width_mm / 2
    D = length_mm - r
    straight = sqrt((D - r) * (D + r))
    turn = pi / 2 - atan2(straight, r)  # from the top to where the tangent starts
    start, end = -pi / 2 * r, r * turn + straight
    upper = _over_circle(r, start, end, angles=(-pi / 2, turn), length=length_mm, x=r - length_mm / 2)
    return _symmetric(upper, (pi, 2 * asin(r / D)), length_mm, width_mm, area=r * upper.length)


def crescent(*, length_mm: Length, upper_mm: Length, lower_mm: Annotated[float, Ge(0), Le(1000)]) -> Outline:
    """Two arcs on one chord, both above it: edges of unequal length, S = L theta / sin(theta), theta = 2 atan(2 h/L).

    length_mm  tip to tip, mm
    upper_mm   rise of the upper edge above the line between the tips, mm; at most half the length
    lower_mm   rise of the lower edge, mm; less than that of the upper one, 0 if straight
    """
    if not lower_mm < upper_mm <= length_mm / 2:
        got = f"{lower_mm:g}, {upper_mm:g}, {length_mm / 2:g}"
        raise ValueError(f"wanted lower_mm < upper_mm <= half of length_mm, got {got}")
    angle = 2 * atan(2 * upper_mm / length_mm) - 2 * atan(2 * lower_mm / length_mm)
    upper, lower = arc(length_mm, upper_mm), arc(length_mm, lower_mm)
    area = _below_arc(length_mm, upper_mm) - _below_arc(length_mm, lower_mm)
    return Outline(upper, lower, (angle, angle), length_mm, upper_mm - lower_mm, area)


def lazy_s(*, length_mm: Length, width_mm: Length, sway_mm: Coordinate) -> Outline:
    """A lens whose middle line is a sine, so that its ends bend to opposite sides; half a turn leaves it as it is.

    length_mm  tip to tip, mm
    width_mm   greatest width across the axis, mm; at most the length
    sway_mm    of the middle line, mm; above 0: right half up; below 0: left half up; at most a quarter of the length
    """
    _not_wider_than_long(length_mm, width_mm)
    if abs(sway_mm) > SWAY * length_mm:
        raise ValueError(f"sway_mm {sway_mm:g} is more than a quarter of length_mm {length_mm:g}")
    theta, wave = 2 * atan(width_mm / length_mm), 2 * pi / length_mm
    R, slope = length_mm / (2 * sin(theta)), wave * sway_mm

    def edge(side):
        def position(t):
            x = R * np.sin(t)
            return np.array([x, sway_mm * np.sin(wave * x) + side * R * (np.cos(t) - cos(theta))])

        def velocity(t):
            dx = R * np.cos(t)
            return np.array([dx, slope * np.cos(wave * R * np.sin(t)) * dx - side * R * np.sin(t)])

        return swept(position, velocity, -theta, theta)

    angle = sum(atan2(sin(theta) + side * slope * cos(theta), cos(theta)) for side in (1, -1))
    area = lens(length_mm=length_mm, width_mm=width_mm).area
    return Outline(edge(1), edge(-1), (angle, angle), length_mm, width_mm, area)


def lens_with_m(
    *, length_mm: Length, width_mm: Length, shorter_mm: Length, m_at: Ends = "right", m_tip_rad: TipAngle | None = None
) -> Outline:
    """A lens with an M-plasty: an end is cut off, and a flap of skin with its point on the axis is kept there.

    length_mm   of the whole lens, mm
    width_mm    greatest width, mm; at most the length
    shorter_mm  by this much an end with an M falls short of the lens's own tip, mm
    m_at        which ends have an M: left, right or both
    m_tip_deg   angle of each of the two tips, degrees; by default twice the slope of the edge, so it points along x
    """
    _not_wider_than_long(length_mm, width_mm)
    theta = 2 * atan(width_mm / length_mm)
    R, x = length_mm / (2 * sin(theta)), length_mm / 2 - shorter_mm
    if x <= 0:
        raise ValueError(f"shorter_mm {shorter_mm:g} is not less than half of length_mm {length_mm:g}")
    t = asin(x / R)  # the slope of the edge at its tip
    y = R * (cos(t) - cos(theta))
    angle = 2 * t if m_tip_rad is None else m_tip_rad
    least, most = t + atan2(y, x), t + pi / 2
    if not least <= angle < most:
        raise ValueError(
            f"with m_tip_deg {degrees(angle):.4g} the flap's point does not lie between the middle of the wound and "
            f"its tips; wanted {degrees(least):.4g} or more, less than {degrees(most):.4g}"
        )
    if y / sin(angle - t) > R * t:
        raise ValueError(f"the flap's sides are longer than the edge from the middle to its tip, {R * t:.4g} mm")
    x_flap = x - y / tan(angle - t)
    left, right = m_at in ("left", "both"), m_at in ("right", "both")
    whole = arc(length_mm, width_mm / 2)
    at = [(1 - t / theta) / 2 if left else 0.0, (1 + t / theta) / 2 if right else 1.0]
    side = polyline(np.array([[x, x_flap], [y, 0.0]]))
    back = polyline(np.array([[-x_flap, -x], [0.0, y]]))
    upper = chained(*[back] * left, part(whole, *at), *[side] * right)
    cut_off = _below_arc(length_mm, width_mm / 2) - R**2 * (t + sin(t) * cos(t)) + 2 * R * cos(theta) * x
    angles = [tip for m in (left, right) for tip in ([angle] * 2 if m else [2 * theta])]
    length = sum(x if m else length_mm / 2 for m in (left, right))
    area = 2 * _below_arc(length_mm, width_mm / 2) - (left + right) * (cut_off + y * (x - x_flap))
    beyond = left * side.length, right * side.length
    return _symmetric(upper, tuple(angles), length, width_mm, area, beyond=beyond)


def triangle(*, base_mm: Length, height_mm: Length) -> Outline:
    """Two equal sides on a base, sewn to each other: the tips are the apex, right, and the middle of the base, left.

    base_mm    mm; also the greatest width
    height_mm  from the base to the apex, mm
    """
    a, b = height_mm / 2, base_mm / 2
    upper = polyline(np.array([[-a, -a, a], [0, b, 0]]))
    return _symmetric(upper, (pi, 2 * atan2(b, height_mm)), height_mm, base_mm, area=b * height_mm)


def square(*, side_mm: Length) -> Outline:
    """A square with two sides along x: the tips are the middles of the others, 180 degrees each, S = 2 side.

    side_mm  mm. Closed from corner to corner it is a rhombus as wide as long.
    """
    a = side_mm / 2
    upper = polyline(np.array([[-a, -a, a, a], [0, a, a, 0]]))
    return _symmetric(upper, (pi, pi), side_mm, side_mm, area=side_mm**2)


def slit(*, length_mm: Length) -> Outline:
    """A cut along x that takes no skin: no width, no area; the central limb of a z-plasty.

    length_mm  mm
    """
    line = polyline(np.array([[-length_mm / 2, length_mm / 2], [0.0, 0.0]]))
    return Outline(line, line, (0.0, 0.0), length_mm, width=0.0, area=0.0)


KINDS = circle, ellipse, lens, rhombus, tangent, teardrop, crescent, lazy_s, lens_with_m, triangle, square, slit
OUTLINES: dict[str, Callable[..., Outline]] = {f.__name__.replace("_", "-"): f for f in (*KINDS, polygon, traced)}


def facts(outline: Outline) -> dict[str, Any]:
    """What geometry alone says of an outline, by names of measures (push-out: README); lists run from left to right."""
    lengths = [edge.length - sum(outline.beyond) for edge in (outline.upper, outline.lower)]
    push_out = (sum(lengths) / 2 - outline.length) / 2
    return {
        "length_mm": outline.length,
        "width_mm": outline.width,
        "length_to_width": outline.length / outline.width if outline.width else None,
        "tip_angles_deg": [float(np.degrees(angle)) for angle in outline.tip_angles],
        "edge_lengths_mm": lengths,
        "removed_area_mm2": outline.area,
        "push_out_mm": [push_out] * len(outline.tip_angles),
    }


def boundary(outline: Outline, *, n: int = 2000) -> shapely.Polygon:
    """The outline as a shapely polygon of 2 n chords where it is bent, counter-clockwise, corners included."""
    lower, upper = (edge.point(samples(edge, n)) for edge in (outline.lower, outline.upper))
    return shapely.Polygon(np.hstack([lower[:, :-1], upper[:, :0:-1]]).T)


def _over_circle(r, start, end, *, angles, length, x=0.0):
    """From `start` to `end`, mm past the top of a circle about (x, 0), clockwise; beyond two angles on its tangents."""

    def way(s):
        t = np.clip(s / r, *angles)
        return np.array([np.cos(t), -np.sin(t)])

    def position(s):
        t = np.clip(s / r, *angles)
        curved = np.array([x + r * np.sin(t), r * np.cos(t)])
        tip = np.array([np.copysign(length / 2, s), 0 * s])  # where straight parts end to the last digit (README)
        return np.where(t == s / r, curved, tip - (np.where(s < 0, start, end) - s) * way(s))

    return smooth(position, way, lambda fraction: (1 - fraction) * start + fraction * end, end - start)


def _not_wider_than_long(length, width):
    if width > length:
        raise ValueError(f"width_mm {width:g} is more than length_mm {length:g}; the long axis is the length")


def _symmetric(upper, tip_angles, length, width, area, **more):
    """The outline of an upper edge and its mirror image."""
    Q = np.diag([1.0, -1.0])
    lower = replace(upper, point=lambda s: Q @ upper.point(s), tangent=lambda s, side=1: Q @ upper.tangent(s, side))
    return Outline(upper, lower, tip_angles, length, width, area, **more)


def _below_arc(chord, rise):
    """Area between an arc and its chord, mm2: R^2 (theta - sin theta cos theta)."""
    theta = 2 * atan(2 * rise / chord)
    return (chord / (2 * sin(theta))) ** 2 * (theta - sin(theta) * cos(theta)) if rise else 0.0


def _amplitude(u, m):
    """Angle t (n,) with E(t | m) = u, u (n,) within a quarter period about 0, by Newton's method (README)."""
    t = np.zeros_like(u)
    for _ in range(100):
        step = (u - ellipeinc(t, m)) / np.sqrt(1 - m * np.sin(t) ** 2)
        t = np.clip(t + step, -pi / 2, pi / 2)
        if np.all(abs(step) <= ROUND_OFF / sqrt(1 - m)):
            return t
    raise ArithmeticError(f"no arc length of an ellipse with m = {m:g}")
