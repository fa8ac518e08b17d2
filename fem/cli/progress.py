"""How far the work is: one kind of bar on a terminal for all commands; nothing, or a line a case, when piped."""

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from fem.cli.printing import span

PATIENCE = 5.0  # s without a word; our choice
Bar = Callable[..., None]  # bar(done=, of=, state=)


@contextmanager
def bar(name: str, state: str = "") -> Iterator[Bar]:
    """A bar on a terminal, nothing when piped. Gives the function to call with how much is done, of what, in words."""
    if not sys.stderr.isatty():
        yield lambda **progress: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = TextColumn("{task.description}"), BarColumn(), TextColumn("{task.fields[state]}"), TimeElapsedColumn()
    on_screen = sys.stdout.isatty()  # else what is printed goes where it was piped
    with Progress(*columns, console=Console(stderr=True), transient=True, redirect_stdout=on_screen) as shown:
        task = shown.add_task(name, total=None, state=state)
        yield lambda *, done, of, state: shown.update(task, completed=done, total=of, state=state)


@contextmanager
def closing(name: str) -> Iterator[Callable[..., None]]:
    """A bar of how far a wound is closed; gives the function for the solver to call."""
    count, state = 0, ""
    if sys.stderr.isatty():
        from fem.mechanics.kernels.surface import compiled

        state = "" if compiled() else "compiling the kernels, once for this machine"
    with bar(name, state) as update:

        def watch(*, stage: str, closed: float, residual: float) -> None:
            nonlocal count
            count += 1
            done = closed if stage == "closing" else 0.0
            state = f"{stage}, {100 * done:.0f} % closed, iteration {count}, {residual:.0e} N left"
            update(done=done, of=1.0, state=state)

        yield watch


@contextmanager
def checking(name: str, *, patience: float = PATIENCE) -> Iterator[Callable[..., None]]:
    """A bar of how many cases of a study are checked; when piped, one line if that takes longer than a few seconds."""
    start, silent = time.monotonic(), not sys.stderr.isatty()
    with bar(name) as update:

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
    with bar(name, "looking which cases are done") as update:

        def watch(*, event: str, **about) -> None:
            if event == "start":
                update(done=0, of=about["missing"], state="starting workers")
            elif event == "workers":
                print(f"{name}: {about['threads']} workers, watch them at {about['dashboard']}", file=sys.stderr)
            elif event == "case":
                pace = f"{about['per_minute']:.3g} a minute, {span(about['left_s'])} left"
                done, of = about["done"], about["of"]
                update(done=done, of=of, state=f"{done}/{of}, {about['failed']} failed, {pace}")
                if not sys.stderr.isatty():
                    end = "done" if about["status"] == "done" else f"failed: {about['reason']}"
                    print(f"{name}: {done} of {of}, {about['key']} {end}; {pace}", file=sys.stderr)

        yield watch
