"""Outlines against the closed forms of their geometry."""

from math import acos, asin, atan, cos, degrees, pi, radians, sin, sqrt, tan

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from problems import EVERY_KIND, KEYS
from pytest import approx
from scipy.integrate import quad
from scipy.optimize import brentq

from fem.geometry.curve import chained, part
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
    polygon,
    rhombus,
    square,
    tangent,
    teardrop,
    traced,
    triangle,
)
from fem.geometry.polygon import traced_edges

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


@pytest.mark.parametrize(("kind", "ratio"), [(lens, 7.596), (rhombus, 3.732), (tangent, 1 / sin(radians(15)))])
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
    assert outline.upper.point(np.array([0, 0.5, 1])) == approx(np.array([[-a, 0, a], [0, b, 0]]), abs=1e-9 * a)
    assert outline.lower.point(np.array([0, 0.5, 1])) == approx(np.array([[-a, 0, a], [0, -b, 0]]), abs=1e-9 * a)
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


@pytest.mark.parametrize("outline", EVERY_KIND.values(), ids=EVERY_KIND)
def test_tangents_against_differences(outline):
    """Between corners they are the central differences of points, error h^2; on either side of one, those beside it."""
    h, beside = 1e-7, 1e-9
    for edge in (outline.upper, part(outline.lower, 1, 0), chained(part(outline.upper, 0.2, 0.9), outline.lower)):
        s = np.setdiff1d(np.linspace(0.003, 0.997, 100), edge.corners)
        s = s[np.abs(s[:, None] - np.array([*edge.corners, -1])).min(axis=1) > h]
        differences = (edge.point(s + h) - edge.point(s - h)) / (2 * h * edge.length)
        assert edge.tangent(s) == approx(differences, abs=1e-6)
        corners = np.array(edge.corners)
        for side in (-1, 1):
            assert edge.tangent(corners, side) == approx(edge.tangent(corners + side * beside), abs=1e-6)


@pytest.mark.parametrize("width", [60.0, 20.0, 2.0, 0.1])
def test_arc_length_of_an_ellipse(width):
    """From the left tip to the point at fraction s the ellipse is s S long, by quadrature of its speed."""
    a, b = 30, width / 2
    outline = ellipse(length_mm=2 * a, width_mm=width)
    s = np.array([0.001, 0.1, 0.25, 0.4, 0.5])
    x, y = outline.upper.point(s)
    for fraction, t in zip(s, np.arctan2(y / b, -x / a), strict=True):  # t from the left tip
        arc, _ = quad(lambda t: np.hypot(a * np.sin(t), b * np.cos(t)), 0, t, epsabs=0, epsrel=1e-12, limit=500)
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


# Every kind --------------------------------------------------------------------------------------------------


def test_every_kind_is_tried():
    """The examples of the tests hold each kind of outline but the slit, which encloses nothing."""
    assert OUTLINES.keys() - {"slit"} == KEYS.keys()


@pytest.mark.parametrize("kind", EVERY_KIND)
def test_lengths_and_area_of_every_kind(kind):
    """What an outline says of itself is what its points show on n = 2000 chords an edge, which lose a share of 1/n^2.

    A traced edge also loses c b^2/16, on average, at each of its 100 bends b of some 2 pi/100, by chords of c mm.
    """
    outline, bends = EVERY_KIND[kind], {"traced": 100 * (2 * pi / 100) ** 2 / 16 / 2000}.get(kind, 0)
    shown = boundary(outline)
    assert shown.is_valid and shown.exterior.is_ccw
    assert shown.area == approx(outline.area, rel=1e-6)
    assert shown.length == approx(outline.upper.length + outline.lower.length, rel=1e-6 + bends)
    ends = outline.upper.point(np.array([0.0, 1.0]))
    assert outline.lower.point(np.array([0.0, 1.0])) == approx(ends, abs=ROUND_OFF * 60)
    assert ends[0, 0] < ends[0, 1]


@pytest.mark.parametrize("kind", sorted(EVERY_KIND.keys() - {"traced"}))
def test_fractions_of_every_kind(kind):
    """The speed along an edge is its length wherever it has no corner: each of 999 chords, to second order."""
    for edge in (EVERY_KIND[kind].upper, EVERY_KIND[kind].lower):
        s = np.linspace(0, 1, 1000)
        turning = np.searchsorted(edge.corners, s[1:]) != np.searchsorted(edge.corners, s[:-1])
        chords = np.hypot(*np.diff(edge.point(s)))
        assert chords[~turning] == approx(np.full((~turning).sum(), edge.length / 999), rel=1e-4)
        assert (chords <= edge.length / 999 * (1 + 1e-8)).all()


