"""Outlines against the closed forms of their geometry."""

from math import acos, asin, atan, cos, degrees, pi, radians, sin, sqrt, tan

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx
from scipy.integrate import quad
from scipy.optimize import brentq

from fem.geometry.outlines import (
    OUTLINES,
    boundary,
    circle,
    crescent,
    ellipse,
    facts,
    lazy_s,
    lens,
    lens_with_m,
    rhombus,
    square,
    tangent,
    teardrop,
    triangle,
)

# L/W, lens: tip angle in degrees, S/L, push-out/L, area/LW; ellipse: S/L; rhombus: tip angle, S/L.
# Each follows from elementary geometry and is given to the last digit shown.
TABLE = [
    (1.0, 180.000, 1.57080, 0.28540, 0.7854, 1.57080, 90.000, 1.41421),
    (1.5, 134.760, 1.27401, 0.13700, 0.7226, 1.32212, 67.380, 1.20185),
    (2.0, 106.260, 1.15912, 0.07956, 0.6989, 1.21106, 53.130, 1.11803),
    (3.0, 73.740, 1.07250, 0.03625, 0.6813, 1.11374, 36.870, 1.05409),
    (4.0, 56.145, 1.04116, 0.02058, 0.6749, 1.07230, 28.072, 1.03078),
    (7.5, 30.379, 1.01181, 0.00591, 0.6690, 1.02593, 15.189, 1.00885),
]


@pytest.mark.parametrize(("ratio", "tip", "edge", "push_out", "area", "_", "__", "___"), TABLE)
def test_lens_table(ratio, tip, edge, push_out, area, _, __, ___):
    """Two arcs: tips 4 atan(W/L), S = L theta / sin(theta), area R^2 (2 theta - sin 2 theta)."""
    L = 20 * ratio
    known = facts(lens(length_mm=L, width_mm=20))
    assert known["tip_angles_deg"] == approx([tip, tip], abs=6e-4)
    assert known["edge_lengths_mm"] == approx([edge * L, edge * L], abs=6e-6 * L)
    assert known["push_out_mm"] == approx([push_out * L, push_out * L], abs=6e-6 * L)
    assert known["removed_area_mm2"] == approx(area * L * 20, abs=6e-5 * L * 20)


@pytest.mark.parametrize(("ratio", "_", "__", "___", "____", "ellipse_edge", "tip", "edge"), TABLE)
def test_ellipse_and_rhombus_table(ratio, _, __, ___, ____, ellipse_edge, tip, edge):
    """Half an ellipse is L E(1 - (W/L)^2) long; a rhombus has tips 2 atan(W/L), S = sqrt(L^2 + W^2)."""
    L = 20 * ratio
    straight = facts(rhombus(length_mm=L, width_mm=20))
    assert straight["tip_angles_deg"] == approx([tip, tip], abs=6e-4)
    assert straight["edge_lengths_mm"] == approx([edge * L, edge * L], abs=6e-6 * L)
    assert straight["push_out_mm"] == approx([(edge - 1) / 2 * L] * 2, abs=6e-6 * L)
    assert straight["removed_area_mm2"] == approx(L * 20 / 2)
    smooth = facts(ellipse(length_mm=L, width_mm=20))
    assert smooth["edge_lengths_mm"] == approx([ellipse_edge * L] * 2, abs=6e-6 * L)
    assert smooth["removed_area_mm2"] == approx(pi / 4 * L * 20)
    assert smooth["tip_angles_deg"] == approx([180, 180])


@pytest.mark.parametrize(
    ("ratio", "tip", "edge"),
    [(2, 60.000, 1.12782), (3, 38.942, 1.05609), (4, 28.955, 1.03142), (5, 23.074, 1.02007)],
)
def test_tangent_table(ratio, tip, edge):
    """Tangents from two tips to a circle: tip 2 asin(W/L); area is two kites and what is left of the disc."""
    L, r = 20 * ratio, 10
    known = facts(tangent(length_mm=L, width_mm=20))
    assert known["tip_angles_deg"] == approx([tip, tip], abs=6e-4)
    assert known["edge_lengths_mm"] == approx([edge * L, edge * L], abs=6e-6 * L)
    kite = r * sqrt((L / 2) ** 2 - r**2)
    assert known["removed_area_mm2"] == approx(2 * kite + 2 * asin(r / (L / 2)) * r**2)


