"""The page to explore: its file read, and the page in a real Chromium, by keyboard only and without a network."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
from browser import EVIL, FRAMES
from small_cases import WRITTEN, case, result_of, text

from fem.case.document import parse
from fem.cli.cli import app
from fem.comparison import compare
from fem.errors import BadCase
from fem.results import result
from fem.results.quantities import numbers, shown
from fem.results.result import Result
from fem.teaching import explore

EXPLORATION = (
    "title: How long?\nquestion: Where would you stop?\nbase:\n"
    + "".join(f"  {line}\n" for line in WRITTEN.replace("NAME", "trial").replace("LENGTH", "20").splitlines())
    + """\
ratios: [2, 2.8]
choices:
  - {name: lens, label: lens, change: {}}
  - {name: rhombus, label: rhombus, change: {wound.outline.kind: rhombus}}
"""
)
SLIDER = "slider: {key: closure.undermine_mm, label: undermined by, unit: mm, values: [3, 6]}"
SLIDING = EXPLORATION.replace("ratios: [2, 2.8]", SLIDER).replace(
    "change: {wound.outline.kind: rhombus}", "change: {wound.outline: {kind: circle, diameter_mm: 10}}"
)
LESSONS = Path(__file__).parents[2] / "configs" / "lessons" / "explore"
PLACES = [(choice, ratio) for choice in ("lens", "rhombus") for ratio in ("2", "2.8")]


@pytest.fixture(scope="module")
def exploration():
    return parse(EXPLORATION, explore.Exploration, "test.yaml")


@pytest.fixture(scope="module")
def into(tmp_path_factory):
    return tmp_path_factory.mktemp("results")


@pytest.fixture(scope="module")
def results(exploration, into):
    wanted = [step.case for step in explore.steps(exploration)]
    for one in wanted:
        result_of(one, into)
    return compare.results(wanted, {}, into=into)


@pytest.fixture(scope="module")
def written(exploration, results, tmp_path_factory):
    return explore.write(exploration, results, tmp_path_factory.mktemp("page"))


# The file -----------------------------------------------------------------------------------------------------


def test_steps(exploration):
    """Every choice at every ratio, from the shortest on: same width, so many times as long, keys changed."""
    made = explore.steps(exploration)
    assert [step.case.name for step in made] == [
        "trial-lens-200", "trial-lens-280", "trial-rhombus-200", "trial-rhombus-280",
    ]  # fmt: skip
    outlines = [step.case.wound.outline for step in made]
    assert [(o.kind, o.length_mm, o.width_mm) for o in outlines] == [
        ("lens", 20, 10), ("lens", 28, 10), ("rhombus", 20, 10), ("rhombus", 28, 10),
    ]  # fmt: skip


def test_ratios_that_nearly_agree():
    """Results of 2.001 and 2.004 go into folders of their own."""
    near = parse(EXPLORATION.replace("[2, 2.8]", "[2.001, 2.004]"), explore.Exploration, "test.yaml")
    assert [step.case.name for step in explore.steps(near)][:2] == ["trial-lens-200.1", "trial-lens-200.4"]


def test_slider():
    """Any number of a case can be the slider: undermined by 3 or 6 mm, whatever the choice; wounds of any kind."""
    sample = parse(SLIDING, explore.Exploration, "test.yaml")
    made = explore.steps(sample)
    assert [step.case.name for step in made][1:3] == ["trial-lens-6", "trial-rhombus-3"]
    assert [step.case.closure.undermine_mm for step in made] == [3, 6, 3, 6]
    assert {step.case.wound.outline.kind for step in made[2:]} == {"circle"}
    assert explore.stops(sample) == [{"tick": "3", "said": "3 mm"}, {"tick": "6", "said": "6 mm"}]


def test_slider_charts():
    """Cone height and closing force over the slider, a line a choice; none from flat skin to cones of 1 mm or more."""
    sample = parse(SLIDING, explore.Exploration, "test.yaml")
    made = explore.steps(sample)
    numbers = zip(made, (0.4, 3.0, 0.0, 0.9), (2.0, 1.0, 1.5, 1.2), strict=True)
    closed = [Result(s.case, measures={"cone_height_mm": c, "closing_force_N": f}) for s, c, f in numbers]
    cone, force = explore.charts(sample, made, closed)
    assert cone["labels"] == ("undermined by, mm", "cone height, mm") and force["labels"][1] == "closing force, N"
    assert [len(line["ways"]) for line in cone["lines"]] == [0, 1] and cone["broken"]
    assert [len(line["ways"]) for line in force["lines"]] == [1, 1] and not force["broken"]
    across, (near, far) = dict(cone["across"]), (point for _, point in cone["lines"][0]["points"])
    assert cone["across"][0][0] == cone["up"][0][0] == "0"
    lost = [replace(r, measures=r.measures | {"closing_force_N": None}) for r in closed]
    assert [line["points"] for line in explore.charts(sample, made, lost)[1]["lines"]] == [[], []]
    assert (near[0], far[0]) == (across["3"][0], across["6"][0]) and far[1] == dict(cone["up"])["3"][1]


def test_opens_at_its_base(exploration):
    """The slider stands at the base's value, or the nearest to it: undermined by 6 mm; twice as long as wide."""
    sample = parse(SLIDING, explore.Exploration, "test.yaml")
    assert explore.start(sample) == 1 and explore.start(exploration) == 0
    shipped = explore.read(LESSONS / "undermining.yaml")
    assert explore.places(shipped)[explore.start(shipped)] == shipped.base.closure.undermine_mm


