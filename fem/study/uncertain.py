"""What matters most among uncertain inputs, and how far they spread the measures of designs."""

from itertools import combinations

import numpy as np

from fem.case import site
from fem.errors import BadCase
from fem.results.result import shown, unit
from fem.study import graph, sensitivity
from fem.study.finding import (
    ACROSS,
    ALONG,
    Finding,
    Table,
    drawing,
    failures,
    name,
    sentence,
    settings_in_words,
    unit_of,
    values,
)
from fem.study.spread import DISTRIBUTIONS, distribution
from fem.study.sweep import case_at, points


def inputs_of(asked, study, settings=None):
    """Distributions by dotted path: those that are asked for, or those of all that the base takes from its site.

    Those of a site are triangular, from its low over its typical to its high value; where both tensions are the site's,
    the ratio of tensions stands for the one across. Raises BadCase if the base takes nothing from a site, or
    if there is nothing to compare.
    """
    if asked.inputs is not None:
        laws = {path: distribution(block) for path, block in asked.inputs.items()}
    else:
        laws = {path: distribution_of(held) for path, held in ranges_of(study, settings).items()}
    if asked.kind == "sensitivity" and len(laws) < 2:
        raise BadCase("a sensitivity needs two inputs or more; all of the variance comes from a single one")
    return laws


def ranges_of(study, settings=None):
    """The library's values by dotted path of all that the base takes from its site. Raises BadCase if it takes none."""
    case = case_at(study, points(study)[0] if settings is None else settings)
    taken = set(case.from_site or ())
    if {ALONG, ACROSS} <= taken:
        taken = taken - {ACROSS} | {site.RATIO}
    held = site.values(site.SITES[case.skin.site]) if taken else {}
    found = {path: one for path, one in held.items() if path in taken and one.low < one.high}
    if not found:
        raise BadCase("the base takes nothing from a site, so `inputs` must be given")
    return found


def distribution_of(held):
    """The distribution of a value of the library: triangular."""
    return DISTRIBUTIONS["triangular"](low=held.low, typical=held.typical, high=held.high)


def _ranges_table(laws):
    rows = []
    for path, law in laws.items():
        low, high = law.support()
        ends = law.ppf([0.025, 0.975])
        whole = f"{low:.4g} to {high:.4g}" if np.isfinite([low, high]).all() else "no ends"
        rows.append((name(path), unit_of(path) or "–", whole, f"{law.median():.4g}", f"{ends[0]:.4g} to {ends[1]:.4g}"))
    headings = "input", "unit", "range", "median", "95 % of the sample"
    return Table("What was varied, each input independently of the others", headings, tuple(rows))


def _where_from(asked):
    if asked.inputs is not None:
        return "Ranges are those that the study gives."
    return (
        "Ranges are those of the library of sites, taken as triangular: most likely at the typical value, never at the "
        "ends (our choice). Values that the base gives itself are held."
    )


def _points(laws, sample):
    return [dict(zip(laws, map(float, column), strict=True)) for column in sample.T]


def sobol(asked, study, ask) -> Finding:
    """Sobol indices of measures."""
    laws, n, seed = inputs_of(asked, study), int(asked.n), int(asked.seed)
    rows = ask(_points(laws, sensitivity.design(list(laws.values()), n=n, seed=seed)))
    names = tuple(map(name, laws))
    said, charts, tables = [], [], []
    for measure in asked.measures:
        found = sensitivity.indices(values(rows, measure), n=n, seed=seed)
        if found is None:
            said.append(f"Nothing can be said of {name(measure)}: it does not vary, or too few cases are known.")
            continue
        said += _what_matters(measure, names, found)
        words = (
            f"{sentence(name(measure))}: share of its variance that each input explains alone, and with others; "
            f"lines are intervals of {100 * sensitivity.LEVEL:.0f} %."
        )
        charts.append(drawing(graph.shares, words, names, found))
        tables.append(_shares_table(measure, names, found, n))
    notes = (
        f"{n} rows of a Sobol design, {len(rows)} cases, seed {seed}. A case without closure drops its whole row, as "
        "the tables say. Indices as by Saltelli et al. (2010); intervals by bootstrap of the rows. An index below 0 is "
        "sampling error.",
        _where_from(asked),
        *failures(rows),
    )
    title = f"What matters most for {', '.join(map(name, asked.measures))}"
    return Finding(title, tuple(said), tuple(charts), (*tables, _ranges_table(laws)), notes)


