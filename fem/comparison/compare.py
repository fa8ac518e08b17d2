"""Closures side by side: what is missing is solved, then page, tables and figures are written from the folders."""

import csv
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import duckdb
from matplotlib import rc_context
from matplotlib.figure import Figure

from fem.case import case as cases_of
from fem.comparison import case_page, chart, images, jobs, page, style
from fem.comparison import spread as skins
from fem.comparison.addresses import COMPARISON, Address, clashes, results_of, tables
from fem.comparison.addresses import figures as figures_of
from fem.comparison.spread import AS_GIVEN, NO_SPREAD, Spread, complete, outcome, place, variants
from fem.render.projection import Ranges
from fem.results import accuracy
from fem.results.folder import whole_files
from fem.results.identity import state
from fem.results.quantities import error_name, tabled
from fem.results.result import Result, names, ordered, read, solved

DPI = 300  # of figures for print


@dataclass(frozen=True)
class Compared:
    """Closures that were compared, and what was written."""

    results: list[Result]  # of the cases, in order
    spread: Spread  # in slack and tense skin
    errors: dict[str, Exception]  # by address, of what has no closure
    paths: list[Path]  # <name>.html, .csv and .parquet, and figures


def compare(
    cases: Iterable[cases_of.Case], *, into: Path | str, name: str = COMPARISON, again: bool = False,
    spread: bool = True, error: bool = False, sort: str | None = None, baseline: str | None = None,
    only: Sequence[str] | None = None, figures: bool = False, **watching: Any,
) -> Compared:  # fmt: skip
    """Close what is missing, and write the page that compares all cases, with its tables, into a folder of results.

    spread     whether in the slackest and the tensest skin of each case's site too
    error      whether the errors of each case's numbers are estimated too
    sort       number by which the cases are put in order
    watching   `watch` and `begin` of `solve_missing`

    Raises ValueError for names that do not go together; OSError if something else would be replaced, or writing fails.
    """
    wanted = list(cases)
    compared(into, name)
    asked: dict[str, Any] = {"spread": spread, "error": error, "beside": _written(name)}
    errors = solve_missing(wanted, into=into, again=again, **asked, **watching)
    each = results(wanted, errors, into=into)
    ends = skins.read(wanted, each, errors, into=into) if spread else NO_SPREAD
    each = ordered(each, sort) if sort else each
    paths = write(each, into=into, name=name, spread=ends, baseline=baseline, only=only, figures=figures)
    return Compared(each, ends, errors, paths)


def _written(name):
    """Addresses of what a comparison writes."""
    return [Address(file, file, "the comparison") for file in (*tables(name), figures_of(name))]


# Solving ------------------------------------------------------------------------------------------------------


def solve_missing(
    cases: Iterable[cases_of.Case], *, into: Path | str, again: bool = False, spread: bool = False, error: bool = False,
    watch: jobs.Watch = lambda job, error, done, of: None, begin: Callable[[int], None] = lambda missing: None,
    beside: Sequence[Address] = (),
) -> dict[str, Exception]:  # fmt: skip
    """Errors by the address of what was to be closed; the others now have a complete results folder.

    Cases are solved side by side, one process a core, each on one thread.

    spread  whether to close each case in the slackest and the tensest skin of its site too, see `spread.variants`
    error   whether to estimate the errors of each case's numbers too, see `results.accuracy`
    watch   as of `jobs.run`
    begin   called before it with how many closures are missing, if any are
    beside  what else will be written into the folder

    Raises ValueError if the results of two different cases would go into one folder.
    """
    wanted = list(cases)
    for later, first in clashes([*beside, *(address for case in wanted for address in results_of(case, case.name))]):
        raise ValueError(
            f"{later.name!r} is written for {first.source} and, with other content, for {later.source}; "
            "one of them needs another name"
        )
    wanted, into = list({case.name: case for case in wanted}.values()), Path(into)
    missing = [jobs.Job(case) for case in wanted if again or not state(into / case.name, case).complete]
    errors: dict[str, Exception] = {}
    anew = {job.case.name for job in missing}  # whose folder is replaced, with the variants in it
    for case in wanted if spread else ():
        for skin, variant in variants(case).items():
            if isinstance(variant, ValueError):
                errors[place(case.name, skin)] = variant
                watch(jobs.Job(case, skin), variant, 0, 1)
            elif again or case.name in anew or not complete(into / place(case.name, skin), variant):
                missing.append(jobs.Job(variant, skin))
    for case in wanted if error else ():
        if again or case.name in anew or not accuracy.complete(into / case.name):
            missing.append(jobs.Job(case, errors=True))
    if missing:
        begin(len(missing))
    return errors | (jobs.run(missing, into=into, again=again, watch=watch) if missing else {})


def results(cases: Iterable[cases_of.Case], errors: dict[str, Exception], *, into: Path | str) -> list[Result]:
    """Result of every case, from its folder or with the reason why there is none; unreadable ones join `errors`."""
    return [outcome(case, case.name, errors, into, read) for case in cases]


