"""Sheets of text, tables and pictures, as HTML and as PDF; what is 1:1 is drawn by `paper`."""

import io
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import ClassVar
from xml.sax.saxutils import escape

from matplotlib.figure import Figure
from PIL import Image
from reportlab import platypus
from reportlab.lib import colors
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm

from fem.comparison import style
from fem.comparison.html import rendered
from fem.teaching.paper import BOLD, FONT, PAPERS, fonts
from fem.teaching.vector import Drawn

MARGIN, HEAD, FOOT = 15.0, 16.0, 4.0  # mm
SUBTITLE = 5.5  # mm of the head, below the title
ROOM = 100.0  # mm that must be left for what begins a page, or it begins a new one
HEADED = 18.0  # mm that must be left for a heading and two lines below it, which platypus does not keep with a list
FIRST = 0.36  # of a table's width: its first column
PLAIN = ParagraphStyle("plain", fontName=FONT, fontSize=9, leading=12.5, spaceAfter=3)
LOOKS = {
    "plain": PLAIN,
    "question": ParagraphStyle("question", PLAIN, fontName=BOLD, fontSize=11, leading=15, spaceAfter=4),
    "small": ParagraphStyle("small", PLAIN, fontSize=8, leading=10),
    "heading": ParagraphStyle(
        "heading", PLAIN, fontName=BOLD, fontSize=11, leading=14, spaceBefore=6, spaceAfter=3, keepWithNext=1
    ),
    "caption": ParagraphStyle("caption", PLAIN, fontSize=8, leading=10, alignment=1),
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
    """A PNG, or a figure that is drawn in its own size, with what it shows, for those who see it and who do not."""

    image: bytes | Figure
    caption: str
    alt: str
    tallest: float = 45.0  # mm, on paper, of a PNG

    @property
    def size(self) -> tuple[int, int]:
        """Width and height, pixels."""
        if isinstance(self.image, bytes):
            with Image.open(io.BytesIO(self.image)) as image:
                return image.size
        wide, high = (round(96 * inches) for inches in self.image.get_size_inches())
        return wide, high

    @property
    def content(self) -> bytes | str:
        """The bytes of the PNG, or the figure as SVG."""
        return self.image if isinstance(self.image, bytes) else style.svg(self.image)


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


def write_pdf(path: Path, sheet: Sheet, *, paper: str, footer: str) -> None:
    """Write a sheet as a PDF, the footer on each page; what is more than a page goes on on the next."""
    fonts()
    wide, high = PAPERS[paper]
    file = platypus.BaseDocTemplate(
        str(path), pagesize=PAPERS[paper], invariant=True, lang="en", author="flatseam", title=sheet.title
    )
    head = HEAD - (0 if sheet.subtitle else SUBTITLE)
    room = wide - 2 * MARGIN * mm, high - (2 * MARGIN + head + FOOT) * mm
    frame = platypus.Frame(MARGIN * mm, (MARGIN + FOOT) * mm, *room, 0, 0, 0, 0)
    drawn = partial(_head, sheet=sheet, size=(wide, high), footer=footer)
    file.addPageTemplates([platypus.PageTemplate(frames=[frame], onPage=drawn)])
    flowing = []
    for blocks in sheet.pages:
        flowing += [part for block in blocks for part in FLOWING[block.kind](block, room[0])]
        flowing.append(platypus.CondPageBreak(ROOM * mm))
    file.build(flowing[:-1])


def _head(canvas, file, *, sheet, size, footer):
    """Draw the title and the foot of a page."""
    wide, high = size
    canvas.saveState()
    canvas.setFont(BOLD, 16)
    canvas.drawString(MARGIN * mm, high - (MARGIN + 5) * mm, sheet.title)
    canvas.setFont(FONT, 8)
    canvas.drawString(MARGIN * mm, high - (MARGIN + 5 + SUBTITLE) * mm, sheet.subtitle)
    level = MARGIN + 5 + (SUBTITLE if sheet.subtitle else 0)
    canvas.drawRightString(wide - MARGIN * mm, high - level * mm, f"page {file.page}")
    canvas.setFont(FONT, 7)
    canvas.drawString(MARGIN * mm, MARGIN * mm, footer)
    canvas.restoreState()


def _text(text, look):
    return platypus.Paragraph(escape(text), LOOKS[look])


def _paragraph(block, wide):
    room = [platypus.CondPageBreak(HEADED * mm)] if block.look == "heading" else []
    return [*room, _text(block.text, block.look)]


def _items(block, wide):
    kind = dict(bulletType="1", bulletFormat="%s.") if block.numbered else dict(bulletType="bullet", start="•")
    items = [_text(text, block.look) for text in block.items]
    return [platypus.ListFlowable(items, leftIndent=14, bulletFontName=FONT, bulletFontSize=9, **kind)]


def _rows(block, wide):
    columns = len(block.header) - 1
    cells = [[_text(text, "head") for text in block.header]]
    cells += [[_text(text, "cell") for text in row] for row in block.rows]
    lines = [("LINEBELOW", (0, 0), (-1, 0), 0.8, colors.black), ("LINEBELOW", (0, 1), (-1, -1), 0.3, colors.grey)]
    pads = [(f"{side}PADDING", (0, 0), (-1, -1), 1.6) for side in ("TOP", "BOTTOM")]
    style = [*lines, *pads, ("VALIGN", (0, 0), (-1, -1), "TOP")]
    widths = [FIRST * wide, *[(1 - FIRST) * wide / columns] * columns]
    return [platypus.Table(cells, widths, style=style, hAlign="LEFT", repeatRows=1), platypus.Spacer(0, 5)]


def _pictures(block, wide):
    each = wide / len(block.pictures)
    columns = [
        [_image(shown, each - 3 * mm), *([_text(shown.caption, "caption")] if shown.caption else [])]
        for shown in block.pictures
    ]
    style = [("VALIGN", (0, 0), (-1, -1), "BOTTOM"), ("ALIGN", (0, 0), (-1, -1), "CENTER")]
    return [platypus.Table([columns], [each] * len(columns), style=style)]


def _image(shown, wide):
    """A picture on paper: a figure as it is, a PNG as large as there is room."""
    if not isinstance(shown.image, bytes):
        return Drawn(shown.image)
    across, up = shown.size
    scale = min(wide / across, shown.tallest * mm / up)
    return platypus.Image(io.BytesIO(shown.image), across * scale, up * scale)


FLOWING = {
    "paragraph": _paragraph,
    "items": _items,
    "rows": _rows,
    "pictures": _pictures,
}