@pytest.mark.parametrize("kind", EVERY_KIND)
def test_tip_angles_of_every_kind(kind):
    """Chords from a tip to points near it on both sides enclose the tip angle, to first order in their length.

    A tip within an edge, at an M, has both of its sides on that edge.
    """
    outline, step = EVERY_KIND[kind], 1e-7
    a, b = outline.beyond[0] / outline.upper.length, 1 - outline.beyond[1] / outline.upper.length
    sides = []
    for tip, inward in ((a, step), (b, -step)):
        if tip in (0, 1):
            sides.append([(outline.lower, tip, tip + inward), (outline.upper, tip, tip + inward)])
        else:
            sides += [[(edge, tip, tip + inward), (edge, tip, tip - inward)] for edge in (outline.lower, outline.upper)]
    shown = []
    for pair in sides:
        ways = [np.diff(edge.point(np.array([start, end])))[:, 0] for edge, start, end in pair]
        one, other = (way / np.hypot(*way) for way in ways)
        inside = boundary(outline, n=400).contains(
            shapely.Point(pair[0][0].point(np.array([pair[0][1]]))[:, 0] + 1e-3 * (one + other))
        )
        turn = abs(np.arctan2(one[0] * other[1] - one[1] * other[0], one @ other))
        shown.append(turn if inside or turn > pi - 1e-3 else 2 * pi - turn)
    assert outline.tip_angles == approx(shown, abs=1e-5)


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


# Outlines from points -----------------------------------------------------------------------------------------


def test_width_across_the_axis():
    """Of a hook, an L turned by 30 degrees, the widest part across the line between its ends; not its extent."""
    turn = np.radians(30)
    c, s = np.cos(turn), np.sin(turn)
    hook = np.array([(0, 0), (50, 0), (50, 4), (20, 4), (20, 9), (0, 9)]) - [0, 0]
    points = tuple(map(tuple, hook @ np.array([[c, s], [-s, c]])))
    way = radians(degrees(atan(4 / 50)))
    # from (0, 0) to (50, 4); at the corner (20, 9) the width is 9 - 0 measured along the normal through it
    outline = traced(points_mm=points, ends_mm=(points[0], points[2]))
    assert outline.length == approx(sqrt(50**2 + 4**2))
    assert outline.width == approx(9 / cos(way))  # through (20, 9), down to the side y = 0


def lens_points(n, *, turn=0.0, shift=(0.0, 0.0)):
    """n points on each edge of the 60 x 20 mm lens, turned and shifted."""
    corners = shapely.get_coordinates(boundary(lens(length_mm=60, width_mm=20), n=n))[:-1]
    c, s = np.cos(turn), np.sin(turn)
    return tuple(map(tuple, (corners @ np.array([[c, s], [-s, c]]) + shift).tolist()))


@pytest.mark.parametrize(("turn", "shift"), [(0.0, (0.0, 0.0)), (1.0, (70.0, -40.0)), (-1.5, (0.0, 300.0))])
def test_traced_lens(turn, shift):
    """A tracing wherever it lies is the lens, laid on the x axis: edges off by less than 0.01 mm, the tolerance.

    Lengths are then off by a share of some (0.01 / 2 mm)^2, tip angles by 4 times 0.01 mm
    over the 2 mm to the next point, the slope of an arc of that rise on that chord, on either edge.
    """
    outline = traced(points_mm=lens_points(200, turn=turn, shift=shift))
    whole, found = lens(length_mm=60, width_mm=20), facts(outline)
    assert outline.upper.point(np.array([0, 1])) == approx(np.array([[-30, 30], [0, 0]]), abs=1e-9)
    for edge, exact in ((outline.upper, whole.upper), (outline.lower, whole.lower)):
        s = np.linspace(0, 1, 101)
        assert edge.point(s) == approx(exact.point(s), abs=0.03)
        assert edge.corners == ()
    for name in ("length_mm", "width_mm", "edge_lengths_mm", "removed_area_mm2"):
        assert found[name] == approx(facts(whole)[name], rel=1e-3), name
    assert found["tip_angles_deg"] == approx(facts(whole)["tip_angles_deg"], abs=2 * degrees(4 * 0.01 / 2))


