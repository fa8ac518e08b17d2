"""Trimmed closures: the geometry of the cuts, how far they go, and that the way there does not matter."""

import json
from dataclasses import replace
from functools import cache
from math import asin, atan, cos, degrees, radians, sin, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx

from fem.case import case as cases
from fem.case import physical
from fem.case.document import parse
from fem.closure.closing import closed
from fem.closure.measure import measures
from fem.closure.trimming import WITHIN, shortest
from fem.errors import BadCase, NotConverged
from fem.geometry.outlines import circle, crescent, facts, lens, lens_with_m, slit, tangent
from fem.plan.junctions import check, junctions, remainder
from fem.plan.plan import removed_area
from fem.plan.trim import extended, trimmed
from fem.results import result
from fem.results.close import close

CIRCLE, S = circle(diameter_mm=20), np.linspace(0, 1, 101)
STEEP = dict(left="angled", left_mm=100, left_rad=radians(80), right="angled", right_mm=100, right_rad=radians(80))
DEFAULTS = dict(left="none", right="none", left_mm=None, right_mm=None, left_rad=radians(60), right_rad=radians(60),
                left_shorter_mm=None, right_shorter_mm=None, under_mm=None)  # fmt: skip


def cut(outline, **keys):
    """The outline with its ends cut, none unless said."""
    return extended(outline, **DEFAULTS | keys)


# Closed forms


@pytest.mark.parametrize("length", [3.0, 10.0, 20.0])
def test_straight_cuts_on_a_circle(length):
    """A circle with straight cuts from both ends is the tangent outline of length D + 2 l, to the last digits."""
    found, known = cut(CIRCLE, left="straight", right="straight", left_mm=length, right_mm=length), tangent(
        length_mm=20 + 2 * length, width_mm=20
    )  # fmt: skip
    assert found.upper.point(S) == approx(known.upper.point(S), abs=1e-9)
    assert found.lower.point(S) == approx(known.lower.point(S), abs=1e-9)
    assert found.upper.corners == ()
    for name, value in facts(known).items():
        assert facts(found)[name] == approx(value, rel=1e-7)


@pytest.mark.parametrize("length", [5.0, 15.0])
def test_straight_cut_on_a_lens(length):
    """Half the angle at the apex, D from the centre of an arc of radius R: asin(R/D) - atan((R - W/2)/(L/2 + l))."""
    found = cut(lens(length_mm=60, width_mm=20), right="straight", right_mm=length)
    R, x = (60**2 + 20**2) / (4 * 20), 30 + length
    half = asin(R / sqrt(x**2 + (R - 10) ** 2)) - atan((R - 10) / x)
    assert found.tip_angles == approx([4 * atan(1 / 3), 2 * half])
    assert found.length == approx(60 + length)


def test_straight_cut_that_shares_no_edge_with_the_other():
    """A crescent's lower edge bends into the wound: the cut starts from its tip, along the axis."""
    found = cut(crescent(length_mm=45, upper_mm=15, lower_mm=4), right="straight", right_mm=10)
    (along,) = found.lower.corners
    assert found.lower.point(np.array([along, 1.0])) == approx(np.array([[22.5, 32.5], [0, 0]]), abs=1e-9)
    assert along * found.lower.length == approx(crescent(length_mm=45, upper_mm=15, lower_mm=4).lower.length)


@pytest.mark.parametrize("angle", [60.0, -30.0])
def test_angled_cut(angle):
    """Its apex lies on a line that turns from the axis; both cuts meet radii of the circle at right angles."""
    found = cut(CIRCLE, right="angled", right_mm=10, right_rad=radians(angle))
    apex = np.array([10 + 10 * cos(radians(angle)), 10 * sin(radians(angle))])
    assert found.upper.point(np.array([1.0]))[:, 0] == approx(apex)
    reach = np.hypot(*apex)
    assert degrees(found.tip_angles[1]) == approx(degrees(2 * asin(10 / reach)))
    straight = sqrt(reach**2 - 100)
    assert found.upper.length + found.lower.length == approx(2 * straight + 20 * (np.pi - np.arccos(10 / reach)))


def test_cut_at_the_left_is_that_at_the_right_turned_round():
    """Angles count upward at either end, so half a turn changes their sign."""
    right = cut(CIRCLE, right="angled", right_mm=12, right_rad=radians(40))
    left = cut(CIRCLE, left="angled", left_mm=12, left_rad=radians(-40))
    assert left.upper.point(S) == approx(-right.lower.point(1 - S), abs=1e-9)
    mirrored = cut(CIRCLE, left="angled", left_mm=12, left_rad=radians(40))
    assert mirrored.upper.point(S) == approx([[-1], [1]] * right.upper.point(1 - S), abs=1e-9)


