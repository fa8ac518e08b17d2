"""Map: a measure over two inputs that the study varies, as colours."""

from collections.abc import Sequence
from functools import partial
from typing import Literal

import cmcrameri.cm as colours
import numpy as np
from matplotlib.cm import ScalarMappable
from matplotlib.figure import Figure
from pydantic import Field

from fem.case.document import Block
from fem.comparison.style import SIZE, figure
from fem.comparison.wording import sentence, told_apart
from fem.results.quantities import labelled, magnitude, shown
from fem.study.answers.charts import BESIDE_SCALE, CROSS, caption, drawing, label_ticks, places, tables
from fem.study.answers.finding import Ask, Finding, Kind, Measure, failures, values
from fem.study.answers.naming import heading, measured, name, plain, settings_text, value
from fem.study.sweep import Study, points

LETTERS, LINES = 42, 14  # across and up a map, that fit into its cells; more are left to the table below it


class Map(Block):
    """A measure over two inputs of the study's own cases, as colours."""

    kind: Literal["map"]
    measure: Measure = Field(description="name of a number in measures.json")
    over: tuple[str, str] = Field(description="dotted paths of two inputs that the study varies: across, upwards")


def colour_map(block: Map, study: Study, ask: Ask) -> Finding:
    """A measure over two inputs."""
    settings = points(study)
    rows = ask(settings)
    x, y = ([plain(path, at[path]) for at in settings] for path in block.over)
    z = values(rows, block.measure)
    across, up = map(name, block.over)
    over, what, sentences = tuple(map(heading, block.over)), name(block.measure), []
    for which, place in (("least", np.nanargmin), ("greatest", np.nanargmax)) if np.isfinite(z).any() else ():
        k = place(magnitude(block.measure, z))
        at = settings_text({path: settings[k][path] for path in block.over})
        said = measured(block.measure, z[k])
        alike = sum(measured(block.measure, number) == said for number in z) - 1
        sentences.append(sentence("study/map", "extreme", which, what, said, at, alike))
    shows = caption(block.measure, f"{across} and {up}", rows)
    columns = [f"{across} {along}" for along in told_apart(x, partial(value, block.over[0]), digits=4)]
    charts = (drawing(draw, shows, x, y, z, measure=block.measure, over=over),)
    under = tuple(tables(block.measure, block.over[1], list(zip(y, columns, z, strict=True))))
    return Finding(f"{what} over {across} and {up}", tuple(sentences), charts, under, failures(rows))


def draw(xs: Sequence, ys: Sequence, values: np.ndarray, *, measure: str, over: tuple[str, ...]) -> Figure:
    """Figure of a measure in colours at points (n,) of two inputs, `over`; cells if they form a grid, else dots."""
    plot, axes = figure((SIZE[0], SIZE[1] + 0.2))
    (x, across), (y, upwards), z = places(xs), places(ys), np.asarray(values, float)
    columns, rows = np.unique(x), np.unique(y)
    lost = np.isnan(z)
    painted: ScalarMappable
    look = {"cmap": colours.batlow}
    if not lost.all():
        look |= {"vmin": np.nanmin(z), "vmax": np.nanmax(z)}
    if len(z) == columns.size * rows.size == len(set(zip(x, y, strict=True))):
        cells = np.full((rows.size, columns.size), np.nan)
        cells[np.searchsorted(rows, y), np.searchsorted(columns, x)] = z
        painted = axes.pcolormesh(_edges(columns), _edges(rows), np.ma.masked_invalid(cells), **look)
        axes.grid(False)
        texts = [shown(measure, number) if np.isfinite(number) else "" for number in z]
        room = columns.size * (1 + max(map(len, texts))) <= LETTERS and rows.size <= LINES
        for place, number, text in zip(zip(x, y, strict=True), z, texts, strict=True):
            if room and text:
                red, green, blue, _ = painted.to_rgba(number)
                look = {"color": "w" if 0.3 * red + 0.59 * green + 0.11 * blue < 0.5 else "k", "size": 10.7}
                axes.annotate(text, place, ha="center", va="center", **look)
    else:
        painted = axes.scatter(x[~lost], y[~lost], c=z[~lost], s=36, ec="white", lw=0.5, **look)
    axes.plot(x[lost], y[lost], **CROSS)
    axes.set(xlabel=over[0], ylabel=over[1])
    label_ticks(axes.xaxis, across, letters=BESIDE_SCALE)
    label_ticks(axes.yaxis, upwards)
    plot.colorbar(painted, ax=axes, label=labelled(measure))
    return plot


def _edges(middles):
    """Edges of cells about their middles, half way between them."""
    if middles.size == 1:
        return middles[0] + np.array([-0.5, 0.5])
    half = np.diff(middles) / 2
    return np.concatenate([[middles[0] - half[0]], middles[:-1] + half, [middles[-1] + half[-1]]])


KIND = Kind(Map, colour_map, lambda block: (block.measure,), lambda block: [("over", path) for path in block.over])
