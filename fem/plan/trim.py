"""Trimmed closures: the ends of a wound cut further out, so that lower cones are left (the ways to cut: README)."""

from collections.abc import Mapping
from dataclasses import replace
from math import atan2, cos, pi, tau
from typing import Annotated, Any, Literal

import numpy as np
import shapely
from annotated_types import Ge, Le
from scipy.optimize import minimize_scalar

from fem.geometry.curve import Outline, Size, chained, enclosed, part, polyline, samples, turn, turned
from fem.geometry.outlines import boundary
from fem.geometry.polygon import widest
from fem.plan.plan import Plan, Surplus, side_to_side

HOW = Literal["straight", "angled", "m", "none"]
Turn = Annotated[float, Ge(-80), Le(80)]  # degrees, of the key, as is its line of a docstring
SAMPLES = 2000  # of an edge, between which a touching point is sought; our choice
CHORDS = 200  # of an edge, where its width is measured
SMOOTH = 1e-5  # rad: a cut that meets an edge at less touches it
COVERED = 1e-6  # share of the outline's area that a trimmed one may leave by its chords
ENDS = "left", "right"


def trimmed(
    outline: Outline, *, left: HOW = "straight", right: HOW = "straight", left_mm: Size = None, right_mm: Size = None,
    left_rad: Turn = pi / 3, right_rad: Turn = pi / 3, left_shorter_mm: Size = None, right_shorter_mm: Size = None,
    under_mm: Size = None, surplus: Surplus = "shared", eased_mm: Size = None,
) -> Plan:  # fmt: skip
    """Closed side to side, the cones looked at and cut off, and closed again.

    left             how the cone at the left end is cut off: straight, angled, m, or none if it is left
    right            the same at the right end
    left_mm          from the left tip to the apex, mm; half the wound's width if left out
    right_mm         the same at the right end, mm
    left_deg         of an angled cut: by how much it turns up (below 0: down) from the axis, degrees
    right_deg        the same at the right end, degrees
    left_shorter_mm  of an M: by this much its tips fall short of the apex, mm; half of left_mm if left out
    right_shorter_mm  the same at the right end, mm
    under_mm         cut no further than leaves cones lower than this, mm; left_mm and right_mm are then the most, by
                     default the wound's width
    surplus          of a longer edge: shared evenly, or pushed to the left or the right end
    eased_mm         of the shorter edge, takes up a surplus that is pushed to one end, mm; a third of it if left out
    """
    if under_mm is not None and left == right == "none":
        raise ValueError("under_mm is for cones that are cut off, and both ends are left")
    known = dict(left=left, right=right, left_mm=left_mm, right_mm=right_mm, left_rad=left_rad, right_rad=right_rad)
    known |= dict(left_shorter_mm=left_shorter_mm, right_shorter_mm=right_shorter_mm, under_mm=under_mm)
    return side_to_side(extended(outline, **known), surplus=surplus, eased_mm=eased_mm)


def lengths(outline: Outline, keys: Mapping[str, Any]) -> tuple[float, float]:
    """Length by which each end is cut, or the most if that is sought, mm; 0 where it is left."""
    usual = (0.5 if keys["under_mm"] is None else 1.0) * outline.width
    left, right = (0.0 if keys[end] == "none" else keys[f"{end}_mm"] or usual for end in ENDS)
    return left, right


def extended(outline: Outline, **keys: Any) -> Outline:
    """The outline with its ends cut further, by the arguments of `trimmed`; ValueError for cuts that do not fit it."""
    if any(outline.beyond) or not outline.width:
        raise ValueError("only an outline with width, whose ends are its tips, can be trimmed")
    left, right = (_end(outline, end, length, keys) for end, length in zip(ENDS, lengths(outline, keys), strict=True))
    (start, before, left_angles, a), (end, after, right_angles, b) = left, right
    edges = outline.upper, outline.lower
    upper, lower = (_edge(*cut) for cut in zip(edges, start, end, before, after, strict=True))
    new = Outline(upper, lower, (*left_angles, *right_angles), 0.0, 0.0, 0.0, beyond=(a, b))
    if shapely.difference(boundary(outline), boundary(new)).area > COVERED * outline.area:
        raise ValueError("the trimmed wound would keep skin of the wound; cut at a smaller angle")
    tips = [edge.point(np.array([a, edge.length - b]) / edge.length) for edge in (upper, lower)]
    along = np.diff(np.mean(tips, axis=0))[:, 0]
    around = turned(shapely.get_coordinates(boundary(new, n=CHORDS)).T, -atan2(along[1], along[0]))
    area = enclosed((lower, part(upper, 1, 0)))
    return replace(new, length=float(np.hypot(*along)), width=widest(around), area=area)


