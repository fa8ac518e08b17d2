"""Plan → its lines, and one drawing of them: what is removed, undermined, sewn and left open, on uncut skin."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from fem.case import physical
from fem.case.case import Case
from fem.closure.closure import Closure
from fem.geometry.curve import Curve, chained
from fem.geometry.outlines import boundary
from fem.mechanics.edges import pulled_aside
from fem.plan.junctions import junctions
from fem.plan.plan import APART, Plan, removed_area
from fem.render.canvas import DOT, EDGES, FLAP, INK, SEAMS, SKIN, TIP, UNDERMINED, WIDE, framed, key, scale_bar
from fem.render.projection import centre

PAIRS = 11  # of sewn points along the longest seam, ends aside
ASIDE, LABEL = 3.2, 10.6  # points: edges of a plan and their numbers beside the line that is cut
NEAR = 1e-2  # mm: an edge this close to the wound's lower edge is a part of it
LETTERS = 14  # points
LESION, LINES = "#9d6b53", "#8a7a6a"  # colours of a lesion and of the mark of the skin tension lines
ARROW = 0.12  # of the width, the length of that mark

LOOKS: dict[str, dict[str, Any]] = {  # what has a face colour is an area
    "undermined": dict(fc=UNDERMINED, ec=INK, lw=1, ls="--", label="undermined"),
    "island": dict(fc=SKIN, ec=INK, lw=1, ls="--"),
    "flap": dict(fc=FLAP, ec="none", lw=1, label="flap"),
    "held": dict(fc=SKIN, ec=INK, lw=1, ls="--", label="stays on its bed"),
    "removed": dict(fc="white", ec=INK, lw=1, label="skin cut out"),
    "lesion": dict(fc=LESION, ec=INK, lw=1, label="lesion"),
    "cut": dict(color=INK, lw=1, label="cut"),
    "upper": dict(color=EDGES[0], lw=4, label="upper edge"),
    "lower": dict(color=EDGES[1], lw=4, label="lower edge"),
    "open": dict(color=INK, lw=3, ls=":", label="edge left open"),
    "sewn": dict(color=INK, lw=1, marker="o", ms=5, label="points sewn together"),
    "before": dict(color=INK, lw=2, ls=":", label="wound before it was trimmed"),
    "suture": dict(color=INK, lw=2, marker="o", ms=6, label="suture, numbered as tied"),
    "taper": dict(color=TIP, lw=2, marker="o", ms=5, label="suture that tapers the cone"),
    "anchor": dict(color=TIP, lw=0, marker="X", ms=9, label="suture to the bed"),
    "tip": dict(ls="", lw=1, label="tip of the wound", **DOT),
    "thread": dict(color=TIP, lw=2, ls="--", marker="o", ms=7, label="thread and its stations"),
}
SIZES = "lw", "ms", "mew"  # what a smaller drawing has smaller


@dataclass(frozen=True)
class PlanLine:
    """A line of a plan, on uncut skin."""

    kind: str  # key of LOOKS
    points: np.ndarray  # (2, n) mm; of an area its border, closed; of "sewn" two that meet; of "tip" places alone
    seam: int = -1  # whose edge it is, or points it joins; -1: of none


def plan_lines(plan: Plan, *, n: int = 400, aside: float = 0.0) -> list[PlanLine]:
    """All lines of a plan in the order in which they are drawn, those below first.

    n  points along a curve, besides its corners;  aside  mm by which edges are pulled into their skin
    """
    return [*_areas(plan, n), *_edges(plan, n, aside), *_sewn(plan), *_thread(plan)]


def _areas(plan: Plan, n: int) -> list[PlanLine]:
    """Borders of what is undermined, moved, held and removed."""
    parts = shapely.get_parts(plan.undermined)
    zones: dict[str, Any] = {
        "undermined": [part.exterior for part in parts],
        "island": [hole for part in parts for hole in part.interiors],
        "flap": [flap.exterior for flap in plan.flaps],
        "held": [part.exterior for part in shapely.get_parts(plan.held)],
        "removed": [shapely.LinearRing(np.hstack([points_along(c, n)[:, :-1] for c in r]).T) for r in plan.removed],
    }
    return [PlanLine(kind, shapely.get_coordinates(ring).T) for kind, rings in zones.items() for ring in rings]


def _edges(plan: Plan, n: int, aside: float) -> list[PlanLine]:
    """Incisions, both edges of each seam two by two, and edges left open."""
    below = plan.below or (plan.seams[0][1] if plan.seams else None)
    lower = shapely.LineString() if below is None else shapely.LineString(points_along(below, n).T)
    edges: list[tuple[str, Curve, int]] = []
    for seam, curves in enumerate(plan.seams):
        for curve in curves:
            is_lower = lower.distance(shapely.Point(curve.point(np.array([0.5])))) < NEAR
            edges.append(("lower" if is_lower else "upper", curve, seam))
    edges += [("open", curve, -1) for curve in plan.open]
    placed = [points_along(curve, n) for _, curve, _ in edges]
    placed = pulled_aside(plan, placed, by=aside) if aside else placed
    lines = [PlanLine(kind, points, seam) for points, (kind, _, seam) in zip(placed, edges, strict=True)]
    return [*(PlanLine("cut", points_along(curve, n)) for curve in plan.cuts), *lines]


def _sewn(plan: Plan) -> list[PlanLine]:
    """Some of the points that are sewn together, evenly spaced along each seam, ends included; and the tips."""
    lines, longest = [], max((first.length for first, _ in plan.seams), default=0.0)
    for seam, (first, second) in enumerate(plan.seams):
        at = np.linspace(0, 1, max(1, round((PAIRS + 1) * first.length / longest) - 1) + 2)
        pairs = np.stack([first.point(at), second.point(at)], axis=1)  # (2, edge, point)
        lines += [PlanLine("sewn", pair, seam) for pair in np.moveaxis(pairs, 2, 0)]
    ends = [line.points for line in lines if np.hypot(*np.diff(line.points)) < APART]
    if ends:
        lines.append(PlanLine("tip", np.unique(np.hstack(ends).round(6), axis=1)))
    return lines


def _thread(plan: Plan) -> list[PlanLine]:
    """The thread around the open edges from station to station, and back to the first."""
    if plan.thread is None:
        return []
    at = (np.arange(plan.thread.stations + 1) % plan.thread.stations + 0.5) / plan.thread.stations
    return [PlanLine("thread", chained(*plan.open).point(at))]


def case_lines(case: Case) -> list[PlanLine]:
    """What a case adds to its plan: the lesion, the wound before it was trimmed, and all sutures with a place."""
    lines, lesion, closing = [], case.wound.lesion, case.closure
    if lesion is not None:
        disc = shapely.Point(lesion.at_mm).buffer(lesion.diameter_mm / 2, quad_segs=32)
        lines.append(PlanLine("lesion", shapely.get_coordinates(disc.exterior).T))
    if closing.technique == "trimmed" and {closing.left, closing.right} != {"none"}:
        before = boundary(physical.outline(case.wound.outline))
        lines.append(PlanLine("before", shapely.get_coordinates(before).T))
    plan = physical.plan(case)
    for seam, at in physical.tying(plan, closing.sutures) if closing.sutures.kind == "interrupted" else ():
        ends = [edge.point(np.array([at])) for edge in plan.seams[seam]]
        lines.append(PlanLine("suture", np.hstack(ends), seam))
    return lines + _beyond_tips(plan, closing.taper, closing.anchor)


def _beyond_tips(plan, taper, anchor):
    """Sutures that taper cones, a line across the axis each, and those that hold cones down, a place each."""
    lines = []
    for tip in (met for met in junctions(plan) if met.closed and met.places.shape[1] == 1 and met.deficit > 0):
        away = np.array([np.cos(tip.ways), np.sin(tip.ways)])
        if taper is not None:
            aside = taper.offset_mm * np.hstack([away[::-1] * [[-1], [1]], away[::-1] * [[1], [-1]]])
            for s in np.arange(taper.spacing_mm, taper.length_mm, taper.spacing_mm):
                lines.append(PlanLine("taper", tip.places + s * away + aside))
        if anchor is not None:
            lines.append(PlanLine("anchor", tip.places + anchor.beyond_mm * away))
    return lines


def shown_lines(plan: Plan, case: Case | None, *, aside: float = 0.0) -> list[PlanLine]:
    """The lines of a plan and its case that a drawing shows: single sutures instead of some sewn points.

    Where flaps are moved numbers tell what meets, around a thread nothing is sewn.
    """
    added = case_lines(case) if case is not None else []
    left_out = {"sewn", "tip"} if plan.points else {"open"} if plan.thread is not None else set()
    left_out |= {"sewn"} if any(line.kind == "suture" for line in added) else set()
    return [line for line in [*plan_lines(plan, aside=aside), *added] if line.kind not in left_out]


def has_lines(case: Case) -> bool:
    """Whether a case's skin is tenser along than across, so that it has skin tension lines."""
    return case.skin.tension.along_N_per_m != case.skin.tension.across_N_per_m