def test_doubt_and_what_is_at_the_ends(exploration, results, tmp_path, opened):
    """A blunt wound that lies flat is doubted as long as it is shown; what is said of the scar's ends is so."""
    blunt = text("a", 25).replace("width_mm: 10", "width_mm: 20").replace("radius_mm: 40", "radius_mm: 60")
    wide = case(blunt).model_copy(update={"name": results[0].name})
    flat = replace(results[0], case=wide, measures=results[0].measures | {"cone_height_mm": 0.0})
    stands = replace(results[1], measures=results[1].measures | {"cone_height_mm": 2.0})
    tab, _ = opened(explore.write(exploration, [flat, stands, *results[2:]], tmp_path))
    doubt = "In the given skin a wound hardly longer than wide lies flat, which practitioners do not see"
    assert tab.locator("#doubt").inner_text().startswith(doubt) and tab.get_by_text(doubt).count() == 2
    assert tab.locator("#ends").inner_text() == "At its ends (blue) the skin lies flat."
    tab.locator("#stop").press("ArrowRight")
    assert tab.locator("#doubt").inner_text() == ""
    assert tab.locator("#ends").inner_text() == "At its ends (blue) surplus skin stands up as cones."
    assert "flaps" not in tab.locator("figcaption").first.inner_text()
    ring, point = (tab.locator(f".trade {one}").bounding_box() for one in (".here", f'[data-point="{stands.name}"]'))
    middles = [(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2) for box in (ring, point)]
    assert middles[0] == pytest.approx(middles[1], abs=1)


def test_steepest_is_not_green(opened, written):
    """A bar looks alike whatever its length: nothing says that the highest cone or the greatest stress is good."""
    tab, _ = opened(written)
    assert "optimum-value { background: #5c6b78" in tab.locator("style").first.text_content()
    assert tab.locator("meter").count() == len(explore.BARS) and "line_tension_mid_N_per_m" in explore.BARS
    assert not tab.evaluate("[...document.querySelectorAll('meter')].some((bar) => bar.hasAttribute('optimum'))")


def test_flat_skin_is_seen_flat(exploration, results, tmp_path, opened):
    """Cones of round-off fill no bar, and lie at the foot of the chart, whose axis goes up to 1 mm."""
    flat = [replace(r, measures=r.measures | {"cone_height_mm": (-1) ** k * 1e-14}) for k, r in enumerate(results)]
    tab, _ = opened(explore.write(exploration, flat, tmp_path))
    bar = tab.locator('meter[data-bar="cone_height_mm"]')
    assert bar.evaluate("(bar) => bar.value / bar.max") < 1e-6
    assert [text for text in tab.locator(".trade text").all_text_contents() if "e-" in text] == []
    assert tab.locator("#said").inner_text().startswith("No cones, scar ")


