"""What all kinds of answers share: the kind itself, the finding, how cases are asked for, keys, and parts of charts."""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np
from annotated_types import Ge, Le, MultipleOf
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.axis import Axis
from matplotlib.figure import Figure
from pydantic import AfterValidator, BaseModel

from fem.case import case as cases
from fem.case import site
from fem.comparison import style
from fem.errors import BadCase, BadValue
from fem.results.quantities import current, shown
from fem.study.answers.naming import ACROSS, ALONG, heading, sentence, unknown, value
from fem.study.sweep import Study, case_at

MOST_ROWS = 2**16  # of a sample; our choice, weeks of solving
MOST_CELLS = 200  # of a table; our choice
CROSS: dict[str, Any] = {"marker": "x", "ls": "", "color": "#8f2f00", "ms": 7, "mew": 1.8}
LOST = " not closed"  # matplotlib leaves out labels that begin with an underscore, not with a space

Settings = dict[str, Any]  # values by dotted path
Ask = Callable[[list[Settings]], list[dict]]  # a row for each settings, as in `table`; failed if there is no case


@dataclass(frozen=True)
class Chart:
    """A chart, and what it shows in words."""

    figure: Figure
    caption: str

    @property
    def svg(self) -> str:
        """The chart as text, in the style of all charts."""
        with rc_context(style.STYLE):
            return style.svg(self.figure)


@dataclass(frozen=True)
class Table:
    """Rows of words below their headings."""

    caption: str
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Finding:
    """An answer."""

    title: str
    sentences: tuple[str, ...] = ()
    charts: tuple[Chart, ...] = ()
    tables: tuple[Table, ...] = ()
    notes: tuple[str, ...] = ()  # how it was found, what it rests on


@dataclass(frozen=True)
class Kind:
    """A kind of answer: the keys of its block in a study's file, and what is made of such a block."""

    block: type[BaseModel]
    finding: Callable[[Any, Study, Ask], Finding]
    measures: Callable[[Any], tuple[str, ...]]
    varied: Callable[[Any], list[tuple[str, str]]] = lambda block: []  # (key, path) of inputs that the study must vary
    trials: Callable[[Any, Study], list[Settings]] = lambda block, study: []  # some of the cases it will ask for
    count: Callable[[Any, Study], int] = lambda block, study: 0  # cases beside the study's own, at most
    sources: Callable[[Any], tuple[str, ...]] = lambda block: ()


# Keys of blocks -----------------------------------------------------------------------------------------------


def _measure(measure):
    measure = current(measure, "answers")
    if wrong := unknown(measure):
        raise ValueError(wrong)
    return measure


def some(what: str) -> AfterValidator:
    """A validator that refuses to be given none of something."""

    def check(values):
        if not values:
            raise ValueError(f"wanted at least one {what}")
        return values

    return AfterValidator(check)


def _power(n):
    if n < 8 or int(n) & (int(n) - 1):
        raise ValueError(f"got {n:g}, wanted a power of two from 8 on: 8, 16, 32, ...")
    return n


Measure = Annotated[str, AfterValidator(_measure)]
Measures = Annotated[tuple[Measure, ...], some("measure")]
Rows = Annotated[float, MultipleOf(1), Le(MOST_ROWS), AfterValidator(_power)]
Seed = Annotated[float, MultipleOf(1), Ge(0)]


# Asking -------------------------------------------------------------------------------------------------------


def asking(study: Study, evaluate: Callable) -> Ask:
    """A function that gives a row for each settings of a study's base, evaluated all at once."""

    def ask(settings):
        tried = [case_or_reason(study, point) for point in settings]
        rows = iter(evaluate([case for case in tried if isinstance(case, cases.Case)]))
        refused = {"status": "failed", "failure": "no case"}
        return [next(rows) if isinstance(case, cases.Case) else refused | {"reason": case} for case in tried]

    return ask


def case_or_reason(study: Study, settings: Settings) -> cases.Case | str:
    """The case at settings, or the reason why there is none."""
    try:
        return case_at(study, with_tensions(study, settings))
    except BadCase as error:
        return first_complaint(error)


def first_complaint(error: BadCase) -> str:
    """What a BadCase says first, without its place in a file."""
    return re.sub(r"^.*?:\d+:\d+: ", "", str(error).splitlines()[0])


def with_tensions(study: Study, settings: Settings) -> Settings:
    """Settings with the tension across the lines instead of the ratio of tensions, which is no key of a case."""
    if site.RATIO not in settings:
        return settings
    rest = {path: value for path, value in settings.items() if path != site.RATIO}
    along = settings[ALONG] if ALONG in settings else case_at(study, rest).skin.tension.along_N_per_m
    return rest | {ACROSS: along / settings[site.RATIO]}


def values(rows: Sequence[dict], measure: str) -> np.ndarray:
    """A measure (n,) in rows, NaN where it is not known."""
    return np.array([np.nan if row.get(measure) is None else row[measure] for row in rows], float)


def failures(rows: Sequence[dict]) -> tuple[str, ...]:
    """A sentence on the rows that have no result, none if all have."""
    lost = [row for row in rows if row["status"] != "done"]
    if not lost:
        return ()
    kinds = [row.get("failure") or "not known why" for row in lost]
    counts = ", ".join(f"{kind}: {kinds.count(kind)}" for kind in dict.fromkeys(kinds))
    return (f"{len(lost)} of {len(rows)} cases have no closure ({counts}); the first: {lost[0].get('reason')}",)


# Charts and tables --------------------------------------------------------------------------------------------


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


def label_ticks(axis: Axis, texts: list[str] | None) -> None:
    """Put the words of `places` at an axis, if there are any."""
    if texts is not None:
        axis.set_ticks(range(len(texts)), texts)


def cross_out(axes: Axes, x: Sequence[float] | np.ndarray) -> None:
    """Crosses at the foot of a chart where a case has no closure."""
    if len(x):
        axes.plot(x, np.zeros(len(x)), transform=axes.get_xaxis_transform(), clip_on=False, label=LOST, **CROSS)


def gaps(rows: Sequence[dict]) -> str:
    """What a caption says of rows without a result."""
    return "" if all(row["status"] == "done" for row in rows) else " Gaps and crosses: no closure."


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
    body = tuple((value(down, x), *(_cell(measure, cells.get((x, across))) for across in columns)) for x in rows)
    return [Table(sentence(heading(measure)), (heading(down), *columns), body)]


def _cell(measure, number):
    return shown(measure, None if number is None or np.isnan(number) else number)


def refuse(problems: list[tuple]) -> None:
    """Raise BadValue if there are problems (place, message)."""
    if problems:
        raise BadValue(problems)
