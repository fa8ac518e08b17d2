"""The look of every chart: size, letters, and looks of cases, no two of the first twelve of which are alike in grey."""

import io
from pathlib import Path
from typing import Any, cast

import numpy as np
from matplotlib import rc_params_from_file
from matplotlib.axes import Axes
from matplotlib.figure import Figure

STYLE = rc_params_from_file(Path(__file__).with_name("charts.mplstyle"), use_default_template=False)
SIZE = (4.8, 3.5)  # inches: 346 points fill a narrow screen with letters that can still be read
COLOURS = "#0072b2", "#b34700", "#00735c", "#8c2f7a", "#6b4c1e", "#3d3d3d"  # 4.5 to 1 or more on white
MARKERS = "o", "s", "^", "D", "v", "P", "X", "*", "<", ">", "p", "h"
DASHES = "-", "--", "-.", ":", (0, (6, 1.5, 1, 1.5, 1, 1.5)), (0, (2, 1))


def looks(i: int) -> dict[str, Any]:
    """Colour, marker and dashes of the case in place i."""
    return {
        "color": COLOURS[i % len(COLOURS)],
        "marker": MARKERS[i % len(MARKERS)],
        "ls": DASHES[(i + i // len(DASHES)) % len(DASHES)],
    }


def figure(size: tuple[float, float] = SIZE) -> tuple[Figure, Axes]:
    """Figure and axes."""
    made = Figure(figsize=size, layout="constrained")
    return made, made.add_subplot()


def key(axes: Axes) -> None:
    """Draw which case is which, above the axes; the figure grows by as much."""
    handles, names = axes.get_legend_handles_labels()
    longest = max(map(len, names), default=0)
    columns = 2 if longest < 19 else 1
    plot = cast(Figure, axes.figure)
    plot.set_figheight(plot.get_figheight() + 0.2 * np.ceil(len(names) / columns))
    size = min(10.5, 300 / (longest + 1))  # a name may have 80 letters
    axes.legend(
        handles=handles, loc="lower left", bbox_to_anchor=(0, 1), ncols=columns, frameon=False, fontsize=size,
        handlelength=3.2,
    )  # fmt: skip


def svg(plot: Figure) -> str:
    """A figure as SVG."""
    stream = io.StringIO()
    plot.savefig(stream, format="svg", metadata={"Date": None})
    return stream.getvalue()
