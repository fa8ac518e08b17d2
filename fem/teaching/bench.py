"""The sheet for the teaching bench: a case cut and sewn in the material that it was computed with."""

import math

from fem.case import physical
from fem.case.site import LIBRARY, SITES
from fem.closure.measure import CONE_LEVEL
from fem.comparison import page
from fem.results.result import label, numbers, shown
from fem.teaching import sentence
from fem.teaching.block import Heading, Items, Paragraph, Rows, Sheet


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
    case, plan = result.case, physical.plan(result.case)
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
    if plan.thread is not None:
        drawn = f"Draw the thread to {plan.thread.drawn_to:.0f} mm from mark to mark all around, and tie it."
        return [*lines, f"Run a thread through the edge, from mark 1 to {plan.thread.stations} and back to 1.", drawn]
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
        lines.append(f"Elsewhere it dips by up to {sentence.unitful('dip_mm', result.measures['dip_mm'])}.")
    if scale_free(result.case):
        lines.append(
            "A stiffer material of the same thickness gives the same heights: without tension and bed, all forces grow "
            "alike."
        )
    return lines


def scale_free(case):
    """Whether heights do not depend on stiffness: one modulus, no tension, nothing below."""
    tension, closing = case.skin.tension, case.closure
    held = closing.sutures.kind == "interrupted" or closing.taper or closing.anchor or physical.plan(case).thread
    without = case.bed is None and tension.along_N_per_m == tension.across_N_per_m == 0
    return case.skin.law.kind == "neo-hooke" and without and not held


def measured(result):
    """Rows to fill in: name, computed value, an empty cell."""
    at = numbers(result.measures)
    heights = [name for name in at if name.startswith("cones_") and name.endswith("height_mm")]
    which = ("left cone", "right cone") if len(heights) == 2 else [label(name) for name in heights]
    rows = [(words, shown(name, at[name]), "") for words, name in zip(which, heights, strict=True)]
    if at["cone_height_mm"] > max((at[name] for name in heights), default=0.0):
        rows.append(("highest place", shown("cone_height_mm", at["cone_height_mm"]), ""))
    if at["scar_length_mm"] is not None:
        rows.append((label("scar_length_mm"), shown("scar_length_mm", at["scar_length_mm"]), ""))
    return rows
