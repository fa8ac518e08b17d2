"""Answers through closures that are formulas: charts, tables and sentences that say what the formulas say."""

import re

import numpy as np
import pytest
from invented import Evaluate, cone, written
from pytest import approx
from scipy.stats import uniform

from fem.case import site
from fem.comparison.wording import sentence
from fem.study import keys, report, sweep
from fem.study.answers import sensitivity
from fem.study.answers.finding import asking
from fem.study.answers.naming import heading, name, value

GRID = "grid: {wound.outline.length_mm: [30, 50, 70, 90, 110], closure.undermine_mm: [0, 20]}\n"
LENGTH, FREED, KIND = "wound.outline.length_mm", "closure.undermine_mm", "wound.outline.kind"


@pytest.fixture
def answered(tmp_path):
    """A function that gives the finding on an answer, the evaluations behind it and the study."""

    def answer(wanted, extra=""):
        path = tmp_path / "study.yaml"
        path.write_text(written(f"  - {wanted}\n", extra))
        study, evaluate = keys.read(path), Evaluate()
        report.check(study)
        return report.findings(study, evaluate)[0], evaluate, study

    return answer


def shown(finding, k=0):
    """Points (x, y) of every line of a finding's chart, by its label."""
    lines = finding.charts[k].figure.axes[0].get_lines()
    return {line.get_label().strip(): np.array(line.get_data(), float) for line in lines}


def cells(finding, k=0):
    """Rows of a finding's table."""
    return finding.tables[k].rows


# Curves and maps ----------------------------------------------------------------------------------------------


def test_values_that_nearly_agree(answered):
    """Thicknesses of 2.6001 and 2.6004 mm have a line and a column each, with the digits that tell them apart."""
    finding, _, _ = answered(
        f"{{kind: curves, measures: [cone_height_mm], over: {LENGTH}, by: skin.thickness_mm}}",
        f"grid: {{{LENGTH}: [30, 50], skin.thickness_mm: [2.6001, 2.6004]}}\n",
    )
    assert set(shown(finding)) == {"thickness of the skin 2.6001 mm", "thickness of the skin 2.6004 mm"}
    assert len(cells(finding)) == 2 and all(len(row) == 3 for row in cells(finding))


def test_curves(answered):
    """Cones fall by 0.08 mm a millimetre and with undermining; five of six lengths close, the sixth is said to fail."""
    finding, evaluate, study = answered(
        f"{{kind: curves, measures: [cone_height_mm, push_out_1_mm], over: {LENGTH}, by: {FREED}}}", GRID
    )
    assert len(evaluate.batches) == 1
    assert finding.sentences[:2] == (
        "Cone height, undermining 0 mm, falls from 4.9 mm at 30 mm to 0.1 mm at 90 mm.",
        "Cone height, undermining 20 mm, falls from 4.7 mm at 30 mm to 0.0 mm at 90 mm.",
    )
    assert finding.sentences[2].startswith("Outward travel of tip 1, undermining 0 mm, rises from 0.8 mm")
    assert finding.notes == ("2 of 10 cases have no closure (not converged: 2); the first: too long <img src=x>",)
    assert len(finding.charts) == len(finding.tables) == 2
    assert finding.tables[0].headings == ("length of the wound, mm", "undermining 0 mm", "undermining 20 mm")
    assert cells(finding)[0] == ("30 mm", "4.9", "4.7")
    assert cells(finding)[-1] == ("110 mm", "–", "–")
    for freed in (0.0, 20.0):
        cones = [cone(sweep.case_at(study, {LENGTH: x, FREED: freed})) for x in (30.0, 50.0, 70.0, 90.0)]
        expected = np.array([[30, 50, 70, 90, 110], [*cones, np.nan]])
        assert shown(finding)[f"undermining {freed:g} mm"] == approx(expected, nan_ok=True)
    assert shown(finding, 1)["undermining 0 mm"][1] == approx([0.75, 1.25, 1.75, 2.25, np.nan], nan_ok=True)


def test_curve_over_a_measure(answered):
    """Length to width is no input but follows from the case, even from one that fails: its cross has a place."""
    finding, _, _ = answered("{kind: curves, measures: [scar_length_mm], over: length_to_width}", GRID)
    assert finding.sentences == ("Scar length (along the skin) rises from 33.0 mm at 1.5 to 99.0 mm at 4.5.",)
    assert finding.title == "scar length (along the skin) over length to width of the wound"


