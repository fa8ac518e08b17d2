"""Plane curves by fraction of arc length, and the outline that two of them make."""

from collections.abc import Callable
from dataclasses import dataclass
from math import atan, cos, sin
from typing import Annotated

import numpy as np
from annotated_types import Ge, Le
from scipy.interpolate import CubicHermiteSpline

# Sizes and places, mm. The limits are our choice: beyond them is no wound, and no overflow lies within.
Length = Annotated[float, Ge(0.1), Le(1000)]
Coordinate = Annotated[float, Ge(-1000), Le(1000)]
Place = tuple[Coordinate, Coordinate]

ROUND_OFF = 1e-12  # of a fraction
STRAIGHT = 1e-12  # share by which a chord is shorter than its arc, which rises by less than 1e-6 of it above the chord
PIECES = 2000  # of a swept curve; our choice, its places are then right to some 1e-12 of its length


@dataclass(frozen=True)
class Curve:
    """An open plane curve."""

    point: Callable[[np.ndarray], np.ndarray]  # fractions of arc length (n,) in [0, 1] -> (2, n), mm
    # fractions (n,), side -> unit vectors (2, n) along the way; in a corner that of what follows (1) or precedes (-1)
    tangent: Callable[..., np.ndarray]
    length: float  # mm
    corners: tuple[float, ...] = ()  # inner fractions where the tangent turns


@dataclass(frozen=True)
class Outline:
    """The edge of removed skin, cut in two at its ends.

    The ends are its tips, but for one with an M: there the ends meet in the point of the kept flap, the tips lie before
    it on either edge, and what is beyond a tip is sewn back onto the same edge.
    """

    upper: Curve  # from the left end to the right end
    lower: Curve  # the same ends, below
    tip_angles: tuple[float, ...]  # full inner angle at each tip, rad, from left to right, then from below
    length: float  # from the left tips to the right ones along the axis, mm
    width: float  # greatest width across the axis, mm
    area: float  # mm2
    beyond: tuple[float, float] = (0.0, 0.0)  # mm of either edge that are beyond its left and its right tip


def polyline(X: np.ndarray, *, corner: float = 0.0) -> Curve:
    """The curve along straight lines through points X (2, n).

    corner  rad: it has a corner at each inner point where it turns by this or more
    """
    step = np.diff(X, axis=1)
    back, ahead = step[:, :-1], step[:, 1:]
    turn = np.abs(np.arctan2(back[0] * ahead[1] - back[1] * ahead[0], (back * ahead).sum(axis=0)))
    s = np.append(0.0, np.cumsum(np.hypot(*step)))
    at = s / s[-1]
    corners = tuple(at[1:-1][turn >= corner].tolist())
    way = step / np.hypot(*step)

    def tangent(fraction, side=1):
        return way[:, _piece(fraction, at, side)]

    return Curve(lambda fraction: np.array([np.interp(fraction, at, x) for x in X]), tangent, float(s[-1]), corners)


def _piece(fraction, at, side):
    """Number of the piece between knots `at` that fractions lie on; at a knot, of that which follows or precedes."""
    return np.clip(np.searchsorted(at, np.asarray(fraction) + side * ROUND_OFF, side="right") - 1, 0, len(at) - 2)


def arc(chord: float, rise: float) -> Curve:
    """The circular arc from (-chord/2, 0) to (chord/2, 0), mm, that rises above its chord by up to half of it.

    It turns by 2 theta, theta = 2 atan(2 rise/chord), about a centre R = chord / (2 sin theta) away.
    """
    theta = 2 * atan(2 * rise / chord)
    if theta == 0:
        return polyline(np.array([[-chord / 2, chord / 2], [0.0, 0.0]]))
    R = chord / (2 * sin(theta))

    def point(fraction):
        t = (2 * np.asarray(fraction) - 1) * theta
        return R * np.array([np.sin(t), 2 * np.sin((theta + t) / 2) * np.sin((theta - t) / 2)])  # cos t - cos theta

    def tangent(fraction, side=1):
        t = (2 * np.asarray(fraction) - 1) * theta
        return np.array([np.cos(t), -np.sin(t)])

    return Curve(point, tangent, 2 * R * theta)


