"""The commands. Exit code 0 only if everything asked for was done, 2 for bad input, 3 for no convergence."""

import json
import shutil
import sys
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Literal

from cyclopts import App, Parameter, validators

import fem

app = App(
    name="flatseam",
    help="Close a skin wound in the computer: cones, forces, stress and scar length. For research and teaching; "
    "not a medical device.",
    version=fem.__version__,
    version_flags=["--version"],
)
BAD_INPUT, NO_CONVERGENCE = 2, 3
SUMMED = {  # in the line on a finished case, if there is one
    "closing_force_N": "closing force {:.2f} N",
    "scar_length_mm": "scar {:.1f} mm",
    "purse_force_N": "thread {:.2f} N",
    "open_area_mm2": "{:.0f} mm² left open",
}
LINE = 110  # columns of text that still read well, and that the table of sites needs; our choice
Files = Annotated[list[Path], Parameter(help="case files")]
Into = Annotated[Path, Parameter(help="folder that takes the results")]


@app.command
def check(files: Annotated[list[Path] | None, Parameter(help="case files")] = None, /, *, schema: bool = False):
    """Read and check cases, and print the geometry of each.

    Example: flatseam check configs/demo/lens-3-1.yaml

    Parameters
    ----------
    schema
        Print the JSON Schema of a case file instead, for editors.
    """
    from fem.case import case as cases
    from fem.case import overview

    if schema:
        print(json.dumps(cases.schema(), indent=2))
    elif not files:
        fail("flatseam check: name at least one case file, or --schema")
    else:
        for case in read(files):
            print(overview.report(case))


@app.command
def close(files: Files, /, *, into: Into = Path("results"), again: bool = False):
    """Close the wounds of the cases; each gets a folder of its name for its results.

    Example: flatseam close configs/demo/circle-20.yaml configs/demo/lens-3-1.yaml

    Parameters
    ----------
    again
        Compute even if the results folder already holds this very case.
    """
    cases = read(files)
    from fem.case.overview import warnings as case_warnings
    from fem.errors import MeshError, NotConverged
    from fem.results.close import close as close_case
    from fem.results.close import finished

    worst = 0
    for case in cases:
        if not again and finished(case, into / case.name):
            print(f"{case.name}: already in {into / case.name} (--again computes it once more)")
            continue
        try:
            with progress(case.name) as watch:
                folder = close_case(case, into=into, again=again, watch=watch)
        except (MeshError, OSError, NotConverged) as error:
            print(complaint(case.name, error), file=sys.stderr)
            worst = max(worst, exit_code(error))
        else:
            print(summary(case.name, folder))
            told = json.loads((folder / "run.json").read_text())["warnings"]
            for line in told[len(case_warnings(case)) :]:
                print(f"{case.name}: warning: {line}", file=sys.stderr)
    sys.exit(worst)


@app.command
def compare(
    files: Annotated[list[Path], Parameter(help="case files, or folders of them")],
    /,
    *,
    into: Into = Path("results"),
    again: bool = False,
    baseline: str | None = None,
    sort: str | None = None,
    only: list[str] | None = None,
    figures: bool = False,
):
    """Close what is not closed yet, side by side, and compare all cases on one page.

    Writes comparison.html, comparison.csv and comparison.parquet, and prints the table.

    Example: flatseam compare configs/demo

    Parameters
    ----------
    again
        Compute even what is already there.
    baseline
        Case that differences are taken to.
    sort
        Measure by which the cases are put in order, smallest first.
    only
        Measure to show in the table; may be given several times. The files hold all of them.
    figures
        Write every chart and picture as SVG, PDF and PNG of 300 dots per inch too.
    """
    cases = read(in_folders(files))
    from fem.results.result import WORDS

    known("compare --baseline", [baseline] if baseline else [], [case.name for case in cases])
    known("compare", [sort] if sort else [], WORDS)
    known("compare", only or [], WORDS)
    from fem.comparison import compare as comparison
    from fem.comparison import page
    from fem.results import result

    errors = solve(cases, into=into, again=again)
    results = comparison.results(cases, errors, into=into)
    try:
        results = result.ordered(results, sort) if sort else results
        paths = comparison.write(results, into=into, baseline=baseline, only=only, figures=figures)
    except OSError as error:
        fail(f"flatseam compare: {error}")
    show([row for row in page.table(results, baseline=baseline, only=only) if row["name"] in WORDS], results)
    print(f"{paths[0]}, {paths[1].name}, {paths[2].name}" + (f"; figures in {paths[-1].parent}" if figures else ""))
    sys.exit(max(map(exit_code, errors.values()), default=0))