def legend(cases: Iterable[Case]) -> dict[str, str]:
    """What lines and areas in the plans of some cases mean, by kind, besides the skin that is cut out."""
    kinds, every = set(), list(cases)
    for case in every:
        plan = physical.plan(case)
        flapped = {"upper", "lower"} if plan.points else set()
        kinds |= {line.kind for line in shown_lines(plan, case)} - flapped
    words = {kind: look["label"] for kind, look in LOOKS.items() if kind in kinds and "label" in look}
    words |= {"lines": "skin tension lines"} if any(map(has_lines, every)) else {}
    return {kind: label for kind, label in words.items() if kind != "removed"}


def points_along(curve: Curve, n: int) -> np.ndarray:
    """Points (2, n or more) along a curve, its corners among them."""
    return curve.point(np.union1d(np.linspace(0, 1, n), curve.corners))


def draw_plan(axes: Axes, plan: Plan, middle: np.ndarray, *, scale: float = 1.0, case: Case | None = None) -> None:
    """Draw a plan into axes in mm, whose extent is set, with what its case adds, and a mark along its tension lines.

    Where it has named points, both edges of each seam have its colour and stand apart, and points that meet share a
    number; else sewn points are joined, those of single sutures if the case has them.

    middle  (2, 1) mm, of the axes;  scale  of lines and letters
    """
    per_point = scale * np.ptp(axes.get_xlim()) / axes.bbox.width * axes.figure.dpi / 72
    axes.set_facecolor(SKIN)
    lines = shown_lines(plan, case, aside=ASIDE * per_point if plan.points else 0.0)
    for line in lines:
        look = LOOKS[line.kind]
        if plan.points and line.kind in ("upper", "lower"):
            look = dict(color=SEAMS[line.seam % len(SEAMS)], lw=3)
        if plan.points and line.kind == "suture":
            look |= {"ls": "", "label": "ends of a suture"}
        draw = axes.fill if "fc" in look else axes.plot
        draw(*(line.points - middle), **{name: scale * v if name in SIZES else v for name, v in look.items()})
    stitched = [] if plan.points else [line.points for line in lines if line.kind == "suture"]
    for number, place in [*numbers(plan, away=LABEL * per_point), *_beside(stitched, away=LABEL * per_point)]:
        x, y = place - middle[:, 0]
        axes.text(x, y, str(number), size=scale * LETTERS, weight="bold", color=INK, ha="center", va="center")
    if case is not None and has_lines(case):
        _draw_lines(axes, physical.lines(case.skin.tension), scale)


