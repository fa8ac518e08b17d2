"""A whole study: its cases, all of it checked; and every case closed, in a table, with the page of its answers."""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from fem.case.case import Case
from fem.case.document import bad
from fem.comparison.addresses import figures, tables
from fem.results.identity import address
from fem.study import cluster, report, sweep
from fem.study.study import engine
from fem.study.study import failures as failures_in
from fem.study.sweep import Study
from fem.study.table import write_table
from fem.study.task import closing


@dataclass(frozen=True)
class Done:
    """What became of a study."""

    count: int  # different cases
    failures: Counter[str]  # how many of them have no result, by kind
    table: Path  # study.parquet
    page: Path | None  # study.html; None if nothing was asked of it


def checked(study: Study, *, watch: Callable[..., None] = lambda **progress: None) -> list[Case]:
    """The cases of a study, its name and its answers checked too; `watch` as of `sweep.cases`. Raises BadCase."""
    if study.name in (*tables(), figures()):
        raise bad(study.page, [(("name",), f"name: {study.name!r} is what flatseam compare writes")])
    cases = sweep.cases(study, watch=watch)
    report.check(study)
    return cases


def completed(
    study: Study, cases: Sequence[Case], folder: Path, *, workers: Callable = cluster.on_this_machine,
    retry: bool = False, watch: Callable[..., None] = lambda **event: None,
) -> Done:  # fmt: skip
    """Close those of a study's cases that are missing in its folder, and write its table and its page.

    workers, retry, watch   as of `engine`

    Raises StudyStopped, or OSError if something cannot be written.
    """
    keys, page, asked = dict.fromkeys(map(address, cases)), None, study.keys
    how = partial(engine, keep=asked.keep, limits=asked.limits, solve=partial(closing, varied=report.inputs(study)))
    with how(folder, workers=workers, retry=retry, watch=watch) as evaluate:
        evaluate(cases)
        if asked.answers:
            page = report.write(study, evaluate, folder)
    return Done(len(keys), failures_in(folder, keys), write_table(folder, keys), page)