def test_curve_both_ways(answered):
    """A course that turns is not called falling or rising."""
    study = "grid: {wound.outline.width_mm: [10, 20, 30], wound.outline.length_mm: [40, 60]}\n"
    wanted = f"{{kind: curves, measures: [cone_height_mm], over: {LENGTH}, by: wound.outline.width_mm}}"
    assert "falls" in answered(wanted, study)[0].sentences[0]
    turned, _, made = answered("{kind: curves, measures: [cone_height_mm], over: length_to_width}", study)
    high, low = (cone(sweep.case_at(made, {LENGTH: length})) for length in (40.0, 60.0))
    assert f"but not one way: least {low:.1f} mm, greatest {high:.1f} mm" in turned.sentences[0]


@pytest.mark.parametrize(("error", "words"), [(0.012, "falls from 2.00 N"), (0.004, "but not one way: least 1.00 N")])
def test_reversals_within_errors(answered, monkeypatch, error, words):
    """Forces that fall but for a step back of 2 %: so they do if each may be off by 1.2 %, by 0.4 % they turn."""
    forces, plain = {30.0: 2.0, 40.0: 1.5, 50.0: 1.53, 60.0: 1.0}, Evaluate.__call__

    def with_forces(self, asked, *, keep="measures"):
        known = [forces[case.wound.outline.length_mm] for case in asked]
        rows = zip(plain(self, asked, keep=keep), known, strict=True)
        return [row | {"closing_force_N": f, "closing_force_error_N": error * f} for row, f in rows]

    monkeypatch.setattr(Evaluate, "__call__", with_forces)
    grid = f"grid: {{{LENGTH}: [30, 40, 50, 60]}}\n"
    finding, _, _ = answered(f"{{kind: curves, measures: [closing_force_N], over: {LENGTH}}}", grid)
    assert words in finding.sentences[0]


def test_curve_that_stays(answered):
    """What prints alike everywhere is said once."""
    grid = f"grid: {{{LENGTH}: [90, 95, 99]}}\n"
    finding, _, _ = answered(f"{{kind: curves, measures: [cone_height_mm], over: {LENGTH}}}", grid)
    assert finding.sentences == ("Cone height stays 0.0 mm.",)


def test_map(answered):
    """Extremes of the map and where they are; failures are crossed and counted."""
    finding, _, study = answered(f"{{kind: map, measure: cone_height_mm, over: [{LENGTH}, {FREED}]}}", GRID)
    assert finding.sentences == (
        "The least cone height is 0.0 mm, at length of the wound 90 mm, undermining 20 mm.",
        "The greatest cone height is 4.9 mm, at length of the wound 30 mm, undermining 0 mm.",
    )
    tie = sentence("study/map", "extreme", "least", "cone height", "0.0 mm", "site back", 2)
    assert tie == "The least cone height is 0.0 mm, at site back, and alike at two more."
    assert "2 of 10 cases" in finding.notes[0]
    assert cells(finding)[1] == ("20 mm", "4.7", "3.1", "1.5", "0.0", "–")
    painted = np.ma.filled(finding.charts[0].figure.axes[0].collections[0].get_array(), np.nan)
    cones = [[cone(sweep.case_at(study, {LENGTH: x, FREED: y})) for x in (30.0, 50.0, 70.0, 90.0)] for y in (0.0, 20.0)]
    assert painted == approx(np.array([[*row, np.nan] for row in cones]), nan_ok=True)  # a row each undermining


def test_all_fail(answered):
    """Nothing but failures: no number is made up, no chart breaks."""
    grid = "grid: {wound.outline.length_mm: [110, 120], closure.undermine_mm: [0, 20]}\n"
    finding, _, _ = answered("{kind: curves, measures: [dip_mm], over: cone_height_mm}", grid)
    assert (finding.sentences, finding.charts, len(finding.notes)) == ((), (), 1)
    for wanted in [
        f"{{kind: map, measure: cone_height_mm, over: [{LENGTH}, {FREED}]}}",
        f"{{kind: curves, measures: [cone_height_mm], over: {LENGTH}, by: {FREED}}}",
    ]:
        finding, _, _ = answered(wanted, grid)
        assert finding.sentences == ()
        assert "4 of 4 cases" in finding.notes[0]
        assert len(finding.charts) == 1


# Uncertain inputs ---------------------------------------------------------------------------------------------


