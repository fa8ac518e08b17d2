"""How far the work is: one kind of bar on a terminal for all commands; when piped, a line now and then."""

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from fem.cli.printing import counted, span
from fem.errors import stages

PATIENCE = 5.0  # s without a word; our choice
SELDOM = 60.0  # s from one line to the next when piped; our choice
Bar = Callable[..., None]  # bar(done=, of=, state=); without `of` there is no telling how far it is


@contextmanager
def bar(name: str, state: str = "", *, seldom: float = SELDOM) -> Iterator[Bar]:
    """A bar on a terminal, a line every `seldom` seconds when piped. Gives the function that is told how far it is."""
    if not sys.stderr.isatty():
        yield _lines(name, seldom)
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = TextColumn("{task.description}"), BarColumn(20), TextColumn("{task.fields[state]}"), TimeElapsedColumn()
    on_screen = sys.stdout.isatty()  # else what is printed goes where it was piped
    with Progress(*columns, console=Console(stderr=True), transient=True, redirect_stdout=on_screen) as shown:
        task = shown.add_task(name, total=None, state=state)

        def update(*, done: float = 0, of: float | None = None, state: str) -> None:
            shown.tasks[0].total = of  # None is no change to `update`
            shown.update(task, completed=done, state=state)
            shown.tasks[0].finished_time = None  # else its clock stands at the end of a stage

        yield update


def _lines(name, seldom):
    """A bar that prints its state, at most so often."""
    last = time.monotonic()

    def update(*, state: str, **how_far: float | None) -> None:
        nonlocal last
        if time.monotonic() - last > seldom:
            last = time.monotonic()
            print(f"{name}: {state}", file=sys.stderr, flush=True)

    return update


def first_time(name: str) -> None:
    """Say that the kernels have to be compiled, if they have to be, for that takes a minute without a word."""
    from fem.mechanics.kernels.surface import compiled

    if not compiled():
        print(
            f"{name}: compiling the kernels first, once for this machine; about a minute", file=sys.stderr, flush=True
        )


def pace() -> Callable[[int, int], str]:
    """A function of how much is done, of how much, that puts both and the time left in words."""
    start = time.monotonic()

    def words(done: int, of: int) -> str:
        left = f", {span((time.monotonic() - start) / done * (of - done))} left" if 0 < done < of else ""
        return f"{done} of {of}{left}"

    return words


@contextmanager
def closing(name: str) -> Iterator[Callable[..., None]]:
    """A bar of what is done to close a wound, and with it; gives the function for the solver and others to call.

    It is told the `stage`; of what is counted `done` and `of`; of an iteration how far the wound is `closed`, and the
    `residual`.
    """
    first_time(name)
    count, at, words, run = 0, "", pace(), runs()
    with bar(name) as update:

        def watch(
            *, stage: str, closed: float = 0.0, residual: float | None = None, done: int = 0, of: int | None = None
        ) -> None:
            nonlocal count, at, words
            if residual is not None:
                count += 1
                state = f"{run(stage)}{said(stage, closed)}, iteration {count}, {residual:.0e} N left"
                update(**solving(stage, closed), state=state)
                return
            if stage != at or (of is not None and not done):  # what came before the first is no measure of pace
                at, words = stage, pace()
            update(done=done, of=of, state=stage if of is None else f"{stage}: {words(done, of)}")

        yield watch


def runs() -> Callable[[str], str]:
    """A function of the stage that says which run it is of, if not of the first, for each begins with a gaping wound.

    That is so on finer triangles, on others after a failure, and with other cuts where cones are cut off.
    """
    run, last = 0, "closing"

    def words(stage: str) -> str:
        nonlocal run, last
        run, last = run + (last == "closing" != stage), stage
        return f"run {run}: " if run > 1 else ""

    return words


def said(stage: str, closed: float) -> str:
    """A stage of the solver in words: a suture by its number, a closed wound that still has to come to rest.

    Before it what it is within, coarser triangles or another way, as `at_stage` and `within` name them.
    """
    around = [word for word in stages() if word not in ("gaping wound", "closing", "led up")]
    if not (around and around[-1].startswith("suture ")):
        way = f"{100 * closed:.0f} % closed" if closed < 1 else "closed, coming to rest"
        around.append(way if stage == "closing" else stage)
    return ", ".join(around)


def solving(stage: str, closed: float) -> dict[str, float | None]:
    """How far a stage of the solver is, for a bar: sutures that are tied of all, or how far it is closed."""
    _, *suture = (stages()[-1:] or ("",))[0].split("suture ")
    if suture:
        number, of = map(int, suture[0].split(" of "))
        return {"done": number - 1, "of": of}
    return {"done": closed, "of": 1.0} if stage == "closing" and closed < 1 else {"done": 0, "of": None}


@contextmanager
def checking(name: str, *, patience: float = PATIENCE) -> Iterator[Callable[..., None]]:
    """A bar of how many cases of a study are checked; when piped, one line if that takes longer than a few seconds."""
    start, silent = time.monotonic(), not sys.stderr.isatty()
    with bar(name, seldom=float("inf")) as update:

        def watch(*, done: int, of: int) -> None:
            nonlocal silent
            update(done=done, of=of, state=f"checking case {done + 1} of {of}")
            spent = time.monotonic() - start
            if silent and done and spent > patience:
                silent = False
                print(f"{name}: checking {of} cases first, about {span(spent / done * of)}", file=sys.stderr)

        yield watch


@contextmanager
def studying(name: str) -> Iterator[Callable[..., None]]:
    """A bar of a study with its rate, failures and time left, or a line a case when piped; takes each event."""
    first_time(name)
    running = False
    with bar(name, "looking which cases are done", seldom=float("inf")) as update:

        def watch(*, event: str, **about) -> None:
            nonlocal running
            if event == "start":
                more = f"{about['missing']} of {counted(about['cases'], 'case')} to do"
                state = (
                    "no case is missing" if not about["missing"] else more if running else f"{more}, starting workers"
                )
                update(done=0, of=about["missing"] or None, state=state)
            elif event == "workers":
                if not running:
                    print(
                        f"{name}: {counted(about['threads'], 'worker')}, watch them at {about['dashboard']}",
                        file=sys.stderr,
                    )
                running = True
            elif event == "case":
                left = f"{about['per_minute']:.3g} a minute, {span(about['left_s'])} left"
                done, of = about["done"], about["of"]
                update(done=done, of=of, state=f"{done} of {of}, {about['failed']} failed, {left}")
                if not sys.stderr.isatty():
                    end = "done" if about["status"] == "done" else f"failed: {about['reason']}"
                    print(f"{name}: {done} of {of}, {about['key']} {end}; {left}", file=sys.stderr)
            elif event == "end":
                update(state="cases are done; answers, table and page")

        yield watch
