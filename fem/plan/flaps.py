"""Flaps: skin beside the wound is cut free and moved into it (what the letters name, and sources: README).

Points are vectors (2,), mm; a word names a path along points of one letter, two words joined by - the edges of a seam.
An outline of a shape that a flap is not for, and sizes that do not fit, raise ValueError.
"""

from collections.abc import Callable
from math import acos, asin, cos, hypot, pi, sin, sqrt
from typing import Annotated, Literal

import numpy as np
from annotated_types import Ge, Gt, Le, Lt

from fem.geometry.curve import Outline, Size, turn
from fem.geometry.outlines import boundary
from fem.plan.named_points import sewn
from fem.plan.plan import Plan

EXACT = 1e-9  # share by which an outline may miss the shape that a flap asks for
LIMIT = 0.98  # of the way to a limit that a cut may come; our choice, the rest is a bridge that can be meshed

Limb = Annotated[float, Ge(20), Le(90)]  # degrees, of the key, as is its line of a docstring
Lobe = Annotated[float, Ge(30), Le(60)]  # the same
Upper = Literal["upper", "lower"]
Side = Literal["left", "right"]


def z_plasty(outline: Outline, *, angle_rad: Limb = pi / 3, limb_mm: Size = None, first_limb: Upper = "upper") -> Plan:
    """Z-plasty: two triangular flaps on either side of a cut change places, which lengthens the skin along the cut.

    angle_deg   between the central limb and either of the others, degrees; 20 to 90; 60 turns the limb by 90
    limb_mm     length of either of the others, mm; that of the slit if left out
    first_limb  that at the left end: above the slit or below it
    """
    if outline.width:
        raise ValueError("a z-plasty takes no skin; wanted an outline of kind slit, its central limb")
    a, side = outline.length / 2, outline.length if limb_mm is None else limb_mm
    limb = side * _way(angle_rad)
    B, C = np.array([-a, 0.0]), np.array([a, 0.0])
    points = dict(A=B + limb, B=B, C=C, D=C - limb)
    return _drawn(points, first_limb == "lower", cuts="ABCD", seams="CD-CB BA-BC AB-CD", flaps="ABC BCD")


def rhombic(outline: Outline, *, corner: Upper = "upper", towards: Side = "right") -> Plan:
    """Rhombic transposition flap: a rhombus of the wound's own shape, beside it, is turned into it by 60 degrees.

    corner   from which the flap is cut: the upper or the lower blunt one
    towards  the end beside which the flap lies, about which it turns
    """
    length, width = outline.length, outline.width
    if _has(outline, pi * length, pi / 4 * length**2):
        side = length / sin(pi / 3)
    elif abs(length - sqrt(3) * width) < 1e-3 * width and _has(outline, 2 * hypot(length, width), length * width / 2):
        side = hypot(length, width) / 2
    else:
        raise ValueError("a rhombic flap wants a circle, or a rhombus with length_mm sqrt(3) = 1.7321 times width_mm")
    A, B = np.array([-side * sqrt(3) / 2, 0.0]), np.array([0.0, -side / 2])
    E = np.array([0.0, 1.5 * side])
    points = dict(A=A, B=B, C=-A, D=-B, E=E, F=E + B - A)  # Limberg (from memory)
    seams = "CB-CD BA-DE AD-EF DE-FE"
    return _drawn(points, corner == "lower", towards == "left", removed="ABCD", cuts="DEF", seams=seams, flaps="CDEF")


def rotation(outline: Outline, *, arc_mm: Size = None, back_cut_mm: Size = None, flap: Upper = "upper") -> Plan:
    """Rotation flap: a sector of skin turns about the apex of a triangular wound, which lies at its centre.

    arc_mm       length of the arc, mm; 5 bases if left out, or half a turn if that is less
    back_cut_mm  length of the back cut, mm; none if left out
    flap         which side of the wound turns
    """
    P, Q, R = _triangle(outline)
    if abs(np.hypot(*(P - Q)) - np.hypot(*(P - R))) > EXACT * outline.length:
        raise ValueError("a rotation flap wants a triangle whose sides at its right end are of equal length")
    base, radius = float(np.hypot(*(Q - R))), float(np.hypot(*(P - Q)))
    turn = min(5 * base / radius, pi) if arc_mm is None else arc_mm / radius
    if turn > pi:
        raise ValueError(f"arc_mm {arc_mm:g} is more than half a turn about the wound's apex, {pi * radius:.4g}")
    if back_cut_mm is not None and back_cut_mm > LIMIT * radius:
        raise ValueError(f"back_cut_mm {back_cut_mm:g} leaves no base; the apex is {radius:.4g} mm away")
    start = np.arctan2(*(Q - P)[::-1])
    S, T = (P + radius * _way(start - turn * share) for share in (0.5, 1.0))
    points, arc = dict(P=P, Q=Q, R=R, S=S, T=T), "QST"
    if back_cut_mm is not None:
        points["U"], arc = T + back_cut_mm / radius * (P - T), "QSTU"
    seams = f"PR-PQ R{arc}-{arc}"
    return _drawn(points, flap == "lower", arcs="QST", removed="PQR", cuts=arc, seams=seams, flaps="P" + arc)


