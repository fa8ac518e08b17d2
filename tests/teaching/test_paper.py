"""Sheets of paper, rasterised and measured as with a ruler: nothing may be smaller or larger than it says."""

import numpy as np
import pdf_pages
import pytest
from pytest import approx
from small_cases import case, text

from fem.teaching import paper
from fem.teaching.drawing import Drawing, Stroke, extent, joined
from fem.teaching.template import template

LIMIT = 0.3  # mm; a ruler shows no less
SIZES = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
FOOTER = "For research and teaching only."


def lens(length, width, more=""):
    return case(
        text("lens", length).replace("width_mm: 10", f"width_mm: {width}").replace("radius_mm: 40", "radius_mm: 400")
        + more
    )


def printed(sample, path, size):
    """The template of a case as a PDF."""
    paper.write(path, template(sample), title="lens", subtitle="a test", paper=size, footer=FOOTER)
    return path


@pytest.mark.parametrize("size", SIZES)
def test_true_to_scale(tmp_path, size):
    """A lens of 60 x 20 mm: one sheet of that paper, the bar 100 mm, the cut 60 mm long and 20 mm wide."""
    path = printed(lens(60, 20), tmp_path / "a.pdf", size)
    assert pdf_pages.sizes(path) == [approx(SIZES[size], abs=0.1)]
    (dark,) = pdf_pages.pages(path)
    assert pdf_pages.bar(dark) == approx(100, abs=LIMIT)
    assert pdf_pages.heavy(dark) == approx((60, 20), abs=LIMIT)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize(("length", "width"), [(220, 40), (40, 40)])
def test_lying(tmp_path, size, length, width):
    """What is too wide for paper upright but not lying is on one lying sheet; what fits upright stays upright."""
    path = printed(lens(length, width), tmp_path / "a.pdf", size)
    ((wide, high),) = pdf_pages.sizes(path)
    assert (wide > high) == (length == 220)
    assert pdf_pages.bar(pdf_pages.pages(path)[0]) == approx(100, abs=LIMIT)


@pytest.mark.slow
@pytest.mark.parametrize("size", SIZES)
def test_tiled(tmp_path, size):
    """A lens of 320 x 300 mm on several sheets: the bar on each; joined, the cut is as long and wide as it was drawn.

    The sheets are laid on each other as their places in the drawing say; where two of them overlap they show the same,
    crosses included, but for the grey of a pixel's border.
    """
    sample = lens(320, 300)
    path = printed(sample, tmp_path / "a.pdf", size)
    parts = paper.sheets(template(sample), "", paper.PAPERS[size])[:-1]
    dark = pdf_pages.pages(path)
    assert len(parts) == len(dark) - 1 >= 4
    assert [pdf_pages.bar(page) for page in dark] == [approx(100, abs=LIMIT)] * len(dark)
    joint, seen, clash = laid([(tile, page) for (_, tile, _, _), page in zip(parts, dark[:-1], strict=True)])
    assert pdf_pages.heavy(joint) == approx((320, 300), abs=LIMIT)
    assert (seen > 1).sum() * pdf_pages.PIXEL**2 > 1000  # mm2 of overlap
    assert clash < 0.02 * joint[seen > 1].sum()


def laid(parts):
    """One picture of the sheets' parts, how many sheets show each pixel, and how many pixels they disagree on.

    Pixels that differ from all neighbours of the other sheet count; lines may lie between two pixels.
    """
    scale = 1 / pdf_pages.PIXEL
    left, top = min(t.left for t, _ in parts), max(t.bottom + t.high for t, _ in parts)
    wide = round((max(t.left + t.wide for t, _ in parts) - left) * scale)
    high = round((top - min(t.bottom for t, _ in parts)) * scale)
    joint, seen, clash = np.zeros((high, wide), bool), np.zeros((high, wide), int), 0
    for tile, page in parts:
        y = page.shape[0] - round((paper.MARGIN + paper.FOOT + tile.high) * scale)
        x = round(paper.MARGIN * scale)
        inner = page[y : y + round(tile.high * scale) - 2, x : x + round(tile.wide * scale) - 2]
        at = round((top - tile.bottom - tile.high) * scale), round((tile.left - left) * scale)
        where = np.s_[at[0] : at[0] + inner.shape[0], at[1] : at[1] + inner.shape[1]]
        inner = inner[: joint[where].shape[0], : joint[where].shape[1]]
        both = seen[where] > 0
        near = np.zeros_like(inner)
        for dy in (-1, 0, 1):
            for dx in (-1, 0, 1):
                near |= np.roll(inner, (dy, dx), (0, 1))
        clash += int((joint[where] & ~near & both).sum())
        joint[where] |= inner
        seen[where] += 1
    return joint, seen, clash