def test_inputs_of_the_site(tmp_path):
    """All six values that the base takes from its site, triangular; tension follows from the stretch."""
    (tmp_path / "study.yaml").write_text(written("  - {kind: sensitivity, measures: [cone_height_mm]}\n"))
    study = keys.read(tmp_path / "study.yaml")
    laws = sensitivity.laws(study.keys.answers[0], study)
    held = site.values(site.SITES["back"])
    assert set(laws) == set(held) - set(site.TENSIONS)
    for path, law in laws.items():
        assert law.support() == approx((held[path].low, held[path].high))
        assert law.mean() == approx((held[path].low + held[path].typical + held[path].high) / 3)


def test_sensitivity(answered):
    """Cone = const - 0.02 tension + 0.3 thickness: the table has the indices of just that at the same design."""
    ends = {"skin.tension.along_N_per_m": (5, 100), "bed.fat_mm": (4, 20), "skin.thickness_mm": (2, 6)}
    inputs = ", ".join(f"{path}: [{low}, {high}]" for path, (low, high) in ends.items())
    finding, evaluate, _ = answered(
        f"{{kind: sensitivity, measures: [cone_height_mm, scar_length_mm], n: 8, seed: 3, inputs: {{{inputs}}}}}"
    )
    points = sensitivity.design([uniform(low, high - low) for low, high in ends.values()], n=8, seed=3)
    known = sensitivity.indices(0.3 * points[2] - 0.02 * points[0], n=8, seed=3)
    expected = [
        (
            name(path),
            *(
                f"{value[i]:.2f} ({interval[0, i]:.2f} to {interval[1, i]:.2f})".replace("-", "−")
                for value, interval in [(known.first, known.first_interval), (known.total, known.total_interval)]
            ),
        )
        for i, path in enumerate(ends)
    ]
    assert cells(finding) == (expected[0], expected[2], expected[1])
    assert shown(finding)["alone (first order)"][0] == approx(known.first)
    assert shown(finding)["with others (total)"][0] == approx(known.total)
    assert expected[1][1:] == ("0.00 (0.00 to 0.00)",) * 2
    most = f"Cone height: tension along the lines matters most, total index {known.total[0]:.2f}"
    assert finding.sentences[0].startswith(most)
    assert finding.sentences[-2] == "Cone height hardly depends on thickness of the fat (total indices below 0.05)."
    assert "scar length (along the skin): it does not vary" in finding.sentences[-1]
    assert evaluate.solves == 8 * 5
    assert len(evaluate.batches) == 1


def test_dropped_rows_are_said(answered):
    """Lengths over 100 mm fail: their rows are dropped whole, and the table's caption says how many."""
    finding, _, _ = answered(
        f"{{kind: sensitivity, measures: [cone_height_mm], n: 16, inputs: {{{LENGTH}: [60, 110], {FREED}: [0, 20]}}}}"
    )
    dropped = int(re.search(r"(\d+) of 16 rows of the design dropped", finding.tables[0].caption)[1])
    assert 16 * 0.2 < dropped < 16 * 0.5  # a share of 0.2 of A or B, so 0.36 of rows
    assert "cases have no closure" in finding.notes[-1]


def test_designs_that_print_alike(answered):
    """Heights 1e-9 mm apart, as of cones that lie flat, are equal, not lower."""
    designs = "{plain: {closure.undermine_mm: 15}, same: {closure.undermine_mm: 15.0000001}}"
    finding, _, _ = answered(f"{{kind: uncertainty, measures: [cone_height_mm], n: 8, designs: {designs}}}")
    assert "in 0 of 8 skins, equal in 8" in finding.sentences[0]


def test_uncertainty(answered):
    """5 mm more length and 15 mm more undermining take 0.4 + 0.15 mm off every cone: the chance is 100 %."""
    finding, evaluate, _ = answered(
        f"{{kind: uncertainty, measures: [cone_height_mm, scar_length_mm], n: 16, designs: "
        f"{{long: {{{LENGTH}: 55, {FREED}: 30}}, short: {{{LENGTH}: 50}}, failed: {{{LENGTH}: 101}}}}}}"
    )
    assert finding.sentences[0] == (
        "Cone height of long is lower than that of short in 16 of 16 skins: a chance of 100 % (81 to 100 %). The "
        "median difference is −0.6 mm."
    )
    assert finding.sentences[1] == "Too few pairs of long and failed are known to compare their cone height."
    long, short, failed = cells(finding)
    assert float(short[3]) - float(long[3]) == approx(0.55, abs=0.1)
    assert failed == ("failed", *"–––––", "too few")
    assert long[-1] == "16 of 16"
    medians = [line.get_xdata()[0] for line in finding.charts[0].figure.axes[0].get_lines()]
    assert medians == approx([float(long[3]), float(short[3])], abs=0.05)
    assert evaluate.solves == 3 * 16


