"""Sheets of text, tables and pictures, as HTML and as PDF; what is 1:1 is drawn by `paper`."""

import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import ClassVar
from xml.sax.saxutils import escape

import numpy as np
from PIL import Image
from reportlab import platypus
from reportlab.lib import colors
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from fem.comparison.html import rendered
from fem.teaching.paper import BOLD, FONT, PAPERS, fonts

MARGIN, HEAD, FOOT = 15.0, 16.0, 8.0  # mm
FIRST = 0.36  # of a table's width: its first column
PLAIN = ParagraphStyle("plain", fontName=FONT, fontSize=9, leading=12.5, spaceAfter=3)
LOOKS = {
    "plain": PLAIN,
    "question": ParagraphStyle("question", PLAIN, fontName=BOLD, fontSize=11, leading=15, spaceAfter=4),
    "small": ParagraphStyle("small", PLAIN, fontSize=7.5, leading=10),
    "heading": ParagraphStyle("heading", PLAIN, fontName=BOLD, fontSize=11, leading=14, spaceBefore=6, spaceAfter=3),
    "caption": ParagraphStyle("caption", PLAIN, fontSize=7.5, leading=10, alignment=1),
    "cell": ParagraphStyle("cell", PLAIN, fontSize=8, leading=10, spaceAfter=0),
    "head": ParagraphStyle("head", PLAIN, fontName=BOLD, fontSize=8, leading=10, spaceAfter=0),
}


@dataclass(frozen=True)
class Paragraph:
    """A paragraph; the look is "plain", "heading", "question" or "small"."""

    kind: ClassVar[str] = "paragraph"
    text: str
    look: str = "plain"


@dataclass(frozen=True)
class Items:
    """A list, numbered or not."""

    kind: ClassVar[str] = "items"
    items: tuple[str, ...]
    numbered: bool = False
    look: str = "plain"


@dataclass(frozen=True)
class Rows:
    """A table: its heading and its rows of text."""

    kind: ClassVar[str] = "rows"
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Picture:
    """A PNG with what it shows, for those who see it and for those who do not."""

    png: bytes
    caption: str
    alt: str
    width: int  # pixels
    height: int
    tallest: float = 62.0  # mm, on paper


@dataclass(frozen=True)
class Pictures:
    """Pictures side by side."""

    kind: ClassVar[str] = "pictures"
    pictures: tuple[Picture, ...]


Block = Paragraph | Items | Rows | Pictures


@dataclass(frozen=True)
class Sheet:
    """Pages of blocks."""

    title: str
    subtitle: str  # below the title
    pages: tuple[tuple[Block, ...], ...]


def html(sheet: Sheet) -> str:
    """A sheet as one HTML file that needs no network."""
    return rendered("teaching/leaflet.html", title=sheet.title, styles=["teaching/leaflet.css"], sheet=sheet)


def picture(png: bytes, caption: str, alt: str) -> Picture:
    """A picture from the bytes of a PNG."""
    with Image.open(io.BytesIO(png)) as image:
        return Picture(png, caption, alt, *image.size)


def png_of(image: np.ndarray) -> bytes:
    """An image (h, w, 3) as the bytes of a PNG file."""
    stream = io.BytesIO()
    Image.fromarray(image).save(stream, "png", optimize=True)
    return stream.getvalue()


def write_pdf(path: Path, sheets: Sequence[Sheet], *, paper: str, footer: str) -> None:
    """Write the pages of sheets as a PDF, each with the footer; one whose blocks are too many is shrunk to fit."""
    fonts()
    wide, high = PAPERS[paper]
    canvas = Canvas(str(path), pagesize=PAPERS[paper], invariant=True, lang="en")
    canvas.setAuthor("flatseam")
    canvas.setTitle(sheets[0].title)
    room = wide - 2 * MARGIN * mm, high - (2 * MARGIN + HEAD + FOOT) * mm
    for sheet in sheets:
        for number, blocks in enumerate(sheet.pages, start=1):
            _head(canvas, sheet, number, wide, high, footer)
            flowing = [part for block in blocks for part in FLOWING[block.kind](block, room[0])]
            frame = platypus.Frame(MARGIN * mm, (MARGIN + FOOT) * mm, *room, 0, 0, 0, 0)
            frame.addFromList([platypus.KeepInFrame(*room, flowing, mode="shrink")], canvas)
            canvas.showPage()
    canvas.save()


def _head(canvas, sheet, number, wide, high, footer):
    """Draw the title and the foot of a page."""
    of = f"page {number} of {len(sheet.pages)}" if len(sheet.pages) > 1 else ""
    canvas.setFont(BOLD, 16)
    canvas.drawString(MARGIN * mm, high - (MARGIN + 5) * mm, sheet.title)
    canvas.setFont(FONT, 8)
    canvas.drawString(MARGIN * mm, high - (MARGIN + 10.5) * mm, sheet.subtitle)
    canvas.drawRightString(wide - MARGIN * mm, high - (MARGIN + 10.5) * mm, of)
    canvas.setFont(FONT, 6.5)
    canvas.drawString(MARGIN * mm, MARGIN * mm, footer)


def _text(text, look):
    return platypus.Paragraph(escape(text), LOOKS[look])


def _items(block, wide):
    kind = dict(bulletType="1", bulletFormat="%s.") if block.numbered else dict(bulletType="bullet", start="•")
    items = [_text(text, block.look) for text in block.items]
    return [platypus.ListFlowable(items, leftIndent=14, bulletFontName=FONT, bulletFontSize=9, **kind)]


def _rows(block, wide):
    columns = len(block.header) - 1
    cells = [[_text(text, "head") for text in block.header]]
    cells += [[_text(text, "cell") for text in row] for row in block.rows]
    lines = [("LINEBELOW", (0, 0), (-1, 0), 0.8, colors.black), ("LINEBELOW", (0, 1), (-1, -1), 0.3, colors.grey)]
    pads = [(f"{side}PADDING", (0, 0), (-1, -1), 2.2) for side in ("TOP", "BOTTOM")]
    style = [*lines, *pads, ("VALIGN", (0, 0), (-1, -1), "TOP")]
    widths = [FIRST * wide, *[(1 - FIRST) * wide / columns] * columns]
    return [platypus.Table(cells, widths, style=style, hAlign="LEFT"), platypus.Spacer(0, 5)]


def _pictures(block, wide):
    each = wide / len(block.pictures)
    columns = []
    for shown in block.pictures:
        scale = min((each - 3 * mm) / shown.width, shown.tallest * mm / shown.height)
        image = platypus.Image(io.BytesIO(shown.png), shown.width * scale, shown.height * scale)
        columns.append([image, _text(shown.caption, "caption")])
    style = [("VALIGN", (0, 0), (-1, -1), "BOTTOM"), ("ALIGN", (0, 0), (-1, -1), "CENTER")]
    return [platypus.Table([columns], [each] * len(columns), style=style)]


FLOWING = {
    "paragraph": lambda block, wide: [_text(block.text, block.look)],
    "items": _items,
    "rows": _rows,
    "pictures": _pictures,
}
