"""Sewing plans: what is cut, sewn and undermined."""

from math import pi

import numpy as np
import pytest
import shapely
from problems import EVERY_KIND
from pytest import approx

from fem.geometry.outlines import boundary, circle, crescent, lens, lens_with_m, polygon, rhombus
from fem.plan.plan import removed_skin, side_to_side, undermined
from fem.plan.techniques import TECHNIQUES

KITE = ((-30.0, 0.0), (0.0, -9.0), (30.0, 0.0), (4.0, 11.0))
OUTLINES = [circle(diameter_mm=20), lens(length_mm=60, width_mm=20), polygon(points_mm=KITE)]
ENDS = np.array([0.0, 1.0])


@pytest.mark.parametrize("surplus", ["shared", "left", "right"])
@pytest.mark.parametrize("kind", EVERY_KIND)
def test_removed_skin_is_one_closed_chain(kind, surplus):
    """Each curve starts where the one before ended, and together they enclose the outline's area."""
    outline = EVERY_KIND[kind]
    (chain,) = side_to_side(outline, surplus=surplus).removed
    for curve, following in zip(chain, (*chain[1:], chain[0]), strict=True):
        assert curve.point(ENDS)[:, 1] == approx(following.point(ENDS)[:, 0], abs=1e-12)
    s = [np.union1d(np.linspace(0, 1, 2001), curve.corners)[:-1] for curve in chain]
    x, y = np.hstack([curve.point(fractions) for curve, fractions in zip(chain, s, strict=True)])
    area = (x * np.roll(y, -1) - y * np.roll(x, -1)).sum() / 2
    assert area == approx(outline.area, rel=1e-4)  # counter-clockwise; chords, error 1/n^2
    assert sum(curve.length for curve in chain) == approx(outline.upper.length + outline.lower.length)


@pytest.mark.parametrize("outline", OUTLINES)
def test_seam_joins_the_edges_from_tip_to_tip(outline):
    """Both edges of the only seam run from the left tip to the right tip."""
    ((first, second),) = side_to_side(outline).seams
    assert first.point(ENDS) == approx(second.point(ENDS), abs=1e-12)
    left, right = first.point(ENDS).T
    assert left[0] < right[0]
    assert np.linalg.norm(right - left) == approx(outline.length)


@pytest.mark.parametrize("surplus", ["shared", "left", "right"])
@pytest.mark.parametrize("kind", EVERY_KIND)
def test_both_edges_are_sewn_once(kind, surplus):
    """All seams together are as long as both edges; each starts where both of its edges are, or where others meet."""
    outline = EVERY_KIND[kind]
    seams = side_to_side(outline, surplus=surplus).seams
    sewn = sum(edge.length for seam in seams for edge in seam)
    assert sewn == approx(outline.upper.length + outline.lower.length)
    removed = [curve.point(np.array([0.25, 0.5])) for curve in side_to_side(outline, surplus=surplus).removed[0]]
    for seam in seams:
        for edge in seam:  # in the same place, in one of both senses
            mine = edge.point(np.array([0.25, 0.5])), edge.point(np.array([0.75, 0.5]))
            assert any(np.allclose(points, way, atol=1e-9) for points in removed for way in mine)


@pytest.mark.parametrize("m_at", ["left", "right", "both"])
def test_seams_of_an_m(m_at):
    """The sides of the flap are sewn to stretches of the edges of the same length, from the fork to the tips.

    In the fork three places meet: one on either edge, and the point of the flap.
    """
    outline = lens_with_m(length_mm=60, width_mm=20, shorter_mm=8, m_at=m_at)
    (upper, lower), *folds = side_to_side(outline).seams
    assert len(folds) == (4 if m_at == "both" else 2)
    assert upper.length == approx(lower.length)
    folds = [pair if pair[1].point(ENDS)[1, 0] == approx(0, abs=1e-9) else pair[::-1] for pair in folds]  # flap last
    for edge, flap in folds:
        assert edge.length == approx(flap.length)
        assert edge.point(ENDS)[:, 1] == approx(flap.point(ENDS)[:, 1], abs=1e-9)  # at the tip
    for end in {"left": [0], "right": [1], "both": [0, 1]}[m_at]:
        fork = np.array([upper.point(ENDS)[:, end], lower.point(ENDS)[:, end]])
        starts = np.array([edge.point(ENDS)[:, 0] for edge, _ in folds if (edge.point(ENDS)[0, 0] > 0) == end])
        points = np.array([flap.point(ENDS)[:, 0] for _, flap in folds if (flap.point(ENDS)[0, 0] > 0) == end])
        assert starts == approx(fork, abs=1e-9)
        assert points[0] == approx(points[1], abs=1e-9)
        assert points[0][1] == approx(0, abs=1e-9)


