"""Trimmed closures: close, look at the cones, cut them off, close again."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from scipy.optimize import elementwise

from fem.case import physical
from fem.case.case import Case
from fem.closure.closure import Closure, Trimmed
from fem.closure.measures.cones import tops
from fem.errors import NotConverged
from fem.plan.trim import ENDS, lengths

WITHIN = 0.5  # mm, of the least length that leaves a cone low enough; our choice, no blade is led closer


def closed(case: Case, once: Callable[[Case], Closure]) -> Closure:
    """Closure of a case that is trimmed, by that of cases whose ends are cut as they say.

    Raises what `once` raises, and fem.errors.NotConverged where cutting as far as the case allows leaves higher cones.
    """
    first = once(physical.cut_by(case, (0.0, 0.0)))
    most = lengths(first.outline, case.closure.model_dump())
    under = case.closure.under_mm
    tried: dict[tuple[float, ...], Closure] = {}

    def at(cut: tuple[float, ...]) -> Closure:
        if cut not in tried:
            tried[cut] = once(physical.cut_by(case, cut)) if any(cut) else first
        return tried[cut]

    cut = most if under is None else shortest(lambda cut: end_heights(at(cut)), most, under)
    final = at(cut)
    heights = tuple((cut, tuple(end_heights(closure).tolist())) for cut, closure in tried.items())
    return replace(final, trimmed=Trimmed(first, cut, heights))


def end_heights(closure: Closure) -> np.ndarray:
    """How far (2,) the cone that is farthest off the level is, above or below, at the left and the right end, mm."""
    off = np.abs(closure.over[2, tops(closure)])
    return np.array([off[np.isin(closure.mesh.tips, side)].max() for side in closure.mesh.ends])


def shortest(
    heights: Callable[[tuple[float, ...]], np.ndarray], most: tuple[float, float], under: float
) -> tuple[float, float]:
    """Lengths (2,) in mm, each to WITHIN the shortest, that leave both cones lower than `under` mm.

    heights   lengths (2,) -> heights (2,) of the cones at both ends
    most      lengths (2,) at most; an end of 0 is left as it is

    The cone at an end hangs almost on the cut at that end alone, so both are bracketed side by side by Chandrupatla's
    method; where one cut leads the other cone over the limit, both are cut further in the end.
    """
    cut = np.array([0.0 if high < under else length for high, length in zip(heights((0.0, 0.0)), most, strict=True)])
    asked = np.flatnonzero(cut)
    if not asked.size:
        return 0.0, 0.0
    left = heights(tuple(cut))[asked]
    if (left >= under).any():
        k = asked[int((left >= under).argmax())]
        raise NotConverged(
            f"the cone at the {ENDS[k]} end is still {left.max():.2f} mm high when {cut[k]:g} mm are cut off, wanted "
            f"less than {under:g} mm; allow more with {ENDS[k]}_mm"
        )
    trial = cut.copy()

    def excess(length: np.ndarray, end: np.ndarray) -> np.ndarray:
        trial[end] = length
        return heights(tuple(trial.tolist()))[end] - under

    found = elementwise.find_root(
        excess, (np.zeros(asked.size), cut[asked]), args=(asked,), tolerances=dict(xatol=WITHIN, xrtol=0, fatol=0)
    )
    cut[asked] = np.max(found.bracket, axis=0)
    while (over := heights(tuple(cut.tolist())) >= under)[asked].any():
        further = over & (cut < most)  # an end that is cut as far as it may be needs the other one cut
        cut[asked] = np.minimum(cut + WITHIN * (further if further[asked].any() else 1), most)[asked]
    return tuple(cut.tolist())
