"""Charts of a study's answers: figures of matplotlib in the style of `chart`.

Places where a case has no closure are NaN; they are left as gaps and crossed where there is a place to put the cross.
"""

import cmcrameri.cm as colours
import numpy as np

from fem.comparison.chart import COLOURS, SIZE, figure, key, looks
from fem.results.result import label, shown, unit

SMALL = 100  # cells of a map in which the numbers are written; our choice
CROSS = {"marker": "x", "ls": "", "color": "#8f2f00", "ms": 7, "mew": 1.8}
LOST = " not closed"  # matplotlib leaves out labels that begin with an underscore, not with a space


def titled(measure):
    """What stands at an axis of a measure."""
    return f"{label(measure)}, {unit(measure)}" if unit(measure) else label(measure)


def _places(values):
    """Numbers along an axis, and the words that stand there if the values are no numbers."""
    if all(isinstance(value, float | int) and not isinstance(value, bool) for value in values):
        return np.array(values, float), None
    words = list(dict.fromkeys(map(str, values)))
    return np.array([words.index(str(value)) for value in values], float), words


def _worded(axis, words):
    if words is not None:
        axis.set_ticks(range(len(words)), words)


def curves(series, *, measure, over):
    """Figure of lines: of each its name, its values along the axis, and the measure there, NaN where none is known.

    over   what stands along the axis
    """
    drawn, axes = figure()
    every = [x for _, along, _ in series for x in along]
    places, names = _places(every)
    lost, ends = [], np.cumsum([len(along) for _, along, _ in series])
    for i, ((name, _, values), x) in enumerate(zip(series, np.split(places, ends[:-1]), strict=True)):
        y = np.asarray(values, float)
        once = len(set(x)) == len(x)
        order = np.argsort(x, kind="stable")
        axes.plot(x[order], y[order], ms=5, label=f" {name}", **looks(i) | ({} if once else {"ls": ""}))
        lost += list(x[np.isnan(y)])
    if lost:
        axes.plot(lost, np.zeros(len(lost)), transform=axes.get_xaxis_transform(), clip_on=False, label=LOST, **CROSS)
    axes.set(xlabel=over, ylabel=titled(measure))
    axes.set_ylim(bottom=min(0.0, axes.get_ylim()[0]))
    _worded(axes.xaxis, names)
    if len(series) > 1 or lost:
        key(axes)
    return drawn


def colour_map(x, y, values, *, measure, over):
    """Figure of a measure in colours at points (n,) of two inputs; cells if they form a grid, else dots.

    over   what stands along both axes
    """
    drawn, axes = figure((SIZE[0], SIZE[1] + 0.2))
    (x, across), (y, upwards), z = _places(x), _places(y), np.asarray(values, float)
    columns, rows = np.unique(x), np.unique(y)
    lost = np.isnan(z)
    look = {"cmap": colours.batlow, "vmin": np.nanmin(z, initial=np.inf), "vmax": np.nanmax(z, initial=-np.inf)}
    if lost.all():
        look = {"cmap": colours.batlow}
    if len(z) == columns.size * rows.size == len(set(zip(x, y, strict=True))):
        cells = np.full((rows.size, columns.size), np.nan)
        cells[np.searchsorted(rows, y), np.searchsorted(columns, x)] = z
        painted = axes.pcolormesh(_edges(columns), _edges(rows), np.ma.masked_invalid(cells), **look)
        axes.grid(False)
        if z.size <= SMALL:
            _written(axes, painted, x, y, z, measure)
    else:
        painted = axes.scatter(x[~lost], y[~lost], c=z[~lost], s=36, ec="white", lw=0.5, **look)
    axes.plot(x[lost], y[lost], **CROSS)
    axes.set(xlabel=over[0], ylabel=over[1])
    _worded(axes.xaxis, across)
    _worded(axes.yaxis, upwards)
    drawn.colorbar(painted, ax=axes, label=titled(measure))
    return drawn


def _edges(middles):
    """Edges of cells about their middles, half way between them."""
    if middles.size == 1:
        return middles[0] + np.array([-0.5, 0.5])
    half = np.diff(middles) / 2
    return np.concatenate([[middles[0] - half[0]], middles[:-1] + half, [middles[-1] + half[-1]]])


