"""YAML → a page on which a learner moves a slider from one computed closure to the next."""

from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Any, Self

import numpy as np
from annotated_types import Ge, Le
from matplotlib import rc_context
from matplotlib.ticker import MaxNLocator
from pydantic import Field, model_validator

from fem.case import case as cases
from fem.case import physical
from fem.case.case import Case
from fem.case.document import Block, parse
from fem.case.document import read as read_text
from fem.comparison import chart, flat, page, style
from fem.comparison.html import PAGE_STYLE, rendered, text_of, uri
from fem.comparison.images import webp
from fem.comparison.spread import NO_SPREAD
from fem.comparison.wording import printed, sentence, sentences, unitful
from fem.errors import refuse
from fem.render import canvas
from fem.results.folder import write_whole
from fem.results.quantities import label, labelled, shown, unit
from fem.results.result import Result, solved
from fem.teaching.lesson import RENAMED, Text, changed, impossible, value

NO_BREAK = "\N{NO-BREAK SPACE}"
MOST = 40  # closures of a page, some 150 kB each; our choice
FIRST = ("cone_height_mm", "scar_length_mm")  # those against each other in the chart of ratios
OVER = ("cone_height_mm", "closing_force_N")  # those over a slider, a chart each
LEAST = 1.0  # mm, N/m, kPa at the end of a bar or an axis, else round-off would fill it; our choice
BARS = (*FIRST, "closing_force_N", "line_tension_mid_N_per_m", "skin_stress_p99_kPa")
ROWS = (*BARS, "removed_area_mm2", "tip_angles_1_deg")  # of the table
CHART = np.array([480, 320])  # size of a chart, in its own units
FRAME = np.array([[64, 16], [16, 62]])  # left and right, top and bottom of its axes
SHAPES = (  # marks of the choices, about the origin
    "M-6 0a6 6 0 1 0 12 0a6 6 0 1 0-12 0z", "M-5-5H5V5H-5z", "M0-7L7 5H-7z", "M0-7L7 0L0 7L-7 0z", "M-2-6H2V6H-2z",
    "M-6-2H6V2H-6z",
)  # fmt: skip


class Choice(Block):
    """One of the closures that a learner chooses between: the base with some keys changed."""

    name: Annotated[str, Field(pattern=r"^[a-z0-9-]{1,20}$")] = Field(
        description="short: 1 to 20 small letters, digits, -; part of the names of its results folders"
    )
    label: Text = Field(description="what it is, in a few words")
    change: dict[str, Any] = Field(description="dotted keys of the base, as wound.outline.kind, and their values")


class Slider(Block):
    """What a learner slides, if it is not the wound's length."""

    key: str = Field(description="dotted key of a case whose value is a number, as closure.undermine_mm")
    label: Text = Field(description="what it is, in a few words, as: undermined by")
    unit: Annotated[str, Field(max_length=10)] = Field(default="", description="of its values, as they are printed")
    values: tuple[float, ...] = Field(description="of the key, two or more, ascending")


class Exploration(Block):
    """A file that describes the page."""

    title: Text = Field(description="of the page")
    question: Text = Field(description="for the learner")
    base: Case = Field(description="a case; with ratios, its outline has a length and a width")
    ratios: tuple[Annotated[float, Ge(1), Le(20)], ...] = Field(
        default=(), description="of the wound's length to its width, two or more, ascending"
    )
    slider: Slider | None = Field(default=None, description="instead of ratios: another key of the case")
    choices: tuple[Choice, ...] = Field(description=f"closures to choose between, at most {len(SHAPES)}")

    @model_validator(mode="after")
    def possible(self) -> Self:
        """Refuse what the page cannot show, and changes of which no case comes."""
        outline, names = self.base.wound.outline, [choice.name for choice in self.choices]
        where, stops = ("slider", "values") if self.slider else ("ratios",), places(self)
        wanted = [
            (("base",), bool(self.slider or (hasattr(outline, "length_mm") and hasattr(outline, "width_mm"))),
             f"an outline of the kind {outline.kind} has no length_mm and width_mm"),
            (("slider",), not (self.slider and self.ratios), "wanted ratios or a slider, not both"),
            (where, len(stops) >= 2, f"wanted at least two {where[-1]}"),
            (where, list(stops) == sorted(set(stops)), f"wanted each of the {where[-1]} greater than the one before"),
            (("choices",), 1 <= len(names) <= len(SHAPES), f"wanted 1 to {len(SHAPES)} choices"),
            (("choices",), len(set(names)) == len(names), "two choices have the same name"),
            (("choices",), len(names) * len(stops) <= MOST,
             f"wanted at most {MOST} closures: choices times {where[-1]}"),
        ]  # fmt: skip
        problems: list[tuple] = [(place, message) for place, holds, message in wanted if not holds]
        called = {where: [_name(self, stop) for stop in stops], ("choices",): [choice.label for choice in self.choices]}
        for place, words in called.items():
            again = ((i, words.index(word), word) for i, word in enumerate(words) if words.index(word) < i)
            problems += [((*place, i), f"is called {word!r}, as {place[-1]}[{first}] is") for i, first, word in again]
        refuse(problems or impossible(
            lambda choice: [_made(self, choice, stop) for stop in stops],
            {("choices", i, "change"): choice for i, choice in enumerate(self.choices)},
        ))  # fmt: skip
        return self


