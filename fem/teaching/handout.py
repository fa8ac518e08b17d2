"""Teaching material of a closed case: results/<name>/handout/, written whole or not at all; a function a product."""

import json
import shutil
from collections.abc import Callable, Collection
from dataclasses import dataclass, field
from pathlib import Path

import fem
from fem.case import case as cases
from fem.case import physical
from fem.case.case import Case
from fem.comparison import spread
from fem.comparison.compare import results, solve_missing
from fem.comparison.html import caution
from fem.comparison.spread import Spread
from fem.comparison.wording import NOTE, sentence
from fem.errors import NotPrintable
from fem.results import identity
from fem.results.close import UNTRIMMED, close
from fem.results.folder import whole
from fem.results.result import Result, read
from fem.teaching import bench, cone, film, leaflet, paper, solid, template, timeline
from fem.teaching import lesson as lessons
from fem.teaching.drawing import Drawing, dxf, on_one_canvas, svg
from fem.teaching.lesson import Lesson
from fem.teaching.sheet import html, write_pdf

MADE = "handout.json"  # in the handout: which product wrote which files
MADE_BY = f"flatseam {fem.__version__}"  # the foot of a sheet that says its caution elsewhere


@dataclass(frozen=True)
class Material:
    """What the products are made of."""

    lesson: Lesson
    result: Result  # of the lesson's case
    neighbours: tuple[tuple[str, Result], ...]  # label; without a closure, the reason
    folder: Path  # the case's results
    paper: str  # "A4" or "Letter"
    heights: float = 1.0  # exaggeration of heights in what is printed in 3D
    spread: Spread = field(default_factory=dict)  # the case and its neighbours in slack and tense skin


def template_files(material: Material, folder: Path) -> list[Path]:
    """The 1:1 template as PDF, SVG and DXF."""
    case, closing = material.result.case, material.result.case.closure
    size = "{length_mm:g} × {width_mm:g} mm".format_map(cases.geometry(case))
    hidden, tied = bool(closing.taper or closing.anchor), closing.sutures.kind == "interrupted"
    numbers = sentence("teaching/paper", "numbering", physical.plan(case).thread, tied, template.MARK, hidden)
    subtitle = ", ".join([size, closing.technique, numbers])
    return write_drawing(material, folder / "template", template.template(case), subtitle)


def cone_files(material: Material, folder: Path) -> list[Path]:
    """The paper model of the cones as PDF, SVG and DXF; nothing where none is to be expected."""
    sheet = cone.sheet(material.result)
    return write_drawing(material, folder / "cone", sheet, "paper model of the cones, to be cut out") if sheet else []


def bench_files(material: Material, folder: Path) -> list[Path]:
    """What to do on the teaching bench, as PDF; nothing for a case that was not computed with a bench material."""
    result, path = material.result, folder / "bench.pdf"
    if not bench.on_bench(result):
        return []
    write_pdf(path, [bench.bench_sheet(result, template.places(result.case))], paper=material.paper, footer=MADE_BY)
    return [path]


def lesson_files(material: Material, folder: Path) -> list[Path]:
    """The lesson sheet and its answers, as PDF and HTML."""
    given = material.lesson, material.result, material.neighbours, material.spread
    plan = (material.folder / "pictures" / "plan.png").read_bytes()
    sheets = [leaflet.lesson_sheet(*given, plan=plan), leaflet.answers(*given)]
    paths = [folder / name for name in ("lesson.html", "answers.html", "lesson.pdf")]
    for path, sheet in zip(paths, sheets, strict=False):
        path.write_text(html(sheet), encoding="utf-8")
    write_pdf(paths[-1], sheets, paper=material.paper, footer=MADE_BY)
    return paths


def frame_files(material: Material, folder: Path) -> list[Path]:
    """The closure in stages: numbered PNG files, and a film of them as MP4 and GIF."""
    keyframes = timeline.keyframes(material.result, untrimmed(material))
    shot = film.camera(keyframes)
    kept = film.numbered(keyframes, shot)
    return film.write_numbered(kept, folder / "frames") + films(film.film(keyframes, shot, kept), folder / "closure")


def untrimmed(material: Material) -> Result | None:
    """Result before cones were cut off; None if they were not."""
    before = material.folder / UNTRIMMED
    return read(before, physical.cut_by(material.lesson.case, (0.0, 0.0))) if before.is_dir() else None


def side_by_side_files(material: Material, folder: Path) -> list[Path]:
    """A film of the case beside its neighbours, all in step, as MP4 and GIF; nothing if none of them was closed."""
    shown = [(label, timeline.keyframes(r)) for label, r in material.neighbours if not r.reason][: film.MOST - 1]
    if not shown:
        return []
    first = material.lesson.label, timeline.keyframes(material.result, untrimmed(material))
    names, keyframes = zip(first, *shown, strict=True)
    return films(film.film_of_several(keyframes, names), folder / "side-by-side")


