"""What the numbers of closed cases say, in plain sentences.

Each function returns sentences whose words depend on the numbers: nothing is said that they do not show. Numbers are
printed by `fem.result.shown`, and what is compared or subtracted is compared or subtracted as printed, so that a reader
with the table finds the same.
"""

import math
from itertools import pairwise

from fem import case as cases
from fem.cone import of_one_kind, tips
from fem.measure import CONE_LEVEL
from fem.result import numbers, shown, unit
from fem.site import LIBRARY

APART = 5.0  # mm between the sutures of a question; common practice is a few mm
ROUND = {0: "along the long axis of the wound", 90: "straight across the wound"}
MOST = {
    "lower": "lowest",
    "higher": "highest",
    "weaker": "weakest",
    "stronger": "strongest",
    "less": "least",
    "more": "most",
}
COUNTS = "no", "one", "two", "three", "four", "five", "six"
MONEY = "cone_height_mm", "scar_length_mm"  # what is traded for what


def told(name, value):
    """A number with its unit, as printed."""
    mark = unit(name)
    return f"{shown(name, value)}{'' if mark == '°' else ' '}{mark}".rstrip()


def printed(name, value):
    """A number as it is printed."""
    return float(shown(name, value).replace("−", "-"))


def count(n):
    """A small number in letters."""
    return COUNTS[n] if n < len(COUNTS) else str(n)


def together(words):
    """Words joined as "a, b and c"."""
    *first, last = words
    return f"{', '.join(first)} and {last}" if first else last


# One closure --------------------------------------------------------------------------------------------------


def wound(result):
    """What is cut, and what must come together."""
    outline, technique = result.case.wound.outline.kind, result.case.closure.technique
    known = cases.geometry(result.case)
    area = known["removed_area_mm2"]
    size = f"{known['length_mm']:.1f} mm long and {known['width_mm']:.1f} mm wide"
    how = "side to side" if technique == "side-to-side" else f"by the technique “{technique}”"
    lines = [f"The wound is a {outline.replace('-', ' ')}, {size}; it is closed {how}."]
    if printed("removed_area_mm2", area):
        lines.append(f"{told('removed_area_mm2', area)} of skin are taken away.")
    else:
        lines.append("No skin is taken away.")
    if result.case.wound.lesion is not None:
        healthy = told("healthy_removed_mm2", known["healthy_removed_mm2"])
        lines.append(f"{healthy} of that are healthy: the lesion is {result.case.wound.lesion.diameter_mm:g} mm wide.")
    return lines


def missing(result):
    """By how much skin is missing at the tips."""
    lines = []
    for group in of_one_kind(tips(result)):
        where = "one place" if len(group) == 1 else f"each of {count(len(group))} places"
        lines.append(
            f"At {where} where edges meet, {math.degrees(group[0].deficit):.0f}° of skin are missing once the wound is "
            "sewn shut. Like a disc with a wedge cut out, skin can then not lie flat: a cone is to be expected."
        )
    return lines or ["No place where edges meet lacks skin, so no cone is to be expected from the plan alone."]


def skin(result):
    """What skin it is, how it is stretched, and how far it is freed."""
    chosen, tension = result.case.skin, result.case.skin.tension
    lines = [f"{material(chosen.site)}: {chosen.thickness_mm:g} mm thick."]
    along, across = tension.along_N_per_m, tension.across_N_per_m
    if along == across == 0:
        lines.append("It lies without tension before the cut.")
    elif along == across:
        lines.append(f"Uncut, it is stretched by {along:g} N/m every way.")
    else:
        lines.append(
            f"Uncut, it is stretched by {along:g} N/m along the skin tension lines and {across:g} N/m across; they run "
            f"{direction(tension.lines_deg)}."
        )
    area = cases.geometry(result.case)["loosened_area_mm2"]
    if result.case.bed is None:
        lines.append("Nothing lies below it.")
    elif printed("removed_area_mm2", area):
        lines.append(f"{area:.0f} mm² around the wound are freed from the bed below.")
    else:
        lines.append("It is not freed from the bed below.")
    return lines


def material(site):
    """Whose skin it is."""
    if site is None:
        return "The skin is invented"
    name = site.replace("-", " ")
    return f"What is called skin here is a {name}" if site in LIBRARY.bench else f"The skin is that of a typical {name}"


def direction(lines_deg):
    """How the skin tension lines run to the wound."""
    turn = lines_deg % 180
    return ROUND.get(turn, f"at {min(turn, 180 - turn):g}° to the long axis of the wound")


