"""What was observed on skin beside what was computed, with the uncertainty of the comparison."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fem.study.validation import FACTS, SKINS, Fact, Line

NUMERICAL = 0.01  # of a number, of triangles and patch; what the checks of calculation hold


@dataclass(frozen=True)
class Observed:
    """A fact at all the sites that it is of."""

    fact: Fact
    typical: tuple[float, ...]  # by site, those without a closure left out
    least: float  # of slack and tense skin of all sites
    greatest: float
    met: int | None  # None where nothing was observed
    shares: tuple[float, ...]  # E over its uncertainty; none of a fact that has one end only


def recorded(markdown: str) -> dict[str, list[Line]]:
    """Lines by site of the tables that `flatseam validate --markdown` printed; whatever else is there is left out."""
    facts, table = {(site, fact.about): fact for fact in FACTS for site in fact.sites}, dict[str, list[Line]]()
    site = ""
    for line in markdown.splitlines():
        site = line.removeprefix("### ") if line.startswith("#") else site
        about, *numbers = (cell.strip() for cell in line.strip("| ").split("|"))
        if len(numbers) == len(SKINS) + 2 and (fact := facts.get((site, about))):
            values = (np.nan if of == "–" else float(of) for of in numbers[1:-1])
            table.setdefault(site, []).append(Line(fact, tuple(values)))
    return table


def share(line: Line) -> float | None:
    """E over its uncertainty of a fact at a site; None if there is only one end, or a number is missing."""
    low, high = line.fact.low, line.fact.high
    slack, typical, tense = (line.values[SKINS.index(skin)] for skin in ("slack", "typical", "tense"))
    if low is None or high is None or not np.isfinite([slack, typical, tense]).all():
        return None
    error = typical - (low + high) / 2
    return float(error / np.linalg.norm([(high - low) / 2, (tense - slack) / 2, NUMERICAL * typical]))


def observed(table: dict[str, list[Line]]) -> list[Observed]:
    """Facts in their order, of a table by site."""
    by_fact: dict[Fact, list[Line]] = {}
    for lines in table.values():
        for line in lines:
            by_fact.setdefault(line.fact, []).append(line)
    return [_observed(fact, lines) for fact, lines in by_fact.items()]


def _observed(fact: Fact, lines: Sequence[Line]) -> Observed:
    every = np.array([line.values for line in lines])
    known = every[np.isfinite(every)]
    typical = tuple(float(x) for x in every[:, SKINS.index("typical")] if np.isfinite(x))
    shares = tuple(of for line in lines if (of := share(line)) is not None)
    ends = (float(known.min()), float(known.max())) if known.size else (np.nan, np.nan)
    met = None if fact.low is fact.high is None else sum(line.miss == 0 for line in lines)
    return Observed(fact, typical, *ends, met, shares)
