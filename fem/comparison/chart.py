"""Charts and pictures that compare closures: figures of matplotlib, images of pyvista, all in one style."""

from collections.abc import Sequence
from itertools import product
from typing import Any

import numpy as np
import pyvista as pv
import shapely
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import Normalize
from matplotlib.figure import Figure
from matplotlib.patheffects import withStroke

from fem.case import physical
from fem.case.case import Case
from fem.closure.measures.cones import TIP_ZONE
from fem.comparison.spread import NO_SPREAD, Spread
from fem.comparison.style import SIZE, figure, folded, from_zero, key, looks
from fem.plan.plan import opened
from fem.render import canvas, plan_figure, projection
from fem.render.projection import Ranges
from fem.results.quantities import labelled
from fem.results.result import Result, solved

VISIBLE, LEAST_REACH = 0.02, 5.0  # share of the greatest height; mm to either side of a cone
SIDES = {"left": 9, "right": -9, "center": 0}  # of a marker: where its name is, points
SMALLER = 0.5  # lines and letters of a plan than in a picture
SCALES = {"height": (canvas.HEIGHTS, "height, mm"), "stress": (canvas.STRESSES, "greatest principal stress, kPa")}
ENDED: dict[str, dict[str, Any]] = {  # ends of the line through a case's marker, hollow where skin is slack
    "slack": {"marker": "o", "ms": 5.5, "mfc": "white", "mew": 1.2},
    "tense": {"marker": "o", "ms": 5.5, "mec": "white", "mew": 1.0},
}
MARK: dict[str, Any] = {"ms": 10, "mec": "white"}  # of a case in its own skin
GREY = "#555555"  # of marks in a key that are no one case's
HALO = withStroke(linewidth=3, foreground="white")  # a name can be read where it has to lie on a line
UNSEEN = 0.05  # of a number that is printed as 0; an axis then starts there
TENSION = "line_tension_mid_N_per_m"


def trade_off(results: Sequence[Result], x: str, y: str, *, spread: Spread = NO_SPREAD) -> Figure:
    """Figure of one number against another, a labelled marker each case; else as `draw_trade_off`."""
    plot, axes = figure()
    points, ends = draw_trade_off(axes, results, x, y, spread=spread)
    if ends:
        for skin, look in ENDED.items():
            axes.plot([], [], ls="", color=GREY, label=f" {skin} skin", **look)
        key(axes)
    place_labels(plot, axes, points, beside=ends)
    return plot


def draw_trade_off(
    axes: Axes, results: Sequence[Result], x: str, y: str, *, spread: Spread
) -> tuple[list[tuple], list[list[float]]]:
    """Draw one number against another, a marker each case, and through it a line from slack to tense skin.

    Where errors were estimated, bars. Returns the markers' (number of the case, name, x, y), and the places of the ends
    of lines.
    """
    measured = [(i, r.name, r.numbers) for i, r in enumerate(results) if not r.reason]
    points = [(i, name, at[x], at[y]) for i, name, at in measured if None not in (at[x], at[y])]
    ends = [end for i, name, *at in points for end in _draw_spread(axes, i, at, spread.get(name, {}), (x, y))]
    for i, _, *at in points:
        _draw_errors(axes, i, at, [results[i].accuracy.errors.get(name) for name in (x, y)])
        axes.plot(*at, clip_on=False, zorder=3, **MARK | looks(i) | {"ls": ""})
    axes.set(xlabel=labelled(x), ylabel=labelled(y))
    axes.margins(0.16, 0.14)
    for way, least in (("x", axes.dataLim.x0), ("y", axes.dataLim.y0)):
        if points and least >= -UNSEEN:
            axes.set(**{f"{way}lim": (0, max(1.0, getattr(axes, f"get_{way}lim")()[1]))})  # 1: where all are 0
    return points, ends


def _draw_errors(axes, i, at, errors):
    """Draw bars of the errors of a case's point; where a number is not below 0 they end there."""
    bars = [error.total if error else 0.0 for error in errors]
    below = [bar if value < 0 else min(bar, value) for bar, value in zip(bars, at, strict=True)]
    if any(bars):
        (x, y), (left, down), (right, up) = at, below, bars
        for ends in ([x - left, x + right], [y, y]), ([x, x], [y - down, y + up]):
            axes.plot(*ends, color=looks(i)["color"], lw=1.6, zorder=2)


def _draw_spread(axes, i, at, skins, names):
    """Draw the line from slack to tense skin through a case's point; where its ends are."""
    known = {skin: [r.numbers.get(name) for name in names] for skin, r in skins.items() if not r.reason}
    ends = {skin: known[skin] for skin in ENDED if None not in known.get(skin, [None])}
    order = [ends.get("slack"), at, ends.get("tense")]
    if ends:
        axes.plot(*zip(*filter(None, order), strict=True), lw=1.0, color=looks(i)["color"], zorder=1.5)
    for skin, end in ends.items():
        axes.plot(*end, ls="", color=looks(i)["color"], zorder=4, clip_on=False, **ENDED[skin])  # seen on the marker
    return list(ends.values())


