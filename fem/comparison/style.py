"""The look of every chart: size, letters, and looks of cases, no two of the first twelve of which are alike in grey."""

import io
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any, cast

import numpy as np
from matplotlib import rc_params_from_file
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from fem.results.quantities import LEAST_LENGTH

STYLE = rc_params_from_file(Path(__file__).with_name("charts.mplstyle"), use_default_template=False)
LOOK = "color", "linestyle", "linewidth", "marker", "markersize", "markerfacecolor", "markeredgecolor"
SAMPLE = (0.55, 0.2)  # inches, of a line in a key beside figures
SIZE = (4.8, 3.5)  # inches: 346 points fill a narrow screen with letters that can still be read
COLOURS = "#0072b2", "#b34700", "#00735c", "#8c2f7a", "#6b4c1e", "#3d3d3d"  # 4.5 to 1 or more on white
MARKERS = "o", "s", "^", "D", "v", "P", "X", "*", "<", ">", "p", "h"
JOINTS = re.compile(r".{1,26}(?:(?<=[-_. ])|$)|.{26}")  # lines of a long name, broken at its joints if it has some
ROOM = 0.06  # of an axis, for half of a marker
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


def from_zero(axes: Axes) -> None:
    """Have the upright axis reach to 0, with room for markers beyond the ends of what is drawn; 0 to 1 if that is 0."""
    low, high = axes.dataLim.intervaly
    if np.isfinite([low, high]).all():
        low, high = (end if abs(end) >= LEAST_LENGTH else 0.0 for end in (low, high))
        low, high = (min(0.0, low), max(0.0, high)) if low or high else (0.0, 1.0)
        room = ROOM * (high - low)
        axes.set_ylim(low - room * (low < 0), high + room * (high > 0))


def folded(name: str) -> str:
    """A name in lines that fit into a chart."""
    return "\n".join(JOINTS.findall(name))


def key(axes: Axes) -> None:
    """Draw which case is which, above the axes; the figure grows by as much."""
    handles, names = axes.get_legend_handles_labels()
    columns = 2 if max(map(len, names), default=0) < 18 else 1
    lines = list(map(folded, names))
    plot = cast(Figure, axes.figure)
    plot.set_figheight(plot.get_figheight() + 0.2 * np.ceil(sum(line.count("\n") + 1 for line in lines) / columns))
    axes.legend(handles, lines, loc="lower left", bbox_to_anchor=(0, 1), ncols=columns, frameon=False, handlelength=3.2)


def shared_key(plots: Sequence[Figure]) -> list[tuple[str, str]]:
    """A sample as SVG and its words, for each line in the key of figures side by side; none if their keys differ."""
    keys = [plot.axes[0].get_legend_handles_labels() for plot in plots]
    if len(plots) < 2 or any(words != keys[0][1] for _, words in keys):
        return []
    return [(_sample(line), words.strip()) for line, words in zip(*keys[0], strict=True)]


def _sample(line):
    plot = Figure(figsize=SAMPLE)
    axes = plot.add_axes((0, 0, 1, 1), xlim=(-0.1, 1.1), ylim=(-1, 1))
    axes.set_axis_off()
    look = {name: getattr(line, f"get_{name}")() for name in LOOK}
    axes.add_line(Line2D([0, 0.5, 1], [0, 0, 0], markevery=[1], **look))
    return svg(plot)


def svg(plot: Figure, *, keyed: bool = True) -> str:
    """A figure as SVG, without its key and the room for it if not `keyed`."""
    stream, high = io.StringIO(), plot.get_figheight()
    keys = [] if keyed else [legend for axes in plot.axes if (legend := axes.get_legend())]
    if keys:  # for which `key` has made room
        plot.set_figheight(SIZE[1])
    keys += [] if keyed else plot.legends
    for each in keys:
        each.set_visible(False)
    plot.savefig(stream, format="svg", metadata={"Date": None})
    plot.set_figheight(high)
    for each in keys:
        each.set_visible(True)
    return stream.getvalue()
