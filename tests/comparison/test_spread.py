"""A case in slack and tense skin of its site: what is closed, where it lies, and what is said of it."""

import json
import shutil

import duckdb
import pytest
from ranged import ARM, LENS, made
from small_cases import HELD, case, text
from terminal import names

from fem.case.site import SITES
from fem.comparison import chart, compare, flat, page, spread
from fem.comparison.written import without_defaults
from fem.results.result import Result

COARSE = ARM + "patch: {radius_mm: 50}\nmesh: {edge_mm: 2.5, tip_mm: 2.5, far_mm: 12}\n"
END = {"slack": "low", "tense": "high"}


def stretched(written, end):
    """The case of a text whose user gave the natural stretch at one end of the forearm's range."""
    known = SITES["forearm"].stretch
    ways = ", ".join(f"{way}_stretch: {getattr(known[way], end)}" for way in ("along", "across"))
    return case(written.replace("site: forearm", f"site: forearm, tension: {{{ways}}}"))


# Which case it is ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "more",
    ["", "patch: {radius_mm: 50}\n", "mesh: {edge_mm: 0.8}\n", "mesh: {far_mm: 9, tip_mm: 0.5}\n", "bed: null\n",
     "bed: {fat_mm: 8}\n", "patch: {radius_mm: 60}\nmesh: {edge_mm: 2, tip_mm: 2, far_mm: 12}\n"],
)  # fmt: skip
def test_as_if_its_user_had_given_the_stretch(more):
    """Law, bed, what was given and what follows by default: all as in a file with the least or greatest stretch."""
    made = spread.variants(case(ARM + more))
    assert {skin: made[skin] == stretched(ARM + more, end) for skin, end in END.items()} == {
        "slack": True,
        "tense": True,
    }


def test_what_changes():
    """Less stretch is less tension of the same law, and a smaller patch by default; a given one stays."""
    middle, made = case(ARM), spread.variants(case(ARM))
    slack, tense = made["slack"], made["tense"]
    tensions = [c.skin.tension.along_N_per_m for c in (slack, middle, tense)]
    assert tensions == sorted(tensions) and tensions[0] < 0.5 * tensions[1]
    assert slack.skin.law == tense.skin.law == middle.skin.law and slack.bed == middle.bed
    assert slack.patch.radius_mm < middle.patch.radius_mm < tense.patch.radius_mm
    assert {c.patch.radius_mm for c in spread.variants(case(COARSE)).values()} == {50}


def test_age_makes_room_for_the_stretch():
    """The ends are the site's, whatever the age of the case."""
    aged = spread.variants(case(ARM.replace("forearm", "forearm, age_years: 80")))
    assert aged == spread.variants(case(ARM))


@pytest.mark.parametrize(
    "written",
    [text("own", 20), ARM.replace("forearm", "silicone-pad"),
     ARM.replace("forearm", "forearm, tension: {along_N_per_m: 5}"),
     ARM.replace("forearm", "forearm, tension: {along_stretch: 1.1, across_stretch: 1}")],
)  # fmt: skip
def test_no_range(written):
    """Skin without a site, a bench material, a tension that was given even along the lines only: nothing to vary."""
    assert spread.variants(case(written)) == {}


def test_what_cannot_be():
    """Triangles given so large that the smaller patch of slack skin has no room for them: a reason in its place."""
    made = spread.variants(case(ARM + "mesh: {far_mm: 60}\n"))
    assert str(made["slack"]).startswith("mesh: far_mm 60 is more than the ")
    assert made["tense"] == stretched(ARM + "mesh: {far_mm: 60}\n", "high")


def test_without_defaults():
    """What a case has by default is left out; what was given is not, though others follow from it."""
    assert not {"patch", "from_site"} & set(without_defaults(case(ARM)))
    left = without_defaults(case(ARM + "mesh: {edge_mm: 0.8}\n"))
    assert left["mesh"] == {"edge_mm": 0.8} and "patch" not in left


# What is closed -----------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def solved(tmp_path_factory):
    """The folder of a coarse case closed with its variants, beside one that has none; errors, and who ended when."""
    into, ended = tmp_path_factory.mktemp("spread"), []
    watch = lambda job, error, done, of: ended.append((job.address, error, done, of))  # noqa: E731
    errors = compare.solve_missing([case(COARSE), case(text("own", 20))], into=into, spread=True, watch=watch)
    return into, errors, ended


@pytest.fixture
def into(solved, tmp_path):
    shutil.copytree(solved[0], tmp_path / "copy")
    return tmp_path / "copy"


