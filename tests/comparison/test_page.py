"""The page in a real Chromium: no network, nothing refused, 3D that turns, numbers that are those of measures.json."""

import base64
import json
import os
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from browser import CHROMIUM, EVIL, FRAMES
from small_cases import case, result_of, text

from fem.case import case as cases
from fem.case.keys import MeshSize
from fem.comparison import compare, glance, page
from fem.render.projection import Ranges
from fem.results.quantities import numbers, pattern, shown
from fem.results.result import Result

DEMO = Path(__file__).parents[2] / "configs" / "demo"
LENGTHS = {"short": 20, "middle": 28, "long": 40}
VIEWS = """() => [...document.querySelectorAll("canvas[data-case]")].map((canvas) => {
  const pixels = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height).data;
  let other = 0, sum = 0;
  for (let i = 0; i < pixels.length; i += 4) {
    if (pixels[i] + pixels[i + 1] + pixels[i + 2] < 750) other += 1;
    sum = (31 * sum + pixels[i] + 7 * pixels[i + 1] + 13 * pixels[i + 2]) % 1000000007;
  }
  return {share: other / (pixels.length / 4), sum, stage: canvas.dataset.stage};
})"""


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    """Three closures and a case that failed with a nasty reason."""
    into = tmp_path_factory.mktemp("results")
    request = [case(text(name, length)) for name, length in LENGTHS.items()]
    read = [result_of(sample, into) for sample in request]
    failed = Result(request[0].model_copy(update={"name": "failed"}), reason=f"never met {EVIL}")
    return into, [*read[:2], failed, read[2]]


@pytest.fixture(scope="module")
def written(results, tmp_path_factory):
    """The page's file."""
    into = tmp_path_factory.mktemp("page")
    return compare.write(results[1], into=into, baseline="short")[0]


# What is loaded -----------------------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize("width", [390, 1600])
def test_nothing_goes_wrong(opened, written, width):
    """No error, no warning, no request but for the file; no sideways scrolling; every picture there."""
    tab, complaints = opened(written, width)
    assert complaints == []
    assert tab.evaluate("document.documentElement.scrollWidth") == width
    loaded = tab.evaluate("[...document.images].map((image) => image.complete && image.naturalWidth > 0)")
    assert len(loaded) == 5 + 3 + 3 * 3 + 4  # charts and their key; plan, height, stress of three; scales, two twice
    assert all(loaded)
    assert tab.evaluate("[...document.images].every((image) => image.alt !== '')")


def test_policy_holds(opened, written, tmp_path):
    """A script, a style and a picture from outside, put into the file, are refused and do nothing."""
    smuggled = "<script>document.title = 'taken'</script><style>h1 { display: none }</style>"
    smuggled += "<img src='http://127.0.0.1:9/x'>"
    path = tmp_path / "smuggled.html"
    path.write_text(written.read_text().replace("<h1>", f"{smuggled}<h1>"))
    tab, complaints = opened(path)
    assert sum("violates the following Content Security Policy" in sample for sample in complaints) == 3
    assert tab.title().startswith("Comparison of closures")
    assert tab.locator("h1").is_visible()


@pytest.mark.slow
def test_text_is_escaped(opened, results, tmp_path):
    """A case called <img ...>, and a reason with one, show as they are written; no picture is made of them."""
    read = results[1]
    named = replace(read[0], case=read[0].case.model_copy(update={"name": EVIL}))
    path = compare.write([named, *read[1:]], into=tmp_path, baseline=EVIL)[0]
    tab, complaints = opened(path)
    assert complaints == []
    assert tab.title().startswith(f"Comparison of closures: {EVIL}")
    assert tab.locator("thead th", has_text=EVIL).first.is_visible()
    assert tab.get_by_text(f"never met {EVIL}").first.is_visible()
    assert tab.locator("img[src=x]").count() == 0
    assert tab.locator("canvas[data-case]").first.get_attribute("data-case") == EVIL


def test_size(written):
    """Three cases on coarse triangles: far below 12 MB, most of it three.js."""
    assert 0.6e6 < os.path.getsize(written) < 3e6


