"""Drawings on paper, 1:1, as PDF: one page where they fit, else sheets to be joined at register marks."""

from dataclasses import dataclass
from itertools import product
from math import ceil
from pathlib import Path
from textwrap import wrap

import matplotlib
import numpy as np
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from fem.comparison.wording import sentence
from fem.teaching.drawing import STYLES, Drawing, Stroke, check_bar, extent, joined, key, moved, with_key

Size = tuple[float, float]  # of paper, points
PAPERS = {"A4": A4, "Letter": LETTER}  # points, portrait
MARGIN, HEAD, FOOT = 10.0, 14.0, 26.0  # mm: around, for the title, for the bar; printers leave 5 mm or so white
OVERLAP = 12.0  # mm of sheets that are joined
REGISTER = 4.0  # mm, half the length of a register mark's lines
ROUND = 1  # PDF's name of a line that is round where it turns: sharp tips then end where they should
EDGE = 0.5  # mm that is drawn beyond a sheet's part, for lines on its border
HALO = 0.2  # mm of white around words
COLUMNS = 120  # letters of a line at the foot
FONT, BOLD = "DejaVuSans", "DejaVuSans-Bold"  # come with matplotlib; embedded


@dataclass(frozen=True)
class Tile:
    """A sheet's part of a drawing."""

    row: int  # from 0, the top
    column: int
    left: float  # mm, of the drawing
    bottom: float
    wide: float
    high: float


def fonts() -> None:
    """Make the fonts known to reportlab."""
    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    for name in (FONT, BOLD):
        if name not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(name, folder / f"{name}.ttf"))


def write(path: Path, drawing: Drawing, *, title: str, subtitle: str, paper: str, footer: str) -> None:
    """Write a drawing as a PDF on `paper`, one of PAPERS, the footer at the foot of every sheet."""
    fonts()
    canvas = Canvas(str(path), pagesize=PAPERS[paper], invariant=True, lang="en")
    canvas.setAuthor("flatseam")
    canvas.setTitle(title)
    for size, tile, part, below in sheets(drawing, subtitle, PAPERS[paper]):
        _sheet(canvas, size, tile, part, title, below, footer)
    canvas.save()


def sheets(drawing: Drawing, subtitle: str, size: Size) -> list[tuple[Size, Tile, Drawing, str]]:
    """(paper in points, Tile, what is drawn, subtitle) of each sheet of a drawing, upright or lying as it fits."""
    ways, whole = [size, size[::-1]], with_key(drawing)
    for way in ways:
        (only, *others) = tiles(extent(whole), room(way))
        if not others:
            return [(way, only, whole, subtitle)]
    parts, way = min(((tiles(extent(drawing), room(way)), way) for way in ways), key=lambda cover: len(cover[0]))
    rows, columns = max(t.row for t in parts) + 1, max(t.column for t in parts) + 1
    many = []
    for k, tile in enumerate(parts, start=1):
        below = sentence("teaching/paper", "sheet", k, len(parts), tile)
        many.append((way, tile, joined(drawing, register(tile, rows, columns)), below))
    last, below = key(drawing), sentence("teaching/paper", "key", len(parts), subtitle)
    return [*many, (size, tiles(extent(last), room(size))[0], last, below)]


def room(size: Size) -> tuple[float, float]:
    """Width and height in mm that a drawing may have on paper of a size in points."""
    return size[0] / mm - 2 * MARGIN, size[1] / mm - 2 * MARGIN - HEAD - FOOT


def tiles(within: np.ndarray, room: tuple[float, float]) -> list[Tile]:
    """The sheets that cover an extent (2, 2), row by row from the top; one of them centred if it is enough."""
    (left, right), (bottom, top) = within
    wide, high = room
    columns, rows = (
        1 if length <= side else ceil((length - OVERLAP) / (side - OVERLAP))
        for length, side in ((right - left, wide), (top - bottom, high))
    )
    over = columns * (wide - OVERLAP) + OVERLAP - (right - left), rows * (high - OVERLAP) + OVERLAP - (top - bottom)
    start, ceiling = left - over[0] / 2, top + (over[1] / 2 if rows > 1 else 0.0)
    return [
        Tile(row, column, start + column * (wide - OVERLAP), ceiling - high - row * (high - OVERLAP), wide, high)
        for row, column in product(range(rows), range(columns))
    ]


def register(tile: Tile, rows: int, columns: int) -> Drawing:
    """Crosses in the middle of the overlaps of a sheet, at the same places of the drawing on both that meet there."""
    half = OVERLAP / 2
    x, y = (tile.left + half, tile.left + tile.wide - half), (tile.bottom + tile.high - half, tile.bottom + half)
    upright = [x[k] for k, there in enumerate((tile.column > 0, tile.column < columns - 1)) if there]
    level = [y[k] for k, there in enumerate((tile.row > 0, tile.row < rows - 1)) if there]
    places = [(a, tile.bottom + share * tile.high) for a in upright for share in (0.25, 0.75)]
    places += [(tile.left + share * tile.wide, b) for b in level for share in (0.25, 0.75)]
    arms = [((a - REGISTER, a + REGISTER), (b, b)) for a, b in places]
    arms += [((a, a), (b - REGISTER, b + REGISTER)) for a, b in places]
    return Drawing(tuple(Stroke(np.array(arm), "bar") for arm in arms))


def _sheet(canvas, size, tile, drawing, title, subtitle, footer):
    """Draw one sheet: title, its part of the drawing, the bar and the line at the foot."""
    canvas.setPageSize(size)
    canvas.saveState()
    canvas.scale(mm, mm)
    high = size[1] / mm
    canvas.setFont(BOLD, 5)
    canvas.drawString(MARGIN, high - MARGIN - 5, title)
    canvas.setFont(FONT, 3.2)
    canvas.drawString(MARGIN, high - MARGIN - 10.5, subtitle)
    _draw(canvas, moved(check_bar(), (MARGIN, MARGIN + 11)))
    canvas.setFont(FONT, 2.5)
    for k, line in enumerate(wrap(footer, COLUMNS)):
        canvas.drawString(MARGIN, MARGIN + 3 * (1 - k), line)
    window = canvas.beginPath()
    window.rect(MARGIN - EDGE, MARGIN + FOOT - EDGE, tile.wide + 2 * EDGE, tile.high + 2 * EDGE)
    canvas.clipPath(window, stroke=0, fill=0)
    _draw(canvas, moved(drawing, (MARGIN - tile.left, MARGIN + FOOT - tile.bottom)))
    canvas.restoreState()
    canvas.showPage()


def _draw(canvas, drawing):
    """Draw strokes, then words on white."""
    canvas.setLineJoin(ROUND)
    for stroke in drawing.strokes:
        style = STYLES[stroke.style]
        canvas.setLineWidth(style.width)
        canvas.setDash(list(style.dashes))
        path = canvas.beginPath()
        (x, *xs), (y, *ys) = stroke.points
        path.moveTo(x, y)
        for a, b in zip(xs, ys, strict=True):
            path.lineTo(a, b)
        if stroke.closed:
            path.close()
        canvas.drawPath(path)
    canvas.setDash([])
    for w in drawing.texts:
        wide = pdfmetrics.stringWidth(w.text, FONT, w.size)
        x, y = w.at[0] - {"start": 0, "middle": wide / 2, "end": wide}[w.anchor], w.at[1]
        canvas.setFillGray(1)
        canvas.rect(x - HALO, y - 0.15 * w.size, wide + 2 * HALO, w.size, stroke=0, fill=1)
        canvas.setFillGray(0)
        canvas.setFont(FONT, w.size)
        canvas.drawString(x, y, w.text)