@dataclass(frozen=True)
class Step:
    """A closure of the page and its place: which choice, which value of the slider."""

    choice: int
    stop: float
    case: Case


def read(path: Path | str) -> Exploration:
    """The exploration in a YAML file. Raises BadCase."""
    return parse(read_text(path), Exploration, path, folders=(Path(path).parent, cases.MESHES), renamed=RENAMED)


def steps(exploration: Exploration) -> list[Step]:
    """All closures of an exploration, choice after choice, each from the least value of the slider to the greatest."""
    return [
        Step(i, stop, _made(exploration, choice, stop))
        for i, choice in enumerate(exploration.choices)
        for stop in places(exploration)
    ]


def places(exploration: Exploration) -> tuple[float, ...]:
    """The values at which the slider stops."""
    return exploration.slider.values if exploration.slider else exploration.ratios


def start(exploration: Exploration) -> int:
    """Number of the stop at which the page opens: that nearest to the base."""
    base, slider = exploration.base, exploration.slider
    outline: Any = base.wound.outline
    own = value(base, slider.key) if slider else outline.length_mm / outline.width_mm
    return int(np.argmin(np.abs(np.array(places(exploration)) - own)))


def _name(exploration, stop):
    """A value as it is called in the names of results: what is alike in six digits would go into one folder."""
    return f"{stop:g}" if exploration.slider else f"{100 * stop:g}"


def page_name(exploration: Exploration) -> str:
    """Name of the page's file in the folder of results."""
    return f"{exploration.base.name}.html"


def _made(exploration, choice, stop) -> Case:
    """The base with a choice's keys changed and the slider at one of its stops. Raises ValueError."""
    base, slider = exploration.base, exploration.slider
    name = f"{base.name[:40]}-{choice.name}-{_name(exploration, stop)}"
    key = slider.key if slider else "wound.outline.length_mm"
    made = changed(base, name, {**choice.change, key: stop if slider else stop * base.wound.outline.width_mm})
    if not physical.plan(made).seams:
        raise ValueError("this closure leaves no scar, and the page compares scars")
    return made


# The page -----------------------------------------------------------------------------------------------------


def write(exploration: Exploration, results: list[Result], into: Path | str) -> Path:
    """Path of the page, written into a folder whole or not at all; results in the order of `steps`."""
    path = Path(into) / page_name(exploration)
    write_whole(path, html(exploration, results))
    return path


def html(exploration: Exploration, results: list[Result]) -> str:
    """The page as text. Raises ValueError if nothing is closed."""
    done = solved(results)
    if not done:
        raise ValueError("none of the closures was found, so there is nothing to explore")
    made = steps(exploration)
    entries = [_entry(exploration, step, result) for step, result in zip(made, results, strict=True)]
    ranges = chart.common_ranges(results)
    images = chart.height_images(done, ranges)
    skins, size = map(webp, images), images[0].shape[1::-1]
    with rc_context(style.STYLE):
        plans = [style.svg(chart.plan(r, ranges.half_width)) for r in done]
        scale = style.svg(chart.colour_scale("height", ranges.heights))
    return rendered(
        "teaching/explore.html", title=exploration.title, exploration=exploration,
        styles=[PAGE_STYLE, "teaching/explore.css"], scripts=[*page.scripts(), text_of("teaching/explore.js")],
        scene=page.scene([_closed(r) for r in done], ranges), first=done[0].name,
        slides=exploration.slider.label if exploration.slider else "Length to width", stops=stops(exploration),
        start=start(exploration), level=flat.LEVEL, flapped=any(physical.plan(r.case).points for r in done),
        rows=[{"name": name, "label": label(name), "unit": unit(name)} for name in ROWS],
        steps=entries, doubts=flat.doubts([(e["title"], r) for e, r in zip(entries, results, strict=True)], NO_SPREAD),
        pictures={r.name: {"plan": uri(p), "skin": uri(s)} for r, p, s in zip(done, plans, skins, strict=True)},
        sizes={"plan": canvas.VIEW.tolist(), "skin": size}, scale=uri(scale), wide=f"{2 * ranges.half_width:.0f}",
        heights=[f"{h:g}".replace("-", "−") for h in ranges.heights],
        bars={name: max(LEAST, *(abs(r.numbers[name] or 0) for r in done)) for name in BARS},
        charts=charts(exploration, made, results), assumed=page.assumed([Result(exploration.base)]),
    )  # fmt: skip