@pytest.mark.slow
def test_folders(solved):
    """Numbers in the case's own folder, without pictures or fields, begun after it; nothing for skin of one's own."""
    into, errors, ended = solved
    assert errors == {}
    assert names(into) == ["arm", "own"] and "skins" not in names(into / "own")
    assert names(into / "arm" / "skins") == ["slack", "tense"]
    assert names(into / "arm" / "skins" / "slack") == ["case.yaml", "measures.json", "run.json"]
    assert [number for *_, number in ended] == [4] * 4 and [done for *_, done, _ in ended] == [1, 2, 3, 4]
    order = [address for address, *_ in ended]
    assert order.index("arm") < min(order.index("arm/skins/slack"), order.index("arm/skins/tense"))


def test_numbers_of_the_ends(solved):
    """Read back as written, of these very cases; forces rise from slack to tense skin."""
    into = solved[0]
    cases = [case(COARSE), case(text("own", 20))]
    results = compare.results(cases, {}, into=into)
    ends = spread.read(cases, results, {}, into=into)
    assert set(ends) == {"arm"}
    skins = flat.in_order(results[0], ends)
    assert [skins[skin].case == stretched(COARSE, end) for skin, end in END.items()] == [True, True]
    written = json.loads((into / "arm" / "skins" / "slack" / "measures.json").read_text())
    assert skins["slack"].measures == written
    forces = [result.numbers["closing_force_N"] for result in skins.values()]
    assert forces == sorted(forces) and forces[0] < 0.5 * forces[2]


@pytest.mark.slow
def test_only_what_is_missing(into):
    """A variant out of date or damaged is closed anew, the case and the other stay to the nanosecond."""
    slack, tense = (into / "arm" / "skins" / skin for skin in END)
    run = json.loads((slack / "run.json").read_text())
    (slack / "run.json").write_text(json.dumps(run | {"solver": "an older one"}))
    kept = [into / "arm" / "measures.json", tense / "measures.json"]
    times, ended = [path.stat().st_mtime_ns for path in kept], []
    watch = lambda job, *about: ended.append(job.called)  # noqa: E731
    assert compare.solve_missing([case(COARSE)], into=into, spread=True, watch=watch) == {}
    assert ended == ["arm in slack skin"]
    assert [path.stat().st_mtime_ns for path in kept] == times
    assert json.loads((slack / "run.json").read_text())["solver"] == run["solver"]


@pytest.mark.slow
def test_case_redone_takes_its_variants_along(into):
    """A folder that is replaced takes skins/ with it, so what was complete in there is closed once more."""
    (into / "arm" / "pictures" / "plan.png").unlink()
    ended = []
    watch = lambda job, *about: ended.append(job.called)  # noqa: E731
    assert compare.solve_missing([case(COARSE)], into=into, spread=True, watch=watch) == {}
    assert ended[0] == "arm" and sorted(ended[1:]) == ["arm in slack skin", "arm in tense skin"]
    results, errors = compare.results([case(COARSE)], {}, into=into), {}
    assert all(end.reason == "" for end in spread.read([case(COARSE)], results, errors, into=into)["arm"].values())


def test_age_beyond_the_range_has_none():
    """A forearm of 20 years is stretched more than the tensest of the range, so that is no range of it; of 60 it is."""
    aged = [case(ARM.replace("site: forearm", f"site: forearm, age_years: {age}")) for age in (20, 60)]
    assert [spread.ranged(one) for one in aged] == [False, True]


def test_unreadable(into):
    """A folder cut short is a reason in that skin alone, and an error."""
    (into / "arm" / "skins" / "tense" / "measures.json").unlink()
    results, errors = compare.results([case(COARSE)], {}, into=into), {}
    ends = spread.read([case(COARSE)], results, errors, into=into)["arm"]
    assert ends["slack"].reason == "" and "measures.json is missing" in ends["tense"].reason
    assert list(errors) == ["arm/skins/tense"]


@pytest.mark.slow
def test_case_that_fails_has_no_variants(tmp_path):
    """They would lie in its folder, which is not there: only the case is named."""
    held = HELD.replace("name: held", "name: arm").replace("skin: {", "skin: {site: forearm, ")
    assert spread.variants(case(held))
    errors = compare.solve_missing([case(held)], into=tmp_path, spread=True)
    assert list(errors) == ["arm"] and names(tmp_path) == ["arm.failed.json"]
    results = compare.results([case(held)], errors, into=tmp_path)
    assert spread.read([case(held)], results, errors, into=tmp_path) == {}


