"""Uncertainty: how measures of designs are spread over uncertain inputs, and which of two designs has less."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Annotated, Any, Literal

import numpy as np
from matplotlib.figure import Figure
from pydantic import Field
from scipy.stats import binomtest

from fem.case.document import Block
from fem.comparison.style import SIZE, figure, looks
from fem.comparison.wording import sentence, sentences
from fem.results.quantities import labelled, magnitude, quantity, shown, unit
from fem.study.answers.charts import drawing
from fem.study.answers.finding import Ask, Finding, Kind, Measures, Rows, Seed, Table, some, values
from fem.study.answers.naming import heading, name, settings_text
from fem.study.answers.uncertain_inputs import FEWEST, LEVEL, Inputs, finding, laws_of, medians
from fem.study.spread import sampled
from fem.study.sweep import Study

SHARES = 0.05, 0.25, 0.5, 0.75, 0.95  # of the sample below each quantile of a Scatter; our choice
NO_DESIGN = "design, and the settings that make it"


class Uncertainty(Block):
    """How measures of one or several designs are spread over uncertain inputs, the same sample for all."""

    kind: Literal["uncertainty"]
    designs: Annotated[dict[str, dict[str, Any]], some(NO_DESIGN)] = Field(
        description="settings by dotted path for each design, by its name"
    )
    measures: Measures = Field(description="names of numbers in measures.json")
    inputs: Inputs = None
    n: Rows = Field(default=64.0, description="points of the sample, a power of two; it takes n cases a design")
    seed: Seed = Field(default=0.0, description="the same seed gives the same points")


@dataclass(frozen=True)
class Scatter:
    """How a measure is spread over a sample."""

    quantiles: np.ndarray  # at SHARES
    known: int
    failed: int


@dataclass(frozen=True)
class Chance:
    """How often one design has less of a measure than another under the same inputs."""

    share: float
    low: float  # ends of its interval of LEVEL
    high: float
    pairs: int  # in which both are known
    ties: int  # of them, in which both are equal


def scatter(values: Sequence[float] | np.ndarray) -> Scatter | None:
    """Scatter of the values (n,) of a measure; None if fewer than FEWEST are known."""
    known = np.asarray(values)[np.isfinite(values)]
    if known.size < FEWEST:
        return None
    return Scatter(np.quantile(known, SHARES), known.size, len(values) - known.size)


def lower(ours: Sequence[float] | np.ndarray, theirs: Sequence[float] | np.ndarray) -> Chance | None:
    """Chance that the first of two measures (n,) under the same inputs is lower; None if too few pairs are known.

    The interval is Wilson's (1927), for independent draws; points of Sobol's lie more evenly, so it is a little wide.
    """
    ours, theirs = np.asarray(ours), np.asarray(theirs)
    both = np.isfinite(ours) & np.isfinite(theirs)
    if both.sum() < FEWEST:
        return None
    less, pairs = int((ours[both] < theirs[both]).sum()), int(both.sum())
    interval = binomtest(less, pairs).proportion_ci(LEVEL, method="wilson")
    return Chance(less / pairs, interval.low, interval.high, pairs, int((ours[both] == theirs[both]).sum()))


def laws(block: Uncertainty, study: Study) -> dict:
    """Distributions by dotted path of the inputs, those of the first design if they are the site's."""
    return laws_of(block.inputs, study, next(iter(block.designs.values())))


def trials(block: Uncertainty, study: Study) -> list[dict]:
    """Every design at the median of the inputs."""
    middle = medians(laws(block, study))
    return [design | middle for design in block.designs.values()]


def uncertainty(block: Uncertainty, study: Study, ask: Ask) -> Finding:
    """How measures of designs are spread over uncertain inputs, and how often one design has less than another."""
    n, seed, designs, inputs = int(block.n), int(block.seed), block.designs, laws(block, study)
    skins = sampled(inputs, n=n, seed=seed)
    rows = ask([design | skin for design in designs.values() for skin in skins])
    by_design = {design: rows[k * n : (k + 1) * n] for k, design in enumerate(designs)}
    answers = [_answer(m, {design: values(part, m) for design, part in by_design.items()}) for m in block.measures]
    notes = (sentence("study/uncertainty", "design", design, settings_text(at)) for design, at in designs.items())
    note = sentence("study/uncertainty", "note", n, seed, 100 * LEVEL)
    return finding(block, "Spread of", answers, rows, inputs, note, *notes)


def _answer(measure, by_name):
    """Sentences, charts and tables on a measure (n,) of each design, by its name."""
    pairs = [_who_is_lower(measure, *pair) for pair in combinations(by_name.items(), 2)]
    scatters = {design: scatter(ys) for design, ys in by_name.items()}
    caption = sentence("study/uncertainty", "caption", name(measure))
    chart = drawing(draw, caption, list(by_name), list(scatters.values()), measure=measure)
    rows = []
    for design, spread in scatters.items():
        cells = ("–",) * len(SHARES) if spread is None else tuple(shown(measure, q) for q in spread.quantiles)
        rows.append((design, *cells, "too few" if spread is None else f"{spread.known} of {len(by_name[design])}"))
    shares = (f"{100 * share:.0f} %" if share != 0.5 else "median" for share in SHARES)
    title = sentence("study/uncertainty", "table", heading(measure))
    return pairs, [chart], [Table(title, ("design", *shares, "known"), tuple(rows))]


def _who_is_lower(measure, ours, theirs):
    """A sentence on which of two designs (name, values) has less of a measure, and how often."""
    (first, mine), (second, others) = ((design, magnitude(measure, ys)) for design, ys in (ours, theirs))
    digits = quantity(measure).digits  # what prints alike is equal: cones that lie flat differ by round-off
    chance = lower(np.round(mine, digits), np.round(others, digits))
    difference = shown(measure, np.nanmedian(mine - others) if chance else None, sign="+")
    about = f"{difference} {unit(measure)}".strip()
    return sentence("study/uncertainty", "chance", name(measure), first, second, chance, about)


def draw(names: Sequence[str], scatters: Sequence[Scatter | None], *, measure: str) -> Figure:
    """Figure of the spread of a measure, a design each: 5 to 95 % thin, the middle half thick, the median a mark."""
    plot, axes = figure((SIZE[0], 1.1 + 0.45 * len(names)))
    for i, spread in enumerate(scatters):
        if spread is not None:
            far_low, low, median, high, far_high = spread.quantiles
            look = looks(i)
            axes.hlines(i, far_low, far_high, color=look["color"], lw=1.5)
            axes.hlines(i, low, high, color=look["color"], lw=7, alpha=0.45)
            axes.plot(median, i, marker=look["marker"], color=look["color"], ms=8, mec="w")
    axes.set(xlabel=labelled(measure), ylim=(len(names) - 0.5, -0.5))
    axes.set_yticks(range(len(names)), names)
    return plot


KIND = Kind(
    Uncertainty,
    uncertainty,
    trials=trials,
    count=lambda block, study: int(block.n) * len(block.designs),
    sources=lambda block: sentences("study/uncertainty", "sources"),
)
