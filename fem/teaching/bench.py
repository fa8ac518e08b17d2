"""The sheet for the teaching bench: a case cut and sewn in the material that it was computed with."""

import math
from collections.abc import Sequence
from typing import cast

from fem.case import physical
from fem.case.case import Case
from fem.case.keys import Patch
from fem.case.site import LIBRARY, SITES
from fem.closure.measures.cones import CONE_LEVEL
from fem.comparison.html import caution
from fem.comparison.wording import printed, sentence, sentences
from fem.results.quantities import label, shown
from fem.results.result import Result
from fem.teaching import sentence as alone
from fem.teaching.sheet import Block, Items, Paragraph, Rows, Sheet


def on_bench(result: Result) -> bool:
    """Whether a case was computed with a material of the teaching bench."""
    return result.case.skin.site in LIBRARY.bench


def bench_sheet(result: Result, at: Sequence[tuple[int, float]]) -> Sheet:
    """One page: the case cut in its bench material and sewn at sutures (seam, fraction), in order of sewing."""
    radius, skin = cast(Patch, result.case.patch).radius_mm, result.case.skin
    needed = sentences("teaching/bench", "needed", skin, radius, math.ceil(2 * radius / 10))
    small_print = sentences("teaching/bench", "small_print", SITES[str(skin.site)].about)
    blocks: tuple[Block, ...] = (
        Paragraph("What you need", "heading"),
        Items(tuple(needed)),
        Paragraph("Cut and sew", "heading"),
        Items(tuple(steps(result, at)), numbered=True),
        Paragraph("What you will see", "heading"),
        Items(tuple(observations(result))),
        Paragraph("Measure and compare", "heading"),
        Rows(("with a ruler, mm", "computed", "measured"), tuple(measured(result))),
        *(Paragraph(line, "small") for line in small_print),
        Paragraph(caution(), "small"),
    )
    return Sheet(f"On the bench: {result.name}", sentence("teaching/bench", "subtitle", skin), (blocks,))


def steps(result: Result, at: Sequence[tuple[int, float]]) -> list[str]:
    """What to do, in order."""
    plan, tied = physical.plan(result.case), result.case.closure.sutures.kind == "interrupted"
    return sentences("teaching/bench", "steps", bool(plan.removed), len(plan.flaps), plan.thread, tied, len(at))


def observations(result: Result) -> list[str]:
    """What becomes of it, as far as it was computed."""
    also = sentences("teaching/bench", "also", *alone.dip(result), CONE_LEVEL, scale_free(result.case))
    return [*alone.cones(result), alone.scar(result), *also]


def scale_free(case: Case) -> bool:
    """Whether heights do not depend on stiffness: one modulus, no tension, nothing below."""
    tension, closing = case.skin.tension, case.closure
    held = closing.sutures.kind == "interrupted" or closing.taper or closing.anchor or physical.plan(case).thread
    without = case.bed is None and tension.along_N_per_m == tension.across_N_per_m == 0
    return case.skin.law.kind == "neo-hooke" and without and not held


def measured(result: Result) -> list[tuple[str, str, str]]:
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