CRESCENT = crescent(length_mm=40, upper_mm=12, lower_mm=5)  # edges of 48.998 and 41.646 mm


def test_surplus_shared():
    """Half way along both edges meets half way, a quarter a quarter: suturing by halves."""
    ((upper, lower),) = side_to_side(CRESCENT).seams
    assert (upper.length, lower.length) == (CRESCENT.upper.length, CRESCENT.lower.length)


@pytest.mark.parametrize("surplus", ["left", "right"])
@pytest.mark.parametrize(("eased", "kept"), [(None, 2 / 3), (10.0, 1 - 10 / 41.64637), (30.0, 1 - 30 / 41.64637)])
def test_surplus_at_one_end(surplus, eased, kept):
    """From the other end equal lengths meet; the last `eased_mm` of the shorter edge takes the excess of 7.352 mm."""
    seams = side_to_side(CRESCENT, surplus=surplus, eased_mm=eased).seams
    (even, its_other), (long, short) = seams if surplus == "right" else seams[::-1]
    assert even.length == approx(its_other.length) == approx(kept * CRESCENT.lower.length, rel=1e-6)
    assert short.length == approx((1 - kept) * CRESCENT.lower.length, rel=1e-6)
    assert long.length - short.length == approx(7.3517, abs=6e-5)
    for first, second in zip(*seams, strict=True):  # the two parts carry on from one another
        assert first.point(ENDS)[:, 1] == approx(second.point(ENDS)[:, 0], abs=1e-9)


@pytest.mark.parametrize("longer", ["upper", "lower"])
def test_either_edge_may_be_longer(longer):
    """The same crescent as a tracing, upside down or not: the longer edge has the surplus."""
    s = np.linspace(0, 1, 101)
    flip = np.array([[1.0], [1.0 if longer == "upper" else -1.0]])
    lower, upper = flip * CRESCENT.lower.point(s), flip * CRESCENT.upper.point(s)
    traced = polygon(points_mm=tuple(map(tuple, np.hstack([lower[:, :-1], upper[:, :0:-1]]).T.tolist())))
    _, (first, second) = side_to_side(traced, surplus="right").seams
    assert (first.length > second.length) == (longer == "upper")
    assert abs(first.length - second.length) == approx(7.35, abs=0.01)


@pytest.mark.parametrize("surplus", ["left", "right"])
def test_no_surplus(surplus):
    """Edges of equal length are sewn at equal fractions, wherever a surplus would go."""
    assert len(side_to_side(lens(length_mm=60, width_mm=20), surplus=surplus).seams) == 1


@pytest.mark.parametrize(
    ("keys", "message"),
    [
        ({"eased_mm": 5}, "eased_mm is for a surplus pushed to the left or the right"),
        ({"surplus": "left", "eased_mm": 42}, "eased_mm 42 is more than the shorter edge, 41.65 mm"),
    ],
)
def test_impossible_surplus(keys, message):
    with pytest.raises(ValueError, match=message):
        side_to_side(CRESCENT, **keys)


