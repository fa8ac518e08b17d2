"""What closures side by side say, in plain sentences, and three questions with their answers.

As in `sentence`, nothing is said that the numbers do not show, and all is compared as printed. A closure is given
as (label, Result).
"""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

from fem.results.result import Result, numbers, shown, unit
from fem.teaching.cone import tips
from fem.teaching.sentence import cones, even, left_open, missing, printed, scar, separate, together, unitful

APART = 5.0  # mm between the sutures of a question; common practice is a few mm
MONEY = "cone_height_mm", "scar_length_mm"  # what is traded for what
MOST = {
    "lower": "lowest",
    "higher": "highest",
    "weaker": "weakest",
    "stronger": "strongest",
    "smaller": "smallest",
    "greater": "greatest",
    "shorter": "shortest",
    "longer": "longest",
    "less": "least",
    "more": "most",
}


@dataclass(frozen=True)
class By:
    """What closures are put in order by."""

    phrase: str  # "the longer the scar"
    value: Callable[[Result], float | None]
    against: tuple[str, str]  # measure that is weighed against the cones, and a phrase for the least of it


SCAR = By(
    "the longer the scar",
    lambda result: result.measures["scar_length_mm"] and printed("scar_length_mm", result.measures["scar_length_mm"]),
    ("scar_length_mm", "shortest scar"),
)


def ordered(named, by):
    """Those that are closed and have what they are put in order by, in that order."""
    known = [one for one in named if not one[1].reason and by.value(one[1]) is not None]
    return sorted(known, key=lambda one: by.value(one[1]))


def unordered(named, by):
    """Those that are closed, but have no such value: without a scar."""
    return [one for one in named if not one[1].reason and by.value(one[1]) is None]


def trade_off(named, by=SCAR):
    """What is bought and what is paid from one closure to the next."""
    order = ordered(named, by)
    others = [f"“{label}”: {left_open(result)}" for label, result in unordered(named, by)]
    others += [f"“{label}” could not be closed: {r.reason.rstrip('.')}." for label, r in named if r.reason]
    if len(order) < 2:
        return [*others, "There is nothing else to compare with." if others else "There is nothing to compare with."]
    lines = [trend(order, by, "cone_height_mm", "cones", "lower", "higher")]
    if all(even(result) for _, result in order):
        lines.append(trend(order, by, "line_tension_mid_N_per_m", "pull in the middle", "weaker", "stronger"))
    if by is not SCAR:
        lines.append(trend(order, by, "closing_force_N", "force to close", "smaller", "greater"))
        lines.append(trend(order, by, "scar_length_mm", "scar", "shorter", "longer"))
    if differ(order, "removed_area_mm2"):
        lines.append(trend(order, by, "removed_area_mm2", "skin taken away", "less", "more"))
    return [*lines, *(prices(order) if by is SCAR else []), *others]


def differ(order, name):
    """Whether closures differ in a number as printed."""
    return len({printed(name, numbers(result.measures)[name]) for _, result in order}) > 1


def trend(order, by, name, what, less, more):
    """How a number goes from one closure to the next."""
    values = [printed(name, numbers(result.measures)[name]) for _, result in order]
    listed = ", ".join(shown(name, numbers(result.measures)[name]) for _, result in order) + f" {unit(name)}"
    steps = [b - a for a, b in pairwise(values)]
    grows = all(by.value(b) > by.value(a) for (_, a), (_, b) in pairwise(order))
    verb = "are" if what.endswith("s") else "is"
    if not any(steps):
        return f"The {what} {verb} alike: {listed}."
    if grows and (all(step < 0 for step in steps) or all(step > 0 for step in steps)):
        return f"{by.phrase.capitalize()}, the {less if steps[0] < 0 else more} the {what}: {listed}."
    low, high = (quoted(names) for names in extremes(order, name))
    return f"The {what} {verb} {MOST[less]} in {low}, {MOST[more]} in {high}: {listed}."


def extremes(order, name):
    """Words of the closures with the least and of those with the greatest of a number, as printed."""
    values = [printed(name, numbers(result.measures)[name]) for _, result in order]
    return tuple(
        [label for (label, _), value in zip(order, values, strict=True) if value == end]
        for end in (min(values), max(values))
    )


def quoted(names):
    """Names of closures in a sentence."""
    return together([f"“{name}”" for name in names])


def prices(order):
    """What each step costs that lowers the cones for a longer scar."""
    return [line for line in (price(*pair) for pair in pairwise(order)) if line]


