"""Stand-ins for the solver, which say in a file that they began, and a program that runs a study on them.

What a case does is told by `closure.undermine_mm`: BEHAVIOUR has the odd ones, all others work for a while.
Workers import this file, and so only what solving takes; what reads a study is imported where it is read.
"""

import os
import re
import signal
import sys
import time
from functools import partial
from pathlib import Path

from fem.errors import NotConverged
from fem.results.close import write_numbers

STUDY = """\
name: NAME
base:
  wound: {outline: {kind: lens, length_mm: 60, width_mm: 20}}
  skin: {site: forearm}
  mesh: {edge_mm: 3, far_mm: 12}
grid:
  closure.undermine_mm: [VALUES]
"""
SECONDS = 0.3  # of work


def ends_its_worker():
    os.kill(os.getpid(), signal.SIGKILL)


def asks_for_memory():
    kept = []
    while True:
        kept.append(b"x" * 2 * 10**7)
        time.sleep(0.02)


def hangs():
    time.sleep(1000)


def holds_everything_up():
    """Hang with the interpreter's lock held: no thread of this process goes on."""
    re.match(r"(a+)+$", "a" * 60 + "b")


def goes_on_and_on(watch):
    while True:
        watch(stage="closing", closed=0.5, residual=1.0)
        time.sleep(0.01)


def raises():
    raise ZeroDivisionError("division by zero")


def does_not_converge():
    raise NotConverged("forces of 1.0e+00 N are left")


BEHAVIOUR = {
    1.0: ends_its_worker,
    2.0: asks_for_memory,
    3.0: hangs,
    4.0: raises,
    5.0: does_not_converge,
    6.0: holds_everything_up,
}
ON_AND_ON, UNTIL_MENDED = 7.0, 8.0


def solve(case, *, keep, watch):
    """What `fem.study.task.closing` gives, without any mechanics."""
    kind = case.closure.undermine_mm
    note(case.name)
    if kind == ON_AND_ON:
        goes_on_and_on(watch)
    if kind == UNTIL_MENDED and not (began() / "mended").exists():
        raise ValueError("not mended yet")
    if kind in BEHAVIOUR:
        BEHAVIOUR[kind]()
    end = time.monotonic() + SECONDS
    while time.monotonic() < end:
        watch(stage="closing", closed=0.5, residual=1.0)
        time.sleep(0.02)
    numbers = {"cone_height_mm": kind / 3, "push_out_mm": [1.0, 2.0], "dip_mm": None}
    return partial(write_numbers, case=case, numbers=numbers, how={"total_s": SECONDS, "unknowns": 1000})


def busy(case, *, keep, watch):
    """Five seconds of a core, looked at as often as a closure is."""
    note(case.name)
    start, spent = time.monotonic(), time.thread_time()
    while time.thread_time() - spent < 5.0:
        watch(stage="closing", closed=0.5, residual=1.0)
        for _ in range(100_000):
            pass
    how = {"total_s": time.monotonic() - start, "unknowns": 1000}
    return partial(write_numbers, case=case, numbers={"cone_height_mm": 1.0}, how=how)


def began():
    """Folder of notes on who began what."""
    return Path(os.environ["STANDIN_NOTES"])


def note(name):
    """Note that this process began a case."""
    (began() / f"{name}-{os.getpid()}-{time.monotonic_ns()}").touch()


def starts(folder):
    """How often each case was begun, and the process that began it last, from the notes in a folder."""
    found = sorted((p.name.split("-") for p in folder.glob("*-*-*")), key=lambda words: int(words[2]))
    return {key: (sum(k == key for k, *_ in found), int(pid)) for key, pid, _ in found}


def text(name, values, more=""):
    """A study file over values of `closure.undermine_mm`."""
    return STUDY.replace("NAME", name).replace("VALUES", ", ".join(f"{v:g}" for v in values)) + more


def cases_in(folder, values, more=""):
    """The cases of a study over `closure.undermine_mm`, written into a folder, and the options of its engine."""
    from fem.study import keys, sweep

    (folder / "study.yaml").write_text(text("stand-in", values, more))
    read = keys.read(folder / "study.yaml")
    return sweep.cases(read), {"limits": read.keys.limits, "solve": solve_by_name()}


def workers(count):
    """What starts so many workers on this machine."""
    from fem.study import cluster

    return partial(cluster.on_this_machine, count)


def main(path, into, count):
    """Run a study on the stand-in."""
    from fem.study import keys, study, sweep

    read = keys.read(path)
    watch = lambda **event: print(event, flush=True)  # noqa: E731
    options = {"workers": workers(int(count)), "solve": solve_by_name(), "watch": watch}
    try:
        with study.engine(into, keep=read.keys.keep, limits=read.keys.limits, **options) as complete:
            complete(sweep.cases(read))
    except study.StudyStopped as error:
        sys.exit(f"stopped: {error}")


def solve_by_name():
    """`solve` as workers find it: this file may be the program itself."""
    import standin

    return standin.solve


if __name__ == "__main__":
    main(*sys.argv[1:])
