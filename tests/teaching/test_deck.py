"""The slides of a lesson, read back from their file."""

from itertools import pairwise

import numpy as np
import pytest
from PIL import Image
from pptx import Presentation
from pptx.enum.shapes import MSO_SHAPE_TYPE
from small_cases import case, result_of, text

from fem.comparison.html import caution
from fem.render import canvas
from fem.teaching import comparison_text, deck, film, lesson, pictures, timeline
from fem.teaching.timeline import ON_THE_WAY


@pytest.fixture(scope="module")
def named(tmp_path_factory):
    """(label, Result) of two closures."""
    into = tmp_path_factory.mktemp("results")
    return [(name, result_of(case(text(name, length)), into)) for name, length in (("short", 20), ("middle", 28))]


@pytest.fixture(scope="module")
def shown(named, tmp_path_factory):
    """The slides of the file."""
    path = tmp_path_factory.mktemp("deck") / "lesson.pptx"
    (label, short), *others = named
    sample = lesson.of_case(short.case).model_copy(update={"title": "A title", "label": label, "notes": ("A hint.",)})
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(deck, "FINER", 1)  # which is drawn sooner
        deck.write_pptx(deck.slides(sample, short, others, timeline.keyframes(short)), path)
    return list(Presentation(str(path)).slides)


def words(slide):
    """Title and text of a slide."""
    title, body = slide.placeholders
    return title.text, body.text


def test_slides(named, shown):
    """Title, plan, every state but those on the way, each closure, chart, questions, sources: each with a title."""
    titles = [words(slide)[0] for slide in shown]
    assert titles[:6] == ["A title", "The plan", "Uncut skin", "Cut", "The wound gapes", "Closed"]
    assert titles[6:] == ["short", "middle", "Compared", "Question 1", "Question 2", "Question 3", "Sources and limits"]
    assert all(text and ON_THE_WAY not in text for _, text in map(words, shown))
    assert sum(caution() in text for _, text in map(words, shown)) == 1


def test_pictures(shown):
    """Every picture has a text for those who do not see it; those in colours of height have their scale; all fit."""
    pictures = [[s for s in slide.shapes if s.shape_type == MSO_SHAPE_TYPE.PICTURE] for slide in shown]
    assert [len(on) for on in pictures] == [0, 1, *[2] * 6, 1, 0, 0, 0, 0]
    alts = [[s._element.nvPicPr.cNvPr.get("descr") for s in on] for on in pictures]
    assert all(alt and not alt.endswith(".png") for on in alts for alt in on) and "cones" in alts[5][0].lower()
    for slide in shown:
        boxes = [(s.left, s.top, s.left + s.width, s.top + s.height) for s in slide.shapes]
        assert all(min(box) >= 0 and box[2] <= deck.WIDE * 914400 and box[3] <= deck.HIGH * 914400 for box in boxes)
        tops = sorted((top, bottom) for _, top, _, bottom in boxes)
        assert all(below >= bottom - 1 for (_, bottom), (below, _) in pairwise(tops))


def test_fine_enough(named):
    """As wide as a slide, pictures and figures have 150 pixels an inch; drawn finer they look alike at one size."""
    pixels = deck.FINER * canvas.VIEW[0], *(deck.DPI * wide for wide, _ in (pictures.CHART, pictures.PLAN))
    assert min(pixels) / (deck.WIDE - 2 * deck.EDGE) > 150
    closed = timeline.keyframes(named[0][1])[-1]
    shot = film.camera([closed])
    coarse, fine = (film.cropped(closed, shot, finer=finer) for finer in (1, deck.FINER))
    assert fine.size == tuple(deck.FINER * side for side in coarse.size)
    reduced = np.asarray(fine.resize(coarse.size, Image.Resampling.BOX), float)
    assert np.abs(reduced - np.asarray(coarse, float)).mean() < 1


def test_answers_are_notes(named, shown):
    """Answers stand in the notes below their questions, hints below the title, and on no slide."""
    every = [words(slide) for slide in shown]
    asked = comparison_text.questions(named[0][1], named)
    notes = [slide.notes_slide.notes_text_frame.text for slide in shown if slide.has_notes_slide]
    assert notes == ["A hint.", *(answer for _, answer in asked)]
    assert not any(answer in text for _, answer in asked for _, text in every)
