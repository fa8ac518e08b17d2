"""Sensitivity: how much of each measure's variance comes from which input, as Sobol indices; NaN is a failed case."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from matplotlib.figure import Figure
from pydantic import Field
from scipy.stats import bootstrap

from fem.case.document import Block
from fem.comparison.style import COLOURS, SIZE, figure
from fem.comparison.wording import sentence, sentences
from fem.errors import BadCase
from fem.study.answers.charts import drawing
from fem.study.answers.finding import Ask, Finding, Kind, Measures, Rows, Seed, Table, values
from fem.study.answers.naming import name
from fem.study.answers.uncertain_inputs import FEWEST, LEVEL, Inputs, finding, laws_of, medians
from fem.study.spread import Law, sample, settings_at
from fem.study.sweep import Study

RESAMPLES = 999  # of the bootstrap, scipy's own default
IDLE = 0.05  # total index below which a measure hardly depends on an input; our choice
CONSTANT = 1e-9  # share of its size by which a measure varies at least; our choice, above round-off


class Sensitivity(Block):
    """How much of each measure's variance comes from which input: Sobol indices."""

    kind: Literal["sensitivity"]
    measures: Measures = Field(description="names of numbers in measures.json")
    inputs: Inputs = None
    n: Rows = Field(default=64.0, description="rows of the design, a power of two; it takes n times (inputs + 2) cases")
    seed: Seed = Field(default=0.0, description="the same seed gives the same points")


@dataclass(frozen=True)
class Indices:
    """Shares of a measure's variance, an entry each input; intervals (2, d) of LEVEL."""

    first: np.ndarray  # what the input explains alone
    total: np.ndarray  # what would be left if all others were known
    first_interval: np.ndarray
    total_interval: np.ndarray
    dropped: int  # of the n rows of the design


def design(laws: Sequence[Law], *, n: int, seed: int) -> np.ndarray:
    """Values (d, n (d + 2)) of the inputs at which a measure must be known for its indices.

    Two samples A and B (d, n), then for each input A with that input's values from B. Source: Saltelli et al. (2010).
    """
    d = len(laws)
    A, B = np.split(sample([*laws, *laws], n=n, seed=seed), 2)
    mixed = np.repeat(A[None], d, axis=0)
    mixed[np.arange(d), np.arange(d)] = B
    return np.hstack([A, B, *mixed])


def indices(values: Sequence[float] | np.ndarray, *, n: int, seed: int) -> Indices | None:
    """Indices from the values (n (d + 2),) of a measure at a design; None if nothing can be said of it.

    A row of the design, that is a point of A, the same of B and the d between them, is dropped whole if any of its
    values is missing. None if fewer than FEWEST are left, or if the measure does not vary.
    """
    rows = np.reshape(values, (-1, n))
    whole = np.isfinite(rows).all(axis=0)
    if whole.sum() < FEWEST or np.ptp(rows[:, whole]) <= CONSTANT * np.abs(rows[:, whole]).max():
        return None
    centred = rows[:, whole] - rows[:2, whole].mean()
    f_A, f_B, f_AB = centred[:1], centred[1:2], centred[2:, None]
    (first,), (total,) = first_and_total(f_A, f_B, f_AB)
    intervals = bootstrap(  # that of scipy's sobol_indices takes no seed
        [np.arange(whole.sum())],
        lambda picked: np.concatenate(first_and_total(f_A[:, picked], f_B[:, picked], f_AB[..., picked])),
        n_resamples=RESAMPLES, confidence_level=LEVEL, method="percentile", rng=seed,
    ).confidence_interval  # fmt: skip
    first_ends, total_ends = np.stack(intervals, axis=1)
    return Indices(first, total, first_ends, total_ends, int((~whole).sum()))


