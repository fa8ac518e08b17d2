"""The techniques that a case can name, functions of an outline and their keys; and a purse-string, which is one."""

from collections.abc import Callable

from fem.geometry.curve import Outline, Size, part
from fem.plan.flaps import FLAPS
from fem.plan.named_points import named_points
from fem.plan.plan import Around, Bite, Plan, Spacing, side_to_side
from fem.plan.trim import trimmed

DRAWN = 0.5  # of the edge's length, to which a thread is drawn if the case does not say; our choice: a partial closure
FEWEST = 6  # stations; our choice, fewer pull the opening into a polygon


def purse_string(outline: Outline, *, thread_mm: Size = None, spacing_mm: Spacing = 5.0, bite_mm: Bite = 3.0) -> Plan:
    """A thread around the open edge, drawn to a length and tied; what it leaves open heals by itself.

    thread_mm   length of the thread, from station to station, when it is tied, mm; half of the edge if left out
    spacing_mm  between stations, mm, about
    bite_mm     length of edge that it holds at each, mm
    """
    if not outline.width:
        raise ValueError("a slit has no opening for a purse-string to draw together")
    around = outline.upper.length + outline.lower.length
    drawn_to = DRAWN * around if thread_mm is None else thread_mm
    if drawn_to >= around:
        raise ValueError(f"thread_mm {drawn_to:g} is not less than the edge it is drawn around, {around:.4g} mm")
    removed, left_open = (outline.lower, part(outline.upper, 1, 0)), (outline.upper, part(outline.lower, 1, 0))
    thread = Around(max(FEWEST, round(around / spacing_mm)), bite_mm, drawn_to)
    return Plan((removed,), seams=(), open=left_open, thread=thread, below=outline.lower)


TECHNIQUES: dict[str, Callable[..., Plan]] = {
    "side-to-side": side_to_side,
    "trimmed": trimmed,
    "purse-string": purse_string,
    **FLAPS,
    "named-points": named_points,
}
