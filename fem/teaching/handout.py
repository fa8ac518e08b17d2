"""Teaching material of a closed case: results/<name>/handout/, written whole or not at all; a function a product."""

import json
import shutil
from collections.abc import Callable, Collection
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from pydantic import BaseModel, ValidationError

import fem
from fem.case import case as cases
from fem.case import physical
from fem.case.case import Case
from fem.comparison import spread
from fem.comparison.case_page import close
from fem.comparison.compare import results, solve_missing
from fem.comparison.html import caution
from fem.comparison.spread import Spread
from fem.comparison.wording import NOTE, sentence
from fem.errors import NotPrintable
from fem.geometry.surface import distortion
from fem.plan.plan import reach
from fem.results import identity
from fem.results.close import HANDOUT, MADE, UNTRIMMED
from fem.results.folder import whole
from fem.results.result import Result, read
from fem.teaching import cone, deck, film, leaflet, paper, solid, template, timeline
from fem.teaching import lesson as lessons
from fem.teaching.drawing import Drawing, dxf, on_one_canvas, svg
from fem.teaching.lesson import Lesson
from fem.teaching.sheet import html, write_pdf

NO_CONE = "cone.txt"  # says why there is no paper cone
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
    watch: film.Watch = lambda **frames: None


class Record(BaseModel):
    """What an earlier handout says of itself."""

    solver: str
    made: dict[str, list[str]]  # by product, its files


def template_files(material: Material, folder: Path) -> None:
    """The 1:1 template as PDF, SVG and DXF."""
    case = material.result.case
    plan = physical.plan(case)
    distorted = distortion(material.result.body, reach(plan))
    about = case.closure, cases.geometry(case), plan.thread, template.MARK, distorted
    subtitle = sentence("teaching/paper", "template", *about)
    write_drawing(material, folder / "template", template.template(case), subtitle)


def cone_files(material: Material, folder: Path) -> None:
    """The paper model of the cones as PDF, SVG and DXF; only why not, where there is none."""
    if sheet := cone.sheet(material.result):
        write_drawing(material, folder / "cone", sheet, "paper model of the cones, to be cut out")
    else:
        (folder / NO_CONE).write_text(f"{cone.why_none(material.result)}\n", encoding="utf-8")


def bench_files(material: Material, folder: Path) -> None:
    """What to do on the teaching bench, as PDF; nothing for a case that was not computed with a bench material."""
    if leaflet.on_bench(material.result):
        sheet = leaflet.bench_sheet(material.result, template.places(material.result.case))
        write_pdf(folder / "bench.pdf", sheet, paper=material.paper, footer=MADE_BY)


def lesson_files(material: Material, folder: Path) -> None:
    """What pupils get, the answers, and what only the teacher gets, each as PDF and HTML."""
    given = material.lesson, material.result, material.neighbours
    sheets = {
        "lesson": leaflet.lesson_sheet(*given, material.spread),
        "answers": leaflet.answers(*given, material.spread),
        "notes": leaflet.notes(*given),
    }
    for name, sheet in sheets.items():
        (folder / f"{name}.html").write_text(html(sheet), encoding="utf-8")
        write_pdf(folder / f"{name}.pdf", sheet, paper=material.paper, footer=MADE_BY)


def deck_files(material: Material, folder: Path) -> None:
    """The lesson as slides that can be changed."""
    keyframes = timeline.keyframes(material.result, untrimmed(material.lesson.case, material.folder))
    shown = deck.slides(material.lesson, material.result, material.neighbours, keyframes, material.spread)
    deck.write_pptx(shown, folder / "lesson.pptx")


def frame_files(material: Material, folder: Path) -> None:
    """The closure in stages: numbered PNG files, and a film of them as MP4 and GIF."""
    keyframes = timeline.keyframes(material.result, untrimmed(material.lesson.case, material.folder))
    shot = film.camera(keyframes)
    kept = film.numbered(keyframes, shot)
    film.write_numbered(kept, folder / "frames")
    write_film(film.film(keyframes, shot, kept, watch=material.watch), folder / "closure")


