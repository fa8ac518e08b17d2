"""The page of a study in a real Chromium: nothing from outside, nothing that runs, everything in words as well."""

import re
import subprocess
import sys
from html import unescape

import pytest
from browser import EVIL
from invented import Evaluate, written
from small_cases import text

from fem.case import site
from fem.comparison.html import caution
from fem.comparison.wording import sentences
from fem.results.identity import address
from fem.study import keys, report, sweep, task

SOURCES = *sentences("study/sensitivity", "sources"), *sentences("study/uncertainty", "sources")
SOURCES += *sentences("study/search", "sources", True), *sentences("study/search", "sources", False)
GRID = "grid: {wound.outline.length_mm: [30, 50, 110], closure.undermine_mm: [0, 20]}\n"
FEW = """\
  - {kind: sensitivity, measures: [cone_height_mm], n: 8, inputs: {skin.thickness_mm: [2, 4], bed.fat_mm: [5, 9]}}
"""
ANSWERS = f"""\
  - {{kind: curves, measures: [cone_height_mm], over: wound.outline.length_mm, by: closure.undermine_mm}}
  - {{kind: map, measure: scar_length_mm, over: [wound.outline.length_mm, closure.undermine_mm]}}
  - {{kind: sensitivity, measures: [cone_height_mm], n: 8}}
  - kind: uncertainty
    measures: [cone_height_mm]
    n: 8
    designs: {{short: {{wound.outline.length_mm: 50}}, "{EVIL}": {{wound.outline.length_mm: 60}}}}
  - kind: search
    least: wound.outline.length_mm
    limits: {{cone_height_mm: 2}}
    over: {{wound.outline.length_mm: [30, 100]}}
  - kind: search
    least: scar_length_mm
    limits: {{cone_height_mm: 2}}
    over: {{wound.outline.length_mm: [30, 130], wound.outline.kind: [lens, rhombus]}}
    budget: 20
"""


def study_in(folder, answers, extra=""):
    """The study in a file that is written for it."""
    path = folder / "study.yaml"
    path.write_text(written(answers, extra))
    return keys.read(path)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """The page's file, and the answers on it."""
    folder = tmp_path_factory.mktemp("study")
    study, evaluate = study_in(folder, ANSWERS, GRID), Evaluate()
    return report.write(study, evaluate, folder), report.findings(study, evaluate)


@pytest.mark.slow
@pytest.mark.parametrize("width", [390, 1600])
def test_nothing_goes_wrong(opened, made, width):
    """No error, no request but for the file, no sideways scrolling; every chart there, and told in words."""
    path, result = made
    tab, complaints = opened(path, width)
    assert complaints == []
    assert tab.evaluate("document.documentElement.scrollWidth") == width
    loaded = tab.evaluate("[...document.images].map((image) => image.complete && image.naturalWidth > 0)")
    assert sum(len(finding.charts) for finding in result) == 6
    assert len(loaded) == 6 + 4  # plans of two best designs, and of the lowest and the highest cones
    assert all(loaded)
    assert tab.evaluate("[...document.images].every((image) => image.alt.length > 20)")


def test_everything_is_said(opened, made):
    """Sentences, tables and notes of every answer stand on the page as they are."""
    path, result = made
    text = opened(path)[0].inner_text("main")
    for finding in result:
        for line in (*finding.sentences, *finding.notes):
            assert line in text
        for table in finding.tables:
            assert table.caption in text
            assert all(cell in text for row in table.rows for cell in row)


def test_text_is_escaped(opened, made):
    """A design called <img ...>, and a reason with one, show as they are written."""
    tab, _ = opened(made[0])
    assert tab.title() == "Study invented"
    assert tab.get_by_text(EVIL).first.is_visible()
    assert tab.get_by_text("too long <img src=x>").first.is_visible()


def test_nothing_can_run(made):
    """The policy allows no script at all, and there is none."""
    text = unescape(made[0].read_text())
    assert "script-src 'none'" in text
    assert "<script" not in text


def test_caution_and_sources_once(made):
    """The caution stands once, and so does every source of the methods that were used."""
    text = made[0].read_text()
    assert text.count(caution()) == 1
    assert all(text.count(source) == 1 for source in SOURCES)


def test_sources_only_of_what_was_asked(tmp_path):
    """A page of curves alone cites no method of sensitivity."""
    study = study_in(tmp_path, "  - {kind: curves, measures: [dip_mm], over: wound.outline.length_mm}\n", GRID)
    text = report.write(study, Evaluate(), tmp_path).read_text()
    assert not any(source in text for source in SOURCES)
    assert "cone_height_mm" not in re.sub("<style>.*?</style>", "", text, flags=re.S)


def test_what_is_varied(opened, made):
    """The page lists what the study varies, and how many cases that makes."""
    text = opened(made[0])[0].inner_text("main")
    assert "The study's own cases: 6." in text
    assert "30 mm, 50 mm, 110 mm" in text
    thickness = site.SITES["back"].thickness_mm.typical
    assert re.search(rf"skin\.thickness_mm\s+{thickness:g} mm\s+from back", text)
    assert "wound.outline.width_mm" in text


