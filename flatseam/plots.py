"""Figures of one closure: a function of a result and its ranges, and an entry in PLOTS."""

import io
from collections.abc import Callable
from functools import partial

from matplotlib import rc_context
from matplotlib.figure import Figure

from fem.case.document import hint
from fem.comparison import chart, style
from fem.results.result import Result

DPI = 150  # in a notebook; our choice
PLOTS: dict[str, Callable[..., Figure]] = {
    "height": lambda held, ranges: chart.framed(
        chart.height_images([held], ranges)[0], f"{held.name}: height", "height", ranges.heights
    ),
    "stress": lambda held, ranges: chart.framed(
        chart.stress_image(held, ranges), f"{held.name}: stress", "stress", ranges.stresses
    ),
    "plan": lambda held, ranges: chart.plan(held, ranges.half_width),
    "along": lambda held, ranges: chart.heights_along([held]),
    "tension": lambda held, ranges: chart.tensions_along([held]),
    "across": lambda held, ranges: chart.heights_across([held]),
}


def plot(held: Result, what: str) -> Figure:
    """A figure of PLOTS. Raises ValueError for another word."""
    if what not in PLOTS:
        raise ValueError(f"no plot {what!r}{hint(what, PLOTS)}")
    with rc_context(style.STYLE):
        figure = PLOTS[what](held, chart.common_ranges([held]))
    vars(figure)["_repr_png_"] = partial(_png, figure)  # notebooks show figures of pyplot only, which this is none of
    return figure


def _png(figure: Figure) -> bytes:
    stream = io.BytesIO()
    figure.savefig(stream, format="png", dpi=DPI)
    return stream.getvalue()
