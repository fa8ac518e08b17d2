"""What the sheets say: of a lesson, its answers, and what to cut and sew on the teaching bench."""

import io
import math
from collections.abc import Sequence
from dataclasses import replace

from matplotlib import rc_context

from fem.case import physical
from fem.case.case import Case
from fem.case.site import LIBRARY, SITES, values
from fem.closure.measures.cones import CONE_LEVEL
from fem.comparison import chart, flat, style
from fem.comparison.html import caution, notes
from fem.comparison.spread import ENDS, NO_SPREAD, RANGED, Spread
from fem.comparison.wording import printed, sentences
from fem.comparison.wording import sentence as sentence_of
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
        Items((*sentence.say("wound", result), *sentence.missing(result), *sentence.say("skin", result))),
        Pictures((picture(plan, "The plan, flat, before the cut.", " ".join(sentence.say("wound", result))),)),
        Paragraph("The result", "heading"),
        Items((*sentence.say("outcome", result), *warnings(result, spread))),
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
    ends = {"": result} | {f", in {skin} skin": end for skin, end in spread.get(result.name, {}).items()}
    return [f"Warning{where}: {line}." for where, at in ends.items() for line in at.run.get("warnings", ())]


def order(lesson: Lesson) -> By:
    """What the closures of a lesson are put in order by."""
    if (by := lesson.order) is None:
        return comparison_text.SCAR
    return By(by.label, lambda result: value(result.case, by.key), ("closing_force_N", "smallest force to close"))


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
    words = [sentences("teaching/leaflet", "closed", name, r.measures, len(named) == 1) for name, r in named]
    return tuple(picture(png_of(image), caption, alt) for image, (caption, alt) in zip(images, words, strict=True))


def trade_off_chart(named: Closures, against: str, spread: Spread = NO_SPREAD) -> Picture:
    """Cone height against another number of closures (label, Result)."""
    called = [replace(r, case=r.case.model_copy(update={"name": name})) for name, r in named]
    ends = {name: spread[r.name] for name, r in named if r.name in spread}
    stream = io.BytesIO()
    with rc_context(style.STYLE):
        chart.trade_off(called, against, "cone_height_mm", spread=ends).savefig(stream, format="png", dpi=DPI)
    return picture(stream.getvalue(), *sentences("teaching/leaflet", "trade_off", label(against), bool(ends)))


# On the bench ------------------------------------------------------------------------------------------------


def on_bench(result: Result) -> bool:
    """Whether a case was computed with a material of the teaching bench."""
    return result.case.skin.site in LIBRARY.bench


def bench_sheet(result: Result, at: Sequence[tuple[int, float]]) -> Sheet:
    """One page: the case cut in its bench material and sewn at sutures (seam, fraction), in order of sewing."""
    skin = result.case.skin
    small_print = sentences("teaching/bench", "small_print", SITES[str(skin.site)].about)
    blocks: tuple[Block, ...] = (
        Paragraph("What you need", "heading"),
        Items(tuple(sentences("teaching/bench", "needed", skin, result.case.patch))),
        Paragraph("Cut and sew", "heading"),
        Items(tuple(steps(result, at)), numbered=True),
        Paragraph("What you will see", "heading"),
        Items(tuple(observations(result))),
        Paragraph("Measure and compare", "heading"),
        Rows(("with a ruler, mm", "computed", "measured"), tuple(ruled(result))),
        *(Paragraph(line, "small") for line in small_print),
        Paragraph(caution(), "small"),
    )
    return Sheet(f"On the bench: {result.name}", sentence_of("teaching/bench", "subtitle", skin), (blocks,))


def steps(result: Result, at: Sequence[tuple[int, float]]) -> list[str]:
    """What to do, in order."""
    plan, tied = physical.plan(result.case), result.case.closure.sutures.kind == "interrupted"
    return sentences("teaching/bench", "steps", plan, tied, len(at))


def observations(result: Result) -> list[str]:
    """What becomes of it, as far as it was computed."""
    also = sentences("teaching/bench", "also", sentence.values(result), scale_free(result.case))
    return [*sentence.say("cones", result), *sentence.say("scar", result), *also]


def scale_free(case: Case) -> bool:
    """Whether heights do not depend on stiffness: one modulus, no tension, nothing below."""
    tension, closing = case.skin.tension, case.closure
    held = closing.sutures.kind == "interrupted" or closing.taper or closing.anchor or physical.plan(case).thread
    without = case.bed is None and tension.along_N_per_m == tension.across_N_per_m == 0
    return case.skin.law.kind == "neo-hooke" and without and not held


def ruled(result: Result) -> list[tuple[str, str, str]]:
    """Rows to fill in: name, computed value, an empty cell."""
    at = result.numbers
    heights = [name for name in at if name.startswith("cones_") and name.endswith("height_mm")]
    which = ("left cone", "right cone") if len(heights) == 2 else [label(name) for name in heights]
    rows = [(place, shown(name, at[name]), "") for place, name in zip(which, heights, strict=True)]
    if printed("rise_mm", at["rise_mm"]) > max((printed(name, at[name]) for name in heights), default=0.0):
        rows.append(("highest place", shown("rise_mm", at["rise_mm"]), ""))
    if at["scar_length_mm"] is not None:
        rows.append((label("scar_length_mm"), shown("scar_length_mm", at["scar_length_mm"]), ""))
    return rows