@pytest.mark.slow
def test_page_of_the_demo(opened, tmp_path):
    """The demo's circle on its default mesh and a coarse lens: below 3 MB (six such cases: below 12), and at first
    glance the circle's cones are the highest and its scar the shortest."""
    request = [cases.read(DEMO / f"{name}.yaml") for name in ("circle-20", "lens-2-1")]
    request[1] = request[1].model_copy(update={"mesh": MeshSize(edge_mm=3, tip_mm=3, far_mm=20)})
    for asked in request:
        result_of(asked, tmp_path)
    path = compare.write(compare.results(request, {}, into=tmp_path), into=tmp_path)[0]
    assert os.path.getsize(path) < 3e6
    tab, complaints = opened(path)
    assert complaints == []
    text = tab.locator("#glance").inner_text()
    assert "Greatest cones: circle-20" in text
    assert "shortest: circle-20" in text


# Numbers ------------------------------------------------------------------------------------------------------


def test_numbers(opened, written, results):
    """Every number of measures.json is in its cell: with every digit as its value, and as it is printed.

    What no case has, as forces after a time that was not asked for, has no row; nor has what another tip's row says.
    What is asked first stands first, and all else is folded.
    """
    tab, _ = opened(written)
    cells = tab.evaluate("""() => [...document.querySelectorAll("tr[data-measure]")].map((row) =>
        [row.dataset.measure, [...row.cells].slice(1).map((cell) => {
          const number = cell.querySelector("data");
          return number ? [number.value, number.textContent] : cell.textContent.trim();
        })])""")
    written_down = {name: json.loads((results[0] / name / "measures.json").read_text()) for name in LENGTHS}
    wanted = {
        name: {key: value for key, value in numbers(of).items() if value is not None}
        for name, of in written_down.items()
    }
    names = [name for name, _ in cells]
    first = list(dict.fromkeys(map(pattern, names)))
    assert first[:4] == ["cone_height_mm", "cones_{}_height_mm", "scar_length_mm", "closing_force_N"]
    for name in set(wanted["short"]) - set(names):
        kin = [other for other in names if pattern(other) == pattern(name)] or ["cone_height_mm", "healthy_removed_mm2"]
        same = [[shown(key, wanted[case][key]) for case in wanted] for key in (name, *kin)]
        assert same[0] in same[1:]
    assert not tab.locator("tr[data-measure=rise_mm], tr[data-measure=tip_angles_2_deg]").count()
    assert tab.locator("#measures").is_visible() and not tab.locator("#further").is_visible()
    for name, (short, middle, failed, long) in cells:
        for cell, case_name in ((short, "short"), (middle, "middle"), (long, "long")):
            value = wanted[case_name][name]
            assert (float(cell[0]), cell[1]) == (value, shown(name, value))
        assert failed == "not closed"


def test_marks_and_differences(opened, written, results):
    """The longest lens has the lowest cones and the longest scar; differences are to the baseline, which has none."""
    tab, _ = opened(written)
    row = tab.locator("tr[data-measure=scar_length_mm] td")
    of = {r.name: r.measures.get("scar_length_mm") for r in results[1]}
    assert row.nth(0).locator(".mark").inner_text() == "★ best"
    assert row.nth(3).locator(".mark").inner_text() == "▽ worst"
    assert row.nth(0).locator(".change").count() == 0
    assert row.nth(3).locator(".change").inner_text() == f"Δ +{of['long'] - of['short']:.1f}"
    text = tab.locator("#glance").inner_text()
    assert f"Greatest cones: short ({shown('cone_height_mm', results[1][0].measures['cone_height_mm'])} mm)" in text
    assert "Longest scar: long (" in text and "shortest: short (" in text


