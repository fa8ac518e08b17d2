"""Paper cones: the wedge that is cut out is the tip's deficit, and the model is as high as the closed form says."""

from dataclasses import replace
from math import acos, asin, cos, degrees, pi, radians, sin, sqrt

import numpy as np
import pytest
from pytest import approx
from small_cases import case, text
from synthetic import tips_at

from fem.case import physical
from fem.plan import junctions
from fem.results.result import Result
from fem.teaching import cone
from fem.teaching.cone import RADIUS, Cone, Tip, instructions, of_one_kind, pattern, tips


def result(sample, heights):
    """A result with the tips of a plan, left to right, and the heights computed there."""
    met = [m for m in junctions.junctions(physical.plan(sample)) if m.places.shape[1] == 1]
    X = np.array([m.places[:, 0] for m in met]).T
    X = X[:, np.argsort(X[0])]
    return Result(
        sample,
        stages=tips_at(np.hstack([[[99.0], [99.0]], X]), np.arange(len(met)) + 1),
        measures={"cones": [{"height_mm": h} for h in heights]},
    )


@pytest.mark.parametrize("deficit", [radians(a) for a in (5, 74, 180, 300)])
def test_closed_forms(deficit):
    """The rim of the cone is the arc of the sector, and half angle, height and base radius belong together."""
    made = Cone(deficit, 40.0)
    assert 2 * pi * made.base_radius == approx((2 * pi - deficit) * 40)
    assert made.height**2 + made.base_radius**2 == approx(40**2)
    assert made.height == approx(40 * sqrt(1 - (1 - deficit / (2 * pi)) ** 2))
    assert made.half_angle == approx(asin(1 - deficit / (2 * pi)))


def test_half_a_disc():
    """Half a disc, 180 degrees, makes a cone with sides at 30 degrees to its axis, cos 30 = 0.866 as high."""
    made = Cone(pi, 40.0)
    assert degrees(made.half_angle) == approx(30) and made.height == approx(40 * 0.8660254)


@pytest.mark.parametrize("deficit", [radians(a) for a in (20, 74, 180, 300)])
def test_pattern(deficit):
    """The flat pattern leaves just the sector of the disc, and its tab lies in the wedge without reaching across it."""
    drawing = pattern(Cone(deficit, 40.0))
    (outer,) = [s for s in drawing.strokes if s.style == "cut"]
    r, angle = np.hypot(*outer.points), np.arctan2(*outer.points[::-1])
    rim = np.isclose(r, 40)
    turn = np.unwrap(angle[rim])
    assert np.ptp(turn) == approx(2 * pi - deficit)
    assert r.max() == approx(40) or deficit < radians(30)
    beside = outer.points[:, ~rim & (r > 0)]
    at = np.arctan2(*beside[::-1]) + pi / 2  # 0 in the middle of the wedge
    assert (np.abs(at) <= deficit / 2 + 1e-9).all()


def test_deficit_of_the_plan():
    """A lens of 30 x 10 mm: its paper cone lacks its tip angle, 4 atan(1/3) = 73.74 degrees, at both tips alike."""
    outcome = tips(result(case(text("lens", 30)), [1.5, 2.5]))
    assert [degrees(t.deficit) for t in outcome] == approx([73.7398] * 2, abs=1e-3)
    assert {t.at[0]: t.height for t in outcome} == {-15.0: 1.5, 15.0: 2.5}
    assert [len(group) for group in of_one_kind(outcome)] == [2]


def test_of_a_flap():
    """A rhombic flap: the two tips of 60 degrees make one model; its saddle of -120 degrees makes none."""
    written = text("flap", 1).replace("kind: lens, length_mm: 1, width_mm: 10", "kind: circle, diameter_mm: 15")
    sample = case(
        written.replace("radius_mm: 40", "radius_mm: 90").replace(
            "{undermine_mm: 6}", "{technique: rhombic, undermine_mm: 6}"
        )
    )
    outcome = tips(result(sample, [1.0, 2.0]))
    assert [degrees(t.deficit) for t in outcome] == approx([60, 60]) and len(of_one_kind(outcome)) == 1


def test_without_measure():
    """A tip at which nothing was measured has no height, and the words then claim none."""
    none = replace(result(case(text("lens", 30)), []), stages=tips_at(np.zeros((2, 0)), np.zeros(0, int)))
    outcome = tips(none)
    assert [t.height for t in outcome] == [None, None]
    phrase = " ".join(instructions(Cone(outcome[0].deficit, RADIUS), outcome))
    assert "computed skin" not in phrase and "73.7°" in phrase


def test_ring():
    """The paper cone is as high as the computed skin at the ring; a height beyond the disc's own draws none."""
    made = Cone(radians(74), 45.0)
    rings = [s for s in pattern(made, [4.0, 4.0, 99.0]).strokes if s.style == "ring"]
    assert len(rings) == 1
    (r,) = set(np.hypot(*rings[0].points).round(6))
    assert r * cos(made.half_angle) == approx(4.0, abs=1e-5)


def test_words():
    """The numbers in words are those of the cone: height, width and angle, and what was computed for skin."""
    made = Cone(radians(73.74), 45.0)
    group = [Tip((-30.0, 0.0), made.deficit, 4.0), Tip((30.0, 0.0), made.deficit, 3.1)]
    phrase = " ".join(instructions(made, group))
    assert f"{45 * cos(made.half_angle):.1f} mm high and {90 * sin(made.half_angle):.1f} mm wide" in phrase
    assert "computed cones are 4.0 mm and 3.1 mm high" in phrase and "both tips marked 74°" in phrase
    alone = " ".join(instructions(made, group[:1]))
    assert "the computed cone is 4.0 mm high" in alone.lower() and "the tip marked 74°" in alone
    assert acos(made.height / 45) == approx(made.half_angle)


def test_no_cone():
    """A lens of 60 x 0.2 mm lacks 0.76 degrees at its tips, from which no cone is to be expected: no sheet."""
    thin = case(text("lens", 60).replace("width_mm: 10", "width_mm: 0.2").replace("radius_mm: 40", "radius_mm: 90"))
    assert cone.sheet(result(thin, [0, 0])) is None
    drawing = cone.sheet(result(case(text("lens", 30)), [1.0, 2.0]))
    assert [s.style for s in drawing.strokes] == ["cut", "fold", "ring", "ring"]


def test_no_model_of_a_cone_that_is_not_there():
    """Where the computed skin lies flat at both tips, no paper cone; where one of them stands, one model for it."""
    sample = case(text("lens", 30))
    assert cone.sheet(result(sample, [0.0, -0.04])) is None
    drawing = cone.sheet(result(sample, [0.0, 2.0]))
    assert [s.style for s in drawing.strokes] == ["cut", "fold", "ring"]
    assert any("the tip marked 74°" in w.text for w in drawing.texts) and not any(
        "-0.0" in w.text for w in drawing.texts
    )
