"""Teaching material of a closed case: results/<name>/handout/, written whole or not at all.

A product is one function of a Material and a folder that returns the files it wrote, and one entry in PRODUCTS.
The handout lies inside the results folder, so it goes when the case is computed anew.
"""

import json
import shutil
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import fem
from fem.case import case as cases
from fem.case import overview, physical
from fem.case.case import Case
from fem.comparison.compare import solve_missing
from fem.errors import NotPrintable
from fem.results import identity
from fem.results.close import UNTRIMMED, close
from fem.results.folder import whole
from fem.results.result import Result, read
from fem.teaching import lesson as lessons
from fem.teaching.lesson import Compared, Lesson

if TYPE_CHECKING:
    from fem.teaching.drawing import Drawing
    from fem.teaching.film import Film

MADE = "handout.json"  # in the handout: which product wrote which files
NOTE = "For research and teaching; not a medical device."


@dataclass(frozen=True)
class Material:
    """What the products are made of."""

    lesson: Lesson
    result: Result  # of the lesson's case
    neighbours: tuple[tuple[str, Result], ...]  # label; without a closure, the reason
    folder: Path  # the case's results
    paper: str  # "A4" or "Letter"
    heights: float = 1.0  # exaggeration of heights in what is printed in 3D


def template(material: Material, folder: Path) -> list[Path]:
    """The 1:1 template as PDF, SVG and DXF."""
    from fem.teaching import template

    case = material.result.case
    outline = overview.geometry(case)
    subtitle = [
        f"{outline['length_mm']:g} × {outline['width_mm']:g} mm",
        case.closure.technique,
        numbering(case),
    ]
    return write_drawing(material, folder / "template", template.template(case), ", ".join(subtitle))


def numbering(case: Case) -> str:
    """What the numbers on a template are, in a few words."""
    from fem.comparison.wording import sentence
    from fem.teaching.template import MARK

    closing, thread = case.closure, physical.plan(case).thread
    hidden = bool(closing.taper or closing.anchor)
    return sentence("teaching/paper", "numbering", thread, closing.sutures.kind == "interrupted", MARK, hidden)


def cone(material: Material, folder: Path) -> list[Path]:
    """The paper model of the cones as PDF, SVG and DXF; nothing where none is to be expected."""
    from fem.teaching import cone

    sheet = cone.sheet(material.result)
    return (
        []
        if sheet is None
        else write_drawing(material, folder / "cone", sheet, "paper model of the cones, to be cut out")
    )


def bench(material: Material, folder: Path) -> list[Path]:
    """What to do on the teaching bench, as PDF; nothing for a case that was not computed with a bench material."""
    from fem.teaching import bench
    from fem.teaching.sheet import write_pdf
    from fem.teaching.template import places

    result = material.result
    if not bench.on_bench(result):
        return []
    path = folder / "bench.pdf"
    write_pdf(path, [bench.bench_sheet(result, places(result.case))], paper=material.paper, footer=made_by())
    return [path]


def lesson(material: Material, folder: Path) -> list[Path]:
    """The lesson sheet and its answers, as PDF and HTML."""
    from fem.teaching import leaflet
    from fem.teaching.sheet import html, write_pdf

    given = material.lesson, material.result, material.neighbours
    plan = (material.folder / "pictures" / "plan.png").read_bytes()
    sheets = [leaflet.lesson_sheet(*given, plan=plan), leaflet.answers(*given)]
    paths = [folder / name for name in ("lesson.html", "answers.html", "lesson.pdf")]
    for path, sheet in zip(paths, sheets, strict=False):
        path.write_text(html(sheet), encoding="utf-8")
    write_pdf(paths[-1], sheets, paper=material.paper, footer=made_by())
    return paths


def frames(material: Material, folder: Path) -> list[Path]:
    """The closure in stages: numbered PNG files, and a film of them as MP4 and GIF."""
    from fem.teaching import film, timeline

    made = timeline.keyframes(material.result, untrimmed(material))
    shot = film.camera(made)
    kept = film.numbered(made, shot)
    return film.write_numbered(kept, folder / "frames") + films(film.film(made, shot, kept), folder / "closure")


def untrimmed(material: Material) -> Result | None:
    """Result before cones were cut off; None if they were not."""
    before = material.folder / UNTRIMMED
    return read(before, physical.cut_by(material.lesson.case, (0.0, 0.0))) if before.is_dir() else None


def together(material: Material, folder: Path) -> list[Path]:
    """A film of the case beside its neighbours, all in step, as MP4 and GIF; nothing if none of them was closed."""
    from fem.teaching import film, timeline

    shown = [(label, timeline.keyframes(r)) for label, r in material.neighbours if not r.reason][: film.MOST - 1]
    if not shown:
        return []
    first = material.lesson.label, timeline.keyframes(material.result, untrimmed(material))
    names, made = zip(first, *shown, strict=True)
    return films(film.film_of_several(made, names), folder / "side-by-side")


