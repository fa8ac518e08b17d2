"""Outlines against the closed forms of their geometry."""

from math import asin, atan, cos, degrees, pi, radians, sin, sqrt

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx
from scipy.integrate import quad
from scipy.optimize import brentq

from fem.outline import OUTLINES, boundary, circle, ellipse, facts, lens, polygon, rhombus, tangent

ROUND_OFF = 1e-12
KITE = ((-30.0, 0.0), (0.0, -9.0), (30.0, 0.0), (4.0, 11.0))

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

two_axes = st.tuples(st.floats(1, 200), st.floats(0.05, 1)).map(lambda t: (t[0], t[0] * t[1]))
symmetric = st.builds(
    lambda kind, axes: OUTLINES[kind](length_mm=axes[0], width_mm=axes[1]),
    st.sampled_from(["ellipse", "lens", "rhombus", "tangent"]),
    two_axes.filter(lambda axes: axes[1] >= 0.1),
)


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


@pytest.mark.parametrize(
    ("kind", "ratio"), [(lens, 7.596), (rhombus, 3.732), (tangent, 1 / sin(radians(15)))]
)
def test_ratio_for_a_tip_of_30_degrees(kind, ratio):
    """1/tan(7.5 deg), 1/tan(15 deg), 1/sin(15 deg); Tilleman et al. (2013) state about 7.5, the lens."""
    excess = lambda r: kind(length_mm=10 * r, width_mm=10).tip_angles[0] - radians(30)  # noqa: E731
    assert brentq(excess, 1.5, 20) == approx(ratio, abs=6e-4)


@given(symmetric)
def test_points_agree_with_the_closed_forms(outline):
    """Tips, width, area and length measured on n = 2000 chords an edge.

    Chords lose a share of 1/n^2; where the tip of a thin ellipse is as sharp as a chord is long, part of 1/n.
    """
    a, b = outline.length / 2, outline.width / 2
    assert outline.upper.point(np.array([0, 0.5, 1])) == approx(
        np.array([[-a, 0, a], [0, b, 0]]), abs=1e-9 * a
    )
    assert outline.lower.point(np.array([0, 0.5, 1])) == approx(
        np.array([[-a, 0, a], [0, -b, 0]]), abs=1e-9 * a
    )
    drawn = boundary(outline)
    assert drawn.area == approx(outline.area, rel=1e-5)
    assert drawn.length == approx(outline.upper.length + outline.lower.length, rel=1e-4)
    assert drawn.is_valid and drawn.exterior.is_ccw


@given(symmetric, st.integers(1, 50))
def test_fractions_are_of_arc_length(outline, n):
    """Equal fractions are equal lengths: each of n stretches, measured on 1000 chords, is S/n."""
    s = np.linspace(0, 1, 1000 * n + 1)
    chords = np.linalg.norm(np.diff(outline.upper.point(s)), axis=0)
    stretches = chords.reshape(n, 1000).sum(axis=1)
    assert stretches == approx(np.full(n, outline.upper.length / n), rel=1e-3 / n + 1e-6)
    assert np.all(chords <= outline.upper.length / (1000 * n) * (1 + 1e-8))


@pytest.mark.parametrize("width", [60.0, 20.0, 2.0, 0.1])
def test_arc_length_of_an_ellipse(width):
    """From the left tip to the point at fraction s the ellipse is s S long, by quadrature of its speed."""
    a, b = 30, width / 2
    outline = ellipse(length_mm=2 * a, width_mm=width)
    s = np.array([0.001, 0.1, 0.25, 0.4, 0.5])
    x, y = outline.upper.point(s)
    for fraction, t in zip(s, np.arctan2(y / b, -x / a), strict=True):  # t from the left tip
        arc, _ = quad(
            lambda t: np.hypot(a * np.sin(t), b * np.cos(t)), 0, t, epsabs=0, epsrel=1e-12, limit=500
        )
        assert arc == approx(fraction * outline.upper.length, rel=1e-10)


@pytest.mark.parametrize("kind", ["lens", "rhombus", "tangent"])
def test_tip_angle_on_the_curve(kind):
    """The chord from the tip to a nearby point leaves at half the tip angle, to first order."""
    outline = OUTLINES[kind](length_mm=60, width_mm=20)
    x, y = outline.upper.point(np.array([1e-6]))
    assert 2 * np.arctan2(y, x + 30) == approx(outline.tip_angles[0], abs=1e-5)


