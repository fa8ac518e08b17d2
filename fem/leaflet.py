"""What the lesson sheet and the bench sheet say: pages of blocks, which HTML and PDF are both made from."""

import io
import math
from dataclasses import dataclass, replace
from typing import ClassVar

from markupsafe import Markup

from fem import case as cases
from fem import chart, cone, page, sentence
from fem.measure import CONE_LEVEL
from fem.result import label, numbers, shown, unit
from fem.site import LIBRARY, SITES, values

MIDDLE = "line_tension_mid_N_per_m"
ROWS = (  # of the table; a number that no closure has is left out
    "cone_height_mm", "dip_mm", "scar_length_mm", "closing_force_N", MIDDLE, "skin_stress_p99_kPa",
    "removed_area_mm2", "length_to_width",
)  # fmt: skip
PICTURED = 4  # closures whose pictures stand side by side on a sheet
TABLED = 6  # closures in a table; more do not fit
DPI = 150
WORDS_USED = (
    "Cone, or “dog ear”: surplus skin that stands up at an end of the scar.",
    "Seam: two edges that are sewn together; closed, it is the scar. Tip: an end of the wound.",
    "Skin tension lines: the way in which uncut skin is stretched most. Bed: the tissue that the skin lies on.",
    "Closing force: the pull across the scar, summed along it. Line tension: that pull per length of scar; times the "
    "distance between two sutures it is the force on each.",
)
MODEL = (
    "Model: the skin is a thin elastic sheet in the first moment after closing; healing, creep, layers, round bodies "
    "and skin that touches itself are left out. Every state shown is a stable equilibrium of that model."
)


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
    words: str  # below the title
    pages: tuple[tuple, ...]


def html(sheet) -> str:
    """A sheet as one HTML file that needs no network."""
    style = Markup(page.own("leaflet.css"))
    policy = page.policy([style], [])
    return page.template("leaflet.html").render(sheet=sheet, style=style, policy=policy, uri=page.uri)


# The lesson ---------------------------------------------------------------------------------------------------


def lesson_sheet(lesson, result, neighbours, *, plan) -> Sheet:
    """Two pages on a lesson, the answers not among them.

    neighbours   (words, Result) each
    plan         PNG of the case's plan
    """
    every = [(lesson.words, result), *neighbours]
    asked = tuple(question for question, _ in sentence.questions(result, every))
    name = result.name
    first = (
        Paragraph(lesson.question, "question"),
        Heading("The plan"),
        Items((*sentence.wound(result), *sentence.missing(result), *sentence.skin(result))),
        Pictures((picture(plan, "The plan, flat, before the cut.", " ".join(sentence.wound(result))),)),
        Heading("The result"),
        Items((*sentence.outcome(result), *(f"Warning: {line}." for line in result.run["warnings"]))),
        Pictures(closed_skins([(lesson.words, result)])),
        Heading("Words"),
        Items(WORDS_USED, look="small"),
    )
    second = (
        Heading("Compared with its neighbours"),
        *compared(every),
        Heading("Three questions"),
        Items(asked, numbered=True),
        *([Heading("For the teacher"), Items(lesson.notes)] if lesson.notes else []),
        Heading("Sources and limits"),
        Items(tuple(sources(result)), look="small"),
        Paragraph(page.CAUTION, "small"),
    )
    return Sheet(lesson.title, f"Case {name}. Two pages; the answers are on a page of their own.", (first, second))


def compared(every):
    """Blocks that compare closures (words, Result), shortest scar first."""
    named = sentence.by_scar(every)
    alone = len(named) < 2
    views = [] if alone else [Pictures(closed_skins(named)[:PICTURED])]
    charts = [] if alone else [Pictures((trade_off_chart(named),))]
    return [*views, table(named), Items(tuple(sentence.trade_off(every))), *charts]