def swept(
    position: Callable[[np.ndarray], np.ndarray], velocity: Callable[[np.ndarray], np.ndarray], start: float, end: float
) -> Curve:
    """The smooth curve that `position` sweeps from `start` to `end`.

    position, velocity   parameters (n,) -> (2, n), the second the derivative of the first and nowhere 0

    Arc length by Gauss's rule on PIECES pieces; its inverse by cubic Hermite splines, dt/ds = 1/speed.
    """
    t = np.linspace(start, end, PIECES + 1)
    node, weight = np.polynomial.legendre.leggauss(5)
    half = (end - start) / PIECES / 2
    inner = (t[:-1] + half)[:, None] + half * node
    pieces = half * np.hypot(*velocity(inner.ravel())).reshape(inner.shape) @ weight
    s = np.append(0.0, np.cumsum(pieces))
    parameter = CubicHermiteSpline(s / s[-1], t, s[-1] / np.hypot(*velocity(t)))

    def tangent(fraction, side=1):
        way = velocity(parameter(fraction)) * np.sign(end - start)
        return way / np.hypot(*way)

    return Curve(lambda fraction: position(parameter(fraction)), tangent, float(s[-1]))


def part(curve: Curve, start: float, end: float) -> Curve:
    """The part of a curve between two fractions, run through from `start` to `end`, backwards if that is less."""
    corners, sense = sorted((s - start) / (end - start) for s in curve.corners), 1 if end > start else -1
    return Curve(
        lambda fraction: curve.point(start + np.asarray(fraction) * (end - start)),
        lambda fraction, side=1: sense * curve.tangent(start + np.asarray(fraction) * (end - start), sense * side),
        abs(end - start) * curve.length,
        tuple(s for s in corners if ROUND_OFF < s < 1 - ROUND_OFF),
    )


def chained(*curves: Curve) -> Curve:
    """One curve along several, each of which starts in a corner where the one before ended."""
    ends = np.cumsum([0.0] + [curve.length for curve in curves])
    at = ends / ends[-1]

    def along(fraction, side, values):
        """Of each fraction, the value (2,) that its curve has there."""
        fraction = np.asarray(fraction)
        piece, found = _piece(fraction, at, side), np.empty((2, *fraction.shape))
        for k in set(piece.ravel().tolist()):
            here = piece == k
            found[:, here] = values(curves[k], np.clip((fraction[here] - at[k]) / (at[k + 1] - at[k]), 0, 1))
        return found

    def point(fraction):
        return along(fraction, 0, lambda curve, s: curve.point(s))

    def tangent(fraction, side=1):
        return along(fraction, side, lambda curve, s: curve.tangent(s, side))

    inner = [
        a + s * (b - a) for curve, a, b in zip(curves, at[:-1], at[1:], strict=True) for s in (0.0, *curve.corners)
    ]
    return Curve(point, tangent, float(ends[-1]), tuple(float(s) for s in inner[1:]))


def moved(curve: Curve, matrix: np.ndarray) -> Curve:
    """The curve's image by an orthogonal matrix (2, 2)."""
    return Curve(
        lambda fraction: matrix @ curve.point(fraction),
        lambda fraction, side=1: matrix @ curve.tangent(fraction, side),
        curve.length,
        curve.corners,
    )


def samples(curve: Curve, n: int, *, start: float = 0.0, end: float = 1.0) -> np.ndarray:
    """Fractions from `start` to `end`, ascending: both, the corners between, and n - 1 more where the curve is bent.

    A part between corners is straight if it is as long as its chord; nothing of it but its ends is needed.
    """
    knots = np.array([start, *(s for s in curve.corners if start < s < end), end])
    chords = np.hypot(*np.diff(curve.point(knots)))
    bent = chords < (1 - STRAIGHT) * np.diff(knots) * curve.length
    if not bent.any():
        return knots
    s = np.linspace(start, end, n + 1)
    return np.union1d(knots, s[bent[np.clip(np.searchsorted(knots, s, side="right") - 1, 0, len(bent) - 1)]])


def turned(X: np.ndarray, angle: float) -> np.ndarray:
    """Points (2, n) turned counter-clockwise about the origin, rad."""
    return np.array([[cos(angle), -sin(angle)], [sin(angle), cos(angle)]]) @ X
