"""The page that compares closures: pictures, charts, a table of all measures, and the skin to be turned.

three.js comes from the installed package jupyter-threejs-sage, which ships it as a file.
"""

import base64
import re
from collections.abc import Mapping, Sequence
from importlib.resources import files
from typing import Any

import numpy as np
from matplotlib.colors import Colormap

from fem.case import dotted, physical
from fem.case.site import SITES
from fem.closure.measures.cones import TIP_ZONE
from fem.comparison import flat, glance
from fem.comparison.alike import more, orders, ways
from fem.comparison.html import notes, rendered, text_of
from fem.comparison.spread import ENDS, NO_SPREAD, RANGED, Spread
from fem.comparison.wording import sentences
from fem.render import canvas, plan_figure, projection
from fem.render.projection import Ranges
from fem.results.quantities import (
    FIRST,
    QUANTITIES,
    label,
    pattern,
    plus_minus,
    quantity,
    ranks,
    shown,
    unit,
)
from fem.results.result import Result, names, solved

THREE = "static/r130/three.min.js"  # in jupyter_threejs_sage: three.js with orbit controls and wide lines
AROUND = 1.1  # of the piece of skin in the still pictures: what is kept of it to be turned; our choice
COLOURS = 256  # of a scale
BY_SKIN = " by skin"  # of a closure that another is alike with though both differ in some
REPEATED = {("rise_mm", "cone_height_mm"), ("removed_area_mm2", "healthy_removed_mm2")}  # the later one, if alike
EFFORT = "elements", "unknowns", "smallest_angle_deg", "residual_N", "negative_pivots"  # of run.json, on the page


def html(
    results: Sequence[Result], *, spread: Spread, baseline: str | None, only: Sequence[str] | None,
    images: dict[str, Any], ranges: Ranges | None, pages: Mapping[str, str],
) -> str:  # fmt: skip
    """The page as text.

    spread    results in slack and tense skin
    baseline  name of the case that differences are taken to, or None
    only      names of the numbers in the table, or None for all
    images    by name: charts and scales as SVG text; `plans`, `height` and `stress` of every case by its name, as
              SVG text or bytes of WebP, and `sizes` of these three in pixels
    ranges    of view and colours; None if nothing is solved
    pages     addresses of the cases' own pages, by name
    """
    done = solved(results)
    values: dict[str, Any] = {}
    if ranges:
        values = pictured(done, ranges, images)
        values["glance"] = [
            *flat.lines([(result.name, result) for result in done], spread),
            *glance.lines(done, spread),
        ]
        values["rows"] = table(results, spread=spread, baseline=baseline, only=only)
        values["notes"] = notes({row["name"] for row in values["rows"]})
        values["estimated"] = bool(estimated(done))
        values["accuracy"] = sentences("comparison/accuracy", "alike", spread, estimated(done), stated())
    return rendered(
        "comparison/page.html",
        title=f"Comparison of closures: {', '.join(result.name for result in results)}",
        results=results, done=done, pages=pages, failed=[result for result in results if result.reason],
        baseline=baseline, spread=spread, assumed=assumed(results, spread),
        unused=[result.accuracy.note for result in results if result.accuracy.note], **values,
    )  # fmt: skip


def pictured(done: Sequence[Result], ranges: Ranges, images: dict[str, Any]) -> dict[str, Any]:
    """What the pictures, charts and live views of `parts.html` take, and the scripts that turn the skin."""
    return {
        "images": images,
        **vars(ranges),
        "tip_zone": TIP_ZONE,
        "plan_key": plan_figure.legend(r.case for r in done),
        "scarred": any(r.stages.seams for r in done),
        "flapped": any(physical.plan(r.case).points for r in done),
        "scene": scene(done, ranges),
        "scripts": scripts(),
    }


def scripts() -> list[str]:
    """What turns the skin of a `scene`: three.js and the page's own."""
    return [(files("jupyter_threejs_sage") / THREE).read_text("utf-8"), text_of("comparison/page.js")]


# What is drawn ------------------------------------------------------------------------------------------------


def scene(done: Sequence[Result], ranges: Ranges) -> dict[str, Any]:
    """What the page's script draws, as plain data; arrays are base64 of little-endian numbers."""
    return {
        "half_width": ranges.half_width,
        "depth": projection.DEPTH,
        "heights": ranges.heights,
        "height_colours": lookup(canvas.HEIGHTS),
        "stress_colours": lookup(canvas.STRESSES),
        "cases": [packed(result, ranges) for result in done],
    }


def lookup(colours: Colormap) -> str:
    """COLOURS red, green, blue bytes of a colour map, base64."""
    return coded(np.round(255 * colours(np.linspace(0, 1, COLOURS))[:, :3]), "u1")


