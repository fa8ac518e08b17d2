"""The page of a case, `index.html` in its results folder: made of what lies there, and written with it."""

from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any
from urllib.parse import quote

from matplotlib import rc_context

from fem.case import case as cases
from fem.case import physical
from fem.case.keys import KNOT_PULL
from fem.comparison import chart, flat, images, page, style
from fem.comparison.html import notes, rendered
from fem.comparison.spread import NO_SPREAD
from fem.comparison.wording import sentences
from fem.results import accuracy
from fem.results.close import UNTRIMMED
from fem.results.close import close as close_case
from fem.results.folder import write_whole
from fem.results.identity import KEPT
from fem.results.quantities import FURTHER, UNLIMITED, quantity, shown
from fem.results.result import Result, read

PAGE = "index.html"
FILES = {  # of a results folder, and what is in them
    "case.yaml": "the case, all defaults filled in",
    "measures.json": "the numbers, the unit in each name",
    "profiles.json": "heights and line tension along the scars, heights across the cones",
    "stages.npz": "positions and stress from the gaping wound to the closed one (numpy)",
    "skin.vtu": "the closed skin, for ParaView or meshio",
    "run.json": "versions, mesh, effort, residual, stability",
}
ERRORS = {accuracy.FILE: "the numerical error of each number, and what it was estimated from"}


def close(
    case: cases.Case, *, into: Path | str = "results", again: bool = False, restarts: int = 0,
    watch: Callable[..., None] = lambda **state: None, error: bool = False,
) -> Path:  # fmt: skip
    """Results folder of a case with its page, as `results.close.close`; a page that a folder lacks is added.

    error   whether the errors of its numbers are estimated too, unless they are there
    """
    folder = close_case(case, into=into, again=again, restarts=restarts, watch=watch, page=write)
    if error and not accuracy.complete(folder):
        add_errors(folder, case, watch=watch)
    if not (folder / PAGE).is_file():
        write(folder)
    return folder


def add_errors(folder: Path, case: cases.Case, *, watch: Callable[..., None] = lambda **state: None) -> None:
    """Estimate the errors of a result, and write them into its folder and on its page. Raises as `accuracy.add`."""
    accuracy.add(folder, case, watch=watch)
    write(folder)


def write(folder: Path, *, called: str = "") -> None:
    """Write the page of a results folder, or of its draft, and of the closure before cones were cut off, if any.

    called   what the case is called there, if not by its name

    Raises as `result.read`.
    """
    if (before := folder / UNTRIMMED).is_dir():
        write(before, called=called)
    result = read(folder, cases.read(folder / "case.yaml"))
    if called:
        result = replace(result, case=result.case.model_copy(update={"name": called}))
    write_whole(folder / PAGE, html(result, untrimmed=before.is_dir()))


def links(results: Iterable[Result], into: Path) -> dict[str, str]:
    """Address of each case's page, by name, from a page in the folder `into` of results; of those that have one."""
    named = [(result.name, f"{result.name}/{PAGE}") for result in results if not result.reason]
    return {name: quote(path) for name, path in named if (into / path).is_file()}


def html(result: Result, *, untrimmed: bool = False) -> str:
    """The page as text; `untrimmed` tells whether the folder holds a closure before cones were cut off."""
    ranges, alone = chart.common_ranges([result]), [result]
    with rc_context(style.STYLE):
        embedded = images.embedded(images.profiles(alone), images.pictures(alone, ranges), ranges)
    rows, errors = page.table(alone), result.accuracy.errors
    known = [*ERRORS.items()] if errors else []
    values = page.pictured(alone, ranges, embedded) | {
        "what": what(result),
        "doubts": flat.doubts([(result.name, result)], NO_SPREAD),
        "headline": sentences("comparison/case", "headline", result.measures),
        "sewn": sewn(result),
        "sutures": sutures(result),
        "notes": notes(row["name"] for row in rows),
        "errors": errors,
        "unlimited": [row["name"] for row in rows if quantity(row["name"]).group == UNLIMITED],
        "accuracy": sentences("comparison/accuracy", "errors", page.estimated(alone), page.stated()),
        "leading": [row for row in rows if quantity(row["name"]).group != FURTHER],
        "further": [row for row in rows if quantity(row["name"]).group == FURTHER],
    }
    return rendered(
        "comparison/case.html", title=f"{result.name}, closed", linked=files(untrimmed) + known,
        seams=len(physical.plan(result.case).seams),
        results=alone, done=alone, pages={}, assumed=page.assumed(alone), **values,
    )  # fmt: skip


def what(result: Result) -> list[str]:
    """What was done, as sentences."""
    case, closing = result.case, result.case.closure
    outline = physical.outline(case.wound.outline)
    partly = [closing.undermine_points_mm, closing.undermine_upper_mm, closing.undermine_lower_mm]
    size = " × ".join(f"{side:.3g}" for side in dict.fromkeys([outline.length, outline.width]) if side)
    known: dict[str, Any] = {"case": case, "at": result.measures}
    known["outline_words"] = f"{case.wound.outline.kind.replace('-', ' ')} of {size} mm"
    known["undermined_area"] = cases.geometry(case)["undermined_area_mm2"]
    known["by"] = closing.undermine_mm if partly == [None] * 3 else None
    return sentences("comparison/case", "what", known)


def sewn(result: Result) -> list[str]:
    """How the wound is sewn, as sentences."""
    closing, thread = result.case.closure.sutures, getattr(result.case.closure.sutures, "thread_size", None)
    kind = closing.kind if physical.plan(result.case).seams else ""
    count, pull = len(result.measures["suture_forces_N"] or ()), KNOT_PULL[thread] if thread else None
    return sentences("comparison/case", "sewn", kind, count, thread, pull, result.measures)


def sutures(result: Result) -> list[dict[str, Any]]:
    """Interrupted sutures in order of tying: number of the seam, place along it and forces, as printed."""
    plan, closing = physical.plan(result.case), result.case.closure.sutures
    if closing.kind != "interrupted":
        return []
    force = "closing_force_N"
    forces = (result.measures[name] for name in ("suture_forces_N", "suture_forces_final_N"))
    return [
        {
            "seam": seam + 1,
            "at": f"{at * sum(edge.length for edge in plan.seams[seam]) / 2:.1f}",
            "tied": shown(force, tied),
            "left": shown(force, left),
        }
        for (seam, at), tied, left in zip(physical.tying(plan, closing), *forces, strict=True)
    ]


def files(untrimmed: bool) -> list[tuple[str, str]]:
    """Files of a results folder, and what is in them."""
    before = [(f"{UNTRIMMED}/{PAGE}", "the closure before its cones were cut off")] if untrimmed else []
    pictures = [(path, "picture") for path in KEPT["pictures"] if path.startswith("pictures/")]
    return before + list(FILES.items()) + pictures
