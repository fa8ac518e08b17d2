"""Parts that charts and tables of answers share."""

import re
import textwrap
from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

import numpy as np
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.axis import Axis, XAxis
from matplotlib.figure import Figure

from fem.comparison import style
from fem.comparison.wording import capital, sentence, told_apart
from fem.study.answers.finding import Chart, Table
from fem.study.answers.naming import cell, heading, name, value

MOST_CELLS = 200  # of a table; our choice
CROSS: dict[str, Any] = {"marker": "x", "ls": "", "color": "#8f2f00", "ms": 7, "mew": 1.8}
UNIT = re.compile(r"(?<=\d) (?=\S)")  # the space before it
LETTERS, BESIDE_SCALE = 38, 33  # that fit side by side along an axis, also beside a scale of colours
LOST = " not closed"  # matplotlib leaves out labels that begin with an underscore, not with a space


def drawing(draw: Callable[..., Figure], caption: str, /, *args: Any, **options: Any) -> Chart:
    """The chart that a function draws, in the style of all charts."""
    with rc_context(style.STYLE):
        return Chart(draw(*args, **options), caption)


def places(given: Sequence) -> tuple[np.ndarray, list[str] | None]:
    """Numbers along an axis, and the words that stand there if what is given is no numbers."""
    if all(isinstance(value, float | int) and not isinstance(value, bool) for value in given):
        return np.array(given, float), None
    texts = list(dict.fromkeys(map(str, given)))
    return np.array([texts.index(str(value)) for value in given], float), texts


def label_ticks(axis: Axis, texts: list[str] | None, *, letters: int = LETTERS) -> None:
    """Put the words of `places` at an axis, if there are any; along the axis in lines that leave each other room."""
    if texts is not None:
        wide = max(8, letters // len(texts)) if isinstance(axis, XAxis) else letters
        fold = partial(textwrap.fill, width=wide, break_long_words=False, break_on_hyphens=False)
        lines = [fold(UNIT.sub("\u00a0", text)) for text in texts]
        axis.set_ticks(range(len(texts)), lines)


def cross_out(axes: Axes, x: Sequence[float] | np.ndarray) -> None:
    """Crosses at the foot of a chart where a case has no closure."""
    if len(x):
        axes.plot(x, np.zeros(len(x)), transform=axes.get_xaxis_transform(), clip_on=False, label=LOST, **CROSS)


def caption(measure: str, over: str, rows: Sequence[dict]) -> str:
    """What a chart of a measure shows, and that some of it is missing if some rows have no result."""
    return sentence("study/shared", "caption", name(measure), over, any(row["status"] != "done" for row in rows))


def tables(measure: str, down: str, triples: list[tuple]) -> list[Table]:
    """The table of a measure from (value of the input down, words across, number); none if it would not be read.

    Nor is there one if two numbers would share a cell.
    """
    cells = {(x, across): number for x, across, number in triples if isinstance(x, float | int | str)}
    rows, columns = dict.fromkeys(x for x, _ in cells), dict.fromkeys(across for _, across in cells)
    if len(cells) < len(triples) or len(rows) * len(columns) > MOST_CELLS:
        return []
    if not any(isinstance(x, str) for x in rows):
        rows = dict.fromkeys(sorted(rows))
    texts = told_apart(list(rows), partial(value, down), digits=4)
    body = tuple(
        (text, *(cell(measure, cells.get((x, across), np.nan)) for across in columns))
        for text, x in zip(texts, rows, strict=True)
    )
    return [Table(capital(heading(measure)), (heading(down), *columns), body)]