@pytest.mark.slow
def test_command(tmp_path, monkeypatch, flatseam):
    """With --no-spread the case alone; without, slack skin, which has no room for such triangles, is named: code 3.

    The terminal's table and the page say that it is not closed there; tense skin has its numbers.
    """
    monkeypatch.chdir(tmp_path)
    (tmp_path / "arm.yaml").write_text(ARM + "mesh: {edge_mm: 2.5, tip_mm: 2.5, far_mm: 60}\n")
    code, out, err = flatseam("compare", "arm.yaml", "--no-spread")
    assert (code, err) == (0, "") and "slack" not in out and "skins" not in names(tmp_path / "results" / "arm")
    assert "slack" not in (tmp_path / "results" / "comparison.html").read_text().split("<body>")[1].split("<script")[0]
    code, out, err = flatseam("compare", "arm.yaml")
    assert code == 3 and err.startswith("arm in slack skin: mesh: far_mm 60 is more than the ")
    rows = [line.split("skin")[1].strip() for line in out.splitlines() if line.startswith("   in ")]
    assert len(rows) == 2 * len(spread.RANGED) and rows[0] == "not closed" != rows[1]
    written = (tmp_path / "results" / "comparison.html").read_text()
    assert "<b>arm</b> in slack skin has no closure: mesh: far_mm 60" in written
    assert 'data-skin="slack">slack not closed</span>' in written


# What is said -------------------------------------------------------------------------------------------------


def said(*closures):
    results = [own for own, _ in closures]
    return flat.lines([(r.name, r) for r in results], {own.name: ends for own, ends in closures})


def test_which_lie_flat():
    """Under 1 mm as printed: 0.96 prints as 1.0 and is not; what is not closed in a skin is named there."""
    short = "kind: lens, length_mm: 20, width_mm: 10"
    lines = said(made("a", (5, 0.96, 0.94), short), made("b", (4, 0.2, None)), made("c", (3, 0, 0)))
    assert lines[0] == (
        "Those that lie flat, with cones under 1 mm (a limit of our choice): none in slack skin; "
        "“b” and “c” in typical skin; “a” and “c” in tense skin (“b” not closed there)."
    )
    assert "naturally stretched 1.067 to 1.387 times along the lines, 1 to 1.282 times across" in lines[1]
    assert len(lines) == 2
    assert "all in tense skin." in said(made("a", (5, 4, 0.5), short), made("b", (4, 0.2, 0)))[0]
    assert "none in slack skin; “a” in typical" in said(made("a", (-2, -0.5, 0), short))[0]


def test_those_without_a_range():
    """A case in skin of its own is no part of it, and alone there is nothing to say."""
    own = Result(case(text("own", 20)), measures={"cone_height_mm": 0.0})
    arm, ends = made("a", (5, 4, 0.5))
    assert flat.lines([("own", own)], {}) == []
    first = flat.lines([("own", own), ("a", arm)], {"a": ends})[0]
    assert first.startswith("Of the closures whose tension is their site's, those that lie flat")
    assert first.endswith("none in slack skin; none in typical skin; “a” in tense skin.")


@pytest.mark.parametrize(
    ("site", "heights", "doubt"),
    [
        ("back", (6, 0.4, 0), "In typical and tense skin of the back a circle lies flat, which practitioners do "
         "not see: here skin bends as one layer, more stiffly than it may in life, and the tension of this site is a "
         "guess (our choice)."),
        ("forearm", (6, 4, 0), "In tense skin of the forearm a circle lies flat, which practitioners do not see: "
         "here skin bends as one layer, more stiffly than it may in life, and the tension of this site was read."),
        ("forearm", (0, 4, 2), "In slack skin of the forearm a circle lies flat, which practitioners do not see: "
         "here skin bends as one layer, more stiffly than it may in life, and the tension of this site was read."),
        ("forearm", (6, 4, 2), None),
    ],
)  # fmt: skip
def test_doubt_of_a_circle(site, heights, doubt):
    """A circle is to pucker in any skin, but for a punch."""
    assert said(made("a", heights, "kind: circle, diameter_mm: 20", site))[2:] == ([doubt] if doubt else [])
    assert said(made("a", heights, "kind: circle, diameter_mm: 6", site))[2:] == []