def first_and_total(f_A: np.ndarray, f_B: np.ndarray, f_AB: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """First-order and total indices (s, d) from centred values f_A, f_B (s, n) and f_AB (d, s, n).

        S_i = mean(f_B (f_AB_i - f_A)) / var,    T_i = mean((f_A - f_AB_i)^2) / 2 var

    Source: Saltelli et al. (2010), table 2 (b) and (f), as scipy has them.
    """
    variance = np.var([f_A, f_B], axis=(0, -1))
    first = (f_B * (f_AB - f_A)).mean(axis=-1) / variance
    total = ((f_A - f_AB) ** 2).mean(axis=-1) / (2 * variance)
    return first.T, total.T


def laws(block: Sensitivity, study: Study) -> dict:
    """Distributions by dotted path of the inputs. Raises BadCase if there is nothing to compare."""
    known = laws_of(block.inputs, study)
    if len(known) < 2:
        raise BadCase("a sensitivity needs two inputs or more; all of the variance comes from a single one")
    return known


def sensitivity(block: Sensitivity, study: Study, ask: Ask) -> Finding:
    """Sobol indices of measures."""
    inputs, n, seed = laws(block, study), int(block.n), int(block.seed)
    rows = ask(settings_at(inputs, design(list(inputs.values()), n=n, seed=seed)))
    known = [(measure, indices(values(rows, measure), n=n, seed=seed)) for measure in block.measures]
    answers = [_answer(measure, [name(path) for path in inputs], shares, n) for measure, shares in known]
    note = sentence("study/sensitivity", "note", n, len(rows), seed)
    return finding(block, "What matters most for", answers, rows, inputs, note)


def _answer(measure, names, shares, n):
    """Sentences, charts and tables on the indices of a measure, if something can be said of it."""
    what = name(measure)
    if shares is None:
        return [sentence("study/sensitivity", "nothing", what)], [], []
    order = np.argsort(-shares.total)
    first, *rest = order
    low, high = shares.total_interval
    rival = names[rest[0]] if rest and high[rest[0]] >= low[first] else ""
    idle = [names[i] for i in rest if high[i] < IDLE]
    total = sentence("study/sensitivity", "index", shares.total[first], *shares.total_interval[:, first])
    ranking = sentences("study/sensitivity", "ranking", what, names[first], total, rival, idle, IDLE)
    chart = drawing(draw, sentence("study/sensitivity", "caption", what, 100 * LEVEL), names, shares)
    columns = [np.vstack([shares.first, shares.first_interval]).T, np.vstack([shares.total, shares.total_interval]).T]
    cells = [[sentence("study/sensitivity", "index", *at).replace("-", "−") for at in column] for column in columns]
    rows = tuple((names[i], *(column[i] for column in cells)) for i in order)
    caption = sentence("study/sensitivity", "table", what, shares.dropped, n)
    return ranking, [chart], [Table(caption, ("input", "first order", "total"), rows)]


def draw(names: Sequence[str], shares: Indices) -> Figure:
    """Figure of Sobol indices, of each input the first-order one and the total one below it, with intervals."""
    plot, axes = figure((SIZE[0], 1.3 + 0.42 * len(names)))
    places = np.arange(len(names), dtype=float)
    first = "alone (first order)", shares.first, shares.first_interval, "o"
    total = "with others (total)", shares.total, shares.total_interval, "s"
    for k, (order, value, ends, marker) in enumerate((first, total)):
        y = places + 0.16 * (2 * k - 1)
        axes.hlines(y, *ends, color=COLOURS[k], lw=1.8)
        axes.plot(value, y, marker, color=COLOURS[k], ms=6, mfc="w" if k == 0 else None, label=order)
    axes.axvline(0, color="#777777", lw=0.8)
    axes.set(xlabel="share of the variance", ylim=(len(names) - 0.5, -0.5))
    axes.set_yticks(places, names)
    plot.legend(loc="outside upper left", ncols=2, frameon=False)
    return plot


KIND = Kind(
    Sensitivity,
    sensitivity,
    trials=lambda block, study: [medians(laws(block, study))],
    count=lambda block, study: int(block.n) * (len(laws(block, study)) + 2),
    sources=lambda block: sentences("study/sensitivity", "sources"),
)
