"""The best design of a study: one input by bracketing, several by a search, for one skin or the worst of several."""

from dataclasses import dataclass, replace

import numpy as np

from fem.case import site
from fem.study import graph, search, sensitivity
from fem.study.answer import is_range, known
from fem.study.finding import (
    Finding,
    Table,
    drawing,
    failures,
    heading,
    measured,
    name,
    sentence,
    settings_in_words,
    unit_of,
    value,
    values,
)
from fem.study.uncertain import distribution_of, ranges_of

SCAR, CONE = "scar_length_mm", "cone_height_mm"  # of the front
SHARE = 200  # of an input's range, to which its least value is found unless the study says; our choice
EACH = 40  # designs a combination of choices; our choice
CHECKED = 16  # skins in which the best design for the worst is tried; our choice
MOST_ROWS = 30  # of the table of a front; our choice


@dataclass(frozen=True)
class Judge:
    """What designs are held against: the rows of a study, the limits, and the skins that must all keep them."""

    ask: object  # finding.Ask
    asked: object  # answer.Search
    skins: tuple[dict, ...]
    done: list  # rows, one a skin, of every design judged so far, in order; grows

    def __call__(self, designs):
        """Numbers (k, 1 + limits) of designs: the greatest goal and excess over all skins, NaN if any is not known."""
        rows, m = self.ask([design | skin for design in designs for skin in self.skins]), len(self.skins)
        tables = [rows[k : k + m] for k in range(0, len(rows), m)]
        self.done.extend(tables)
        return [self._judged(design, own) for design, own in zip(designs, tables, strict=True)]

    def _judged(self, design, rows):
        least, limits = self.asked.least, self.asked.limits
        goal = design[least] if least in design else values(rows, least).max()
        excess = [(values(rows, m) - limit).max() / (abs(limit) or 1.0) for m, limit in limits.items()]
        return [goal if np.isfinite(excess).all() else np.nan, *excess]


def optimum(asked, study, ask) -> Finding:
    """The least of an input or a measure within limits."""
    ranges = {path: ends for path, ends in asked.over.items() if is_range(ends)}
    choices = {path: some for path, some in asked.over.items() if path not in ranges}
    skins, notes = _skins(asked, study, ask, ranges, choices)
    judge = Judge(ask, asked, skins, [])
    finding, best = _one(asked, judge) if asked.least in ranges else _several(asked, judge, ranges, choices)
    said = list(finding.said)
    if best is not None and asked.skins == "worst":
        said += _checked(asked, study, ask, best)
    return replace(
        finding,
        title=f"Least {name(asked.least)} with {_limits(asked)}",
        said=tuple(said),
        notes=(*finding.notes, *notes, *failures([row for rows in judge.done for row in rows])),
    )


def _limits(asked):
    told = [f"{name(measure)} at most {measured(measure, limit)}" for measure, limit in asked.limits.items()]
    return " and ".join(told) or "no limit"


# Skins --------------------------------------------------------------------------------------------------------


def _skins(asked, study, ask, ranges, choices):
    """Settings of every skin in which a design must keep the limits, and what to say of them."""
    if asked.skins == "typical":
        return ({},), ("Skin: the base's.",)
    if asked.skins != "worst":
        told = "; ".join(map(settings_in_words, asked.skins))
        return tuple(asked.skins), (f"Every design was closed in {len(asked.skins)} skins, the worst counts: {told}.",)
    middle = {path: sum(ends) / 2 for path, ends in ranges.items()} | {path: some[0] for path, some in choices.items()}
    held = ranges_of(study, middle)
    skins, lost = _corners(asked, ask, middle, held)
    told = "; ".join(map(settings_in_words, skins[1:]))
    notes = [
        "Every design was closed in the typical skin and in the worst of the site's ranges, and the worst counts. For "
        "the goal and each limit that is the corner of the ranges to which the measure rises when inputs are changed "
        f"one at a time, at the middle of what is searched (our choice; it takes the course to be one way): {told}."
    ]
    if lost:
        notes.append(f"{lost} of those trials failed; their inputs stay typical unless the other end was worse.")
    return skins, tuple(notes)


def _corners(asked, ask, middle, held):
    """The typical skin and a corner of the ranges for the goal and each limit, and how many trials failed."""
    tied = {site.RATIO: held[site.RATIO].typical} if site.RATIO in held else {}  # across goes with along
    ends = [(path, end) for path, one in held.items() for end in (one.low, one.high)]
    typical, *rows = ask([middle, *(middle | tied | {path: end} for path, end in ends)])
    skins = [{}]
    for measure in dict.fromkeys([*([asked.least] if known(asked.least) else []), *asked.limits]):
        found, start = values(rows, measure), values([typical], measure)[0]
        corner = {}
        for path in held:
            own = [(y, end) for y, (p, end) in zip(found, ends, strict=True) if p == path and np.isfinite(y)]
            if own and (np.isnan(start) or max(own)[0] > start):
                corner[path] = max(own)[1]
        if corner and tied | corner not in skins:
            skins.append(tied | corner)
    return tuple(skins), sum(row["status"] != "done" for row in rows)


