"""Purse-string: where the thread passes, what it does to the skin, and that its pull is what energy asks for."""

import json
from functools import cache

import numpy as np
import pytest
import small_cases
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx

from fem.case import physical
from fem.case.case import Case
from fem.case.document import parse
from fem.closure.closing import closed
from fem.closure.measure import measures
from fem.comparison import compare
from fem.errors import BadCase
from fem.geometry.outlines import circle, ellipse, lens, slit, square
from fem.material.skin import resistance
from fem.mechanics.mesh import mesh
from fem.mechanics.sutures import STIFF, around
from fem.mechanics.ties import length
from fem.plan.junctions import check, remainder
from fem.plan.plan import Around
from fem.plan.techniques import purse_string
from fem.results.close import close

CIRCLE = circle(diameter_mm=20)
PLAIN = "skin: {thickness_mm: 2, law: {kind: neo-hooke, shear_kPa: 33.3}}\n"
TENSE = """\
skin: {thickness_mm: 2, law: {kind: neo-hooke, shear_kPa: 33.3}, tension: {along_N_per_m: 12, across_N_per_m: 6}}
bed: {pull_kPa_per_mm: 1.0, shear_kPa_per_mm: 0.1}
"""
THIN = TENSE.replace("thickness_mm: 2", "thickness_mm: 1").replace("12, across_N_per_m: 6", "6, across_N_per_m: 3")


def case(skin=TENSE, patch="patch: {radius_mm: 70}\nmesh: {edge_mm: 2.6, tip_mm: 2.6, far_mm: 25}\n", **keys):
    """A round wound of 20 mm closed by a purse-string."""
    closure = {"technique": "purse-string", "undermine_mm": 10, **keys}
    written = "name: a\nwound: {outline: {kind: circle, diameter_mm: 20}}\n" + f"closure: {json.dumps(closure)}\n"
    return parse(written + skin + patch, Case, "a.yaml")


@cache
def solved(**keys):
    """Closure on coarse triangles, and its measures."""
    closure = closed(case(**keys))
    assert closure.effort.negative_pivots == 0
    return closure, measures(closure)


def test_stations_around_a_circle():
    """12 stations, each the mean of an arc of b = 3 mm, R sin(b/2R)/(b/2R) from the middle: a regular polygon."""
    bench = mesh(purse_string(CIRCLE), radius=60, edge=0.8, tip=0.8, far=9.0)
    thread = around(bench, Around(stations=12, bite=3.0, drawn_to=30.0), skin=0.1)
    X = np.vstack([bench.X, 0 * bench.X[:1]])
    r = 10 * np.sin(0.15) / 0.15
    assert thread.wanted == 30
    assert length(thread, X) == approx(12 * 2 * r * np.sin(np.pi / 12), rel=1e-3)  # chords of 0.8 mm
    assert np.hypot(*(thread.W @ X[:2, thread.nodes].T).T) == approx(r, rel=1e-3)


@pytest.mark.slow
def test_pull_is_the_slope_of_energy():
    """Drawn from 46 to 44 mm, the skin's energy rises by the mean pull times 2 mm (trapezium of a smooth curve)."""
    one, other = solved(thread_mm=46)[1], solved(thread_mm=44)[1]
    pull = (one["purse_force_N"] + other["purse_force_N"]) / 2
    skin = case().skin
    stretch = physical.prestretch(skin.tension, skin.law, h=skin.thickness_mm)
    stiffness = STIFF * resistance(physical.law(skin.law), stretch, h=skin.thickness_mm).max()
    given_way = (other["purse_force_N"] - one["purse_force_N"]) / stiffness  # mm
    assert other["strain_energy_mJ"] - one["strain_energy_mJ"] == approx(pull * (2 - given_way), rel=5e-3)


@pytest.mark.slow
def test_shorter_thread():
    """A shorter thread leaves a smaller opening, pulls more, and lifts folds in thin skin; thick skin stays flat."""
    long, short = (solved(thread_mm=length, skin=THIN)[1] for length in (45, 31))
    assert short["open_area_mm2"] < long["open_area_mm2"] < 100 * np.pi
    assert short["purse_force_N"] > long["purse_force_N"]
    assert solved(thread_mm=45)[1]["cone_height_mm"] == approx(0, abs=1e-6)
    assert short["cone_height_mm"] > 1 > 2 * long["cone_height_mm"]
    assert short["cones"] == [] and short["scar_length_mm"] is short["closing_force_N"] is None


@pytest.mark.slow
def test_pull_does_not_depend_on_the_mesh():
    """Triangles of 1.5 instead of 2.6 mm: within 1 %."""
    fine = closed(case(patch="patch: {radius_mm: 70}\nmesh: {edge_mm: 1.5, tip_mm: 1.5, far_mm: 12}\n", thread_mm=45))
    assert measures(fine)["purse_force_N"] == approx(solved(thread_mm=45)[1]["purse_force_N"], rel=0.01)


@given(ratio=st.floats(1, 4), size=st.floats(5, 60))
@settings(max_examples=20, deadline=None)
def test_deficits_add_up_to_nothing(ratio, size):
    """The open edge counts with its turns: 0 for round and pointed outlines."""
    for outline in (ellipse, lens):
        plan = purse_string(outline(length_mm=size * ratio, width_mm=size))
        check(plan)
        assert remainder(plan) == approx(0, abs=1e-6)
    assert remainder(purse_string(square(side_mm=size))) == approx(0, abs=1e-6)


def test_refused():
    """Without an opening, without anything to draw together, and with sutures where nothing is sewn."""
    with pytest.raises(ValueError, match="slit has no opening"):
        purse_string(slit(length_mm=20))
    with pytest.raises(ValueError, match=r"thread_mm 63 is not less than the edge it is drawn around, 62\.83 mm"):
        purse_string(CIRCLE, thread_mm=63)
    for keys in ({"sutures": {"kind": "interrupted"}}, {"anchor": {}}, {"taper": {"length_mm": 10}}):
        with pytest.raises(BadCase, match="nothing is sewn here"):
            case(**keys)


@pytest.mark.slow
def test_compared_with_what_is_sewn(tmp_path):
    """The comparison takes a wound without any scar beside one that has one, and alone."""
    purse = small_cases.WRITTEN.replace("NAME", "purse").replace("{undermine_mm: 6}", "{technique: purse-string}")
    cases = [small_cases.case(purse.replace("LENGTH", "14")), small_cases.case(small_cases.text("lens", 30))]
    for one in cases:
        close(one, into=tmp_path)
    page, *_ = compare.write(compare.results(cases, {}, into=tmp_path), into=tmp_path)
    assert page.read_text().count("pull of the purse-string") == 1
    assert "Longest scar" not in page.read_text() and "Most skin removed: lens" in page.read_text()
    alone = compare.write(compare.results(cases[:1], {}, into=tmp_path), into=tmp_path / "alone")
    assert alone[0].exists()
