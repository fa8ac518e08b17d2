"""Sensitivity: how much of each measure's variance comes from which input, as Sobol indices.

Inputs vary independently of each other. A value that is not known, since its case has no closure, is NaN.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from matplotlib.figure import Figure
from pydantic import BaseModel, Field
from scipy.stats import bootstrap, sobol_indices

from fem.case.keys import STRICT
from fem.comparison.style import COLOURS, SIZE, figure
from fem.errors import BadCase
from fem.study.answers.finding import Ask, Finding, Kind, Measures, Rows, Seed, Table, drawing, failures, values
from fem.study.answers.naming import name, sentence
from fem.study.answers.uncertain_inputs import (
    FEWEST,
    LEVEL,
    Inputs,
    laws_of,
    medians,
    origin,
    ranges_table,
    settings_at,
)
from fem.study.spread import Law, sample
from fem.study.sweep import Study

RESAMPLES = 999  # of the bootstrap, scipy's own default
CONSTANT = 1e-9  # share of its size by which a measure varies at least; our choice, above round-off
SOURCES = (
    "Sobol IM (1993), Sensitivity analysis for nonlinear mathematical models, Math Model Comput Exp 1:407–414.",
    "Saltelli A, Annoni P, Azzini I, Campolongo F, Ratto M, Tarantola S (2010), Variance based sensitivity "
    "analysis of model output, Comput Phys Commun 181:259–270.",
)


class Sensitivity(BaseModel):
    """How much of each measure's variance comes from which input: Sobol indices."""

    model_config = STRICT
    kind: Literal["sensitivity"]
    measures: Measures = Field(description="names of numbers in measures.json")
    inputs: Inputs = None
    n: Rows = Field(default=64.0, description="rows of the design, a power of two; it takes n times (inputs + 2) cases")
    seed: Seed = Field(default=0.0, description="the same seed gives the same points")


# Indices ------------------------------------------------------------------------------------------------------


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
    # scipy wants n to be a power of 2: rows that are dropped take the mean, which adds nothing to any sum.
    mean = rows[:2, whole].mean()
    f_A, f_B, f_AB = (np.where(whole, part, mean) for part in (rows[:1], rows[1:2], rows[2:, None]))
    shares = sobol_indices(func={"f_A": f_A, "f_B": f_B, "f_AB": f_AB}, n=n)
    f_A, f_B, f_AB = (part[..., whole] - mean for part in (f_A, f_B, f_AB))
    intervals = bootstrap(  # scipy's own for these indices takes no seed
        [np.arange(whole.sum())],
        lambda drawn: np.concatenate(first_and_total(f_A[:, drawn], f_B[:, drawn], f_AB[..., drawn])),
        n_resamples=RESAMPLES, confidence_level=LEVEL, method="percentile", rng=seed,
    ).confidence_interval  # fmt: skip
    first, total = np.stack(intervals, axis=1)
    alone, with_all = (np.atleast_1d(order) for order in (shares.first_order, shares.total_order))  # scipy squeezes
    return Indices(alone, with_all, first, total, int((~whole).sum()))


