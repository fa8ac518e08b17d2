"""Closures side by side: what is missing is solved, then page, tables and figures are written from the folders."""

import csv
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import duckdb
from matplotlib import rc_context
from matplotlib.figure import Figure

from fem.case import case as cases_of
from fem.comparison import case_page, chart, images, jobs, page, style
from fem.comparison.addresses import COMPARISON, clashes, results_of, tables
from fem.comparison.addresses import figures as figures_of
from fem.comparison.spread import AS_GIVEN, NO_SPREAD, Spread, complete, outcome, place, variants
from fem.render.projection import Ranges
from fem.results.folder import whole_files
from fem.results.identity import state
from fem.results.result import Result, names, read, solved

DPI = 300  # of figures for print


# Solving ------------------------------------------------------------------------------------------------------


def solve_missing(
    cases: Iterable[cases_of.Case], *, into: Path | str, again: bool = False, spread: bool = False,
    watch: jobs.Watch = lambda job, error, done, of: None, begin: Callable[[int], None] = lambda missing: None,
) -> dict[str, Exception]:  # fmt: skip
    """Errors by the address of what was to be closed; the others now have a complete results folder.

    Cases are solved side by side, one process a core, each on one thread.

    spread  whether to close each case in the slackest and the tensest skin of its site too, see `spread.variants`
    watch   as of `jobs.run`
    begin   called before it with how many closures are missing, if any are

    Raises ValueError if the results of two different cases would go into one folder.
    """
    wanted = list(cases)
    for later, first in clashes(address for case in wanted for address in results_of(case, case.name)):
        raise ValueError(
            f"two different cases have {later.name!r} as a name of their results, {first.source} the first"
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
    skins = [(result.name, {AS_GIVEN: result, **spread.get(result.name, {})}) for result in results]
    rows = [(name, skin, result) for name, closed in skins for skin, result in closed.items()]
    columns = names(result for _, _, result in rows)
    types = {"case": "VARCHAR", "skin": "VARCHAR", "reason": "VARCHAR"} | dict.fromkeys(columns, "DOUBLE")
    with duckdb.connect() as base:
        columns_of = ", ".join(f'"{name}" {kind}' for name, kind in types.items())
        base.execute(f"CREATE TABLE comparison ({columns_of})")
        for name, skin, result in rows:
            row = [name, skin, result.reason or None, *map(result.numbers.get, columns)]
            base.execute(f"INSERT INTO comparison VALUES ({', '.join('?' * len(types))})", row)
        table = base.table("comparison")
        table.write_csv(str(lines))
        table.write_parquet(str(parquet))


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