def films(shown: film.Film, stem: Path) -> list[Path]:
    """Paths of a film written as MP4 and GIF."""
    paths = [stem.with_suffix(".mp4"), stem.with_suffix(".gif")]
    film.write_mp4(shown, paths[0])
    film.write_gif(shown, paths[1])
    return paths


def solid_files(material: Material, folder: Path) -> list[Path]:
    """The closed skin to be printed in 3D as STL and 3MF, and what it is in words; only why not, if it is no body."""
    about = folder / "solid.txt"
    try:
        body = solid.printed(material.result, exaggeration=material.heights)
    except NotPrintable as error:
        about.write_text(f"{material.result.name} cannot be printed in 3D: {error}.\n", encoding="utf-8")
        return [about]
    stem = "solid" if material.heights == 1 else f"solid-heights-x{material.heights:g}"
    paths = [folder / f"{stem}.stl", folder / f"{stem}.3mf"]
    solid.write_stl(body, paths[0])
    solid.write_3mf(body, paths[1])
    about.write_text("\n".join(solid.description(body, material.result, material.heights)) + "\n", encoding="utf-8")
    return [*paths, about]


def write_drawing(material: Material, stem: Path, drawing: Drawing, subtitle: str) -> list[Path]:
    """Paths of a drawing written as PDF, SVG and DXF, titled by the name of the case."""
    paths = [stem.with_suffix(f".{kind}") for kind in ("pdf", "svg", "dxf")]
    title = f"{material.result.name}: {stem.name}"
    paper.write(paths[0], drawing, title=title, subtitle=subtitle, paper=material.paper, footer=caution())
    canvas = on_one_canvas(drawing)
    paths[1].write_text(svg(canvas, title=title, description=f"{subtitle}. {caution()}"), encoding="utf-8")
    dxf(canvas, paths[2])
    return paths


PRODUCTS: dict[str, Callable[[Material, Path], list[Path]]] = {
    "template": template_files,
    "cone": cone_files,
    "bench": bench_files,
    "lesson": lesson_files,
    "frames": frame_files,
    "side-by-side": side_by_side_files,
    "solid": solid_files,
}
COMPARING = {"lesson", "side-by-side"}  # products that need the neighbours closed too
RANGING = {"lesson"}  # products that need all of them in slack and tense skin too


def needed(lesson: Lesson, only: Collection[str] = ()) -> list[tuple[str, Case]]:
    """The neighbours (label, case) that the wanted products, all or only some, are made from."""
    return lessons.neighbours(lesson) if COMPARING & set(only or PRODUCTS) else []


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
    """The handout folder of a lesson, and why any of its neighbours or variants are not closed, by name.

    The lesson's case and, if a product needs them, its neighbours are closed if missing, or all again; for the lesson
    sheet in slack and tense skin of their sites too. Of products, if any are named in `only`, the others stay as they
    were; paper and heights as in Material.

    Raises as `close` does if the case cannot be closed; a neighbour that cannot be is told of in the sheets.
    """
    folder = close(lesson.case, into=into, again=again, watch=watch)
    neighbours, ranging = needed(lesson, only), bool(RANGING & set(only or PRODUCTS))
    others = [case for _, case in neighbours]
    errors = solve_missing(others, into=into, again=again, spread=ranging)
    if ranging:
        errors |= solve_missing([lesson.case], into=into, spread=True)  # which is closed, its variants are not
    closures = results(others, errors, into=into)
    compared = tuple((label, result) for (label, _), result in zip(neighbours, closures, strict=True))
    own = read(folder, lesson.case)
    ends = spread.read([lesson.case, *others], [own, *closures], errors, into=into) if ranging else {}
    material = Material(lesson, own, compared, folder, paper, heights, ends)
    with whole(folder / "handout") as draft:
        made = _kept(folder / "handout", draft) if only else {}
        for name in (name for name in PRODUCTS if not only or name in only):
            for old in made.get(name, []):
                if (draft / old).resolve().is_relative_to(draft.resolve()):
                    (draft / old).unlink(missing_ok=True)
            made[name] = sorted(path.relative_to(draft).as_posix() for path in PRODUCTS[name](material, draft))
        record = {"case": cases.key(lesson.case), "solver": identity.solver(), "lesson": lesson.title}
        (draft / MADE).write_text(json.dumps(record | {"made": made, "note": NOTE}, indent=2) + "\n")
    return folder / "handout", _lost(closures, ends)


def _lost(closures, ends):
    """Why closures, or their variants, are missing, by what these are called."""
    lost = {result.name: result.reason for result in closures if result.reason}
    return lost | {f"{n} in {s} skin": r.reason for n, skins in ends.items() for s, r in skins.items() if r.reason}


def _kept(before, draft):
    """Copy an earlier handout, if it is of this solver, into the draft; the files that each product wrote."""
    record = json.loads((before / MADE).read_text()) if (before / MADE).is_file() else {}
    if identity.outdated(record):
        return {}
    shutil.copytree(before, draft, dirs_exist_ok=True)
    return record["made"]
