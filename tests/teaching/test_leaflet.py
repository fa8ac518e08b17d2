"""Lesson and bench sheets: their numbers are those of measures.json, HTML and PDF say the same, text is escaped."""

import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pdf_pages
import pypdfium2
import pytest
from defusedxml import ElementTree
from pytest import approx
from ranged import made as ranged
from small_cases import case, result_of, text
from synthetic import tips_at

from fem.comparison.html import caution
from fem.results import close
from fem.results import result as results
from fem.results.quantities import numbers, shown
from fem.results.result import Result
from fem.teaching import comparison_text, leaflet, lesson, pictures
from fem.teaching.sheet import Items, Paragraph, Sheet, html, write_pdf

EVIL = "<img src=x onerror=alert(1)> & “so” on"
LENGTHS = {"short": 20, "middle": 28, "long": 40}
PAD = """\
name: pad
wound: {outline: {kind: lens, length_mm: 20, width_mm: 10}}
skin: {site: silicone-pad}
patch: {radius_mm: 30}
mesh: {edge_mm: 2, tip_mm: 2, far_mm: 6}
"""


@pytest.fixture(scope="module")
def into(tmp_path_factory):
    return tmp_path_factory.mktemp("results")


@pytest.fixture(scope="module")
def named(into):
    """(label, Result) of three closures; the words need escaping."""
    wanted = [case(text(name, length)) for name, length in LENGTHS.items()]
    return [(f"{sample.name} {EVIL}", result_of(sample, into)) for sample in wanted]


@pytest.fixture(scope="module")
def pad(into):
    """A closure in a bench material."""
    sample = case(PAD)
    return result_of(sample, into)


@pytest.fixture(scope="module")
def made(named, into):
    """The lesson on the middle one of three, its answers, and the notes for its teacher."""
    (_, middle), first, last = named[1], named[0], named[2]
    failed = ("failed", Result(middle.case, reason=f"never met {EVIL}"))
    sample = lesson.of_case(middle.case).model_copy(
        update={"title": f"A title {EVIL}", "question": f"Why {EVIL}?", "label": "middle", "notes": (EVIL,)}
    )
    given = sample, middle, (first, last, failed)
    return leaflet.lesson_sheet(*given), leaflet.answers(*given), leaflet.notes(*given)


def root(written):
    """The HTML read as XML; void elements closed."""
    closed = re.sub(r"<(meta|img)([^>]*)>", r"<\1\2/>", written.removeprefix("<!DOCTYPE html>"))
    return ElementTree.fromstring(closed)


def texts_of(blocks):
    """Every text of blocks."""
    for part in blocks:
        if part.kind == "items":
            yield from part.items
        elif part.kind == "rows":
            yield from (cell for row in (part.header, *part.rows) for cell in row)
        elif part.kind == "pictures":
            yield from (shown.caption for shown in part.pictures)
        else:
            yield part.text


@pytest.mark.slow
def test_html(made):
    """Every text is in the HTML as text, markup in it included; nothing is loaded from elsewhere."""
    for sheet in made:
        written = html(sheet)
        phrase = " ".join(root(written).itertext())
        assert all(sample in phrase for blocks in sheet.pages for sample in texts_of(blocks))
        assert "<img src=x" not in written and sheet.title in phrase
        (policy,) = [e.get("content") for e in root(written).iter("meta") if e.get("http-equiv")]
        assert policy.startswith("default-src 'none'; img-src data:") and "://" not in written
        pictures = [e for e in root(written).iter("img")]
        assert all(e.get("alt") and e.get("src").startswith("data:image/") for e in pictures)


def test_pdf(made, tmp_path):
    """Three files, on A4 and Letter; their words are those of the HTML, and nothing is cut off."""
    for paper, size in {"A4": (210, 297), "Letter": (215.9, 279.4)}.items():
        for sheet in made:
            path = tmp_path / f"{paper}.pdf"
            write_pdf(path, sheet, paper=paper, footer="the foot")
            assert all(page == approx(size, abs=0.1) for page in pdf_pages.sizes(path))
            every = [re.sub(r"\W", "", page) for page in pdf_pages.texts(path)]
            texts = [sample for blocks in sheet.pages for sample in texts_of(blocks)]
            assert [sample for sample in texts if re.sub(r"\W", "", sample) not in "".join(every)] == []
            assert all("thefoot" in phrase for phrase in every)