def answers(lesson, result, neighbours) -> Sheet:
    """The page of answers."""
    asked = sentence.questions(result, [(lesson.words, result), *neighbours])
    blocks = [block for question, answer in asked for block in (Heading(question), Paragraph(answer))]
    return Sheet(f"Answers: {lesson.title}", f"{result.name}, for the teacher", (tuple(blocks),))


def table(named) -> Rows:
    """The numbers of closures (words, Result), a column each."""
    every = [numbers(result.measures) for _, result in named[:TABLED]]
    rows = [
        (f"{label(name)}{', ' if unit(name) else ''}{unit(name)}", *(shown(name, at.get(name)) for at in every))
        for name in ROWS
        if any(at.get(name) is not None for at in every)
        and (name != MIDDLE or all(sentence.even(result) for _, result in named))
    ]
    rows.append(("skin missing at a tip, °", *(missing(result) for _, result in named[:TABLED])))
    return Rows(("", *(words for words, _ in named[:TABLED])), tuple(rows))


def missing(result):
    """The angles of skin that are missing at the tips of a closure, each once, greatest first."""
    groups = cone.of_one_kind(cone.tips(result))
    return ", ".join(f"{math.degrees(group[0].deficit):.0f}" for group in groups) or "–"


def sources(result):
    """Where the numbers of a case come from, and what the model leaves out."""
    site = result.case.skin.site
    lines = [f"All numbers: computed by flatseam {result.run['versions']['flatseam']}, an invented teaching case."]
    if site:
        told = " ".join(value.source for value in values(SITES[site]).values())
        cited = "; ".join(paper for paper in LIBRARY.papers if paper in told) or "no measurement was read"
        lines.append(f"Values of {site}: {cited}. `flatseam sites {site}` prints each value with its range and source.")
    else:
        lines.append("Values of the skin: invented for this case.")
    heights = [cone["height_mm"] for cone in result.measures["cones"]]
    if max(heights, default=0) >= CONE_LEVEL and site not in LIBRARY.bench:
        lines += [f"{text} {source}" for name, text, source in page.NOTES if name == "cone_height_mm"][:1]
    return [*lines, MODEL]


# The bench ----------------------------------------------------------------------------------------------------


def on_bench(result):
    """Whether a case was computed with a material of the teaching bench."""
    return result.case.skin.site in LIBRARY.bench


def bench_sheet(result, at) -> Sheet:
    """One page: the case cut and sewn in its bench material.

    at   seam and fraction of each suture, in order of sewing
    """
    blocks = (
        Heading("What you need"),
        Items(tuple(needed(result))),
        Heading("Cut and sew"),
        Items(tuple(steps(result, at)), numbered=True),
        Heading("What you will see"),
        Items(tuple(seen(result))),
        Heading("Measure and compare"),
        Rows(("with a ruler, mm", "computed", "measured"), tuple(measured(result))),
        Paragraph(
            "Heights count from the level of the material that is held down. If yours differ: the computed values are "
            "for the thickness above; weight is left out, and so is how hard you pull the thread.",
            "small",
        ),
        Paragraph(
            SITES[result.case.skin.site].about + " Its values in the library are a choice, no measurement.", "small"
        ),
        Paragraph(page.CAUTION, "small"),
    )
    return Sheet(f"On the bench: {result.name}", f"to be sewn in {plain(result.case.skin.site)}", (blocks,))


def needed(result):
    """What to lay out."""
    case = result.case
    side = 2 * case.patch.radius_mm
    return [
        f"{plain(case.skin.site)}, {case.skin.thickness_mm:g} mm thick, at least {math.ceil(side / 10)} cm square",
        f"a board with a ring of {side:.0f} mm across drawn on it, and tape or pins to hold the material all around it",
        "the 1:1 template, printed at 100 % (measure its bar), a knife or scissors, needle and thread, a ruler",
    ]


def plain(name):
    """A name of the library in plain letters."""
    return name.replace("-", " ")