def test_circle():
    """A circle of 20 mm closed to a line: edges of 10 pi, tips of 180 degrees that move out by 5 pi - 10."""
    known = facts(circle(diameter_mm=20))
    assert known["edge_lengths_mm"] == approx([10 * pi, 10 * pi])
    assert known["tip_angles_deg"] == approx([180, 180])
    assert known["push_out_mm"] == approx([5 * pi - 10] * 2)
    assert known["removed_area_mm2"] == approx(100 * pi)
    assert known["length_to_width"] == 1


def test_tip_of_a_3_to_1_excision():
    """Moody, McCarthy & Sengelmann (2001): at 3:1 the tip angle lies between 37 and 74 degrees, not at 30."""
    sharpest = rhombus(length_mm=60, width_mm=20).tip_angles[0]
    bluntest = lens(length_mm=60, width_mm=20).tip_angles[0]
    assert (round(degrees(sharpest)), round(degrees(bluntest))) == (37, 74)
    assert sharpest < tangent(length_mm=60, width_mm=20).tip_angles[0] < bluntest


@pytest.mark.parametrize(("kind", "ratio"), [(lens, 7.596), (rhombus, 3.732), (tangent, 1 / sin(radians(15)))])
def test_ratio_for_a_tip_of_30_degrees(kind, ratio):
    """1/tan(7.5 deg), 1/tan(15 deg), 1/sin(15 deg); Tilleman et al. (2013) state about 7.5, the lens."""
    excess = lambda r: kind(length_mm=10 * r, width_mm=10).tip_angles[0] - radians(30)  # noqa: E731
    assert brentq(excess, 1.5, 20) == approx(ratio, abs=6e-4)


@pytest.mark.parametrize("kind", ["ellipse", "lens", "rhombus", "tangent"])
def test_wider_than_long(kind):
    """The long axis is the length."""
    with pytest.raises(ValueError, match=r"width_mm 20\.5 is more than length_mm 20"):
        OUTLINES[kind](length_mm=20, width_mm=20.5)


# Shapes beyond the first six ----------------------------------------------------------------------------------


@pytest.mark.parametrize(("L", "W"), [(40, 20), (60, 20), (25, 20)])
def test_teardrop(L, W):
    """Round for pi - acos(r/D) on either side, then straight for sqrt(D^2 - r^2); tip 2 asin(r/D); area r S."""
    r, D = W / 2, L - W / 2
    known = facts(teardrop(length_mm=L, width_mm=W))
    S = sqrt(D**2 - r**2) + r * (pi - acos(r / D))
    assert known["edge_lengths_mm"] == approx([S, S])
    assert known["tip_angles_deg"] == approx([180, 2 * degrees(asin(r / D))])
    assert known["removed_area_mm2"] == approx(r * sqrt(D**2 - r**2) + r**2 * (pi - acos(r / D)))
    outline = teardrop(length_mm=L, width_mm=W)
    box = boundary(outline).bounds
    assert box == approx((-L / 2, -W / 2, L / 2, W / 2), rel=1e-6)


def test_teardrop_as_long_as_wide_is_a_circle():
    """Its tip is then as round as its other end."""
    assert facts(teardrop(length_mm=20, width_mm=20)) == {
        name: approx(value) for name, value in facts(circle(diameter_mm=20)).items()
    }


@pytest.mark.parametrize(
    ("L", "upper", "lower", "edges", "excess"),
    [
        (30, 8, 3, (35.3994, 30.7937), 4.6057),
        (30, 10, 4, (38.2202, 31.4026), 6.8176),
        (40, 12, 5, (48.9980, 41.6464), 7.3517),
    ],
)
def test_crescent(L, upper, lower, edges, excess):
    """Arcs of sagitta h on a chord L: 2 R theta, R = (L^2/4 + h^2)/2h, theta = asin(L/2R); width h1 - h2."""
    known = facts(crescent(length_mm=L, upper_mm=upper, lower_mm=lower))
    lengths, slopes = [], []
    for h in (upper, lower):
        R = (L**2 / 4 + h**2) / (2 * h)
        lengths.append(2 * R * asin(L / (2 * R)))
        slopes.append(degrees(asin(L / (2 * R))))
    assert known["edge_lengths_mm"] == approx(lengths)
    assert lengths == approx(edges, abs=6e-5)
    assert known["edge_lengths_mm"][0] - known["edge_lengths_mm"][1] == approx(excess, abs=6e-5)
    assert known["tip_angles_deg"] == approx([slopes[0] - slopes[1]] * 2)
    assert known["width_mm"] == upper - lower