def outcome(result):
    """What became of the closed wound."""
    at = numbers(result.measures)
    lines = [*cones(result), scar(result)]
    if printed("dip_mm", at["dip_mm"]) >= CONE_LEVEL:
        lines.append(f"Beside that, skin dips by up to {told('dip_mm', at['dip_mm'])}.")
    return lines + (tied(result) if separate(result) else pull(result))


def pull(result):
    """How hard a seam pulls that is joined all along."""
    at = result.measures
    force, middle = (told(name, at[name]) for name in ("closing_force_N", "line_tension_mid_N_per_m"))
    more = f"; in the middle of the seam the skin pulls with {middle}" if even(result) else ""
    return [f"Closing takes {force} in all{more}."]


def cones(result):
    """How high the cones stand."""
    heights = [cone["height_mm"] for cone in result.measures["cones"]]
    high = [told("cone_height_mm", h) for h in heights if h >= CONE_LEVEL]
    if high:
        same = len(set(high)) == 1 and len(high) > 1
        how = f"each {high[0]}" if same else together(high)
        what = "cone stands" if len(high) == 1 else "cones stand"
        lines = [f"{count(len(high)).capitalize()} {what} at the tips, {how} high."]
    else:
        lines = [f"No cone stands at a tip: skin is less than {CONE_LEVEL:g} mm high there."]
    top = result.measures["cone_height_mm"]
    if printed("cone_height_mm", top) > printed("cone_height_mm", max(heights, default=0.0)):
        lines.append(f"The highest skin, {told('cone_height_mm', top)}, is not at a tip.")
    return lines


def scar(result):
    """How long the scar is, and the wound was."""
    length, was = result.measures["scar_length_mm"], cases.geometry(result.case)["length_mm"]
    more = round(printed("scar_length_mm", length) - printed("scar_length_mm", was), 1)
    longer = (
        "as long as the wound was"
        if not more
        else f"{told('scar_length_mm', abs(more))} {'longer' if more > 0 else 'shorter'} than the wound was"
    )
    return f"The scar is {told('scar_length_mm', length)} long, {longer}."


def tied(result):
    """What sutures carry that are tied one by one."""
    first, last = result.measures["suture_forces_N"], result.measures["suture_forces_final_N"]
    name = "closing_force_N"
    lines = [f"{len(last)} sutures are tied one by one; at the end they carry {told(name, max(last))} or less each."]
    if printed(name, first[0]) > printed(name, last[0]):
        lines.append(
            f"The first carries {told(name, first[0])} as it is tied and {told(name, last[0])} when all are: those "
            "that follow relieve it."
        )
    return lines


# Several closures ---------------------------------------------------------------------------------------------


def by_scar(named):
    """Words and results of those that are closed, shortest scar first."""
    closed = [(words, result) for words, result in named if not result.reason]
    return sorted(closed, key=lambda one: one[1].measures["scar_length_mm"])


def trade_off(named):
    """What the scar buys, of closures as (words, Result)."""
    order = by_scar(named)
    failed = [f"“{words}” could not be closed: {r.reason.rstrip('.')}." for words, r in named if r.reason]
    if len(order) < 2:
        return [*failed, "So there is nothing to compare with." if failed else "There is nothing to compare with."]
    lines = [trend(order, "cone_height_mm", "cones", "lower", "higher")]
    if all(even(result) for _, result in order):
        lines.append(trend(order, "line_tension_mid_N_per_m", "pull in the middle of the seam", "weaker", "stronger"))
    if len({printed("removed_area_mm2", result.measures["removed_area_mm2"]) for _, result in order}) > 1:
        lines.append(trend(order, "removed_area_mm2", "skin taken away", "less", "more"))
    return [*lines, *(price(*pair) for pair in pairwise(order) if price(*pair)), *failed]


def separate(result):
    """Whether sutures were tied one by one, so that the pull of the seam is that of its sutures."""
    return result.case.closure.sutures.kind == "interrupted"


def even(result):
    """Whether the middle of the seam says how hard it pulls: edges joined all along, from one side to the other."""
    return not separate(result) and result.case.closure.technique == "side-to-side"