@app.command
def mesh(files: Files, /, *, into: Annotated[Path, Parameter(help="folder that takes the meshes")] = Path("meshes")):
    """Write the mesh of each case as VTU and gmsh files.

    Example: flatseam mesh configs/demo/lens-3-1.yaml
    """
    cases = read(files)
    from fem.closure.closing import patch
    from fem.errors import MeshError
    from fem.mechanics.mesh import quality, write

    for case in cases:
        try:
            triangles = patch(case)
            into.mkdir(parents=True, exist_ok=True)
            paths = write(triangles, into / case.name)
        except (MeshError, OSError) as error:
            fail(f"{case.name}: {error}")
        angle, _ = quality(triangles)
        print(
            f"{case.name}: {triangles.elements.shape[1]} triangles, {triangles.X.shape[1]} nodes, "
            f"smallest angle {angle:.1f} degrees; {' and '.join(map(str, paths))}"
        )


@app.command
def sites(name: Annotated[str | None, Parameter(help="site or material")] = None, /):
    """Print the library of skin sites and bench materials, or one entry with its ranges and sources.

    Example: flatseam sites forearm
    """
    from fem.case import site
    from fem.case.document import hint

    if name is None:
        from rich.console import Console
        from rich.table import Table

        console = Console() if sys.stdout.isatty() else Console(width=LINE)
        table = Table(*site.HEADINGS, box=None, header_style="bold")
        for row in site.rows():
            table.add_row(*row)
        console.print(table)
    elif name in site.SITES:
        print(site.report(name, width=min(LINE, shutil.get_terminal_size().columns)))
    else:
        fail(f"flatseam sites: no site {name!r}{hint(name, site.SITES)}")


@app.command
def fit(
    file: Annotated[Path, Parameter(help="measurement, CSV")],
    /,
    *,
    law: str,
    hold: Annotated[tuple[str, ...], Parameter(negative="", show_default=False)] = (),
    thickness_mm: float | None = None,
    width_mm: float | None = None,
    up_to_stretch: float | None = None,
    into: Into = Path("results"),
):
    """Fit a law of elasticity to tension tests; write the skin of a case, a picture and the numbers.

    Example: flatseam fit configs/measurements/invented-skin.csv --law gasser-ogden-holzapfel --thickness-mm 2

    Columns: stretch_along, stretch_across or strain_along_percent and so on; nominal_stress_along_kPa and so on, or
    cauchy, or in MPa; or force_along_N and so on; and test, a name for the rows of one test. Along is along the skin
    tension lines. A direction whose stretch is not given is free of stress, as the sides of a strip are.

    Parameters
    ----------
    law
        neo-hooke, ogden or gasser-ogden-holzapfel.
    hold
        A parameter that is known, as fibre_angle_deg=45, or known to lie between two values, as exponent=1:50; may be
        repeated.
    thickness_mm
        Thickness of the unstretched specimen.
    width_mm
        Its width, if forces were measured.
    up_to_stretch
        Leave out rows beyond this stretch.
    """
    from fem.errors import BadCase, NotFitted
    from fem.fit.fit import fitted, save, table

    try:
        result = fitted(file, law, held=hold, thickness=thickness_mm, width=width_mm, up_to=up_to_stretch)
        folder = save(result, into)
    except (BadCase, OSError) as error:
        fail(f"{error}")
    except NotFitted as error:
        print(f"{file}: not fitted: {error}", file=sys.stderr)
        sys.exit(NO_CONVERGENCE)
    print(table(result))
    print(f"  {folder / 'fit.yaml'}: the skin of a case; fit.png, fit.json")