# Searches -----------------------------------------------------------------------------------------------------


def test_least_input(answered):
    """7 - 0.08 l = 2 at 62.5 mm, where skin is as in the base; found to the tolerance in under 12 solves."""
    finding, evaluate, study = answered(
        f"{{kind: search, least: {LENGTH}, limits: {{cone_height_mm: 2}}, over: {{{LENGTH}: [30, 100]}}}}"
    )
    truth = 30 + (cone(sweep.case_at(study, {LENGTH: 30.0})) - 2) / 0.08
    result = float(re.search(r"at most 2.0 mm is (\d+\.\d+) mm", finding.sentences[0])[1])
    assert truth - 1e-3 <= result <= truth + 70 / 200  # as printed
    assert evaluate.solves < 12
    assert len(cells(finding)) == evaluate.solves
    lengths, cones = shown(finding)["evaluated"]
    assert cones == approx([cone(sweep.case_at(study, {LENGTH: x})) for x in lengths])
    assert shown(finding)["limit"][1] == approx([2, 2])
    assert shown(finding)["least value found"][0] == approx([result, result], abs=1e-3)
    assert [row[-1] for row in cells(finding)] == sorted(row[-1] for row in cells(finding))  # exceeded, then kept


class Sunk(Evaluate):
    """The same closures upside down."""

    def __call__(self, asked):
        return [row | {"cone_height_mm": -row.get("cone_height_mm", np.nan)} for row in super().__call__(asked)]


def test_sunk_cones(tmp_path):
    """Cones sunk as deep as they stood keep no limit that they broke, and are as far from the least."""
    path, two = tmp_path / "study.yaml", "{short: {wound.outline.length_mm: 40}, long: {wound.outline.length_mm: 60}}"
    wanted = [
        f"{{kind: search, least: {LENGTH}, limits: {{cone_height_mm: 2}}, over: {{{LENGTH}: [30, 100]}}}}",
        f"{{kind: map, measure: cone_height_mm, over: [{LENGTH}, {FREED}]}}",
        f"{{kind: uncertainty, designs: {two}, measures: [cone_height_mm], n: 8}}",
    ]
    path.write_text(written("".join(f"  - {answer}\n" for answer in wanted), GRID))
    study = keys.read(path)
    up, down = (report.findings(study, evaluate()) for evaluate in (Evaluate, Sunk))
    assert down[0].sentences == up[0].sentences
    assert [line.replace("−", "") for line in down[1].sentences] == list(up[1].sentences)
    assert down[2].sentences == up[2].sentences


@pytest.mark.parametrize(
    "limit, high, text",
    [
        (2, 130, "No answer: at 130 mm, an end of the range, there is no closure"),
        (0.5, 70, "No length of the wound from 30 mm to 70 mm is known to have cone height at most 0.5 mm: at 70 mm"),
        (6, 70, "The limits are kept at 30 mm already, the lower end of the range: cone height 4."),
    ],
)
def test_nothing_bracketed(answered, limit, high, text):
    """An end that fails, a limit that is never kept and one that is always kept are said, after two solves."""
    finding, evaluate, _ = answered(
        f"{{kind: search, least: {LENGTH}, limits: {{cone_height_mm: {limit}}}, over: {{{LENGTH}: [30, {high}]}}}}"
    )
    assert finding.sentences[0].startswith(text)
    assert evaluate.solves == 2


SEVERAL = (
    "{kind: search, least: scar_length_mm, limits: {cone_height_mm: 2, line_tension_mid_N_per_m: 58}, "
    f"over: {{{LENGTH}: [30, 130], {FREED}: [0, 40], {KIND}: [lens, rhombus]}}, budget: 80"
)


def shortest(case, skins):
    """Exact shortest scar of a rhombus within both limits: undermining at its end, cones of the worst skin at 2 mm."""
    highest = max(cone(case({LENGTH: 30.0, FREED: 40.0, KIND: "rhombus"} | skin)) for skin in skins)
    return 1.1 * (30 + (highest - 2) / 0.08) + 4


