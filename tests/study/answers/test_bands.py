"""Bands of curves: from the least to the greatest value of an input around the line of the middle one."""

from dataclasses import replace

import numpy as np
import pytest
from invented import Evaluate, cone, written
from pytest import approx

from fem.errors import BadCase
from fem.study import keys, report, sweep

LENGTH, FREED, STRETCH = "wound.outline.length_mm", "closure.undermine_mm", "skin.tension.along_stretch"
ASKED = f"{{kind: curves, measures: [cone_height_mm], over: {LENGTH}, band: {STRETCH}}}"
SPREAD = f"""\
grid: {{{LENGTH}: [40, 60, 80, 90]}}
zip:
  {STRETCH}: [1.206, 1.067, 1.387]
  skin.tension.across_stretch: [1.114, 1.0, 1.282]
"""


@pytest.fixture
def answered(tmp_path):
    """A function that gives the study with an answer, and the finding."""

    def answer(wanted, extra):
        path = tmp_path / "study.yaml"
        path.write_text(written(f"  - {wanted}\n", extra))
        study = keys.read(path)
        report.check(study)
        return study, report.findings(study, Evaluate())[0]

    return answer


def heights(study, stretch):
    """The formula's cones at one stretch, by length."""
    return [cone(sweep.case_at(study, at)) for at in sweep.points(study) if at[STRETCH] == stretch]


def test_band(answered):
    """The line is typical skin's; hollow points are slack skin's, above it, filled ones tense skin's, below it."""
    study, finding = answered(ASKED, SPREAD)
    axes = finding.charts[0].figure.axes[0]
    typical, slack, tense = axes.lines[:3] if axes.lines[0].get_lw() > 1 else (axes.lines[2], *axes.lines[:2])
    assert slack.get_markerfacecolor() == "white" != tense.get_markerfacecolor()
    for line, stretch in ((typical, 1.206), (slack, 1.067), (tense, 1.387)):
        assert line.get_ydata() == approx(heights(study, stretch))
    standing = typical.get_ydata() > 0  # no cone stands lower than 0
    assert standing.any() and (slack.get_ydata() > typical.get_ydata()).all()
    assert (typical.get_ydata() > tense.get_ydata())[standing].all()
    (area,) = axes.collections
    corners = area.get_paths()[0].vertices
    assert corners[:, 1].max() == approx(max(heights(study, 1.067)))
    assert corners[:, 1].min() == approx(min(heights(study, 1.387)))
    assert "reaches from slack skin, hollow points, to tense skin, filled ones" in finding.charts[0].caption


def test_table(answered):
    """A column each for slack, typical and tense skin, in this order."""
    study, finding = answered(ASKED, SPREAD)
    (table,) = finding.tables
    assert table.headings[1:] == ("slack skin", "typical skin", "tense skin")
    first = [f"{heights(study, stretch)[0]:.1f}" for stretch in (1.067, 1.206, 1.387)]
    assert list(table.rows[0][1:]) == [text.replace("-", "−") for text in first]


def test_from_which_length_on(answered):
    """The least length from which on every cone stays under 1 mm, by the formula; nowhere if the longest does not."""
    study, finding = answered(ASKED, SPREAD)
    lengths, said = np.array([40, 60, 80, 90]), []
    for stretch, skin in ((1.067, "slack"), (1.206, "typical"), (1.387, "tense")):
        under = np.round(heights(study, stretch), 1) < 1
        start = [length for k, length in enumerate(lengths) if under[k:].all()][:1]
        where = "everywhere" if under.all() else f"from {start[0]} mm on" if start else "nowhere"
        said.append(f"{where} in {skin} skin")
    assert len(set(text.split(" in ")[0] for text in said)) > 1
    assert finding.sentences[0] == (
        f"Cones stay under 1 mm (a limit of our choice), by length of the wound: {'; '.join(said)}."
    )