def test_crescent_with_a_straight_edge():
    """With a lower edge of no rise it is half a lens: its chord, and half of area and tip angle."""
    half, whole = crescent(length_mm=60, upper_mm=10, lower_mm=0), lens(length_mm=60, width_mm=20)
    assert (half.lower.length, half.upper.length) == (60, approx(whole.upper.length))
    assert half.area == approx(whole.area / 2)
    assert half.tip_angles[0] == approx(whole.tip_angles[0] / 2)


@given(st.floats(1, 100), st.floats(0.05, 1), st.floats(-0.25, 0.25))
def test_lazy_s(L, ratio, sway):
    """Area that of the lens; edges alike, as half a turn swaps them; length by quadrature of the speed.

    The tip angle is that between slopes k = 2 pi sway/L and tan(theta): atan(tan + k) + atan(tan - k).
    """
    W, a = max(0.1, L * ratio), L * sway
    outline, whole = lazy_s(length_mm=L, width_mm=W, sway_mm=a), lens(length_mm=L, width_mm=W)
    theta, k = 2 * atan(W / L), 2 * pi * sway
    R = L / 2 / sin(theta)
    speed = lambda t: R * np.hypot(cos(t), k * cos(2 * pi * R * sin(t) / L) * cos(t) - sin(t))  # noqa: E731
    assert outline.upper.length == approx(quad(speed, -theta, theta, epsabs=0, epsrel=1e-11)[0], rel=1e-10)
    assert (outline.area, outline.width) == (approx(whole.area), W)
    s = np.linspace(0, 1, 33)
    assert outline.upper.point(s) == approx(-outline.lower.point(1 - s), abs=1e-9 * L)
    if ratio < 1:
        assert outline.tip_angles[0] == approx(atan(tan(theta) + k) + atan(tan(theta) - k))


def test_mirror_images():
    """A lazy S that sways to the other side, and an M at the other end, are mirror images across y and x."""
    s = np.linspace(0, 1, 65)
    one, other = (lazy_s(length_mm=60, width_mm=20, sway_mm=a) for a in (8, -8))
    assert one.upper.point(s) == approx([[1], [-1]] * other.lower.point(s), abs=1e-9)
    left, right = (lens_with_m(length_mm=60, width_mm=20, shorter_mm=8, m_at=at) for at in ("left", "right"))
    assert right.upper.point(s) == approx([[-1], [1]] * left.upper.point(1 - s), abs=1e-9)
    assert right.beyond == approx(left.beyond[::-1])
    assert right.tip_angles == approx(left.tip_angles[::-1])


def test_lazy_s_that_does_not_sway_is_a_lens():
    s = np.linspace(0, 1, 33)
    straight, whole = lazy_s(length_mm=60, width_mm=20, sway_mm=0), lens(length_mm=60, width_mm=20)
    assert straight.upper.point(s) == approx(whole.upper.point(s), abs=1e-9)


@pytest.mark.parametrize(("m_at", "angle"), [("right", None), ("left", 60.0), ("both", 45.0)])
def test_lens_with_m(m_at, angle):
    """Tips 8 mm short of the lens's, on its arcs; the flap's sides run from them to its point on the axis.

    On the arc of radius R at x = 22 mm the slope is asin(x/R); a side turns by the tip angle from it.
    """
    outline = lens_with_m(length_mm=60, width_mm=20, shorter_mm=8, m_at=m_at, m_tip_rad=angle and radians(angle))
    R = (60**2 + 20**2) / (4 * 20)
    slope, y = asin(22 / R), sqrt(R**2 - 22**2) - (R - 10)
    tip = 2 * slope if angle is None else radians(angle)
    reach = y / tan(tip - slope)
    a, b = outline.beyond[0] / outline.upper.length, 1 - outline.beyond[1] / outline.upper.length
    ends = {"right": [(b, 22)], "left": [(a, -22)], "both": [(a, -22), (b, 22)]}[m_at]
    for at, x in ends:
        flap = 22 - reach if x > 0 else reach - 22
        assert outline.upper.point(np.array([at])) == approx(np.array([[x], [y]]))
        assert outline.lower.point(np.array([round(at)])) == approx(np.array([[flap], [0]]), abs=1e-9)
    assert outline.tip_angles.count(approx(tip)) == 2 * len(ends)
    assert outline.length == 60 - 8 * len(ends)
    triangle = shapely.box(22, -30, 30, 30).union(shapely.Polygon([(22, y), (22 - reach, 0), (22, -y)]))
    left = triangle if m_at == "right" else shapely.affinity.scale(triangle, -1, origin=(0, 0))
    cut = triangle.union(left) if m_at == "both" else left
    wanted = boundary(lens(length_mm=60, width_mm=20)).difference(cut)
    assert boundary(outline).symmetric_difference(wanted).area == approx(0, abs=1e-3)  # chords


