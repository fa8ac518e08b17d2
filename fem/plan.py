"""Closure techniques: from an outline to a sewing plan.

Adding a technique: one function and one entry in TECHNIQUES; its keyword arguments are the keys of
a case file, and the docstring's line on each is their description.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np
import shapely
from annotated_types import Ge, Le

from fem.curve import Coordinate, Curve, Outline
from fem.ring import simple_polygon

Distance = Annotated[float, Ge(0), Le(1000)]  # mm


@dataclass(frozen=True)
class Plan:
    """What is cut, sewn and freed; every technique is one of these."""

    removed: tuple[tuple[Curve, ...], ...]  # closed chains, each curve starts where the one before ended
    seams: tuple[tuple[Curve, Curve], ...]  # sewn point to point at equal fractions, both in the same sense
    loosened: shapely.Polygon | None = None  # undermined zone; None: nothing is undermined


def side_to_side(outline: Outline) -> Plan:
    """The upper edge sewn to the lower one at equal fractions of arc length, from tip to tip."""
    return Plan(
        removed=((outline.lower, _reversed(outline.upper)),),
        seams=((outline.upper, outline.lower),),
    )


TECHNIQUES: dict[str, Callable[..., Plan]] = {"side-to-side": side_to_side}


def undermined(
    plan: Plan,
    *,
    undermine_mm: Distance = 0.0,
    undermine_upper_mm: Distance | None = None,
    undermine_lower_mm: Distance | None = None,
    undermine_points_mm: tuple[tuple[Coordinate, Coordinate], ...] | None = None,
) -> Plan:
    """The plan with the skin loosened that is undermined: around the wound, or inside a polygon.

    Beyond the seam's ends, the line through them parts the upper from the lower side.

    undermine_mm         skin freed from its bed within this distance of the wound, mm
    undermine_upper_mm   the same on the side of the seam's upper edge, mm; undermine_mm if left out
    undermine_lower_mm   the same on the side of the seam's lower edge, mm; undermine_mm if left out
    undermine_points_mm  corners [x, y] of the skin that is freed instead, in order, mm

    Raises ValueError for a polygon beside distances, or one that `polygon` outlines would refuse.
    """
    upper = undermine_mm if undermine_upper_mm is None else undermine_upper_mm
    lower = undermine_mm if undermine_lower_mm is None else undermine_lower_mm
    wound = removed_skin(plan)
    if undermine_points_mm is not None:
        if upper or lower:
            raise ValueError("undermine_points_mm stands alone; leave out the distances to undermine")
        zone = simple_polygon(undermine_points_mm)
    elif upper == lower:
        zone = wound.buffer(upper, quad_segs=32)
    else:
        side = _upper_side(plan.seams[0], beyond=2 * (wound.length + max(upper, lower)))
        zone = shapely.union_all(
            [
                wound,
                wound.buffer(upper, quad_segs=32).intersection(side),
                wound.buffer(lower, quad_segs=32).difference(side),
            ]
        )
    return replace(plan, loosened=zone if upper or lower or undermine_points_mm else None)


def removed_skin(plan, *, n=200):
    """The removed skin as a shapely polygon; n chords or more along each of its curves."""
    fractions = np.linspace(0, 1, n + 1)
    return shapely.union_all([
        shapely.Polygon(np.hstack([
            curve.point(np.union1d(fractions, curve.corners))[:, :-1] for curve in chain
        ]).T) for chain in plan.removed
    ])  # fmt: skip


def _upper_side(seam, *, beyond):
    """The polygon above a seam's lower edge and the line through its ends, reaching `beyond` mm further."""
    _, lower = seam
    edge = lower.point(np.union1d(np.linspace(0, 1, 201), lower.corners))
    along = (edge[:, -1] - edge[:, 0]) / np.linalg.norm(edge[:, -1] - edge[:, 0])
    left, right = edge[:, 0] - beyond * along, edge[:, -1] + beyond * along
    up = beyond * np.array([-along[1], along[0]])
    return shapely.make_valid(shapely.Polygon([left, *edge.T, right, right + up, left + up]))


def _reversed(curve):
    """The same curve from its end to its start."""
    corners = tuple(1 - s for s in reversed(curve.corners))
    return Curve(lambda fraction: curve.point(1 - fraction), curve.length, corners)