def first_and_total(f_A: np.ndarray, f_B: np.ndarray, f_AB: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """First-order and total indices (s, d) from centred values f_A, f_B (s, n) and f_AB (d, s, n).

        S_i = mean(f_B (f_AB_i - f_A)) / var,    T_i = mean((f_A - f_AB_i)^2) / 2 var

    Source: Saltelli et al. (2010), table 2 (b) and (f), as scipy has them.
    """
    variance = np.var([f_A, f_B], axis=(0, -1))
    first = (f_B * (f_AB - f_A)).mean(axis=-1) / variance
    total = ((f_A - f_AB) ** 2).mean(axis=-1) / (2 * variance)
    return first.T, total.T


# Answer -------------------------------------------------------------------------------------------------------


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
    names = tuple(map(name, inputs))
    sentences, charts, tables = [], [], []
    for measure in block.measures:
        shares = indices(values(rows, measure), n=n, seed=seed)
        if shares is None:
            sentences.append(f"Nothing can be said of {name(measure)}: it does not vary, or too few cases are known.")
            continue
        sentences += _ranking(measure, names, shares)
        caption = (
            f"{sentence(name(measure))}: share of its variance that each input explains alone, and with others; "
            f"lines are intervals of {100 * LEVEL:.0f} %."
        )
        charts.append(drawing(draw, caption, names, shares))
        tables.append(_shares_table(measure, names, shares, n))
    notes = (
        f"{n} rows of a Sobol design, {len(rows)} cases, seed {seed}. A case without closure drops its whole row, as "
        "the tables say. Indices as by Saltelli et al. (2010); intervals by bootstrap of the rows. An index below 0 is "
        "sampling error.",
        origin(block.inputs),
        *failures(rows),
    )
    title = f"What matters most for {', '.join(map(name, block.measures))}"
    return Finding(title, tuple(sentences), tuple(charts), (*tables, ranges_table(inputs)), notes)


def _ranking(measure, names, shares):
    first, *rest = np.argsort(-shares.total)
    ends = shares.total_interval[:, first]
    sentences = [
        f"{sentence(name(measure))}: {names[first]} matters most, total index {shares.total[first]:.2f} "
        f"({ends[0]:.2f} to {ends[1]:.2f})."
    ]
    if rest and shares.total_interval[1, rest[0]] >= ends[0]:
        other = names[rest[0]]
        sentences[0] = f"{sentences[0][:-1]}; its interval overlaps that of {other}, so the order is not certain."
    idle = [names[i] for i in rest if shares.total_interval[1, i] < 0.05]
    if idle:
        sentences.append(f"{sentence(name(measure))} hardly depends on {', '.join(idle)} (total indices below 0.05).")
    return sentences


def _shares_table(measure, names, shares, n):
    def cell(value, ends):
        return f"{value:.2f} ({ends[0]:.2f} to {ends[1]:.2f})".replace("-", "−")

    rows = [
        (
            names[i],
            cell(shares.first[i], shares.first_interval[:, i]),
            cell(shares.total[i], shares.total_interval[:, i]),
        )
        for i in np.argsort(-shares.total)
    ]
    dropped = f"; {shares.dropped} of {n} rows of the design dropped" if shares.dropped else f"; all {n} rows known"
    return Table(f"{sentence(name(measure))}{dropped}", ("input", "first order", "total"), tuple(rows))


def draw(names: tuple[str, ...], shares: Indices) -> Figure:
    """Figure of Sobol indices, of each input the first-order one and the total one below it, with intervals."""
    drawn, axes = figure((SIZE[0], 1.3 + 0.42 * len(names)))
    places = np.arange(len(names), dtype=float)
    for k, (order, value, ends, marker) in enumerate(
        [
            ("alone (first order)", shares.first, shares.first_interval, "o"),
            ("with others (total)", shares.total, shares.total_interval, "s"),
        ]
    ):
        y = places + 0.16 * (2 * k - 1)
        axes.hlines(y, *ends, color=COLOURS[k], lw=1.8)
        axes.plot(value, y, marker, color=COLOURS[k], ms=6, mfc="w" if k == 0 else None, label=order)
    axes.axvline(0, color="#777777", lw=0.8)
    axes.set(xlabel="share of the variance", ylim=(len(names) - 0.5, -0.5))
    axes.set_yticks(places, names)
    drawn.legend(loc="outside upper left", ncols=2, frameon=False, fontsize=9)
    return drawn


KIND = Kind(
    Sensitivity,
    sensitivity,
    measures=lambda block: block.measures,
    trials=lambda block, study: [medians(laws(block, study))],
    count=lambda block, study: int(block.n) * (len(laws(block, study)) + 2),
    sources=lambda block: SOURCES,
)
