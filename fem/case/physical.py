"""Parts of a case → outline, plan, law and stiffness in mm, N, MPa, rad: where kPa, N/m and degrees end."""

import json
from collections.abc import Callable, Sequence
from functools import lru_cache, partial
from inspect import getfullargspec
from math import pi
from typing import TYPE_CHECKING, Any

import numpy as np

from fem.geometry.curve import Outline
from fem.geometry.outlines import OUTLINES
from fem.geometry.surface import FLAT, SURFACES, Surface, laid
from fem.material.laws import LAWS, Law
from fem.material.skin import N_PER_M, left_after, stretch_under, tension
from fem.plan.plan import Plan, stitches, undermined
from fem.plan.techniques import TECHNIQUES
from fem.plan.trim import ENDS, extended, trimmed

if TYPE_CHECKING:
    from fem.case.case import Case
    from fem.case.keys import Bed, Patch, Tension, Wound

KEYS = {"MPa": ("kPa", 1e-3), "rad": ("deg", pi / 180)}  # unit of an argument -> of its key, that in the first
RECENT = 32  # plans and stretches that are kept; our choice, a comparison shows fewer cases


def key_of(argument: str) -> tuple[str, float]:
    """Key that an argument of an outline, technique or law comes from, and one of its unit in the argument's."""
    name, between, unit = argument.rpartition("_")
    unit, factor = KEYS.get(unit, (unit, 1.0))
    return name + between + unit, factor


def arguments(function: Callable, block: Any) -> dict[str, Any]:
    """Arguments in mm, MPa and rad of an outline, technique or law, of a block of a case, in mm, kPa and degrees."""
    given, known = dict(block), {}
    for name in getfullargspec(function).kwonlyargs:
        key, factor = key_of(name)
        known[name] = factor * given[key] if isinstance(given[key], int | float) else given[key]
    return known


def outline(block: Any) -> Outline:
    """The outline that a case's `wound.outline` describes. Raises ValueError if it cannot be."""
    return OUTLINES[block.kind](**arguments(OUTLINES[block.kind], block))


def surface(patch: "Patch") -> Surface:
    """The body's surface on which the plan lies. Raises ValueError if it cannot carry the patch."""
    if patch.surface is None:
        return FLAT
    return _surface(patch.surface, patch.radius_mm)


@lru_cache(RECENT)
def _surface(block, radius):
    return laid(SURFACES[block.kind](**arguments(SURFACES[block.kind], block)), radius)


def plan(case: "Case") -> Plan:
    """The sewing plan of a case."""
    return plan_of(case.closure, case.wound)


def plan_of(closure: Any, wound: "Wound") -> Plan:
    """The sewing plan of a case's `closure` and `wound`. Raises ValueError if it cannot be drawn."""
    parts = [arguments(part, closure) for part in (TECHNIQUES[closure.technique], undermined)]
    return _plan(wound.outline, closure.technique, json.dumps(parts))


@lru_cache(RECENT)
def _plan(shape, technique, parts):
    """The plan of an outline and what of a closure it rests on, which is JSON, in which floats keep all digits."""
    of_technique, of_zone = json.loads(parts)
    return undermined(TECHNIQUES[technique](outline(shape), **of_technique), **of_zone)


def excised(case: "Case") -> Outline:
    """The outline of what a case takes out: that of the wound, its ends cut further where the closure is trimmed."""
    wound = outline(case.wound.outline)
    return extended(wound, **arguments(trimmed, case.closure)) if case.closure.technique == "trimmed" else wound


def cut_by(case: "Case", lengths: Sequence[float]) -> "Case":
    """The case with trimmed closure whose ends are cut by lengths (2,), mm; an end of 0 is left."""
    cut: dict[str, Any] = {"under_mm": None}
    for end, length in zip(ENDS, lengths, strict=True):
        cut |= {f"{end}_mm": float(length)} if length else {end: "none"}
    return case.model_copy(update={"closure": case.closure.model_copy(update=cut)})


def tying(plan: Plan, sutures: Any) -> list[tuple[int, float]]:
    """The interrupted sutures of a case, in order of tying, as in `fem.plan.plan.stitches`."""
    return stitches(plan, spacing=sutures.spacing_mm, order=sutures.numbers or sutures.order)


def law(block: Any) -> Law:
    """The law that a case's `skin.law`, or a mapping of its keys, describes: C (3, ...) -> psi, dpsi/dC, d2psi/dC2."""
    function = LAWS[dict(block)["kind"]]
    return partial(function, **arguments(function, block))


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


def springs(bed: "Bed | None") -> tuple[float, float, float]:
    """Stiffness per area of a case's `bed` against pressing, lifting and sliding, N/mm3; none without a bed."""
    if bed is None:
        return 0.0, 0.0, 0.0
    assert bed.push_kPa_per_mm is not None and bed.pull_kPa_per_mm is not None  # of a bed that is complete
    assert bed.shear_kPa_per_mm is not None
    return 1e-3 * bed.push_kPa_per_mm, 1e-3 * bed.pull_kPa_per_mm, 1e-3 * bed.shear_kPa_per_mm


def forces_left(case: "Case") -> dict[float, float] | None:
    """Share of every force that is left, by seconds after closure; None if the case has no `relax`."""
    if case.relax is None:
        return None
    shares, times = zip(*((term.share, term.time_s) for term in case.relax.terms), strict=True)
    return dict(zip(case.relax.at_s, left_after(case.relax.at_s, shares=shares, times=times).tolist(), strict=True))
