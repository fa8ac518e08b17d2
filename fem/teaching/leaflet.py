"""What the lesson sheet and the page of answers say."""

import io
import math
from collections.abc import Sequence
from dataclasses import replace

from matplotlib import rc_context

from fem.case.site import LIBRARY, SITES, values
from fem.closure.measures.cones import CONE_LEVEL
from fem.comparison import chart, flat, style
from fem.comparison.html import caution, notes
from fem.comparison.spread import ENDS, NO_SPREAD, RANGED, Spread
from fem.comparison.wording import sentence as sentence_of
from fem.comparison.wording import sentences
from fem.results.quantities import label, labelled, shown
from fem.results.result import Result
from fem.teaching import comparison_text, cone, sentence
from fem.teaching.comparison_text import By, Closures
from fem.teaching.lesson import Lesson, value
from fem.teaching.sheet import Block, Items, Paragraph, Picture, Pictures, Rows, Sheet, picture, png_of

MIDDLE = "line_tension_mid_N_per_m"
ROWS = (  # of the table; a number that no closure has is left out
    "cone_height_mm", "dip_mm", "scar_length_mm", "open_area_mm2", "closing_force_N", MIDDLE, "skin_stress_p99_kPa",
    "removed_area_mm2", "length_to_width",
)  # fmt: skip
PICTURED = 4  # closures whose pictures stand side by side on a sheet
TABLED = 6  # closures in a table; more do not fit
DPI = 150


def lesson_sheet(
    lesson: Lesson, result: Result, neighbours: Closures, spread: Spread = NO_SPREAD, *, plan: bytes
) -> Sheet:
    """Two pages on a lesson and its neighbours (label, Result), without the answers; `plan` is a PNG.

    spread   the results of all of them in slack and tense skin
    """
    every = [(lesson.label, result), *neighbours]
    asked = comparison_text.questions(result, every, order(lesson), spread)
    name = result.name
    first: tuple[Block, ...] = (
        Paragraph(lesson.question, "question"),
        Paragraph("The plan", "heading"),
        Items((*sentence.wound(result), *sentence.missing(result), *sentence.skin(result))),
        Pictures((picture(plan, "The plan, flat, before the cut.", " ".join(sentence.wound(result))),)),
        Paragraph("The result", "heading"),
        Items((*sentence.outcome(result), *warnings(result, spread))),
        Pictures(closed_skins([(lesson.label, result)])),
        Paragraph("Words", "heading"),
        Items(tuple(sentences("teaching/leaflet", "terms")), look="small"),
    )
    second: tuple[Block, ...] = (
        Paragraph("Compared with its neighbours", "heading"),
        *compared(every, order(lesson), spread, answers=[answer for _, answer in asked]),
        Paragraph("Three questions", "heading"),
        Items(tuple(question for question, _ in asked), numbered=True),
        *((Paragraph("For the teacher", "heading"), Items(lesson.notes)) if lesson.notes else ()),
        Paragraph("Sources and limits", "heading"),
        Items(tuple(sources(result)), look="small"),
        Paragraph(caution(), "small"),
    )
    return Sheet(lesson.title, f"Case {name}. Two pages; the answers are on a page of their own.", (first, second))


def warnings(result: Result, spread: Spread) -> list[str]:
    """What was unusual about a closure, and about it in slack and tense skin."""
    ends = {f", in {skin} skin": end for skin, end in spread.get(result.name, {}).items()}
    return [
        f"Warning{where}: {line}." for where, at in ({"": result} | ends).items() for line in at.run.get("warnings", ())
    ]


def order(lesson: Lesson) -> comparison_text.By:
    """What the closures of a lesson are put in order by."""
    if lesson.order is None:
        return comparison_text.SCAR
    key = lesson.order.key
    return comparison_text.By(
        lesson.order.label, lambda result: value(result.case, key), ("closing_force_N", "smallest force to close")
    )


