"""Curves: measures over an input that the study varies, or over another measure."""

from collections.abc import Sequence
from itertools import takewhile
from typing import Literal

import numpy as np
from matplotlib.figure import Figure
from pydantic import Field

from fem.case import case as cases
from fem.case.document import Block
from fem.case.site import STRETCHES
from fem.comparison import flat, wording
from fem.comparison.chart import ENDED
from fem.comparison.style import figure, key, looks
from fem.comparison.wording import told_apart
from fem.errors import BadCase
from fem.results.quantities import known as is_measure
from fem.results.quantities import labelled, numbers
from fem.study.answers.charts import caption, cross_out, drawing, label_ticks, places, tables
from fem.study.answers.finding import Ask, Finding, Kind, Measures, case_or_reason, failures, values
from fem.study.answers.naming import cell, heading, measured, name, settings_text, value
from fem.study.sweep import Study, points

MOST_LINES = 12  # of sentences about single lines of a chart; our choice
ALL = "closed"  # the only line of a chart
WORDS = "least", "middle", "greatest"  # of the values of a band
MIDDLE = WORDS[1]
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
    """No trials. Raises BadCase if there is no band of what shall have one."""
    given = {at.get(block.band) for at in points(study)} if block.band else {0.0, 1.0, 2.0}
    if len(given) < 3 or not all(isinstance(number, float | int) for number in given):
        raise BadCase(f"band: '{block.band}' is not varied over three numbers or more")
    return []


def curves(block: Curves, study: Study, ask: Ask) -> Finding:
    """Measures over one input, a line for each value of another and of whatever else the study varies."""
    settings = points(study)
    rows = ask(settings)
    ends = _ends(block, settings)
    lines: dict = {}
    for at, row, line in zip(settings, rows, _lines(block, study, settings), strict=True):
        along = at[block.over] if block.over in at else _geometry(study, at, row).get(block.over)
        word = ends.get(at.get(block.band)) if block.band else MIDDLE
        if along is not None and word is not None:
            lines.setdefault(line, {}).setdefault(word, []).append((along, row))
    charts, sentences, under = [], [], []
    for measure in block.measures if lines else ():
        known = {line: _numbers(skins, measure) for line, skins in lines.items()}
        series = [(line, *skins[MIDDLE]) for line, skins in known.items() if MIDDLE in skins]
        bands = [_edges(skins) for skins in known.values() if MIDDLE in skins] if block.band else []
        shown = caption(measure, name(block.over), rows)
        shown += f" {wording.sentence('study/curves', 'band', *_called(block))}" if bands else ""
        charts.append(drawing(draw, shown, series, measure=measure, over=heading(block.over), bands=bands))
        if measure == flat.CONE and block.band:
            sentences += [_from_where(block, line, skins) for line, skins in known.items()]
        sentences += [_course(measure, block.over, *line) for line in series[:MOST_LINES]]
        columns = [(_column(block, line, word), skins[word]) for line, skins in known.items() for word in _in(skins)]
        triples = [(x, column, y) for column, pairs in columns for x, y in zip(*pairs, strict=True)]
        under += tables(measure, block.over, triples)
    title = f"{', '.join(map(name, block.measures))} over {name(block.over)}"
    return Finding(title, tuple(filter(None, sentences)), tuple(charts), tuple(under), failures(rows))