def test_line_each_site(answered):
    """Two sites: two lines with a band each; the area of each is named by the site's line."""
    by = ASKED.replace("band", "by: skin.site, band")
    _, finding = answered(by, SPREAD.replace("grid: {", "grid: {skin.site: [forearm, back], "))
    axes = finding.charts[0].figure.axes[0]
    assert len(axes.collections) == 2
    names = [text.get_text().strip() for text in axes.get_legend().get_texts()]
    assert names == ["site forearm", "site back"]
    assert [words for _, words in replace(finding, charts=2 * finding.charts).key] == names and finding.key == []
    assert finding.tables[0].headings[1:4] == tuple(
        f"site forearm, {skin} skin" for skin in ("slack", "typical", "tense")
    )


def test_no_band_of_two(answered):
    """Two values have no middle one."""
    with pytest.raises(BadCase, match=r"'closure.undermine_mm' is not varied over three numbers or more"):
        answered(
            ASKED.replace(STRETCH, "closure.undermine_mm"),
            f"grid: {{{LENGTH}: [40, 60], closure.undermine_mm: [5, 9]}}\n",
        )


SITES = "skin.site: [forearm, back, scalp], "


@pytest.mark.parametrize(
    ("wanted", "extra", "message"),
    [
        (ASKED.replace(STRETCH, "wound.outline").replace(LENGTH, FREED),
         f"grid: {{{FREED}: [5, 9], wound.outline: [{{kind: slit, length_mm: 20}}, {{kind: slit, length_mm: 25}}, "
         "{kind: slit, length_mm: 30}]}\n", "'wound.outline' is not varied over three numbers"),
        (ASKED.replace(STRETCH, LENGTH), f"grid: {{{LENGTH}: [40, 60, 80]}}\n", "over or by itself"),
        (ASKED.replace("band", "by: skin.site, band"), SPREAD.replace("zip:", f"zip:\n  {SITES[:-2]}"), "side by side"),
        (ASKED.replace("band", "by: skin.site, band"),
         SPREAD.replace("grid: {", f"grid: {{{FREED}: [5, 15], skin.site: [forearm, back], "), "more than one point"),
        (ASKED.replace(LENGTH, "scar_length_mm"), SPREAD, "scar_length_mm is not known before a wound is closed"),
    ],
)  # fmt: skip
def test_no_band_of_that(answered, wanted, extra, message):
    """Refused: values that are no numbers, the axis itself, what else changes with it, two points at one place."""
    with pytest.raises(BadCase, match=message):
        answered(wanted, extra)


def test_sites_beside_the_stretch(answered):
    """A band over stretches of different sites is none of slack to tense skin, and is not called so."""
    _, finding = answered(ASKED, SPREAD.replace("zip:", f"zip:\n  {SITES[:-2]}"))
    assert finding.tables[0].headings[1].startswith("least natural stretch")


def test_middle_that_is_not_typical(answered):
    """Only the site's typical stretch is called typical."""
    _, finding = answered(ASKED, SPREAD.replace("1.206", "1.2"))
    assert finding.tables[0].headings[1:] == ("slack skin", "skin between", "tense skin")


def test_some_are_not_closed(answered):
    """Wounds beyond 100 mm have no closure in any skin: from where on cones stay flat is not known."""
    _, finding = answered(ASKED, SPREAD.replace("[40, 60, 80, 90]", "[75, 90, 110]"))
    assert finding.sentences[0].count("not known, for not all are closed, in") == 3


def test_other_band(answered):
    """What is no natural stretch is called by its name."""
    _, finding = answered(ASKED.replace(STRETCH, FREED), f"grid: {{{LENGTH}: [40, 60], {FREED}: [5, 9, 20]}}\n")
    assert finding.tables[0].headings[1:] == ("least undermining", "middle undermining", "greatest undermining")


def test_words_along_the_axis(answered):
    """Outlines have no order, so no sentence says from which on; the band is there."""
    outlines = "[{kind: lens, length_mm: 40, width_mm: 20}, {kind: rhombus, length_mm: 60, width_mm: 20}]"
    extra = SPREAD.replace(f"{LENGTH}: [40, 60, 80, 90]", f"wound.outline: {outlines}")
    _, finding = answered(ASKED.replace(LENGTH, "wound.outline"), extra)
    assert finding.sentences == () and len(finding.charts[0].figure.axes[0].collections) == 1