@app.command
def study(
    file: Annotated[Path, Parameter(help="study file")],
    /,
    *,
    into: Into = Path("results"),
    dry_run: bool = False,
    retry_failed: bool = False,
    table: str | None = None,
    workers: int | None = None,
    scheduler: str | None = None,
    scheduler_file: Path | None = None,
):
    """Close the wounds of a study, a case a core; write the table of inputs and measures, and the page of its answers.

    What is in the study's results folder already is not computed again, so a study that was stopped goes on from there.

    Example: flatseam study configs/studies/length-to-width.yaml

    Parameters
    ----------
    dry_run
        Check every case, print how many are missing and about how long they take, and stop.
    retry_failed
        Try those again that failed before.
    table
        Compute nothing; print what this SQL selects from the table `study`, as "select key, cone_height_mm from study".
    workers
        Workers on this machine; by default one a core, or those of the study's `cluster` block.
    scheduler
        Address of a Dask scheduler that is running already, as tcp://10.0.0.1:8786.
    scheduler_file
        The file that such a scheduler wrote.
    """
    from fem.errors import BadCase
    from fem.study.sweep import cases as cases_of
    from fem.study.sweep import read as read_study

    try:
        asked = read_study(file)
        cases = cases_of(asked)
        if asked.keys.answers:
            from fem.study import report

            report.check(asked)
    except BadCase as error:
        fail(str(error))
    needed("flatseam study", "distributed", "psutil")
    from fem.results.close import address
    from fem.study import cluster
    from fem.study import study as studies
    from fem.study.table import write_table

    folder, keys = into / asked.name, dict.fromkeys(map(address, cases))
    if table is not None:
        select(folder, keys, table)
        return
    if dry_run:
        print(forecast(folder, cases, asked, cluster.count(workers, asked.keys.cluster)))
        for words, count in report.counts(asked) if asked.keys.answers else ():
            print(f"  answer {words}: {f'at most {count}' if count else 'no'} further cases")
        return
    try:
        chosen = cluster.chosen(asked.keys.cluster, local=workers, address=scheduler, file=scheduler_file)
        with studying(asked.name) as watch:
            options = {"keep": asked.keys.keep, "limits": asked.keys.limits, "workers": chosen}
            with studies.engine(folder, **options, retry=retry_failed, watch=watch) as complete:
                complete(cases)
                page = asked.keys.answers and report.write(asked, studies.evaluating(complete, folder), folder)
        failures, path = studies.failures(folder, keys), write_table(folder, keys)
    except (studies.StudyStopped, OSError) as error:
        fail(f"{asked.name}: {error}")
    told = "".join(f", {count} {kind}" for kind, count in failures.items())
    files = ", ".join(str(one) for one in (path, page) if one)
    print(f"{asked.name}: {len(keys)} cases, {len(keys) - sum(failures.values())} done{told}; {files}")
    sys.exit(NO_CONVERGENCE if failures else 0)


@app.command
def teach(
    files: Annotated[list[Path], Parameter(help="case files, lesson files, or pages to explore")],
    /,
    *,
    into: Into = Path("results"),
    again: bool = False,
    only: Annotated[list[str] | None, Parameter(negative="")] = None,
    paper: Literal["A4", "Letter"] = "A4",
    heights: Annotated[float, Parameter(validator=validators.Number(gte=0.1, lte=10))] = 1.0,
):
    """Write teaching material of each case into its results folder, as handout; what is not closed yet is closed.

    A file with `ratios` and `choices` becomes one page to explore, results/<case>.html, from many closures.

    Example: flatseam teach configs/lessons/circle-or-lens.yaml

    Parameters
    ----------
    again
        Compute even what is already there.
    only
        Product to make; may be given several times. The others stay as they are.
    paper
        Size of the sheets.
    heights
        So many times as high the skin stands in what is printed in 3D; the base says so. 0.1 to 10.
    """
    from fem.teaching.handout import PRODUCTS

    known("teach --only", only or [], PRODUCTS)
    explorations = read_explorations(files)
    lessons = read_lessons([path for path in files if path not in explorations])
    from fem.errors import MeshError, NotConverged
    from fem.teaching.handout import teach as make

    worst = 0
    for lesson in lessons:
        name = lesson.case.name
        try:
            with progress(name) as watch:
                folder, missing = make(
                    lesson, into=into, again=again, only=only or (), paper=paper, heights=heights, watch=watch
                )
        except (MeshError, OSError, NotConverged) as error:
            print(complaint(name, error), file=sys.stderr)
            worst = max(worst, exit_code(error))
        else:
            print(f"{name}: handout in {folder}")
            for neighbour, reason in missing.items():
                print(f"{neighbour}: not closed, and missing in the sheets: {reason}", file=sys.stderr)
                worst = NO_CONVERGENCE
    sys.exit(max([worst, *(explored(one, into=into, again=again) for one in explorations.values())]))


def read(files):
    """Cases in the files, all read before any work; ends the program with every message if one is bad."""
    from fem.case import case as cases

    return read_each(files, cases.read, lambda case: case)


def read_lessons(files):
    """Lessons in the files, those of plain cases too; as `read`."""
    from fem.teaching import lesson as lessons

    return read_each(files, lessons.read, lambda lesson: lesson.case)