def test_sides_of_an_m_undermined_apart():
    """Beyond the point of the flap the axis parts the sides: undermined above only, a mirror image of below only.

    Chords of the two drawings of the edge, 200 each, enclose slivers of c^2/8R x S, c = S/200.
    """
    outline = lens_with_m(length_mm=60, width_mm=20, shorter_mm=8)
    plan, S = side_to_side(outline), outline.upper.length
    above = undermined(plan, undermine_upper_mm=15).undermined.difference(removed_skin(plan))
    below = undermined(plan, undermine_lower_mm=15).undermined.difference(removed_skin(plan))
    slivers = 2 * (S / 200) ** 2 / (8 * 50) * S
    assert above.intersection(shapely.box(-99, -99, 99, 0)).area == approx(0, abs=slivers)
    assert above.area == approx(below.area, abs=slivers)
    assert above.intersection(below).area == approx(0, abs=slivers)


def test_corners_of_either_edge():
    """A kite's edges turn at different fractions; the removed chain knows the upper one from its end."""
    plan = side_to_side(polygon(points_mm=KITE))
    ((upper, lower),), ((_, back),) = plan.seams, plan.removed
    assert lower.corners == approx((0.5,))
    assert upper.point(np.array(upper.corners)) == approx(np.array([[4.0], [11.0]]))
    assert back.point(np.array(back.corners)) == approx(np.array([[4.0], [11.0]]))
    assert back.corners == approx((1 - upper.corners[0],))


@pytest.mark.parametrize("outline", [*OUTLINES, rhombus(length_mm=60, width_mm=20)])
def test_undermined_zone(outline):
    """Everything within d of a convex wound: area A + P d + pi d^2 (Steiner's formula)."""
    zone = undermined(side_to_side(outline), undermine_mm=15).undermined
    P = outline.upper.length + outline.lower.length
    assert zone.area == approx(outline.area + P * 15 + pi * 15**2, rel=1e-3)
    assert zone.contains(boundary(outline))


def test_nothing_undermined():
    """No undermining, no zone."""
    plan = TECHNIQUES["side-to-side"](OUTLINES[0])
    assert plan.undermined is None
    assert undermined(plan, undermine_mm=0.0).undermined is None


@pytest.mark.parametrize("outline", [*OUTLINES, rhombus(length_mm=60, width_mm=20)])
def test_sides_undermined_apart(outline):
    """Each side of a mirror-symmetric wound counts half of A + P d + pi d^2, each with its own d."""
    plan = side_to_side(outline)
    zone = undermined(plan, undermine_mm=4, undermine_upper_mm=15).undermined
    both = undermined(plan, undermine_upper_mm=4, undermine_lower_mm=15).undermined
    P = outline.upper.length + outline.lower.length
    steiner = 2 * outline.area + P * (4 + 15) + pi * (4**2 + 15**2)
    assert zone.area + both.area == approx(steiner, rel=1e-3)
    assert zone.bounds[3] == approx(boundary(outline).bounds[3] + 15, rel=1e-3)
    assert zone.bounds[1] == approx(boundary(outline).bounds[1] - 4, rel=1e-3)


def test_one_side_undermined():
    """With nothing undermined on the lower side, the zone lies above the axis, but for the wound."""
    plan = side_to_side(lens(length_mm=60, width_mm=20))
    zone = undermined(plan, undermine_upper_mm=15).undermined
    left = zone.difference(removed_skin(plan))
    assert left.bounds[1] == approx(0, abs=1e-9)
    assert left.area == approx((64.35 * 30 + pi * 15**2) / 2, rel=1e-3)


def test_polygon_undermined():
    """The zone is the polygon as drawn, wherever it lies."""
    corners = ((0.0, -30.0), (50.0, -30.0), (50.0, 30.0), (0.0, 30.0))
    assert undermined(side_to_side(OUTLINES[1]), undermine_points_mm=corners).undermined.area == approx(50 * 60)


def test_polygon_beside_distances():
    """A zone is either drawn or measured from the edges."""
    with pytest.raises(ValueError, match="stands alone"):
        undermined(side_to_side(OUTLINES[1]), undermine_lower_mm=3, undermine_points_mm=((0, 0), (9, 0), (9, 9)))