def test_what_is_said(opened, written):
    """The caution once; notes with their sources; the reason of the failure as written; what was assumed."""
    tab, _ = opened(written)
    body = tab.locator("body").inner_text()
    assert body.count("not a medical device") == 1
    for phrase in (
        "Lee KS",
        "8 mm",
        "Jennings TA",
        "Lear W",
        "not advice",
        "failed has no closure",
        "upward push",
        f"met {EVIL}",
    ):
        assert phrase in body
    row = tab.locator("tr", has=tab.get_by_text("skin.law.shear_kPa", exact=True)).inner_text()
    assert row.split("\t")[1:] == ["33.3 in all"]
    kinds = tab.locator("tr", has=tab.get_by_text("wound.outline.length_mm", exact=True)).inner_text()
    assert kinds.split("\t")[1:] == ["20", "28", "20", "40"]


@pytest.mark.slow
def test_only_some_rows(results, opened, tmp_path):
    """--only leaves that row, and of the notes those that it needs."""
    path = compare.write(results[1], into=tmp_path, only=["closing_force_N"])[0]
    tab, complaints = opened(path)
    assert complaints == []
    assert tab.locator("tr[data-measure]").count() == 1
    assert "Lear W" in tab.locator(".notes").inner_text()
    assert "Lee KS" not in tab.locator(".notes").inner_text()


def test_ties(results):
    """Where several have the least, all are marked and counted, and the sentence names no one of them."""
    short, middle, _, long = results[1]
    flat = [replace(r, measures=r.measures | {"cone_height_mm": 0.01}) for r in (middle, long, short)]
    high = replace(short, measures=short.measures | {"cone_height_mm": 2.0}, case=middle.case)
    row = page.table([high, *flat])[0]
    assert [(cell["rank"], cell["alike"]) for cell in row["cells"]] == [("worst", 1), *[("best", 3)] * 3]
    assert glance.lines([high, *flat])[0].endswith("least: three alike (0.0 mm).")


def test_only_one_row(results):
    """The table of some measures has their rows alone."""
    assert [row["name"] for row in page.table(results[1], only=["closing_force_N"])] == ["closing_force_N"]


# 3D -----------------------------------------------------------------------------------------------------------


def views(tab):
    tab.evaluate(FRAMES)
    return tab.evaluate(VIEWS)


def test_skin_is_drawn(opened, written):
    """Each view shows skin on a white ground: between a tenth and nine tenths of its pixels; no two alike."""
    tab, complaints = opened(written)
    every = views(tab)
    assert len(every) == 3
    assert all(0.1 < view["share"] < 0.9 for view in every)
    assert len({view["sum"] for view in every}) == 3
    assert complaints == []


def test_slider(opened, written, results):
    """Every stage looks different; the words below say which it is; the first is the gaping wound."""
    tab, _ = opened(written)
    last = len(results[1][0].stages.closed) - 1
    seen = []
    for stage in range(last, -1, -1):
        tab.locator("#stage").fill(str(stage))
        seen.append([view["sum"] for view in views(tab)])
    assert all(len(set(sums)) == last + 1 for sums in zip(*seen, strict=True))
    assert tab.locator(".stage").all_inner_texts() == ["gaping wound"] * 3
    tab.locator("#stage").press("End")
    assert tab.locator(".stage").all_inner_texts() == ["closed"] * 3
    assert [view["sum"] for view in views(tab)] == seen[0]


def test_turning_one_turns_all(opened, written):
    """Dragging the first view changes every view; `first view` brings them back to the pixel."""
    tab, _ = opened(written)
    before = [view["sum"] for view in views(tab)]
    tab.locator("canvas[data-case]").first.scroll_into_view_if_needed()
    box = tab.locator("canvas[data-case]").first.bounding_box()
    tab.mouse.move(box["x"] + 100, box["y"] + 100)
    tab.mouse.down()
    tab.mouse.move(box["x"] + 180, box["y"] + 120, steps=4)
    tab.mouse.up()
    after = [view["sum"] for view in views(tab)]
    assert all(a != b for a, b in zip(before, after, strict=True))
    tab.locator("#reset").click()
    assert [view["sum"] for view in views(tab)] == before


