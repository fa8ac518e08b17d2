"""One case of a study, as a worker does it: solved within its limits, or recorded as failed with the reason.

into/cases/<address>/              a result: case.yaml, measures.json, run.json, and more if it is to be kept
into/cases/<address>.failed.json   why there is none
into/cases/<address>.begun         a byte for every worker that began it and has not come to an end
"""

import json
import os
import signal
import threading
import time
from contextlib import contextmanager
from functools import partial
from pathlib import Path

from fem import case as cases
from fem.close import closed, finished, write
from fem.document import parse
from fem.folder import first, whole, write_whole
from fem.mesh import MeshError
from fem.solve import NotConverged

ATTEMPTS = 3  # workers that a case may take with it; our choice
GRACE = 1.25  # times the limit, after which the worker is ended rather than asked to stop; our choice
LOOK = 0.2  # s between two looks at the worker's memory and time; our choice


class OutOfTime(RuntimeError):
    """A case took longer than its limit."""


KINDS = {NotConverged: "not converged", MeshError: "mesh", OutOfTime: "time", MemoryError: "memory"}  # of failures


def closing(case, *, keep, watch):
    """The closure of a case, as the function that writes its folder."""
    closure, how = closed(case, watch=watch)
    return partial(write, case=case, closure=closure, how=how, keep=keep)


def solved(key, text, into, keep, limits, solve):
    """The key of a case, which now has its folder, or a file with the reason why there is none.

    limits   (seconds, MB or None)
    solve    as `closing`

    Raises OSError if neither can be written.
    """
    folder, failed, begun = paths(into, key)
    case = parse(text, cases.Case, key)
    if finished(case, folder, keep=keep) or failed.exists():
        return key
    with open(begun, "ab") as mark:
        mark.write(b".")
        count = mark.tell()
    if count > ATTEMPTS:
        fail(into, case, "worker lost", f"{ATTEMPTS} workers were lost while at it")
    else:
        _solve(case, into, keep, limits, solve)
    begun.unlink(missing_ok=True)
    return key


def _solve(case, into, keep, limits, solve):
    folder, failed, _ = paths(into, case.name)
    start, reached = time.monotonic(), {}
    with _watched(case, into, limits, reached) as watch:
        try:
            put = solve(case, keep=keep, watch=watch)
        except Exception as error:
            kind = KINDS.get(type(error), "error")
            words = str(error) if kind in ("not converged", "mesh", "time") else f"{type(error).__name__}: {error}"
            fail(into, case, kind, words, seconds=time.monotonic() - start, reached=reached)
            return
    with (whole if folder.exists() else first)(folder) as draft:
        put(draft)
    failed.unlink(missing_ok=True)


@contextmanager
def _watched(case, into, limits, reached):
    """A function for the solver to call, which stops it when its time is over; beside it a thread that ends the worker.

    reached   gains what the solver tells
    """
    seconds, megabytes = limits
    start, over = time.monotonic(), threading.Event()

    def watch(**state):
        reached.update({name: value if isinstance(value, str) else float(value) for name, value in state.items()})
        if time.monotonic() - start > seconds:
            raise OutOfTime(f"not done after {seconds:g} s, its limit")

    def look():
        import psutil

        worker = psutil.Process()
        while not over.wait(LOOK):
            spent, size = time.monotonic() - start, worker.memory_info().rss / 2**20
            if spent > GRACE * seconds:
                end("time", f"not done after {seconds:g} s, its limit, and not to be stopped", spent)
            if megabytes and size > megabytes:
                end("memory", f"its worker took {size:.0f} MB, more than its limit of {megabytes:g} MB", spent)

    def end(kind, reason, spent):
        try:
            fail(into, case, kind, reason, seconds=spent, reached=dict(reached))
        finally:
            os.kill(os.getpid(), signal.SIGKILL)

    signal.setitimer(signal.ITIMER_REAL, 2 * GRACE * seconds)  # ends a worker whose threads are all held up
    threading.Thread(target=look, daemon=True).start()
    try:
        yield watch
    finally:
        over.set()
        signal.setitimer(signal.ITIMER_REAL, 0)


def paths(into, key):
    """Folder of a result, file of a failure, mark of those that began."""
    inside = Path(into) / "cases"
    return inside / key, inside / f"{key}.failed.json", inside / f"{key}.begun"


def fail(into, case, kind, reason, *, seconds=None, reached=None):
    """Record that a case has no result, and why."""
    _, failed, _ = paths(into, case.name)
    written = {"case": case.name, "failure": kind, "reason": reason, "seconds": seconds, "reached": reached or {}}
    write_whole(failed, json.dumps(written | {"inputs": cases.inputs(case)}, indent=2) + "\n")
