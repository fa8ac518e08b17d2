"""Sewing plans: what is cut, sewn and freed."""

from math import pi

import numpy as np
import pytest
from pytest import approx

from fem.outline import boundary, circle, lens, polygon, rhombus
from fem.plan import removed_skin, side_to_side, undermined
from fem.technique import TECHNIQUES

KITE = ((-30.0, 0.0), (0.0, -9.0), (30.0, 0.0), (4.0, 11.0))
OUTLINES = [circle(diameter_mm=20), lens(length_mm=60, width_mm=20), polygon(points_mm=KITE)]
ENDS = np.array([0.0, 1.0])


@pytest.mark.parametrize("outline", OUTLINES)
def test_removed_skin_is_one_closed_chain(outline):
    """Each curve starts where the one before ended, and together they enclose the outline's area."""
    (chain,) = side_to_side(outline).removed
    for curve, following in zip(chain, (*chain[1:], chain[0]), strict=True):
        assert curve.point(ENDS)[:, 1] == approx(following.point(ENDS)[:, 0], abs=1e-12)
    s = [np.union1d(np.linspace(0, 1, 2001), curve.corners)[:-1] for curve in chain]
    x, y = np.hstack([curve.point(fractions) for curve, fractions in zip(chain, s, strict=True)])
    area = (x * np.roll(y, -1) - y * np.roll(x, -1)).sum() / 2
    assert area == approx(outline.area, rel=1e-5)  # counter-clockwise; chords, error 1/n^2
    assert sum(curve.length for curve in chain) == approx(outline.upper.length + outline.lower.length)


@pytest.mark.parametrize("outline", OUTLINES)
def test_seam_joins_the_edges_from_tip_to_tip(outline):
    """Both edges of the only seam run from the left tip to the right tip."""
    ((first, second),) = side_to_side(outline).seams
    assert first.point(ENDS) == approx(second.point(ENDS), abs=1e-12)
    left, right = first.point(ENDS).T
    assert left[0] < right[0]
    assert np.linalg.norm(right - left) == approx(outline.length)


def test_corners_of_either_edge():
    """A kite's edges turn at different fractions; the removed chain knows the upper one from its end."""
    plan = side_to_side(polygon(points_mm=KITE))
    ((upper, lower),), ((_, back),) = plan.seams, plan.removed
    assert lower.corners == approx((0.5,))
    assert upper.point(np.array(upper.corners)) == approx(np.array([[4.0], [11.0]]))
    assert back.point(np.array(back.corners)) == approx(np.array([[4.0], [11.0]]))
    assert back.corners == approx((1 - upper.corners[0],))


@pytest.mark.parametrize("outline", [*OUTLINES, rhombus(length_mm=60, width_mm=20)])
def test_loosened_zone(outline):
    """Everything within d of a convex wound: area A + P d + pi d^2 (Steiner's formula)."""
    loosened = undermined(side_to_side(outline), undermine_mm=15).loosened
    P = outline.upper.length + outline.lower.length
    assert loosened.area == approx(outline.area + P * 15 + pi * 15**2, rel=1e-3)
    assert loosened.contains(boundary(outline))


def test_nothing_loosened():
    """No undermining, no zone."""
    plan = TECHNIQUES["side-to-side"](OUTLINES[0])
    assert plan.loosened is None
    assert undermined(plan, undermine_mm=0.0).loosened is None


@pytest.mark.parametrize("outline", [*OUTLINES, rhombus(length_mm=60, width_mm=20)])
def test_sides_loosened_apart(outline):
    """Each side of a mirror-symmetric wound counts half of A + P d + pi d^2, each with its own d."""
    plan = side_to_side(outline)
    zone = undermined(plan, undermine_mm=4, undermine_upper_mm=15).loosened
    both = undermined(plan, undermine_upper_mm=4, undermine_lower_mm=15).loosened
    P = outline.upper.length + outline.lower.length
    steiner = 2 * outline.area + P * (4 + 15) + pi * (4**2 + 15**2)
    assert zone.area + both.area == approx(steiner, rel=1e-3)
    assert zone.bounds[3] == approx(boundary(outline).bounds[3] + 15, rel=1e-3)
    assert zone.bounds[1] == approx(boundary(outline).bounds[1] - 4, rel=1e-3)


def test_one_side_loosened():
    """With nothing freed on the lower side, the zone lies above the axis, but for the wound."""
    plan = side_to_side(lens(length_mm=60, width_mm=20))
    zone = undermined(plan, undermine_upper_mm=15).loosened
    freed = zone.difference(removed_skin(plan))
    assert freed.bounds[1] == approx(0, abs=1e-9)
    assert freed.area == approx((64.35 * 30 + pi * 15**2) / 2, rel=1e-3)


def test_polygon_loosened():
    """The zone is the polygon as drawn, wherever it lies."""
    corners = ((0.0, -30.0), (50.0, -30.0), (50.0, 30.0), (0.0, 30.0))
    assert undermined(side_to_side(OUTLINES[1]), undermine_points_mm=corners).loosened.area == approx(50 * 60)


def test_polygon_beside_distances():
    """A zone is either drawn or measured from the edges."""
    with pytest.raises(ValueError, match="stands alone"):
        undermined(side_to_side(OUTLINES[1]), undermine_lower_mm=3, undermine_points_mm=((0, 0), (9, 0), (9, 9)))