def coded(values: np.ndarray, kind: str) -> str:
    """Numbers as base64 of a numpy type."""
    return base64.b64encode(np.ascontiguousarray(values, dtype=kind).tobytes()).decode()


def packed(result: Result, ranges: Ranges) -> dict[str, Any]:
    """The stages of a closure around its wound: positions as whole multiples of `step` mm, stresses as colours.

    Triangles are flat between the vertices of the quadratic ones, a quarter as many as there are nodes: at this size
    the bend between them is below a pixel.
    """
    stages = result.stages
    place = np.abs(stages.x[:, :2] - stages.centre[:2, None]).min(axis=0)  # nearest, of all stages
    seen = (place < AROUND * ranges.half_width * np.array([[1.0], [projection.DEPTH]])).all(axis=0)
    triangles = stages.elements[:3]
    triangles = triangles[:, seen[triangles].any(axis=0)]
    lines = [seam[:, ::2] for seam in stages.seams]
    used = np.unique(np.concatenate([triangles.ravel(), *(line.ravel() for line in lines)]))
    number = np.full(seen.size, -1)
    number[used] = np.arange(used.size)
    x = stages.x[:, :, used] - projection.halfway(result.body, stages.centre, ranges.half_width)[:, None]
    step = np.abs(x).max() / np.iinfo(np.int16).max
    share = stages.stress_kPa[:, used] / ranges.stresses[1]
    heights = {}
    if result.body.curved:
        low, high = ranges.heights
        above = np.array([result.body.over(at)[2] for at in stages.x[:, :, used]])
        heights = {"heights": coded(np.round((COLOURS - 1) * np.clip((above - low) / (high - low), 0, 1)), "u1")}
    return heights | {
        "name": result.name,
        "nodes": int(used.size),
        "step": float(step),
        "closed": stages.closed.tolist(),
        "words": [str(label) or stage_label(closed) for closed, label in zip(stages.closed, stages.label, strict=True)],
        "triangles": coded(number[triangles].T, "<u2" if used.size < 2**16 else "<u4"),
        "positions": coded(np.round(x.transpose(0, 2, 1) / step), "<i2"),
        "stresses": coded(np.round((COLOURS - 1) * np.clip(share, 0, 1)), "u1"),
        "lines": [number[edge].tolist() for line in lines for edge in line],
        "tips": number[stages.tips].tolist(),
    }


def stage_label(closed: float) -> str:
    """What a stage is called."""
    return {0.0: "gaping wound", 1.0: "closed"}.get(float(closed), f"{100 * closed:.0f} % closed")


# What is said -------------------------------------------------------------------------------------------------


def table(
    results: Sequence[Result], *, spread: Spread = NO_SPREAD, baseline: str | None = None,
    only: Sequence[str] | None = None,
) -> list[dict[str, Any]]:  # fmt: skip
    """Rows of the table of measures: name, label, unit, the heading before it, folded or not, a cell for each case.

    A cell has its text, the number itself, its error as estimated, its rank, and in which skin if its text does not
    show it, how many are alike with it, itself among them, and which of those show it neither by the same rank nor the
    same text, its difference to the baseline, if any, and of RANGED numbers the texts in slack and tense skin by skin,
    if these are known. A row tells whether all are alike that do not print alike. What is asked first is not folded,
    nor what is asked for by `only`.
    """
    base = next((result.numbers for result in results if result.name == baseline), {})
    rows: list[dict[str, Any]] = []
    headed: set[str] = set()
    for name in names(results):
        if only and name not in only:
            continue
        heading = quantity(name).group
        column = [result.numbers.get(name) for result in results]
        to = ways(name, results, spread)
        like = [{j for j, way in each.items() if way == 0} for each in to]
        ranked = ranks(name, column, to)
        cells = [
            {
                "text": _text_in(result, name),
                "value": value,
                "error": plus_minus(_estimated(result, name)),
                "rank": rank,
                "alike": len(same),
                "change": _change(name, value, base.get(name)) if result.name != baseline else None,
                "skins": {skin: _text_in(r, name) for skin, r in spread.get(result.name, {}).items() if name in RANGED},
            }
            for result, value, rank, same in zip(results, column, ranked, like, strict=True)
        ]
        about = {"name": name, "label": label(name), "unit": unit(name), "cells": cells}
        for i, cell in enumerate(cells):
            cell["where"] = cell["rank"] and _where(name, i, cells, results, spread)
        by_skin = [[BY_SKIN if any(orders(name, a, b, spread).values()) else "" for b in results] for a in results]
        about["alike"] = _alike(results, cells, like, by_skin)
        if twin := next((row for row in rows if not only and _repeats(about, row)), None):
            twin["label"] = _both(twin["label"], about["label"])
            continue
        group = None if heading in headed | {FIRST} else heading
        headed.add(heading)
        rows.append(about | {"group": group, "folded": not only and heading != FIRST})
    return rows


