"""Uncertain inputs of sensitivities, uncertainties and searches: their distributions, and where these come from."""

from collections.abc import Iterable
from itertools import chain
from typing import Annotated, Any

import numpy as np
from pydantic import Field

from fem.case import site
from fem.case.site import Value
from fem.comparison.wording import sentence
from fem.errors import BadCase
from fem.study.answers.finding import Finding, Settings, Table, failures
from fem.study.answers.naming import name, unit_of
from fem.study.spread import DISTRIBUTIONS, Distributions, Law, distributions
from fem.study.sweep import Study, case_at, points

LEVEL = 0.95  # of all intervals
FEWEST = 8  # complete rows or pairs below which nothing is said; our choice

Inputs = Annotated[
    Distributions | None,
    Field(description="range [low, high] or distribution by dotted path; else all that the base takes from its site"),
]


def laws_of(inputs: dict | None, study: Study, settings: Settings | None = None) -> dict:
    """Distributions of scipy's by dotted path: those that are given, or those of all that the base takes from its site.

    Those of a site are triangular, from its low over its typical to its high value. Raises BadCase if the base takes
    nothing from a site.
    """
    if inputs is not None:
        return distributions(inputs)
    return {path: triangular(held) for path, held in ranges_of(study, settings).items()}


def ranges_of(study: Study, settings: Settings | None = None) -> dict:
    """The library's values by dotted path of all that the base takes from its site. Raises BadCase if it takes none."""
    case = case_at(study, points(study)[0] if settings is None else settings)
    taken = set(case.from_site or ())
    if taken >= set(site.TENSIONS):  # which follow from the stretch
        taken = taken - set(site.TENSIONS) | set(site.STRETCHES)
    entry = site.SITES[str(case.skin.site)] if taken else None
    ranges = {path: v for path, v in (site.values(entry) if entry else {}).items() if path in taken and v.low < v.high}
    surface, body = case.patch and case.patch.surface, entry and entry.body
    if surface and body and (surface.kind, surface.radius_mm) == (body.kind, body.radius_mm.typical):
        ranges["patch.surface.radius_mm"] = body.radius_mm
    if not ranges:
        raise BadCase("the base takes nothing from a site, so `inputs` must be given")
    return ranges


def triangular(held: Value) -> Law:
    """The distribution of a value of the library."""
    return DISTRIBUTIONS["triangular"](low=held.low, typical=held.typical, high=held.high)


def medians(laws: dict) -> Settings:
    """Every input at its median."""
    return {path: float(law.median()) for path, law in laws.items()}


def _ranges_table(laws):
    """The table of what was varied."""
    rows = []
    for path, law in laws.items():
        low, high = law.support()
        ends = law.ppf([0.025, 0.975])
        whole = f"{low:.4g} to {high:.4g}" if np.isfinite([low, high]).all() else "no ends"
        rows.append((name(path), unit_of(path) or "–", whole, f"{law.median():.4g}", f"{ends[0]:.4g} to {ends[1]:.4g}"))
    headings = "input", "unit", "range", "median", "95 % of the sample"
    return Table("What was varied, each input independently of the others", headings, tuple(rows))


def finding(block: Any, about: str, answers: Iterable[tuple], rows: list[dict], laws: dict, *notes: str) -> Finding:
    """The finding of answers (sentences, charts, tables), one a measure, in rows of a sample of the inputs."""
    sentences, charts, tables = (tuple(chain.from_iterable(parts)) for parts in zip(*answers, strict=True))
    origin = sentence("study/shared", "origin", block.inputs is not None)
    title = f"{about} {', '.join(map(name, block.measures))}"
    return Finding(title, sentences, charts, (*tables, _ranges_table(laws)), (*notes, origin, *failures(rows)))
