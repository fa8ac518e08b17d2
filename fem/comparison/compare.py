"""Closures side by side: what is missing is solved, then page, tables and figures are written from the folders."""

import io
import multiprocessing
import os
import signal
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
from matplotlib import rc_context
from matplotlib.figure import Figure
from PIL import Image

from fem.case import case as cases_of
from fem.case.document import parse
from fem.comparison import chart, page, style
from fem.comparison.addresses import FIGURES, TABLES, clashes, results_of
from fem.comparison.stopping import heed_parent, held_back
from fem.errors import MeshError, NotConverged
from fem.render import canvas
from fem.render.projection import Ranges
from fem.results.close import close
from fem.results.folder import whole_files
from fem.results.identity import state
from fem.results.result import Result, names, read, solved

QUALITY = 88  # of WebP images; our choice
DPI = 300  # of figures for print
ONE_THREAD = {name: "1" for name in ("MKL_NUM_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS")}


# Solving ------------------------------------------------------------------------------------------------------


def solve_missing(
    cases: Iterable[cases_of.Case],
    *,
    into: Path | str,
    again: bool = False,
    watch: Callable[[cases_of.Case, Exception | None, int, int], None] = lambda case, error, done, of: None,
) -> dict[str, Exception]:
    """Errors by the name of the case; the others now have a complete results folder.

    Cases are solved side by side, one process a core, each on one thread.

    watch   called with each case as it ends, its error or None, how many have ended, and of how many

    Raises ValueError if the results of two different cases would go into one folder.
    """
    wanted = list(cases)
    for later, first in clashes(address for case in wanted for address in results_of(case, case.name)):
        raise ValueError(
            f"two different cases have {later.name!r} as a name of their results, {first.source} the first"
        )
    missing = [case for case in wanted if again or not state(Path(into) / case.name, case).complete]
    errors: dict[str, Exception] = {}
    if missing:
        with _pool(min(len(missing), _cores())) as pool:
            with held_back(signal.SIGINT):  # processes are started on the way
                jobs = {pool.submit(_close, cases_of.text(case), into, again): case for case in missing}
            for done, job in enumerate(as_completed(jobs), start=1):
                try:
                    job.result()
                except (NotConverged, MeshError, OSError, BrokenProcessPool) as error:
                    errors[jobs[job].name] = error
                watch(jobs[job], errors.get(jobs[job].name), done, len(jobs))
    return errors


def _close(written, into, again):
    """Close the case in a text: the models of cases are made at run time and cannot be sent to another process."""
    close(parse(written, cases_of.Case, "case.yaml"), into=into, again=again)


def _cores():
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


@contextmanager
def _pool(workers):
    """Pool of processes on one thread each; an error here ends them, and they end with this process.

    They hear an interrupt, from here or the terminal, as soon as they can clean up for it, not while they start.
    """
    before = {name: os.environ.get(name) for name in ONE_THREAD}
    os.environ.update(ONE_THREAD)
    pool = ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn"), initializer=heed_parent)
    try:
        yield pool
    except BaseException:
        pool.shutdown(wait=False, cancel_futures=True)
        for process in multiprocessing.active_children():
            if process.pid:
                os.kill(process.pid, signal.SIGINT)
        raise
    finally:
        pool.shutdown()
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


def results(cases: Iterable[cases_of.Case], errors: dict[str, Exception], *, into: Path | str) -> list[Result]:
    """Result of every case, from its folder or with the reason why there is none; unreadable ones join `errors`."""
    return [_result(case, errors, Path(into) / case.name) for case in cases]


def _result(case, errors, folder):
    if case.name not in errors:
        try:
            return read(folder, case)
        except (OSError, ValueError) as error:
            errors[case.name] = OSError(f"{folder} cannot be read: {error}; --again writes it anew")
    return Result(case, reason=str(errors[case.name]))


# Writing ------------------------------------------------------------------------------------------------------