def test_goes_on(made, tmp_path):
    """What is too much for a page goes on on the next, in letters of the same size; a heading stays with its text."""
    blocks = tuple(part for _ in range(4) for part in made[0].pages[1])
    write_pdf(tmp_path / "a.pdf", replace(made[0], pages=(blocks,)), paper="A4", footer="")
    pages = pdf_pages.texts(tmp_path / "a.pdf")
    assert len(pages) == 4 and not any(page.strip().endswith("Questions") for page in pages)


def test_pictures_are_drawn_for_their_size(made, tmp_path):
    """Plan, scale and chart are lines and letters on paper; only skin is pixels: once, and three times."""
    write_pdf(tmp_path / "a.pdf", made[0], paper="A4", footer="")
    with pypdfium2.PdfDocument(tmp_path / "a.pdf") as document:
        kinds = [[thing.type for thing in page.get_objects()] for page in document]
        words = [page.get_textpage().get_text_range() for page in document]
    assert [page.count(pypdfium2.raw.FPDF_PAGEOBJ_IMAGE) for page in kinds] == [1, 3]
    assert all(word in words[0] for word in ("skin cut out", "undermined", "10 mm", "height, mm"))
    assert "scar length, along the skin, mm" in words[1]


def test_three_files(made):
    """No sentence of an answer and no note stands on the pupils' sheet; the caution stands on each once."""
    lesson_sheet, answers, notes = ([sample for blocks in sheet.pages for sample in texts_of(blocks)] for sheet in made)
    given = [part.text for part in made[1].pages[0] if part.kind == "paragraph" and part.look == "plain"]
    assert len(given) == 3
    lines = [line for blocks in made[0].pages for part in blocks if part.kind == "items" for line in part.items]
    assert not any(line in answer or answer in line for line in lines for answer in given)
    assert EVIL in notes and EVIL not in lesson_sheet and not any("longer the scar" in line for line in lesson_sheet)
    assert any("The longer the scar, the more the skin taken away" in line for line in answers)
    assert all(sum(caution() in line for line in texts) == 1 for texts in (lesson_sheet, answers, notes))


def test_numbers_are_the_measures(named, into):
    """Each cell of the table is the number of measures.json, printed as everywhere."""
    table = leaflet.table(named)
    assert table.header == ("", *(phrase for phrase, _ in named))
    cells = {row[0]: row[1:] for row in table.rows}
    for label, name in [("cone height, mm", "cone_height_mm"), ("closing force, N", "closing_force_N")]:
        written = [json.loads((into / sample / "measures.json").read_text())[name] for sample in LENGTHS]
        assert cells[label] == tuple(shown(name, value) for value in written)
    assert cells["angle taken out at a tip, °"] == ("106", "79", "56")  # 4 atan(W/L)
    rows = {label for label, *values in table.rows if set(values) <= {"–", "0", "0.0"}}
    assert len(cells) == len(table.rows) and not rows and "left open, mm²" not in cells


def test_middle_row_only_of_even_seams(named):
    """Line tension in the middle is left out where a closure in the table has none that means anything."""
    tied = text("middle", 28).replace("{undermine_mm: 6}", "{sutures: {kind: interrupted}}")
    rows = leaflet.table([named[0], ("tied", replace(named[1][1], case=case(tied)))]).rows
    assert not any("middle of the seam" in row[0] for row in rows)


def test_failed_neighbour(made):
    """A neighbour that could not be closed is told of with its reason, and missing in the table."""
    texts = list(texts_of(made[0].pages[1]))
    assert any("“failed” could not be closed: never met" in sample for sample in texts)
    assert "failed" not in texts


def test_warnings_are_told(named):
    """What the run warned of stands on the sheet."""
    sample = lesson.of_case(named[0][1].case)
    warned = replace(named[0][1], run=named[0][1].run | {"warnings": ["skin passed through skin"]})
    sheet = leaflet.lesson_sheet(sample, warned, ())
    assert "Warning: skin passed through skin." in list(texts_of(sheet.pages[0]))