def a_to_t(outline: Outline, *, limb_mm: Size = None) -> Plan:
    """A-to-T closure: both sides of a triangular wound advance along its base, and the scar is a T.

    limb_mm  length of either cut, mm; that of the base if left out
    """
    P, Q, R = _triangle(outline)
    base = float(np.hypot(*(Q - R)))
    along = (base if limb_mm is None else limb_mm) / base * (Q - R)
    points = dict(P=P, Q=Q, R=R, M=(Q + R) / 2, X=Q + along, Y=R - along)
    return _drawn(points, removed="PQR", cuts="QX RY", seams="PR-PQ MQX-QX RY-MRY", flaps="PQX PRY")


def advancement(outline: Outline, *, flap_mm: Size = None, burow_mm: Size = None, burow_height_mm: Size = None) -> Plan:
    """Advancement flap: a tongue of skin right of the wound slides over it; two Burow's triangles take up the surplus.

    flap_mm          length of the flap, mm; twice the width of the box if left out, or 1.5 times its length if more
    burow_mm         base of each triangle, mm; the length of the box if left out: nothing is stretched
    burow_height_mm  height of each triangle, mm; its base if left out
    """
    A, B, C, D = _box(outline)
    length, width = D - B
    flap = max(2 * width, 1.5 * length) if flap_mm is None else flap_mm
    sizes = flap, length if burow_mm is None else burow_mm, burow_height_mm
    points = dict(A=A, B=B, C=C, D=D) | _tongue("EGH", D, (1, 1), *sizes) | _tongue("FIJ", C, (1, -1), *sizes)
    seams = "BA-CD ADG-DE CF-BCI GH-EH FJ-IJ"
    return _drawn(points, removed="ABCD GEH IFJ", cuts="DG CI", seams=seams, flaps="CDEF")


def two_sided_advancement(
    outline: Outline, *, flap_mm: Size = None, burow_mm: Size = None, burow_height_mm: Size = None
) -> Plan:
    """Two advancement flaps, from the left and the right, that meet in the middle of the wound; the scar is an H.

    flap_mm          length of each flap, mm; the width of the box if left out, or 3/4 of its length if that is more
    burow_mm         base of each triangle, mm; half the length of the box if left out: nothing is stretched
    burow_height_mm  height of each triangle, mm; its base if left out
    """
    A, B, C, D = _box(outline)
    length, width = D - B
    flap = max(width, 0.75 * length) if flap_mm is None else flap_mm
    sizes = flap, length / 2 if burow_mm is None else burow_mm, burow_height_mm
    points = dict(A=A, B=B, C=C, D=D, M=(A + D) / 2, N=(B + C) / 2)
    points |= _tongue("EGH", D, (1, 1), *sizes) | _tongue("FIJ", C, (1, -1), *sizes)
    points |= _tongue("OQS", A, (-1, 1), *sizes) | _tongue("PRT", B, (-1, -1), *sizes)
    seams = "BA-CD MDG-DE CF-NCI GH-EH FJ-IJ QAM-OA PB-RBN OS-QS RT-PT"
    removed = "ABNCDM GEH IFJ OQS PRT"
    return _drawn(points, removed=removed, cuts="DG CI AQ BR", seams=seams, flaps="CDEF ABPO")


def v_y(outline: Outline, *, flap_mm: Size = None, pedicle: Annotated[float, Gt(0), Lt(1)] = 0.5) -> Plan:
    """V-Y advancement: a triangular island right of the wound slides over it, and the V it leaves is closed as a Y.

    flap_mm  length of the island, mm; 2.5 times the width of the box, or 1.5 times its length if that is more
    pedicle  length and width of the part that stays on its bed, of those of the island; our choice
    """
    A, B, C, D = _box(outline)
    length, width = D - B
    flap = max(2.5 * width, 1.5 * length) if flap_mm is None else flap_mm
    V = (C + D) / 2 + [flap, 0.0]
    side = float(np.hypot(*(V - D)))
    if length > LIMIT * side:
        raise ValueError(f"flap_mm {flap:g} gives sides of {side:.4g} mm, no longer than the wound, {length:.4g} mm")
    S, T = (start + (1 - length / side) * (V - start) for start in (D, C))
    middle = (C + D + V) / 3
    held = {name: middle + pedicle * (corner - middle) for name, corner in zip("KLN", (C, D, V), strict=True)}
    points, seams = dict(A=A, B=B, C=C, D=D, V=V, S=S, T=T) | held, "BA-CD ADS-DV CV-BCT SV-TV"
    return _drawn(points, removed="ABCD", cuts="DV CV", seams=seams, flaps="DVC", pedicle="KLN")