def films(shown: "Film", stem: Path) -> list[Path]:
    """Paths of a film written as MP4 and GIF."""
    from fem.teaching import film

    paths = [stem.with_suffix(".mp4"), stem.with_suffix(".gif")]
    for path, write in zip(paths, (film.write_mp4, film.write_gif), strict=True):
        write(shown, path)
    return paths


def solid(material: Material, folder: Path) -> list[Path]:
    """The closed skin to be printed in 3D as STL and 3MF, and what it is in words; only why not, if it is no body."""
    from fem.teaching import solid

    text = folder / "solid.txt"
    try:
        made = solid.printed(material.result, exaggeration=material.heights)
    except NotPrintable as error:
        text.write_text(f"{material.result.name} cannot be printed in 3D: {error}.\n", encoding="utf-8")
        return [text]
    stem = "solid" if material.heights == 1 else f"solid-heights-x{material.heights:g}"
    paths = [folder / f"{stem}.stl", folder / f"{stem}.3mf"]
    solid.write_stl(made, paths[0])
    solid.write_3mf(made, paths[1])
    text.write_text("\n".join(solid.description(made, material.result, material.heights)) + "\n", encoding="utf-8")
    return [*paths, text]


def made_by() -> str:
    """The foot of a sheet that says its caution elsewhere."""
    return f"flatseam {fem.__version__}"


def write_drawing(material: Material, stem: Path, drawing: "Drawing", subtitle: str) -> list[Path]:
    """Paths of a drawing written as PDF, SVG and DXF, titled by the name of the case."""
    from fem.comparison.html import caution
    from fem.teaching import paper
    from fem.teaching.drawing import dxf, on_one_canvas, svg

    paths = [stem.with_suffix(f".{kind}") for kind in ("pdf", "svg", "dxf")]
    title = f"{material.result.name}: {stem.name}"
    paper.write(paths[0], [paper.Page(title, subtitle, drawing)], paper=material.paper, footer=caution())
    canvas = on_one_canvas(drawing)
    paths[1].write_text(svg(canvas, title=title, description=f"{subtitle}. {caution()}"), encoding="utf-8")
    dxf(canvas, paths[2])
    return paths


PRODUCTS: dict[str, Callable[[Material, Path], list[Path]]] = {
    "template": template,
    "cone": cone,
    "bench": bench,
    "lesson": lesson,
    "frames": frames,
    "side-by-side": together,
    "solid": solid,
}
COMPARING = {"lesson", "side-by-side"}  # products that need the neighbours closed too


def teach(
    lesson: Lesson,
    *,
    into: Path | str = "results",
    again: bool = False,
    only: Collection[str] = (),
    paper: str = "A4",
    heights: float = 1.0,
    watch: Callable[..., None] = lambda **state: None,
) -> tuple[Path, dict[str, str]]:
    """The handout folder of a lesson, and why any of its neighbours are not closed, by name.

    The lesson's case and, if a product needs them, its neighbours are closed if missing.

    into   folder of all results
    again  compute the case and its neighbours anyway
    only   names of products to make, the others stay as they were; all if empty
    paper  "A4" or "Letter"
    heights   exaggeration of heights in what is printed in 3D

    Raises as `close` does if the case cannot be closed; a neighbour that cannot be is told of in the sheets.
    """
    wanted = [name for name in PRODUCTS if not only or name in only]
    folder = close(lesson.case, into=into, again=again, watch=watch)
    compared = lessons.neighbours(lesson) if COMPARING & set(wanted) else []
    material = Material(
        lesson, read(folder, lesson.case), closed(compared, into=into, again=again), folder, paper, heights
    )
    with whole(folder / "handout") as draft:
        made = _kept(folder / "handout", draft) if only else {}
        for name in wanted:
            for old in made.get(name, []):
                if (draft / old).resolve().is_relative_to(draft.resolve()):
                    (draft / old).unlink(missing_ok=True)
            made[name] = sorted(path.relative_to(draft).as_posix() for path in PRODUCTS[name](material, draft))
        record = {
            "case": cases.key(lesson.case),
            "solver": identity.solver(),
            "lesson": lesson.title,
            "made": made,
            "note": NOTE,
        }
        (draft / MADE).write_text(json.dumps(record, indent=2) + "\n")
    return folder / "handout", {result.name: result.reason for _, result in material.neighbours if result.reason}


def closed(compared: Sequence[Compared], *, into: Path | str, again: bool) -> tuple[tuple[str, Result], ...]:
    """Words and Result of each neighbour, closed if missing; one that cannot be has the reason."""
    errors = solve_missing([other.case for other in compared], into=into, again=again)
    return tuple(
        (
            other.label,
            Result(other.case, reason=str(errors[other.case.name]))
            if other.case.name in errors
            else read(Path(into) / other.case.name, other.case),
        )
        for other in compared
    )


def _kept(before, draft):
    """Copy an earlier handout, if it is of this solver, into the draft; the files that each product wrote."""
    record = json.loads((before / MADE).read_text()) if (before / MADE).is_file() else {}
    if identity.outdated(record):
        return {}
    shutil.copytree(before, draft, dirs_exist_ok=True)
    return record["made"]
