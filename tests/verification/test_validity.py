"""What was observed beside what was computed, on invented numbers."""

from pathlib import Path

import numpy as np
import pytest
from pytest import approx

from fem.cli import printing
from fem.study.validation import FACTS, SITES, Fact, Line
from fem.verification import page, validity
from fem.verification.check import QUICK


def fact(**ends):
    """A fact that was observed between two ends."""
    about = {"value": "closing_force_N", "about": "force, N", "source": "nobody", "tag": "our choice", "missing": "-"}
    return Fact.model_validate(about | ends)


FACT = fact(low=1.0, high=3.0)


def test_error_over_its_uncertainty():
    """5 N where 1 to 3 were observed, 4 to 7 from slack to tense skin: E = 3, u^2 = 1 + 1.5^2 + 0.05^2."""
    assert validity.share(Line(FACT, (4.0, 5.0, 7.0))) == approx(3 / np.sqrt(1 + 1.5**2 + 0.05**2))
    assert validity.share(Line(FACT, (-1.0, 1.0, 2.0))) == approx(-1 / np.sqrt(1 + 1.5**2 + 0.01**2))


@pytest.mark.parametrize("line", [Line(fact(low=1.0), (4.0, 5.0, 7.0)), Line(FACT, (4.0, np.nan, 7.0))])
def test_nothing_to_say(line):
    """Of what has one end, or no closure in a skin, there is no uncertainty."""
    assert validity.share(line) is None


def test_tables_that_were_printed(capsys):
    """What `flatseam validate --markdown` prints is read back, to the digits printed; other text is no table."""
    table = {site: [Line(fact, (0.0, np.nan, 1234.5678)) for fact in FACTS if site in fact.sites] for site in SITES}
    printing.validation(table, markdown=True)
    read = validity.recorded("# Before\n\n" + capsys.readouterr().out + "\n| a | b |\n")
    assert {site: [line.fact for line in lines] for site, lines in read.items()} == {
        site: [line.fact for line in lines] for site, lines in table.items()
    }
    for line in read[SITES[0]]:
        assert line.values == approx((0.0, np.nan, 1230), nan_ok=True)


def test_tables_of_this_project():
    """tests/MEASURED.md has a line for every fact and site."""
    read = validity.recorded((Path(__file__).parents[1] / "MEASURED.md").read_text())
    assert {site: len(lines) for site, lines in read.items()} == {
        site: sum(site in fact.sites for fact in FACTS) for site in SITES
    }


def test_all_sites():
    """Met at one of two; typical skin is listed by site, the range is that of all skins, without what failed."""
    lines = {"here": [Line(FACT, (1.5, 2.0, 2.5))], "there": [Line(FACT, (np.nan, 5.0, 7.0))]}
    (of,) = validity.observed(lines)
    assert of.typical == (2.0, 5.0) and (of.least, of.greatest, of.met) == (1.5, 7.0, 1) and of.shares == (0.0,)
    for written in (page.html([], QUICK, lines), page.markdown([], QUICK, lines)):
        assert all(words in written for words in ("1 to 3", "2 to 5", "1.5 to 7", "1 of 2", "1 of 1"))
        assert "after ASME V&amp;V 20" in written or "after ASME V&V 20" in written