def _closed(result):
    """A result whose only stage is the closed skin."""
    stages = result.stages
    last = {name: getattr(stages, name)[-1:] for name in ("closed", "label", "x", "stress_kPa")}
    return replace(result, stages=replace(stages, **last))


def stops(exploration: Exploration) -> list[dict[str, str]]:
    """What stands below each stop of the slider, and what is said of it."""
    unit = f" {exploration.slider.unit}".rstrip() if exploration.slider else " : 1"
    return [{"tick": f"{stop:g}", "said": f"{stop:g}{unit}"} for stop in places(exploration)]


def _entry(exploration, step, result):
    """What the page says of a closure: texts, and numbers as they are printed."""
    label, outline = exploration.choices[step.choice].label, physical.outline(step.case.wound.outline)
    said = stops(exploration)[places(exploration).index(step.stop)]["said"]
    slides = exploration.slider.label if exploration.slider else ""
    title = sentence("teaching/explore", "title", label, f"{slides} {said.replace(' ', NO_BREAK)}".strip(), outline)
    about = {"name": result.name, "choice": step.choice, "title": title, "reason": result.reason}
    if result.reason:
        return about
    measured = dict.fromkeys(ROWS) | result.numbers
    named = [unitful(name, measured[name]) for name in (FIRST[1], "removed_area_mm2", "tip_angles_1_deg")]
    lines = sentences("teaching/explore", "closure", title, measured[FIRST[0]], *named)
    return about | {
        "values": {name: measured[name] for name in ROWS},
        "texts": {name: shown(name, measured[name]) for name in ROWS},
        **dict(zip(("said", "plan", "skin", "ends"), lines, strict=True)),
        "doubt": " ".join(flat.doubts([(title, result)], NO_SPREAD)),
    }


# The charts ---------------------------------------------------------------------------------------------------


def charts(exploration: Exploration, made: list[Step], results: list[Result]) -> list[dict[str, Any]]:
    """Cone height against scar length; with a slider, over it the numbers of OVER. As `_chart`."""
    closed = [(step, result) for step, result in zip(made, results, strict=True) if not result.reason]
    if slider := exploration.slider:
        along = f"{slider.label}, {slider.unit}".removesuffix(", ")
        return [_chart(exploration, closed, along, lambda step, _: step.stop, name) for name in OVER]
    cone, scar = FIRST
    return [_chart(exploration, closed, labelled(scar), lambda _, result: result.measures[scar], cone)]


def _chart(exploration, closed, along, place, name):
    """A number over the place of each closure (Step, Result): labels, ticks, and each choice's mark, points and lines.

    No line leads from flat skin to cones: where they begin between the two was not computed.
    """
    every = [(step, result, place(step, result), result.measures[name]) for step, result in closed]
    at = [(*about, y) for *about, y in every if y is not None]
    across, up = _ticks([x for *_, x, _ in at], 1.0), _ticks([printed(name, y) for *_, y in at], 1.05)

    def on(x: float, y: float) -> list[float]:
        start, end = FRAME[:, 0] * [1, 1], CHART - FRAME[:, 1]
        share = np.array([(x - across[0]) / (across[-1] - across[0]), 1 - (y - up[0]) / (up[-1] - up[0])])
        return [round(float(v), 1) for v in start + share * (end - start)]

    lines = []
    for i, choice in enumerate(exploration.choices):
        members = [(result, on(x, y)) for step, result, x, y in at if step.choice == i]
        ways = [[a, b] for (r, a), (s, b) in pairwise(members) if name != FIRST[0] or flat.flat(r) == flat.flat(s)]
        points = [(result.name, point) for result, point in members]
        lines.append({"label": choice.label, "shape": SHAPES[i], "points": points, "ways": ways})
    return {
        "labels": (along, labelled(name)),
        "size": CHART.tolist(),
        "across": [(f"{x:g}", on(x, up[0])) for x in across],
        "up": [(f"{y:g}", on(across[0], y)) for y in up],
        "ends": [on(across[0], up[0]), on(across[-1], up[-1])],
        "lines": lines,
        "broken": any(len(line["ways"]) < len(line["points"]) - 1 for line in lines),
    }


def _ticks(values, room):
    """Numbers at an axis that begins at 0, or below it, and has some room beyond the values."""
    ticks = MaxNLocator(8, steps=[1, 2, 5, 10], min_n_ticks=4).tick_values
    return ticks(room * min([0.0, *values]), max([LEAST, *(room * value for value in values)]))
