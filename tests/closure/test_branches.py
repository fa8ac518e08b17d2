"""Skin that may rise or sink: which way it went, what else was found, and what is said of it."""

import json
import pickle
from dataclasses import replace
from functools import cache

import pytest
from pytest import approx

from fem.case.case import Case
from fem.case.document import parse
from fem.closure import closing
from fem.closure.branches import doubts, lowest
from fem.closure.closing import closed
from fem.closure.measure import MEASURES, measures
from fem.closure.measures.skin import strain_energy
from fem.comparison.wording import sentence
from fem.errors import NotConverged, at_stage
from fem.mechanics import solve
from fem.mechanics.constraints import constraints, independent
from fem.mechanics.solve import Effort
from fem.results import identity
from fem.results.close import close

GAPE = "gape_length_mm", "gape_width_mm", "gape_axis_deg"
CIRCLE = """
name: circle
wound: {outline: {kind: circle, diameter_mm: 20}}
closure: {undermine_mm: UNDERMINED}
skin: {site: forearm, tension: {along_stretch: ALONG, across_stretch: ACROSS}}
mesh: {edge_mm: 3, tip_mm: 2, far_mm: 15}
"""


SLACK, TENSE = (1.067, 1.001), (1.25, 1.14)


def case(undermined=0, stretch=SLACK):
    """A circle in skin of a forearm, which puckers where it is slack, on coarse triangles."""
    along, across = (str(part) for part in stretch)
    text = CIRCLE.replace("UNDERMINED", str(undermined)).replace("ALONG", along).replace("ACROSS", across)
    return parse(text, Case, "circle.yaml")


@cache
def result(undermined=0, restarts=0, stretch=SLACK):
    return closed(case(undermined, stretch), restarts=restarts)


def ways(effort):
    return [branch["way"] for branch in effort.branches]


def test_a_circle_on_its_bed_may_rise_or_sink():
    """Four ways are told; what is kept is the one of least energy, and skin that may rise does not sink."""
    found = result()
    assert ways(found.effort) == ["led up", "lifted", "pulled up", "mirrored"]
    least = min(branch["energy_mJ"] for branch in found.effort.branches if "failed" not in branch)
    assert strain_energy(found) == approx(least, abs=1e-6)
    assert found.x[2].max() > 10 * -found.x[2].min()  # fat gives way above the skin and not below


def test_tense_skin_on_its_bed_is_pulled_as_well():
    """Led up and lifted it lies flat, pulled harder off its fat too."""
    found = result(stretch=TENSE)
    assert ways(found.effort) == ["led up", "lifted", "pulled up"]
    assert abs(found.x[2]).max() < 0.01


def test_undermined_skin_that_puckers_is_not_stable_flat():
    """Pressed flat it leaves that state by itself; it cannot sink, for there the bed only pushes."""
    found = result(15, stretch=TENSE)
    up, flat = found.effort.branches
    assert ways(found.effort) == ["led up", "pressed flat"]
    assert up["heights_mm"][1] > 3 and "not stable" in flat["failed"]


def test_skin_that_stands_high_is_not_pressed_flat():
    """Slack skin stands more than four times as high as it is thick."""
    assert ways(result(15).effort) == ["led up"]
    assert result(15).x[2].max() > 4 * 1.1


BISTABLE = """
name: circle
wound: {outline: {kind: circle, diameter_mm: 20}}
closure: {undermine_mm: 15}
skin: {site: scalp, tension: {lines_deg: DEGREES}}
mesh: {edge_mm: 3, tip_mm: 2, far_mm: 40}
"""


@pytest.mark.parametrize(("degrees", "rises"), [(45, True), (50, False)])
def test_skin_at_the_threshold_of_buckling(degrees, rises):
    """On these triangles the path ends flat, where the skin is stable; lifted and let go, it stays 2.5 mm high or more.

    The state of less energy is kept, and that skin may take either is said.
    """
    found = closed(parse(BISTABLE.replace("DEGREES", str(degrees)), Case, "circle.yaml"))
    up, lifted = found.effort.branches
    assert (up["way"], lifted["way"]) == ("led up", "lifted")
    assert up["heights_mm"][1] < 1e-3 and lifted["heights_mm"][1] > 2.4
    assert (found.x[2].max() > 2.4) == rises == (lifted["energy_mJ"] < up["energy_mJ"])
    (line,) = doubts(found.effort)
    assert "skin may take either" in line


@pytest.mark.slow
def test_restarts():
    """Random ways end where the others do, or are told with their energy."""
    found = result(15, restarts=2)
    assert ways(found.effort) == ["led up", "led at random 1", "led at random 2"]
    ended = [branch for branch in found.effort.branches if "failed" not in branch]
    assert strain_energy(found) == approx(min(branch["energy_mJ"] for branch in ended), abs=1e-6)
    assert len(doubts(found.effort)) == sum(branch["apart_mm"] > 0.01 for branch in ended)


