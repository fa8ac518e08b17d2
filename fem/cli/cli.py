"""The commands. Exit code 0 only if all was done, 1 if a check fails, 2: bad input, 3: no convergence; see `ending`."""

import json
import sys
import warnings
from functools import partial
from pathlib import Path
from typing import Annotated, Any, Literal

from cyclopts import App, Parameter, validators

import fem
from fem.cli import printing
from fem.cli.ending import main as main
from fem.cli.files import (
    NO_CONVERGENCE,
    TAUGHT,
    Into,
    exit_code,
    fail,
    file_name,
    known,
    needed,
    read_any,
    read_lessons,
    read_study,
    worker_count,
)
from fem.cli.fitting import fit
from fem.cli.kinds import KINDS, cases_in, sorted_out
from fem.cli.solving import announce, attempted, explored, replacing, side_by_side, solve_study, validated
from fem.cli.starting import new
from fem.errors import FormerName, MeshError

app = App(
    name="flatseam",
    help="Close a skin wound in the computer: cones, forces, stress and scar length. For research and teaching; "
    "not a medical device.",
    version=fem.__version__,
    version_flags=["--version"],
    default_parameter=Parameter(negative=""),  # what is not asked for needs no word against it
)
app.command(new)
app.command(fit)
app.register_install_completion_command(help="Install completion of words by the Tab key for this shell.")
Files = Annotated[list[Path], Parameter(help="case files, or folders of them")]
Workers = Annotated[int | None, Parameter(converter=worker_count)]
Again = Annotated[bool, Parameter(help="Compute even what is already there.")]
Errors = Annotated[
    bool, Parameter(help="Estimate the error of each number too: as long again as five closures or more.")
]
Tries = validators.Number(gte=0, lte=100)
Restarts = Annotated[int, Parameter(validator=Tries, help="Random ways to close it too, which may end elsewhere.")]


@app.command
def check(
    files: Annotated[list[Path] | None, Parameter(help="files of any kind, or folders of them")] = None,
    /,
    *,
    schema: bool = False,
) -> None:
    """Read and check cases, lessons, pages to explore and studies; print what each is, and about what it takes.

    Of a case also its geometry. Time is that of one core; nothing is computed or written.

    Example: flatseam check configs/demo/lens-3-1.yaml

    Parameters
    ----------
    schema
        Print the JSON Schema of a case file instead, for editors.
    """
    from fem.case import case as cases

    if schema:
        print(json.dumps(cases.schema(), indent=2))
    elif not files:
        fail("flatseam check: name at least one file, or --schema")
    else:
        given = sorted_out("check", files, *reversed(KINDS))
        for (kind, _), content in zip(given, read_any(given, printing.checked), strict=True):
            printing.checked(kind, content)


@app.command
def close(
    files: Files,
    /,
    *,
    into: Into = Path("results"),
    again: Again = False,
    restarts: Restarts = 0,
    error: Errors = False,
) -> None:
    """Close the wounds of the cases; each gets a folder of its name for its results.

    What begins anew on the way, on finer triangles or with other cuts, is a further run of the same wound. Errors are
    estimated from closures on finer and coarser triangles and a wider patch; what is there already is not closed again.

    Example: flatseam close configs/demo/circle-20.yaml configs/demo/lens-3-1.yaml
    """
    cases = cases_in("close", files)
    from fem.case.case import warnings as case_warnings
    from fem.comparison.case_page import close as close_case
    from fem.results import accuracy
    from fem.results.folder import sweep
    from fem.results.identity import state

    sweep(into)
    worst = 0
    for case in cases:
        there = not again and state(into / case.name, case, restarts=restarts).complete
        known = accuracy.read(into / case.name)
        if there and known.note:
            print(f"{case.name}: {known.note}", file=sys.stderr)
        if there and error <= accuracy.complete(into / case.name):
            print(f"{case.name}: already in {into / case.name} (--again computes it once more)")
            if error:
                printing.errors(into / case.name)
            continue
        announce([case], into)
        options: dict[str, Any] = {"into": into, "again": again, "restarts": restarts, "error": error}
        folder, code = attempted(case.name, partial(close_case, case, **options))
        worst = max(worst, code)
        if folder is not None:
            print(printing.summary(case.name, folder))
            if error:
                printing.errors(folder)
            unusual = json.loads((folder / "run.json").read_text())["warnings"]
            for line in unusual[len(case_warnings(case)) :]:
                print(f"{case.name}: warning: {line}", file=sys.stderr)
    sys.exit(worst)