def estimated(done: Sequence[Result]) -> str:
    """Of how many closures errors were estimated: "", "some" or "all"."""
    known = [bool(result.accuracy.errors) for result in done]
    return "all" if all(known) else "some" if any(known) else ""


def stated() -> list[str]:
    """What is stated of errors on the default triangles, of the measures that are asked first."""
    first = [of for of in QUANTITIES.values() if of.group == FIRST and of.error and "{}" not in of.name]
    return [f"{of.label.split(',')[0]} {100 * of.error:.2g}\N{NO-BREAK SPACE}%" for of in first if of.error]


def _where(name, i, cells, results, spread):
    """The skin in which a closure has its rank, if another prints the same number without it; else nothing."""
    others = [r for cell, r in zip(cells, results, strict=True) if cell["text"] == cells[i]["text"]]
    others = [r for r in others if more(name, results[i], r, spread)]
    return next((skin for r in others for skin, way in orders(name, results[i], r, spread).items() if way), "")


def _alike(results, cells, like, by_skin):
    """Whether all cells of a row are alike, and if not, in each the names of those that it does not show to be."""
    known = [i for i, same in enumerate(like) if same]
    every = len({cells[i]["text"] for i in known}) > 1 and all(like[i] == set(known) for i in known)
    for cell, same, why in zip(cells, like, by_skin, strict=True):
        others = [j for j in sorted(same) if not every and cells[j]["text"] != cell["text"]]
        others = [j for j in others if cells[j]["rank"] != cell["rank"] or not cell["rank"]]
        cell["like"] = [results[j].name + why[j] for j in others]
    return every


def _estimated(result, name):
    error = result.accuracy.errors.get(name)
    return error and error.total


def _repeats(row, other):
    """Whether a row says nothing that another does not: the same of another tip, cone or place."""
    kin = pattern(row["name"]) == pattern(other["name"]) or (row["name"], other["name"]) in REPEATED
    return kin and [cell["text"] for cell in row["cells"]] == [cell["text"] for cell in other["cells"]]


def _both(label, other):
    """What two rows are called that are one: "tip 1" and "tip 2" together "tips 1, 2"."""
    number = re.search(r"\d+", other)
    return re.sub(r"(\d+)(?!, \d)(?!.*\d)", rf"\1, {number[0]}", label) if number else label


def _text_in(result, name):
    return shown(name, result.numbers.get(name)) if not result.reason else "not closed"


def _change(name, value, to):
    return None if value is None or to is None else shown(name, value - to, sign="+")


def assumed(results: Sequence[Result], spread: Spread = NO_SPREAD) -> list[tuple[str, list[tuple[str, list[str]]]]]:
    """What was put in and what computed it: (heading, [(key, value of every case)])."""
    sections: dict[str, list[dict]] = {}  # by heading the values of each case by key
    inputs = [dotted.flat(r.case.model_dump(mode="json", exclude_none=True, exclude={"name"})) for r in results]
    for head in dict.fromkeys(key.split(".")[0] for block in inputs for key in block):
        sections[head] = [{key: v for key, v in block.items() if key.split(".")[0] == head} for block in inputs]
    if spread:
        known = [r.case.skin.site if r.name in spread else None for r in results]
        sections["natural stretch of the skins"] = [_stretches(site) if site else {} for site in known]
    if solved(results):
        sections["computed with"] = [_effort(r, spread.get(r.name, {}), ENDS if spread else ()) for r in results]
    keys = {head: dict.fromkeys(key for block in blocks for key in block) for head, blocks in sections.items()}
    return [
        (head, [(key, [_text(block.get(key, "–")) for block in blocks]) for key in keys[head]])
        for head, blocks in sections.items()
    ]


def _stretches(site):
    """The stretches at both ends of a site's range, and their sources."""
    lines: dict[str, Any] = {}
    for way, known in (SITES[site].stretch or {}).items():
        lines |= {f"{way} the lines, {skin} skin": getattr(known, end) for skin, end in ENDS.items()}
        lines[f"{way} the lines, source"] = f"{known.source} ({known.tag})"
    return lines


def _effort(result, ends, skins):
    """What a closure took, what was unusual about it and in other skins, and what it was computed with."""
    effort = {key.replace("_", " "): result.run.get(key, "–") for key in EFFORT}
    warned = {"warnings": result} | {f"warnings, {skin} skin": ends.get(skin) for skin in skins}
    warnings = {key: (r and "; ".join(r.run.get("warnings", []))) or "–" for key, r in warned.items()}
    return effort | warnings | result.run.get("versions", {})


def _text(value):
    if isinstance(value, list):
        return ", ".join(_text(member) for member in value)
    return f"{value:.4g}" if isinstance(value, float) else str(value)