def test_polygon_of_a_rhombus():
    """Four corners of a rhombus, in either sense and from any corner, are the rhombus."""
    corners = [(-30.0, 0.0), (0.0, 10.0), (30.0, 0.0), (0.0, -10.0)]
    wanted = rhombus(length_mm=60, width_mm=20)
    s = np.linspace(0, 1, 33)
    for points in (corners, corners[::-1], corners[2:] + corners[:2]):
        outline = polygon(points_mm=tuple(points))
        assert facts(outline) == {name: approx(value) for name, value in facts(wanted).items()}
        assert outline.upper.point(s) == approx(wanted.upper.point(s), abs=ROUND_OFF * 60)
        assert outline.lower.point(s) == approx(wanted.lower.point(s), abs=ROUND_OFF * 60)
        assert outline.upper.corners == approx((0.5,))


def test_kite():
    """Unequal edges: lengths by Pythagoras, each with its own corner; area by the shoelace; tips by atan."""
    outline = polygon(points_mm=KITE)
    upper, lower = [sqrt(34**2 + 11**2), sqrt(26**2 + 11**2)], sqrt(30**2 + 9**2)
    assert outline.upper.length == approx(sum(upper))
    assert outline.lower.length == approx(2 * lower)
    assert outline.upper.corners == approx((upper[0] / sum(upper),))
    assert outline.lower.corners == approx((0.5,))
    assert outline.tip_angles == approx((atan(11 / 34) + atan(9 / 30), atan(11 / 26) + atan(9 / 30)))
    assert (outline.length, outline.width) == (approx(60), approx(11 + 9 * 26 / 30))  # at the upper corner
    assert outline.area == approx(60 * 20 / 2)
    assert facts(outline)["push_out_mm"] == approx([(sum(upper) / 2 + lower - 60) / 2] * 2)


@given(st.floats(-pi, pi), st.booleans())
def test_polygon_turned_and_mirrored(angle, mirrored):
    """Turning a polygon, or its mirror image, keeps its lengths, area and the pair of its tip angles."""
    turn = np.array([[cos(angle), -sin(angle)], [sin(angle), cos(angle)]])
    X = turn @ np.array(KITE).T * (np.array([[1], [-1]]) if mirrored else 1)
    outline, wanted = polygon(points_mm=tuple(map(tuple, X.T.tolist()))), polygon(points_mm=KITE)
    assert (outline.length, outline.width, outline.area) == approx((wanted.length, wanted.width, wanted.area))
    assert sorted(outline.tip_angles) == approx(sorted(wanted.tip_angles))
    edges = [outline.upper.length, outline.lower.length]
    assert sorted(edges) == approx(sorted([wanted.upper.length, wanted.lower.length]))


def test_tips_next_to_each_other():
    """The longest side of a triangle joins its tips: that edge is straight, the other has the corner."""
    outline = polygon(points_mm=((0.0, 0.0), (40.0, 0.0), (10.0, 12.0)))
    assert (outline.length, outline.lower.length, outline.lower.corners) == (40, 40, ())
    assert outline.upper.length == approx(sqrt(10**2 + 12**2) + sqrt(30**2 + 12**2))
    assert outline.tip_angles == approx((atan(12 / 10), atan(12 / 30)))
    triangle = shapely.Polygon([(0, 0), (40, 0), (10, 12)])
    assert boundary(outline).symmetric_difference(triangle).area == approx(0, abs=ROUND_OFF * triangle.area)


@pytest.mark.parametrize("kind", ["ellipse", "lens", "rhombus", "tangent"])
def test_wider_than_long(kind):
    """The long axis is the length."""
    with pytest.raises(ValueError, match=r"width_mm 20\.5 is more than length_mm 20"):
        OUTLINES[kind](length_mm=20, width_mm=20.5)


@pytest.mark.parametrize(
    ("points", "message"),
    [
        (((0.0, 0.0), (1.0, 0.0)), "2 points; a polygon has 3 to 1000"),
        (
            tuple((float(i % 100), float(i // 100)) for i in range(1001)),
            "1001 points; a polygon has 3 to 1000",
        ),
        (((0.0, 0.0), (9.0, 0.0), (9.0, 9.0), (0.0, 0.0)), "point 4 repeats point 1"),
        (((0.0, 0.0), (9.0, 0.0), (9.0, 9.0), (9.0, 9.0005)), "point 4 repeats point 3"),
        (((0.0, 0.0), (9.0, 9.0), (9.0, 0.0), (0.0, 9.0)), r"cross or touch: Self-intersection\[4.5 4.5\]"),
        (((0.0, 0.0), (9.0, 0.0), (4.0, 5.0), (4.0, 0.0), (2.0, 5.0)), "cross or touch"),
        (((0.0, 0.0), (4.0, 4.0), (9.0, 9.0001)), "on one line"),
    ],
)
def test_impossible_polygons(points, message):
    """Too few or too many points, repeated points, crossing or touching sides, no area."""
    with pytest.raises(ValueError, match=message):
        polygon(points_mm=points)