def bilobed(
    outline: Outline, *, lobe_rad: Lobe = pi / 4, pivot_mm: Size = None, second_mm: Size = None, lobes: Upper = "upper"
) -> Plan:
    """Bilobed flap: a lobe of the wound's size turns into it, and a second, narrower one into the bed of the first.

    lobe_deg   by which each lobe turns, degrees; 30 to 60
    pivot_mm   from the pivot to the middle of the wound, mm; the diameter if left out
    second_mm  width of the second lobe, mm; half the diameter if left out
    lobes      on which side of the wound they lie
    """
    if not _has(outline, pi * outline.length, pi / 4 * outline.length**2):
        raise ValueError("a bilobed flap wants a circle")
    r, lobe = outline.length / 2, lobe_rad  # Zitelli (1989, from memory)
    D = 2 * r if pivot_mm is None else pivot_mm
    if not r / LIMIT <= D <= LIMIT * r / sin(lobe / 2):
        raise ValueError(
            f"pivot_mm {D:g} is not between {r / LIMIT:.4g}, outside the wound, and {LIMIT * r / sin(lobe / 2):.4g}, "
            "where the first lobe still touches it"
        )
    P, reach = np.array([-D, 0.0]), D * cos(lobe / 2) + sqrt(r**2 - (D * sin(lobe / 2)) ** 2)
    T = P + sqrt(D**2 - r**2) * _way(asin(r / D))
    inner, outer = P + reach * _way(lobe / 2), P + reach * _way(1.5 * lobe)
    middle = P + D * _way(lobe)
    edge = 2 * r * acos((reach * cos(lobe / 2) - D) / r)  # from I over J to K
    width = r if second_mm is None else second_mm
    if width > LIMIT * edge:
        raise ValueError(f"second_mm {width:g} is not less than the edge of the first lobe's bed, {edge:.4g} mm")
    half = asin(width / (2 * reach))
    V = P + (reach * cos(half) + sqrt(edge**2 - width**2) / 2) * _way(1.5 * lobe + half)
    J, L, W = middle + r * _way(lobe), P + reach * _way(1.5 * lobe + 2 * half), np.array([r, 0.0])
    points = dict(P=P, T=T, U=T * [1, -1], V=V, W=W, I=inner, K=outer, J=J, L=L)
    arcs, seams = "UWIT IJK", "PTIJK-PUWI KVL-IJK LV-KV"
    return _drawn(points, lobes == "lower", arcs=arcs, removed="PUWIT", cuts="IJKVL", seams=seams, flaps="PTIJKVL")


KINDS = z_plasty, v_y, advancement, two_sided_advancement, a_to_t, rotation, rhombic, bilobed
FLAPS: dict[str, Callable[..., Plan]] = {flap.__name__.replace("_", "-"): flap for flap in KINDS}


def _drawn(points, mirrored=False, reversed_=False, *, seams, pedicle="", **parts):
    """The plan drawn with points (2,) by name, mirrored in the x axis, in the y axis, or both."""
    sense = np.array([-1.0 if reversed_ else 1.0, -1.0 if mirrored else 1.0])
    places = {name: tuple((sense * X).tolist()) for name, X in points.items()}
    pairs = [pair.split("-")[:: int(sense.prod())] for pair in seams.split()]  # one mirror swaps both edges
    return sewn(places, seams=pairs, pedicle=pedicle, **{part: words.split() for part, words in parts.items()})


def _way(angle):
    """Unit vector (2,) at an angle from x, rad."""
    return np.array([cos(angle), sin(angle)])


def _tongue(names, corner, sense, flap, base, height):
    """Points beside an advancement flap from a corner on: its end, and start and apex of its Burow's triangle."""
    if base > LIMIT * flap:
        raise ValueError(f"burow_mm {base:.4g} does not fit beside a flap of {flap:.4g} mm; a longer flap_mm holds it")
    places = np.array([[flap, 0.0], [flap - base, 0.0], [flap - base / 2, base if height is None else height]])
    return {name: corner + np.array(sense) * place for name, place in zip(names, places, strict=True)}


def _box(outline):
    """Corners of the box around an outline, counter-clockwise from the upper left."""
    if not outline.width:
        raise ValueError("a slit is no wound to cover; wanted an outline that takes skin")
    left, low, right, high = boundary(outline).bounds
    return tuple(np.array([x, y]) for x, y in [(left, high), (left, low), (right, low), (right, high)])


def _triangle(outline):
    """Corners of a triangular outline: its right end, then the upper and the lower other one."""
    upper, lower = (edge.point(edge.pieces[0]) for edge in (outline.upper, outline.lower))
    around = np.hstack([upper[:, :0:-1], lower[:, :-1]])  # counter-clockwise from the right end
    bends = np.abs(turn(around - np.roll(around, 1, axis=1), np.roll(around, -1, axis=1) - around)) > EXACT
    if bends.sum() != 3 or not bends[0] or outline.upper.pieces[1].any() or outline.lower.pieces[1].any():
        raise ValueError(
            "wanted an outline of kind triangle, or a polygon with three corners, one of them its right end"
        )
    return tuple(around[:, bends].T)


def _has(outline, around, area):
    """Whether the outline has a length all around, mm, and an area, mm2; only a circle has both of its."""
    off = abs(outline.upper.length + outline.lower.length - around)
    return off <= EXACT * outline.length and abs(outline.area - area) <= EXACT * outline.area
