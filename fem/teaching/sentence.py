"""What the numbers of a closed case say, as sentences: the values for `text/sentence.txt`, which has the words."""

from math import degrees

from fem.case import case as cases
from fem.case import physical
from fem.case.site import LIBRARY
from fem.closure.measures.cones import CONE_LEVEL
from fem.comparison.wording import high, printed, sentence, sentences, unitful
from fem.results.result import Result
from fem.teaching.cone import of_one_kind, tips


def wound(result: Result) -> list[str]:
    """What is cut, and what must come together."""
    case = result.case
    outline = physical.outline(case.wound.outline)
    values = case.wound.outline.kind, outline.length, outline.width, case.closure.technique
    return sentences("teaching/sentence", "wound", *values, cases.geometry(case), case.wound.lesion)


def missing(result: Result) -> list[str]:
    """By how much skin is missing at the tips."""
    groups = [(degrees(group[0].deficit), len(group)) for group in of_one_kind(tips(result))]
    return sentences("teaching/sentence", "missing", groups)


def skin(result: Result) -> list[str]:
    """What skin it is, how it is stretched, and how much of it is undermined."""
    case = result.case
    values = case.skin, case.skin.site in LIBRARY.bench, case.skin.tension.lines_deg % 180, case.bed
    return sentences("teaching/sentence", "skin", *values, cases.geometry(case)["undermined_area_mm2"])


def outcome(result: Result) -> list[str]:
    """What became of the closed wound."""
    lines = [*trimmed(result), *cones(result), scar(result), *partly(result)]
    lines += sentences("teaching/sentence", "dip", *dip(result), CONE_LEVEL)
    return lines + (tied(result) if separate(result) else pull(result))


def trimmed(result: Result) -> list[str]:
    """What cutting the cones off took and what it bought; nothing where none was cut off."""
    at = result.measures
    if not at.get("trim_cut_mm"):
        return []
    cut, before = [unitful("trim_cut_1_mm", v) for v in at["trim_cut_mm"]], [*map(high, at["trim_cones_before_mm"])]
    return sentences("teaching/sentence", "trimmed", at, cut, before)


def left_open(result: Result) -> str:
    """How much of the wound stays open."""
    at = result.measures
    return sentence("teaching/sentence", "left_open", at["open_area_mm2"], at["removed_area_mm2"])


def pull(result: Result) -> list[str]:
    """How hard a seam pulls that is joined all along, or the thread of a purse-string."""
    return sentences("teaching/sentence", "pull", {"purse_force_N": None} | result.measures, even(result))


def cones(result: Result) -> list[str]:
    """How high the cones stand, or how deep they are sunk, and whether skin is higher elsewhere."""
    at, heights = result.measures, [cone["height_mm"] for cone in result.measures["cones"]]
    off = [[unitful("cone_height_mm", h) for h in (side * h for h in heights) if h >= CONE_LEVEL] for side in (1, -1)]
    return sentences("teaching/sentence", "cones", at["cone_height_mm"], at["rise_mm"], heights, *off, CONE_LEVEL)


def dip(result: Result) -> tuple[float, float]:
    """How deep the skin dips anywhere, and how deep the deepest cone is sunk, mm."""
    return result.measures["dip_mm"], max((-cone["height_mm"] for cone in result.measures["cones"]), default=0.0)


def scar(result: Result) -> str:
    """How long the scar is, and the wound was; or how much stays open where there is none."""
    length, name = result.measures["scar_length_mm"], "scar_length_mm"
    if length is None:
        return left_open(result)
    more = round(printed(name, length) - printed(name, cases.geometry(result.case)["length_mm"]), 1)
    return sentence("teaching/sentence", "scar", length, more, bool(result.measures.get("trim_cut_mm")))


def partly(result: Result) -> list[str]:
    """How much stays open beside the scar; nothing where all is sewn."""
    at = result.measures
    return sentences("teaching/sentence", "partly", at.get("open_area_mm2"), at["scar_length_mm"] is not None)


def tied(result: Result) -> list[str]:
    """What sutures carry that are tied one by one."""
    at = result.measures
    return sentences("teaching/sentence", "tied", at["suture_forces_N"], at["suture_forces_final_N"])


def separate(result: Result) -> bool:
    """Whether sutures were tied one by one, so that the pull of the seam is that of its sutures."""
    return result.case.closure.sutures.kind == "interrupted"


def even(result: Result) -> bool:
    """Whether the middle of the seam says how hard it pulls: edges joined all along, from one side to the other."""
    return not separate(result) and result.case.closure.technique in ("side-to-side", "trimmed")
