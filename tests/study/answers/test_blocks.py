"""What a study may be asked: every complaint names the place and what is allowed, before anything is solved."""

import pytest
from invented import Evaluate, written

from fem.errors import BadCase
from fem.results.quantities import known
from fem.study import keys, report
from fem.study.answers import uncertain_inputs

WRONG = {  # an answer, and what is said of it
    "{kind: curve, measures: [cone_height_mm], over: a}": "answers[0].kind: got 'curve'; did you mean 'curves'?",
    "{kind: curves, measures: [cone_height_m], over: a}": "answers[0].measures[0]: got 'cone_height_m'; did you mean "
    "'cone_height_mm', in mm?",
    "{kind: curves, measures: [], over: a}": "wanted at least one measure",
    "{kind: map, measure: cone_height_mm, over: [a]}": "value number 2 is missing",
    "{kind: sensitivity, measures: [dip_mm], n: 12}": "answers[0].n: got 12, wanted a power of two from 8 on",
    "{kind: sensitivity, measures: [dip_mm], inputs: {bed.fat_mm: [3, 1]}}": "bed.fat_mm: wanted low < high",
    "{kind: sensitivity, measures: [dip_mm], inputs: {bed.fat_mm: [1, 2, 3]}}": "bed.fat_mm: wanted [low, high]",
    "{kind: uncertainty, measures: [dip_mm], designs: {}}": "designs: wanted at least one design",
    "{kind: search, least: dip_mm, limits: {dip: 1}, over: {a.b: [1, 2]}}": "limits.dip: got 'dip'; did you mean",
    "{kind: search, least: dip_mm, limits: {}, over: {a.b: [2, 1]}}": "over.a.b: wanted low < high",
    "{kind: search, least: a.b, limits: {dip_mm: 1}, over: {a.b: [1, 2], c.d: [1, 2]}}": "least: 'a.b' is no measure",
    "{kind: search, least: a.b, limits: {}, over: {a.b: [1, 2]}}": "a range [low, high] and a limit are needed",
    "{kind: search, least: dip_mm, limits: {}, over: {a.b: [1, 2]}, skins: softest}": "skins",
}
IMPOSSIBLE = {  # an answer that can be read but not given, and what is said of it
    "{kind: sensitivity, measures: [dip_mm], inputs: {bed.fat_mm: [1, 2]}}": "needs two inputs or more",
    "{kind: curves, measures: [cone_height_mm], over: bed.fat_mm}": "'bed.fat_mm' is not varied",
    "{kind: curves, measures: [dip_mm], over: length_to_width, by: skin.site}": "'skin.site' is not varied",
    "{kind: map, measure: cone_height_mm, over: [length_to_width, wound.outline.width_mm]}": "'length_to_width' is not",
    "{kind: sensitivity, measures: [dip_mm], inputs: {skin.thicknes_mm: [1, 2], bed.fat_mm: [1, 2]}}": "unknown key "
    "'thicknes_mm'",
    "{kind: uncertainty, measures: [dip_mm], designs: {a: {wound.outline.length: 60}}}": "unknown key 'length'",
    "{kind: search, least: dip_mm, limits: {}, over: {closure.undermine: [1, 2]}}": "unknown key 'undermine'",
    "{kind: search, least: dip_mm, limits: {}, over: {wound.outline.kind: [lense, circle]}}": "got 'lense'",
}


def read(tmp_path, answers, extra=""):
    """The study that asks something."""
    path = tmp_path / "study.yaml"
    path.write_text(written(f"  - {answers}\n", extra))
    return keys.read(path)


@pytest.mark.parametrize("wanted", WRONG)
def test_what_cannot_be_asked(tmp_path, wanted):
    """Reading the study says where and why, with the line and a caret."""
    with pytest.raises(BadCase) as refused:
        read(tmp_path, wanted)
    assert WRONG[wanted] in str(refused.value)
    assert "study.yaml:8:" in str(refused.value)
    assert "^" in str(refused.value)


