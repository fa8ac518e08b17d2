"""What the sheets say: a lesson, its answers, hints for its teacher, and what to cut and sew on the bench."""

import math
from collections.abc import Sequence

from fem.case import physical
from fem.case.case import Case
from fem.case.site import LIBRARY, SITES, values
from fem.closure.measures.cones import CONE_LEVEL
from fem.comparison import flat
from fem.comparison.html import Note, caution
from fem.comparison.html import notes as notes_on
from fem.comparison.spread import ENDS, NO_SPREAD, RANGED, Spread
from fem.comparison.wording import printed, sentences
from fem.comparison.wording import sentence as sentence_of
from fem.results.quantities import label, labelled, shown
from fem.results.result import Result
from fem.teaching import comparison_text, cone, pictures, sentence
from fem.teaching.comparison_text import By, Closures
from fem.teaching.lesson import Lesson, value
from fem.teaching.sheet import Block, Items, Paragraph, Pictures, Rows, Sheet

MIDDLE = "line_tension_mid_N_per_m"
NOTHING = "–", "0", "0.0"  # a row of nothing else is left out, but for the cones
ROWS = (  # of the table
    "cone_height_mm", "dip_mm", "scar_length_mm", "open_area_mm2", "closing_force_N", MIDDLE, "skin_stress_p99_kPa",
    "removed_area_mm2", "length_to_width",
)  # fmt: skip
PICTURED = 4  # closures whose pictures stand side by side on a sheet
TABLED = 6  # closures in a table; more do not fit


def lesson_sheet(lesson: Lesson, result: Result, neighbours: Closures, spread: Spread = NO_SPREAD) -> Sheet:
    """What pupils get: a lesson and its neighbours (label, Result), without what answers its questions.

    spread   the results of all of them in slack and tense skin
    """
    every = [(lesson.label, result), *neighbours]
    asked = comparison_text.questions(result, every, order(lesson), spread)

    def unanswered(*lines: str) -> Items:
        return Items(tuple(line for line in lines if not any(line in answer for _, answer in asked)))

    first: tuple[Block, ...] = (
        Paragraph(lesson.question, "question"),
        Paragraph("The plan", "heading"),
        unanswered(*sentence.say("wound", result), *sentence.surplus(result), *sentence.say("skin", result)),
        Pictures((pictures.plan(result),)),
        Paragraph("The result", "heading"),
        unanswered(*sentence.say("outcome", result), *warnings(result, spread)),
        *pictures.closed_skins([(lesson.label, result)]),
        Paragraph("Words", "heading"),
        Items(tuple(sentences("teaching/leaflet", "terms")), look="small"),
    )
    questions = tuple(question for question, _ in asked)
    second: tuple[Block, ...] = (
        Paragraph("Compared with its neighbours", "heading"),
        *compared(every, order(lesson), spread),
        *((Paragraph("Questions", "heading"), Items(questions, numbered=True)) if asked else ()),
        Paragraph("Sources and limits", "heading"),
        Items(
            tuple(sentences("teaching/leaflet", "about", *origin(result), papers(result), result.body.curved)),
            look="small",
        ),
        Paragraph(caution(), "small"),
    )
    return Sheet(lesson.title, below(lesson, result), (first, second))


def below(lesson: Lesson, result: Result) -> str:
    """What stands below the title of a sheet: the case, if the title does not name it."""
    return "" if lesson.title == result.name else f"Case {result.name}"


def warnings(result: Result, spread: Spread) -> list[str]:
    """What was unusual about a closure, and about it in slack and tense skin."""
    ends = {"": result} | {f", in {skin} skin": end for skin, end in spread.get(result.name, {}).items()}
    return [f"Warning{where}: {line}." for where, at in ends.items() for line in at.run.get("warnings", ())]


def order(lesson: Lesson) -> By:
    """What the closures of a lesson are put in order by."""
    if (by := lesson.order) is None:
        return comparison_text.SCAR
    return By(by.label, lambda result: value(result.case, by.key), ("closing_force_N", "smallest force to close"))


def compared(every: Closures, by: By, spread: Spread) -> list[Block]:
    """Pictures, table and chart of closures (label, Result), which leave it to the reader what they say."""
    order, named = comparison_text.ordered(every, by), in_order(every, by)
    views = [] if len(named) < 2 else pictures.closed_skins(named[:PICTURED])
    charts = [] if len(order) < 2 else [Pictures((pictures.trade_off(order, by.against[0], spread),))]
    lines = [*([sentence_of("teaching/leaflet", "brackets"), *flat.skins(named, spread)] if spread else [])]
    lines = [*all_flat(named, spread), *lines, *comparison_text.others(every, by)]
    return [*views, table(named, spread), *(Paragraph(line, "small") for line in lines), *charts]


def in_order(every: Closures, by: By) -> list[tuple[str, Result]]:
    """The closures (label, Result) that were found, as they stand side by side."""
    return [*comparison_text.ordered(every, by), *comparison_text.unordered(every, by)]