def write(
    results: Sequence[Result],
    *,
    into: Path | str,
    baseline: str | None = None,
    only: Sequence[str] | None = None,
    figures: bool = False,
) -> list[Path]:
    """Paths of comparison.html, .csv and .parquet, and of the figures if they are wanted, written into a folder."""
    into = Path(into)
    into.mkdir(parents=True, exist_ok=True)
    images, ranges, charts = drawings(results)
    text = page.html(results, baseline=baseline, only=only, images=images, ranges=ranges)
    paths = [into / name for name in TABLES]
    with whole_files(*paths) as drafts:
        drafts[0].write_text(text, encoding="utf-8")
        write_tables(results, *drafts[1:])
    return paths + (write_figures(charts, into / FIGURES) if figures and charts else [])


def write_tables(results: Sequence[Result], csv: Path, parquet: Path) -> None:
    """Write all numbers, a row each case, with every digit, as CSV and Parquet; what a case lacks is empty."""
    columns = names(results)
    quoted = ", ".join(f'"{name}" DOUBLE' for name in columns)
    with duckdb.connect() as base:
        base.execute(f'CREATE TABLE comparison ("case" VARCHAR, "reason" VARCHAR{", " if columns else ""}{quoted})')
        marks = ", ".join("?" * (2 + len(columns)))
        for result in results:
            at = result.numbers
            row = [result.name, result.reason or None, *(at.get(name) for name in columns)]
            base.execute(f"INSERT INTO comparison VALUES ({marks})", row)
        table = base.table("comparison")
        table.write_csv(str(csv))
        table.write_parquet(str(parquet))


def drawings(results: Sequence[Result]) -> tuple[dict[str, Any], Ranges | None, dict[str, Figure]]:
    """Images of the page by name, the ranges they share, and figures for print by name."""
    done = solved(results)
    if not done:
        return {}, None, {}
    ranges = chart.common_ranges(results)
    ends = {"height": ranges.heights, "stress": ranges.stresses}
    with rc_context(style.STYLE):
        charts, plans = _charts(results), {r.name: chart.plan(r, ranges.half_width) for r in done}
        scales = {f"{kind}_scale": chart.colour_scale(kind, end) for kind, end in ends.items()}
        pictures = {
            "height": chart.height_images(done, ranges),
            "stress": [chart.stress_image(r, ranges) for r in done],
        }
        images: dict[str, Any] = {name: style.svg(figure) for name, figure in (charts | scales).items()}
        images["plans"] = {name: style.svg(plan) for name, plan in plans.items()}
        images["sizes"] = {"plans": canvas.VIEW.tolist()}
        figures = charts | {f"plan-{name}": plan for name, plan in plans.items()}
        for kind, every in pictures.items():
            images[kind] = {r.name: webp(image) for r, image in zip(done, every, strict=True)}
            images["sizes"][kind] = every[0].shape[1::-1]
            for r, image in zip(done, every, strict=True):
                figures[f"{kind}-{r.name}"] = chart.framed(image, r.name, kind, ends[kind])
    return images, ranges, figures


def _charts(results):
    lesions = all(result.case.wound.lesion for result in solved(results))
    area = "healthy_removed_mm2" if lesions else "removed_area_mm2"
    return {
        "trade_off": chart.trade_off(results, "scar_length_mm", "cone_height_mm"),
        "trade_off_skin": chart.trade_off(results, area, chart.TENSION),
        "heights_along": chart.heights_along(results),
        "heights_across": chart.heights_across(results),
        "tensions_along": chart.tensions_along(results),
    }


def webp(image: np.ndarray) -> bytes:
    """An image (h, w, 3) as the bytes of a WebP file."""
    stream = io.BytesIO()
    Image.fromarray(image).save(stream, "webp", quality=QUALITY, method=6)
    return stream.getvalue()


def write_figures(figures: Mapping[str, Figure], folder: Path) -> list[Path]:
    """Paths of all figures as SVG, PDF and PNG of 300 dots per inch in a folder, which is made if need be."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = [folder / f"{name.replace('_', '-')}.{kind}" for name in figures for kind in ("svg", "pdf", "png")]
    with whole_files(*paths) as drafts, rc_context(style.STYLE):
        for draft, figure in zip(drafts, [figure for figure in figures.values() for _ in range(3)], strict=True):
            figure.savefig(draft, dpi=DPI)
    return paths
