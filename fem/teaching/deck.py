"""A lesson as slides that can be changed: a title, a picture and a sentence on each, answers in the notes below."""

import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from pptx import Presentation
from pptx.util import Inches, Pt

from fem.comparison.html import caution
from fem.comparison.spread import NO_SPREAD, Spread
from fem.comparison.wording import sentences
from fem.results.result import Result
from fem.teaching import comparison_text, film, leaflet, pictures, sentence, timeline
from fem.teaching.comparison_text import By, Closures
from fem.teaching.lesson import Lesson
from fem.teaching.sheet import Picture
from fem.teaching.timeline import Keyframe

WIDE, HIGH, EDGE = 13.333, 7.5, 0.5  # inches
TITLE, LINE = 1.0, 0.42  # inches: height of a title, of a line of text
FINER = 2  # so many times the pixels of a film have pictures of skin, some 160 an inch
SMALL, LARGE = 20, 28  # points of text beside a picture, and alone
DPI = 350  # of figures, per inch of their own size
COLUMNS = 95  # small letters in a line, about
BAR = 3.4, 0.62  # inches, of the scale of heights
LAYOUT = 1  # of python-pptx's template: a title and a text


@dataclass(frozen=True)
class Slide:
    """A slide."""

    title: str
    lines: tuple[str, ...]
    picture: Picture | None = None
    scale: Picture | None = None  # of the picture's colours
    notes: str = ""  # for who shows it


def slides(
    lesson: Lesson, result: Result, neighbours: Closures, keyframes: Sequence[Keyframe], spread: Spread = NO_SPREAD
) -> list[Slide]:
    """The slides of a lesson and its neighbours (label, Result), whose case is closed in `keyframes`."""
    by, every = leaflet.order(lesson), [(lesson.label, result), *neighbours]
    order = comparison_text.ordered(every, by)
    asked = comparison_text.questions(result, every, by, spread)
    wound, about = sentence.say("wound", result), leaflet.origin(result)
    lines = tuple(sentences("teaching/leaflet", "about", *about, leaflet.papers(result), result.body.curved))
    return [
        Slide(lesson.title, (lesson.question,), notes="\n".join(lesson.notes)),
        Slide("The plan", tuple(wound), pictures.plan(result)),
        *closing(keyframes),
        *compared(order),
        *traded(order, by, spread),
        *(Slide(f"Question {k}", (q,), notes=answer) for k, (q, answer) in enumerate(asked, start=1)),
        Slide("Sources and limits", (*lines, caution())),
    ]


def closing(keyframes: Sequence[Keyframe]) -> list[Slide]:
    """A slide each state of the skin but those on the way, which are for films."""
    shot = film.camera(keyframes)
    scale = pictures.scale(shot.ranges.heights)
    kept = [keyframe for keyframe in keyframes if not keyframe.caption.startswith(timeline.ON_THE_WAY)]
    seen = [pictures.png_of(np.asarray(film.cropped(keyframe, shot, finer=FINER))) for keyframe in kept]
    return [
        Slide(at.title, (at.caption,), Picture(png, at.title, f"{at.title}. {at.caption}"), scale)
        for at, png in zip(kept, seen, strict=True)
    ]


def compared(order: Closures) -> list[Slide]:
    """A slide each of the closures (label, Result) that are compared."""
    if len(order) < 2:
        return []
    shown, (scale,) = (row.pictures for row in pictures.closed_skins(order, finer=FINER))
    said = [(*sentence.say("cones", result), *sentence.say("scar", result)) for _, result in order]
    return [Slide(name, lines, seen, scale) for (name, _), lines, seen in zip(order, said, shown, strict=True)]


def traded(order: Closures, by: By, spread: Spread) -> list[Slide]:
    """The chart of what is compared; none of a closure alone."""
    chart = [pictures.trade_off(order, by.against[0], spread)] if len(order) > 1 else []
    return [Slide("Compared", (picture.caption, *leaflet.all_flat(order, spread)), picture) for picture in chart]


def write_pptx(slides: Iterable[Slide], path: Path) -> None:
    """Write slides as a PPTX file."""
    deck = Presentation()
    deck.slide_width, deck.slide_height = Inches(WIDE), Inches(HIGH)
    for slide in slides:
        page = deck.slides.add_slide(deck.slide_layouts[LAYOUT])
        title, text = page.placeholders
        title.text, text.text = slide.title, "\n".join(slide.lines)
        rows = sum(1 + len(line) // COLUMNS for line in slide.lines)
        high = rows * LINE if slide.picture else HIGH - TITLE - 3 * EDGE
        _place(title, EDGE, EDGE / 2, WIDE - 2 * EDGE, TITLE)
        _place(text, EDGE, TITLE + EDGE, WIDE - 2 * EDGE, high)
        for paragraph in text.text_frame.paragraphs:
            paragraph.font.size = Pt(SMALL if slide.picture else LARGE)
        top, low = TITLE + 1.5 * EDGE + high, HIGH - EDGE / 2 - (BAR[1] if slide.scale else 0)
        if slide.picture:
            _add(page, slide.picture, (EDGE, top, WIDE - 2 * EDGE, low - top))
        if slide.scale:
            _add(page, slide.scale, ((WIDE - BAR[0]) / 2, low, *BAR))
        if slide.notes:
            page.notes_slide.notes_text_frame.text = slide.notes
    deck.core_properties.title = deck.slides[0].shapes.title.text
    deck.core_properties.author = "flatseam"
    deck.save(str(path))


def _place(shape, left, top, wide, high):
    """Set place and size of a shape, inches."""
    shape.left, shape.top, shape.width, shape.height = map(Inches, (left, top, wide, high))


def _add(page, picture, box):
    """Add a picture in the middle of a box (left, top, width, height in inches), with its text for the blind."""
    stream = io.BytesIO()
    if isinstance(picture.image, bytes):
        stream.write(picture.image)
    else:
        picture.image.savefig(stream, format="png", dpi=DPI)
    stream.seek(0)
    left, top, wide, high = map(Inches, box)
    shape = page.shapes.add_picture(stream, left, top)
    share = min(wide / shape.width, high / shape.height)
    shape.width, shape.height = round(share * shape.width), round(share * shape.height)
    shape.left, shape.top = left + (wide - shape.width) // 2, top + (high - shape.height) // 2
    shape._element.nvPicPr.cNvPr.set("descr", picture.alt)
