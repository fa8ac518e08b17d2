"""When two closures are alike in a number, within errors or from slack to tense skin; what page and tables say."""

from dataclasses import replace

import duckdb
import pytest
from ranged import made
from small_cases import case, text

import flatseam
from fem.comparison import chart, compare, glance, page
from fem.comparison.alike import alike
from fem.results.accuracy import Accuracy, Error
from fem.results.quantities import plus_minus

CONE = "cone_height_mm"


def pair(first, second):
    """Two closures with cones so high in slack, typical and tense skin, and the spread of both."""
    (a, ends_a), (b, ends_b) = made("a", first), made("b", second)
    return a, b, {"a": ends_a, "b": ends_b}


def known(result, error):
    """The result with an error of its cones that was estimated."""
    return replace(result, accuracy=Accuracy({CONE: Error(0.75 * error, 0.25 * error, "Richardson, order 2.0")}))


@pytest.mark.parametrize(
    ("first", "second", "wanted"),
    [
        ((6, 4, 2), (5, 3, 1), False),  # ranges overlap from 2 to 5, yet in every skin the first has more
        ((6, 4, 2), (7, 3, 1), True),  # in slack skin the second has more
        ((6, 4, 1), (5, 3, 2), True),  # and here in tense skin
        ((6, 4, 0), (5, 3, 0), False),  # in tense skin both lie flat: none ever has less
        ((6, 4, None), (5, 3, 9), False),  # not closed in tense skin, which then says nothing
        ((6, 3.0, 2), (6.04, 3.04, 2), True),  # as printed in all skins
        ((6, 3.0, 2), (5, 3.04, 1), False),  # as printed in their own skin only
        ((6, -4, 2), (5, 3, 1), False),  # sunk is as bad as up
        ((5.3, 0, 0), (3.5, 0, 0), False),  # both lie flat, but not in slack skin
        ((5.3, 0, 0), (3.5, 0, 0.5), True),  # and here which has more turns round
        ((5.3, 0, 0), (None, 0, 0), True),  # not closed in slack skin, which then says nothing
    ],
)
def test_in_the_same_skin(first, second, wanted):
    """Alike if both are in every skin, or if which of the two has higher cones turns round, each time in one skin."""
    a, b, spread = pair(first, second)
    assert [alike(CONE, *each, spread) for each in ((a, b), (b, a))] == [wanted, wanted]


@pytest.mark.parametrize(("error", "wanted"), [(0.04, False), (0.06, True)])
def test_within_errors(error, wanted):
    """Cones of 2.0 and 2.1 mm: with errors of 0.04 mm each they differ, with 0.06 mm not."""
    a, b, _ = pair((0, 2.0, 0), (0, 2.1, 0))
    assert alike(CONE, known(a, error), known(b, error), {}) is wanted


def test_stated_errors():
    """Where none was estimated 2.2 % stand in on default triangles: 2.0 and 2.08 mm are alike, 2.0 and 2.2 mm not."""
    a, b, _ = pair((0, 2.0, 0), (0, 2.08, 0))
    higher = replace(b, measures=b.measures | {CONE: 2.2})
    assert (alike(CONE, a, b, {}), alike(CONE, a, higher, {})) == (True, False)


def three(*heights, error):
    """Three closures in one skin."""
    return [known(made(name, (0, height, 0))[0], error) for name, height in zip("abc", heights, strict=True)]


def cones(results):
    row = next(row for row in page.table(results) if row["name"] == CONE)
    return row, [(cell["rank"], cell["alike"], cell["like"]) for cell in row["cells"]]


def test_best_is_not_alone():
    """1.0 and 1.1 mm within 0.06 mm: both are best, two alike; the sentence names both."""
    results = three(1.0, 1.1, 4.0, error=0.06)
    assert cones(results)[1] == [("best", 2, []), ("best", 2, []), ("worst", 1, [])]
    assert glance.lines(results)[0] == "Greatest cones: c (4.0 mm); least: a (1.0 mm), alike with b."


def test_like_both_ends():
    """1.0, 1.1 and 1.2 mm within 0.06 mm: the middle one has no rank, and each says whom else it is like."""
    row, cells = cones(three(1.0, 1.1, 1.2, error=0.06))
    assert cells == [("best", 2, ["b"]), (None, 3, ["a", "c"]), ("worst", 2, ["b"])] and not row["alike"]


def test_all_alike():
    """1.0, 1.1 and 1.2 mm within 0.2 mm: none is ranked, the row and a sentence say so."""
    results = three(1.0, 1.1, 1.2, error=0.2)
    row, cells = cones(results)
    assert row["alike"] and cells == [(None, 3, [])] * 3
    assert glance.lines(results)[-1].startswith("Alike in all: cone height")