def price(before, after):
    """How much scar each millimetre of cone costs from one closure to another; "" if the scar buys none."""
    gain, cost = (
        round(printed(name, b) - printed(name, a), 1)
        for name, a, b in ((name, before[1].measures[name], after[1].measures[name]) for name in MONEY)
    )
    if gain >= 0 or cost <= 0:
        return ""
    return (
        f"From “{before[0]}” to “{after[0]}” cones fall by {-gain:.1f} mm and the scar grows by {cost:.1f} mm: "
        f"{cost / -gain:.0f} mm of scar for each mm of cone."
    )


# Questions ----------------------------------------------------------------------------------------------------


def questions(result, named, by=SCAR):
    """Three questions with their answers, the first that the numbers have an answer to.

    named   all closures of the lesson, the result's own among them
    """
    order = ordered(named, by)
    asked = [ask_tips(result), ask_best(order, by), ask_price(order) if by is SCAR else None]
    asked += [ask(result) for ask in (ask_sutures, ask_scar, ask_open, ask_taken, ask_gape)]
    return [one for one in asked if one][:3]


def ask_tips(result):
    """By how many degrees skin is missing; None where it is not."""
    lines = missing(result)
    if not tips(result):
        return None
    return (
        "Find the places on the plan where edges that are sewn together meet. What happens to the skin there when the "
        "wound is sewn shut, and how much of it is missing?",
        " ".join([*lines, *cones(result)]),
    )


def ask_best(order, by=SCAR):
    """Which closure has the lowest cones and the least of what is weighed against them; None for one alone."""
    if len(order) < 2:
        return None
    name, least = by.against
    low, best = extremes(order, "cone_height_mm")[0], extremes(order, name)[0]
    which = f"Which of the closures has the lowest cones, and which the {least}?"
    if not differ(order, "cone_height_mm"):
        return which, f"The cones are alike; {least}: {quoted(best)}."
    both = [label for label in low if label in best]
    end = f"Both: {quoted(both)}." if both else "None has both: one is paid for with the other."
    return f"{which} Can you have both?", f"Lowest cones: {quoted(low)}; {least}: {quoted(best)}. {end}"


def ask_price(order):
    """What a millimetre of cone costs; None where no step trades scar for cone."""
    lines = prices(order)
    if not lines:
        return None
    return "How many millimetres of scar does each millimetre of cone cost? Use the table.", " ".join(lines)


def ask_sutures(result):
    """What each of evenly spaced sutures would carry in the middle of the seam."""
    if not even(result):
        return ask_tied(result) if separate(result) else None
    name = "line_tension_mid_N_per_m"
    tension = printed(name, result.measures[name])
    return (
        f"Sutures stand {APART:g} mm apart in the middle of the seam. How hard does the skin pull at each?",
        f"Line tension times distance: {unitful(name, tension)} × {APART / 1000:g} m = {tension * APART / 1000:.2f} N.",
    )


def ask_tied(result):
    """Which of the sutures that are tied one by one carries most."""
    last, name = result.measures["suture_forces_final_N"], "closing_force_N"
    most = max(printed(name, force) for force in last)
    which = [str(k) for k, force in enumerate(last, start=1) if printed(name, force) == most]
    answer = f"{'Number' if len(which) == 1 else 'Numbers'} {together(which)} of {len(last)}: {unitful(name, most)}."
    return "Which suture carries most when all are tied? The template has their numbers.", answer


def ask_scar(result):
    """Whether the scar is as long as the wound, and why; None where there is none."""
    if result.measures["scar_length_mm"] is None:
        return None
    out = result.measures["push_out_mm"]
    outward = out and min(printed("push_out_mm", value) for value in out) > 0
    moved = f" The tips travel outward, by {together([unitful('push_out_mm', v) for v in out])}." if outward else ""
    return "Is the scar as long as the wound was?", scar(result) + moved


def ask_open(result):
    """How much stays open; None where all is sewn."""
    if not result.measures.get("open_area_mm2"):
        return None
    return "How much of the wound stays open?", f"{unitful('removed_area_mm2', result.measures['open_area_mm2'])}."


def ask_taken(result):
    """How much skin is taken away."""
    return "How much skin is taken away?", f"{unitful('removed_area_mm2', result.measures['removed_area_mm2'])}."


def ask_gape(result):
    """How far the fresh wound opens."""
    long, wide = (unitful(f"gape_{way}_mm", result.measures[f"gape_{way}_mm"]) for way in ("length", "width"))
    return "How far does the wound open before it is closed?", f"{long}, and {wide} across that."