def test_sources(named, pad):
    """The papers of a site; none for a bench material, about whose cones nothing is said that was seen on people."""
    forearm = replace(
        named[0][1], case=case(text("a", 20).replace("{thickness_mm: 1.5", "{site: forearm, thickness_mm: 1.5"))
    )
    high = replace(forearm, measures=forearm.measures | {"cones": [{"height_mm": 2.0}]})
    low = replace(forearm, measures=forearm.measures | {"cones": [{"height_mm": 0.1}]})
    assert {"Flynn 2011", "Kerns 2008"} <= set(leaflet.papers(high)) and "Biomech Model" in leaflet.papers(high)[
        "Flynn 2011"
    ]
    assert len(leaflet.observed(high)) == 2 and leaflet.observed(low) == []
    stood = replace(pad, measures=pad.measures | {"cones": [{"height_mm": 2.0}]})
    assert leaflet.papers(stood) == {} and leaflet.observed(stood) == []


# The bench ----------------------------------------------------------------------------------------------------


def test_bench(pad):
    """What to lay out and to sew, and the heights to be compared with a ruler: those of measures.json."""
    assert leaflet.on_bench(pad)
    (blocks,) = leaflet.bench_sheet(pad, [(0, 0.25), (0, 0.5), (0, 0.75)]).pages
    texts = list(texts_of(blocks))
    assert "silicone pad, 2 mm thick, at least 6 cm square" in texts
    assert all(any(part in text for text in texts) for part in ("a ring of 60 mm across", "Sew from 1 to 3"))
    (rows,) = [part for part in blocks if part.kind == "rows"]
    heights = [cone["height_mm"] for cone in pad.measures["cones"]]
    assert [row[1] for row in rows.rows[:2]] == [shown("cone_height_mm", h) for h in heights]
    assert [row[0] for row in rows.rows[:2]] == ["left cone", "right cone"] and all(row[2] == "" for row in rows.rows)
    assert rows.rows[-1][1] == shown("scar_length_mm", pad.measures["scar_length_mm"])
    assert any("a choice, no measurement" in sample for sample in texts) and caution() in texts


def test_not_on_the_bench(named):
    """A case in skin of the body, or in invented skin, has no bench sheet: nothing was computed for one."""
    assert not leaflet.on_bench(named[0][1])


def test_flap_on_the_bench(pad):
    """Single sutures and flaps are told of as such; a slit takes nothing out."""
    written = PAD.replace("kind: lens, length_mm: 20, width_mm: 10", "kind: slit, length_mm: 20").replace(
        "skin:", "closure: {technique: z-plasty, sutures: {kind: interrupted}}\nskin:"
    )
    lines = leaflet.steps(replace(pad, case=case(written.replace("radius_mm: 30", "radius_mm: 60"))), [(0, 0.5)] * 9)
    assert any("Tie 9 single sutures" in line for line in lines) and any("Lift the flaps" in line for line in lines)
    assert any("nothing is taken out" in line for line in lines)


@pytest.mark.slow
def test_stiffness_does_not_matter(pad, into):
    """Without tension and bed, ten times the stiffness leaves every height: all energies grow alike."""
    assert leaflet.scale_free(pad.case) and any("stiffer" in line for line in leaflet.observations(pad))
    stiff = case(
        PAD.replace("name: pad", "name: stiff").replace("silicone-pad", "silicone-pad, law: {shear_kPa: 1000}")
    )
    other = results.read(close.close(stiff, into=into), stiff)
    assert other.measures["cone_height_mm"] == approx(pad.measures["cone_height_mm"], rel=1e-4)
    assert other.measures["closing_force_N"] == approx(10 * pad.measures["closing_force_N"], rel=1e-4)
    assert not leaflet.scale_free(case(text("a", 20)))


def test_highest_place(pad):
    """A highest place that is at no tip has a row of its own."""
    phrase = [row[0] for row in leaflet.ruled(replace(pad, measures=pad.measures | {"rise_mm": 99.0}))]
    assert phrase == ["left cone", "right cone", "highest place", "scar length, along the skin"]


def test_order(named):
    """Closures are sorted by their scars, whichever comes first."""
    assert [result.name for _, result in comparison_text.ordered(reversed(named), comparison_text.SCAR)] == list(
        LENGTHS
    )
    assert numbers(named[0][1].measures)["scar_length_mm"] < numbers(named[2][1].measures)["scar_length_mm"]
    assert Path(leaflet.__file__).with_name("leaflet.html").is_file()