def test_small_m():
    """A straight-sided tip of depth d cut off half way leaves two of its own angle; the point of the flap is d back.

    The last 0.2 mm of an arc of radius 50 mm are straight to 0.2/50.
    """
    outline = lens_with_m(length_mm=60, width_mm=20, shorter_mm=0.1)
    whole = lens(length_mm=60, width_mm=20)
    assert outline.tip_angles[1:] == approx([whole.tip_angles[0]] * 2, rel=0.2 / 50)
    assert outline.upper.point(np.array([1.0]))[0] == approx(30 - 0.2, abs=0.2 * 0.2 / 50)


@pytest.mark.parametrize(
    ("keys", "message"),
    [
        ({"shorter_mm": 30}, "shorter_mm 30 is not less than half of length_mm 60"),
        ({"shorter_mm": 8, "m_tip_rad": radians(20)}, r"with m_tip_deg 20 .*; wanted 38\.66 or more, less than 116\.1"),
        ({"shorter_mm": 8, "m_tip_rad": radians(120)}, "with m_tip_deg 120"),
        ({"shorter_mm": 25}, "with m_tip_deg 11.48"),
        (
            {"shorter_mm": 25, "m_tip_rad": pi / 2},
            "the flap's sides are longer than the edge from the middle to its tip",
        ),
    ],
)
def test_impossible_m(keys, message):
    """The flap keeps to its end of the wound, and has an edge to be sewn to."""
    with pytest.raises(ValueError, match=message):
        lens_with_m(length_mm=60, width_mm=20, **keys)


def test_triangle_and_square():
    """Sewn side to side from the apex to the middle of the base; from the middle of one side to that of another."""
    known = facts(triangle(base_mm=30, height_mm=40))
    assert known["edge_lengths_mm"] == approx([15 + sqrt(40**2 + 15**2)] * 2)
    assert known["tip_angles_deg"] == approx([180, 2 * degrees(atan(15 / 40))])
    assert (known["length_mm"], known["width_mm"], known["removed_area_mm2"]) == (40, 30, approx(600))
    known = facts(square(side_mm=20))
    assert known["edge_lengths_mm"] == [40, 40]
    assert known["tip_angles_deg"] == approx([180, 180])
    assert (known["length_mm"], known["width_mm"], known["removed_area_mm2"]) == (20, 20, 400)


@pytest.mark.parametrize(
    ("kind", "keys", "message"),
    [
        ("teardrop", {"length_mm": 20, "width_mm": 21}, "width_mm 21 is more than length_mm 20"),
        ("crescent", {"length_mm": 40, "upper_mm": 5, "lower_mm": 5}, "wanted lower_mm < upper_mm <= half"),
        ("crescent", {"length_mm": 40, "upper_mm": 21, "lower_mm": 5}, "got 5, 21, 20"),
        ("lazy-s", {"length_mm": 40, "width_mm": 10, "sway_mm": -10.1}, "sway_mm -10.1 is more than a quarter"),
        ("lazy-s", {"length_mm": 40, "width_mm": 41, "sway_mm": 1}, "width_mm 41 is more than length_mm 40"),
        ("lens-with-m", {"length_mm": 40, "width_mm": 41, "shorter_mm": 1}, "width_mm 41 is more than length_mm 40"),
    ],
)
def test_impossible_sizes(kind, keys, message):
    with pytest.raises(ValueError, match=message):
        OUTLINES[kind](**keys)