def test_former_names_of_measures(tmp_path):
    """A measure by its former name, as key or value or in a list, is today's, with a warning that names the place."""
    wanted = "{kind: search, least: passed_through_mm2, limits: {loosened_area_mm2: 1}, over: {a.b: [1, 2]}}"
    with pytest.warns(FutureWarning, match="study.yaml:8:") as warned, pytest.raises(BadCase) as refused:
        read(tmp_path, wanted)
    warnings = {str(warning.message).split(": warning: ")[1] for warning in warned}
    assert warnings == {
        "'passed_through_mm2' is called 'self_intersection_mm2' now",
        "'loosened_area_mm2' is called 'undermined_area_mm2' now",
    }
    assert "limits.undermined_area_mm2: got" in str(refused.value)
    with pytest.warns(FutureWarning):
        study = read(tmp_path, "{kind: curves, measures: [passed_through_mm2], over: length_to_width}")
    assert study.keys.answers[0].measures == ("self_intersection_mm2",)


@pytest.mark.parametrize("wanted", IMPOSSIBLE)
def test_what_cannot_be_answered(tmp_path, wanted):
    """What the study does not vary, or what no case has, is told before anything is solved, with its line."""
    study = read(tmp_path, wanted, extra="grid: {wound.outline.length_mm: [40, 60]}\n")
    with pytest.raises(BadCase) as refused:
        report.check(study)
    assert IMPOSSIBLE[wanted] in str(refused.value)
    assert "study.yaml:9:" in str(refused.value)
    assert all(line.count("study.yaml:") <= 1 for line in str(refused.value).splitlines())


def test_site_needed(tmp_path):
    """Ranges that are left out are those of the site; where the base takes nothing from one they must be given."""
    path = tmp_path / "study.yaml"
    skin = "{thickness_mm: 2, law: {kind: neo-hooke, shear_kPa: 30}}"
    path.write_text(written("  - {kind: sensitivity, measures: [dip_mm]}\n").replace("{site: back}", skin))
    with pytest.raises(BadCase, match="the base takes nothing from a site, so `inputs` must be given"):
        report.check(keys.read(path))


def test_names_of_measures():
    """Numbers of lists have a name each, as in the tables; anything else is none."""
    assert all(map(known, ["cone_height_mm", "push_out_2_mm", "cones_1_reach_mm", "self_intersection_mm2"]))
    assert not any(map(known, ["push_out_mm_2", "wound.outline.length_mm", "cone", "height"]))


def test_counts(tmp_path):
    """The number of cases that an answer is said to ask for is the number it asks for, at most where it searches."""
    wanted = {
        "{kind: sensitivity, measures: [cone_height_mm], n: 8}": 8 * (7 + 2),
        "{kind: uncertainty, measures: [cone_height_mm], n: 8, designs: {a: {}, b: {closure.undermine_mm: 5}}}": 16,
        "{kind: search, least: wound.outline.length_mm, limits: {cone_height_mm: 2}, "
        "over: {wound.outline.length_mm: [30, 90]}}": None,
        "{kind: search, least: scar_length_mm, limits: {cone_height_mm: 2}, skins: worst, budget: 6, "
        "over: {wound.outline.length_mm: [30, 90]}}": None,
    }
    for answer, exact in wanted.items():
        study, evaluate = read(tmp_path, answer), Evaluate()
        (_, error), *_ = report.counts(study)
        report.findings(study, evaluate)
        assert evaluate.solves == exact if exact else evaluate.solves <= error
        assert exact in (None, error)


def test_radius_of_a_site_joins_its_inputs(tmp_path):
    """A base on its site's body varies the radius over that site's range; one on a flat patch has none to vary."""
    base = "name: a\nbase:\n  wound: {outline: {kind: lens, length_mm: 30, width_mm: 10}}\n  skin: {site: forearm}\n"
    path = tmp_path / "study.yaml"
    for patch, joins in (("{radius_mm: 60, surface: site}", True), ("{radius_mm: 60}", False)):
        path.write_text(f"{base}  patch: {patch}\nanswers:\n  - {{kind: sensitivity, measures: [dip_mm]}}\n")
        laws = uncertain_inputs.laws_of(None, keys.read(path))
        assert ("patch.surface.radius_mm" in laws) == joins
        if joins:
            assert laws["patch.surface.radius_mm"].support() == (37, 46)
            report.check(keys.read(path))
