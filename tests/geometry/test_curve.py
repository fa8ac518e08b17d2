"""Edges of outlines as curves: their points, tangents and fractions against what the outline says of itself."""

from math import pi

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from problems import EVERY_KIND, KEYS, ROUND_OFF
from pytest import approx
from scipy.integrate import quad

from fem.geometry.curve import chained, part
from fem.geometry.outlines import OUTLINES, boundary, ellipse

two_axes = st.tuples(st.floats(1, 200), st.floats(0.05, 1)).map(lambda t: (t[0], t[0] * t[1]))
symmetric = st.builds(
    lambda kind, axes: OUTLINES[kind](length_mm=axes[0], width_mm=axes[1]),
    st.sampled_from(["ellipse", "lens", "rhombus", "tangent"]),
    two_axes.filter(lambda axes: axes[1] >= 0.1),
)


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
