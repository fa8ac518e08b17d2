"""Pictures of a closed wound.

pyvista draws the skin in parallel projection; matplotlib sets the flat plan and all words and scales, in mm
of the view, which reaches `half_width` to either side. Cases that are given the same half-width and ranges of
colours can be compared by eye.
"""

from pathlib import Path

import numpy as np
import pyvista as pv
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import MultipleLocator

from fem.closure.closure import Closure
from fem.closure.measures.cones import TIP_ZONE, cone_height
from fem.closure.measures.skin import skin_stress_max
from fem.plan.junctions import junctions
from fem.render.canvas import (
    HEIGHTS,
    INK,
    SHADED,
    STRESSES,
    colour_bar,
    framed,
    key,
    round_number,
    scale_bar,
)
from fem.render.plan_figure import plan
from fem.render.projection import (
    DEPTH,
    centre,
    contour_levels,
    height_range,
    marks,
    meanings,
    oblique,
    projected,
    rendered,
    stress_range,
    surface,
    view,
    wanted_half_width,
)


def save_pictures(
    closure: Closure,
    folder: str | Path,
    *,
    title: str,
    heights: tuple[float, float] | None = None,
    stresses: tuple[float, float] | None = None,
    half_width: float | None = None,
) -> list[Path]:
    """Paths of the four pictures written into the folder, which is made if need be.

    title       first words in each picture
    heights     range of the colours of height, mm
    stresses    range of the colours of stress, kPa
    half_width  of the view, mm

    By default ranges and view follow the closure.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    heights = height_range(closure) if heights is None else heights
    stresses = stress_range(closure) if stresses is None else stresses
    half_width = wanted_half_width(closure) if half_width is None else half_width
    skin = surface(closure)
    figures = {
        "height-oblique.png": height_oblique(closure, skin, title, heights, half_width),
        "height-above.png": height_above(closure, skin, title, heights, half_width),
        "stress-above.png": stress_above(closure, skin, title, stresses, half_width),
        "plan.png": plan(closure, title, half_width),
    }
    for name, figure in figures.items():
        figure.savefig(folder / name, dpi=100)
    return [folder / name for name in figures]


def height_oblique(
    closure: Closure, skin: pv.PolyData, title: str, heights: tuple[float, float], half_width: float
) -> Figure:
    """Figure of the skin seen obliquely: `half_width` to either side of the wound, DEPTH of that across."""
    seen, skin = oblique(skin, centre(closure), half_width)
    figure, axes = _heights(closure, skin, seen, title, heights, "obliquely, true to scale", **SHADED)
    length, corner = round_number(half_width / 3), centre(closure) - half_width * np.array([1.0, DEPTH, 0.0])
    for leg in np.eye(3):
        axes.plot(*projected(seen, np.stack([corner, corner + length * leg], axis=1)), color=INK, lw=4)
    x, y = projected(seen, corner[:, None])[:, 0]
    axes.text(x, y - 0.02 * half_width, f"each bar {length:g} mm", size=16, va="top")
    return figure


def height_above(
    closure: Closure, skin: pv.PolyData, title: str, heights: tuple[float, float], half_width: float
) -> Figure:
    """Figure of the height of the closed skin from above."""
    seen = view(centre(closure), half_width)
    figure, axes = _heights(closure, skin, seen, title, heights, "from above", lighting=False)
    _number(axes, closure, seen)
    scale_bar(axes)
    return figure


def _number(axes, closure, seen):
    """Write the numbers of a plan with named points where those points have met."""
    for number, junction in enumerate(junctions(closure.plan) if closure.plan.points else [], start=1):
        if junction.seam < 0:
            continue
        first = closure.mesh.seams[junction.seam][0]
        s = np.append(0.0, np.cumsum(np.hypot(*np.diff(closure.mesh.X[:, first]))))
        node = first[np.abs(s / s[-1] - junction.fraction).argmin()]
        x, y = projected(seen, closure.x[:, [node]])[:, 0]
        box = dict(boxstyle="circle,pad=0.15", fc="white", ec=INK)
        axes.text(x, y, number, size=12, weight="bold", color=INK, ha="center", va="center", bbox=box)


def _heights(closure, skin, seen, title, heights, how, **looks):
    """Figure and axes of a view of the skin in the colours of its height, with contour lines."""
    interval, levels = contour_levels(heights, skin["height_mm"])
    contours = skin.contour(levels, scalars="height_mm") if levels.size else pv.PolyData()
    image = rendered(seen, skin, *marks(closure), contours, scalars="height_mm", cmap=HEIGHTS, clim=heights, **looks)
    figure, axes = framed(
        seen.half_width,
        f"{title}: {'cones' if closure.mesh.tips.size else 'folds'} {cone_height(closure):.1f} mm high",
        f"Height of the closed skin above its level, seen {how}",
    )
    axes.imshow(image, extent=(*axes.get_xlim(), *axes.get_ylim()))
    bar = colour_bar(figure, HEIGHTS, heights, skin["height_mm"], "height\nmm")
    bar.set_ticks(MultipleLocator(2 * interval))
    bar.ax.hlines(levels, 0, 1, color=INK, lw=1)
    key(figure, [*meanings(closure), Line2D([], [], color=INK, lw=1, label=f"contour line every {interval:g} mm")])
    return figure, axes


def stress_above(
    closure: Closure, skin: pv.PolyData, title: str, stresses: tuple[float, float], half_width: float
) -> Figure:
    """Figure of the greatest principal Cauchy stress in the closed skin from above."""
    image = rendered(
        view(centre(closure), half_width), skin, *marks(closure), pv.PolyData(),
        scalars="stress_kPa", cmap=STRESSES, clim=stresses, lighting=False,
    )  # fmt: skip
    figure, axes = framed(
        half_width,
        f"{title}: stress up to {skin_stress_max(closure):.0f} kPa",
        "Greatest principal stress in the closed skin, seen from above; "
        f"the number leaves out {TIP_ZONE:g} mm around the ends of seams",
    )
    axes.imshow(image, extent=(*axes.get_xlim(), *axes.get_ylim()))
    colour_bar(figure, STRESSES, stresses, skin["stress_kPa"], "stress\nkPa")
    key(figure, meanings(closure))
    scale_bar(axes)
    return figure