@pytest.mark.parametrize(
    ("key", "back"),
    [
        ("ArrowLeft", "ArrowRight"),
        pytest.param("ArrowUp", "ArrowDown", marks=pytest.mark.slow),
        pytest.param("+", "-", marks=pytest.mark.slow),
    ],
)
def test_keys(opened, written, key, back):
    """Reached by the tabulator, a view turns or grows by its keys, all with it; Home brings the first view back."""
    tab, _ = opened(written)
    before = [view["sum"] for view in views(tab)]
    tab.locator("#reset").focus()
    tab.keyboard.press("Tab")
    assert tab.evaluate("document.activeElement.dataset.case") == "short"
    tab.keyboard.press(key)
    turned = [view["sum"] for view in views(tab)]
    assert all(a != b for a, b in zip(before, turned, strict=True))
    tab.keyboard.press(back)
    tab.keyboard.press(back)
    assert [view["sum"] for view in views(tab)] not in (before, turned)
    tab.keyboard.press("Home")
    assert [view["sum"] for view in views(tab)] == before


DOT = """(canvas) => {
  const {width, height} = canvas, pixels = canvas.getContext("2d").getImageData(0, 0, width, height).data;
  let x = 0, y = 0, n = 0;
  for (let i = 0; i < width * height; i++) {
    const blue = pixels[4 * i] < 30 && pixels[4 * i + 2] > 150;
    if (blue && i % width < width / 2) { x += i % width; y += i / width | 0; n += 1; }
  }
  return [x / n * canvas.clientWidth / width, y / n * canvas.clientHeight / height];
}"""


def test_turns_about_what_is_picked(opened, written):
    """Dragged by the left tip, skin turns about it: the blue dot stays within 3 pixels, the rest does not."""
    tab, _ = opened(written)
    canvas, before = tab.locator("canvas[data-case]").nth(2), views(tab)[2]["sum"]
    canvas.scroll_into_view_if_needed()
    box, (x, y) = canvas.bounding_box(), canvas.evaluate(DOT)
    tab.mouse.move(box["x"] + x, box["y"] + y)
    tab.mouse.down()
    tab.mouse.move(box["x"] + x + 12, box["y"] + y + 5, steps=3)
    tab.mouse.up()
    assert views(tab)[2]["sum"] != before
    assert canvas.evaluate(DOT) == pytest.approx([x, y], abs=3)


def test_moved_and_enlarged(opened, written):
    """The second button and shift with arrows move skin; f and a double click fill the window and lead back."""
    tab, _ = opened(written)
    canvas = tab.locator("canvas[data-case]").nth(1)
    canvas.scroll_into_view_if_needed()
    box, (x, y) = canvas.bounding_box(), canvas.evaluate(DOT)
    tab.mouse.move(box["x"] + 100, box["y"] + 60)
    tab.mouse.down(button="right")
    tab.mouse.move(box["x"] + 120, box["y"] + 70, steps=4)
    tab.mouse.up(button="right")
    tab.evaluate(FRAMES)
    assert canvas.evaluate(DOT) == pytest.approx([x + 20, y + 10], abs=1.5)
    canvas.focus()
    tab.keyboard.press("Shift+ArrowRight")
    tab.evaluate(FRAMES)
    assert canvas.evaluate(DOT)[0] > x + 25
    for way, back in (("f", "f"), ("double", "Escape")):
        canvas.dblclick() if way == "double" else tab.keyboard.press(way)
        tab.evaluate(FRAMES)
        assert canvas.bounding_box()["width"] > 1500
        assert [c.is_visible() for c in tab.locator("canvas[data-case]").all()] == [False, True, False]
        tab.keyboard.press(back)
        assert canvas.bounding_box()["width"] == box["width"]


def test_as_many_in_a_row_as_wanted(opened, written):
    """One in a row fills the page; the drawing is as fine as the view."""
    tab, _ = opened(written)
    tab.locator("#across").select_option("1")
    tab.evaluate(FRAMES)
    assert tab.locator("canvas[data-case]").first.evaluate(
        "(c) => [c.clientWidth > 1500, c.width == c.clientWidth]"
    ) == [True, True]


