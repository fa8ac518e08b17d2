"""Curves: measures over an input that the study varies, or over another measure."""

from typing import Literal

import numpy as np
from matplotlib.figure import Figure
from pydantic import Field

from fem.case import case as cases
from fem.case.document import Block
from fem.comparison import wording
from fem.comparison.style import figure, key, looks
from fem.comparison.wording import told_apart
from fem.results.quantities import known, labelled, numbers
from fem.study.answers.charts import caption, cross_out, drawing, label_ticks, places, tables
from fem.study.answers.finding import Ask, Finding, Kind, Measures, case_or_reason, failures, values
from fem.study.answers.naming import heading, measured, name, settings_text, value
from fem.study.sweep import Study, points

MOST_LINES = 12  # of sentences about single lines of a chart; our choice
ALL = "closed"  # the only line of a chart
SAME = 0.01  # of the largest value, below which a curve is called level; our choice


class Curves(Block):
    """Measures over an input of the study's own cases, a chart each."""

    kind: Literal["curves"]
    measures: Measures = Field(description="names of numbers in measures.json; a chart each")
    over: str = Field(description="along the axis: dotted path of an input that the study varies, or a measure")
    by: str | None = Field(default=None, description="dotted path of a second such input, a line each value")


def varied(block: Curves) -> list[tuple[str, str]]:
    """Inputs (key, path) that the study must vary."""
    over = [] if known(block.over) else [("over", block.over)]
    return over if block.by is None else [*over, ("by", block.by)]


def curves(block: Curves, study: Study, ask: Ask) -> Finding:
    """Measures over one input, a line for each value of another and of whatever else the study varies."""
    settings = points(study)
    rows = ask(settings)
    lines: dict = {}
    for at, row, line in zip(settings, rows, _lines(block, study, settings), strict=True):
        along = at[block.over] if block.over in at else _geometry(study, at, row).get(block.over)
        if along is not None:
            lines.setdefault(line, []).append((along, row))
    charts, sentences, under = [], [], []
    for measure in block.measures if lines else ():
        series = [
            (line, [x for x, _ in pairs], values([r for _, r in pairs], measure)) for line, pairs in lines.items()
        ]
        shown = caption(measure, name(block.over), rows)
        charts.append(drawing(draw, shown, series, measure=measure, over=heading(block.over)))
        sentences += [_course(measure, block.over, *line) for line in series[:MOST_LINES]]
        triples = [(x, line, y) for line, along, ys in series for x, y in zip(along, ys, strict=True)]
        under += tables(measure, block.over, triples)
    title = f"{', '.join(map(name, block.measures))} over {name(block.over)}"
    return Finding(title, tuple(filter(None, sentences)), tuple(charts), tuple(under), failures(rows))


def _geometry(study, settings, row):
    """Numbers of a row; if it has no result, those that are known of its case before any solve."""
    case = case_or_reason(study, settings) if row["status"] != "done" else None
    return numbers(cases.geometry(case)) if isinstance(case, cases.Case) else row


def _lines(block, study, settings):
    """Words of the line that each point belongs to: one for each value of `by`, or of all else in the grid."""
    paths = [block.by] if block.by else [path for path in study.keys.grid if path != block.over]
    if not paths or (not block.by and block.over not in settings[0]):
        return [ALL] * len(settings)
    return told_apart([{path: at[path] for path in paths} for at in settings], settings_text, digits=4)


def _course(measure, over, line, along, ys):
    """A sentence on how a measure goes along a line; nothing if less than two of its values are known."""
    pairs = sorted((x, y) for x, y in zip(along, ys, strict=True) if np.isfinite(y) and isinstance(x, float | int))
    if len(pairs) < 2:
        return ""
    y = np.array([y for _, y in pairs])
    ends = [f"{measured(measure, y)} at {value(over, float(x))}" for x, y in (pairs[0], pairs[-1])]
    level = SAME * np.abs(y).max()
    way = "turns"
    if np.ptp(y) <= level:
        way = "level"
    elif (np.diff(y) <= level).all() or (np.diff(y) >= -level).all():
        way = "falls" if y[-1] < y[0] else "rises"
    extremes = (measured(measure, end) for end in (y.min(), y.max()))
    line = "" if line == ALL else line
    return wording.sentence("study/curves", "course", name(measure), line, way, *ends, *extremes)


def draw(series: list[tuple], *, measure: str, over: str) -> Figure:
    """Figure of lines (name, values along the axis, measure there or NaN); `over` stands along the axis."""
    plot, axes = figure()
    all_places, texts = places([x for _, along, _ in series for x in along])
    lost, ends = [], np.cumsum([len(along) for _, along, _ in series])
    for i, ((line, _, ys), x) in enumerate(zip(series, np.split(all_places, ends[:-1]), strict=True)):
        y = np.asarray(ys, float)
        once = len(set(x)) == len(x)
        order = np.argsort(x, kind="stable")
        axes.plot(x[order], y[order], ms=5, label=f" {line}", **looks(i) | ({} if once else {"ls": ""}))
        lost += list(x[np.isnan(y)])
    cross_out(axes, lost)
    axes.set(xlabel=over, ylabel=labelled(measure))
    axes.set_ylim(bottom=min(0.0, axes.get_ylim()[0]))
    label_ticks(axes.xaxis, texts)
    if len(series) > 1 or lost:
        key(axes)
    return plot


KIND = Kind(Curves, curves, measures=lambda block: block.measures, varied=varied)
