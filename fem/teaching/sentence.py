"""What the numbers of a closed case say, as sentences: the values for `text/sentence.txt`, which has the words."""

from math import degrees
from typing import Any

from fem.case import case as cases
from fem.case import physical
from fem.case.site import LIBRARY
from fem.closure.measures.cones import CONE_LEVEL
from fem.comparison.wording import sentences
from fem.results.result import Result
from fem.teaching.cone import of_one_kind, tips


def say(what: str, result: Result) -> list[str]:
    """The sentences on a closure that are called `what` in `text/sentence.txt`."""
    return sentences("teaching/sentence", what, values(result))


def values(result: Result) -> dict[str, Any]:
    """What sentences on a closure are made of; `at` are its measures."""
    case = result.case
    return {
        "case": case,
        "at": {"purse_force_N": None, "trim_cut_mm": None, "open_area_mm2": None} | result.measures,
        "sunk": max((-cone["height_mm"] for cone in result.measures["cones"]), default=0.0),  # of the deepest cone
        "known": cases.geometry(case),
        "outline": physical.outline(case.wound.outline),
        "bench": case.skin.site in LIBRARY.bench,
        "level": CONE_LEVEL,
        "even": even(result),
        "sideways": sideways(result),
        "separate": separate(result),
    }


def surplus(result: Result) -> list[str]:
    """The angle that is taken out at the tips, around which skin is then too much to lie flat."""
    groups = [(degrees(group[0].deficit), len(group)) for group in of_one_kind(tips(result))]
    return sentences("teaching/sentence", "surplus", groups)


def separate(result: Result) -> bool:
    """Whether sutures were tied one by one, so that the pull of the seam is that of its sutures."""
    return result.case.closure.sutures.kind == "interrupted"


def even(result: Result) -> bool:
    """Whether the middle of the seam says how hard it pulls: edges joined all along, from one side to the other."""
    return not separate(result) and sideways(result)


def sideways(result: Result) -> bool:
    """Whether one edge of the wound is sewn to the other, from one side to the other."""
    return result.case.closure.technique in ("side-to-side", "trimmed")
