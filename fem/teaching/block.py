"""Pages of text, tables and pictures: what HTML and PDF are both made from, and the HTML."""

import io
from dataclasses import dataclass
from typing import ClassVar

from PIL import Image

from fem.comparison.html import rendered


@dataclass(frozen=True)
class Heading:
    """A heading below the title of the sheet."""

    kind: ClassVar[str] = "heading"
    text: str


@dataclass(frozen=True)
class Paragraph:
    """A paragraph; the look is "plain", "question" or "small"."""

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


@dataclass(frozen=True)
class Sheet:
    """Pages of blocks."""

    title: str
    subtitle: str  # below the title
    pages: tuple[tuple, ...]


def html(sheet: Sheet) -> str:
    """A sheet as one HTML file that needs no network."""
    return rendered("teaching/leaflet.html", title=sheet.title, styles=["teaching/leaflet.css"], sheet=sheet)


def picture(png, caption, alt) -> Picture:
    """A picture from the bytes of a PNG."""
    with Image.open(io.BytesIO(png)) as image:
        return Picture(png, caption, alt, *image.size)


def png_of(image):
    """An image (h, w, 3) as the bytes of a PNG file."""
    stream = io.BytesIO()
    Image.fromarray(image).save(stream, "png", optimize=True)
    return stream.getvalue()
