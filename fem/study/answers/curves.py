"""Curves: measures over an input that the study varies, or over another measure."""

import json
from collections.abc import Sequence
from itertools import takewhile
from math import isclose
from typing import Literal

import numpy as np
from matplotlib.figure import Figure
from pydantic import Field

from fem.case import case as cases
from fem.case.document import Block
from fem.case.site import SITES, STRETCHES, natural_stretch
from fem.comparison import flat, wording
from fem.comparison.chart import ENDED
from fem.comparison.style import figure, from_zero, key, looks
from fem.comparison.wording import told_apart
from fem.errors import BadCase
from fem.results.accuracy import stated
from fem.results.quantities import error_name, labelled, numbers, quantity
from fem.results.quantities import known as is_measure
from fem.study.answers.charts import caption, cross_out, drawing, label_ticks, places, tables
from fem.study.answers.finding import Ask, Finding, Kind, Measures, case_or_reason, failures, values
from fem.study.answers.naming import heading, measured, name, plain, settings_text, value
from fem.study.sweep import Study, case_at, points

MOST_LINES = 12  # of sentences about single lines of a chart; our choice
ALL = "closed"  # the only line of a chart
WORDS = "least", "middle", "greatest"  # of the values of a band
BESIDE = 0.4  # of the room of a word at the axis, over which dots of several lines are spread; our choice
SAME = 0.01  # of the largest value, below which a curve is called level; our choice


class Curves(Block):
    """Measures over an input of the study's own cases, a chart each."""

    kind: Literal["curves"]
    measures: Measures = Field(description="names of numbers in measures.json; a chart each")
    over: str = Field(description="along the axis: dotted path of an input that the study varies, or a measure")
    by: str | None = Field(default=None, description="dotted path of a second such input, a line each value")
    band: str | None = Field(
        default=None,
        description="dotted path of an input with three numbers or more: a line at the middle one, the area around it "
        "from the least to the greatest",
    )


def varied(block: Curves) -> list[tuple[str, str]]:
    """Inputs (key, path) that the study must vary."""
    over = [] if is_measure(block.over) else [("over", block.over)]
    return over + [(key, path) for key, path in (("by", block.by), ("band", block.band)) if path is not None]


def check(block: Curves, study: Study) -> list:
    """No trials. Raises BadCase if there is no band of what shall have one, or more than one point at a place of it."""
    if not block.band:
        return []
    settings = points(study)
    given = [at.get(block.band) for at in settings]
    numeric = all(isinstance(number, float | int) and not isinstance(number, bool) for number in given)
    if not numeric or len(set(given)) < 3 or (study.keys.sample and block.band in study.keys.sample.over):
        raise BadCase(f"band: '{block.band}' is not varied over three numbers or more of a grid or zip")
    if {block.over, block.by} & _beside(block, study):
        raise BadCase(f"band: '{block.band}' is over or by itself, or varied side by side with one of them")
    groups = _groups(block, study, settings)
    places = [(line, repr(_along(block, study, settings[group[1]]))) for group, line in groups]
    if any(place == "None" for _, place in places):
        raise BadCase(f"band: {block.over} is not known before a wound is closed, so it cannot be the axis of a band")
    if len(set(places)) < len(places) or len(given) != len(groups) * len(set(given)):
        raise BadCase("band: more than one point at a place of a line; vary less, or ask for a line each with `by`")
    return []