def _end(outline, end, length, keys):
    """Fractions of both edges at which cuts meet them, points (2, k) along either cut, tip angles, mm beyond a tip."""
    right = end == "right"
    if not length:
        return [float(right)] * 2, [np.empty((2, 0))] * 2, [outline.tip_angles[-1 if right else 0]], 0.0
    edges = outline.upper, outline.lower  # in their sense to the tip, counter-clockwise about the apex
    edges = edges if right else (part(outline.lower, 1, 0), part(outline.upper, 1, 0))
    other, tip = edges[0].ends.T
    way = (tip - other) / np.hypot(*(tip - other))
    if keys[end] == "angled":
        way = turned(way, keys[f"{end}_rad"] * (1 if right else -1))
    apex = tip + length * way
    at = [_touching(edge, apex, -way, side) for edge, side in zip(edges, (-1, 1), strict=True)]
    touched = [edge.point(np.array([s]))[:, 0] for edge, s in zip(edges, at, strict=True)]
    back = [(p - apex) / np.hypot(*(p - apex)) for p in touched]
    angle, cut = (atan2(*back[1][::-1]) - atan2(*back[0][::-1])) % tau, 0.0
    if not 0 < angle < pi:
        raise ValueError(f"cuts of {length:g} mm at the {end} end would take no skin, or run back into the wound")
    ends, angles = [apex[:, None]] * 2, [angle]
    if keys[end] == "m":
        shorter = keys[f"{end}_shorter_mm"] or length / 2
        cut = shorter / cos(angle / 2)
        if cut >= min(np.hypot(*(p - apex)) for p in touched) or 2 * shorter > length * (1 + 1e-12):
            raise ValueError(
                f"an M whose tips fall {shorter:g} mm short of an apex {length:g} mm beyond the {end} tip would keep "
                f"skin of the wound; wanted {length / 2:g} mm or less"
            )
        flap = apex + 2 * shorter * turned(back[0], angle / 2)
        ends, angles = [np.stack([apex + cut * b, flap], axis=1) for b in back], [angle, angle]
    if right:
        return at, ends, angles, cut
    return [1 - s for s in at[::-1]], [X[:, ::-1] for X in ends[::-1]], angles, cut


def _touching(edge, apex, inward, side):
    """Fraction of an edge at which a line from the apex first touches it, coming in from its end."""

    def turned_by(s):  # from `inward` to that line, counter-clockwise for side 1; grows until they touch
        return side * turn(inward, edge.point(np.atleast_1d(s)) - apex[:, None])

    s = samples(edge, SAMPLES)[::-1]
    grown = np.diff(turned_by(s)) > 0
    if grown.all():
        raise ValueError("a cut would pass all along an edge and not touch it; cut at a smaller angle")
    k = int(grown.argmin())
    if k == 0 or s[k] in edge.corners:
        return float(s[k])
    found = minimize_scalar(lambda at: -turned_by(at)[0], bounds=(s[k + 1], s[k - 1]), options={"xatol": 1e-10})
    return float(found.x)


def _edge(edge, start, end, before, after):
    """The edge between two fractions with straight cuts before and after, its corners only where it turns."""
    if not start < end:
        raise ValueError("the cuts of both ends overlap on an edge; cut less far, or at a smaller angle")
    kept = part(edge, start, end)
    first, last = np.split(kept.ends, 2, axis=1)
    cuts = [[polyline(np.hstack(X))] if X[0].size and X[1].size else [] for X in ((before, first), (last, after))]
    whole = chained(*cuts[0], kept, *cuts[1])
    at = np.array(whole.corners)
    turns = np.abs(turn(whole.tangent(at, -1), whole.tangent(at, 1)))
    return replace(whole, corners=tuple(at[turns > SMOOTH].tolist()))
