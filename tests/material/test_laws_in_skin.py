"""Laws of elasticity in skin: natural tension, admissible parameters in a case, a closed wound."""

import json
import re
from functools import partial
from math import radians
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from laws_tried import MU, every_law, fibres, law_of
from pytest import approx
from ruamel.yaml import YAML

from fem.case.case import Case
from fem.case.document import parse
from fem.closure.closing import closed
from fem.closure.measure import measures
from fem.errors import BadCase
from fem.material.laws import ogden, young_modulus
from fem.material.skin import stretch_under, tension
from fem.mechanics import constraints, solve
from fem.mechanics.sheet import assemble, cauchy_stress, sheet
from fem.verification.problems import flat, patch

# Natural tension ------------------------------------------------------------------------------------------


def test_young_modulus_of_ogden():
    """E = 3 mu of an incompressible solid, for every exponent."""
    for exponent in (-9, 1, 9, 26):
        assert young_modulus(partial(ogden, shear_MPa=0.01, exponent=exponent)) == approx(0.03, rel=1e-12)


@given(st.floats(0, 90), st.floats(0, 1 / 3))
def test_young_modulus_of_fibres(degrees, dispersion):
    """At C = 1 fibres are slack to the last digit, whatever their angle: the 3 mu of the ground substance."""
    assert young_modulus(fibres(fibre_angle_rad=radians(degrees), dispersion=dispersion)) == approx(0.03, rel=1e-12)


@every_law
@given(st.floats(-0.002, 0.1), st.floats(-0.002, 0.1))
@example(0.0, 0.0)
@example(0.1, -0.002)
def test_natural_stretch_carries_the_tension_asked_for(variant, along, across):
    """From tension to stretch and back, for every law, slight compression included. N/mm."""
    law = law_of(variant)
    found = stretch_under(law, np.array([along, across]), h=1.5)
    assert tension(law, found, h=1.5) == approx(np.array([along, across]), abs=1e-10 * max(0.1, 1.5 * 3 * MU))


@given(
    st.floats(1e-4, 1),
    st.floats(0.01, 1000),
    st.floats(0, 1 / 3),
    st.floats(0, 90),
    st.floats(0.1, 10),
    st.floats(0.1, 10),
)
def test_natural_stretch_of_strongly_stiffening_skin(fibre_MPa, stiffening, dispersion, degrees, along, across):
    """Any fibres, and any tension of a tenth to ten times the shear modulus times the thickness."""
    law = fibres(fibre_MPa=fibre_MPa, stiffening=stiffening, dispersion=dispersion, fibre_angle_rad=radians(degrees))
    wanted = MU * np.array([along, across])
    assert tension(law, stretch_under(law, wanted, h=1.0), h=1.0) == approx(wanted, abs=1e-10 * 10 * MU)


def test_skin_stretches_less_along_its_fibres():
    """Under the same tension both ways, fibres near the lines hold the skin along them; at 45 degrees it is alike."""
    along, across = stretch_under(fibres(fibre_angle_rad=radians(20)), np.array([0.01, 0.01]), h=1.5)
    assert 1 < along < across - 0.05
    same = stretch_under(fibres(fibre_angle_rad=np.pi / 4), np.array([0.01, 0.01]), h=1.5)
    assert same[0] == approx(same[1], rel=1e-10)


@pytest.mark.parametrize("lines", np.radians([0, 25, 90, -140]))
@pytest.mark.parametrize("variant", ["ogden", "ogden-26", "fibres", "fibres-along", "fibres-across"])
def test_uncut_skin_is_at_rest(variant, lines):
    """Under 20 and 10 N/m along and across lines at any angle, inner nodes are at rest, the stress as asked for."""
    law, h = law_of(variant), 1.5
    m, stretch = patch(5), stretch_under(law, np.array([0.02, 0.01]), h=h)
    skin = sheet(m, law=law, h=h, stretch=stretch, lines=lines)
    r = assemble(skin, flat(m))[1]
    inner = np.setdiff1d(np.arange(m.X.shape[1]), m.rim)
    stiffness = 4 * h * np.abs(law(np.array([*stretch**2, 0]))[2]).max()
    assert np.abs(r[:, inner]).max() < 1e-14 * stiffness
    assert np.abs(r[:, m.rim]).max() > 1e-3 * 0.02
    stress = cauchy_stress(skin, flat(m))[0]
    assert stress[0] == approx(np.full_like(stress[0], 0.01 / h), rel=1e-9)
    assert stress[1] == approx(np.full_like(stress[1], 0.02 / h), rel=1e-9)


# In a case ------------------------------------------------------------------------------------------------

CASE = """\
name: a
wound: {outline: {kind: circle, diameter_mm: 20}}
skin: {thickness_mm: 2, law: LAW, tension: {along_N_per_m: 20, across_N_per_m: 10}}
patch: {radius_mm: 100}
"""
GOOD = {
    "ogden": "{kind: ogden, shear_kPa: 10, exponent: 9}",
    "fibres": "{kind: gasser-ogden-holzapfel, shear_kPa: 10, fibre_kPa: 50, stiffening: 10, dispersion: 0.15, "
    "fibre_angle_deg: 40}",
}


