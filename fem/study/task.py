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
from collections.abc import Callable, Collection
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import fem
from fem.case import case as cases
from fem.case import dotted
from fem.case.document import parse
from fem.closure.closing import closed
from fem.comparison.wording import capital
from fem.errors import MeshError, NotConverged, OtherVersion, OutOfTime
from fem.results import identity
from fem.results.close import write
from fem.results.folder import first, whole, write_whole
from fem.study.answers.naming import settings_text

ATTEMPTS = 3  # workers that a case may take with it; our choice
GRACE = 1.25  # times the limit, after which the worker is ended rather than asked to stop; our choice
TITLE = 80  # letters that a picture has room for; our choice
LOOK = 0.2  # s between two looks at the worker's memory and time; our choice
KINDS = {NotConverged: "not converged", MeshError: "mesh", OutOfTime: "time", MemoryError: "memory"}  # of failures
SPEAKING = NotConverged, MeshError, OutOfTime  # their messages need no more words


@dataclass(frozen=True)
class Order:
    """What is wanted of every case of a study."""

    into: str  # folder of the study
    keep: str  # key of fem.results.identity.KEPT
    seconds: float  # limit of a case
    memory_MB: float | None  # limit of its worker
    solve: Callable  # as `closing`


def closing(case: cases.Case, *, keep: str, watch: Callable[..., None], varied: Collection[str] = ()) -> Callable:
    """The closure of a case, as the function that writes its folder.

    varied   inputs by dotted path, by whose values the case is called in its pictures and on its page
    """
    return partial(_put, case=case, closure=closed(case, watch=watch), keep=keep, varied=varied)


def _put(folder, *, case, closure, keep, varied):
    called = _called(case, varied) if varied else ""
    write(folder, case, closure, keep=keep, title=called if len(called) <= TITLE else "")
    if keep == "pictures":
        from fem.comparison import case_page

        case_page.write(folder, called=called)


def _called(case, varied):
    """The inputs of a case that are varied in words; of blocks what differs from their defaults."""
    every, own = (case.model_dump(mode="json", exclude_none=True, exclude_defaults=plain) for plain in (False, True))
    given = {path: value for path in varied if (value := dotted.get(every, path)) is not None}
    blocks = {path: dotted.get(own, path) or value for path, value in given.items() if isinstance(value, dict)}
    return capital(settings_text(given | blocks))


def solved(key: str, text: str, order: Order) -> str:
    """The key of a case, its address, when it has its folder, or a file with the reason why there is none.

    text   the case as YAML: the models of cases are made at run time and cannot be sent to another process

    Raises OSError if neither can be written, BadCase or OtherVersion if it is no case of this version.
    """
    begun = paths(order.into, key)[2]
    case = parse(text, cases.Case, key)
    if identity.address(case) != key:
        raise OtherVersion(
            f"this worker has flatseam {fem.__version__}, or another state of it than where it was asked"
        )
    if settled(case, order):
        return key
    with open(begun, "ab") as mark:
        mark.write(b".")
        count = mark.tell()
    if count > ATTEMPTS:
        fail(order.into, case, "worker lost", f"{ATTEMPTS} workers were lost while at it")
    else:
        _solve(case, order)
    begun.unlink(missing_ok=True)
    return key


def _solve(case, order):
    folder, failed, _ = paths(order.into, case.name)
    start, reached = time.monotonic(), dict[str, Any]()
    with _watched(case, order, reached) as watch:
        try:
            put = order.solve(case, keep=order.keep, watch=watch)
        except Exception as error:
            reason = str(error) if type(error) in SPEAKING else f"{type(error).__name__}: {error}"
            kind = KINDS.get(type(error), "error")
            fail(order.into, case, kind, reason, seconds=time.monotonic() - start, reached=reached)
            return
    in_the_way = folder.exists() and not identity.state(folder, case, keep=order.keep).complete
    with (whole if in_the_way else first)(folder) as draft:  # the result of a process that was quicker stays
        put(draft)
    failed.unlink(missing_ok=True)


@contextmanager
def _watched(case, order, reached):
    """A function for the solver to call, which stops it when its time is over; beside it a thread that ends the worker.

    reached   gains what the solver tells
    """
    seconds, megabytes = order.seconds, order.memory_MB
    start, over = time.monotonic(), threading.Event()

    def watch(**state: Any) -> None:
        reached.update({name: value if isinstance(value, str) else float(value) for name, value in state.items()})
        if time.monotonic() - start > seconds:
            raise OutOfTime(f"not done after {seconds:g} s, its limit")

    def look() -> None:
        import psutil

        worker = psutil.Process()
        while not over.wait(LOOK):
            spent, size = time.monotonic() - start, worker.memory_info().rss / 2**20
            if spent > GRACE * seconds:
                end("time", f"not done after {seconds:g} s, its limit, and not to be stopped", spent)
            if megabytes and size > megabytes:
                end("memory", f"its worker took {size:.0f} MB, more than its limit of {megabytes:g} MB", spent)

    def end(kind: str, reason: str, spent: float) -> None:
        try:
            fail(order.into, case, kind, reason, seconds=spent, reached=dict(reached))
        finally:
            os.kill(os.getpid(), signal.SIGKILL)

    signal.setitimer(signal.ITIMER_REAL, 2 * GRACE * seconds)  # ends a worker whose threads are all held up
    threading.Thread(target=look, daemon=True).start()
    try:
        yield watch
    finally:
        over.set()
        signal.setitimer(signal.ITIMER_REAL, 0)


def paths(into: Path | str, key: str) -> tuple[Path, Path, Path]:
    """Folder of a result, file of a failure, mark of those that began."""
    inside = Path(into) / "cases"
    return inside / key, inside / f"{key}.failed.json", inside / f"{key}.begun"


def settled(case: cases.Case, order: Order) -> bool:
    """Whether a case, under its address, has its result or the reason why it has none."""
    folder, failed, _ = paths(order.into, case.name)
    return identity.state(folder, case, keep=order.keep).complete or identity.failure(failed) is not None


def fail(
    into: Path | str, case: cases.Case, kind: str, reason: str, *, seconds: float | None = None,
    reached: dict | None = None,
) -> None:  # fmt: skip
    """Record that a case has no result, and why."""
    failed = paths(into, case.name)[1]
    note: dict[str, Any] = {"case": case.name, "solver": identity.solver(), "failure": kind, "reason": reason}
    note |= {"seconds": seconds, "reached": reached or {}, "inputs": cases.inputs(case)}
    write_whole(failed, json.dumps(note, indent=2) + "\n")