def curves(block: Curves, study: Study, ask: Ask) -> Finding:
    """Measures over one input, a line for each value of another and of whatever else the study varies."""
    settings = points(study)
    rows = ask(settings)
    lines: dict = {}
    for group, line in _groups(block, study, settings):
        middle = group[len(group) // 2]
        along = _along(block, study, settings[middle], rows[middle])
        if along is not None:
            lines.setdefault(line, []).append((along, [rows[k] for k in group], middle))
    called = _called(block, study, settings) if block.band else ("",)
    charts, sentences, under = [], [], []
    for measure in block.measures if lines else ():
        known = {}  # by line the places along the axis, and numbers there for the least, the middle and the greatest
        for line, pairs in lines.items():
            along, of, _ = zip(*pairs, strict=True)
            known[line] = along, [values(column, measure) for column in zip(*of, strict=True)]
        series = [(line, along, ys[len(ys) // 2]) for line, (along, ys) in known.items()]
        bands = [(ys[0], ys[-1]) for _, ys in known.values()] if block.band else []
        shown = caption(measure, name(block.over), rows)
        shown += f" {wording.sentence('study/curves', 'band', *called)}" if bands else ""
        charts.append(drawing(draw, shown, series, measure=measure, over=heading(block.over), bands=bands))
        if measure == flat.CONE and block.band:
            sentences += [_from_where(block, line, called, *pairs) for line, pairs in known.items()]
        for line, along, ys in series[:MOST_LINES]:
            off = [_error(measure, rows[k], study, settings[k]) for _, _, k in lines[line]]
            sentences.append(_course(measure, block.over, line, along, ys, off))
        under += tables(measure, block.over, _triples(known, called))
    title = f"{', '.join(map(name, block.measures))} over {name(block.over)}"
    return Finding(title, tuple(filter(None, sentences)), tuple(charts), tuple(under), failures(rows))


def _beside(block, study):
    """The inputs that change with the band."""
    return {block.band, *(study.keys.zip if block.band in study.keys.zip else ())}


def _groups(block, study, settings):
    """Numbers of points that differ in nothing but the band: the least, the middle and the greatest; or each alone.

    Each with words of the line that it belongs to: one for each value of `by`, or of all else in the grid.
    """
    groups: list[tuple[int, ...]] = [(k,) for k in range(len(settings))]
    if block.band:
        alike: dict = {}
        for k, at in enumerate(settings):
            rest = {path: given for path, given in at.items() if path not in _beside(block, study)}
            alike.setdefault(json.dumps(rest, sort_keys=True, default=str), []).append(k)
        ranked = [sorted(group, key=lambda k: settings[k][block.band]) for group in alike.values()]
        groups = [(group[0], group[len(group) // 2], group[-1]) for group in ranked]
    paths = [block.by] if block.by else [path for path in study.keys.grid if path not in (block.over, block.band)]
    if not paths or (not block.by and block.over not in settings[0]):
        return [(group, ALL) for group in groups]
    middle = [settings[group[len(group) // 2]] for group in groups]
    words = told_apart([{path: at[path] for path in paths} for at in middle], settings_text, digits=4)
    return list(zip(groups, words, strict=True))


def _along(block, study, settings, row=None):
    """Place of a point along the axis; without its row, or if that has no result, by what is known before any solve."""
    if block.over in settings:
        return plain(block.over, settings[block.over])
    if row is None or row["status"] != "done":
        case = case_or_reason(study, settings)
        return numbers(cases.geometry(case)).get(block.over) if isinstance(case, cases.Case) else None
    return row.get(block.over)


def _called(block, study, settings):
    """The least, the middle and the greatest value of a band in words: of skin, if natural stretch alone varies."""
    if not _beside(block, study) <= set(STRETCHES):
        return tuple(f"{word} {name(block.band)}" for word in WORDS)
    way, middle = STRETCHES.index(block.band), [settings[k] for (_, k, _), _ in _groups(block, study, settings)]
    sites = {case_at(study, at).skin.site: at[block.band] for at in middle}
    typical = all(site and isclose(natural_stretch(SITES[site])[way], given) for site, given in sites.items())
    return "slack skin", "typical skin" if typical else "skin between", "tense skin"


def _triples(known, called):
    """Place, heading of the column and number of every point of a table."""
    return [
        (x, ", ".join(filter(None, ["" if line == ALL and word else line, word])), y)
        for line, (along, ys) in known.items()
        for word, column in zip(called, ys, strict=True)
        for x, y in zip(along, column, strict=True)
    ]


def _from_where(block, line, called, along, ys):
    """A sentence on the value from which on cones stay flat, at the least, the middle and the greatest of a band."""
    if not all(isinstance(x, float | int) for x in along):
        return ""
    said = []
    for word, column in zip(called, ys, strict=True):
        longest_first = sorted(zip(along, column, strict=True), reverse=True)
        stays = list(takewhile(lambda pair: flat.lies_flat(pair[1]), longest_first))
        start = value(block.over, float(stays[-1][0])) if stays else ""
        where = "all" if len(stays) == len(longest_first) else start
        said.append((word, "lost" if np.isnan(column).any() else where))
    return wording.sentence("study/curves", "stays", "" if line == ALL else line, flat.LEVEL, name(block.over), said)


def _error(measure, row, study, settings):
    """How far a measure of a case may be off: as estimated, else as stated for its triangles; 0 if not known."""
    known, share = row.get(error_name(measure)), quantity(measure).error
    if known is not None or not share or row.get(measure) is None:
        return known or 0.0
    case = case_or_reason(study, settings)
    return share * abs(row[measure]) * (stated(case) if isinstance(case, cases.Case) else 1.0)


def _course(measure, over, line, along, ys, off):
    """A sentence on how a measure goes along a line; `off` are its errors. Nothing if it is known at one place only."""
    known = zip(along, ys, off, strict=True)
    triples = sorted((x, y, e) for x, y, e in known if np.isfinite(y) and isinstance(x, float | int))
    if len(triples) < 2:
        return ""
    xs, y, e = np.array(triples).T
    ends = [f"{measured(measure, y[k])} at {value(over, float(xs[k]))}" for k in (0, -1)]
    extremes = measured(measure, y.min()), measured(measure, y.max())
    way = "stays" if extremes[0] == extremes[1] else _way(y, e)
    line = "" if line == ALL else line
    return wording.sentence("study/curves", "course", name(measure), line, way, *ends, *extremes)


def _way(y, off):
    """Whether numbers (n,) with errors (n,) are "level", or one of them in order; or whether they turn."""
    level = SAME * np.abs(y).max()
    steps = (y - y[:, None])[pairs := np.triu_indices(len(y), 1)]  # from each number to each later one
    least = np.maximum(level, (off + off[:, None])[pairs])
    falls, rises = (steps <= least).all(), (steps >= -least).all()
    if np.ptp(y) <= level or (falls and rises):
        return "level"
    return ("falls" if y[-1] < y[0] else "rises") if falls or rises else "turns"


def draw(series: list[tuple], *, measure: str, over: str, bands: Sequence[tuple] = ()) -> Figure:
    """Figure of lines (name, values along the axis, measure there or NaN); `over` stands along the axis.

    bands   of each line the measure at the same places with the least and with the greatest of what makes the band
    """
    plot, axes = figure()
    all_places, texts = places([x for _, along, _ in series for x in along])
    lost, ends = [], np.cumsum([len(along) for _, along, _ in series])
    for i, ((line, _, ys), x) in enumerate(zip(series, np.split(all_places, ends[:-1]), strict=True)):
        y = np.asarray(ys, float)
        once = len(set(x)) == len(x) and texts is None  # else nothing lies between two
        order = np.argsort(x, kind="stable")
        x = x if texts is None else x + BESIDE * (i - (len(series) - 1) / 2) / len(series)
        called = None if line == ALL else f" {line}"  # matplotlib leaves out what has no label
        axes.plot(x[order], y[order], ms=5, label=called, **looks(i) | ({} if once else {"ls": ""}))
        lost += list(x[np.isnan(y)])
        for low, high in bands[i : i + 1]:
            axes.fill_between(x[order], low[order], high[order], color=looks(i)["color"], alpha=0.15, lw=0)
            for edge, look in zip((low, high), ENDED.values(), strict=True):
                axes.plot(x[order], edge[order], lw=0.8, color=looks(i)["color"], **look)
                lost += list(x[np.isnan(edge)])
    cross_out(axes, lost)
    axes.set(xlabel=over, ylabel=labelled(measure))
    from_zero(axes)
    label_ticks(axes.xaxis, texts)
    if len(series) > 1 or lost:
        key(axes)
    return plot


KIND = Kind(Curves, curves, varied=varied, trials=check)