@pytest.mark.parametrize(
    ("law", "old", "new", "message"),
    [
        ("ogden", "shear_kPa: 10", "shear_kPa: -1", "law.shear_kPa: got -1, wanted greater than 0"),
        ("ogden", "exponent: 9", "exponent: 0", "law.exponent: got 0, wanted -50 to -1, or 1 to 50"),
        ("ogden", "exponent: 9", "exponent: -0.9", "law.exponent: got -0.9, wanted -50 to -1, or 1 to 50"),
        ("ogden", "exponent: 9", "exponent: 51", "law.exponent: got 51, wanted -50 to -1, or 1 to 50"),
        ("ogden", "exponent: 9", "exponent: nine", "law.exponent: got 'nine', wanted a number"),
        ("ogden", ", exponent: 9", "", "law: missing key 'exponent'; needed: kind, shear_kPa, exponent"),
        ("fibres", "shear_kPa: 10", "shear_kPa: 0", "law.shear_kPa: got 0, wanted greater than 0"),
        ("fibres", "fibre_kPa: 50", "fibre_kPa: -50", "law.fibre_kPa: got -50, wanted greater than 0"),
        ("fibres", "stiffening: 10", "stiffening: 0", "law.stiffening: got 0, wanted greater than 0"),
        ("fibres", "0.15", "-0.01", "law.dispersion: got -0.01, wanted greater than or equal to 0"),
        ("fibres", "0.15", "0.34", "law.dispersion: got 0.34, wanted less than or equal to 0.333"),
        ("fibres", "deg: 40", "deg: 91", "law.fibre_angle_deg: got 91, wanted less than or equal to 90"),
        ("fibres", "deg: 40", "deg: -1", "law.fibre_angle_deg: got -1, wanted greater than or equal to 0"),
    ],
)
def test_bad_parameters(law, old, new, message):
    """A parameter out of its range is refused where it stands, with the range."""
    good = CASE.replace("LAW", GOOD[law])
    assert parse(good, Case, "a.yaml").skin.law.shear_kPa == 10
    with pytest.raises(BadCase, match=r"^a\.yaml:3:\d+: skin\." + re.escape(message)):
        parse(good.replace(old, new, 1), Case, "a.yaml")


@pytest.mark.parametrize("exponent", [-50, -1, 1, 50])
def test_good_exponents(exponent):
    """The ends of both ranges are allowed."""
    written = CASE.replace("LAW", GOOD["ogden"].replace("9", str(exponent)))
    assert parse(written, Case, "a.yaml").skin.law.exponent == exponent


def pivots(closure):
    """Negative pivots of the tangent of a closed wound, and the largest force left on a free node, N."""
    sewing = constraints.constraints(closure.gaping, np.hstack(closure.mesh.seams), closure.mesh.rim)
    problem, q = solve.problem(closure.sheet, sewing), constraints.independent(sewing, closure.x, 1.0)
    here = solve.state(problem, q, closed=1.0, load=np.zeros_like(closure.x))
    return solve.negative_pivots(problem, q), np.abs(here.forces).max()


@pytest.mark.slow
@pytest.mark.parametrize(
    ("law", "lines_deg"),
    [("ogden", 0), ("fibres", 0), ("fibres", 45)],
    ids=["ogden", "fibres", "fibres-turned"],
)
def test_closure(law, lines_deg):
    """The demo's 3:1 lens on coarse triangles in skin that stiffens, on a bed: it gapes, closes and is stable.

    Half a turn maps wound and lines upon themselves, so both cones are alike.
    """
    path = Path(__file__).parents[2] / "configs" / "demo" / "lens-3-1.yaml"
    lines = {"along_N_per_m": 6, "across_N_per_m": 3, "lines_deg": lines_deg}
    blocks = {
        "skin": {"thickness_mm": 2, "law": YAML(typ="safe").load(GOOD[law]), "tension": lines},
        "bed": {"pull_kPa_per_mm": 1, "shear_kPa_per_mm": 0.1},
        "mesh": {"edge_mm": 3, "tip_mm": 2, "far_mm": 30},
    }
    case = parse(json.dumps(YAML(typ="safe").load(path) | blocks), Case, path)
    closure = closed(case)
    negative, residual = pivots(closure)
    assert negative == 0
    assert residual < 1e-8 * 3 * MU * 2 * 4  # of E h edge_mm
    found = measures(closure)
    assert found["gape_width_mm"] > 20
    assert 0.5 < found["cone_height_mm"] < 10
    assert 0.2 < found["closing_force_N"] < 20
    assert found["skin_stretch_max"] > 1.1
    left, right = (cone["height_mm"] for cone in found["cones"])
    assert left == approx(right, rel=0.05)
