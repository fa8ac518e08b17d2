"""Charts of the book: errors against tolerances, orders, what was observed against its uncertainty."""

from collections.abc import Sequence
from textwrap import fill

import numpy as np
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from fem.comparison.style import COLOURS, STYLE, figure, svg
from fem.verification.check import Outcome, Series

LINE = 0.235  # inches, of a check or fact
TICKS = {1e-16: "1e−16", 1e-12: "1e−12", 1e-8: "1e−8", 1e-4: "0.01 %", 1.0: "100 %"}
LEAST = 1e-17  # errors below are drawn there
BAD, GOOD, LIMIT = COLOURS[1], COLOURS[0], COLOURS[5]


def _rows(names: Sequence[str], line: float = LINE) -> tuple[Figure, Axes]:
    """Figure and axes with a line for each name, the first on top."""
    plot, axes = figure((4.8, 1.1 + line * len(names)))
    axes.set_yticks(range(len(names)), names, fontsize=9)
    axes.set_ylim(len(names) - 0.4, -0.6)
    axes.tick_params(axis="y", length=0)
    return plot, axes


def overview(outcomes: Sequence[Outcome]) -> str:
    """SVG of errors on a log axis, a line for each check: all of them, and of the nearest to its tolerance that too."""
    with rc_context(STYLE):
        shown = [of for of in outcomes if of.nearest is not None]
        plot, axes = _rows([of.check.name for of in shown])
        for y, of in enumerate(shown):
            near = of.nearest
            assert near is not None and near.tolerance is not None
            errors = [max(row.error, LEAST) for row in of.rows if row.tolerance]
            axes.plot(errors, np.full(len(errors), y), ".", color="#9a9a9a", ms=4)
            axes.plot([max(near.error, LEAST), near.tolerance], [y, y], color="#bbbbbb", lw=1)
            axes.plot(near.tolerance, y, "|", color=LIMIT, ms=11, mew=2)
            axes.plot(max(near.error, LEAST), y, "o" if near.good else "X", color=GOOD if near.good else BAD, ms=6)
        axes.set_xscale("log")
        axes.set_xticks(list(TICKS), list(TICKS.values()))
        axes.minorticks_off()
        axes.set_xlabel("error, as a share")
        return svg(plot)


def orders(series: Series) -> str:
    """SVG of a number's errors on ever finer triangles."""
    with rc_context(STYLE):
        plot, axes = figure((4.8, 3.0))
        sizes, errors = np.array(series.sizes), np.maximum(series.errors, LEAST)
        axes.loglog(sizes, errors, "o-", color=GOOD if series.good else BAD)
        axes.loglog(sizes, errors[-1] * (sizes / sizes[-1]) ** 2, ":", color=LIMIT, lw=1)
        axes.annotate("order 2", (sizes[0], errors[-1] * (sizes[0] / sizes[-1]) ** 2), (-4, 0),
                      textcoords="offset points", ha="right", va="center", fontsize=9)  # fmt: skip
        axes.set_xticks(sizes, [f"{size:.3g}" for size in sizes])
        axes.set_yticks(errors, [f"{100 * error:.2g} %" for error in errors])
        axes.minorticks_off()
        axes.set_xlabel("size of triangles")
        axes.set_ylabel("error")
        return svg(plot)


def misses(facts: Sequence[str], shares: Sequence[Sequence[float]]) -> str:
    """SVG of E over its uncertainty of each fact, a point a site; the band is what nothing can be said of."""
    with rc_context(STYLE):
        plot, axes = _rows([fill(about, 32) for about in facts], 1.7 * LINE)
        axes.axvspan(-1, 1, color="#e6eef4", lw=0)
        for y, of in enumerate(shares):
            for value in of:
                axes.plot(value, y, "o", color=GOOD if abs(value) <= 1 else BAD, ms=5, alpha=0.7)
        axes.set_xlabel("E over uncertainty")
        return svg(plot)
