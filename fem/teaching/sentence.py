"""What the numbers of a closed case say, in plain sentences.

Each function returns sentences whose words depend on the numbers: nothing is said that they do not show. Numbers are
printed by `result.shown`, and what is compared or subtracted is compared or subtracted as printed, so that a reader
with the table finds the same.
"""

import math

from fem.case import overview, physical
from fem.case.site import LIBRARY
from fem.closure.measure import CONE_LEVEL
from fem.results.result import shown, unit
from fem.teaching.cone import of_one_kind, tips

ROUND = {0: "along the long axis of the wound", 90: "straight across the wound"}
HOW = {"side-to-side": "side to side", "trimmed": "side to side, its cones are cut off, and it is closed again"}
COUNTS = "no", "one", "two", "three", "four", "five", "six"


def unitful(name, value):
    """A number with its unit, as printed."""
    mark = unit(name)
    return f"{shown(name, value)}{'' if mark == '°' else ' '}{mark}".rstrip()


def printed(name, value):
    """A number as it is printed."""
    return float(shown(name, value).replace("−", "-"))


def count(n):
    """A small number in letters."""
    return COUNTS[n] if n < len(COUNTS) else str(n)


def together(parts):
    """Words joined as "a, b and c"."""
    *first, last = parts
    return f"{', '.join(first)} and {last}" if first else last


def alike(parts):
    """Words joined, or said once if all are the same."""
    return f"each {parts[0]}" if len(parts) > 1 and len(set(parts)) == 1 else together(parts)


def wound(result):
    """What is cut, and what must come together."""
    outline, technique = result.case.wound.outline.kind, result.case.closure.technique
    known, drawn = overview.geometry(result.case), physical.outline(result.case.wound.outline)
    area = known["removed_area_mm2"]
    size = f"{drawn.length:.1f} mm long and {drawn.width:.1f} mm wide"
    how = HOW.get(technique, f"by the technique “{technique}”")
    lines = [f"The wound is a {outline.replace('-', ' ')}, {size}; it is closed {how}."]
    if printed("removed_area_mm2", area):
        lines.append(f"{unitful('removed_area_mm2', area)} of skin are taken away.")
    else:
        lines.append("No skin is taken away.")
    if result.case.wound.lesion is not None:
        healthy = unitful("healthy_removed_mm2", known["healthy_removed_mm2"])
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
    area = overview.geometry(result.case)["loosened_area_mm2"]
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
    lines, dip = [*trimmed(result), *cones(result), scar(result), *partly(result)], result.measures["dip_mm"]
    if printed("dip_mm", dip) >= CONE_LEVEL:
        lines.append(f"Beside that, skin dips by up to {unitful('dip_mm', dip)}.")
    return lines + (tied(result) if separate(result) else pull(result))


def trimmed(result):
    """What cutting the cones off took and what it bought; nothing where none was cut off."""
    at, name = result.measures, "cone_height_mm"
    if not at.get("trim_cut_mm"):
        return []
    cut, before = (alike([unitful(name, v) for v in at[key]]) for key in ("trim_cut_mm", "trim_cones_before_mm"))
    more = (
        unitful("scar_length_mm", at["trim_scar_added_mm"]),
        unitful("removed_area_mm2", at["trim_skin_removed_mm2"]),
    )
    return [
        f"Closed for the first time, its cones stand {before} high. They are cut off, {cut} beyond the tips from "
        f"left to right. That adds {more[0]} of scar and takes {more[1]} more of skin."
    ]


def left_open(result):
    """How much of the wound stays open."""
    left, cut = (unitful(name, result.measures[name]) for name in ("open_area_mm2", "removed_area_mm2"))
    return f"Nothing is sewn edge to edge: {left} stay open, of {cut} cut out."


def pull(result):
    """How hard a seam pulls that is joined all along, or the thread of a purse-string."""
    at = result.measures
    if at.get("purse_force_N") is not None:
        return [f"The thread pulls with {unitful('purse_force_N', at['purse_force_N'])}."]
    force, middle = (unitful(name, at[name]) for name in ("closing_force_N", "line_tension_mid_N_per_m"))
    more = f"; in the middle of the seam the skin pulls with {middle}" if even(result) else ""
    return [f"Closing takes {force} in all{more}."]


def cones(result):
    """How high the cones stand."""
    heights, top = [cone["height_mm"] for cone in result.measures["cones"]], result.measures["cone_height_mm"]
    if not heights:
        return [f"The skin stands up to {unitful('cone_height_mm', top)} high."]
    high = [unitful("cone_height_mm", h) for h in heights if h >= CONE_LEVEL]
    if high:
        what = "cone stands" if len(high) == 1 else "cones stand"
        lines = [f"{count(len(high)).capitalize()} {what} at the tips, {alike(high)} high."]
    else:
        lines = [f"No cone stands at a tip: skin is less than {CONE_LEVEL:g} mm high there."]
    if printed("cone_height_mm", top) > printed("cone_height_mm", max(heights)):
        lines.append(f"The highest skin, {unitful('cone_height_mm', top)}, is not at a tip.")
    return lines


def scar(result):
    """How long the scar is, and the wound was; or how much stays open where there is none."""
    if result.measures["scar_length_mm"] is None:
        return left_open(result)
    length, was = result.measures["scar_length_mm"], overview.geometry(result.case)["length_mm"]
    more = round(printed("scar_length_mm", length) - printed("scar_length_mm", was), 1)
    before = "the trimmed wound was" if result.measures.get("trim_cut_mm") else "the wound was"
    way = "longer" if more > 0 else "shorter"
    longer = f"{unitful('scar_length_mm', abs(more))} {way} than {before}" if more else f"as long as {before}"
    return f"The scar is {unitful('scar_length_mm', length)} long, {longer}."


def partly(result):
    """How much stays open beside the scar; nothing where all is sewn."""
    at, name = result.measures, "removed_area_mm2"
    if at["scar_length_mm"] is None or not at.get("open_area_mm2"):
        return []
    return [f"{unitful(name, at['open_area_mm2'])} stay open."]


def tied(result):
    """What sutures carry that are tied one by one."""
    first, last = result.measures["suture_forces_N"], result.measures["suture_forces_final_N"]
    name = "closing_force_N"
    lines = [f"{len(last)} sutures are tied one by one; at the end they carry {unitful(name, max(last))} or less each."]
    if printed(name, first[0]) > printed(name, last[0]):
        lines.append(
            f"The first carries {unitful(name, first[0])} as it is tied and {unitful(name, last[0])} when all are: "
            "those that follow relieve it."
        )
    return lines


def separate(result):
    """Whether sutures were tied one by one, so that the pull of the seam is that of its sutures."""
    return result.case.closure.sutures.kind == "interrupted"


def even(result):
    """Whether the middle of the seam says how hard it pulls: edges joined all along, from one side to the other."""
    return not separate(result) and result.case.closure.technique in ("side-to-side", "trimmed")
