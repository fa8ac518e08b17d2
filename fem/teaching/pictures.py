"""Pictures on sheets and slides: the plan, closed skins in one scale of heights, a chart."""

import io
from dataclasses import replace

import numpy as np
from matplotlib import rc_context
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from PIL import Image

from fem.case import physical
from fem.comparison import chart, flat, style
from fem.comparison.spread import NO_SPREAD, Spread
from fem.comparison.wording import sentence as sentence_of
from fem.comparison.wording import sentences
from fem.render import canvas, plan_figure
from fem.results.quantities import label
from fem.results.result import Result
from fem.teaching import sentence
from fem.teaching.comparison_text import Closures
from fem.teaching.sheet import Picture, Pictures

LETTERS = 8  # points, the smallest in a picture of a sheet
CHART, PLAN = (5.6, 1.85), (5.6, 2.0)  # inches: as large as they stand on a sheet
KEYED = 0.17  # inches of a line in the key beside a chart
SHARE = 0.6  # of the plan's width: the skin; beside it what lines mean


def png_of(image: np.ndarray) -> bytes:
    """An image (h, w, 3) as the bytes of a PNG file."""
    stream = io.BytesIO()
    Image.fromarray(image).save(stream, "png", optimize=True)
    return stream.getvalue()


def plan(result: Result) -> Picture:
    """The flat plan, with a bar for its size and what its lines mean beside it."""
    with rc_context(style.STYLE):
        figure = Figure(figsize=PLAN)
        axes = figure.add_axes((0, 0, SHARE, 1))
        shape = PLAN[1] / (SHARE * PLAN[0])
        reach = result.stages.half_width * max(1.0, canvas.SHAPE / shape)  # nothing is cut off above and below
        canvas.bare(axes, reach * np.array([1, shape]))
        lettered = LETTERS / plan_figure.LETTERS
        plan_figure.draw_plan(axes, physical.plan(result.case), result.stages.centre[:2, None], scale=lettered)
        bar, (left, low) = canvas.round_number(reach / 2), (axes.get_xlim()[0], axes.get_ylim()[0])
        x, y = left + 0.05 * reach, low + 0.05 * reach
        axes.plot([x, x + bar], [y, y], color=canvas.INK, lw=2)
        axes.text(x, y + 0.03 * reach, f"{bar:g} mm", size=LETTERS)
        handles, names = axes.get_legend_handles_labels()
        known = list(dict(zip(names, handles, strict=True)).values())
        figure.legend(handles=known, loc="center left", bbox_to_anchor=(SHARE, 0.5), frameon=False, fontsize=LETTERS)
    caption, alt = sentences("teaching/leaflet", "plan", " ".join(sentence.say("wound", result)))
    return Picture(figure, caption, alt)


def closed_skins(named: Closures, *, finer: int = 1) -> tuple[Pictures, ...]:
    """Closures (label, Result) from the same place in the same colours of height, and the scale of these below.

    finer   so many times as many pixels
    """
    results = [result for _, result in named]
    ranges = chart.common_ranges(results)
    images = chart.height_images(results, ranges, finer=finer)
    words = [sentences("teaching/leaflet", "closed", name, r.measures) for name, r in named]
    seen = tuple(Picture(png_of(image), caption, alt) for image, (caption, alt) in zip(images, words, strict=True))
    return Pictures(seen), Pictures((scale(ranges.heights),))


def scale(heights: tuple[float, float]) -> Picture:
    """The scale of the colours of height."""
    with rc_context(style.STYLE):
        figure = chart.colour_scale("height", heights)
    return Picture(figure, "", sentence_of("teaching/leaflet", "scale", *heights))


def trade_off(named: Closures, against: str, spread: Spread = NO_SPREAD) -> Picture:
    """Chart of cone height against another number of closures (label, Result)."""
    called = [replace(r, case=r.case.model_copy(update={"name": name})) for name, r in named]
    ends = {name: spread[r.name] for name, r in named if r.name in spread}
    with rc_context(style.STYLE):
        figure = _keyed_chart(called, against, ends)
    caption, alt = sentences("teaching/leaflet", "trade_off", label(against), bool(ends))
    return Picture(figure, caption, alt)


def _keyed_chart(results, against, spread):
    """Figure of cone height against another number; beside it which mark is which closure, and which skin."""
    lines = [(style.folded(r.name), style.looks(i) | chart.MARK | {"ls": ""}) for i, r in enumerate(results)]
    if spread:
        own = {"marker": "o", **chart.MARK}
        skins = {"slack": chart.ENDED["slack"], flat.middle(flat.ranged([(r.name, r) for r in results], spread)): own,
                 "tense": chart.ENDED["tense"]}  # fmt: skip
        lines += [(f"{skin} skin", {"ls": "", "color": chart.GREY, **look}) for skin, look in skins.items()]
    high = KEYED * (1 + sum(name.count("\n") + 1 for name, _ in lines))
    figure, axes = style.figure((CHART[0], max(CHART[1], high)))
    chart.draw_trade_off(axes, results, against, flat.CONE, spread=spread)
    figure.legend(
        handles=[Line2D([], [], label=name, **look) for name, look in lines],
        loc="outside right upper", frameon=False, fontsize=LETTERS,
    )  # fmt: skip
    return figure