def test_only_what_is_common(tmp_path):
    """A key of one value in all cases is common; one that is filled in otherwise for another site is only named."""
    sites = "grid: {skin.site: [back, forearm]}\n"
    study = study_in(tmp_path, "  - {kind: curves, measures: [dip_mm], over: skin.site}\n", sites)
    text = re.sub("<wbr>", "", report.write(study, Evaluate(), tmp_path).read_text())
    common = text[text.index('id="base"') : text.index('id="reading"')]
    assert '<th scope="row">wound.outline.length_mm</th><td>60 mm</td>' in common
    assert '<th scope="row">skin.thickness_mm</th>' not in common
    assert re.search("differ from case to case: [^.]*skin.thickness_mm", common)


def test_source_of_what_is_common(tmp_path):
    """A value that two sites have in common came from both."""
    sites = "grid: {skin.site: [back, forearm]}\n"
    study = study_in(tmp_path, "  - {kind: curves, measures: [dip_mm], over: skin.site}\n", sites)
    text = re.sub("<wbr>", "", report.write(study, Evaluate(), tmp_path).read_text())
    assert re.search("from back and forearm", text) and "<td>from back</td>" not in text


def test_every_page_is_led_to(tmp_path):
    """With `keep: pictures` each case that has a page is led to, by what it is; cones that are as low are counted."""
    extra = "keep: pictures\ngrid: {wound.outline.length_mm: [30, 50, 90, 95], closure.undermine_mm: [20, 30]}\n"
    study = study_in(tmp_path, "  - {kind: curves, measures: [dip_mm], over: wound.outline.length_mm}\n", extra)
    for settings in sweep.points(study)[:-1]:
        page = task.paths(tmp_path, address(sweep.case_at(study, settings)))[0] / "index.html"
        page.parent.mkdir(parents=True)
        page.write_text("")
    text = report.write(study, Evaluate(), tmp_path).read_text()
    leads = re.findall(r'<li><a href="(cases/\w+/index.html)">([^<]*)</a>', text)
    assert len({address for address, _ in leads}) == 7 and all((tmp_path / address).is_file() for address, _ in leads)
    assert leads[0][1] == "length of the wound 30 mm, undermining 20 mm"
    assert "lowest cones, one of four: length of the wound 90 mm" in text
    assert "highest cones: length of the wound 30 mm" in text


def test_cases_are_shown(opened, made):
    """Plans of the best design of each search and of the study's own cases with the lowest and the highest cones."""
    tab, _ = opened(made[0])
    words = tab.locator("#cases ~ .cases figcaption").all_inner_texts()
    assert [line.split(":")[0] for line in words][2:] == [
        "The study's own case with the lowest cones", "The study's own case with the highest cones",
    ]  # fmt: skip
    assert all(line.startswith("Best of “") for line in words[:2])
    assert "length of the wound 30 mm, undermining 0 mm" in words[3]


def test_same_numbers_same_page(tmp_path):
    """The page is a function of study and results: written twice, byte by byte the same."""
    study = study_in(tmp_path, FEW)
    first = report.write(study, Evaluate(), tmp_path).read_bytes()
    assert report.write(study, Evaluate(), tmp_path).read_bytes() == first


def test_no_page_after_an_error(tmp_path):
    """An evaluation that breaks leaves the page of before as it is."""
    study = study_in(tmp_path, FEW)
    before = report.write(study, Evaluate(), tmp_path).read_bytes()

    def broken(cases):
        raise RuntimeError("stopped")

    with pytest.raises(RuntimeError, match="stopped"):
        report.write(study, broken, tmp_path)
    assert (tmp_path / "study.html").read_bytes() == before


@pytest.mark.slow
def test_command(flatseam, tmp_path):
    """`flatseam study` solves, answers and writes the page; the second time it finds everything and writes the same."""
    path, into = tmp_path / "few.yaml", tmp_path / "results"
    base = yaml_block(text("few", 20).replace("name: few\n", ""))
    path.write_text(
        f"name: few\nbase:\n{base}grid: {{wound.outline.length_mm: [20, 28]}}\nanswers:\n"
        "  - {kind: curves, measures: [cone_height_mm], over: wound.outline.length_mm}\n"
        "  - kind: search\n    least: wound.outline.length_mm\n    limits: {scar_length_mm: 1000}\n"
        "    over: {wound.outline.length_mm: [20, 24]}\n"
    )
    code, printed, _ = flatseam("study", path, "--into", into, "--dry-run")
    assert code == 0
    assert "answer 2, search: at most 11 further cases" in printed
    done = run("study", path, "--into", into, "--workers", 1)
    written = into / "few" / "study.html"
    assert str(written) in done.stdout
    assert "Cone height falls from" in written.read_text()
    assert "The limits are kept at 20 mm already" in written.read_text()
    assert len(list((into / "few" / "cases").iterdir())) == 3
    leads = re.findall(r'<a href="(cases/\w+/index.html)">', written.read_text())
    assert len(leads) == 2 and all((into / "few" / address).is_file() for address in leads)  # of 20 and of 28 mm
    assert "Closed skin. The study&#39;s own case" in written.read_text()
    first = written.read_bytes()
    code, _, err = flatseam("study", path, "--into", into)
    assert code == 0 and "workers" not in err
    assert written.read_bytes() == first


def yaml_block(written):
    """Lines of a file as they stand inside a block."""
    return "".join(f"  {line}\n" for line in written.splitlines())


def run(*phrase):
    """What the program says; it must end well."""
    wanted = [sys.executable, "-c", "from fem.cli.cli import main; main()", *map(str, phrase)]
    return subprocess.run(wanted, capture_output=True, text=True, check=True)
