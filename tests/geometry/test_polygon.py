"""Outlines from points: polygons and tracings."""

from math import atan, cos, degrees, pi, radians, sin, sqrt

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from problems import ROUND_OFF
from pytest import approx

from fem.geometry.outlines import boundary, facts, lens, polygon, rhombus, traced
from fem.geometry.polygon import traced_edges

KITE = ((-30.0, 0.0), (0.0, -9.0), (30.0, 0.0), (4.0, 11.0))


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


# Tracings -----------------------------------------------------------------------------------------------------


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
