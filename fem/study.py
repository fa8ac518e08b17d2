"""Many cases on Dask, each a task that publishes its folder, named by what it rests on, and returns its name only.

Nothing is remembered but the folders, so whoever starts again does what is missing, and two may work on one study.
"""

import errno
import json
import os
import shutil
import time
from collections.abc import Callable, Iterable
from contextlib import ExitStack, contextmanager, suppress
from itertools import islice
from pathlib import Path

from fem import cluster
from fem.case import Case, text
from fem.close import address, finished
from fem.sweep import Limits
from fem.table import Row, row
from fem.task import closing, fail, paths, solved

AHEAD = 2  # cases submitted per thread: one at work, one waiting; our choice
STALE = 3600.0  # s after which an abandoned draft is removed; our choice, writing takes seconds
FULL = (errno.ENOSPC, errno.EDQUOT)

Evaluate = Callable[[list[Case]], list[Row]]  # what searches are given: rows of the cases, in their order


class StudyStopped(RuntimeError):
    """The study cannot go on; the message says why and what is kept."""


@contextmanager
def engine(
    into, *, keep="measures", limits=None, workers=cluster.local, solve=closing, retry=False, watch=lambda **event: None
):
    """A function that completes cases in the folder `into`: each then has its result or the reason why it has none.

    What is there already is left as it is. Workers are started when the first case is missing, and serve until the end.

    keep      what is kept of each result, a key of fem.close.KEPT
    limits    fem.sweep.Limits of each case
    workers   gives the client, as fem.cluster.local
    solve     as fem.task.closing; a function of a module, which workers import
    retry     whether earlier failures are tried again
    watch     called with each `event`: start, case, end

    Raises StudyStopped if it cannot go on.
    """
    into, limits = Path(into), limits or Limits()
    how = keep, (limits.seconds, limits.memory_MB), solve
    with ExitStack() as stack:
        clients: list = []

        def client():
            if not clients:
                clients.append(stack.enter_context(workers()))
            return clients[0]

        def complete(cases: Iterable[Case]) -> None:
            named = {case.name: case for case in map(addressed, cases)}
            try:
                _prepare(into, named if retry else ())
                missing = [key for key in named if not _settled(named[key], into, keep)]
                _run(named, missing, client, into, how, _logged(into, watch))
            except OSError as error:
                raise StudyStopped(_stopped(into, error)) from error
            except cluster.NoCluster as error:
                raise StudyStopped(str(error)) from error

        yield complete


@contextmanager
def evaluator(into, **options):
    """`Evaluate` in a folder; options as those of `engine`."""
    with engine(into, **options) as complete:

        def evaluate(cases):
            cases = list(cases)
            complete(cases)
            return [row(into, address(case)) for case in cases]

        yield evaluate


def addressed(case):
    """The case under the name of its content."""
    return case.model_copy(update={"name": address(case)})


def _prepare(into, again):
    """Make the folder ready: failures that are tried `again` are removed, and so is what was left by those stopped."""
    (into / "cases").mkdir(parents=True, exist_ok=True)
    for key in again:
        paths(into, key)[1].unlink(missing_ok=True)
    for path in (into / "cases").iterdir():
        with suppress(FileNotFoundError):
            if path.suffix == ".begun":
                path.unlink()
            elif path.name.startswith(".") and time.time() - path.stat().st_mtime > STALE:
                shutil.rmtree(path, ignore_errors=True)


def _settled(case, into, keep):
    folder, failed, _ = paths(into, case.name)
    return failed.exists() or finished(case, folder, keep=keep)


def _run(named, missing, client, into, how, tell):
    """Have the missing cases solved, a few at a time."""
    from distributed import as_completed

    tell(event="start", cases=len(named), missing=len(missing))
    if not missing:
        tell(event="end", done=0, failed=0)
        return
    here = client()
    tell(event="workers", threads=sum(here.nthreads().values()), dashboard=here.dashboard_link)
    absolute, waiting, failures, done = str(into.resolve()), iter(missing), 0, 0

    def submit(count):
        return [
            here.submit(solved, key, text(named[key]), absolute, *how, key=f"case-{key}", pure=False)
            for key in islice(waiting, count)
        ]

    at_work = as_completed(submit(AHEAD * max(1, sum(here.nthreads().values()))))
    for future in at_work:
        key = future.key.removeprefix("case-")
        _take(future, named[key], into)
        future.release()
        done += 1
        outcome = row(into, key)
        failures += outcome["status"] == "failed"
        told = {name: outcome[name] for name in ("key", "status", "failure", "reason", "seconds")}
        tell(event="case", **told, done=done, failed=failures, of=len(missing))
        wanted = AHEAD * max(1, sum(here.nthreads().values())) - at_work.count()
        for one in submit(max(0, wanted)):
            at_work.add(one)
    tell(event="end", done=done, failed=failures)


def _take(future, case, into):
    """What a worker gave back: a case that only lost workers is recorded as failed, other errors end the study."""
    from distributed import KilledWorker

    try:
        future.result()
    except KilledWorker as error:
        fail(into, case, "worker lost", str(error).splitlines()[0])


def _logged(into, watch):
    """`watch`, each event also a line in study.jsonl."""

    def tell(**event):
        line = json.dumps({"time": time.strftime("%Y-%m-%dT%H:%M:%S%z"), "process": os.getpid(), **event})
        with open(into / "study.jsonl", "a", encoding="utf-8") as log:
            log.write(line + "\n")
        watch(**event)

    return tell


def _stopped(into, error):
    if error.errno in FULL:
        return f"{into}: no space is left; complete results are kept. Make room and run the study again"
    return f"{into}: {error}; complete results are kept"
