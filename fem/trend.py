"""Curves and maps of measures over the inputs that a study varies."""

import numpy as np

from fem import case as cases
from fem import graph
from fem.finding import (
    Finding,
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
from fem.result import numbers
from fem.sweep import points

MOST_LINES = 12  # of sentences about single lines of a chart; our choice
ALL = "closed"  # the only line of a chart
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
    charts, said = [], []
    for measure in asked.measures:
        series = [(words, [x for x, _ in own], values([r for _, r in own], measure)) for words, own in lines.items()]
        told = f"{sentence(name(measure))} over {name(asked.over)}. Gaps and crosses: no closure."
        charts.append(drawing(graph.curves, told, series, measure=measure, over=heading(asked.over)))
        said += [_course(measure, asked.over, *line) for line in series[:MOST_LINES]]
    what = ", ".join(map(name, asked.measures))
    return Finding(f"{what} over {name(asked.over)}", tuple(filter(None, said)), tuple(charts), notes=failures(rows))


def _geometry(study, settings, row):
    """Numbers of a row; if it has no result, those that are known of its case before any solve."""
    case = made_case(study, settings) if row["status"] != "done" else None
    return numbers(cases.geometry(case)) if isinstance(case, cases.Case) else row


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
    told = f"{sentence(name(asked.measure))} over {words[0]} and {words[1]}. Crosses: no closure."
    picture = drawing(graph.colour_map, told, x, y, found, measure=asked.measure, over=tuple(map(heading, asked.over)))
    said = []
    for which, place in (("least", np.nanargmin), ("greatest", np.nanargmax)) if np.isfinite(found).any() else ():
        at = settings_in_words({path: settings[place(found)][path] for path in asked.over})
        said.append(f"The {which} {name(asked.measure)} is {measured(asked.measure, found[place(found)])}, at {at}.")
    title = f"{name(asked.measure)} over {words[0]} and {words[1]}"
    return Finding(title, tuple(said), (picture,), notes=failures(rows))