def compared(every: Closures, by: By, spread: Spread = NO_SPREAD, *, answers: Sequence[str]) -> list[Block]:
    """Blocks that compare closures (label, Result), without what answers say."""
    order = comparison_text.ordered(every, by)
    named = [*order, *comparison_text.unordered(every, by)]
    views = [] if len(named) < 2 else [Pictures(closed_skins(named)[:PICTURED])]
    charts = [] if len(order) < 2 else [Pictures((trade_off_chart(order, by.against[0], spread),))]
    lines = [*flat.lines(named, spread), *comparison_text.trade_off(every, by)]
    lines = [line for line in lines if not any(line in answer for answer in answers)]
    brackets = [Paragraph(sentence_of("teaching/leaflet", "brackets"), "small")] if spread else []
    return [*views, table(named, spread), *brackets, Items(tuple(lines)), *charts]


def answers(lesson: Lesson, result: Result, neighbours: Closures, spread: Spread = NO_SPREAD) -> Sheet:
    """The page of answers."""
    questions = comparison_text.questions(result, [(lesson.label, result), *neighbours], order(lesson), spread)
    blocks = [block for question, answer in questions for block in (Paragraph(question, "heading"), Paragraph(answer))]
    return Sheet(f"Answers: {lesson.title}", f"{result.name}, for the teacher", (tuple(blocks),))


def table(named: Closures, spread: Spread = NO_SPREAD) -> Rows:
    """The numbers of closures (label, Result), a column each, of RANGED ones those in slack and tense skin too."""
    columns = [result for _, result in named[:TABLED]]
    rows = [
        (labelled(name), *(_cell(name, result, spread) for result in columns))
        for name in ROWS
        if any(result.numbers.get(name) is not None for result in columns)
        and (name != MIDDLE or all(sentence.even(result) for _, result in named))
    ]
    rows.append(("skin missing at a tip, °", *(missing(result) for result in columns)))
    return Rows(("", *(name for name, _ in named[:TABLED])), tuple(rows))


def _cell(name, result, spread):
    ends = [spread[result.name][skin] for skin in ENDS] if name in RANGED and result.name in spread else []
    words = ["not closed" if end.reason else shown(name, end.numbers.get(name)) for end in ends]
    return shown(name, result.numbers.get(name)) + (f" ({words[0]} … {words[1]})" if words else "")


def missing(result: Result) -> str:
    """The angles of skin that are missing at the tips of a closure, each once, greatest first."""
    groups = cone.of_one_kind(cone.tips(result))
    return ", ".join(f"{math.degrees(group[0].deficit):.0f}" for group in groups) or "–"


def sources(result: Result) -> list[str]:
    """Where the numbers of a case come from, and what the model leaves out."""
    site = result.case.skin.site
    origins = " ".join(value.source for value in values(SITES[site]).values()) if site else ""
    cited = [paper for paper in LIBRARY.papers if paper in origins]
    high = max((abs(cone["height_mm"]) for cone in result.measures["cones"]), default=0) >= CONE_LEVEL
    first = notes({"cone_height_mm"})[0]
    note = f"{first.text} {first.source}" if high and site not in LIBRARY.bench else ""
    return sentences("teaching/leaflet", "sources", result.run["versions"]["flatseam"], site, cited, note)


def closed_skins(named: Closures) -> tuple[Picture, ...]:
    """Pictures of closures (label, Result) from the same place, in the same colours of height."""
    results = [result for _, result in named]
    images = chart.height_images(results, chart.common_ranges(results))
    made = []
    for (name, result), image in zip(named, images, strict=True):
        height = result.measures["cone_height_mm"]
        caption, alt = sentences("teaching/leaflet", "closed", name, height, len(named) == 1)
        made.append(picture(png_of(image), caption, alt))
    return tuple(made)


def trade_off_chart(named: Closures, against: str, spread: Spread = NO_SPREAD) -> Picture:
    """Cone height against another number of closures (label, Result)."""
    called = [replace(r, case=r.case.model_copy(update={"name": name})) for name, r in named]
    ends = {name: spread[r.name] for name, r in named if r.name in spread}
    stream = io.BytesIO()
    with rc_context(style.STYLE):
        chart.trade_off(called, against, "cone_height_mm", spread=ends).savefig(stream, format="png", dpi=DPI)
    return picture(stream.getvalue(), *sentences("teaching/leaflet", "trade_off", label(against), bool(ends)))