def test_colours(opened, written):
    """Height, stress and plain look different, each with its own scale or none."""
    tab, _ = opened(written)
    seen, scales = [], []
    for colour in ("height", "stress", "plain"):
        tab.locator(f"input[value={colour}]").check()
        seen.append([view["sum"] for view in views(tab)])
        scales.append([tab.locator(f"#scale-{name}").is_visible() for name in ("height", "stress")])
    assert all(len(set(sums)) == 3 for sums in zip(*seen, strict=True))
    assert scales == [[True, False], [False, True], [False, False]]


def test_without_webgl(chromium, written):
    """A browser without WebGL keeps the still pictures and says why nothing turns."""
    outcome = next(filter(None, map(shutil.which, CHROMIUM)))
    browser = chromium.browser_type.launch(executable_path=outcome, args=["--disable-3d-apis"])
    tab, errors = browser.new_page(), []
    tab.on("pageerror", lambda error: errors.append(str(error)))
    tab.goto(written.as_uri())
    assert tab.locator("#no-webgl").is_visible()
    assert not tab.locator("#views").is_visible()
    assert tab.locator("#height").is_visible()
    assert errors == []
    browser.close()


def test_without_scripts(opened, written):
    """Pictures and tables need no script; the empty views stay away."""
    context = opened(written)[0].context.browser.new_context(java_script_enabled=False)
    tab = context.new_page()
    tab.goto(written.as_uri())
    assert tab.locator("#measures").is_visible()
    assert not tab.locator("#views").is_visible()
    context.close()


def test_on_a_phone(opened, written):
    """What was assumed needs no sideways scrolling at 390 pixels, and no key lies on a value; names are not broken."""
    tab, _ = opened(written, 390)
    wide = tab.locator("#assumed + .scroll").evaluate("(e) => [e.scrollWidth, e.clientWidth]")
    assert wide[0] == wide[1]
    row = tab.locator("tr", has=tab.get_by_text("wound.outline.length_mm", exact=True))
    key, *values = (cell.bounding_box() for cell in row.locator("th, td").all())
    assert len(values) == 4 and all(value["y"] >= key["y"] + key["height"] for value in values)
    assert {e.bounding_box()["height"] < 60 for e in tab.locator("#measures thead th").all()} == {True}


def test_print(opened, written):
    """On A4 no picture is cut: in print each figure is lower than a page and may not be broken; no live view."""
    tab, _ = opened(written, 718)  # the width of the text on A4, in CSS pixels
    tab.emulate_media(media="print")
    high = tab.evaluate("[...document.querySelectorAll('figure')].map((f) => f.getBoundingClientRect().height)")
    assert max(high) < 900
    rules = tab.evaluate("[...document.querySelectorAll('figure')].map((f) => getComputedStyle(f).breakInside)")
    assert set(rules) == {"avoid"}
    assert not tab.locator("#live").is_visible()
    assert tab.evaluate("getComputedStyle(document.querySelector('.plan-key i')).printColorAdjust") == "exact"
    assert tab.pdf(format="A4").startswith(b"%PDF")


# What the page is made of -------------------------------------------------------------------------------------


def test_packed_positions(results):
    """Whole multiples of a step, little-endian: within half a step of the stored positions, from the wound's middle."""
    read = results[1][0]
    packed = page.packed(read, Ranges(read.stages.half_width, (0.0, 1.0), (0.0, 50.0)))
    x = np.frombuffer(base64.b64decode(packed["positions"]), "<i2").reshape(len(packed["closed"]), -1, 3)
    triangles = np.frombuffer(base64.b64decode(packed["triangles"]), "<u2")
    assert x.shape[1] == packed["nodes"] == triangles.max() + 1
    tips = packed["step"] * x[-1, packed["tips"]]
    wanted = (read.stages.x[-1][:, read.stages.tips] - read.stages.centre[:, None]).T
    assert tips == pytest.approx(wanted, abs=0.51 * packed["step"])
    assert packed["step"] < 0.003  # mm: 100 mm to either side in 32767 steps


@pytest.mark.parametrize(("closed", "phrase"), [(0.0, "gaping wound"), (0.35, "35 % closed"), (1.0, "closed")])
def test_stage_label(closed, phrase):
    assert page.stage_label(closed) == phrase