def untrimmed(case: Case, folder: Path) -> Result | None:
    """Result before cones were cut off, of a case whose own is in a folder; None if they were not."""
    before = folder / UNTRIMMED
    return read(before, physical.cut_by(case, (0.0, 0.0))) if before.is_dir() else None


def side_by_side_files(material: Material, folder: Path) -> None:
    """A film of the case beside its neighbours, all in step, as MP4 and GIF; nothing if none of them was closed."""
    lesson, into = material.lesson, material.folder.parent
    every = [(lesson.label, material.result), *material.neighbours]
    cases = {lesson.label: lesson.case, **dict(lessons.neighbours(lesson))}
    closed = [(label, result) for label, result in every if not result.reason][: film.MOST]
    if len(closed) > 1:
        ordered = leaflet.in_order(closed, leaflet.order(lesson))
        folders = [(cases[label], into / cases[label].name) for label, _ in ordered]
        before = [untrimmed(case, folder) for case, folder in folders]
        keyframes = [timeline.keyframes(result, first) for (_, result), first in zip(ordered, before, strict=True)]
        write_film(
            film.film_of_several(keyframes, [label for label, _ in ordered], watch=material.watch),
            folder / "side-by-side",
        )


def write_film(shown: film.Film, stem: Path) -> None:
    """Write a film as MP4 and GIF."""
    film.write_mp4(shown, stem.with_suffix(".mp4"))
    film.write_gif(shown, stem.with_suffix(".gif"))


def solid_files(material: Material, folder: Path) -> None:
    """The closed skin to be printed in 3D as STL and 3MF, and what it is in words; only why not, if it is no body."""
    stem = "solid" if material.heights == 1 else f"solid-heights-x{material.heights:g}"
    try:
        body = solid.printed(material.result, exaggeration=material.heights)
    except NotPrintable as error:
        lines = [f"{material.result.name} cannot be printed in 3D: {error}."]
    else:
        solid.write_stl(body, folder / f"{stem}.stl")
        solid.write_3mf(body, folder / f"{stem}.3mf")
        lines = solid.description(body, material.result, material.heights)
    (folder / "solid.txt").write_text("\n".join(lines) + "\n", encoding="utf-8")


def write_drawing(material: Material, stem: Path, drawing: Drawing, subtitle: str) -> None:
    """Write a drawing as PDF, SVG and DXF, titled by the name of the case."""
    title, canvas = f"{material.result.name}: {stem.name}", on_one_canvas(drawing)
    looks = {"paper": material.paper, "footer": caution()}
    paper.write(stem.with_suffix(".pdf"), drawing, title=title, subtitle=subtitle, **looks)
    text = svg(canvas, title=title, description=f"{subtitle}. {caution()}")
    stem.with_suffix(".svg").write_text(text, encoding="utf-8")
    dxf(canvas, stem.with_suffix(".dxf"))


PRODUCTS: dict[str, Callable[[Material, Path], None]] = {  # each writes its files into a folder
    "template": template_files,
    "cone": cone_files,
    "bench": bench_files,
    "lesson": lesson_files,
    "deck": deck_files,
    "frames": frame_files,
    "side-by-side": side_by_side_files,
    "solid": solid_files,
}
COMPARING = {"lesson", "deck", "side-by-side"}  # products that need the neighbours closed too
RANGING = {"lesson", "deck"}  # products that need all of them in slack and tense skin too


def needed(lesson: Lesson, only: Collection[str] = ()) -> list[tuple[str, Case]]:
    """The neighbours (label, case) that the wanted products, all or only some, are made from."""
    return lessons.neighbours(lesson) if COMPARING & set(only or PRODUCTS) else []


