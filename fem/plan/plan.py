"""The sewing plan that every closure is, the plainest one, what is undermined; ValueError for keys that do not fit."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Annotated, Literal

import numpy as np
import shapely
from annotated_types import Ge, Le

from fem.geometry.curve import Curve, Outline, Place, Size, enclosed, part, ring, samples
from fem.geometry.polygon import simple_polygon

Distance = Annotated[float, Ge(0), Le(1000)]  # mm
Spacing = Annotated[float, Ge(1), Le(100)]  # of sutures or stations, mm
Bite = Annotated[float, Ge(0.5), Le(20)]  # of edge that a suture holds, mm
Surplus = Literal["shared", "left", "right"]
EASED = 1 / 3  # of the shorter edge, over which a surplus is taken up if the case does not say; our choice
APART = 1e-6  # mm: ends of edges that are farther apart are two
EQUAL = 1e-9  # share by which edges of equal length may differ


@dataclass(frozen=True)
class Around:
    """A thread once around the open edges, which follow each other in a ring: a purse-string."""

    stations: int  # at equal distances along the edge
    bite: float  # mm of edge that it holds at each
    drawn_to: float  # mm: its length from station to station when it is tied


@dataclass(frozen=True, eq=False)
class Plan:
    """What is cut, sewn and undermined; every technique is one of these. A plan equals itself only."""

    removed: tuple[tuple[Curve, ...], ...]  # closed chains of curves, counter-clockwise
    seams: tuple[tuple[Curve, Curve], ...]  # sewn at equal fractions; skin left of the first, right of the second
    cuts: tuple[Curve, ...] = ()  # incisions of no width, also where they run along a seam
    open: tuple[Curve, ...] = ()  # edges that are not sewn, skin on the left of their way
    thread: Around | None = None  # around the open edges; None: they are left as they are
    undermined: shapely.Polygon | None = None  # zone; None: nothing is
    flaps: tuple[shapely.Polygon, ...] = ()  # skin that is moved; it belongs to what is undermined
    held: shapely.Polygon | None = None  # skin that stays on its bed however far is undermined
    below: Curve | None = None  # the wound's lower edge, from left to right; None: that of the first seam
    points: dict[str, Place] = field(default_factory=dict)  # named places, mm


def side_to_side(outline: Outline, *, surplus: Surplus = "shared", eased_mm: Size = None) -> Plan:
    """The upper edge sewn to the lower one from tip to tip.

    surplus   of a longer edge: shared evenly, or pushed to the left or the right end
    eased_mm  of the shorter edge, takes up a surplus that is pushed to one end, mm; a third of it if left out
    """
    if not outline.width:
        raise ValueError("a slit takes no skin, so there is nothing to close side to side; a z-plasty starts from one")
    if surplus == "shared" and eased_mm is not None:
        raise ValueError("eased_mm is for a surplus pushed to the left or the right")
    edges = outline.upper, outline.lower
    lengths = np.array([edge.length for edge in edges])
    a, b = (beyond / lengths for beyond in outline.beyond)
    matched = _matched(lengths, 2 * a, 1 - 2 * b, surplus, eased_mm)
    seams: list = [tuple(map(part, edges, *pair)) for pair in pairwise(matched.tolist())]
    rims = []
    for k, edge in enumerate(edges):  # the upper, the lower; beyond a tip they fold back onto themselves
        tips = [t for t in ((0.0, a[k], 2 * a[k]), (1 - 2 * b[k], 1 - b[k], 1.0)) if t[0] < t[2]]
        seams += [(part(edge, before, tip), part(edge, after, tip))[:: 1 - 2 * k] for before, tip, after in tips]
        knots = sorted({0.0, *matched[:, k].tolist(), *(float(tip) for _, tip, _ in tips), 1.0})
        rims.append([part(edge, start, end) for start, end in pairwise(knots)])
    above, below = rims
    return Plan(((*below, *(part(piece, 1, 0) for piece in reversed(above))),), tuple(seams), below=outline.lower)


def _matched(lengths, starts, ends, surplus, eased):
    """Fractions (k, 2) of both edges that meet, from starts to ends (2,); equal lengths between but for the last."""
    shorter, longer = sorted(((ends - starts) * lengths).tolist())
    eased = EASED * shorter if eased is None else eased
    if eased > shorter:
        raise ValueError(f"eased_mm {eased:g} is more than the shorter edge, {shorter:.4g} mm")
    shares = (shorter - eased) / lengths
    if surplus == "shared" or eased == shorter or longer <= (1 + EQUAL) * shorter:
        return np.array([starts, ends])
    return np.array([starts, starts + shares if surplus == "right" else ends - shares, ends])


def undermined(
    plan: Plan, *, undermine_mm: Distance = 0.0, undermine_upper_mm: Distance | None = None,
    undermine_lower_mm: Distance | None = None, undermine_points_mm: tuple[Place, ...] | None = None,
) -> Plan:  # fmt: skip
    """The plan with the skin that is undermined: its flaps, and around the wound or inside a polygon.

    undermine_mm         skin undermined within this distance of the wound, mm
    undermine_upper_mm   the same on the side of the seam's upper edge, mm; undermine_mm if left out
    undermine_lower_mm   the same on the side of the seam's lower edge, mm; undermine_mm if left out
    undermine_points_mm  corners [x, y] of the skin that is undermined instead, in order, mm
    """
    upper, lower = (undermine_mm if by is None else by for by in (undermine_upper_mm, undermine_lower_mm))
    wound = opened(plan)
    above, below = (wound.buffer(by, quad_segs=32) for by in (upper, lower))
    if undermine_points_mm is not None:
        if upper or lower:
            raise ValueError("undermine_points_mm stands alone; leave out the distances to undermine")
        zone = simple_polygon(undermine_points_mm)
    elif upper == lower:
        zone = above
    else:
        side = _upper_side(plan.below or plan.seams[0][1], beyond=2 * (wound.length + max(upper, lower)))
        zone = shapely.union_all([wound, above.intersection(side), below.difference(side)])
    whole = shapely.union_all([zone if upper or lower or undermine_points_mm else None, plan.undermined])
    whole = whole if plan.held is None else whole.difference(plan.held)
    return replace(plan, undermined=None if whole.is_empty else whole)


def opened(plan: Plan) -> shapely.Geometry:
    """The removed skin and all cuts as one shapely geometry."""
    lines = [shapely.LineString(curve.point(samples(curve, 200)).T) for curve in plan.cuts]
    return shapely.union_all([removed_skin(plan), *lines])


def reach(plan: Plan) -> float:
    """Greatest distance of the wound or its undermined zone from the origin, mm."""
    return float(np.hypot(*shapely.get_coordinates(shapely.union_all([opened(plan), plan.undermined])).T).max())


def removed_area(plan: Plan) -> float:
    """Area of the removed skin, mm2."""
    return sum(map(enclosed, plan.removed), 0.0)


def stitches(plan: Plan, *, spacing: float, order: str | Sequence[float]) -> list[tuple[int, float]]:
    """Number of the seam and fraction of its length of each interrupted suture, in order of tying.

    They are evenly spaced by about `spacing` mm, also at an end where both edges do not: it holds the corner of a flap.

    order   "halves": seam after seam, by `halves`; "along": from end to end; or the numbers of all of them from 1, seam
            after seam from left to right (ValueError if they are not)
    """
    places = []
    for number, (first, second) in enumerate(plan.seams):
        n = max(2, round(max(first.length, second.length) / spacing))
        ends = np.linalg.norm(first.ends - second.ends, axis=0) > APART
        at = np.arange(0 if ends[0] else 1, n + ends[1]) / n
        places += [(number, float(at[k])) for k in (halves(len(at)) if order == "halves" else range(len(at)))]
    if isinstance(order, str):
        return places
    if sorted(order) != list(range(1, len(places) + 1)):
        raise ValueError(f"wanted each of the numbers 1 to {len(places)} once, the sutures from left to right")
    return [places[int(k) - 1] for k in order]


def held(plan: Plan, places: Iterable[tuple[int, float]], *, bite: float) -> dict[int, list[float]]:
    """Fractions, by number of a seam, where the stretches that sutures hold begin and end; `places` as from `stitches`.

    Each holds `bite` mm, of the mean of both edges; less than a quarter of a bite apart (our choice) two count as one.
    """
    ends: dict[int, list[float]] = {}
    for number, at in sorted(places):
        half = bite / sum(edge.length for edge in plan.seams[number])
        of = ends.setdefault(number, [])
        if of and at - half < of[-1] + half / 2:
            of[-1] = at + half
        else:
            of += [at - half, at + half]
    return {number: [at for at in of if 0 < at < 1] for number, of in ends.items()}


def halves(n: int) -> list[int]:
    """Numbers 0 to n - 1 in the order of halving: the middle first, then the middle of each half, and so on."""
    order, parts = [], [(0, n)]
    for start, end in parts:  # it grows on the way
        if start < end:
            middle = (start + end) // 2
            order.append(middle)
            parts += [(start, middle), (middle + 1, end)]
    return order


def removed_skin(plan: Plan, *, n: int = 200) -> shapely.Geometry:
    """The removed skin as a shapely polygon; n chords or more along each of its curves."""
    return shapely.union_all([ring(chain, n) for chain in plan.removed])


def _upper_side(lower, *, beyond):
    """The polygon above a lower edge and the line through its ends, reaching `beyond` mm further."""
    edge = lower.point(samples(lower, 200))
    along = beyond * ((edge[:, -1] - edge[:, 0]) / np.linalg.norm(edge[:, -1] - edge[:, 0]))
    left, right, up = edge[:, 0] - along, edge[:, -1] + along, np.array([-along[1], along[0]])
    return shapely.make_valid(shapely.Polygon([left, *edge.T, right, right + up, left + up]))