def _checked(asked, study, ask, best):
    """Sentences on whether the best design keeps its limits in skins all over the ranges."""
    laws = {path: distribution_of(held) for path, held in ranges_of(study, best).items()}
    sample = sensitivity.sample(list(laws.values()), n=CHECKED, seed=int(asked.seed))
    rows = ask([best | dict(zip(laws, map(float, column), strict=True)) for column in sample.T])
    said = []
    for measure, limit in asked.limits.items():
        found = values(rows, measure)
        kept, failed = int((found <= limit).sum()), int(np.isnan(found).sum())
        lost = f", {failed} without closure" if failed else ""
        said.append(
            f"Tried in {CHECKED} skins all over the ranges, this design keeps the limit of {name(measure)} in {kept}"
            f"{lost}; the greatest was {measured(measure, np.nanmax(found, initial=-np.inf))}."
        )
    return said


# One input ----------------------------------------------------------------------------------------------------


def _one(asked, judge):
    """Finding on the least value of one input that keeps the limits, and its settings or None."""
    path = asked.least
    low, high = asked.over[path]
    tolerance = asked.tolerance or (high - low) / SHARE

    def excess(wanted):
        return [max(row[1:]) for row in judge([{path: x} for x in wanted])]

    found = search.least(excess, low, high, tolerance=tolerance, budget=int(asked.budget or search.MOST))
    solves = len(found.seen)
    xs = sorted(found.seen)
    rows_at = dict(zip(found.seen, judge.done, strict=True))
    worst = {m: np.array([values(rows_at[x], m).max() for x in xs]) for m in asked.limits}
    charts = [
        drawing(
            graph.bracketing, f"{sentence(name(measure))} at every value that was evaluated.", xs, worst[measure],
            limit=limit, measure=measure, over=heading(path), answer=found.value,
        )
        for measure, limit in asked.limits.items()
    ]  # fmt: skip
    rows = [
        (_fine(path, x), *(measured(m, worst[m][k]) for m in asked.limits), _kept(found.seen[x]))
        for k, x in enumerate(xs)
    ]
    headings = (heading(path), *map(name, asked.limits), "limits")
    notes = (
        f"Bracketing (Chandrupatla 1997): {solves} values evaluated, tolerance {value(path, tolerance)}. It takes "
        "limits that are kept from some value on; other crossings would go unseen between the values evaluated.",
    )
    table = Table("Every value evaluated", headings, tuple(rows))
    finding = Finding("", _least_said(asked, found, worst, xs), tuple(charts), (table,), notes)
    return finding, None if found.value is None else {path: found.value}


def _fine(path, number):
    """A value that was evaluated, with digits enough not to slip below the limit."""
    return f"{number:.7g} {unit_of(path)}".strip()


def _kept(excess):
    return "failed" if np.isnan(excess) else "kept" if excess <= 0 else "exceeded"


def _least_said(asked, found, worst, xs):
    """Sentences on what a search over one input found."""
    path, what, limits = asked.least, name(asked.least), _limits(asked)
    low, high = (value(path, end) for end in asked.over[path])
    if found.why == "end failed":
        bad = " and ".join(value(path, x) for x in xs if np.isnan(found.seen[x]))
        return (f"No answer: at {bad}, an end of the range, there is no closure, so nothing is bracketed.",)
    if found.why == "nowhere":
        at = ", ".join(f"{name(m)} {measured(m, worst[m][-1])}" for m in asked.limits)
        return (f"No {what} from {low} to {high} is known to have {limits}: at {high} it is {at}.",)
    if found.why == "everywhere":
        at = ", ".join(f"{name(m)} {measured(m, worst[m][0])}" for m in asked.limits)
        return (f"The limits are kept at {low} already, the lower end of the range: {at}.",)
    at = xs.index(found.value)
    there = ", ".join(f"{name(m)} is {measured(m, worst[m][at])}" for m in asked.limits)
    said = (
        f"The least {what} with {limits} is {_fine(path, found.value)}, where the {there}. At "
        f"{_fine(path, found.too_low)} a limit is still exceeded.",
    )
    reasons = {
        "budget": "The budget of solves ended before the tolerance was reached.",
        "failed between": "Solves between these two failed, so it cannot be told closer.",
    }
    return said + ((reasons[found.why],) if found.why in reasons else ())


# Several inputs -----------------------------------------------------------------------------------------------


