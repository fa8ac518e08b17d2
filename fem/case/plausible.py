"""What is possible in a case, but hardly meant: lengths in another unit, a blunt "ellipse", skin stretched too far."""

from typing import TYPE_CHECKING

import numpy as np

from fem.case import physical
from fem.geometry.surface import distortion
from fem.plan.plan import reach

if TYPE_CHECKING:
    from fem.case.case import Case

# Our choices: a wound longer than LARGEST or shorter than SMALLEST, mm, is one in cm or in another unit; skin is not
# flat over WIDEST, mm; STRAINED skin is past what is closed in one go, for it tears below 2.
LARGEST, SMALLEST, WIDEST, STRAINED = 250.0, 2.0, 1000.0, 1.6
WRAPPED, DISTORTED = 0.5, 0.05  # share of a limb's girth, which no arm lies on; of a length


def warnings(case: "Case", stretch: np.ndarray, decay: float) -> list[str]:
    """A line on everything of the kind.

    stretch  (2,) of uncut skin along and across the lines;  decay  mm, in which its bed takes up what moves it
    """
    assert case.patch, "reading a case fills it in"
    outline, across = physical.outline(case.wound.outline), 2 * case.patch.radius_mm
    lines = []
    if not SMALLEST <= outline.length <= LARGEST:
        lines.append(f"wound.outline is {_long(outline.length)} long; are its lengths in mm?")
    if across > WIDEST:
        lines.append(f"patch.radius_mm {case.patch.radius_mm:g} is skin {_long(across)} across; is it in mm?")
    lines += on_the_body(case)
    if case.wound.outline.kind == "ellipse":
        lines.append("wound.outline.kind ellipse has blunt ends; a pointed 'ellipse', as the trade cuts it, is a lens")
    if (expected := stretch_across(case, stretch, decay)) > STRAINED:
        lines.append(
            f"closing it is expected to stretch skin beside the seam {expected:.1f} times, more than {STRAINED:g}; "
            "a narrower wound, wider undermining or a flap takes less"
        )
    return lines


def on_the_body(case: "Case") -> list[str]:
    """A line if the patch goes far around a limb, or if the plan is much distorted where it is laid on the body."""
    assert case.patch
    lines, body = [], case.patch.surface
    turns = case.patch.radius_mm / (np.pi * abs(body.radius_mm)) if body and body.kind == "cylinder" else 0.0
    if turns > WRAPPED:
        lines.append(f"patch.radius_mm {case.patch.radius_mm:g} goes around {turns:.2g} of such a limb; is it meant?")
    off = distortion(physical.surface(case.patch), reach(physical.plan(case)))
    if off > DISTORTED:
        lines.append(f"on this body lengths of the plan are up to {100 * off:.2g} % off; angles and areas too")
    return lines


def stretch_across(case: "Case", stretch: np.ndarray, decay: float) -> float:
    """About how far skin beside the seam's middle is stretched in all, closed side to side; 1 of other closures.

        (1 + w / (2 (u + decay))) times its natural stretch that way

    of a long wound, w wide, in skin that is undermined by u on both sides and moves less and less beyond.
    """
    assert case.patch
    width, closure = physical.outline(case.wound.outline).width, case.closure
    if closure.technique not in ("side-to-side", "trimmed") or not width or closure.undermine_points_mm:
        return 1.0
    sides = closure.undermine_upper_mm, closure.undermine_lower_mm
    reach = sum(closure.undermine_mm if by is None else by for by in sides) / 2
    room = min(reach + decay, case.patch.radius_mm - width / 2)
    along, across = np.array([np.sin(turn := physical.lines(case.skin.tension)), np.cos(turn)]) * stretch
    return float((1 + width / (2 * room)) * np.hypot(along, across))


def _long(length):
    return f"{length:.3g} mm" if length < 10 else f"{length / 10:g} cm" if length < 1000 else f"{length / 1000:g} m"
