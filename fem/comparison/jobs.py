"""Closures side by side, one process a core, each on one thread: cases first, then their variants and their errors.

Those lie in the case's folder, which is replaced whole, so they are begun only when that is complete.
"""

import multiprocessing
import os
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from multiprocessing.context import BaseContext
from pathlib import Path

from fem.case.case import Case, text
from fem.case.document import parse
from fem.comparison import spread
from fem.comparison.case_page import add_errors, close
from fem.comparison.stopping import heed_parent, held_back
from fem.errors import MeshError, NotConverged, Unguarded
from fem.results import accuracy

ONE_THREAD = {name: "1" for name in ("MKL_NUM_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS")}


@dataclass(frozen=True)
class Job:
    """A closure to compute."""

    case: Case
    skin: str = ""  # of a variant, see `spread`; empty of a case as it is given
    errors: bool = False  # whether those of its numbers are to be estimated, once it is closed

    @property
    def first(self) -> bool:
        """Whether it is the case itself."""
        return not (self.skin or self.errors)

    @property
    def address(self) -> str:
        """Its folder below the folder of results."""
        if self.errors:
            return f"{self.case.name}/{accuracy.FILE}"
        return spread.place(self.case.name, self.skin) if self.skin else self.case.name

    @property
    def called(self) -> str:
        """What it is called."""
        return f"{self.case.name} in {self.skin} skin" if self.skin else self.case.name + ", errors" * self.errors


Watch = Callable[[Job, Exception | None, int, int], None]


def run(jobs: Sequence[Job], *, into: Path | str, again: bool, watch: Watch) -> dict[str, Exception]:
    """Errors by the address of the job; what the others ask for is there now.

    watch   called with each job as it ends, its error or None, how many have ended, and of how many

    Raises Unguarded if processes end before they have read the script that starts them.
    """
    errors: dict[str, Exception] = {}
    given = {job.case.name for job in jobs if job.first}
    waiting = [job for job in jobs if not job.first and job.case.name in given]
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
                ready = [variant for variant in waiting if job.first and variant.case.name == job.case.name]
                waiting = [variant for variant in waiting if variant not in ready]
                if job.address not in errors:
                    running |= {_started(pool, variant, into, again): variant for variant in ready}
                watch(job, errors.get(job.address), done, done + len(running) + len(waiting))
    return errors


def _started(pool, job, into, again):
    """The future of a job; processes are started on the way, or cannot be any more, which is its error."""
    try:
        with held_back(signal.SIGINT):
            where = "" if job.first else job.address
            return pool.submit(_close, text(job.case), where, into, again, job.errors)
    except BrokenProcessPool as error:
        future: Future = Future()
        future.set_exception(error)
        return future


def _close(written, variant, into, again, errors):
    """Close the case in a text: the models of cases are made at run time and cannot be sent to another process."""
    case = parse(written, Case, "case.yaml")
    if errors:
        add_errors(Path(into) / case.name, case)
    elif variant:
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
    pool = ProcessPoolExecutor(workers, mp_context=_context(), initializer=_ready, initargs=(dict(os.environ),))
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


def _context() -> BaseContext:
    """Where processes come from: copies of one that has imported what they need, which takes longer than a small wound.

    Raises Unguarded if the first one, which does nothing, ends while it reads the script that starts it.
    """
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload([__name__])
    first = context.Process(target=os.getpid)
    first.start()  # imports are waited for here, where signals are heard
    first.join()
    if (first.exitcode or 0) > 0:  # below 0 the system ended it, which may befall any process
        raise Unguarded
    return context


def _ready(environment: dict[str, str]) -> None:
    """Make a process of the pool hear signals, and give it the environment of now: what it is a copy of is older."""
    heed_parent()
    os.environ.update(environment)
