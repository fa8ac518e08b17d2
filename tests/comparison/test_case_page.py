"""The page of a case: what it says is what lies in its folder, and it opens without network, refusals or errors."""

import json
import re
from dataclasses import replace

import pytest
from small_cases import SMALL, case, result_of, text
from terminal import content

from fem.case import physical
from fem.comparison import case_page, compare, images
from fem.comparison.wording import sentences
from fem.results.quantities import numbers, shown
from fem.study.answers.naming import settings_text

SUTURED = SMALL.replace("undermine_mm: 6", "undermine_mm: 6, sutures: {kind: interrupted, spacing_mm: 8}")

SEAM = {"arc_mm": [0, 10, 20], "height_mm": [0, 1e-9, 0], "tension_at_mm": [5, 15], "line_tension_N_per_m": [9, 9]}


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    """A lens joined all along and one with interrupted sutures, and their folder."""
    into = tmp_path_factory.mktemp("results")
    return into, [result_of(case(text("lens", 20)), into), result_of(case(SUTURED.replace("small", "tied")), into)]


@pytest.fixture(scope="module")
def written(results):
    """The pages of both."""
    for result in results[1]:
        case_page.write(results[0] / result.name)
    return [results[0] / result.name / "index.html" for result in results[1]]


@pytest.mark.parametrize("width", [390, 1600])
def test_nothing_goes_wrong(opened, written, width):
    """No error, no warning, no request but for the file, no sideways scrolling; skin is drawn; the caution once.

    The numbers take the width of a narrow screen; a shade that stays in place lies where a table goes on to the right.
    """
    tab, complaints = opened(written[1], width)
    assert complaints == []
    assert tab.evaluate("document.documentElement.scrollWidth") == width
    assert all(tab.evaluate("[...document.images].map((i) => i.naturalWidth > 0 && i.alt !== '')"))
    assert tab.locator(".stage").all_inner_texts() == ["closed"]
    assert tab.locator("body").inner_text().count("not a medical device") == 1
    numbers = tab.locator("[aria-label='Table of measures']")
    assert numbers.evaluate("(e) => getComputedStyle(e).backgroundAttachment") == "local, scroll"
    taken = numbers.locator("table").first.evaluate("(e) => e.offsetWidth / e.closest('.scroll').clientWidth")
    assert (taken == 1) == (width == 390)


def test_case_of_a_study(opened, results):
    """A case that is named by its content is called by its inputs on its page, wherever it is named."""
    key = 24 * "0"
    folder = results[0] / key
    result_of(case(text("lens", 20).replace("lens\n", f'"{key}"\n', 1)), results[0])
    called = settings_text({"wound.outline.length_mm": 20.0, "skin.law": {"kind": "neo-hooke", "shear_kPa": 33.3}})
    assert called == "length of the wound 20 mm, skin law neo-hooke (shear 33.3 kPa)"
    case_page.write(folder, called=called)
    tab, complaints = opened(folder / "index.html")
    assert complaints == [] and tab.locator("h1").inner_text() == called and tab.title() == f"{called}, closed"
    assert key not in tab.locator("body").inner_html()


def test_numbers(opened, written):
    """Every number of measures.json, with every digit and as printed, the same twice once; the first in a sentence."""
    tab, _ = opened(written[0])
    rows = tab.evaluate("""() => [...document.querySelectorAll("tr[data-measure]")].map((row) =>
        [row.dataset.measure, row.querySelector("data").value, row.querySelector("data").textContent])""")
    measures = json.loads((written[0].parent / "measures.json").read_text())
    wanted = {name: value for name, value in numbers(measures).items() if value is not None}
    printed = {name: (float(value), words) for name, value, words in rows}
    assert printed == {name: (wanted[name], shown(name, wanted[name])) for name in printed}
    texts = {words for _, words in printed.values()}
    assert all(shown(name, value) in texts for name, value in wanted.items())
    headline = tab.locator("#headline").inner_text()
    assert f"The scar is {measures['scar_length_mm']:.1f} mm long" in headline
    assert f"{measures['cones'][0]['height_mm']:.1f} mm high" in headline
    assert f"Closing takes {measures['closing_force_N']:.2f} N" in headline