def test_m_of_half_size():
    """The tip triangle of depth d gives way to two of half its size and of its angle: the wound is d/2 shorter."""
    whole = cut(CIRCLE, right="straight", right_mm=20)
    found = cut(CIRCLE, right="m", right_mm=20, right_shorter_mm=7)
    half = asin(10 / 30)
    assert found.length == approx(whole.length - 7)
    assert found.tip_angles[1:] == approx([2 * half] * 2)
    assert found.beyond == approx((0, 7 / cos(half)))
    side = found.upper.point(np.array([1 - found.beyond[1] / found.upper.length, 1.0]))
    assert side == approx(np.array([[23, 16], [7 * sin(half) / cos(half), 0]]), abs=1e-9)
    kept = 14 * 14 * sin(half) / cos(half) / 2  # the flap: a triangle of depth d = 14 cut in four, two of them kept
    assert removed_area(trimmed(CIRCLE, **DEFAULTS | dict(right="m", right_mm=20, right_shorter_mm=7))) == approx(
        removed_area(trimmed(CIRCLE, **DEFAULTS | dict(right="straight", right_mm=20))) - kept, rel=1e-7
    )  # fmt: skip


@given(
    ratio=st.floats(1, 4), ends=st.tuples(*[st.sampled_from(["straight", "angled", "m", "none"])] * 2),
    cuts=st.tuples(st.floats(3, 25), st.floats(3, 25)), turns=st.tuples(st.floats(-40, 40), st.floats(-40, 40)),
)  # fmt: skip
@settings(max_examples=10, deadline=None)
def test_deficits_add_up_to_nothing(ratio, ends, cuts, turns):
    """Each edge is sewn once, and deficits sum to 0, for every way of cutting; at a tip stands the tip's angle."""
    outline = lens(length_mm=20 * ratio, width_mm=20)
    keys = dict(left=ends[0], right=ends[1], left_mm=cuts[0], right_mm=cuts[1])
    keys |= dict(left_rad=radians(turns[0]), right_rad=radians(turns[1]))
    plan = trimmed(outline, **keys)
    check(plan)
    assert remainder(plan) == approx(0, abs=1e-6)
    at_tips = sorted(m.deficit for m in junctions(plan) if m.angles.size == 1)
    assert at_tips == approx(sorted(extended(outline, **DEFAULTS | keys).tip_angles), abs=1e-6)


# What is refused


@pytest.mark.parametrize("outline, keys, words", [
    (CIRCLE, STEEP, "overlap"),
    (CIRCLE, dict(right="m", right_mm=10, right_shorter_mm=6), "wanted 5 mm or less"),
    (CIRCLE, dict(under_mm=1.0), "both ends are left"),
    (slit(length_mm=20), dict(right="straight"), "outline with width"),
    (lens_with_m(length_mm=60, width_mm=20, shorter_mm=5), dict(right="straight"), "whose ends are its tips"),
    (crescent(length_mm=45, upper_mm=15, lower_mm=4), dict(left="angled", left_rad=radians(-60)), "not touch it"),
])  # fmt: skip
def test_refused(outline, keys, words):
    """Cuts that cannot be, with the reason."""
    with pytest.raises(ValueError, match=words):
        trimmed(outline, **dict(left="none", right="none") | keys)


def test_refused_with_its_line():
    """In a case file the complaint has file and line."""
    with pytest.raises(BadCase, match=r"a.yaml:3:\d+: closure: an M whose tips fall 9 mm short"):
        parse(
            "name: a\nwound: {outline: {kind: circle, diameter_mm: 20}}\n"
            "closure: {technique: trimmed, right: m, right_mm: 10, right_shorter_mm: 9}\nskin: {site: forearm}\n",
            cases.Case, "a.yaml",
        )  # fmt: skip


# How far to cut, with heights that are known


def asked(limit, other=0.0):
    """Heights sqrt(limit - l) at either end, as near the threshold of a cone, and the lengths that were tried."""
    tried = []

    def heights(cut):
        if cut not in tried:
            tried.append(cut)
        a, b = cut
        return np.sqrt(np.maximum(0.0, [limit[0] - a - other * b, limit[1] - b]))

    return heights, tried


@pytest.mark.parametrize("limit", [(12.3, 7.7), (19.0, 3.0), (5.0, 5.0)])
def test_shortest(limit):
    """sqrt(limit - l) = 1 where l = limit - 1: found from above to WITHIN, with less than 12 closures."""
    heights, tried = asked(limit)
    found = np.array(shortest(heights, (20.0, 20.0), 1.0))
    wanted = np.array(limit) - 1
    assert ((found > wanted) & (found <= wanted + WITHIN)).all()
    assert len(tried) < 12


def test_end_that_is_low_enough_is_left():
    heights, _ = asked((0.5, 7.7))
    assert shortest(heights, (20.0, 20.0), 1.0)[0] == 0
    assert shortest(asked((0.5, 0.5))[0], (20.0, 20.0), 1.0) == (0, 0)


