"""Pictures of a closed wound: pyvista draws the skin, matplotlib the flat plan, words and scales, in mm of the view."""

from pathlib import Path
from typing import Any

import numpy as np
import pyvista as pv
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from fem.case.case import Case
from fem.closure.closure import Closure, nodal_stress
from fem.closure.measures.cones import TIP_ZONE, cone_height
from fem.closure.measures.skin import pressed, skin_stress_p99
from fem.plan.junctions import junctions
from fem.render import projection
from fem.render.canvas import COLOURS, DOT, INK, SHADED, colour_bar, framed, key, label_heights, round_number, scale_bar
from fem.render.plan_figure import plan
from fem.render.projection import DEPTH, Ranges, View, centre, projected


def save_pictures(
    closure: Closure, folder: Path, *, title: str, ranges: Ranges | None = None, case: Case | None = None
) -> list[Path]:
    """Paths of the four pictures written into the folder, which is made if need be.

    case    whose lesion, sutures and tension lines the plan shows
    ranges  of view and colours, shared by cases compared by eye; None: those that suit the closure
    """
    ranges = ranges or projection.ranges(closure)
    skin = projection.surface(closure.x, closure.mesh.elements, closure.mesh.surface, stress_kPa=nodal_stress(closure))
    figures = {
        "height-oblique.png": height_oblique(closure, skin, title, ranges),
        "height-above.png": height_above(closure, skin, title, ranges),
        "stress-above.png": stress_above(closure, skin, title, ranges),
        "plan.png": plan(closure, title, ranges.half_width, case=case),
    }
    folder.mkdir(parents=True, exist_ok=True)
    for name, figure in figures.items():
        figure.savefig(folder / name, dpi=100)
    return [folder / name for name in figures]


def height_oblique(closure: Closure, skin: pv.PolyData, title: str, ranges: Ranges) -> Figure:
    """Figure of the skin seen obliquely: the half-width to either side of the wound, DEPTH of that across."""
    half_width, middle = ranges.half_width, centre(closure)
    view, skin = projection.oblique(skin, middle, half_width, closure.mesh.surface)
    figure, axes = _heights(closure, skin, view, title, ranges, "obliquely, true to scale", **SHADED)
    length, corner = round_number(half_width / 3), view.centre - half_width * np.array([1.0, DEPTH, 0.0])
    for leg in np.eye(3):
        axes.plot(*projected(view, np.stack([corner, corner + length * leg], axis=1)), color=INK, lw=4)
    x, y = projected(view, corner[:, None])[:, 0]
    axes.text(x, y - 0.02 * half_width, f"each bar {length:g} mm", size=16, va="top")
    return figure


def height_above(closure: Closure, skin: pv.PolyData, title: str, ranges: Ranges) -> Figure:
    """Figure of the height of the closed skin from above, with the numbers of named points where they have met."""
    view = projection.View(centre(closure), ranges.half_width)
    figure, axes = _heights(closure, skin, view, title, ranges, "from above", lighting=False)
    box = dict(boxstyle="circle,pad=0.15", fc="white", ec=INK)
    for number, junction in enumerate(junctions(closure.plan) if closure.plan.points else [], start=1):
        if junction.seam >= 0:
            first = closure.mesh.seams[junction.seam][0]
            s = np.append(0.0, np.cumsum(np.hypot(*np.diff(closure.mesh.X[:, first]))))
            node = first[np.abs(s / s[-1] - junction.fraction).argmin()]
            x, y = projected(view, closure.x[:, [node]])[:, 0]
            axes.text(x, y, number, size=12, weight="bold", color=INK, ha="center", va="center", bbox=box)
    scale_bar(axes)
    return figure


def stress_above(closure: Closure, skin: pv.PolyData, title: str, ranges: Ranges) -> Figure:
    """Figure of the greatest principal Cauchy stress in the closed skin from above."""
    view, (met, *_) = projection.View(centre(closure), ranges.half_width), pressed(closure)
    high = skin_stress_p99(closure)
    heading = title if high is None else f"{title}: stress {high:.0f} kPa"
    number = f"the number is its 99th percentile near the wound, {TIP_ZONE:g} mm around corners left out"
    caption = f"Greatest principal stress in the closed skin, seen from above; {number}"
    looks: dict[str, Any] = dict(ls="", marker=".", ms=4, color=INK, label="skin on skin")
    further = [Line2D([], [], **looks)] if met.size else []
    figure, axes, _ = _skin(
        closure, skin, view, heading, caption, "stress_kPa", ranges.stresses, further, lighting=False
    )
    axes.plot(*projected(view, met), **looks)
    scale_bar(axes)
    return figure


def _heights(closure, skin, view: View, title, ranges, how, **looks):
    """Figure and axes of a view of the skin in the colours of its height, with contour lines."""
    interval, levels = projection.contour_levels(skin["height_mm"])
    line = Line2D([], [], color=INK, lw=1, label=f"contour line every {interval:g} mm")
    height = cone_height(closure)
    way = "high" if height > -0.05 else "deep"  # as it is printed
    heading = f"{title}: {'cones' if closure.mesh.tips.size else 'folds'} {abs(height):.1f} mm {way}"
    level = "the body" if closure.mesh.surface.curved else "its level"
    caption = f"Height of the closed skin above {level}, seen {how}"
    figure, axes, bar = _skin(
        closure, skin, view, heading, caption, "height_mm", ranges.heights, [line], contours=levels, **looks
    )
    label_heights(bar, ranges.heights)
    bar.ax.hlines(levels, 0, 1, color=INK, lw=1)
    return figure, axes


def _skin(closure, skin, view: View, heading, caption, scalars, limits, further=(), **looks):
    """Figure, axes and colour bar of a view of the skin in the colours of one of its numbers; `further` in the key."""
    mesh = closure.mesh
    seams = [closure.x[:, line] for line in (*(first for first, _ in mesh.seams), *mesh.open)]
    image = projection.rendered(view, skin, seams, closure.x[:, mesh.tips], scalars, limits, **looks)
    figure, axes = framed(view.half_width, heading, caption)
    axes.imshow(image, extent=(*axes.get_xlim(), *axes.get_ylim()))
    bar = colour_bar(figure, COLOURS[scalars], limits, skin[scalars], scalars.replace("_", "\n"))
    lines = {"seam": mesh.seams, "edge left open": mesh.open}
    handles = [Line2D([], [], color=INK, lw=3, label=words) for words, edges in lines.items() if edges]
    handles += [Line2D([], [], ls="", label="tip of the wound", **DOT)] if mesh.tips.size else []
    key(figure, [*handles, *further])
    return figure, axes, bar