def test_what_is_said_of_other_ends():
    """With 0.5 % more energy skin may take either end; with 5 % more the other is told as one that is not kept."""
    kept = {"way": "led up", "energy_mJ": 2.0, "heights_mm": [-0.1, 3.0], "apart_mm": 0.0}
    for more, words in ((1.005, "skin may take either"), (1.05, "that of less energy is kept")):
        other = {"way": "mirrored", "energy_mJ": 2.0 * more, "heights_mm": [-2.0, 0.1], "apart_mm": 3.0}
        (line,) = doubts(Effort(branches=[kept, other]))
        assert "mirrored" in line and "-2.00 to 0.10 mm" in line and words in line
    alike = {"way": "mirrored", "energy_mJ": 2.0, "heights_mm": [-0.1, 3.0], "apart_mm": 1e-6}
    assert doubts(Effort(branches=[kept, alike])) == []
    assert "held flat" in doubts(Effort(gaping_at_rest=False))[0]
    assert "at 3 points" in doubts(Effort(edges_unfaced=3))[0]
    assert doubts(Effort(coarser=Effort(branches=[kept, other]))) == [line]  # the path was led on coarser triangles


def test_a_way_that_ends_nowhere():
    """Then random ones are tried, and the first that ends is kept; if none does, it is said why the first did not."""
    found = result(15)
    mesh = found.mesh
    made = solve.problem(found.sheet, constraints(found.gaping, mesh.pairs, mesh.rim), pressure=1e-6)
    q = independent(made.constraints, found.x, 1.0)

    def sew(problem):
        if (problem.perturbation[2] >= 0).all():
            raise NotConverged("not this way")
        return problem, q, None

    def never(problem):
        raise NotConverged(f"way {len(made.effort.branches)}")

    assert lowest(made, sew, both=False, restarts=0)[1] is q
    assert ways(made.effort) == ["led up", "led at random 1"]
    assert made.effort.branches[0]["failed"] == "not this way"
    made.effort.branches.clear()
    with pytest.raises(NotConverged, match="way 0"):
        lowest(made, never, both=False, restarts=0)


def test_a_gape_that_is_held_flat_has_no_size():
    """It is no equilibrium of the model: nothing is printed of it, and a film says why."""
    found = result(15)
    held = replace(found, effort=replace(found.effort, gaping_at_rest=False))
    assert all(MEASURES[name](found) is not None and MEASURES[name](held) is None for name in GAPE)
    for at, words in ((measures(held), "held flat"), (measures(found), "mm long")):
        assert words in sentence("teaching/timeline", "gape", at, True)


def test_other_triangles(monkeypatch):
    """What fails on the triangles given is closed on others, and told; if it fails there too, the first reason is."""
    sizes, first = [], closing._closed

    def failing(case, *, fails, **how):
        sizes.append(case.mesh.edge_mm)
        if len(sizes) <= fails:
            raise NotConverged(f"try {len(sizes)}", kind="saddle")
        return first(case, **how)

    monkeypatch.setattr(closing, "_closed", lambda case, **how: failing(case, fails=1, **how))
    assert "on triangles 0.85 times as large, for on those given: try 1" in doubts(closed(case(15)).effort)[0]
    assert sizes[1] == approx(0.85 * sizes[0])
    sizes.clear()
    monkeypatch.setattr(closing, "_closed", lambda case, **how: failing(case, fails=2, **how))
    with pytest.raises(NotConverged, match=r"try 1 \(saddle: .*\); also tried: triangles 0.85 times as large"):
        closed(case(15))


def test_what_a_failure_says():
    """The innermost stage, what happened, its kind with what may help, and what was tried; it outlives a pickle."""
    with pytest.raises(NotConverged) as caught, at_stage("closing"), at_stage("suture 2 of 3"):
        raise NotConverged("no step lowers the energy", kind="saddle")
    caught.value.tried = ("led at random 1",)
    said = "suture 2 of 3: no step lowers the energy (saddle: other ways may lead past it: --restarts); "
    assert str(pickle.loads(pickle.dumps(caught.value))) == said + "also tried: led at random 1"


def test_a_result_with_fewer_restarts_is_not_enough(tmp_path, monkeypatch):
    """What is asked with restarts is closed again unless as many were tried."""
    found, asked = result(15), []
    monkeypatch.setattr("fem.results.close.closed", lambda case, *, restarts, watch: asked.append(restarts) or found)
    monkeypatch.setattr("fem.render.picture.save_pictures", lambda *_, **__: None)
    monkeypatch.setitem(identity.KEPT, "pictures", identity.KEPT["fields"])
    for restarts in (0, 2, 1, 2, 3):
        close(case(15), into=tmp_path, restarts=restarts)
    assert asked == [0, 2, 3]
    assert json.loads((tmp_path / "circle/run.json").read_text())["restarts"] == 3