def read_explorations(files):
    """Explorations by their paths, of the files that hold one; as `read`. What is no YAML is left to others."""
    from fem.errors import BadCase
    from fem.teaching import explore

    def asked(path):
        try:
            return explore.asked(path)
        except BadCase:
            return False

    paths = [path for path in files if asked(path)]
    return dict(zip(paths, read_each(paths, explore.read, lambda one: one.base), strict=True))


def explored(exploration, *, into, again):
    """Exit code of an exploration: what is missing is closed, and the page written; a line on each closure and it."""
    from fem.comparison import compare as comparison
    from fem.teaching import explore

    cases = [step.case for step in explore.steps(exploration)]
    errors = solve(cases, into=into, again=again)
    results = comparison.results(cases, errors, into=into)
    try:
        print(explore.write(exploration, results, into))
    except OSError as error:
        fail(f"{exploration.base.name}: {error}")
    except ValueError as error:
        print(f"{exploration.base.name}: {error}", file=sys.stderr)
    return max(map(exit_code, errors.values()), default=0)


def read_each(files, reader, case_of):
    """What a reader finds in the files; ends the program with every message if one is bad."""
    from fem.case import overview
    from fem.errors import BadCase

    good, bad, seen = [], [], {}
    for path in files:
        try:
            found = reader(path)
        except BadCase as error:
            bad.append(str(error))
            continue
        case = case_of(found)
        if case.name in seen:
            bad.append(f"{path}: name: {case.name!r} is also the name of {seen[case.name]}; results would mix")
        seen[case.name] = path
        for line in overview.warnings(case):
            print(f"{path}: warning: {line}", file=sys.stderr)
        good.append(found)
    if bad:
        fail("\n".join(bad))
    return good


def in_folders(paths):
    """The files among the paths, and in place of a folder its case files by name; ends the program if it has none."""
    files = []
    for path in paths:
        inside = sorted(path.glob("*.yaml")) if path.is_dir() else [path]
        if not inside:
            fail(f"{path}: no .yaml file in this folder")
        files += inside
    return files


def known(where, given, allowed):
    """End the program if a word is not one of those allowed."""
    from fem.case.document import hint

    for word in given:
        if word not in allowed:
            fail(f"flatseam {where}: no {word!r}{hint(word, list(allowed))}")


def exit_code(error):
    """Exit code that an error of closing a case asks for."""
    from fem.errors import MeshError

    return BAD_INPUT if isinstance(error, MeshError | OSError) else NO_CONVERGENCE


def complaint(name, error):
    """One line on a case that was not closed."""
    from fem.errors import NotConverged

    return f"{name}: {'not converged: ' if isinstance(error, NotConverged) else ''}{error}"


def solve(cases, *, into, again):
    """Errors by the name of the case, of those that were not closed yet; a line on each as it ends."""
    from fem.comparison.compare import solve_missing

    with counting("closing") as count:

        def watch(case, error, done, of):
            count(done, of)
            if error is None:
                print(summary(case.name, into / case.name))
            else:
                print(complaint(case.name, error), file=sys.stderr)

        return solve_missing(cases, into=into, again=again, watch=watch)


@contextmanager
def counting(words):
    """A bar of how many cases are done, on a terminal; nothing when piped. Gives the function to call."""
    if not sys.stderr.isatty():
        yield lambda done, of: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    columns = TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn()
    on_screen = sys.stdout.isatty()  # else what is printed goes where it was piped
    with Progress(*columns, console=Console(stderr=True), transient=True, redirect_stdout=on_screen) as bar:
        task = bar.add_task(words, total=None)
        yield lambda done, of: bar.update(task, completed=done, total=of)


def needed(where, *libraries):
    """End the program if a library of the extra `study` is not installed."""
    from importlib.util import find_spec

    lacking = [name for name in libraries if find_spec(name) is None]
    if lacking:
        fail(f"{where}: needs {' and '.join(lacking)}: pip install 'flatseam[study]', or '.[study]' in the source tree")


def select(folder, keys, query):
    """Print what SQL selects from a study's table, which is made from its folder first."""
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    from fem.study.table import asked, write_table

    if not (folder / "cases").is_dir():
        fail(f"flatseam study: no results in {folder} yet")
    try:
        columns, rows = asked(write_table(folder, keys), query)
    except (OSError, ValueError) as error:
        fail(f"flatseam study --table: {error}")
    if not sys.stdout.isatty():
        import csv

        writer = csv.writer(sys.stdout, lineterminator="\n")
        writer.writerows([columns, *rows])
        return
    table = Table(*map(Text, columns), box=None, header_style="bold")
    for row in rows:
        table.add_row(*(Text("" if value is None else str(value)) for value in row))
    Console().print(table)


