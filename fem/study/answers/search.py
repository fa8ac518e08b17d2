"""Search: the best design of a study, by bracketing over one input or a design search over several."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import product
from typing import Annotated, Any, Literal, Self

import numpy as np
from annotated_types import Ge, Gt, Le, MultipleOf
from matplotlib.figure import Figure
from pydantic import Field, field_validator, model_validator

from fem.case.document import Block
from fem.comparison.style import COLOURS, figure, from_zero, key, looks
from fem.comparison.wording import sentence, sentences, told_apart
from fem.errors import refuse
from fem.results.quantities import known, labelled
from fem.study import design_search
from fem.study.answers import skins
from fem.study.answers.charts import cross_out, drawing
from fem.study.answers.finding import Ask, Finding, Kind, Seed, Settings, Table, failures, some
from fem.study.answers.naming import heading, measured, name, settings_text, unknown, value
from fem.study.answers.uncertain_inputs import ranges_of
from fem.study.design_search import Least
from fem.study.sweep import Study

SCAR, CONE = "scar_length_mm", "cone_height_mm"  # of the front
SHARE = 200  # of an input's range, to which its least value is found unless the study says; our choice
EACH = 40  # designs a combination of choices; our choice
FINE = 7  # digits of values that were evaluated, enough not to slip below the limit
MOST_ROWS = 30  # of the table of a front; our choice


class Search(Block):
    """The best design: the least of an input or a measure within limits."""

    kind: Literal["search"]
    least: str = Field(description="what is to be least: a measure, or the one dotted path that is searched over")
    limits: dict[str, float] = Field(description="greatest value that each of these measures may have")
    over: dict[str, tuple[Any, ...]] = Field(
        description="by dotted path: [low, high] of a number, or a list of what may be chosen"
    )
    skins: Annotated[Literal["typical", "worst"] | tuple[Settings, ...], some("skin")] = Field(
        default="typical",
        description="the base's skin; the worst of its site's ranges; or a list of settings: all must keep the limits",
    )
    budget: Annotated[float, MultipleOf(1), Ge(3), Le(10_000)] | None = Field(
        default=None, description="of designs evaluated; default 11 over one input, 40 a combination of choices else"
    )
    tolerance: Annotated[float, Gt(0)] | None = Field(
        default=None, description="of the least value of an input, in its unit; default a 200th of its range"
    )
    seed: Seed = Field(default=0.0, description="the same seed gives the same first points")

    @field_validator("limits")
    @classmethod
    def of_measures(cls, limits: dict[str, float]) -> dict[str, float]:
        """Refuse limits of what is no measure."""
        refuse([((measure,), unknown(measure)) for measure in limits if not known(measure)])
        return limits

    @field_validator("over")
    @classmethod
    def rising(cls, over: dict[str, tuple[Any, ...]]) -> dict[str, tuple[Any, ...]]:
        """Refuse nothing to search over, and ranges that do not rise."""
        problems: list = [] if over else [((), "wanted at least one dotted path")]
        problems += [((p,), "wanted low < high") for p, v in over.items() if is_range(v) and not v[0] < v[1]]
        refuse([*problems, *(((p,), "wanted [low, high] or a list of choices") for p, v in over.items() if not v)])
        return over

    @model_validator(mode="after")
    def possible(self) -> Self:
        """Refuse what cannot be least."""
        if not known(self.least) and list(self.over) != [self.least]:
            refuse([(("least",), f"'{self.least}' is no measure, and not all that `over` holds")])
        if self.least in self.over and not (is_range(self.over[self.least]) and self.limits):
            refuse([(("least",), f"over '{self.least}' a range [low, high] and a limit are needed")])
        return self

    @property
    def ranges(self) -> dict[str, tuple[float, float]]:
        """Ends by dotted path of the numbers that are searched over."""
        return {path: ends for path, ends in self.over.items() if is_range(ends)}

    @property
    def choices(self) -> dict[str, tuple]:
        """Values by dotted path of everything else."""
        return {path: given for path, given in self.over.items() if not is_range(given)}

    @property
    def middle(self) -> Settings:
        """The middle of the ranges and the first choices."""
        return {path: sum(given) / 2 if is_range(given) else given[0] for path, given in self.over.items()}

    @property
    def designs(self) -> int:
        """The budget."""
        default = design_search.MOST if self.least in self.over else EACH * len(list(product(*self.choices.values())))
        return int(self.budget or default)


def is_range(values: tuple) -> bool:
    """Whether values of a search are the ends of a range, and not choices."""
    return len(values) == 2 and all(isinstance(value, float) for value in values)


def trials(block: Search, study: Study) -> list[Settings]:
    """Every combination of choices at the middle of the ranges, in every skin that is listed."""
    middle = {path: (float(np.mean(ends)),) for path, ends in block.ranges.items()}
    tried = [dict(zip(block.over, point, strict=True)) for point in product(*(block.over | middle).values())]
    if block.skins == "worst":
        ranges_of(study, tried[0])
    listed: Sequence[Settings] = [{}] if isinstance(block.skins, str) else block.skins
    return [design | skin for design in tried for skin in listed]


def count(block: Search, study: Study) -> int:
    """How many cases a search may ask for at most."""
    if block.skins == "worst":
        corners = 1 + len({*block.limits, block.least} - set(block.over))
        return 1 + 2 * len(ranges_of(study, block.middle)) + block.designs * corners + skins.CHECKED
    return block.designs * (1 if block.skins == "typical" else len(block.skins))


def search(block: Search, study: Study, ask: Ask) -> Finding:
    """The least of an input or a measure within limits."""
    chosen, notes = skins.chosen(block, study, ask)
    judge = skins.Judge(ask, block, chosen, [])
    finding, best = _over_one(block, judge) if block.least in block.ranges else _over_several(block, judge)
    checks = skins.check(block, study, ask, best) if best is not None and block.skins == "worst" else []
    return replace(
        finding,
        title=sentence("study/search", "title", name(block.least), _limits(block)),
        sentences=(*finding.sentences, *checks),
        best=best,
        notes=(*finding.notes, *notes, *failures([row for rows in judge.done for row in rows])),
    )


def _limits(block):
    limits = [f"{name(measure)} at most {measured(measure, limit)}" for measure, limit in block.limits.items()]
    return " and ".join(limits) or "no limit"


def _at(block, worst, k, verb=""):
    """The measures that are limited, at the design k."""
    return ", ".join(f"{name(m)} {verb}{measured(m, worst[m][k])}" for m in block.limits)


# One input ----------------------------------------------------------------------------------------------------


def _over_one(block, judge) -> tuple[Finding, Settings | None]:
    """Finding on the least value of one input that keeps the limits, and its settings or None."""
    path = block.least
    low, high = block.over[path]
    tolerance = block.tolerance or (high - low) / SHARE
    excess = lambda xs: [max(row[1:]) for row in judge([{path: x} for x in xs])]  # noqa: E731
    least = design_search.least(excess, low, high, tolerance=tolerance, budget=block.designs)
    order, xs = np.argsort(list(least.excess)), sorted(least.excess)
    worst = {m: judge.worst(m)[order] for m in block.limits}
    charts = []
    for measure, limit in block.limits.items():
        caption, about = sentence("study/search", "evaluated", name(measure)), {"measure": measure, "limit": limit}
        drawn = drawing(draw_bracketing, caption, xs, worst[measure], over=heading(path), answer=least.value, **about)
        charts.append(drawn)
    ends = {x: "failed" if np.isnan(by) else "kept" if by <= 0 else "exceeded" for x, by in least.excess.items()}
    numbers = [[measured(m, worst[m][k]) for m in block.limits] for k in range(len(xs))]
    rows = [(value(path, x, FINE), *at, ends[x]) for x, at in zip(xs, numbers, strict=True)]
    note = sentence("study/search", "bracketing", len(xs), value(path, tolerance))
    table = Table("Every value evaluated", (heading(path), *map(name, block.limits), "limits"), tuple(rows))
    finding = Finding("", _least_sentences(block, least, worst, xs), tuple(charts), (table,), (note,))
    return finding, None if least.value is None else {path: least.value}


def _least_sentences(block, least: Least, worst, xs):
    """Sentences on what a search over one input found."""
    path = block.least
    low, high = (value(path, end) for end in block.over[path])
    k = {"nowhere": -1, "end failed": -1, "everywhere": 0}.get(least.why)
    there = _at(block, worst, xs.index(least.value), "is ") if k is None else _at(block, worst, k)
    lost = [value(path, x) for x in xs if np.isnan(least.excess[x])]
    values = there, *("" if x is None else value(path, x, FINE) for x in (least.value, least.too_low))
    about = least.why, name(path), _limits(block), low, high, lost
    return tuple(sentences("study/search", "bracketed", *about, *values))


def draw_bracketing(
    xs: Sequence, ys: np.ndarray, *, limit: float, measure: str, over: str, answer: float | None
) -> Figure:
    """Figure of a measure at all values that a search evaluated, its limit, and the value found or None."""
    plot, axes = figure()
    x, y = np.array(xs), np.array(ys, float)
    axes.axhline(limit, color="#555555", ls="--", lw=1.2, label="limit")
    axes.plot(x, y, "o", color=COLOURS[0], ms=6, label="evaluated")
    cross_out(axes, x[np.isnan(y)])
    if answer is not None:
        axes.axvline(answer, color=COLOURS[1], lw=1.2, ls=":", label="least value found")
    axes.set(xlabel=over, ylabel=labelled(measure))
    from_zero(axes)
    key(axes)
    return plot


# Several inputs -----------------------------------------------------------------------------------------------


def _over_several(block, judge) -> tuple[Finding, Settings | None]:
    """Finding on the least measure over several inputs, and the settings of the best design or None."""
    trials = design_search.trials(judge, block.ranges, block.choices, budget=block.designs, seed=int(block.seed))
    worst = {m: judge.worst(m) for m in {SCAR, CONE, *block.limits}}
    scar, cone, best, groups = worst[SCAR], worst[CONE], design_search.best(trials), _groups(block, trials)
    star = None if best is None else [at[trials.index(best)] for at in (scar, cone)]
    marks = [(group, scar[ks], cone[ks], [trials[k].kept for k in ks]) for group, ks in groups.items()]
    chart = drawing(draw_trade_off, sentence("study/search", "front"), marks, star, x=SCAR, y=CONE)
    note = sentence("study/search", "designs", len(trials), block.designs, int(block.seed))
    lines = _best_sentences(block, trials, worst, groups)
    finding = Finding("", lines, (chart,), (_front_table(block, trials, worst),), (note,))
    return finding, None if best is None else best.point


def _groups(block, trials):
    """Places of the designs by their choices in words."""
    chosen = [{path: given for path, given in trial.point.items() if path in block.choices} for trial in trials]
    names = told_apart(chosen, settings_text, digits=4) if block.choices else ["designs"] * len(trials)
    return {name: [k for k, other in enumerate(names) if other == name] for name in names}


def _front_table(block, trials, worst):
    shown = [SCAR, CONE, *(m for m in block.limits if m not in (SCAR, CONE))]
    front = design_search.front(worst[SCAR], worst[CONE])
    rows = []
    for k in front[:: max(1, -(-len(front) // MOST_ROWS))]:
        point, ends = trials[k].point, "kept" if trials[k].kept else "exceeded"
        rows.append((*(value(p, point[p]) for p in block.over), *(measured(m, worst[m][k]) for m in shown), ends))
    headings = (*map(name, block.over), *map(name, shown), "limits")
    return Table("The front of scar length against cone height", headings, tuple(rows))


def _best_sentences(block, trials, worst, groups):
    """Sentences on what a search over several inputs found."""
    best, limits = design_search.best(trials), _limits(block)
    if best is None:
        near = min(trials, key=lambda trial: trial.worst)
        settings = settings_text(near.point) if np.isfinite(near.worst) else None
        return (sentence("study/search", "nearest", limits, settings, _at(block, worst, trials.index(near))),)
    about = measured(block.least, best.goal), settings_text(best.point), _at(block, worst, trials.index(best))
    lines = [sentence("study/search", "best", name(block.least), limits, *about)]
    for group, ks in groups.items() if len(groups) > 1 else ():
        first = design_search.best([trials[k] for k in ks])
        lines.append(sentence("study/search", "group", group, first and measured(block.least, first.goal)))
    return tuple(lines)


def draw_trade_off(groups: list[tuple], best: Sequence | None, *, x: str, y: str) -> Figure:
    """Figure of all designs: groups (name, measures x, measures y, whether within limits), and the best (x, y)."""
    plot, axes = figure()
    for i, (group, across, upwards, within) in enumerate(groups):
        look = looks(i) | {"ls": ""}
        places, kept = np.array([across, upwards], float), np.asarray(within, bool)
        axes.plot(*places[:, ~kept], ms=5, mfc="none", alpha=0.6, **look)
        axes.plot(*places[:, kept], ms=6, label=f" {group}", **look)
        axes.plot(*places[:, design_search.front(across, upwards)], color=look["color"], lw=1.2)
    if best:
        axes.plot(*best, "*", ms=17, mfc="none", mec="k", mew=1.4, label="best within limits")
    axes.set(xlabel=labelled(x), ylabel=labelled(y))
    key(axes)
    return plot


KIND = Kind(
    Search,
    search,
    measures=lambda block: (block.least, *block.limits),
    trials=trials,
    count=count,
    sources=lambda block: sentences("study/search", "sources", block.least in block.over),
)