def test_brackets():
    """Numbers of the case with those in slack and tense skin; a column without a range has none, a failure says so."""
    (own, ends), (other, lost) = ranged("a", (5, 2, 0.5)), ranged("b", (4, 3, None))
    plain = Result(case(text("own", 20)), measures=own.measures)
    more = {"cones": [], "suture_forces_N": None}
    named = [
        (r.name, replace(r, measures=r.measures | more, stages=tips_at(np.zeros((2, 0)), [])))
        for r in (own, other, plain)
    ]
    rows = {row[0]: row[1:] for row in leaflet.table(named, {"a": ends, "b": lost}).rows}
    assert rows["cone height, mm"] == ("2.0 (0.5 … 5.0)", "3.0 (4.0 … not closed)", "2.0")  # the smaller one first
    assert leaflet.table(named).rows[0][1:] == ("2.0", "3.0", "2.0")
    level = [(name, replace(r, measures=r.measures | {"cone_height_mm": 0.0})) for name, r in named]
    assert leaflet.table(level).rows[0][1:] == ("0.0", "0.0", "0.0")  # which is what is asked first


def test_all_flat():
    """Where all lie flat it is said, with the cones of slack skin; not where one stands, nor of one alone."""
    closures = [ranged("a", (5, 0.2, 0.0)), ranged("b", (0.9, 0, 0)), ranged("c", (4, 1.0, 0))]
    named, spread = [(own.name, own) for own, _ in closures], {own.name: ends for own, ends in closures}
    assert leaflet.all_flat(named[:2], spread) == [
        "In typical skin both lie flat, with cones under 1 mm. In slack skin cones stand: “a” 5.0 mm high."
    ]
    assert leaflet.all_flat(named[:2], {}) == ["In the given skin both lie flat, with cones under 1 mm."]
    assert leaflet.all_flat(named, spread) == [] == leaflet.all_flat(named[:1], spread)


def test_chart_has_a_key():
    """Beside the chart stands which mark is which closure and which skin; no name lies in it, on another's line."""
    closures = [ranged("a", (5, 2, 0.5)), ranged("b", (4, 1.5, 0))]
    named, spread = [(f"label {own.name}", own) for own, _ in closures], {own.name: ends for own, ends in closures}
    figure = pictures.trade_off(named, "scar_length_mm", spread).image
    words = [text.get_text() for text in figure.legends[0].get_texts()]
    assert words == ["label a", "label b", "slack skin", "typical skin", "tense skin"] and not figure.axes[0].texts
    figure.draw_without_rendering()
    assert figure.legends[0].get_window_extent().x0 > figure.axes[0].get_window_extent().x1
    (alone,) = pictures.trade_off(named, "scar_length_mm").image.legends
    assert [text.get_text() for text in alone.get_texts()] == words[:2]


def test_plain_case(named):
    """Its title is its name, which is not repeated; hints are common ones; why there is no paper cone is said."""
    result = replace(named[0][1], measures=named[0][1].measures | {"cones": [{"height_mm": 0.1}] * 2})
    notes = leaflet.notes(lesson.of_case(result.case), result, named[1:])
    assert (notes.title, notes.subtitle) == (f"For the teacher: {result.name}", "")
    assert "Have the table read row by row" in " ".join(texts_of(notes.pages[0]))
    assert "There is no paper cone: skin is less than 0.5 mm off the level at every tip." in texts_of(notes.pages[0])
    assert '<p class="words">' not in html(notes)


@pytest.mark.parametrize("lines", range(36, 44))
def test_heading_stays_with_its_list(lines, tmp_path):
    """However full a page, no heading ends it: two lines of the list below it stand on the same one."""
    below = Paragraph("A heading", "heading"), Items(("one " * 60, "two"))
    blocks = *(Paragraph("line") for _ in range(lines)), *below
    write_pdf(tmp_path / "a.pdf", Sheet("title", "", (blocks,)), paper="Letter", footer="")
    assert not any(page.strip().endswith("A heading") for page in pdf_pages.texts(tmp_path / "a.pdf"))