@pytest.mark.parametrize("path", sorted(LESSONS.glob("*.yaml")), ids=lambda path: path.stem)
def test_shipped_files(path):
    """Each is read and asks for 12 to 20 closures."""
    assert 12 <= len(explore.steps(explore.read(path))) <= 20


@pytest.mark.parametrize(
    ("before", "after", "place", "message"),
    [
        ("[2, 2.8]", "[2.8, 2]", "test.yaml:11:9", "each of the ratios greater than the one before"),
        ("[2, 2.8]", "[0.5, 2]", "test.yaml:11:10", "got 0.5, wanted greater than or equal to 1"),
        ("[2, 2.8]", "[2]", "test.yaml:11:9", "at least two ratios"),
        ("kind: rhombus}", "kind: rhombs}", "test.yaml:14:45", "did you mean 'rhombus'"),
        ("[2, 2.8]", "[2, 2.0000001]", "test.yaml:11:13", "ratios[1]: is called '200', as ratios[0] is"),
        (
            "ratios: [2, 2.8]",
            SLIDER.replace("closure.undermine", "closure.undermin"),
            "test.yaml:13:39",
            "unknown key 'undermin_mm'",
        ),
        ("ratios: [2, 2.8]", SLIDER.replace("[3, 6]", "[6, 3]"), "test.yaml:11:77", "each of the values greater"),
        ("ratios: [2, 2.8]", SLIDER + "\nratios: [2, 3]", "test.yaml:11:9", "ratios or a slider, not both"),
        ("label: rhombus,", "label: lens,", "test.yaml:14:5", "choices[1]: is called 'lens', as choices[0] is"),
        ("name: rhombus,", "name: lens,", "test.yaml:13:3", "two choices have the same name"),
        ("name: rhombus,", "name: ../x,", "test.yaml:14:12", "1 to 20 small letters"),
        ("change: {}", "chnge: {}", "test.yaml:13:31", "did you mean 'change'"),
        ("{kind: lens, length_mm: 20, width_mm: 10}", "{kind: circle, diameter_mm: 10}", "test.yaml:4:3", "circle"),
        ("question: Where would you stop?\n", "", "test.yaml:1:1", "missing key 'question'"),
    ],
)
def test_bad_files(before, after, place, message):
    """Each mistake is told of with its place and what is allowed."""
    assert before in EXPLORATION
    with pytest.raises(BadCase) as error:
        parse(EXPLORATION.replace(before, after), explore.Exploration, "test.yaml")
    assert message in str(error.value)
    assert place in str(error.value), str(error.value)


