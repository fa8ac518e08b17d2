"""The page of a study: what was asked of it, answered; one HTML file made with the means of the comparison page."""

from itertools import product

import numpy as np

from fem.case import case as cases
from fem.case.document import bad
from fem.comparison import page
from fem.errors import BadCase
from fem.results.folder import write_whole
from fem.study import answer, design_search, trend, uncertain
from fem.study.finding import Finding, asking, first_complaint, made_case, name, value
from fem.study.sweep import case_at, points

FINDINGS = {
    "curves": trend.curves,
    "map": trend.colour_map,
    "sensitivity": uncertain.sobol,
    "uncertainty": uncertain.uncertainty,
    "search": design_search.optimum,
}
SOURCES = {
    "sensitivity": (
        "Sobol IM (1993), Sensitivity analysis for nonlinear mathematical models, Math Model Comput Exp 1:407–414.",
        "Saltelli A, Annoni P, Azzini I, Campolongo F, Ratto M, Tarantola S (2010), Variance based sensitivity "
        "analysis of model output, Comput Phys Commun 181:259–270.",
    ),
    "uncertainty": (
        "Wilson EB (1927), Probable inference, the law of succession, and statistical inference, J Am Stat Assoc "
        "22:209–212.",
    ),
    "bracketing": (
        "Chandrupatla TR (1997), A new hybrid quadratic/bisection algorithm for finding the zero of a nonlinear "
        "function without using derivatives, Adv Eng Softw 28:145–149.",
    ),
    "local search": (
        "Powell MJD (1994), A direct search optimization method that models the objective and constraint functions by "
        "linear interpolation, in: Advances in optimization and numerical analysis, Kluwer, 51–67.",
    ),
}
MOST_VALUES = 12  # of an input that are listed; our choice


# Before anything is solved ------------------------------------------------------------------------------------


def check(study):
    """Refuse answers that cannot be given, before anything is solved. Raises BadCase."""
    found = answer.problems(study.keys.answers, varied(study))
    for i, asked in enumerate(study.keys.answers):
        try:
            tried = _trials(asked, study)
        except BadCase as error:
            found.append(((i, "kind"), first_complaint(error)))
            continue
        made = [made_case(study, settings) for settings in tried]
        if made and all(isinstance(one, str) for one in made):
            found.append(((i, "kind"), f"no case can be made of it: {made[0]}"))
    if found:
        raise bad(study.page, [(("answers", *place), f"answers[{place[0]}]: {message}") for place, message in found])


def varied(study):
    """Dotted paths of the inputs that a study varies."""
    keys = study.keys
    return [*keys.grid, *keys.zip, *(keys.sample.over if keys.sample else ())]


def _trials(asked, study):
    """Settings of some of the cases that an answer will ask for."""
    if asked.kind == "sensitivity":
        return [_medians(uncertain.inputs_of(asked, study))]
    if asked.kind == "uncertainty":
        medians = _medians(uncertain.inputs_of(asked, study, next(iter(asked.designs.values()))))
        return [design | medians for design in asked.designs.values()]
    if asked.kind == "search":
        ends = [(np.mean(own),) if answer.is_range(own) else own for own in asked.over.values()]
        tried = [dict(zip(asked.over, map(_plain, chosen), strict=True)) for chosen in product(*ends)]
        if asked.skins == "worst":
            uncertain.ranges_of(study, tried[0])
        return [one | skin for one in tried for skin in ([{}] if isinstance(asked.skins, str) else asked.skins)]
    return []


def _medians(laws):
    return {path: float(law.median()) for path, law in laws.items()}


def _plain(chosen):
    return float(chosen) if isinstance(chosen, np.floating) else chosen


def counts(study):
    """How many cases each answer asks for beside the study's own, at most, by its place and kind."""
    return [(f"{i}, {asked.kind}", _count(asked, study)) for i, asked in enumerate(study.keys.answers, start=1)]


def _count(asked, study):
    if asked.kind == "sensitivity":
        return int(asked.n) * (len(uncertain.inputs_of(asked, study)) + 2)
    if asked.kind == "uncertainty":
        return int(asked.n) * len(asked.designs)
    if asked.kind == "search":
        return design_search.count(asked, study)
    return 0


# The page -----------------------------------------------------------------------------------------------------


def findings(study, evaluate) -> list[Finding]:
    """Every answer of a study, in order; `evaluate` as study.Evaluate."""
    ask = asking(study, evaluate)
    return [FINDINGS[asked.kind](asked, study, ask) for asked in study.keys.answers]


def html(study, found):
    """The page as text."""
    measures = {measure for asked in study.keys.answers for measure in _measures(asked)}
    methods = {_method(asked) for asked in study.keys.answers}
    return page.rendered(
        "study/report.html",
        [],
        study=study,
        found=found,
        count=len(points(study)),
        varied=[(name(path), path, _listed(study, path)) for path in varied(study)],
        base=_base(study),
        uri=page.uri,
        notes=[(words, source) for of, words, source in page.NOTES if of in measures],
        sources=[source for method, own in SOURCES.items() if method in methods for source in own],
        meanings=page.MEANINGS,
        left_out=page.LEFT_OUT,
    )


def _method(asked):
    """What an answer rests on, a key of SOURCES or another word."""
    if asked.kind == "search":
        return "bracketing" if asked.least in asked.over else "local search"
    return asked.kind


def _measures(asked):
    if asked.kind == "search":
        return asked.least, *asked.limits
    return (asked.measure,) if asked.kind == "map" else asked.measures


def _base(study):
    """Values of the first case that the study does not vary, by dotted path, and where they came from."""
    case = case_at(study, points(study)[0])
    paths, site = varied(study), case.skin.site
    taken = case.from_site or ()
    return [
        (path, value(path, given), f"from {site}" if path in taken else "")
        for path, given in cases.inputs(case).items()
        if not any(path == one or path.startswith(f"{one}.") for one in paths)
    ]


def _listed(study, path):
    """The values of an input that a study varies, in words."""
    known = list(dict.fromkeys(value(path, settings[path]) for settings in points(study)))
    if len(known) <= MOST_VALUES:
        return ", ".join(known)
    own = [settings[path] for settings in points(study)]
    if all(isinstance(one, float) for one in own):
        return f"{len(known)} values from {value(path, min(own))} to {value(path, max(own))}"
    return f"{len(known)} values, {known[0]} to {known[-1]}"


def write(study, evaluate, into):
    """Path of study.html in a folder, all answers found and written there."""
    path = into / "study.html"
    write_whole(path, html(study, findings(study, evaluate)))
    return path
