"""Many cases on Dask, each a task that publishes its folder, named by what it rests on, and returns its name only."""

import errno
import json
import math
import os
import statistics
import time
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import replace
from functools import cache
from itertools import islice
from pathlib import Path
from typing import Any

from fem.case.case import Case, text
from fem.errors import StudyStopped
from fem.results import cost
from fem.results.folder import sweep
from fem.results.identity import address
from fem.study import cluster
from fem.study.keys import Limits
from fem.study.table import Row, row, rows
from fem.study.task import Order, closing, fail, settled, solved

AHEAD = 2  # cases submitted per thread: one at work, one waiting; our choice
AGAIN = 10  # times that a case is submitted whose worker was lost, if it was not the case that cost it; our choice
FULL = (errno.ENOSPC, errno.EDQUOT)

Evaluate = Callable[
    ..., Iterator[Row]
]  # completes cases, `keep` as of `engine`; their rows, each read when it is taken


@contextmanager
def engine(
    into: Path | str, *, keep: str = "measures", limits: Limits | None = None,
    workers: Callable = cluster.on_this_machine, solve: Callable = closing, retry: bool = False,
    watch: Callable[..., None] = lambda **event: None,
) -> Iterator[Evaluate]:  # fmt: skip
    """A function that completes cases in the folder `into`: each then has its result or the reason why it has none.

    What is there already is left as it is. Workers are started when the first case is missing, and serve until the end.

    keep      what is kept of each result, a key of fem.results.identity.KEPT
    limits    fem.study.keys.Limits of each case
    workers   gives the client, as fem.study.cluster.on_this_machine
    solve     as fem.study.task.closing; a function of a module, which workers import
    retry     whether failures of earlier runs are tried again
    watch     called with each `event`: start, workers, case, end

    Raises StudyStopped if it cannot go on.
    """
    into, limits = Path(into), limits or Limits()
    order = Order(str(into.resolve()), keep, limits.seconds, limits.memory_MB, solve)
    with ExitStack() as stack, _stopping(into):
        _prepare(into, retry)

        @cache  # they are started once
        def client() -> Any:
            return stack.enter_context(workers())

        def evaluate(cases: Iterable[Case], *, keep: str = keep) -> Iterator[Row]:
            wanted = [addressed(case) for case in cases]
            with _stopping(into):
                _run(replace(order, keep=keep), {case.name: case for case in wanted}, client, _logged(into, watch))
            return (row(into, case.name) for case in wanted)

        yield evaluate


def estimate(into: Path | str, cases: Iterable[Case], *, keep: str = "measures") -> tuple[int, float, str]:
    """How many of the cases are missing, seconds that one core would take for them, and where the estimate comes from.

    Seconds are those of `fem.results.cost`, in proportion to what earlier results in the folder took, the work at an
    unknown being that of the first case.
    """
    order = Order(str(into), keep, math.inf, None, closing)
    missing = [case for case in map(addressed, cases) if not settled(case, order)]
    earlier = [(r["seconds"], r["unknowns"]) for r in rows(into) if r["seconds"] and r.get("unknowns")]
    pace, source = 1.0, "the benchmark in tests/MEASURED.md"
    if missing and earlier:
        took = statistics.median(seconds / (cost.SECONDS * size**cost.FASTER) for seconds, size in earlier)
        pace, source = took / cost.closures(missing[0]), f"{len(earlier)} earlier results"
    return len(missing), pace * cost.cost(missing).seconds if missing else 0.0, source


def failures(into: Path | str, keys: Iterable[str]) -> Counter[str]:
    """How many of the cases with these keys failed, by kind."""
    return Counter(case["failure"] or case["status"] for case in rows(into, keys) if case["status"] != "done")


def addressed(case: Case) -> Case:
    """The case under the name of its content."""
    return case.model_copy(update={"name": address(case)})


@contextmanager
def _stopping(into):
    """Turn what a study cannot go on from into StudyStopped."""
    try:
        yield
    except OSError as error:
        why = "no space is left: make room and run the study again" if error.errno in FULL else str(error)
        raise StudyStopped(f"{into}: {why}; complete results are kept") from error


def _prepare(into, retry):
    """Make the folder ready: what those left who were stopped is removed, and, to `retry`, the record of failures."""
    if (into / "run.json").exists():  # which would be replaced, with the study in it, when that case is closed again
        raise FileExistsError("holds the results of a case; a study needs a name of its own")
    (into / "cases").mkdir(parents=True, exist_ok=True)
    for path in (into / "cases").iterdir():
        with suppress(FileNotFoundError):
            if path.suffix == ".begun" or (retry and path.name.endswith(".failed.json")):
                path.unlink()
    sweep(into)


def _run(order, named, client, tell):
    """Have those of the cases by name solved that are not settled, a few at a time."""
    missing = [key for key, case in named.items() if not settled(case, order)]
    start, done, failed = time.monotonic(), 0, 0
    tell(event="start", cases=len(named), missing=len(missing))
    if missing:
        here = client()
        tell(event="workers", threads=_threads(here), dashboard=here.dashboard_link)
        for key in _completed(order, named, missing, here):
            ended = row(order.into, key)
            done, failed = done + 1, failed + (ended["status"] != "done")
            spent = time.monotonic() - start
            pace = {"per_minute": 60 * done / spent, "left_s": spent / done * (len(missing) - done)}
            ended = {name: ended[name] for name in ("key", "status", "failure", "reason", "seconds")}
            tell(event="case", **ended, done=done, failed=failed, of=len(missing), **pace)
    tell(event="end", done=done, failed=failed, elapsed_s=time.monotonic() - start)


def _threads(client):
    return sum(client.nthreads().values())


def _completed(order, named, missing, client):
    """Names of the missing cases, each as soon as it is settled."""
    from distributed import as_completed

    at_work, waiting = as_completed(), iter(missing)

    def submit(keys: Iterable[str], attempt: int = 0) -> None:
        for key in keys:
            name = ("case", order.into, key, attempt)
            at_work.add(client.submit(solved, key, text(named[key]), order, key=name, pure=False))

    submit(islice(waiting, AHEAD * max(1, _threads(client))))
    for future in at_work:
        *_, key, attempt = future.key
        lost = _lost(future)
        future.release()
        if lost and attempt < AGAIN:
            submit([key], attempt + 1)
            continue
        if lost:
            fail(order.into, named[key], "worker lost", lost)
        submit(islice(waiting, max(0, AHEAD * _threads(client) - at_work.count())))
        yield key


def _lost(future):
    """Dask's words if it gave the case up because workers were lost with it, or None; other errors end the study."""
    from concurrent.futures import CancelledError

    from distributed import KilledWorker

    try:
        future.result()
    except KilledWorker as error:
        return str(error).split(". ")[0]
    except OSError:
        raise
    except CancelledError as error:
        raise StudyStopped("the scheduler has dropped the study; run it again, and what is missing is done") from error
    except Exception as error:
        raise StudyStopped(f"a worker cannot do its part: {type(error).__name__}: {error}") from error
    return None


def _logged(into, watch):
    """`watch`, each event also a line in study.jsonl."""

    def tell(**event: Any) -> None:
        line = json.dumps({"time": time.strftime("%Y-%m-%dT%H:%M:%S%z"), "process": os.getpid(), **event})
        with open(into / "study.jsonl", "a", encoding="utf-8") as log:
            log.write(line + "\n")
        watch(**event)

    return tell
