"""Parts of a case → outline, plan, law and stiffness in mm, N, MPa, rad: where kPa, N/m and degrees end."""

import json
from collections.abc import Sequence
from functools import lru_cache, partial
from inspect import getfullargspec
from typing import TYPE_CHECKING, Any

import numpy as np

from fem.geometry.curve import Outline
from fem.geometry.outlines import OUTLINES
from fem.material.laws import LAWS, Law
from fem.material.skin import left_after, stretch_under, tension
from fem.plan.plan import Plan, stitches, undermined
from fem.plan.techniques import TECHNIQUES
from fem.plan.trim import ENDS, extended

if TYPE_CHECKING:
    from fem.case.case import Case
    from fem.case.keys import Bed, Tension, Wound

KPA, N_PER_M = 1e3, 1e3  # of 1 MPa, of 1 N/mm: measures, pictures and pages are in kPa and N/m
RECENT = 32  # plans and stretches that are kept; our choice, a comparison shows fewer cases


def outline(shape: Any) -> Outline:
    """The outline that a case's `wound.outline` describes. Raises ValueError if it cannot be."""
    return OUTLINES[shape.kind](**shape.model_dump(exclude={"kind"}))


def plan(case: "Case") -> Plan:
    """The sewing plan of a case."""
    return plan_of(case.closure, case.wound)


def plan_of(closure: Any, wound: "Wound") -> Plan:
    """The sewing plan of a case's `closure` and `wound`. Raises ValueError if it cannot be drawn."""
    keys = {key for part in (TECHNIQUES[closure.technique], undermined) for key in getfullargspec(part).kwonlyargs}
    return _plan(wound.outline.model_dump_json(), closure.model_dump_json(include={"technique", *keys}))


@lru_cache(RECENT)
def _plan(shape, closure):
    """The plan of an outline and what of a closure it rests on, both as JSON, in which floats keep all digits."""
    shape, closure = json.loads(shape), json.loads(closure)
    zone = {key: closure.pop(key) for key in getfullargspec(undermined).kwonlyargs}
    outline = OUTLINES[shape.pop("kind")](**shape)
    return undermined(TECHNIQUES[closure.pop("technique")](outline, **closure), **zone)


def excised(case: "Case") -> Outline:
    """The outline of what a case takes out: that of the wound, its ends cut further where the closure is trimmed."""
    wound = outline(case.wound.outline)
    return extended(wound, **case.closure.model_dump()) if case.closure.technique == "trimmed" else wound


def cut_by(case: "Case", lengths: Sequence[float]) -> "Case":
    """The case with trimmed closure whose ends are cut by lengths (2,), mm; an end of 0 is left."""
    cut: dict[str, Any] = {"under_mm": None}
    for end, length in zip(ENDS, lengths, strict=True):
        cut |= {f"{end}_mm": float(length)} if length else {end: "none"}
    return case.model_copy(update={"closure": case.closure.model_copy(update=cut)})


def tying(plan: Plan, sutures: Any) -> list[tuple[int, float]]:
    """The interrupted sutures of a case, in order of tying, as in `fem.plan.plan.stitches`."""
    return stitches(plan, spacing=sutures.spacing_mm, order=sutures.numbers or sutures.order)


def law(chosen: Any) -> Law:
    """The law that a case's `skin.law` describes: C (3, ...) -> psi, dpsi/dC, d2psi/dC2."""
    return partial(LAWS[chosen.kind], **chosen.model_dump(exclude={"kind"}))


def pretension_N_per_m(law: Law, prestretch: np.ndarray, *, h: float) -> list[float]:
    """Line tensions [along, across] of skin stretched by `prestretch` (2,), in the unit of a case file."""
    return (N_PER_M * tension(law, prestretch, h=h)).tolist()


@lru_cache(RECENT)
def prestretch(tension: "Tension", chosen: Any, *, h: float) -> np.ndarray:
    """Stretch (2,) of uncut skin along and across the lines, of `skin.law` and `skin.tension`; ValueError if none."""
    stretch = stretch_under(law(chosen), 1e-3 * np.array([tension.along_N_per_m, tension.across_N_per_m]), h=h)
    stretch.setflags(write=False)  # it is kept
    return stretch


def lines(tension: "Tension") -> float:
    """Direction of the skin tension lines of a case's `skin.tension`, counter-clockwise from x, rad."""
    return np.radians(tension.lines_deg)


def springs(bed: "Bed | None") -> tuple[float, float]:
    """Stiffness per area of a case's `bed` against lifting and sliding, N/mm3; none without a bed."""
    if bed is None:
        return 0.0, 0.0
    assert bed.normal_kPa_per_mm is not None and bed.shear_kPa_per_mm is not None  # of a bed that is complete
    return 1e-3 * bed.normal_kPa_per_mm, 1e-3 * bed.shear_kPa_per_mm


def forces_left(case: "Case") -> dict[float, float] | None:
    """Share of every force that is left, by seconds after closure; None if the case has no `relax`."""
    if case.relax is None:
        return None
    shares, times = zip(*((term.share, term.time_s) for term in case.relax.terms), strict=True)
    return dict(zip(case.relax.at_s, left_after(case.relax.at_s, shares=shares, times=times).tolist(), strict=True))
