"""Plane curves by fraction of arc length, and the outline that two of them make."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from math import atan, cos, sin
from typing import Annotated

import numpy as np
import shapely
from annotated_types import Ge, Le

# Sizes and places, mm. The limits are our choice: beyond them is no wound, and no overflow lies within.
Length = Annotated[float, Ge(0.1), Le(1000)]
Size = Length | None  # None: the default that its description names
Coordinate = Annotated[float, Ge(-1000), Le(1000)]
Place = tuple[Coordinate, Coordinate]
Function = Callable[[np.ndarray], np.ndarray]  # of parameters or fractions (n,)

ROUND_OFF = 1e-12  # of a fraction
STRAIGHT = 1e-12  # share by which a chord is shorter than its arc, which rises by less than 1e-6 of it above the chord
MIN_SEGMENTS = 4  # of an edge; our choice, fewer do not show its curve
PIECES = 2000  # of a swept curve; our choice, its places are then right to some 1e-12 of its length


@dataclass(frozen=True)
class Curve:
    """An open plane curve."""

    point: Function  # fractions of arc length (n,) in [0, 1] -> (2, n), mm
    # fractions (n,), side -> unit vectors (2, n) along the way; in a corner that of what follows (1) or precedes (-1)
    tangent: Callable[..., np.ndarray]
    length: float  # mm
    corners: tuple[float, ...] = ()  # inner fractions where the tangent turns

    @cached_property
    def ends(self) -> np.ndarray:
        """Where it starts and stops (2, 2), mm."""
        return self.point(np.array([0.0, 1.0]))

    @cached_property
    def pieces(self) -> tuple[np.ndarray, np.ndarray]:
        """Fractions (k + 1,) of ends and corners, and which pieces between are bent (k,), longer than their chord."""
        knots = np.array([0.0, *self.corners, 1.0])
        chords = np.hypot(*np.diff(self.point(knots)))
        return knots, chords < (1 - STRAIGHT) * np.diff(knots) * self.length


@dataclass(frozen=True)
class Outline:
    """The edge of removed skin, cut in two at its ends: its tips, or the points of flaps that an M keeps (README)."""

    upper: Curve  # from the left end to the right end
    lower: Curve  # the same ends, below
    tip_angles: tuple[float, ...]  # full inner angle at each tip, rad, from left to right, then from below
    length: float  # from the left tips to the right ones along the axis, mm
    width: float  # greatest width across the axis, mm
    area: float  # mm2
    beyond: tuple[float, float] = (0.0, 0.0)  # mm of either edge that are beyond its left and its right tip


def polyline(X: np.ndarray, *, corner: float = 0.0) -> Curve:
    """The curve along straight lines through points X (2, n), its corners where it turns by `corner` (rad) or more."""
    step = np.diff(X, axis=1)
    s = np.append(0.0, np.cumsum(np.hypot(*step)))
    at = s / s[-1]
    way = step / np.hypot(*step)
    return Curve(
        lambda fraction: np.array([np.interp(fraction, at, x) for x in X]),
        lambda fraction, side=1: way[:, _piece(fraction, at, side)],
        float(s[-1]),
        tuple(at[1:-1][np.abs(turn(step[:, :-1], step[:, 1:])) >= corner].tolist()),
    )


def _piece(fraction, at, side):
    """Number of the piece between knots `at` that fractions lie on; at a knot, of that which follows or precedes."""
    return np.clip(np.searchsorted(at, fraction + side * ROUND_OFF, side="right") - 1, 0, len(at) - 2)


def smooth(position: Function, velocity: Function, parameter: Function, length: float) -> Curve:
    """The curve without corners that `position` sweeps; `velocity` is along its derivative and nowhere 0.

    position, velocity   of parameters (n,) -> (2, n);  parameter   of fractions of arc length (n,) -> (n,)
    """

    def tangent(fraction, side=1):
        way = velocity(parameter(fraction))
        return way / np.hypot(*way)

    return Curve(lambda fraction: position(parameter(fraction)), tangent, length)


def arc(chord: float, rise: float) -> Curve:
    """The circular arc from (-chord/2, 0) to (chord/2, 0), mm, that rises above its chord by up to half of it."""
    theta = 2 * atan(2 * rise / chord)
    if theta == 0:
        return polyline(np.array([[-chord / 2, chord / 2], [0.0, 0.0]]))
    R = chord / (2 * sin(theta))
    return smooth(
        lambda t: R * np.array([np.sin(t), 2 * np.sin((theta + t) / 2) * np.sin((theta - t) / 2)]),  # cos t - cos theta
        lambda t: np.array([np.cos(t), -np.sin(t)]),
        lambda fraction: (2 * fraction - 1) * theta,
        2 * R * theta,
    )


def swept(position: Function, velocity: Function, start: float, end: float) -> Curve:
    """The curve without corners that `position` sweeps from `start` to a greater `end`; velocity is its derivative."""
    from scipy.interpolate import CubicHermiteSpline  # here, for it takes a third of what checking a lens takes

    t = np.linspace(start, end, PIECES + 1)
    node, weight = np.polynomial.legendre.leggauss(5)
    half = (end - start) / PIECES / 2
    inner = (t[:-1] + half)[:, None] + half * node
    pieces = half * np.hypot(*velocity(inner.ravel())).reshape(inner.shape) @ weight
    s = np.append(0.0, np.cumsum(pieces))  # by Gauss's rule; its inverse by cubic splines, dt/ds = 1/speed
    parameter = CubicHermiteSpline(s / s[-1], t, s[-1] / np.hypot(*velocity(t)))
    return smooth(position, velocity, parameter, float(s[-1]))


def part(curve: Curve, start: float, end: float) -> Curve:
    """The part of a curve between two fractions, run through from `start` to `end`, backwards if that is less."""
    corners, sense = sorted((s - start) / (end - start) for s in curve.corners), 1 if end > start else -1
    return Curve(
        lambda fraction: curve.point(start + fraction * (end - start)),
        lambda fraction, side=1: sense * curve.tangent(start + fraction * (end - start), sense * side),
        abs(end - start) * curve.length,
        tuple(s for s in corners if ROUND_OFF < s < 1 - ROUND_OFF),
    )


def chained(*curves: Curve) -> Curve:
    """One curve along several, each of which starts in a corner where the one before ended."""
    ends = np.cumsum([0.0] + [curve.length for curve in curves])
    at = ends / ends[-1]
    spans = list(zip(curves, pairwise(at.tolist()), strict=True))

    def along(values, fraction, side):
        """Of each fraction, the value (2,) that its curve has there."""
        of_each = [values(curve, np.clip((fraction - start) / (end - start), 0, 1)) for curve, (start, end) in spans]
        return np.array(of_each)[_piece(fraction, at, side), :, np.arange(fraction.size)].T

    return Curve(
        lambda fraction: along(lambda curve, s: curve.point(s), fraction, 0),
        lambda fraction, side=1: along(lambda curve, s: curve.tangent(s, side), fraction, side),
        float(ends[-1]),
        tuple(start + s * (end - start) for curve, (start, end) in spans for s in (0.0, *curve.corners))[1:],
    )


def samples(curve: Curve, n: int) -> np.ndarray:
    """Fractions from 0 to 1, ascending: both, the corners, and n - 1 more where the curve is bent."""
    knots, bent = curve.pieces
    s = np.linspace(0, 1, n + 1)
    return np.union1d(knots, s[bent[np.clip(np.searchsorted(knots, s, side="right") - 1, 0, len(bent) - 1)]])


def ring(chain: Iterable[Curve], n: int) -> shapely.Polygon:
    """The polygon of a closed chain of curves, each in n chords or more where it is bent."""
    return shapely.Polygon(np.hstack([curve.point(samples(curve, n)[:-1]) for curve in chain]).T)


def enclosed(chain: Sequence[Curve]) -> float:
    """Area in a closed chain of curves, mm2; the errors of rings of n and 2 n chords, which fall with n^2, cancel."""
    coarse, fine = (ring(chain, n).area for n in (500, 1000))
    return (4 * fine - coarse) / 3


def turned(X: np.ndarray, angle: float) -> np.ndarray:
    """Points (2, ...) turned counter-clockwise about the origin, rad."""
    return np.array([[cos(angle), -sin(angle)], [sin(angle), cos(angle)]]) @ X


def turn(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Angle (...) from vectors a (2, ...) counter-clockwise to b, rad in (-pi, pi]."""
    return np.arctan2(a[0] * b[1] - a[1] * b[0], a[0] * b[0] + a[1] * b[1])