def _beside(pairs, *, away):
    """Number of each suture between two places (2, 2), and where it stands: `away` mm beyond the first."""
    for number, (first, second) in enumerate((pair.T for pair in pairs), start=1):
        out = first - second
        yield number, first + away * out / max(np.hypot(*out), APART)


def _draw_lines(axes, turn, scale):
    """Draw a double arrow along the skin tension lines into the upper left corner."""
    width = np.ptp(axes.get_xlim())
    half = ARROW / 2 * width * np.array([np.cos(turn), np.sin(turn)])
    at = np.array([axes.get_xlim()[0] + 0.09 * width, axes.get_ylim()[1] - 0.09 * width])
    look = dict(arrowstyle="<|-|>", color=LINES, lw=3 * scale, mutation_scale=18 * scale)
    axes.annotate("", at + half, at - half, arrowprops=look | {"shrinkA": 0, "shrinkB": 0})
    axes.plot([], [], ls="", marker=r"$\leftrightarrow$", ms=20 * scale, color=LINES, label="skin tension lines")


def numbers(plan: Plan, *, away: float) -> list[tuple[int, np.ndarray]]:
    """Numbers and their places (2,), about `away` mm into the skin: of points that meet; twice that: of stations."""
    if plan.thread is not None:
        ring = next(line.points for line in _thread(plan))[:, :-1]
        out = ring - ring.mean(axis=1, keepdims=True)
        return list(enumerate((ring + 2 * away * out / np.hypot(*out)).T, start=1))
    placed = []
    for number, met in enumerate(junctions(plan) if plan.points else (), start=1):
        reach = away / np.maximum(0.4, np.sin(np.minimum(met.angles, np.pi) / 2))
        placed += [(number, x) for x in (met.places + reach * np.array([np.cos(met.ways), np.sin(met.ways)])).T]
    return placed


def plan(closure: Closure, title: str, half_width: float, *, case: Case | None = None) -> Figure:
    """Figure of the flat plan: what is cut out, what is undermined, how it is sewn; and what its case adds."""
    drawing, outline, middle = closure.plan, closure.outline, centre(closure)[:2, None]
    angles = " and ".join(dict.fromkeys(f"{angle:.0f}°" for angle in np.degrees(outline.tip_angles)))
    heading = f"{outline.length:.3g} × {outline.width:.3g} mm cut out"
    caption = f"angle of the wound at its tips {angles}"
    if drawing.points:
        heading = f"{removed_area(drawing):.0f} mm² cut out" if drawing.removed else "no skin cut out"
        caption = "edges of one colour are sewn to each other, points of one number meet"
    elif drawing.thread is not None:
        stations, length = drawing.thread.stations, drawing.thread.drawn_to
        caption = f"the thread through {stations} stations is drawn to a length of {length:.3g} mm"
    caption = f"Flat plan, before the cut; {caption}"
    figure, axes = framed(half_width, f"{title}: {heading}", caption, width=WIDE)
    draw_plan(axes, drawing, middle, case=case)
    handles, labels = axes.get_legend_handles_labels()
    key(figure, list(dict(zip(labels, handles, strict=True)).values()))
    scale_bar(axes)
    return figure