def _ends(block, settings):
    """What the least, the middle and the greatest value of a band are called, by value."""
    every = sorted({at[block.band] for at in settings}) if block.band else []
    return dict(zip((every[0], every[len(every) // 2], every[-1]), WORDS, strict=True)) if every else {}


def _called(block):
    """The least, the middle and the greatest value of a band in words: skin, if natural stretch is what varies."""
    skins, what = block.band in STRETCHES, name(block.band)
    return ("slack skin", "typical skin", "tense skin") if skins else tuple(f"{word} {what}" for word in WORDS)


def _numbers(skins, measure):
    """Places and numbers of a measure by word of the band."""
    return {word: ([x for x, _ in pairs], values([r for _, r in pairs], measure)) for word, pairs in skins.items()}


def _in(skins):
    return [word for word in WORDS if word in skins]


def _column(block, line, word):
    if not block.band:
        return line
    called = _called(block)[WORDS.index(word)]
    return called if line == ALL else f"{line}, {called}"


def _edges(skins):
    """The least and the greatest value's curve, at the places of the middle one; NaN where there is none."""
    at = [{repr(x): y for x, y in zip(*skins.get(word, ((), ())), strict=True)} for word in (WORDS[0], WORDS[2])]
    return tuple(np.array([edge.get(repr(x), np.nan) for x in skins[MIDDLE][0]], float) for edge in at)


def _from_where(block, line, skins):
    """A sentence on the value from which on cones stay flat, at the least, the middle and the greatest of a band."""
    said = []
    for word, called in zip(WORDS, _called(block), strict=True):
        longest_first = sorted(_known(*skins.get(word, ((), ()))), reverse=True)
        if not longest_first:
            continue
        stays = list(takewhile(lambda pair: wording.printed(flat.CONE, pair[1]) < flat.LEVEL, longest_first))
        start = value(block.over, float(stays[-1][0])) if stays else ""
        said.append((called, "all" if stays and len(stays) == len(longest_first) else start))
    words = "" if line == ALL else line, flat.LEVEL, name(block.over), said
    return wording.sentence("study/curves", "stays", *words) if said else ""


def _known(along, ys):
    """Pairs of numbers, without what is not known or no number."""
    pairs = zip(along, ys, strict=True)
    return [(x, y) for x, y in pairs if np.isfinite(y) and isinstance(x, float | int)]


def _geometry(study, settings, row):
    """Numbers of a row; if it has no result, those that are known of its case before any solve."""
    case = case_or_reason(study, settings) if row["status"] != "done" else None
    return numbers(cases.geometry(case)) if isinstance(case, cases.Case) else row


def _lines(block, study, settings):
    """Words of the line that each point belongs to: one for each value of `by`, or of all else in the grid."""
    paths = [block.by] if block.by else [path for path in study.keys.grid if path not in (block.over, block.band)]
    if not paths or (not block.by and block.over not in settings[0]):
        return [ALL] * len(settings)
    return told_apart([{path: at[path] for path in paths} for at in settings], settings_text, digits=4)


def _course(measure, over, line, along, ys):
    """A sentence on how a measure goes along a line; nothing if less than two of its values are known."""
    pairs = sorted(_known(along, ys))
    if len(pairs) < 2:
        return ""
    y = np.array([y for _, y in pairs])
    ends = [f"{measured(measure, y)} at {value(over, float(x))}" for x, y in (pairs[0], pairs[-1])]
    level = SAME * np.abs(y).max()
    way = "turns"
    if np.ptp(y) <= level or cell(measure, y.min()) == cell(measure, y.max()):
        way = "level"
    elif (np.diff(y) <= level).all() or (np.diff(y) >= -level).all():
        way = "falls" if y[-1] < y[0] else "rises"
    extremes = (measured(measure, end) for end in (y.min(), y.max()))
    line = "" if line == ALL else line
    return wording.sentence("study/curves", "course", name(measure), line, way, *ends, *extremes)


def draw(series: list[tuple], *, measure: str, over: str, bands: Sequence[tuple] = ()) -> Figure:
    """Figure of lines (name, values along the axis, measure there or NaN); `over` stands along the axis.

    bands   of each line the measure at the same places with the least and with the greatest of what makes the band
    """
    plot, axes = figure()
    all_places, texts = places([x for _, along, _ in series for x in along])
    lost, ends = [], np.cumsum([len(along) for _, along, _ in series])
    for i, ((line, _, ys), x) in enumerate(zip(series, np.split(all_places, ends[:-1]), strict=True)):
        y = np.asarray(ys, float)
        once = len(set(x)) == len(x)
        order = np.argsort(x, kind="stable")
        axes.plot(x[order], y[order], ms=5, label=f" {line}", **looks(i) | ({} if once else {"ls": ""}))
        lost += list(x[np.isnan(y)])
        for low, high in bands[i : i + 1]:
            axes.fill_between(x[order], low[order], high[order], color=looks(i)["color"], alpha=0.15, lw=0)
            for edge, look in zip((low, high), ENDED.values(), strict=True):
                axes.plot(x[order], edge[order], lw=0.8, color=looks(i)["color"], **look)
                lost += list(x[np.isnan(edge)])
    cross_out(axes, lost)
    axes.set(xlabel=over, ylabel=labelled(measure))
    axes.set_ylim(bottom=min(0.0, axes.get_ylim()[0]))
    label_ticks(axes.xaxis, texts)
    if len(series) > 1 or lost:
        key(axes)
    return plot


KIND = Kind(Curves, curves, measures=lambda block: block.measures, varied=varied, trials=check)