def test_by_skin():
    """In tense skin b has more than a, though less in their own: each says that it is alike with the other by skin.

    c has less than both in every skin, and is best.
    """
    a, b, spread = pair((6, 4, 1), (5, 3, 2))
    c, ends = made("c", (3, 1, 0))
    row = next(row for row in page.table([a, b, c], spread=spread | {"c": ends}) if row["name"] == CONE)
    assert [(cell["rank"], cell["like"]) for cell in row["cells"]] == [("worst", []), ("worst", []), ("best", [])]
    row = next(row for row in page.table([a, b], spread=spread) if row["name"] == CONE)
    assert row["alike"]
    d, ends = made("d", (7, 5, 1.5))  # above a in all, in tense skin below b
    row = next(row for row in page.table([a, b, d], spread=spread | {"d": ends}) if row["name"] == CONE)
    assert [cell["like"] for cell in row["cells"]] == [["b by skin"], ["a by skin", "d by skin"], ["b by skin"]]


def test_flat_but_for_slack_skin():
    """Three lie flat in their own skin; in slack skin b has the lowest cones, and is best alone."""
    heights = {"a": (5.3, 0, 0), "b": (3.5, 0, 0), "c": (3.9, 0.01, 0), "d": (6, 4, 0)}
    known = {name: made(name, high) for name, high in heights.items()}
    results, spread = [own for own, _ in known.values()], {name: ends for name, (_, ends) in known.items()}
    row = next(row for row in page.table(results, spread=spread) if row["name"] == CONE)
    assert [cell["rank"] for cell in row["cells"]] == [None, "best", None, "worst"] and not row["alike"]
    assert [cell["where"] for cell in row["cells"]] == [None, "slack", None, ""]  # d is worst in its own skin
    line = "Greatest cones: d (4.0 mm); least: three (0.0 mm), of these b in slack skin (3.5 mm)."
    assert glance.lines(results, spread)[0] == line
    line = (
        "Greatest cones: a in slack skin (5.3 mm); least: b in slack skin (3.5 mm); in the skin of the cases all have "
    )
    assert glance.lines(results[:2], spread)[0] == f"{line}0.0 mm."
    row = next(row for row in page.table(results[:2], spread=spread) if row["name"] == CONE)
    assert [cell["rank"] for cell in row["cells"]] == ["worst", "best"] and not row["alike"]


def test_columns(tmp_path):
    """An error that was estimated has a column of its own, beside each number of the case's own skin.

    Of lengths round-off is 0.
    """
    a, b, spread = pair((6, 4, 2), (5, 3, 1))
    assert compare.table([replace(a, measures=a.measures | {"dip_mm": 4e-16})])["dip_mm"] == [0.0]
    compare.write_tables([known(a, 0.25), b], spread, tmp_path / "t.csv", tmp_path / "t.parquet")
    for kind in ("csv", "parquet"):
        query = f"SELECT \"case\", skin, cone_height_error_mm FROM '{tmp_path}/t.{kind}' WHERE skin <> 'tense'"
        wanted = [("a", "as given", 0.25), ("a", "slack", None), ("b", "as given", None), ("b", "slack", None)]
        assert duckdb.sql(query).fetchall() == wanted


def test_bars():
    """On the chart a bar from value less error to value and error; where that is below 0 it ends there."""
    high, flat, _ = three(4.0, 0.1, 1.0, error=0.5)
    figure = chart.trade_off([high, flat], "scar_length_mm", CONE)
    spans = [line.get_xydata()[:, 1].round(9).tolist() for line in figure.axes[0].lines]
    assert [3.5, 4.5] in spans and [0.0, 0.6] in spans


@pytest.mark.slow
def test_from_solving_to_what_is_shown(tmp_path, opened):
    """Errors are estimated once their case is closed, and then shown by page, table, terminal and package."""
    sample, ended = case(text("lens", 20)), []
    watch = lambda job, error, done, of: ended.append((job.called, error, done, of))  # noqa: E731
    assert compare.solve_missing([sample], into=tmp_path, error=True, watch=watch) == {}
    assert ended == [("lens", None, 1, 2), ("lens, errors", None, 2, 2)]
    assert compare.solve_missing([sample], into=tmp_path, error=True, watch=watch) == {} and len(ended) == 2
    done = compare.compare([sample], into=tmp_path, error=True)
    wanted = plus_minus(done.results[0].error("closing_force_N"))
    for file in (tmp_path / "comparison.html", tmp_path / "lens" / "index.html"):
        tab, complaints = opened(file, 390)
        assert complaints == [] and tab.evaluate("document.documentElement.scrollWidth") == 390
        assert tab.locator("tr[data-measure=closing_force_N] .error").inner_text() == wanted
    measure = flatseam.load(tmp_path / "lens").measures["closing_force_N"]
    assert measure.error == done.results[0].error("closing_force_N") and wanted in str(measure)