def test_shortest_scar(answered):
    """The best kind, and its scar to a percent; the front is told, the other kind's best too, failures counted."""
    finding, evaluate, study = answered(SEVERAL + "}")
    truth = shortest(lambda settings: sweep.case_at(study, settings), [{}])
    result = float(re.search(r"at most 58 N/m is (\d+\.\d) mm", finding.sentences[0])[1])
    assert result == approx(truth, rel=0.01)
    assert "outline rhombus" in finding.sentences[0]
    assert finding.sentences[1].startswith("Outline lens: ")
    assert evaluate.solves <= 80
    assert any("have no closure" in note for note in finding.notes)
    scars, cones = shown(finding)["outline rhombus"]
    assert scars.max() < 1.1 * 100 + 4 + 1e-9 and (cones <= 2).all()  # within limits, as their marks say
    assert shown(finding)["best within limits"][:, 0] == approx([result, 2], abs=0.05)
    front = [(float(row[3].split()[0]), float(row[4].split()[0].replace("−", "-"))) for row in cells(finding)]
    assert front == sorted(front)
    assert [y for _, y in front] == sorted((y for _, y in front), reverse=True)


def test_worst_of_the_range(answered):
    """Thick skin (4 mm) that is hardly stretched has the highest cones; in it the scar must be longer."""
    finding, _, study = answered(SEVERAL + ", skins: worst}")
    slack = {stretch: site.values(site.SITES["back"])[stretch].low for stretch in site.STRETCHES}
    truth = shortest(lambda settings: sweep.case_at(study, settings), [{}, slack | {"skin.thickness_mm": 4.0}])
    result = float(re.search(r"at most 58 N/m is (\d+\.\d) mm", finding.sentences[0])[1])
    assert result == approx(truth, rel=0.01)
    assert any("keeps the limit of cone height in 16;" in line for line in finding.sentences)
    assert any("thickness of the skin 4 mm" in note for note in finding.notes)


def test_skins_that_are_listed(answered):
    """A list of skins: the thicker one decides, and each design is closed in both at once."""
    finding, evaluate, study = answered(SEVERAL + ", skins: [{skin.thickness_mm: 2}, {skin.thickness_mm: 3.5}]}")
    truth = shortest(lambda settings: sweep.case_at(study, settings), [{"skin.thickness_mm": 3.5}])
    result = float(re.search(r"at most 58 N/m is (\d+\.\d) mm", finding.sentences[0])[1])
    assert result == approx(truth, rel=0.01)
    assert all(len(batch) % 2 == 0 for batch in evaluate.batches)


def test_no_design_within_limits(answered):
    """Limits that nothing keeps: the nearest design is told, none is called best."""
    finding, _, _ = answered(SEVERAL.replace("_m: 58", "_m: 20") + "}")
    assert finding.sentences[0].startswith("No design evaluated has cone height at most 2.0 mm and line tension")
    assert "The nearest" in finding.sentences[0]


def test_blocks_as_choices(answered):
    """A choice may be a whole block, as an outline of its own with its own keys."""
    outlines = "[{kind: lens, length_mm: 70, width_mm: 20}, {kind: rhombus, length_mm: 60, width_mm: 20}]"
    finding, evaluate, _ = answered(
        f"{{kind: search, least: scar_length_mm, limits: {{cone_height_mm: 2}}, over: {{wound.outline: {outlines}}}}}"
    )
    assert "is 70.0 mm: outline rhombus (length 60 mm, width 20 mm); " in finding.sentences[0]
    assert evaluate.solves == 2


# Asking -------------------------------------------------------------------------------------------------------


def test_what_is_no_case_fails_alone(answered):
    """A length below the width makes no case; its row says why, and the others are evaluated in one batch."""
    _, _, study = answered(f"{{kind: curves, measures: [cone_height_mm], over: {LENGTH}}}", GRID)
    evaluate = Evaluate()
    rows = asking(study, evaluate)([{LENGTH: 50.0}, {LENGTH: 10.0}, {LENGTH: 60.0}])
    assert [row["status"] for row in rows] == ["done", "failed", "done"]
    assert "at most length_mm" in rows[1]["reason"] or "width" in rows[1]["reason"]
    assert [len(batch) for batch in evaluate.batches] == [2]


def test_words():
    """Inputs have names and units, whatever they are."""
    assert name("bed.fat_mm") == "thickness of the fat"
    assert name("closure.taper.length_mm") == "taper length"
    assert name("healthy_removed_mm2") == "healthy skin removed (all of it if no lesion is given)"
    assert value("bed.fat_shear_kPa", 0.53) == "0.53 kPa"
    assert value(KIND, "lens") == "lens"


def test_units():
    """Of keys whose unit ends in that of another as well."""
    assert value("bed.pull_kPa_per_mm", 0.8613) == "0.8613 kPa/mm"
    assert value("skin.tension.along_N_per_m", 8.8) == "8.8 N/m"
    assert heading("closure.undermine_mm") == "undermining, mm"
    assert heading("length_to_width") == "length to width of the wound"