def forecast(folder, cases, asked, cores):
    """A line on how many cases a study has, how many are missing and how long they take."""
    from fem.study.study import estimate

    missing, seconds, source = estimate(folder, cases, keep=asked.keys.keep)
    first = f"{asked.name}: {len(cases)} cases, {missing} of them to be computed"
    if not missing:
        return first
    return f"{first}; about {span(seconds / cores)} on {cores} workers, going by {source}"


def span(seconds):
    """A time in words."""
    for unit, length in [("days", 86400), ("hours", 3600), ("minutes", 60)]:
        if seconds >= 2 * length:
            return f"{seconds / length:.0f} {unit}"
    return f"{seconds:.0f} seconds"


@contextmanager
def studying(name):
    """A bar of a study with its rate, failures and time left, on a terminal; else a line a case. Gives the function
    to call with each event."""
    if not sys.stderr.isatty():
        yield lambda **event: told(name, event)
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    columns = TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TextColumn("{task.fields[words]}")
    with Progress(*columns, TimeElapsedColumn(), console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(name, total=None, words="")

        def watch(*, event, **about):
            if event == "start":
                bar.update(task, total=about["missing"], completed=0, words="starting workers")
            elif event == "workers":
                bar.console.print(f"{name}: {about['threads']} workers, watch them at {about['dashboard']}")
                bar.update(task, words="")
            elif event == "case":
                words = f"{about['failed']} failed, {about['per_minute']:.3g} a minute, {span(about['left_s'])} left"
                bar.update(task, completed=about["done"], words=words)

        yield watch


def told(name, event):
    """Print an event of a study."""
    if event["event"] == "workers":
        print(f"{name}: {event['threads']} workers, watch them at {event['dashboard']}", file=sys.stderr)
    elif event["event"] == "case":
        end = "done" if event["status"] == "done" else f"failed: {event['reason']}"
        left = f"{event['per_minute']:.3g} a minute, {span(event['left_s'])} left"
        print(f"{name}: {event['done']} of {event['of']}, {event['key']} {end}; {left}", file=sys.stderr)


def show(rows, results):
    """Print the table of measures, a column each case."""
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    console = Console() if sys.stdout.isatty() else Console(width=LINE)
    table = Table(box=None, header_style="bold")
    table.add_column("measure", overflow="fold")
    for result in results:
        table.add_column(Text(result.name), justify="right", overflow="fold")
    for row in rows:
        words = [
            " ".join(filter(None, [{"best": "★", "worst": "▽"}.get(cell["rank"]), cell["text"], cell["change"]]))
            for cell in row["cells"]
        ]
        table.add_row(f"{row['label']}, {row['unit']}" if row["unit"] else row["label"], *map(Text, words))
    console.print(table)
    print("★ best (least), ▽ worst (greatest) of a row, as far as the digits shown tell")


def fail(message):
    """End the program for bad input."""
    print(message, file=sys.stderr)
    sys.exit(BAD_INPUT)


@contextmanager
def progress(name):
    """A bar of how far the wound is closed, on a terminal; nothing when piped. Gives the function to call."""
    if not sys.stderr.isatty():
        yield lambda **state: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    from fem.mechanics.kernels import compiled

    columns = TextColumn("{task.description}"), BarColumn(), TextColumn("{task.fields[words]}"), TimeElapsedColumn()
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        note = "" if compiled() else "compiling the kernels, once for this machine"
        task = bar.add_task(name, total=1.0, words=note)
        count = 0

        def watch(*, stage, closed, residual):
            nonlocal count
            count += 1
            done = closed if stage == "closing" else 0.0
            words = f"{stage}, {100 * done:.0f} % closed, iteration {count}, {residual:.0e} N left"
            bar.update(task, completed=done, words=words)

        yield watch


def summary(name, folder):
    """One line on a finished case."""
    numbers = json.loads((folder / "measures.json").read_text())
    told = [f"{'cones' if numbers['cones'] else 'folds'} {numbers['cone_height_mm']:.1f} mm"]
    for measure, words in SUMMED.items():
        told += [] if numbers[measure] is None else [words.format(numbers[measure])]
    return f"{name}: {', '.join(told)}; pictures in {folder / 'pictures'}"


def main():
    """Run the command line."""
    app()