@pytest.mark.parametrize(("length", "height", "doubted"), [(30, 1.0, True), (29, 1.0, False), (30, 0.9, False)])
def test_doubt_of_a_lens(length, height, doubted):
    """A lens three times as long as wide is to lie flat in typical skin; a shorter one is not."""
    lines = said(made("a", (6, height, 0), LENS.replace("30", str(length))))
    wanted = "In typical skin of the forearm “a” does not lie flat, as the trade expects of a wound three times as long"
    assert [line.startswith(wanted) for line in lines[2:]] == [True] * doubted


def test_doubt_without_a_range():
    """Of a closure's own skin alone, a blunt wound is doubted too: by the site, or without one; not on the bench."""
    blunt = "kind: lens, length_mm: 25, width_mm: 20"
    own = [made("a", (6, height, 0), blunt)[0] for height in (0.4, 1.0)]
    assert flat.doubts([("a", own[1])], {}) == []
    (line,) = flat.doubts([("a", own[0])], {})
    assert line.startswith("In typical skin of the forearm a wound hardly longer than wide lies flat, which")
    given = case(text("own", 25).replace("width_mm: 10", "width_mm: 20").replace("radius_mm: 40", "radius_mm: 60"))
    (line,) = flat.doubts([("own", Result(given, measures={"cone_height_mm": 0.0}))], {})
    assert line.startswith("In the given skin a wound hardly longer") and line.endswith("than it may in life.")
    pad = given.model_copy(update={"skin": given.skin.model_copy(update={"site": "foam-sheet"})})
    assert flat.doubts([("pad", Result(pad, measures={"cone_height_mm": 0.0}))], {}) == []


def ends_of(figure):
    """Places of the hollow and of the filled small markers, and the lines through them."""
    lines = [line for line in figure.axes[0].lines if len(line.get_xdata())]
    small = [line for line in lines if line.get_marker() == "o" and line.get_markersize() < 8]
    hollow = [line.get_xydata()[0].tolist() for line in small if line.get_markerfacecolor() == "white"]
    filled = [line.get_xydata()[0].tolist() for line in small if line.get_markerfacecolor() != "white"]
    return hollow, filled, [line.get_xydata().tolist() for line in lines if len(line.get_xdata()) > 1]


def test_line_from_slack_to_tense():
    """From the hollow end, slack skin, through the marker to the filled one; without an end that is not closed."""
    one, other = made("a", (5, 2, 0.5)), made("b", (4, 3, None))
    chart_of = lambda closures: chart.trade_off(  # noqa: E731
        [own for own, _ in closures], "scar_length_mm", "cone_height_mm", spread={own.name: e for own, e in closures}
    )
    figure = chart_of([one, other])
    wanted = [[35, 5], [34, 4]], [[30.5, 0.5]], [[[35, 5], [32, 2], [30.5, 0.5]], [[34, 4], [33, 3]]]
    assert ends_of(figure) == wanted
    assert [t.get_text() for t in figure.axes[0].get_legend().get_texts()] == [" slack skin", " tense skin"]
    faces = [handle.get_markerfacecolor() for handle in figure.axes[0].get_legend().get_lines()]
    assert faces[0] == "white" != faces[1]
    own, ends = one
    swapped = chart_of([(own, {"slack": ends["tense"], "tense": ends["slack"]}), other])
    assert ends_of(swapped) != wanted


def test_table():
    """Both ends below the numbers asked first, as printed; none below others; what is not closed says so."""
    own, ends = made("a", (5, 2, None))
    rows = {row["name"]: row["cells"][0] for row in page.table([own], spread={"a": ends})}
    assert (rows["cone_height_mm"]["text"], rows["cone_height_mm"]["skins"]) == (
        "2.0", {"slack": "5.0", "tense": "not closed"},
    )  # fmt: skip
    assert page.table([own])[0]["cells"][0]["skins"] == {}


def test_rows_of_all_skins(tmp_path):
    """CSV and Parquet: a row a skin; the reason where there is none."""
    own, ends = made("a", (5, 2, None))
    alone = Result(case(text("own", 20)), measures={"cone_height_mm": 1.0})
    compare.write_tables([own, alone], {"a": ends}, tmp_path / "t.csv", tmp_path / "t.parquet")
    for kind in ("csv", "parquet"):
        rows = duckdb.sql(f"SELECT \"case\", skin, reason, cone_height_mm FROM '{tmp_path}/t.{kind}'").fetchall()
        assert rows == [
            ("a", "as given", None, 2.0), ("a", "slack", None, 5.0), ("a", "tense", "never met", None),
            ("own", "as given", None, 1.0),
        ]  # fmt: skip