def teach(
    lesson: Lesson, *, into: Path | str = "results", again: bool = False, only: Collection[str] = (),
    paper: str = "A4", heights: float = 1.0, watch: Callable[..., None] = lambda **state: None,
) -> tuple[Path, dict[str, str]]:  # fmt: skip
    """The handout folder of a lesson, and why any of its neighbours or variants are not closed, by name.

    The lesson's case and, if a product needs them, its neighbours are closed if missing, or all again; for the lesson
    sheet in slack and tense skin of their sites too. Of products, if any are named in `only`, the others stay as they
    were; paper and heights as in Material.

    Raises as `close` does if the case cannot be closed; a neighbour that cannot be is told of in the sheets.
    """
    if only:
        earlier(Path(into) / lesson.case.name / HANDOUT)  # refused now rather than after the work
    folder = close(lesson.case, into=into, again=again, watch=watch)
    neighbours, ranging = needed(lesson, only), bool(RANGING & set(only or PRODUCTS))
    others = [case for _, case in neighbours]
    closing: dict[str, Any] = {
        "begin": lambda missing: watch(stage="what it is compared with", done=0, of=missing),
        "watch": lambda job, error, done, of: watch(stage="what it is compared with", done=done, of=of),
    }
    errors = solve_missing(others, into=into, again=again, spread=ranging, **closing)
    if ranging:
        errors |= solve_missing([lesson.case], into=into, spread=True, **closing)  # it is closed, its variants are not
    closures = results(others, errors, into=into)
    compared = tuple((label, result) for (label, _), result in zip(neighbours, closures, strict=True))
    own = read(folder, lesson.case)
    ends = spread.read([lesson.case, *others], [own, *closures], errors, into=into) if ranging else {}
    material = Material(lesson, own, compared, folder, paper, heights, ends)
    with whole(folder / HANDOUT) as draft:
        made = _kept(folder / HANDOUT, draft) if only else {}
        wanted = [name for name in PRODUCTS if not only or name in only]
        for k, name in enumerate(wanted):
            stage = f"product {k + 1} of {len(wanted)}, {name}"
            watch(stage=stage)
            watched = replace(material, watch=partial(watch, stage=stage))
            for old in made.get(name, []):
                (draft / old).unlink(missing_ok=True)
            with TemporaryDirectory(dir=draft) as room:
                PRODUCTS[name](watched, Path(room))
                made[name] = sorted(p.relative_to(room).as_posix() for p in Path(room).rglob("*") if p.is_file())
                _copy(Path(room), draft)
        record = {"case": cases.key(lesson.case), "solver": identity.solver(), "lesson": lesson.title}
        (draft / MADE).write_text(json.dumps(record | {"made": made, "note": NOTE}, indent=2) + "\n")
    lost = {result.name: result.reason for result in closures if result.reason}
    lost |= {f"{n} in {s} skin": r.reason for n, skins in ends.items() for s, r in skins.items() if r.reason}
    return folder / HANDOUT, lost


def remarks(folder: Path) -> list[str]:
    """What to say of a handout in this folder: why it has no paper cone."""
    said = folder / NO_CONE
    return said.read_text(encoding="utf-8").splitlines() if said.is_file() else []


def earlier(folder: Path) -> dict[str, list[str]]:
    """Which product wrote which files of an earlier handout of this solver. Raises OSError if that is not known."""
    if not folder.exists():
        return {}
    try:
        record = Record.model_validate(identity.record(folder / MADE))
    except ValidationError as error:
        raise OSError(f"{folder / MADE} does not say what is whose; without --only all is made anew") from error
    names = [name for files in record.made.values() for name in files]
    if strange := [name for name in names if not (folder / name).resolve().is_relative_to(folder.resolve())]:
        raise OSError(f"{folder / MADE} names a file outside its folder: {strange[0]!r}")
    return {} if identity.outdated(record.model_dump()) else record.made


def _kept(before, draft):
    """Copy an earlier handout, if it is of this solver, into the draft; the files that each product wrote."""
    if made := earlier(before):
        _copy(before, draft)
    return made


def _copy(folder, into):
    """Copy what is in a folder into another one, up to the first file that cannot be written."""
    for path in sorted(folder.rglob("*")):
        target = into / path.relative_to(folder)
        target.mkdir(exist_ok=True) if path.is_dir() else shutil.copy2(path, target)