def _several(asked, judge, ranges, choices):
    """Finding on the least measure over several inputs, and the settings of the best design or None."""
    combinations = int(np.prod([len(some) for some in choices.values()], dtype=int))
    budget = int(asked.budget or EACH * combinations)
    at = {path: tuple(range(len(some))) for path, some in choices.items()}  # a choice may be a block: number it

    def design(point):
        return {path: choices[path][int(chosen)] if path in choices else chosen for path, chosen in point.items()}

    done = search.trials(
        lambda wanted: judge([design(point) for point in wanted]), ranges, at, budget=budget, seed=int(asked.seed)
    )
    best = search.best(done)
    measures = {SCAR, CONE, asked.least, *asked.limits}
    seen = {m: np.array([values(rows, m).max() for rows in judge.done]) for m in measures}  # in the order of `done`
    front = search.front(seen[SCAR], seen[CONE])
    groups: dict = {}
    for k, trial in enumerate(done):
        chosen = {path: given for path, given in design(trial.point).items() if path in choices}
        groups.setdefault(settings_in_words(chosen) if chosen else "designs", []).append(k)
    chart = drawing(
        graph.trade, "Every design evaluated: full marks keep the limits, hollow ones do not; lines join the front of "
        "each kind, the designs that no other beats in both.",
        [_group(words, own, done, seen) for words, own in groups.items()],
        (seen[SCAR][done.index(best)], seen[CONE][done.index(best)]) if best else None, x=SCAR, y=CONE,
    )  # fmt: skip
    rows = [
        (
            *(value(path, design(done[k].point)[path]) for path in asked.over),
            measured(SCAR, seen[SCAR][k]),
            measured(CONE, seen[CONE][k]),
            *(measured(m, seen[m][k]) for m in asked.limits if m not in (SCAR, CONE)),
            "kept" if done[k].kept else "exceeded",
        )
        for k in front[:: max(1, -(-len(front) // MOST_ROWS))]
    ]
    others = [name(m) for m in asked.limits if m not in (SCAR, CONE)]
    headings = (*map(name, asked.over), name(SCAR), name(CONE), *others, "limits")
    table = Table("The front of scar length against cone height", headings, tuple(rows))
    notes = (
        f"{len(done)} designs evaluated of a budget of {budget}, seed {int(asked.seed)}: points of Sobol's all over "
        "the ranges for every combination of choices, then local searches (COBYLA, Powell 1994) to half a thousandth "
        "of each range. What is called best is the best of the designs evaluated; the search is local, so a better "
        "one may be elsewhere.",
    )
    finding = Finding("", _best_said(asked, done, best, design, seen, groups), (chart,), (table,), notes)
    return finding, None if best is None else design(best.point)


def _group(words, own, done, seen):
    x, y = seen[SCAR][own], seen[CONE][own]
    return words, x, y, [done[k].kept for k in own], search.front(x, y)


def _best_said(asked, done, best, design, seen, groups):
    """Sentences on what a search over several inputs found."""
    if best is None:
        nearest = min(done, key=lambda trial: trial.worst)
        if not np.isfinite(nearest.worst):
            return ("No answer: no design evaluated has a closure.",)
        at = ", ".join(f"{name(m)} {measured(m, seen[m][done.index(nearest)])}" for m in asked.limits)
        where = settings_in_words(design(nearest.point))
        return (f"No design evaluated has {_limits(asked)}. The nearest, {where}, has {at}.",)
    k = done.index(best)
    at = ", ".join(f"{name(m)} {measured(m, seen[m][k])}" for m in asked.limits)
    said = [
        f"The least {name(asked.least)} with {_limits(asked)} is {measured(asked.least, best.goal)}: "
        f"{settings_in_words(design(best.point))}; {at}."
    ]
    for words, own in groups.items() if len(groups) > 1 else ():
        found = search.best([done[i] for i in own])
        short = f"{measured(asked.least, found.goal)} at best" if found else "no design within the limits"
        said.append(f"{sentence(words)}: {short}.")
    return tuple(said)


# Cost ---------------------------------------------------------------------------------------------------------


def count(asked, study):
    """How many cases a search may ask for at most."""
    combinations = int(np.prod([len(some) for some in asked.over.values() if not is_range(some)], dtype=int))
    designs = int(asked.budget or (search.MOST if asked.least in asked.over else EACH * combinations))
    if asked.skins == "typical":
        return designs
    if asked.skins != "worst":
        return designs * len(asked.skins)
    middle = {path: sum(some) / 2 if is_range(some) else some[0] for path, some in asked.over.items()}
    corners = 1 + len({*asked.limits, asked.least} - set(asked.over))
    return 1 + 2 * len(ranges_of(study, middle)) + designs * corners + CHECKED