def test_cone_that_cannot_be_cut_low_enough():
    with pytest.raises(NotConverged, match=r"right end is still 4.07 mm high when 20 mm are cut off.*right_mm"):
        shortest(asked((12.0, 36.6))[0], (20.0, 20.0), 1.0)


def test_an_end_that_can_only_be_lowered_by_the_other():
    """The left end is cut as far as it may be and low enough only with a longer cut at the right: that is made."""
    found = shortest(asked((20.8, 7.7), other=0.11)[0], (20.0, 20.0), 1.0)
    assert (asked((20.8, 7.7), other=0.11)[0](found) < 1).all()


def test_an_end_that_is_lifted_by_the_other():
    """The last cut at the other end lifts a cone over the limit: it is cut further."""
    heights, _ = asked((12.3, 7.7), other=-0.05)
    found = shortest(heights, (20.0, 20.0), 1.0)
    assert (heights(found) < 1).all()


# Solved

SKIN = """
skin: {thickness_mm: 2, law: {kind: neo-hooke, shear_kPa: 33.3}, tension: {along_N_per_m: 12, across_N_per_m: 6}}
bed: {pull_kPa_per_mm: 1.0, shear_kPa_per_mm: 0.1}
patch: {radius_mm: 70}
mesh: {edge_mm: 2.3, tip_mm: 2.3, far_mm: 18}
"""


def wound(outline, closure):
    """The case of a wound in the skin above."""
    written = {"name": "a", "wound": {"outline": outline}, "closure": {"undermine_mm": 10, **closure}}
    return parse("\n".join(f"{key}: {json.dumps(value)}" for key, value in written.items()) + SKIN, cases.Case, "a")


ROUND = {"kind": "circle", "diameter_mm": 20}


@cache
def trimmed_circle(**keys):
    return closed(wound(ROUND, {"technique": "trimmed", **keys}))


@pytest.mark.slow
def test_trimmed_circle_is_the_tangent_outline():
    """Cut 10 mm beyond either tip and closed again, it is what the tangent outline of 40 x 20 mm is from scratch."""
    found = measures(trimmed_circle(left_mm=10, right_mm=10))
    known = measures(closed(wound({"kind": "tangent", "length_mm": 40, "width_mm": 20}, {})))
    for name, value in known.items():
        if isinstance(value, float):
            assert found[name] == approx(value, rel=1e-5, abs=1e-6), name


@pytest.mark.slow
def test_what_trimming_does():
    """Lower cones for a longer scar and more skin taken, the difference to the circle closed as it is."""
    closure = trimmed_circle(left_mm=10, right_mm=10)
    plain, found = measures(closed(wound(ROUND, {}))), measures(closure)
    assert found["cone_height_mm"] < min(found["trim_cones_before_mm"])
    assert found["trim_cones_before_mm"] == approx([cone["height_mm"] for cone in plain["cones"]])
    assert found["trim_scar_added_mm"] == approx(found["scar_length_mm"] - plain["scar_length_mm"])
    straight = tangent(length_mm=40, width_mm=20).area
    assert found["trim_skin_removed_mm2"] == approx(straight - 100 * np.pi, rel=1e-6)
    assert closure.trimmed.tried == (((10, 10), approx([c["height_mm"] for c in found["cones"]])),)


@pytest.mark.slow
def test_until_the_cones_are_low_enough(tmp_path):
    """Cut until cones are lower than 2 mm: they are, and would not be with 1 mm less; the folder tells it all."""
    case = wound(ROUND, {"technique": "trimmed", "under_mm": 2})
    folder = close(case, into=tmp_path)
    found = result.read(folder, case)
    cut_by = found.measures["trim_cut_mm"]
    assert max(cone["height_mm"] for cone in found.measures["cones"]) < 2
    less = physical.cut_by(case, [length - 2 * WITHIN for length in cut_by])
    assert min(cone["height_mm"] for cone in measures(closed(less))["cones"]) > 2
    assert [found.case.closure.left_mm, found.case.closure.right_mm, found.case.closure.under_mm] == [*cut_by, None]
    assert len(found.run["cuts_tried"]) < 12
    before = result.read(folder / "untrimmed", physical.cut_by(case, (0, 0)))
    assert [cone["height_mm"] for cone in before.measures["cones"]] == approx(found.measures["trim_cones_before_mm"])
    assert (folder / "untrimmed" / "pictures" / "height-oblique.png").exists()


def test_case_with_a_cut_is_read_again():
    """What `cut_by` makes is a case like any other."""
    case = physical.cut_by(wound(ROUND, {"technique": "trimmed", "under_mm": 2}), (0.0, 12.5))
    again = parse(cases.text(case), cases.Case, "a")
    assert again == case
    assert physical.excised(again).length == approx(32.5)


def test_nothing_cut_is_side_to_side():
    """With both ends left the plan is that of the circle."""
    assert replace(cut(CIRCLE), area=0, width=0).length == 20
    assert removed_area(trimmed(CIRCLE, left="none", right="none")) == approx(100 * np.pi)
