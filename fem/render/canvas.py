"""What all pictures share: sizes, colours, marks, titles, keys and scales."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from cmcrameri import cm
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colorbar import Colorbar
from matplotlib.colors import Colormap, LinearSegmentedColormap, Normalize
from matplotlib.figure import Figure

Range = tuple[float, float]

# Our choices, all of looks.
SIZE = np.array([1200, 900])  # pixels of a picture
VIEW = np.array([980, 700])  # pixels of the skin in it
CORNER = np.array([30, 92])  # pixels, where the skin's lower left corner is
SHAPE = VIEW[1] / VIEW[0]
WIDE = int(SIZE[0] - 2 * CORNER[0])  # pixels of the plan, which needs no colour bar
BAR = np.array([900, 35, 240])  # pixels, where a scale bar starts and how long it may be
HEIGHT_ENDS = -4.0, 8.0  # mm, of the colours of height in all pictures; beyond them skin has the colour of the end
HEIGHT_TICKS = {-4: "≤ −4", -2: "−2", 0: "0", 2: "2", 4: "4", 6: "6", 8: "≥ 8"}
HEIGHTS = LinearSegmentedColormap.from_list(  # level skin is pale; black lines can be seen on the darkest, 3 to 1
    "heights", ["#6a63b8", "#a9a6d6", "#f3e3d3", "#efb259", "#e38634", "#cf5a30", "#b83a3a"], N=512
)
STRESSES = cm.batlow
COLOURS = {"height_mm": HEIGHTS, "stress_kPa": STRESSES}
SHADED: dict[str, Any] = dict(smooth_shading=True, ambient=0.47, diffuse=0.72)
INK, SKIN, UNDERMINED, TIP, EDGES = "#181818", "#f3e3d3", "#dcc0a4", "#0072b2", ("#009e73", "#cc5500")
FLAP = "#fbf3ea"
SEAMS = ("#cc5500", "#0072b2", "#009e73", "#aa3377", "#e69f00", "#56b4e9", "#5c4033", "#117733", "#882255")
DOT: dict[str, Any] = dict(marker="o", ms=12, color=TIP, mec="white", mew=2)


def round_number(limit: float) -> float:
    """The greatest of 1, 2, 5 times a power of ten that is not above `limit`."""
    ten = 10.0 ** np.floor(np.log10(limit))
    return float(max(step for step in (ten, 2 * ten, 5 * ten) if step <= limit))


def framed(half_width: float, title: str, caption: str, *, width: int = int(VIEW[0])) -> tuple[Figure, Axes]:
    """Figure with a title and a caption below it, and its axes in mm of the view, `width` pixels wide."""
    figure = Figure(figsize=tuple(SIZE / 100), dpi=100)
    left = CORNER[0] / SIZE[0]
    for y, words, looks in ((0.955, title, {"size": 22, "weight": "bold"}), (0.913, caption, {"size": 14})):
        line = figure.text(left, y, words, va="center", color=INK, **looks)
        while line.get_window_extent().width > WIDE:
            line.set_fontsize(float(line.get_fontsize()) - 1)
    axes = figure.add_axes((*CORNER / SIZE, width / SIZE[0], VIEW[1] / SIZE[1]))
    bare(axes, half_width * np.array([width / VIEW[0], SHAPE]))
    return figure, axes


def bare(axes: Axes, reach: np.ndarray) -> None:
    """Let axes reach (2,) mm to either side of their middle, without ticks and frame."""
    axes.set(xlim=(-reach[0], reach[0]), ylim=(-reach[1], reach[1]), xticks=[], yticks=[])
    axes.spines[:].set_visible(False)


def key(figure: Figure, handles: Sequence[Artist]) -> None:
    """Draw what lines and marks mean, in the lower left, beside the scale bar."""
    figure.legend(
        handles=handles, loc="center left", bbox_to_anchor=(CORNER[0] / SIZE[0], 0.05),
        ncols=4 if len(handles) < 5 else 3, columnspacing=1.5, fontsize=14, frameon=False, borderaxespad=0, borderpad=0,
    )  # fmt: skip


def scale_bar(axes: Axes) -> float:
    """Draw a bar of a round number of mm, below the axes to the right; return that number."""
    per_pixel = np.ptp(axes.get_xlim()) / axes.bbox.width
    length = round_number(BAR[2] * per_pixel)
    x, y = (BAR[:2] - CORNER) * per_pixel + np.array([axes.get_xlim()[0], axes.get_ylim()[0]])
    axes.plot([x, x + length], [y, y], color=INK, lw=5, solid_capstyle="butt", clip_on=False)
    axes.text(x + length / 2, y + 8 * per_pixel, f"{length:g} mm", size=16, ha="center")
    return length


def label_heights(bar: Colorbar, ends: Range) -> None:
    """Label a bar of the colours of height between `ends`, mm; where they end, that skin beyond has them too."""
    at = [height for height in HEIGHT_TICKS if ends[0] <= height <= ends[1]]
    bar.set_ticks(at, labels=[HEIGHT_TICKS[height] for height in at])


def colour_bar(figure: Figure, colours: Colormap, ends: Range, values: np.ndarray, label: str) -> Colorbar:
    """Draw the scale of the colours between `ends`, pointed where values lie visibly beyond."""
    unseen = 0.01 * (ends[1] - ends[0])
    below, above = values.min() < ends[0] - unseen, values.max() > ends[1] + unseen
    extend = ("both" if below else "max") if above else ("min" if below else "neither")
    axes = figure.add_axes((1045 / SIZE[0], 0.12, 0.025, 0.66))
    axes.tick_params(labelsize=14)
    figure.text(1045 / SIZE[0], 0.82, label, size=16, va="bottom")
    return figure.colorbar(ScalarMappable(Normalize(*ends), colours), cax=axes, extend=extend)
