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
from fem.teaching import comparison_text, leaflet, lesson
from fem.teaching.sheet import html, write_pdf

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
    """The lesson on the middle one of three, and its answers."""
    (_, middle), first, last = named[1], named[0], named[2]
    failed = ("failed", Result(middle.case, reason=f"never met {EVIL}"))
    sample = lesson.of_case(middle.case).model_copy(
        update={"title": f"A title {EVIL}", "question": f"Why {EVIL}?", "label": "middle", "notes": (EVIL,)}
    )
    neighbours = (first, last, failed)
    plan = (into / "middle" / "pictures" / "plan.png").read_bytes()
    return leaflet.lesson_sheet(sample, middle, neighbours, plan=plan), leaflet.answers(sample, middle, neighbours)


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
        assert all(e.get("alt") and e.get("src").startswith("data:image/png;base64,") for e in pictures)


def test_pdf(made, tmp_path):
    """Two pages and one of answers, on A4 and Letter; its words are those of the HTML, and nothing is cut off."""
    for paper, size in {"A4": (210, 297), "Letter": (215.9, 279.4)}.items():
        path = tmp_path / f"{paper}.pdf"
        write_pdf(path, made, paper=paper, footer="the foot")
        assert pdf_pages.sizes(path) == [approx(size, abs=0.1)] * 3
        every = [re.sub(r"\W", "", page) for page in pdf_pages.texts(path)]
        for blocks, phrase in zip([*made[0].pages, *made[1].pages], every, strict=True):
            missing = [sample for sample in texts_of(blocks) if re.sub(r"\W", "", sample) not in phrase]
            assert missing == []
        assert all("thefoot" in phrase for phrase in every)


def test_fits(made, tmp_path):
    """A page with far too much on it is still one page."""
    blocks = tuple(part for _ in range(4) for part in made[0].pages[1])
    write_pdf(tmp_path / "a.pdf", [replace(made[0], pages=(blocks,))], paper="A4", footer="")
    with pypdfium2.PdfDocument(tmp_path / "a.pdf") as document:
        assert len(document) == 1


def test_two_pages(made):
    """The answers stand on no page of the sheet; the caution stands there once."""
    texts = [list(texts_of(blocks)) for blocks in made[0].pages]
    assert len(texts) == 2 and len(made[1].pages) == 1
    answers = [part.text for part in made[1].pages[0] if part.look == "plain"]
    assert len(answers) == 3 and not any(answer in sample for answer in answers for page in texts for sample in page)
    assert sum(caution() in sample for texts in texts for sample in texts) == 1


def test_numbers_are_the_measures(named, into):
    """Each cell of the table is the number of measures.json, printed as everywhere."""
    table = leaflet.table(named)
    assert table.header == ("", *(phrase for phrase, _ in named))
    cells = {row[0]: row[1:] for row in table.rows}
    for label, name in [("cone height, mm", "cone_height_mm"), ("closing force, N", "closing_force_N")]:
        written = [json.loads((into / sample / "measures.json").read_text())[name] for sample in LENGTHS]
        assert cells[label] == tuple(shown(name, value) for value in written)
    assert cells["skin missing at a tip, °"] == ("106", "79", "56")  # 4 atan(W/L)
    assert len(cells) == len(table.rows) == len(leaflet.ROWS)  # one more, and one less: nothing is left open


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


def test_warnings_are_told(named, into):
    """What the run warned of stands on the sheet."""
    sample = lesson.of_case(named[0][1].case)
    warned = replace(named[0][1], run=named[0][1].run | {"warnings": ["skin passed through skin"]})
    sheet = leaflet.lesson_sheet(sample, warned, (), plan=(into / "short" / "pictures" / "plan.png").read_bytes())
    assert "Warning: skin passed through skin." in list(texts_of(sheet.pages[0]))


def test_sources(named, pad):
    """The papers of a site; none for a bench material, about whose cones nothing is said that was seen on people."""
    forearm = replace(
        named[0][1], case=case(text("a", 20).replace("{thickness_mm: 1.5", "{site: forearm, thickness_mm: 1.5"))
    )
    high = replace(forearm, measures=forearm.measures | {"cones": [{"height_mm": 2.0}]})
    low = replace(forearm, measures=forearm.measures | {"cones": [{"height_mm": 0.1}]})
    assert any("Flynn 2011" in line for line in leaflet.sources(high))
    assert any("Cones settle" in line for line in leaflet.sources(high))
    assert not any("Cones settle" in line for line in leaflet.sources(low))
    lines = leaflet.sources(replace(pad, measures=pad.measures | {"cones": [{"height_mm": 2.0}]}))
    assert any("no measurement was read" in line for line in lines)
    assert not any("Cones settle" in line for line in lines)


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
    assert rows["cone height, mm"] == ("2.0 (5.0 … 0.5)", "3.0 (4.0 … not closed)", "2.0")
    assert leaflet.table(named).rows[0][1:] == ("2.0", "3.0", "2.0")
