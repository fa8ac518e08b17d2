"""Closure techniques: from an outline to a sewing plan.

Adding a technique: one function and one entry in TECHNIQUES; its keyword arguments are the keys of
a case file, and the docstring's line on each is their description.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated

import shapely
from annotated_types import Ge, Le

from fem.outline import Curve, Outline, boundary

Distance = Annotated[float, Ge(0), Le(1000)]  # mm


@dataclass(frozen=True)
class Plan:
    """What is cut, sewn and freed; every technique is one of these."""

    removed: tuple[tuple[Curve, ...], ...]  # closed chains, each curve starts where the one before ended
    seams: tuple[tuple[Curve, Curve], ...]  # sewn point to point at equal fractions, both in the same sense
    loosened: shapely.Polygon | None  # undermined zone, contains the wound; None: nothing is undermined


def side_to_side(outline: Outline, *, undermine_mm: Distance = 0.0) -> Plan:
    """The upper edge sewn to the lower one at equal fractions of arc length, from tip to tip.

    undermine_mm  skin freed from its bed within this distance of the wound, mm
    """
    return Plan(
        removed=((outline.lower, _reversed(outline.upper)),),
        seams=((outline.upper, outline.lower),),
        loosened=boundary(outline, n=200).buffer(undermine_mm, quad_segs=32) if undermine_mm else None,
    )


TECHNIQUES: dict[str, Callable[..., Plan]] = {"side-to-side": side_to_side}


def _reversed(curve):
    """The same curve from its end to its start."""
    corners = tuple(1 - s for s in reversed(curve.corners))
    return Curve(lambda fraction: curve.point(1 - fraction), curve.length, corners)