def test_simplified_within_the_tolerance():
    """No point that is left out lies further from the simplified edges than the tolerance; a coarse one leaves few."""
    points, kept = lens_points(500), []
    for tolerance in (0.001, 0.01, 0.1, 1.0):
        upper, lower = traced_edges(points, None, tolerance)
        ring = shapely.LinearRing(np.hstack([lower[:, :-1], upper[:, :0:-1]]).T)
        assert shapely.hausdorff_distance(ring, shapely.LinearRing(points)) <= tolerance * (1 + 1e-9)
        kept.append(upper.shape[1] + lower.shape[1])
    assert kept == sorted(kept, reverse=True) and kept[-1] < 12 < kept[0]


def test_simplified_once():
    """Points that a tolerance left stay when it is applied again, to the last bit."""
    upper, lower = traced_edges(lens_points(500, turn=0.3), None, 0.01)
    ends = (tuple(lower[:, 0]), tuple(lower[:, -1]))
    again = traced_edges(tuple(map(tuple, np.hstack([lower[:, :-1], upper[:, :0:-1]]).T)), ends, 0.01)
    assert (again[0] == upper).all() and (again[1] == lower).all()


def test_given_ends():
    """A rectangle of 40 x 10 mm sewn between the middles of its short sides, given to 0.5 mm; the left end first.

    Four right angles stay corners, two on each edge, and both tips are flat.
    """
    corners = ((0.0, 0.0), (40.0, 0.0), (40.0, 10.0), (0.0, 10.0))
    outline = traced(points_mm=corners, ends_mm=((40.5, 5.0), (-0.5, 5.0)))
    assert (outline.length, outline.width, outline.area) == (approx(40), approx(10), approx(400))
    assert outline.tip_angles == approx((pi, pi))
    for edge in (outline.upper, outline.lower):
        assert (edge.length, edge.corners) == (approx(50), approx((0.1, 0.9)))
    # the file's right end is the left one here: the upper edge is the file's lower side
    one_sided = traced(points_mm=((0.0, 0.0), (40.0, 0.0), (20.0, 10.0)), ends_mm=((40.0, 0.0), (0.0, 0.0)))
    assert one_sided.upper.length == approx(40)
    assert one_sided.lower.length == approx(2 * sqrt(20**2 + 10**2))


def test_neighbours_may_repeat():
    """A tracing that stops for a moment, and one that is closed by its first point, are those without the repeats."""
    points = lens_points(20)
    assert facts(traced(points_mm=(*points, points[0], points[0]))) == facts(traced(points_mm=points))


@pytest.mark.parametrize(
    ("keys", "message"),
    [
        ({}, "needed: either file or points_mm"),
        ({"file": "a.csv", "points_mm": lens_points(9)}, "needed: either file or points_mm"),
        ({"points_mm": ((0.0, 0.0), (9.0, 0.0), (9.0, 0.0))}, "2 different points; an outline has 3 or more"),
        ({"points_mm": ((0.0, 0.0), (9.0, 0.0), (18.0, 0.0))}, "the points lie on one line"),
        ({"points_mm": ((0.0, 0.0), (9.0, 9.0), (9.0, 0.0), (0.0, 9.0))}, r"crosses or touches itself: .*\[4.5 4.5\]"),
        ({"points_mm": lens_points(9), "ends_mm": ((-32.0, 0.0), (30.0, 0.0))}, r"-32, 0\) lies 2 mm off"),
        ({"points_mm": lens_points(9), "ends_mm": ((30.0, 0.0), (30.4, 0.0))}, "the two ends are the same point"),
        ({"points_mm": lens_points(4000), "tolerance_mm": 1e-9}, "points are left, 1000 at most; a larger tolerance"),
        (  # the upper edge steps over a spike of the lower one by 3 mm, in a valley between two peaks
            {
                "points_mm": (
                    *((-30.0, 0.0), (-2.0, 0.0), (0.0, 10.5), (2.0, 0.0), (30.0, 0.0)),
                    *((28.0, 30.0), (20.0, 8.0), (0.0, 11.0), (-20.0, 8.0), (-28.0, 30.0)),
                ),
                "ends_mm": ((-30.0, 0.0), (30.0, 0.0)),
                "tolerance_mm": 4.0,
            },
            "simplified by up to 4 mm",
        ),
    ],
)
def test_impossible_tracings(keys, message):
    with pytest.raises(ValueError, match=message):
        traced(**keys)