@app.command
def compare(
    files: Files,
    /,
    *,
    into: Into = Path("results"),
    again: Again = False,
    name: Annotated[str, Parameter(validator=file_name)] = "comparison",
    baseline: str | None = None,
    sort: str | None = None,
    only: list[str] | None = None,
    figures: bool = False,
    error: Errors = False,
    spread: Annotated[bool, Parameter(negative="--no-spread")] = True,
) -> None:
    """Close what is not closed yet, side by side, and compare all cases on one page.

    Writes comparison.html, .csv and .parquet, and prints the table. A case whose tension is that of
    its site is closed in the slackest and the tensest skin of the site too: three closures instead of one.

    Example: flatseam compare configs/demo

    Parameters
    ----------
    name
        Of what is written, instead of comparison: teaching makes teaching.html beside others.
    baseline
        Case that differences are taken to.
    sort
        Measure by which the cases are put in order, smallest first.
    only
        Measure to show in the table; may be given several times. The files hold all of them.
    figures
        Write every chart and picture as SVG, PDF and PNG of 300 dots per inch too.
    spread
        Show how far numbers lie apart from slack to tense skin of a site; without it, in less than half the time.
    """
    cases = cases_in("compare", files, name)
    from fem.results.quantities import LEADING, current

    sort = current(sort, "flatseam compare --sort") if sort else None
    only = [current(name, "flatseam compare --only") for name in only or []]
    known("compare --baseline", [baseline] if baseline else [], [case.name for case in cases])
    known("compare", [sort] if sort else [], LEADING)
    known("compare", only, LEADING)
    from fem.comparison import compare as comparison
    from fem.comparison import page

    replacing(cases, into, name)
    shown: dict[str, Any] = {"baseline": baseline, "only": only}
    try:
        with side_by_side(cases, into, error=error) as watching:
            options: dict[str, Any] = {"spread": spread, "error": error, "sort": sort, "figures": figures}
            done = comparison.compare(cases, into=into, name=name, again=again, **options, **shown, **watching)
    except OSError as error:
        fail(f"flatseam compare: {error}")
    rows = page.table(done.results, spread=done.spread, **shown)
    printing.measures([row for row in rows if row["name"] in LEADING], done.results)
    for line in filter(None, (result.accuracy.note for result in done.results)):
        print(line, file=sys.stderr)
    written = ", ".join([str(done.paths[0]), *(path.name for path in done.paths[1:3])])
    print(written + (f"; figures in {done.paths[-1].parent}" if figures else ""))
    sys.exit(max(map(exit_code, done.errors.values()), default=0))


@app.command
def mesh(
    files: Files, /, *, into: Annotated[Path, Parameter(help="folder that takes the meshes")] = Path("meshes")
) -> None:
    """Write the mesh of each case as VTU and gmsh files.

    Example: flatseam mesh configs/demo/lens-3-1.yaml
    """
    cases = cases_in("mesh", files)
    from fem.closure.closing import patch
    from fem.mechanics.triangulation import quality, write

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
def sites(name: Annotated[str | None, Parameter(help="site or material")] = None, /) -> None:
    """Print the library of skin sites and bench materials, or one entry with its ranges and sources.

    Example: flatseam sites forearm
    """
    from fem.case import site
    from fem.case.document import hint

    if name is None:
        printing.print_table(printing.HEADINGS, printing.sites())
    elif name in site.SITES:
        print(printing.site(name, columns=printing.width()))
    else:
        fail(f"flatseam sites: no site {name!r}{hint(name, site.SITES)}")