def compared(into: Path | str, name: str) -> list[str]:
    """Names of the cases in the comparison of that name in a folder of results; none if there is no such comparison.

    Raises FileExistsError if something else is there, which would be lost.
    """
    page, table, _ = (Path(into) / file for file in tables(name))
    folder = Path(into) / figures_of(name)
    if (folder / "run.json").exists():
        raise FileExistsError(f"{folder} holds the results of a case; another --name leaves it as it is")
    if not page.exists() and not table.exists():
        return []
    rows = list(csv.DictReader(table.read_text(encoding="utf-8").splitlines())) if table.is_file() else []
    if page.is_dir() or not {"case", "skin", "reason"} <= (rows[0].keys() if rows else set()):
        raise FileExistsError(f"{page if page.exists() else table} is no comparison; another --name leaves it as it is")
    return list(dict.fromkeys(row["case"] for row in rows))


# Writing ------------------------------------------------------------------------------------------------------


def write(
    results: Sequence[Result], *, into: Path | str, name: str = COMPARISON, spread: Spread = NO_SPREAD,
    baseline: str | None = None, only: Sequence[str] | None = None, figures: bool = False,
) -> list[Path]:  # fmt: skip
    """Paths of <name>.html, .csv and .parquet, and of the figures if they are wanted, written into a folder."""
    into = Path(into)
    into.mkdir(parents=True, exist_ok=True)
    drawn, ranges, charts = drawings(results, spread)
    pages = case_page.links(results, into)
    text = page.html(results, spread=spread, baseline=baseline, only=only, images=drawn, ranges=ranges, pages=pages)
    paths = [into / file for file in tables(name)]
    with whole_files(*paths, failure=duckdb.IOException) as drafts:
        drafts[0].write_text(text, encoding="utf-8")
        write_tables(results, spread, *drafts[1:])
    return paths + (write_figures(charts, into / figures_of(name)) if figures and charts else [])


def write_tables(results: Sequence[Result], spread: Spread, lines: Path, parquet: Path) -> None:
    """Write all numbers, a row for each skin of each case, every digit, as CSV and Parquet; what one lacks is empty."""
    columns = table(results, spread)
    types = dict.fromkeys(columns, "DOUBLE") | dict.fromkeys(("case", "skin", "reason"), "VARCHAR")
    with duckdb.connect() as base:
        columns_of = ", ".join(f'"{name}" {kind}' for name, kind in types.items())
        base.execute(f"CREATE TABLE comparison ({columns_of})")
        for row in zip(*columns.values(), strict=True):
            base.execute(f"INSERT INTO comparison VALUES ({', '.join('?' * len(types))})", row)
        written = base.table("comparison")
        written.write_csv(str(lines))
        written.write_parquet(str(parquet))


def table(results: Sequence[Result], spread: Spread = NO_SPREAD) -> dict[str, list[Any]]:
    """Columns by name, a row for each skin of each case: case, skin, reason if it has no closure, then all numbers.

    Numbers are as `quantities.tabled`. Then the errors that were estimated, as `cone_height_error_mm`.
    """
    closed = [(result.name, {AS_GIVEN: result, **spread.get(result.name, {})}) for result in results]
    rows = [(name, skin, result) for name, several in closed for skin, result in several.items()]
    columns: dict[str, list[Any]] = {
        "case": [name for name, _, _ in rows],
        "skin": [skin for _, skin, _ in rows],
        "reason": [result.reason or None for _, _, result in rows],
    }
    known = names(r for _, _, r in rows)
    errors = {
        error_name(name): [(of := r.accuracy.errors.get(name)) and of.total for _, _, r in rows] for name in known
    }
    columns |= {name: [tabled(name, r.numbers.get(name)) for _, _, r in rows] for name in known}
    return columns | {name: each for name, each in errors.items() if any(error is not None for error in each)}


def drawings(
    results: Sequence[Result], spread: Spread = NO_SPREAD
) -> tuple[dict[str, Any], Ranges | None, dict[str, Figure]]:
    """Images of the page by name, the ranges they share, and figures for print by name."""
    done = solved(results)
    if not done:
        return {}, None, {}
    ranges = chart.common_ranges(results)
    area = "healthy_removed_mm2" if all(r.case.wound.lesion for r in done) else "removed_area_mm2"
    with rc_context(style.STYLE):
        charts = {
            "trade_off": chart.trade_off(results, "scar_length_mm", "cone_height_mm", spread=spread),
            "trade_off_skin": chart.trade_off(results, area, chart.TENSION),
            **images.profiles(results),
        }
        pictures = images.pictures(done, ranges)
        embedded = images.embedded(charts, pictures, ranges)
        figures = charts | {f"plan-{name}": plan for name, plan in pictures["plans"].items()}
        for kind, ends in {"height": ranges.heights, "stress": ranges.stresses}.items():
            named = pictures[kind].items()
            figures |= {f"{kind}-{name}": chart.framed(image, name, kind, ends) for name, image in named}
    return embedded, ranges, figures


def write_figures(figures: Mapping[str, Figure], folder: Path) -> list[Path]:
    """Paths of all figures as SVG, PDF and PNG of 300 dots per inch in a folder, which is made if need be."""
    folder.mkdir(parents=True, exist_ok=True)
    every = {folder / f"{n.replace('_', '-')}.{kind}": f for n, f in figures.items() for kind in ("svg", "pdf", "png")}
    with whole_files(*every) as drafts, rc_context(style.STYLE):
        for draft, figure in zip(drafts, every.values(), strict=True):
            figure.savefig(draft, dpi=DPI)
    return list(every)