def test_tiles_cover():
    """Sheets cover the drawing, neighbours overlap by OVERLAP, and no row or column is to spare."""
    within, room = np.array([[-130.0, 270.0], [10.0, 500.0]]), (190.0, 243.0)
    parts = paper.tiles(within, room)
    assert {(t.row, t.column) for t in parts} == {(r, c) for r in range(3) for c in range(3)}
    x, y = sorted({t.left for t in parts}), sorted({t.bottom for t in parts})
    assert np.diff(x) == approx(190 - paper.OVERLAP) and np.diff(y) == approx(243 - paper.OVERLAP)
    assert x[0] <= -130 and x[-1] + 190 >= 270 and y[0] <= 10 and y[-1] + 243 >= 500
    assert x[1] > -130 and y[1] > 10


def test_register_marks():
    """Crosses are where two sheets overlap, at the same places of the drawing on both."""
    parts = paper.tiles(np.array([[0.0, 300.0], [0.0, 400.0]]), (190.0, 243.0))
    assert len(parts) == 4

    def crosses(tile):
        level = [s.points.mean(axis=1) for s in paper.register(tile, 2, 2).strokes]
        return {tuple(np.round(at, 6)) for at in level}

    marks = [crosses(tile) for tile in parts]
    assert all(len(sample) == 4 for sample in marks)
    for k, m in [(0, 1), (2, 3), (0, 2), (1, 3)]:
        assert len(marks[k] & marks[m]) == 2
    assert not marks[0] & marks[3] and not marks[1] & marks[2]


def test_words(tmp_path):
    """Every sheet has the reminder and the foot; sheets of one drawing are numbered; fonts are embedded."""
    path = printed(lens(320, 300), tmp_path / "a.pdf", "A4")
    phrase = pdf_pages.texts(path)
    assert all("Print at 100 %" in page and "100 mm" in page and FOOTER in page for page in phrase)
    assert [f"sheet {k} of {len(phrase) - 1}" in page for k, page in enumerate(phrase, start=1)][:-1] == [True] * (
        len(phrase) - 1
    )
    assert "hatched: skin to take away" in phrase[-1]
    assert b"/FontFile2" in path.read_bytes() and b"/Helvetica" not in path.read_bytes().replace(
        b"/BaseFont /Helvetica", b""
    )


def test_same_file_from_the_same_drawing(tmp_path):
    """Nothing in the PDF depends on when it was written."""
    sample, two = (printed(lens(60, 20), tmp_path / name, "A4").read_bytes() for name in ("a.pdf", "b.pdf"))
    assert sample == two


def test_dashes_survive_a_copier(tmp_path):
    """Every kind of line is black, and no two that mean different things are alike in dashes and weight."""
    from fem.teaching.drawing import SAMPLES, STYLES

    looks = [(s.width, s.dashes) for name, s in STYLES.items() if s.meaning and name not in SAMPLES]
    assert len(set(looks)) == len(looks)
    line = Stroke(np.array([[0.0, 80.0], [0.0, 0.0]]), "cut")
    kinds = [Drawing((Stroke(line.points + np.array([[0], [6.0 * k]]), name),)) for k, name in enumerate(STYLES)]
    paper.write(tmp_path / "a.pdf", joined(*kinds), title="t", subtitle="", paper="A4", footer="")
    import pypdfium2

    with pypdfium2.PdfDocument(tmp_path / "a.pdf") as document:
        page = document[0]
        image = page.render(scale=2).to_numpy()[..., :3].astype(int)
        page.close()
    assert (np.ptp(image, axis=2) == 0).all() and extent(joined(*kinds))[0, 1] == 80
