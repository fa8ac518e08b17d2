"""Closures side by side, one process a core, each on one thread: those of cases first, then those of their variants.

A variant lies in its case's folder, which is replaced whole, so it is begun only when that is complete.
"""

import multiprocessing
import os
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from fem.case.case import Case, text
from fem.case.document import parse
from fem.comparison import spread
from fem.comparison.case_page import close
from fem.comparison.stopping import heed_parent, held_back
from fem.errors import MeshError, NotConverged

ONE_THREAD = {name: "1" for name in ("MKL_NUM_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS")}


@dataclass(frozen=True)
class Job:
    """A closure to compute."""

    case: Case
    skin: str = ""  # of a variant, see `spread`; empty of a case as it is given

    @property
    def address(self) -> str:
        """Its folder below the folder of results."""
        return spread.place(self.case.name, self.skin) if self.skin else self.case.name

    @property
    def called(self) -> str:
        """What it is called."""
        return f"{self.case.name} in {self.skin} skin" if self.skin else self.case.name


Watch = Callable[[Job, Exception | None, int, int], None]


def run(jobs: Sequence[Job], *, into: Path | str, again: bool, watch: Watch) -> dict[str, Exception]:
    """Errors by the address of the job; what the others ask for is there now.

    watch   called with each job as it ends, its error or None, how many have ended, and of how many
    """
    errors: dict[str, Exception] = {}
    given = {job.case.name for job in jobs if not job.skin}
    waiting = [job for job in jobs if job.skin and job.case.name in given]
    done = 0
    with _pool(min(len(jobs), cores())) as pool:
        running = {_started(pool, job, into, again): job for job in jobs if job not in waiting}
        while running:
            for future in wait(running, return_when=FIRST_COMPLETED).done:
                job, done = running.pop(future), done + 1
                try:
                    future.result()
                except (NotConverged, MeshError, OSError, BrokenProcessPool) as error:
                    errors[job.address] = error
                ready = [variant for variant in waiting if not job.skin and variant.case.name == job.case.name]
                waiting = [variant for variant in waiting if variant not in ready]
                if job.address not in errors:
                    running |= {_started(pool, variant, into, again): variant for variant in ready}
                watch(job, errors.get(job.address), done, done + len(running) + len(waiting))
    return errors


def _started(pool, job, into, again):
    """The future of a job; processes are started on the way, or cannot be any more, which is its error."""
    try:
        with held_back(signal.SIGINT):
            return pool.submit(_close, text(job.case), job.address if job.skin else "", into, again)
    except BrokenProcessPool as error:
        future: Future = Future()
        future.set_exception(error)
        return future


def _close(written, variant, into, again):
    """Close the case in a text: the models of cases are made at run time and cannot be sent to another process."""
    case = parse(written, Case, "case.yaml")
    if variant:
        spread.close(case, Path(into) / variant, again=again)
    else:
        close(case, into=into, again=again)


def cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


@contextmanager
def _pool(workers) -> Iterator[ProcessPoolExecutor]:
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
