"""What all kinds of answers share: the kind itself, the finding, keys, and how cases are asked for."""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np
from annotated_types import Ge, Le, MultipleOf
from matplotlib import rc_context
from matplotlib.figure import Figure
from pydantic import AfterValidator, BaseModel

from fem.case import case as cases
from fem.comparison import style, wording
from fem.errors import BadCase
from fem.study.answers.naming import unknown
from fem.study.sweep import Study, case_at

MOST_ROWS = 2**16  # of a sample; our choice, weeks of solving

Settings = dict[str, Any]  # values by dotted path
Ask = Callable[[list[Settings]], list[dict]]  # a row for each settings, as in `table`; failed if there is no case


@dataclass(frozen=True)
class Chart:
    """A chart, and what it shows in words."""

    figure: Figure
    caption: str

    def svg(self, *, keyed: bool = True) -> str:
        """The chart as text, in the style of all charts; its key left out if not `keyed`."""
        with rc_context(style.STYLE):
            return style.svg(self.figure, keyed=keyed)


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
    best: Settings | None = None  # of the design that was found best, if one was sought

    @property
    def key(self) -> list[tuple[str, str]]:
        """A sample as SVG and its words, for each line that all charts side by side have in their keys."""
        with rc_context(style.STYLE):
            return style.shared_key([chart.figure for chart in self.charts])


@dataclass(frozen=True)
class Kind:
    """A kind of answer: the keys of its block in a study's file, and what is made of such a block."""

    block: type[BaseModel]
    finding: Callable[[Any, Study, Ask], Finding]
    measures: Callable[[Any], tuple[str, ...]] = lambda block: block.measures
    varied: Callable[[Any], list[tuple[str, str]]] = lambda block: []  # (key, path) of inputs that the study must vary
    trials: Callable[[Any, Study], list[Settings]] = lambda block, study: []  # some of the cases it will ask for
    count: Callable[[Any, Study], int] = lambda block, study: 0  # cases beside the study's own, at most
    sources: Callable[[Any], Sequence[str]] = lambda block: ()


def _measure(measure):
    if wrong := unknown(measure):
        raise ValueError(wrong)
    return measure


def some(what: str) -> AfterValidator:
    """A validator that refuses to be given none of something."""

    def check(values: Any) -> Any:
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


def asking(study: Study, evaluate: Callable) -> Ask:
    """A function that gives a row for each settings of a study's base, evaluated all at once."""

    def ask(settings: list[Settings]) -> list[dict]:
        tried = [case_or_reason(study, point) for point in settings]
        rows = iter(evaluate([case for case in tried if isinstance(case, cases.Case)]))
        refused = {"status": "failed", "failure": "no case"}
        return [next(rows) if isinstance(case, cases.Case) else refused | {"reason": case} for case in tried]

    return ask


def case_or_reason(study: Study, settings: Settings) -> cases.Case | str:
    """The case at settings, or the reason why there is none."""
    try:
        return case_at(study, settings)
    except BadCase as error:
        return first_complaint(error)


def first_complaint(error: BadCase) -> str:
    """What a BadCase says first, without its place in a file."""
    return re.sub(r"^.*?:\d+:\d+: ", "", str(error).splitlines()[0])


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
    return (wording.sentence("study/shared", "failures", len(lost), len(rows), counts, lost[0].get("reason")),)