def place_labels(
    plot: Figure, axes: Axes, points: Sequence[tuple[int, str, float, float]], *,
    beside: Sequence[Sequence[float]] = (),
) -> None:  # fmt: skip
    """Write the name of each point (i, name, x, y) beside it, where it covers no other name or marker if it can.

    beside   smaller markers (x, y) that are kept free too
    """
    plot.draw_without_rendering()
    at: np.ndarray | list = axes.transData.transform([p[2:] for p in points]) if points else []
    taken = [shapely.box(x - 9, y - 9, x + 9, y + 9) for x, y in at]
    taken += [shapely.box(x - 5, y - 5, x + 5, y + 5) for x, y in map(axes.transData.transform, beside)]
    lines = [axes.transData.transform(np.array(line.get_xydata())) for line in axes.lines]
    taken += [shapely.LineString(line).buffer(2) for line in lines if len(line) > 1]
    inside = shapely.box(*axes.bbox.extents)
    for i, name, x, y in points:
        look = {"color": looks(i)["color"], "size": 11, "va": "center", "path_effects": [HALO]}
        text = axes.annotate(folded(name), (x, y), (0, 0), textcoords="offset points", **look)
        text.set_in_layout(False)  # a name that finds no room takes none from the axes
        tries: list[tuple] = []
        for (ha, dx), dy in product(SIDES.items(), (0, 13, -13, 26, -26, 39, -39, 52, -52)):
            text.set(ha=ha, position=(dx, dy))
            box = shapely.box(*text.get_window_extent().extents)
            bad = sum(box.intersection(other).area for other in taken) + box.difference(inside).area
            tries.append((bad, len(tries), {"ha": ha, "position": (dx, dy)}, box))
        _, _, place, box = min(tries, key=lambda tried: tried[:2])
        text.set(**place)
        taken.append(box)


def heights_along(results: Sequence[Result]) -> Figure:
    """Figure of the height along the scars of all cases, from the middle of each."""
    seams = [r.profiles.get("seams", ()) for r in results]
    lines = [[(np.array(s["arc_mm"]) - s["arc_mm"][-1] / 2, s["height_mm"]) for s in scars] for scars in seams]
    plot, axes = profiles(results, lines, "along the scar, from its middle, mm", "height, mm")
    _no_flatter(axes)
    return plot


def heights_across(results: Sequence[Result]) -> Figure:
    """Figure of the height across every cone of all cases, as far as any of them is visibly off the level."""
    lines = [[(c["across_mm"], c["height_mm"]) for c in r.profiles.get("cones", ())] for r in results]
    across, height = np.abs(np.hstack([np.zeros((2, 0)), *(line for case in lines for line in case)]))
    off = np.abs(height) > VISIBLE * max(np.abs(height).max(initial=0.0), projection.FLATTEST)
    reach = across[off].max(initial=LEAST_REACH)
    second = " (thin: second cone)" if any(len(case) > 1 for case in lines) else ""
    plot, axes = profiles(results, lines, f"across the cone, mm{second}", "height, mm")
    axes.set_xlim(-reach, reach)
    _no_flatter(axes)
    return plot


def _no_flatter(axes):
    """Have an axis of heights span FLATTEST or more: less would show round-off as waves."""
    low, high = axes.get_ylim()
    if high - low < projection.FLATTEST:
        axes.set_ylim(min(low, -projection.FLATTEST / 2), max(high, projection.FLATTEST / 2))


def tensions_along(results: Sequence[Result]) -> Figure:
    """Figure of the line tension along the scars of all cases, without the tip zones."""
    lines = [[_inner_tension(seam) for seam in r.profiles.get("seams", ())] for r in results]
    plot, axes = profiles(results, lines, "along the scar, from its middle, mm", "line tension, N/m")
    from_zero(axes)
    return plot


def _inner_tension(seam):
    at, tension, end = np.array(seam["tension_at_mm"]), np.array(seam["line_tension_N_per_m"]), seam["arc_mm"][-1]
    inner = (at > TIP_ZONE) & (at < end - TIP_ZONE)
    return at[inner] - end / 2, tension[inner]