def trend(order, name, what, less, more):
    """How a number goes with the length of the scar, of closures by their scars."""
    scars = [printed("scar_length_mm", result.measures["scar_length_mm"]) for _, result in order]
    values = [printed(name, numbers(result.measures)[name]) for _, result in order]
    listed = ", ".join(shown(name, numbers(result.measures)[name]) for _, result in order) + f" {unit(name)}"
    steps, grows = [b - a for a, b in pairwise(values)], all(b > a for a, b in pairwise(scars))
    verb = "are" if what.endswith("s") else "is"
    if not any(steps):
        return f"The {what} {verb} alike: {listed}."
    if grows and (all(step < 0 for step in steps) or all(step > 0 for step in steps)):
        return f"The longer the scar, the {less if steps[0] < 0 else more} the {what}: {listed}."
    low, high = extremes(order, name)
    return f"The {what} {verb} not ordered as the scars are: {MOST[less]} in {low}, {MOST[more]} in {high} ({listed})."


def extremes(order, name):
    """Words of the closures with the least and with the greatest of a number, as printed."""
    values = [printed(name, numbers(result.measures)[name]) for _, result in order]
    return tuple(
        together([f"“{words}”" for (words, _), value in zip(order, values, strict=True) if value == end])
        for end in (min(values), max(values))
    )


def price(one, other):
    """How much scar each millimetre of cone costs from one closure to another; "" if the scar buys none."""
    gain, cost = (
        round(printed(name, b) - printed(name, a), 1)
        for name, a, b in ((name, one[1].measures[name], other[1].measures[name]) for name in MONEY)
    )
    if gain >= 0 or cost <= 0:
        return ""
    return (
        f"From “{one[0]}” to “{other[0]}” cones fall by {-gain:.1f} mm and the scar grows by {cost:.1f} mm: "
        f"{cost / -gain:.0f} mm of scar for each mm of cone."
    )


# Questions ----------------------------------------------------------------------------------------------------


def questions(result, named):
    """Three questions with their answers, the first that the numbers have an answer to.

    named   (words, Result) of all closures of the lesson, the result's own among them
    """
    order = by_scar(named)
    of_all = [ask(order) for ask in (ask_best, ask_price)]
    asked = [ask_tips(result), *of_all, *(ask(result) for ask in (ask_sutures, ask_scar, ask_force))]
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


def ask_best(order):
    """Which closure has the lowest cones and the shortest scar; None for one alone."""
    if len(order) < 2:
        return None
    cone, length = extremes(order, "cone_height_mm"), extremes(order, "scar_length_mm")
    both = "One closure has both." if cone[0] == length[0] else "No closure has both: one is paid for with the other."
    if len({printed("cone_height_mm", r.measures["cone_height_mm"]) for _, r in order}) == 1:
        return (
            "Which of the closures leaves the lowest cones, and which the shortest scar?",
            f"The cones are alike; the shortest scar has {length[0]}.",
        )
    return (
        "Which of the closures leaves the lowest cones, and which the shortest scar? Can you have both?",
        f"Lowest cones: {cone[0]}. Shortest scar: {length[0]}. {both}",
    )


def ask_price(order):
    """What a millimetre of cone costs; None where no pair of closures trades scar for cone."""
    prices = [price(*pair) for pair in pairwise(order) if price(*pair)]
    if not prices:
        return None
    return "How many millimetres of scar does each millimetre of cone cost? Use the table.", " ".join(prices)


def ask_sutures(result):
    """What each of evenly spaced sutures would carry in the middle of the seam."""
    if not even(result):
        return ask_tied(result) if separate(result) else None
    name = "line_tension_mid_N_per_m"
    tension = printed(name, result.measures[name])
    return (
        f"Sutures stand {APART:g} mm apart in the middle of the seam. How hard does the skin pull at each?",
        f"Line tension times distance: {told(name, tension)} × {APART / 1000:g} m = {tension * APART / 1000:.2f} N.",
    )


def ask_tied(result):
    """Which of the sutures that are tied one by one carries most."""
    last, name = result.measures["suture_forces_final_N"], "closing_force_N"
    most = max(printed(name, force) for force in last)
    which = [str(k) for k, force in enumerate(last, start=1) if printed(name, force) == most]
    answer = f"{'Number' if len(which) == 1 else 'Numbers'} {together(which)} of {len(last)}: {told(name, most)}."
    return "Which suture carries most when all are tied? The template has their numbers.", answer


def ask_scar(result):
    """Whether the scar is as long as the wound, and why."""
    out = result.measures["push_out_mm"]
    outward = out and min(printed("push_out_mm", value) for value in out) > 0
    moved = f" The tips travel outward, by {together([told('push_out_mm', v) for v in out])}." if outward else ""
    return "Is the scar as long as the wound was?", scar(result) + moved


def ask_force(result):
    """What the whole seam carries."""
    force = told("closing_force_N", result.measures["closing_force_N"])
    return "How hard must one pull in all to close this wound?", f"{force}, summed along the seam."