def _written(axes, painted, x, y, z, measure):
    """Write the numbers into their cells, dark on light and light on dark."""
    for place, value in zip(zip(x, y, strict=True), z, strict=True):
        if np.isfinite(value):
            red, green, blue, _ = painted.to_rgba(value)
            dark = 0.3 * red + 0.59 * green + 0.11 * blue < 0.5
            axes.annotate(shown(measure, value), place, ha="center", va="center", size=8, color="w" if dark else "k")


def shares(names, found):
    """Figure of Sobol indices, of each input the first-order one and the total one below it, with intervals."""
    drawn, axes = figure((SIZE[0], 1.3 + 0.42 * len(names)))
    places = np.arange(len(names), dtype=float)
    for k, (words, value, ends, marker) in enumerate(
        [
            ("alone (first order)", found.first, found.first_interval, "o"),
            ("with others (total)", found.total, found.total_interval, "s"),
        ]
    ):
        y = places + 0.16 * (2 * k - 1)
        axes.hlines(y, *ends, color=COLOURS[k], lw=1.8)
        axes.plot(value, y, marker, color=COLOURS[k], ms=6, mfc="w" if k == 0 else None, label=words)
    axes.axvline(0, color="#777777", lw=0.8)
    axes.set(xlabel="share of the variance", ylim=(len(names) - 0.5, -0.5))
    axes.set_yticks(places, names)
    drawn.legend(loc="outside upper left", ncols=2, frameon=False, fontsize=9)
    return drawn


def scatters(names, found, *, measure):
    """Figure of the spread of a measure, a design each: 5 to 95 % thin, the middle half thick, the median a mark."""
    drawn, axes = figure((SIZE[0], 1.1 + 0.45 * len(names)))
    for i, scatter in enumerate(found):
        if scatter is not None:
            far_low, low, median, high, far_high = scatter.quantiles
            look = looks(i)
            axes.hlines(i, far_low, far_high, color=look["color"], lw=1.5)
            axes.hlines(i, low, high, color=look["color"], lw=7, alpha=0.45)
            axes.plot(median, i, marker=look["marker"], color=look["color"], ms=8, mec="w")
    axes.set(xlabel=titled(measure), ylim=(len(names) - 0.5, -0.5))
    axes.set_yticks(range(len(names)), names)
    return drawn


def bracketing(values, measured, *, limit, measure, over, answer):
    """Figure of a measure at all values that a search evaluated, its limit, and the value found or None."""
    drawn, axes = figure()
    x, y = np.array(values), np.array(measured, float)
    axes.axhline(limit, color="#555555", ls="--", lw=1.2, label="limit")
    axes.plot(x, y, "o", color=COLOURS[0], ms=6, label="evaluated")
    if np.isnan(y).any():
        lost = x[np.isnan(y)]
        axes.plot(lost, np.zeros(lost.size), transform=axes.get_xaxis_transform(), clip_on=False, label=LOST, **CROSS)
    if answer is not None:
        axes.axvline(answer, color=COLOURS[1], lw=1.2, ls=":", label="least value found")
    axes.set(xlabel=over, ylabel=titled(measure))
    axes.set_ylim(bottom=min(0.0, axes.get_ylim()[0]))
    key(axes)
    return drawn


def trade(groups, best, *, x, y):
    """Figure of all designs that a search evaluated: name, two measures, whether within limits, places of the front.

    groups  (name, x, y, kept, front) each; best is (x, y) or None
    """
    drawn, axes = figure()
    for i, (name, across, upwards, kept, front) in enumerate(groups):
        look = looks(i) | {"ls": ""}
        across, upwards, kept = np.asarray(across, float), np.asarray(upwards, float), np.asarray(kept, bool)
        axes.plot(across[~kept], upwards[~kept], ms=5, mfc="none", alpha=0.6, **look)
        axes.plot(across[kept], upwards[kept], ms=6, label=f" {name}", **look)
        axes.plot(across[front], upwards[front], color=look["color"], lw=1.2)
    if best:
        axes.plot(*best, "*", ms=17, mfc="none", mec="k", mew=1.4, label="best within limits")
    axes.set(xlabel=titled(x), ylabel=titled(y))
    key(axes)
    return drawn