@app.command
def study(
    file: Annotated[Path, Parameter(help="study file, or a folder with one")],
    /,
    *,
    into: Into = Path("results"),
    dry_run: bool = False,
    retry_failed: bool = False,
    table: str | None = None,
    workers: Workers = None,
    scheduler: str | None = None,
    scheduler_file: Path | None = None,
) -> None:
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
        Compute and change nothing; print what this SQL selects from the table study, as "select key, cone_height_mm
        from study".
    workers
        Workers on this machine; by default one a core, or those of the study's `cluster` block.
    scheduler
        Address of a Dask scheduler that is running already, as tcp://10.0.0.1:8786.
    scheduler_file
        The file that such a scheduler wrote.
    """
    (_, file), *more = sorted_out("study", [file], "study")
    if more:
        fail(f"{file.parent}: has {len(more) + 1} studies; name one, as {file}")
    read_file, cases = read_study(file)
    needed("flatseam study", "distributed", "psutil")
    from fem.study import cluster

    folder = into / read_file.name
    if table is not None:
        printing.select(folder, cases, table)
    elif dry_run:
        print(printing.forecast(folder, cases, read_file, cluster.count(workers, read_file.keys.cluster)))
    else:
        client = {"local": workers, "address": scheduler, "file": scheduler_file}
        sys.exit(solve_study(read_file, cases, folder, retry=retry_failed, **client))


@app.command
def validate(*, into: Into = Path("results"), markdown: bool = False, workers: Workers = None) -> None:
    """Hold what was observed on skin against what the library's skins give: 240 closures, a table for each site.

    Example: flatseam validate

    Parameters
    ----------
    markdown
        Print the tables as Markdown.
    workers
        Workers on this machine; by default one a core.
    """
    needed("flatseam validate", "distributed", "psutil")
    table, code = validated(into / "validation", workers=workers)
    printing.validation(table, markdown=markdown)
    sys.exit(code)


@app.command
def verify(
    checks: Annotated[list[str] | None, Parameter(help="names of checks; all if none is named")] = None,
    /,
    *,
    quick: bool = False,
    into: Into = Path("results"),
) -> None:
    """Hold the program against exact solutions, published tables and other codes; write the book of it, a page.

    Of checks that are named the numbers are printed, and nothing is written. Exit code 1 if one fails.

    Example: flatseam verify --quick

    Parameters
    ----------
    quick
        On coarse triangles, as the tests do, in two minutes; the page is then verification-quick.html. Without it
        seven minutes on one core, and in the source tree tests/VERIFICATION.md is written too.
    """
    from fem.cli.verifying import verified

    sys.exit(verified(checks or [], quick=quick, into=into))


@app.command
def teach(
    files: Annotated[list[Path], Parameter(help="files of cases, lessons or pages to explore, or folders of them")],
    /,
    *,
    into: Into = Path("results"),
    again: Again = False,
    only: list[str] | None = None,
    paper: Literal["A4", "Letter"] = "A4",
    heights: Annotated[float, Parameter(validator=validators.Number(gte=0.1, lte=10))] = 1.0,
) -> None:
    """Write teaching material of each case into its results folder, as handout; what is not closed yet is closed.

    A file with `ratios` and `choices` becomes one page to explore, results/CASE.html, from many closures.

    Example: flatseam teach configs/lessons/circle-or-lens.yaml

    Parameters
    ----------
    only
        Product to make; may be given several times. The others stay as they are.
    paper
        Size of the sheets.
    heights
        So many times as high the skin stands in what is printed in 3D; the base says so. 0.1 to 10.
    """
    from fem.results.folder import sweep
    from fem.teaching import handout

    known("teach --only", only or [], handout.PRODUCTS)
    lessons, explorations = read_lessons(sorted_out("teach", files, "case", *TAUGHT), only or ())
    sweep(into)
    worst = 0
    for lesson in lessons:
        announce([lesson.case, *(case for _, case in handout.needed(lesson, only or ()))], into)
        options: dict[str, Any] = {"into": into, "again": again, "only": only or (), "paper": paper, "heights": heights}
        done, code = attempted(lesson.case.name, partial(handout.teach, lesson, **options))
        worst = max(worst, code)
        if done is not None:
            folder, missing = done
            for line in [f"handout in {folder}", *handout.remarks(folder)]:
                print(f"{lesson.case.name}: {line}")
            for neighbour, reason in missing.items():
                print(f"{neighbour}: not closed, and missing in the sheets: {reason}", file=sys.stderr)
                worst = NO_CONVERGENCE
    sys.exit(max([worst, *(explored(page, into=into, again=again) for page in explorations)]))


def run(words: list[str]) -> None:
    """Run the command that the words are; former names are warned of in the program's own format, once each."""
    usual = warnings.showwarning

    def show(message: Any, category: type[Warning], *about: Any, **more: Any) -> None:
        print(message, file=sys.stderr) if category is FormerName else usual(message, category, *about, **more)

    with warnings.catch_warnings():
        warnings.simplefilter("once", FormerName)
        warnings.showwarning = show
        app(words)