def steps(result, at):
    """What to do, in order."""
    case, plan = result.case, cases.plan(result.case)
    tied = case.closure.sutures.kind == "interrupted"
    cut = "Cut along the heavy lines" + (
        " and take the hatched piece out." if plan.removed else "; nothing is taken out."
    )
    lines = [
        "Lay the material on the board without stretching it and hold it down all around the ring.",
        "Mark the lines and the numbers of the template on it, its middle on the middle of the ring.",
        cut,
    ]
    if plan.flaps:
        lines.append(f"Lift the {'flap' if len(plan.flaps) == 1 else 'flaps'} and move each to where its numbers are.")
    how = (
        f"Tie {len(at)} single sutures, number by number: the same number on both edges."
        if tied
        else f"Sew from 1 to {len(at)}, the same number on both edges, edge to edge without a gap."
    )
    return [*lines, how, "Do not press the ends flat: let them stand, then measure."]


def seen(result):
    """What becomes of it, as far as it was computed."""
    lines = [*sentence.cones(result), sentence.scar(result)]
    if sentence.printed("dip_mm", result.measures["dip_mm"]) >= CONE_LEVEL:
        lines.append(f"Elsewhere it dips by up to {sentence.told('dip_mm', result.measures['dip_mm'])}.")
    if scale_free(result.case):
        lines.append(
            "A stiffer material of the same thickness gives the same heights: without tension and bed, all forces grow "
            "alike."
        )
    return lines


def scale_free(case):
    """Whether heights do not depend on stiffness: one modulus, no tension, nothing below."""
    tension = case.skin.tension
    return (
        case.skin.law.kind == "neo-hooke" and case.bed is None and tension.along_N_per_m == tension.across_N_per_m == 0
    )


def measured(result):
    """Rows to fill in: name, computed value, an empty cell."""
    at = numbers(result.measures)
    heights = [name for name in at if name.startswith("cones_") and name.endswith("height_mm")]
    which = ("left cone", "right cone") if len(heights) == 2 else [label(name) for name in heights]
    rows = [(words, shown(name, at[name]), "") for words, name in zip(which, heights, strict=True)]
    if at["cone_height_mm"] > max((at[name] for name in heights), default=0.0):
        rows.append(("highest place", shown("cone_height_mm", at["cone_height_mm"]), ""))
    return [*rows, (label("scar_length_mm"), shown("scar_length_mm", at["scar_length_mm"]), "")]


# Pictures -----------------------------------------------------------------------------------------------------


def picture(png, caption, alt) -> Picture:
    """A picture from the bytes of a PNG."""
    from PIL import Image

    with Image.open(io.BytesIO(png)) as image:
        return Picture(png, caption, alt, *image.size)


def closed_skins(named):
    """Pictures of closures (words, Result) from the same place, in the same colours of height."""
    results = [result for _, result in named]
    half_width, heights, _ = chart.common_ranges(results)
    drawn = chart.trimmed([chart.height_image(result, half_width, heights) for result in results])
    made = []
    for (words, result), image in zip(named, drawn, strict=True):
        high = sentence.told("cone_height_mm", result.measures["cone_height_mm"])
        caption = f"{words}, closed: up to {high} high" + ("; the darker, the higher" if len(named) == 1 else "")
        made.append(picture(png_of(image), caption, f"Closed skin, {words}, seen obliquely, up to {high} high."))
    return tuple(made)


def trade_off_chart(named) -> Picture:
    """Cone height against scar length of closures (words, Result)."""
    from matplotlib import rc_context

    called = [replace(r, case=r.case.model_copy(update={"name": words})) for words, r in named]
    stream = io.BytesIO()
    with rc_context(chart.STYLE):
        chart.trade_off(called, "scar_length_mm", "cone_height_mm").savefig(stream, format="png", dpi=DPI)
    return picture(
        stream.getvalue(), "Each point a closure.", "Chart of cone height against scar length, as in the table."
    )


def png_of(image):
    """An image (h, w, 3) as the bytes of a PNG file."""
    from PIL import Image

    stream = io.BytesIO()
    Image.fromarray(image).save(stream, "png", optimize=True)
    return stream.getvalue()