def all_flat(named: Closures, spread: Spread) -> list[str]:
    """That all of several closures (label, Result) lie flat, and how high their cones are in slack skin."""
    if len(named) < 2 or not all(flat.flat(result) for _, result in named):
        return []
    known = flat.ranged(named, spread)
    heights = [(label, skins["slack"].numbers.get(flat.CONE)) for label, skins in known]
    up = [(label, height) for label, height in heights if height is not None and not flat.lies_flat(height)]
    whose = flat.middle(known) if len(known) == len(named) else "the given"
    return sentences("teaching/leaflet", "all_flat", len(named), whose, flat.LEVEL, up)


def answers(lesson: Lesson, result: Result, neighbours: Closures, spread: Spread = NO_SPREAD) -> Sheet:
    """The page of answers, and of what else the numbers say."""
    by, every = order(lesson), [(lesson.label, result), *neighbours]
    questions = comparison_text.questions(result, every, by, spread)
    blocks = [block for question, answer in questions for block in (Paragraph(question, "heading"), Paragraph(answer))]
    said = [*flat.lying(every, spread), *flat.doubts(every, spread), *comparison_text.trade_off(every, by)]
    more = [line for line in said if not any(line in answer for _, answer in questions)]
    heading = Paragraph("What else the numbers say", "heading")
    also = (heading, Items(tuple(more))) if more else ()
    return Sheet(f"Answers: {lesson.title}", below(lesson, result), ((*blocks, *also, Paragraph(caution(), "small")),))


def notes(lesson: Lesson, result: Result, neighbours: Closures) -> Sheet:
    """The teacher's page: hints, what belongs to the lesson, and where its numbers come from."""
    about = cone.why_none(result), on_bench(result), any(not other.reason for _, other in neighbours)
    hints = lesson.notes or tuple(sentences("teaching/leaflet", "hints", about[-1]))
    seen = tuple(f"{note.text} {note.source}" for note in observed(result))
    blocks: tuple[Block, ...] = (
        Paragraph("Hints", "heading"),
        Items(hints),
        Paragraph("What belongs to the lesson", "heading"),
        Items(tuple(sentences("teaching/leaflet", "belongs", *about))),
        *((Paragraph("What others observed", "heading"), Items(seen)) if seen else ()),
        Paragraph("Sources", "heading"),
        Items(tuple(sentences("teaching/leaflet", "sources", *origin(result), papers(result))), look="small"),
        Paragraph(caution(), "small"),
    )
    return Sheet(f"For the teacher: {lesson.title}", below(lesson, result), (blocks,))


def table(named: Closures, spread: Spread = NO_SPREAD) -> Rows:
    """The numbers of closures (label, Result), a column each, of RANGED ones those in slack and tense skin too."""
    columns = [result for _, result in named[:TABLED]]
    cells = {name: [_cell(name, result, spread) for result in columns] for name in ROWS}
    rows = [
        (labelled(name), *row)
        for name, row in cells.items()
        if (name == flat.CONE or any(cell not in NOTHING for cell in row))
        and (name != MIDDLE or all(sentence.even(result) for _, result in named))
    ]
    rows.append(("angle taken out at a tip, °", *(angles(result) for result in columns)))
    return Rows(("", *(name for name, _ in named[:TABLED])), tuple(rows))


def _cell(name, result, spread):
    """A number; in brackets the least and the greatest of those in slack and in tense skin."""
    ends = [spread[result.name][skin] for skin in ENDS] if name in RANGED and result.name in spread else []
    ends = sorted(ends, key=lambda end: math.inf if end.numbers.get(name) is None else end.numbers[name])
    words = ["not closed" if end.reason else shown(name, end.numbers.get(name)) for end in ends]
    return shown(name, result.numbers.get(name)) + (f" ({words[0]} … {words[1]})" if words else "")


def angles(result: Result) -> str:
    """The angles of skin that are taken out at the tips of a closure, each once, greatest first."""
    groups = cone.of_one_kind(cone.tips(result))
    return ", ".join(f"{math.degrees(group[0].deficit):.0f}" for group in groups) or "–"


def origin(result: Result) -> tuple[str, str | None]:
    """The program that computed a case, and the site of its skin."""
    return result.run["versions"]["flatseam"], result.case.skin.site


def papers(result: Result) -> dict[str, str]:
    """The papers that values of a case's site rest on, in full, by their short names."""
    site = result.case.skin.site
    cited = " ".join(value.source for value in values(SITES[site]).values()) if site else ""
    return {name: full for name, full in LIBRARY.papers.items() if name in cited}


def observed(result: Result) -> list[Note]:
    """What others saw become of cones, if a case on people has any."""
    high = max((abs(cone["height_mm"]) for cone in result.measures["cones"]), default=0) >= CONE_LEVEL
    return notes_on({"cone_height_mm"}) if high and not on_bench(result) else []


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