def test_too_many():
    """More closures than MOST are refused before any is computed."""
    many = EXPLORATION.replace("[2, 2.8]", str([1 + k / 4 for k in range(explore.MOST // 2 + 1)]))
    with pytest.raises(BadCase, match=f"at most {explore.MOST} closures"):
        parse(many, explore.Exploration, "test.yaml")


# The page -----------------------------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize("width", [390, 1280])
def test_nothing_goes_wrong(opened, written, width):
    """No error, no request but for the file, no sideways scrolling; every picture is there and has words."""
    tab, complaints = opened(written, width)
    assert tab.locator("#live").is_visible()
    assert complaints == []
    assert tab.evaluate("document.documentElement.scrollWidth") == width
    assert (
        tab.evaluate("[...document.images].map((i) => i.complete && i.naturalWidth > 0 && i.alt !== '')") == [True] * 3
    )
    assert tab.locator("body").inner_text().count("not a medical device") == 1


@pytest.mark.parametrize("width", [390, pytest.param(1280, marks=pytest.mark.slow)])
def test_keyboard_alone(opened, written, results, width):
    """From the top, tabulator and arrow keys reach every closure; texts, bars, pictures and their words are its own.

    Numbers are those of measures.json as they are printed everywhere.
    """
    tab, complaints = opened(written, width)
    seen = []
    for place, sample in zip(range(len(PLACES)), results, strict=True):
        if place == 0:
            tab.keyboard.press("Tab")
            assert tab.evaluate("document.activeElement.id") == "stop"
        elif place == 2:  # the second choice, then back to the slider and to its start
            tab.keyboard.press("Tab")
            tab.keyboard.press("ArrowDown")
            tab.keyboard.press("Shift+Tab")
            tab.keyboard.press("Home")
        else:
            tab.keyboard.press("ArrowRight")
        measured = numbers(sample.measures)
        choice, ratio = PLACES[place]
        size = f"{10 * float(ratio):g}\N{NO-BREAK SPACE}×\N{NO-BREAK SPACE}10\N{NO-BREAK SPACE}mm"
        title = tab.locator("#title").inner_text().lower()
        assert title == f"{choice}, {ratio}\N{NO-BREAK SPACE}:\N{NO-BREAK SPACE}1, {size}."
        cone, scar = (shown(name, measured[name]) for name in explore.FIRST)
        cones = "No cones" if cone == "0.0" else f"Cones {cone} mm high"
        assert tab.locator("#said").inner_text() == f"{cones}, scar {scar} mm long."
        assert tab.locator("[data-text]").all_inner_texts() == [shown(name, measured[name]) for name in explore.BARS]
        bars = tab.evaluate("[...document.querySelectorAll('meter')].map((bar) => bar.value)")
        assert bars == [abs(measured[name]) for name in explore.BARS]
        assert cones.lower() in tab.locator("#skin").get_attribute("alt")
        assert f"{shown('removed_area_mm2', measured['removed_area_mm2'])} mm²" in tab.locator("#plan").get_attribute(
            "alt"
        )
        assert tab.locator("#stop").get_attribute("aria-valuetext") == f"{ratio} : 1"
        assert tab.locator("tr.now").get_attribute("data-step") == sample.name
        seen.append((tab.locator("#plan").get_attribute("src"), tab.locator("#skin").get_attribute("src")))
    assert len({plan for plan, _ in seen}) == len({skin for _, skin in seen}) == len(PLACES)
    assert complaints == []


def test_slider_snaps(opened, written):
    """It has as many places as ratios, whatever is asked of it: no number between two that were computed."""
    tab, _ = opened(written)
    slider = tab.locator("#stop")
    outcome = []
    for wanted in ("-3", "0.3", "0.7", "9"):
        slider.evaluate("(one, value) => { one.value = value; one.dispatchEvent(new Event('input')); }", wanted)
        outcome.append(tab.locator("#stop-said").inner_text())
    assert outcome == ["2 : 1", "2 : 1", "2.8 : 1", "2.8 : 1"]


def test_change(opened, written, results):
    """The difference to the closure before, from the numbers as printed; at first there is none."""
    tab, _ = opened(written)
    assert tab.locator("#change").inner_text() == ""
    tab.locator("#stop").press("ArrowRight")
    parts = []
    for name, word in zip(explore.FIRST, ("cones", "scar"), strict=True):
        short, long = (float(shown(name, numbers(sample.measures)[name])) for sample in results[:2])
        parts.append(f"{word} {long - short:+.1f} mm".replace("-", "−"))
    assert (
        tab.locator("#change")
        .inner_text()
        .endswith(f"1, 20\N{NO-BREAK SPACE}×\N{NO-BREAK SPACE}10\N{NO-BREAK SPACE}mm): {', '.join(parts)}.")
    )
    assert parts[1].startswith("scar +")


def test_table_and_chart(opened, written, results):
    """Every number of the table is that of measures.json to the last digit; the chart's points lie as they should."""
    tab, _ = opened(written)
    rows = tab.evaluate(
        "[...document.querySelectorAll('tr[data-step]')].map((row) => [row.dataset.step,"
        " ...[...row.querySelectorAll('data')].map((one) => Number(one.value))])"
    )
    assert rows == [[sample.name, *(numbers(sample.measures)[name] for name in explore.ROWS)] for sample in results]
    points = dict(tab.evaluate(
        "[...document.querySelectorAll('[data-point]')].map((one) => [one.dataset.point,"
        " one.getAttribute('transform').match(/-?[\\d.]+/g).map(Number)])"
    ))  # fmt: skip
    ordered = sorted(results, key=lambda sample: sample.measures["scar_length_mm"])
    across = [points[sample.name][0] for sample in ordered]
    assert across == sorted(across) and across[0] < across[-1]
    up = [points[sample.name][1] for sample in sorted(results, key=lambda sample: sample.measures["cone_height_mm"])]
    assert up == sorted(up, reverse=True)


def test_what_is_not_closed(opened, exploration, results, tmp_path):
    """A closure that was not found says why, as text, and shows neither picture nor number of another."""
    failed = replace(results[1], reason=f"never met {EVIL}", measures={}, stages=None, profiles={})
    path = explore.write(exploration, [results[0], failed, *results[2:]], tmp_path)
    tab, complaints = opened(path)
    tab.locator("#stop").press("ArrowRight")
    assert tab.locator("#said").inner_text() == f"No closure was found: never met {EVIL}"
    assert not tab.locator("#found").is_visible()
    assert tab.locator("img[src=x]").count() == 0 and complaints == []
    tab.locator("#stop").press("ArrowLeft")
    assert tab.locator("#found").is_visible()
    nothing = [replace(sample, reason="no") for sample in results]
    with pytest.raises(ValueError, match="nothing to explore"):
        explore.html(exploration, nothing)


def test_without_scripts(opened, written):
    """The table needs no script; the slider, which would do nothing, stays away."""
    tab, _ = opened(written, java_script_enabled=False)
    assert tab.locator("#numbers").is_visible() and tab.locator("tr[data-step]").count() == len(PLACES)
    assert not tab.locator("#live").is_visible()


@pytest.mark.slow
def test_text_is_escaped(opened, exploration, results, tmp_path):
    """Words of the file that look like HTML show as they are written."""
    odd = exploration.model_copy(update={"title": EVIL, "question": EVIL})
    path = explore.write(odd, results, tmp_path)
    tab, complaints = opened(path)
    assert tab.title() == EVIL and tab.locator("h1").inner_text() == EVIL
    assert tab.locator("img[src=x]").count() == 0 and complaints == []
    assert [stop["tick"] for stop in json.loads(tab.locator("#steps").text_content())["stops"]] == ["2", "2.8"]


def test_command(results, into, tmp_path, capsys):
    """`flatseam teach` of such a file writes the page beside the results; a bad one is told of with its place."""
    path = tmp_path / "asked.yaml"
    path.write_text(EXPLORATION)
    with pytest.raises(SystemExit) as ended:
        app(["teach", str(path), "--into", str(into)])
    assert ended.value.code == 0
    assert capsys.readouterr().out == f"{into / 'trial.html'}\n"
    assert "<title>How long?</title>" in (into / "trial.html").read_text()
    path.write_text(EXPLORATION.replace("[2, 2.8]", "[2.8, 2]"))
    with pytest.raises(SystemExit) as ended:
        app(["teach", str(path), "--into", str(into)])
    assert ended.value.code == 2
    assert capsys.readouterr().err.startswith(f"{path}:11:9: ratios: wanted each of the ratios greater")


def test_first_look_is_the_result(results):
    """Results of the page are those of the folders: the reader of `compare` found them all."""
    assert [sample.reason for sample in results] == [""] * len(PLACES)
    assert all(isinstance(sample, result.Result) and sample.stages.closed[-1] == 1 for sample in results)


def test_skin_can_be_turned(opened, written):
    """The closed skin of what is chosen is drawn live: another choice, and a stroke of an arrow key, change it."""
    tab, complaints = opened(written)
    look = "() => document.querySelector('canvas[data-case]').toDataURL()"
    canvas, seen = tab.locator("canvas[data-case]"), [tab.evaluate(look)]
    assert canvas.get_attribute("data-case") == "trial-lens-200" and not tab.locator("#skin").is_visible()
    tab.locator("#stop").press("ArrowRight")
    tab.evaluate(FRAMES)
    assert canvas.get_attribute("data-case") == "trial-lens-280"
    seen.append(tab.evaluate(look))
    canvas.press("ArrowLeft")
    tab.evaluate(FRAMES)
    seen.append(tab.evaluate(look))
    assert len(set(seen)) == 3 and complaints == []
