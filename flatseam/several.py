"""Many closures: compared on a page, or as a study."""

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter, ValidationError

from fem.case.case import Case
from fem.case.document import hint
from fem.case.keys import Name
from fem.comparison import compare as comparison
from fem.comparison import guard, page, written
from fem.errors import BadCase
from fem.study import cluster, keys, whole
from fem.study.table import selected
from flatseam.result import Result, Watch, _unwatched, table_html


@dataclass(frozen=True)
class Comparison:
    """Closures side by side."""

    page: Path  # comparison.html; beside it the table as .csv and .parquet
    results: dict[str, Result] = field(repr=False)  # by name of the case, without those in `failed`
    failed: dict[str, str]  # why a case has no closure, by its name, or in slack or tense skin
    table: dict[str, list[Any]] = field(repr=False)  # columns by name, as pandas.DataFrame takes them
    _done: comparison.Compared = field(repr=False)

    def _repr_html_(self) -> str:
        rows = page.table(self._done.results, spread=self._done.spread)
        return table_html(self._done.results, rows, [f"{name}: {why}" for name, why in self.failed.items()])


def compare(
    cases: Iterable[Case], *, into: str | Path = "results", name: str = "comparison", baseline: str | None = None,
    spread: bool = True, error: bool = False, figures: bool = False, again: bool = False,
    watch: Callable[..., None] = lambda job, error, done, of: None,
) -> Comparison:  # fmt: skip
    """Close what is not closed yet, a case a core, and write <name>.html, .csv and .parquet into a folder of results.

    The table has a row for each case, and one for each of its `skin`: as given, slack, tense.

    baseline   name of the case that differences on the page are taken to
    spread     close each case whose tension is that of its site in the site's slackest and tensest skin too
    error      estimate the numerical error of each case's numbers too, see `close`
    figures    write every chart and picture for print too
    watch      called as each closure ends: with it, its error or None, how many are done, and of how many

    A script that is run must call it below `if __name__ == "__main__":`, for the processes that it starts read the
    script too; a notebook need not.

    Raises Unguarded if it is not there, ValueError, and OSError if something else would be replaced.
    """
    guard.check()
    wanted = list(cases)
    try:
        TypeAdapter(Name).validate_python(name)
    except ValidationError:
        raise ValueError(f"name: got {name[:80]!r}, wanted letters, digits, - _ . but no . in front") from None
    if baseline is not None and baseline not in (known := [case.name for case in wanted]):
        raise ValueError(f"baseline: no {baseline!r}{hint(baseline, known)}")
    how: dict[str, Any] = {"spread": spread, "error": error, "figures": figures, "again": again, "watch": watch}
    done = comparison.compare(wanted, into=into, name=name, baseline=baseline, **how)
    results = {held.name: Result(held, Path(into) / held.name) for held in done.results if not held.reason}
    failed = {address: str(error) for address, error in done.errors.items()}
    return Comparison(done.paths[0], results, failed, comparison.table(done.results, done.spread), done)


@dataclass(frozen=True)
class Study:
    """A study whose cases are closed."""

    name: str
    folder: Path  # of its files
    page: Path | None  # study.html; None if the study has no `answers`
    failures: Counter[str]  # how many cases have no closure, by kind
    table: dict[str, list[Any]] = field(repr=False)  # columns by name: inputs by dotted key, measures, why one failed

    def select(self, query: str) -> dict[str, list[Any]]:
        """Columns that SQL selects from the table `study`, as "select cone_height_mm from study".

        Raises ValueError.
        """
        return _selected(self.folder, query)


def study(
    study: str | Path | Mapping[str, Any], *, into: str | Path = "results", workers: int | None = None,
    scheduler: str | None = None, retry_failed: bool = False, watch: Watch = _unwatched,
) -> Study:  # fmt: skip
    """Close the cases of a study that are missing, a case a core, and write its table and its page of answers.

    study          its file, or its keys: `name`, `base` (a case, its keys or its file), `grid`, `zip`, `sample`,
                   `answers` and others
    into           folder of results, in which <name>/ gets the files
    workers        processes on this machine, by default one a core, or those of the study's `cluster`
    scheduler      address of a Dask scheduler that is running, instead
    retry_failed   try those again that failed before
    watch          called with each `event`: start, workers, case, end

    Needs `pip install 'flatseam[study]'`. As of `compare`, a script calls it below `if __name__ == "__main__":`.

    Raises BadCase before anything is closed, Unguarded as `compare`, StudyStopped if it cannot go on.
    """
    guard.check()
    read, cases = _read(study)
    folder = Path(into) / read.name
    client = cluster.chosen(read.keys.cluster, local=workers, address=scheduler)
    done = whole.completed(read, cases, folder, workers=client, retry=retry_failed, watch=watch)
    return Study(read.name, folder, done.page, done.failures, _selected(folder, "select * from study"))


def _read(given):
    """The study in a file or of keys and values, and its cases."""
    if not isinstance(given, Mapping):
        read = keys.read(given)
        return read, whole.checked(read)
    try:
        read = keys.parse(written.as_text(given), "", folder=Path())
        return read, whole.checked(read)
    except BadCase as error:
        raise BadCase("\n".join(f"study: {line}" for line in written.complaints(error))) from error


def _selected(folder: Path, query: str) -> dict[str, list[Any]]:
    columns, rows = selected(folder / "study.parquet", query)
    values: Sequence[tuple] = list(zip(*rows, strict=True)) or [()] * len(columns)
    return {name: list(column) for name, column in zip(columns, values, strict=True)}
