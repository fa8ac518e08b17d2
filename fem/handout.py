"""Teaching material of a closed case: results/<name>/handout/, written whole or not at all.

A product is one function of a Material and a folder that returns the files it wrote, and one entry in PRODUCTS.
The handout lies inside the results folder, so it goes when the case is computed anew.
"""

import json
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from fem import case as cases
from fem import lesson as lessons
from fem.close import close
from fem.compare import solve_missing
from fem.folder import whole
from fem.lesson import Lesson
from fem.result import Result, read

MADE = "handout.json"  # in the handout: which product wrote which files
NOTE = "For research and teaching; not a medical device."


@dataclass(frozen=True)
class Material:
    """What the products are made of."""

    lesson: Lesson
    result: Result  # of the lesson's case
    neighbours: tuple[tuple[str, Result], ...]  # what each is in a few words; without a closure, the reason
    paper: str  # "A4" or "Letter"


def template(material, folder):
    """The 1:1 template as SVG."""
    from fem.drawing import on_one_canvas
    from fem.template import template
    from fem.vector import svg

    path = folder / "template.svg"
    path.write_text(svg(on_one_canvas(template(material.result.case)), title=material.result.name), encoding="utf-8")
    return [path]


PRODUCTS: dict[str, Callable[[Material, Path], list[Path]]] = {
    "template": template,
}
COMPARING: set[str] = set()  # products that need the neighbours closed too


def teach(lesson, *, into="results", again=False, only=(), paper="A4", watch=lambda **state: None):
    """The handout folder of a lesson; its case and, if a product needs them, its neighbours are closed if missing.

    into   folder of all results
    again  compute the case and its neighbours anyway
    only   names of products to make, the others stay as they were; all if empty
    paper  "A4" or "Letter"

    Raises as fem.close.close does if the case cannot be closed; a neighbour that cannot be is told of in the sheets.
    """
    wanted = [name for name in PRODUCTS if not only or name in only]
    folder = close(lesson.case, into=into, again=again, watch=watch)
    compared = lessons.neighbours(lesson) if COMPARING & set(wanted) else []
    material = Material(lesson, read(folder, lesson.case), closed(compared, into=into, again=again), paper)
    with whole(folder / "handout") as draft:
        made = _kept(folder / "handout", draft) if only else {}
        for name in wanted:
            made[name] = sorted(path.relative_to(draft).as_posix() for path in PRODUCTS[name](material, draft))
        record = {"case": cases.key(lesson.case), "lesson": lesson.title, "made": made, "note": NOTE}
        (draft / MADE).write_text(json.dumps(record, indent=2) + "\n")
    return folder / "handout"


def closed(compared, *, into, again):
    """Words and Result of each neighbour, closed if missing; one that cannot be has the reason."""
    errors = solve_missing([one.case for one in compared], into=into, again=again)
    return tuple(
        (
            one.words,
            Result(one.case, reason=str(errors[one.case.name]))
            if one.case.name in errors
            else read(Path(into) / one.case.name, one.case),
        )
        for one in compared
    )


def _kept(before, draft):
    """Copy an earlier handout into the draft; the files that each product wrote, as it says."""
    if not (before / MADE).is_file():
        return {}
    shutil.copytree(before, draft, dirs_exist_ok=True)
    return json.loads((before / MADE).read_text())["made"]