def profiles(
    results: Sequence[Result], lines: Sequence[Sequence[tuple]], xlabel: str, ylabel: str
) -> tuple[Figure, Axes]:
    """Figure and axes with the lines (x, y) of each case in its looks."""
    plot, axes = figure()
    for i, (result, curves) in enumerate(zip(results, lines, strict=True)):
        for k, (x, y) in enumerate(curves):
            name = f" {result.name}" if k == 0 else None  # matplotlib leaves out what begins with an underscore
            thin = {"lw": 0.8, "mfc": "white"} if k else {}  # of cones and seams, all after the first
            axes.plot(x, y, ms=5, markevery=(0.03 + 0.02 * (i % 5), 0.18), label=name, **looks(i) | thin)
    axes.set(xlabel=xlabel, ylabel=ylabel)
    key(axes)
    return plot, axes


def common_ranges(results: Sequence[Result]) -> Ranges:
    """The ranges that suit all closures; colours of height are the same in every set."""
    done = solved(results)
    return Ranges(
        max(result.stages.half_width for result in done),
        heights=canvas.HEIGHT_ENDS,
        stresses=(0.0, max(projection.CALMEST, *(result.measures["skin_stress_max_kPa"] for result in done))),
    )


def skin(result: Result) -> pv.PolyData:
    """The closed skin, as `projection.surface` has it."""
    stages = result.stages
    return projection.surface(stages.x[-1], stages.elements, result.body, stress_kPa=stages.stress_kPa[-1])


def marks(result: Result) -> tuple[list[np.ndarray], np.ndarray]:
    """Lines (3, k) of the closed seams and points (3, m) of the tips, mm."""
    x = result.stages.x[-1]
    return [x[:, first] for first, _ in result.stages.seams], x[:, result.stages.tips]


def height_image(result: Result, ranges: Ranges, *, finer: int = 1) -> np.ndarray:
    """Image (h, w, 3) of the closed skin seen obliquely in the colours of its height; so many times finer."""
    seen, mesh = projection.oblique(skin(result), result.stages.centre, ranges.half_width, result.body)
    return projection.rendered(seen, mesh, *marks(result), "height_mm", ranges.heights, finer=finer, **canvas.SHADED)


def stress_image(result: Result, ranges: Ranges) -> np.ndarray:
    """Image (h, w, 3) of the closed skin seen from above in the colours of its stress."""
    seen = projection.View(result.stages.centre, ranges.half_width)
    return projection.rendered(seen, skin(result), *marks(result), "stress_kPa", ranges.stresses, lighting=False)


def height_images(results: Sequence[Result], ranges: Ranges, *, finer: int = 1) -> list[np.ndarray]:
    """Images as `height_image`, without the rows at the top and bottom that are white in all of them."""
    images = [height_image(result, ranges, finer=finer) for result in results]
    coloured = np.any([(image < 255).any(axis=(1, 2)) for image in images], axis=0)
    rows = np.flatnonzero(coloured)
    return [image[rows[0] : rows[-1] + 1] for image in images]


def plan(result: Result, half_width: float) -> Figure:
    """Figure of the flat plan of a closure."""
    return plan_of(result.case, half_width, middle=result.stages.centre[:2])


def plan_of(case: Case, half_width: float, *, middle: np.ndarray | None = None) -> Figure:
    """Figure of the flat plan of a case: what is cut out, what is undermined, how it is sewn.

    middle   (2,) mm, of the view; None: that of what is cut
    """
    drawing = physical.plan(case)
    if middle is None:
        middle = np.reshape(opened(drawing).bounds, (2, 2)).mean(axis=0)
    plot = Figure(figsize=(3.5, 3.5 * canvas.SHAPE))
    axes = plot.add_axes((0, 0, 1, 1))
    canvas.bare(axes, half_width * np.array([1, canvas.SHAPE]))
    plan_figure.draw_plan(axes, drawing, middle[:, None], scale=SMALLER, case=case)
    return plot


def colour_scale(kind: str, ends: tuple[float, float]) -> Figure:
    """Figure of a level scale of colours between two values; `kind` is one of SCALES."""
    plot = Figure(figsize=(3.4, 0.62), layout="constrained")
    axes = plot.add_subplot()
    _add_scale(plot, kind, ends, cax=axes, orientation="horizontal")
    axes.tick_params(labelsize=9)  # points: more has no room
    axes.xaxis.label.set_fontsize(9)
    return plot


def framed(image: np.ndarray, title: str, kind: str, ends: tuple[float, float]) -> Figure:
    """Figure of an image with its title and its scale of colours, one of SCALES."""
    high, wide = image.shape[:2]
    plot, axes = figure((SIZE[0], 0.45 + 0.78 * SIZE[0] * high / wide))
    axes.imshow(image)
    axes.set_axis_off()
    axes.set_title(title, loc="left", size=10)
    _add_scale(plot, kind, ends, ax=axes)
    return plot


def _add_scale(plot, kind, ends, **place):
    colours, label = SCALES[kind]
    bar = plot.colorbar(ScalarMappable(Normalize(*ends), colours), label=label, **place)
    if kind == "height":
        canvas.label_heights(bar, ends)
