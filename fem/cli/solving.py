"""Cases, explorations and studies solved with a bar on a terminal: what came of each is printed."""

import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fem.cli import printing, progress
from fem.cli.files import NO_CONVERGENCE, complaint, exit_code, fail
from fem.errors import MeshError, NotConverged, StudyStopped

if TYPE_CHECKING:
    from fem.case.case import Case
    from fem.comparison.jobs import Job
    from fem.study.sweep import Study
    from fem.study.validation import Line
    from fem.teaching.explore import Exploration


def attempted(name: str, work: Callable) -> tuple[Any, int]:
    """What a work on a case gives, or None if it fails, and the exit code; `work` takes the function that watches."""
    try:
        with progress.closing(name) as watch:
            return work(watch=watch), 0
    except (MeshError, OSError, NotConverged) as error:
        print(complaint(name, error), file=sys.stderr)
        return None, exit_code(error)


def announce(cases: "Iterable[Case]", into: Path) -> None:
    """Print why results that are there already are computed once more, a line each."""
    from fem.results.identity import Kind, State, state

    for case in cases:
        if not (into / case.name / "run.json").is_file():  # nothing, or something else, which is not replaced
            continue
        there = state(into / case.name, case)
        if not there.complete and there != State(Kind.MISSING):
            print(f"{case.name}: {there}; closing again", file=sys.stderr)


@contextmanager
def side_by_side(cases: "Sequence[Case]", into: Path, *, error: bool = False) -> Iterator[dict[str, Any]]:
    """A bar of what is closed of several cases, a line on each as it ends; gives what `solve_missing` calls."""
    from fem.comparison.jobs import cores
    from fem.results.cost import LONGER, PICTURES, cost
    from fem.results.folder import sweep

    sweep(into)
    announce(cases, into)
    progress.first_time("closing")
    words = progress.pace()
    with progress.bar("closing", "looking what is closed already") as update:

        def begin(missing: int) -> None:
            each = cost(cases).seconds / len(cases) * (LONGER if error else 1) + PICTURES
            update(of=missing, state=f"0 of {missing}, about {printing.span(each * missing / min(missing, cores()))}")

        def watch(job: "Job", error: Exception | None, done: int, of: int) -> None:
            update(done=done, of=of, state=words(done, of) + ("; page and tables" if done == of else ""))
            if error is not None:
                print(complaint(job.called, error), file=sys.stderr)
            elif job.first:
                print(printing.summary(job.case.name, into / job.address))

        yield {"watch": watch, "begin": begin}


def replacing(cases: "Iterable[Case]", into: Path, name: str) -> None:
    """Print which comparison of other cases will be replaced; ends the program if something else would be."""
    from fem.comparison.addresses import tables
    from fem.comparison.compare import compared

    try:
        before = compared(into, name)
    except OSError as error:
        fail(f"flatseam compare: {error}")
    if before and set(before) != {case.name for case in cases}:
        page = into / tables(name)[0]
        print(f"{page}: replaces the comparison of {', '.join(before)}; --name keeps both", file=sys.stderr)


def explored(exploration: "Exploration", *, into: Path, again: bool) -> int:
    """Exit code of an exploration: what is missing is closed, and the page written; a line on each closure and it."""
    from fem.comparison import compare as comparison
    from fem.teaching import explore

    page = into / explore.page_name(exploration)
    if page.with_suffix(".csv").exists():
        fail(f"{page}: is a comparison, which stays; give the base of the page to explore another name")
    cases = [step.case for step in explore.steps(exploration)]
    with side_by_side(cases, into) as watching:
        errors = comparison.solve_missing(cases, into=into, again=again, **watching)
    results = comparison.results(cases, errors, into=into)
    try:
        page = explore.write(exploration, results, into)
    except OSError as error:
        fail(f"{exploration.base.name}: {error}")
    except ValueError as error:
        print(f"{exploration.base.name}: {error}", file=sys.stderr)
    else:
        print(page)
    return max(map(exit_code, errors.values()), default=0)


def solve_study(study: "Study", cases: "list[Case]", folder: Path, *, retry: bool, **client: Any) -> int:
    """Exit code of a study: what is missing is solved, table and page are written; client as for `cluster.chosen`."""
    from fem.study import cluster, whole

    workers = cluster.chosen(study.keys.cluster, **client)
    try:
        with progress.studying(study.name) as watch:
            done = whole.completed(study, cases, folder, workers=workers, retry=retry, watch=watch)
    except (StudyStopped, OSError) as error:
        fail(f"{study.name}: {error}")
    failed = "".join(f", {count} {kind}" for kind, count in done.failures.items())
    files = ", ".join(str(written) for written in (done.table, done.page) if written)
    print(f"{study.name}: {done.count} cases, {done.count - done.failures.total()} done{failed}; {files}")
    return NO_CONVERGENCE if done.failures else 0


def validated(folder: Path, *, workers: int | None) -> "tuple[dict[str, list[Line]], int]":
    """The table of what was observed beside what the library gives, and the exit code; what is missing is solved."""
    from fem.results.identity import address
    from fem.study import cluster, validation
    from fem.study import study as studies

    try:
        with progress.studying(folder.name) as watch:
            with studies.engine(folder, workers=partial(cluster.on_this_machine, workers), watch=watch) as evaluate:
                table = validation.table(evaluate)
        failures = studies.failures(folder, dict.fromkeys(map(address, validation.cases().values())))
    except (studies.StudyStopped, OSError) as error:
        fail(f"{folder.name}: {error}")
    for kind, count in failures.items():
        print(f"{folder.name}: {count} of the closures {kind}", file=sys.stderr)
    return table, NO_CONVERGENCE if failures else 0