def _what_matters(measure, names, found):
    first, *rest = np.argsort(-found.total)
    ends = found.total_interval[:, first]
    said = [
        f"{sentence(name(measure))}: {names[first]} matters most, total index {found.total[first]:.2f} "
        f"({ends[0]:.2f} to {ends[1]:.2f})."
    ]
    if rest and found.total_interval[1, rest[0]] >= ends[0]:
        said[0] = said[0][:-1] + f"; its interval overlaps that of {names[rest[0]]}, so the order is not certain."
    idle = [names[i] for i in rest if found.total_interval[1, i] < 0.05]
    if idle:
        said.append(f"{sentence(name(measure))} hardly depends on {', '.join(idle)} (total indices below 0.05).")
    return said


def _shares_table(measure, names, found, n):
    def cell(value, ends):
        return f"{value:.2f} ({ends[0]:.2f} to {ends[1]:.2f})".replace("-", "−")

    rows = [
        (names[i], cell(found.first[i], found.first_interval[:, i]), cell(found.total[i], found.total_interval[:, i]))
        for i in np.argsort(-found.total)
    ]
    dropped = f"; {found.dropped} of {n} rows of the design dropped" if found.dropped else f"; all {n} rows known"
    return Table(f"{sentence(name(measure))}{dropped}", ("input", "first order", "total"), tuple(rows))


def uncertainty(asked, study, ask) -> Finding:
    """How measures of designs are spread over uncertain inputs, and how often one design has less than another."""
    n, seed, designs = int(asked.n), int(asked.seed), asked.designs
    laws = inputs_of(asked, study, next(iter(designs.values())))
    skins = _points(laws, sensitivity.sample(list(laws.values()), n=n, seed=seed))
    rows = ask([design | skin for design in designs.values() for skin in skins])
    by_design = {design: rows[k * n : (k + 1) * n] for k, design in enumerate(designs)}
    said, charts, tables = [], [], []
    for measure in asked.measures:
        found = {design: values(own, measure) for design, own in by_design.items()}
        scatters = {design: sensitivity.scatter(one) for design, one in found.items()}
        said += _who_is_lower(measure, found)
        words = f"{sentence(name(measure))}: median, middle half (thick), 5 to 95 % of the sample (thin)."
        charts.append(drawing(graph.scatters, words, list(designs), list(scatters.values()), measure=measure))
        tables.append(_scatter_table(measure, scatters, n))
    notes = (
        f"The same {n} points (Sobol, seed {seed}) for every design. Chances count the points at which both designs "
        f"closed; intervals of {100 * sensitivity.LEVEL:.0f} % are Wilson's and tell of the number of points, not of "
        "what the model leaves out.",
        *(f"{design}: {settings_in_words(settings)}." for design, settings in designs.items()),
        _where_from(asked),
        *failures(rows),
    )
    title = f"Spread of {', '.join(map(name, asked.measures))}"
    return Finding(title, tuple(said), tuple(charts), (*tables, _ranges_table(laws)), notes)


def _who_is_lower(measure, found):
    said = []
    for (ours, mine), (theirs, others) in combinations(found.items(), 2):
        chance = sensitivity.lower(mine, others)
        if chance is None:
            said.append(f"Too few pairs of {ours} and {theirs} are known to compare their {name(measure)}.")
            continue
        ties = f", equal in {chance.ties}" if chance.ties else ""
        middle = np.nanmedian(np.asarray(mine) - np.asarray(others))
        count, difference = round(chance.share * chance.pairs), f"{shown(measure, middle, sign='+')} {unit(measure)}"
        share, low, high = (f"{100 * one:.0f}" for one in (chance.share, chance.low, chance.high))
        said.append(
            f"{sentence(name(measure))} of {ours} is lower than that of {theirs} in {count} of {chance.pairs} skins"
            f"{ties}: a chance of {share} % ({low} to {high} %). The median difference is {difference.strip()}."
        )
    return said


def _scatter_table(measure, scatters, n):
    rows = []
    for design, one in scatters.items():
        cells = ("–",) * 5 if one is None else tuple(shown(measure, q) for q in one.quantiles)
        lost = "too few" if one is None else f"{one.known} of {n}"
        rows.append((design, *cells, lost))
    shares = tuple(f"{100 * share:.0f} %" if share != 0.5 else "median" for share in sensitivity.SHARES)
    words = f"{sentence(name(measure))}, {unit(measure)}" if unit(measure) else sentence(name(measure))
    return Table(f"{words}: below it are so many of the points", ("design", *shares, "known"), tuple(rows))
