"""A check: a problem with a known answer, what the program gives for it, and how far apart both may be."""

import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property
from inspect import getdoc
from textwrap import dedent

import numpy as np

from fem.errors import MeshError, NotConverged

QUICK, FULL = 1, 2  # how fine: what the tests run, and what the book is made of
ROUND_OFF = 1e-13
KINDS = {  # heading, question
    "code": ("Code verification", "Is the mathematics solved right?"),
    "calculation": ("Calculation verification", "Are triangles fine enough, and is the patch large enough?"),
    "model": ("Springs against a solid", "Are springs a fair stand-in for the fat below the skin?"),
}


@dataclass(frozen=True)
class Row:
    """A number that is known, and the same by the program."""

    what: str
    expected: float
    obtained: float
    unit: str = ""
    tolerance: float | None = None  # of the error; None: nothing says that both must agree, so this is a finding
    scale: float | None = None  # that the error is a share of; the expected number's size if left out

    @property
    def error(self) -> float:
        """How far both are apart, as a share."""
        return float(abs(self.obtained - self.expected) / (abs(self.expected) if self.scale is None else self.scale))

    @property
    def good(self) -> bool:
        """Whether it is within its tolerance."""
        return self.tolerance is None or self.error <= self.tolerance


@dataclass(frozen=True)
class Series:
    """The same number on ever finer triangles."""

    what: str
    sizes: tuple[float, ...]  # of triangles, in any unit, coarsest first
    values: tuple[float, ...]
    least: float  # order with which it must converge
    limit: float | None = None  # where it leads; None: by the last three, which then make the order
    unit: str = ""

    @property
    def order(self) -> float:
        """Observed order of convergence, by the finest."""
        a, b, c = self.values[-3:] if self.limit is None else (*self.values[-2:], self.limit)
        apart = (b - a) / (c - b) if self.limit is None else (a - c) / (b - c)
        return float(np.log(apart) / np.log(self.sizes[-2] / self.sizes[-1])) if apart > 0 else np.nan

    @property
    def errors(self) -> tuple[float, ...]:
        """Of each, as a share of where they lead."""
        limit = self.limit
        if limit is None:
            ratio = (self.sizes[-2] / self.sizes[-1]) ** self.order
            limit = self.values[-1] + (self.values[-1] - self.values[-2]) / (ratio - 1)
        return tuple(float(abs(value / limit - 1)) for value in self.values)

    @property
    def good(self) -> bool:
        """Whether the order is what it must be."""
        return self.order >= self.least


@dataclass(frozen=True)
class Check:
    """A problem with a known answer; what it is stands in the docstring of the function that solves it."""

    name: str  # on the command line
    title: str
    kind: str  # of KINDS
    source: str
    run: Callable[[int], Iterable[Row | Series]]  # of how fine

    @property
    def problem(self) -> str:
        """It in a sentence or two."""
        return " ".join((getdoc(self.run) or "").split("\n\n")[0].split())

    @property
    def more(self) -> list[tuple[bool, str]]:
        """What else there is to say, by paragraphs: whether it is a formula, and its text."""
        texts = (getdoc(self.run) or "").split("\n\n")[1:]
        return [(True, dedent(of)) if of.startswith(" ") else (False, " ".join(of.split())) for of in texts]


@dataclass(frozen=True)
class Outcome:
    """What came of a check."""

    check: Check
    found: tuple[Row | Series, ...]
    seconds: float  # of processor time
    reason: str = ""  # why it ended without an answer

    @property
    def good(self) -> bool:
        """Whether all is within its tolerance."""
        return not self.reason and bool(self.found) and all(one.good for one in self.found)

    @cached_property
    def rows(self) -> list[Row]:
        """Its numbers."""
        return [one for one in self.found if isinstance(one, Row)]

    @cached_property
    def series(self) -> list[Series]:
        """Its numbers on several meshes."""
        return [one for one in self.found if isinstance(one, Series)]

    @property
    def nearest(self) -> Row | None:
        """Of rows with a tolerance the one that comes nearest to it, or is furthest beyond."""
        held = [row for row in self.rows if row.tolerance]
        return max(held, key=lambda row: row.error / row.tolerance, default=None)  # type: ignore[operator]


def outcome(check: Check, fine: int) -> Outcome:
    """What comes of a check; one that finds no answer has failed."""
    start, reason = time.process_time(), ""
    found: list[Row | Series] = []
    try:
        found.extend(check.run(fine))
    except (NotConverged, MeshError, ArithmeticError, ValueError) as error:
        reason = str(error)
    return Outcome(check, tuple(found), time.process_time() - start, reason)


def alike(
    what: str, expected: np.ndarray, obtained: np.ndarray, tolerance: float, *, unit: str = "",
    scale: float | np.ndarray | None = None,
) -> Row:  # fmt: skip
    """Row of the worst of many numbers, errors being shares of the greatest unless there is another scale."""
    expected, obtained = np.broadcast_arrays(np.asarray(expected, float), np.asarray(obtained, float))
    size = np.broadcast_to(np.abs(expected).max() if scale is None else np.abs(scale), expected.shape).ravel()
    worst = int(np.argmax(np.abs(obtained - expected).ravel() / size))
    numbers = float(expected.ravel()[worst]), float(obtained.ravel()[worst])
    return Row(what, *numbers, unit, tolerance, float(size[worst]))
