"""Curves and maps of measures over the inputs that a study varies."""

import numpy as np

from fem.case import case as cases
from fem.case import overview
from fem.results.result import numbers, shown
from fem.study import graph
from fem.study.finding import (
    Finding,
    Table,
    drawing,
    failures,
    heading,
    made_case,
    measured,
    name,
    sentence,
    settings_in_words,
    value,
    values,
)
from fem.study.sweep import points

MOST_LINES = 12  # of sentences about single lines of a chart; our choice
ALL = "closed"  # the only line of a chart
MOST_CELLS = 200  # of a table; our choice
SAME = 0.01  # of the largest value, below which a curve is called level; our choice


def curves(asked, study, ask) -> Finding:
    """Measures over one input, a line for each value of another and of whatever else the study varies."""
    settings = points(study)
    rows = ask(settings)
    lines: dict = {}
    for at, row in zip(settings, rows, strict=True):
        along = at[asked.over] if asked.over in at else _geometry(study, at, row).get(asked.over)
        if along is not None:
            lines.setdefault(_line(asked, study, at), []).append((along, row))
    charts, said, tables = [], [], []
    for measure in asked.measures if lines else ():
        series = [(words, [x for x, _ in own], values([r for _, r in own], measure)) for words, own in lines.items()]
        told = f"{sentence(name(measure))} over {name(asked.over)}.{_crossed(rows)}"
        charts.append(drawing(graph.curves, told, series, measure=measure, over=heading(asked.over)))
        said += [_course(measure, asked.over, *line) for line in series[:MOST_LINES]]
        triples = [(x, words, y) for words, along, found in series for x, y in zip(along, found, strict=True)]
        tables += _tables(measure, asked.over, triples)
    title = f"{', '.join(map(name, asked.measures))} over {name(asked.over)}"
    return Finding(title, tuple(filter(None, said)), tuple(charts), tuple(tables), failures(rows))


def _crossed(rows):
    return "" if all(row["status"] == "done" for row in rows) else " Gaps and crosses: no closure."


def _tables(measure, down, triples):
    """The table of a measure from (value of the input down, words across, number); none if it would not be read.

    Nor is there one if two numbers would share a cell.
    """
    cells = {(x, words): number for x, words, number in triples if isinstance(x, float | int | str)}
    rows, columns = dict.fromkeys(x for x, _ in cells), dict.fromkeys(words for _, words in cells)
    if len(cells) < len(triples) or len(rows) * len(columns) > MOST_CELLS:
        return []
    if not any(isinstance(x, str) for x in rows):
        rows = dict.fromkeys(sorted(rows))
    body = tuple(
        (value(down, x), *(shown(measure, _or_none(cells.get((x, words), np.nan))) for words in columns)) for x in rows
    )
    return [Table(sentence(heading(measure)), (heading(down), *columns), body)]


def _or_none(number):
    return None if np.isnan(number) else number


def _geometry(study, settings, row):
    """Numbers of a row; if it has no result, those that are known of its case before any solve."""
    case = made_case(study, settings) if row["status"] != "done" else None
    return numbers(overview.geometry(case)) if isinstance(case, cases.Case) else row


def _line(asked, study, settings):
    """Words of the line that a point belongs to: one for each value of `by`, or of all else in the grid."""
    if asked.by is not None:
        return settings_in_words({asked.by: settings[asked.by]})
    rest = [path for path in study.keys.grid if path != asked.over] if asked.over in settings else []
    return settings_in_words({path: settings[path] for path in rest}) if rest else ALL


def _course(measure, over, line, along, found):
    """A sentence on how a measure goes along a line; nothing if less than two of its values are known."""
    known = [(x, y) for x, y in zip(along, found, strict=True) if np.isfinite(y) and isinstance(x, float | int)]
    if len(known) < 2:
        return ""
    (x0, first), (x1, last) = min(known), max(known)
    y = np.array([found for _, found in sorted(known)])
    start, end = (f"{measured(measure, y)} at {value(over, float(x))}" for x, y in ((x0, first), (x1, last)))
    level = SAME * np.abs(y).max()
    if np.ptp(y) <= level:
        how = f"hardly changes, {start}, {end}"
    elif (np.diff(y) <= level).all() or (np.diff(y) >= -level).all():
        how = f"{'falls' if last < first else 'rises'} from {start} to {end}"
    else:
        ends = f"least {measured(measure, y.min())}, greatest {measured(measure, y.max())}"
        how = f"goes from {start} to {end}, but not one way: {ends}"
    return sentence(f"{name(measure)}{'' if line == ALL else f', {line},'} {how}.")


def colour_map(asked, study, ask) -> Finding:
    """A measure over two inputs."""
    settings = points(study)
    rows = ask(settings)
    x, y = ([at[path] for at in settings] for path in asked.over)
    found = values(rows, asked.measure)
    words = tuple(map(name, asked.over))
    told = f"{sentence(name(asked.measure))} over {words[0]} and {words[1]}.{_crossed(rows)}"
    picture = drawing(graph.colour_map, told, x, y, found, measure=asked.measure, over=tuple(map(heading, asked.over)))
    said = []
    for which, place in (("least", np.nanargmin), ("greatest", np.nanargmax)) if np.isfinite(found).any() else ():
        at = settings_in_words({path: settings[place(found)][path] for path in asked.over})
        said.append(f"The {which} {name(asked.measure)} is {measured(asked.measure, found[place(found)])}, at {at}.")
    title = f"{name(asked.measure)} over {words[0]} and {words[1]}"
    across = [f"{words[0]} {value(asked.over[0], one)}" for one in x]
    tables = _tables(asked.measure, asked.over[1], list(zip(y, across, found, strict=True)))
    return Finding(title, tuple(said), (picture,), tuple(tables), failures(rows))
