"""Every exception of the program, and its one warning."""

import warnings
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Any


class BadCase(ValueError):
    """A file that cannot be used; its text is every message, in the order of the file."""


class BadValue(ValueError):
    """Complaints about places within one value: (path below it, message) each."""

    def __init__(self, problems):
        super().__init__("; ".join(f"{dotted(at)}{message}" for at, message in problems))
        self.problems = problems


def refuse(problems: list[tuple]) -> None:
    """Raise BadValue if there are problems (place, message)."""
    if problems:
        raise BadValue(problems)


@dataclass(frozen=True)
class Key:
    """At the end of a path: the key itself is meant, not its value."""

    name: str


def dotted(path: Iterable[Any]) -> str:
    """A path as `wound.outline.points_mm[0][1]: `, a Key left out; nothing for the whole file."""
    parts = [part for part in path if not isinstance(part, Key)]
    joined = "".join(f"[{part}]" if isinstance(part, int) else f".{part}" for part in parts)
    return f"{joined[1:]}: " if joined else ""


class FormerName(FutureWarning):
    """A name of before, which this version still reads."""


def present_name(name: str, renamed: Mapping[str, str], where: object) -> str:
    """Today's name of what is called `name`; warns if that is a former one, of {former: present}, met at `where`."""
    if name in renamed:
        warnings.warn(f"{where}: warning: {name!r} is called {renamed[name]!r} now", FormerName, stacklevel=3)
    return renamed.get(name, name)


class SingularMatrix(ArithmeticError):
    """The matrix could not be factored."""


# Kinds of trouble in finding an equilibrium, and what may help.
ADVICE = {
    "crushed": "a longer wound, or a trimmed end, squeezes and folds skin less",
    "saddle": "other ways may lead past it: --restarts",
    "passed through": "skin folds over, or is drawn tighter than it has room; a longer wound folds less",
    "limit point": "other ways may lead past it: --restarts, or other sizes of triangles",
    "round-off": "parts less stiff beside the skin, as springs and sutures, have less of it",
}


class NotConverged(ArithmeticError):
    """No stable equilibrium was found; the message says at which stage, how far the path came, and what was tried.

    kind    of the trouble, if it is one of the mechanics: a key of ADVICE
    """

    def __init__(self, message: str, *, kind: str = "") -> None:
        super().__init__(message)
        self.kind, self.stage = kind, ""
        self.tried: tuple[str, ...] = ()

    def __str__(self) -> str:
        stage, tried = self.stage and f"{self.stage}: ", self.tried and f"; also tried: {', '.join(self.tried)}"
        kind = self.kind and f" ({self.kind}: {ADVICE[self.kind]})"
        return f"{stage}{self.args[0]}{kind}{tried or ''}"


_stages: ContextVar[tuple[str, ...]] = ContextVar("stages", default=())


def stages() -> tuple[str, ...]:
    """The stages that the work is in, each within the one before, as `at_stage` names them."""
    return _stages.get()


@contextmanager
def within(stage: str) -> Iterator[None]:
    """`stages` names the stage as long as this lasts."""
    entered = _stages.set((*_stages.get(), stage))
    try:
        yield
    finally:
        _stages.reset(entered)


@contextmanager
def at_stage(stage: str) -> Iterator[None]:
    """As `within`, and failures name the stage, unless they name one within it."""
    with within(stage):
        try:
            yield
        except NotConverged as error:
            error.stage = error.stage or stage
            raise


class MeshError(ValueError):
    """The plan cannot be meshed as it is drawn."""


class NotFitted(Exception):
    """No parameters were found; its text says why and what to try."""


class StudyStopped(RuntimeError):
    """The study cannot go on; the message says why and what is kept."""


class Unguarded(RuntimeError):
    """Processes were to be started by a script that each of them runs too, which then would start more of them."""

    def __init__(self) -> None:
        super().__init__('each process that is started reads the script: call this below if __name__ == "__main__":')


class NotPrintable(ValueError):
    """The closed skin makes no solid body."""


class OutOfTime(RuntimeError):
    """A case took longer than its limit."""


class Stopped(SystemExit):
    """The process was asked to end, by a signal; its code is 128 and the signal's number, as shells have it."""


class OtherVersion(RuntimeError):
    """A worker runs another version of the program."""