def test_sutures(opened, written, results):
    """A row for each suture that is tied, in order: the middle of a seam of 32 mm first, with its forces."""
    tied = results[1][1]
    plan = physical.plan(tied.case)
    tab, _ = opened(written[1])
    rows = [row.split("\t") for row in tab.locator("h2#sutures ~ .scroll").first.locator("tbody tr").all_inner_texts()]
    assert len(rows) == len(physical.tying(plan, tied.case.closure.sutures)) == len(tied.measures["suture_forces_N"])
    forces = (f"{tied.measures[name][0]:.2f}" for name in ("suture_forces_N", "suture_forces_final_N"))
    assert rows[0] == ["1", f"{plan.seams[0][0].length / 2:.1f}", *forces]
    assert case_page.sutures(results[1][0]) == []


def test_files(written):
    """Every link leads to a file of the folder, by a relative address."""
    links = re.findall(r'<a href="([^"#]+)"', written[0].read_text())
    assert {"case.yaml", "measures.json", "stages.npz", "skin.vtu", "pictures/plan.png"} <= set(links)
    assert all((written[0].parent / link).is_file() for link in links)


def test_written_again(written):
    """The page follows from the folder: written again it is the same, and nothing else has changed."""
    before = content(written[0].parent)
    case_page.write(written[0].parent)
    after = content(written[0].parent)
    assert after[written[0]][0] == before[written[0]][0]
    assert after == before | {written[0]: after[written[0]]}


def test_warnings(results, written):
    """What run.json warns of stands on the page, escaped."""
    result = results[1][0]
    result.run["warnings"].append("skin <img src=x> is odd")
    made = case_page.html(result)
    result.run["warnings"].pop()
    assert "Skin &lt;img src=x&gt; is odd" in made and "<img src=x>" not in made


def test_headlines():
    """Two cones, three of an M, one that is sunk, skin that lies flat, and an opening that nothing is sewn across."""

    def said(*heights, **others):
        at = {"cones": [{"height_mm": h} for h in heights], "scar_length_mm": 30.0, "open_area_mm2": None}
        at |= {"cone_height_mm": max(heights, key=abs, default=0.0), "closing_force_N": None}
        return sentences("comparison/case", "headline", at | {"skin_stress_p99_kPa": None} | others)

    assert said(2.0, 2.04) == ["The scar is 30.0 mm long; the cone at each end is 2.0 mm high."]
    assert said(2.0, -1.0)[0].endswith("; the cones at its ends are 2.0 mm high and 1.0 mm deep (left and right).")
    assert said(2.0, 1.0, 3.0)[0].endswith("; its cones are 2.0 mm high, 1.0 mm high and 3.0 mm high.")
    assert said(1e-9, -1e-9)[0].endswith("; the skin lies flat at its ends.")
    assert said(scar_length_mm=None, open_area_mm2=81.0) == ["81 mm² are left open; the skin lies flat around it."]


def test_flat_skin_is_drawn_flat(results):
    """Heights of 1e-9 mm are no waves: the chart of a flat scar spans 1 mm."""
    flat = replace(results[1][0], profiles={"seams": [SEAM], "cones": []})
    low, high = images.profiles([flat])["heights_along"].axes[0].get_ylim()
    assert (low, high) == (-0.5, 0.5)
    assert images.profiles([replace(flat, profiles={"seams": [], "cones": []})]) == {}


def test_comparison_leads_to_it(results, written, tmp_path):
    """Names in a comparison lead to the pages of the cases that lie beside it, and to none that is not there."""
    into, read = results
    path = compare.write(read, into=into)[0]
    for name in ("lens", "tied"):
        assert f'<a href="{name}/index.html">{name}</a>' in path.read_text()
    assert "index.html" not in compare.write(read, into=tmp_path)[0].read_text()
