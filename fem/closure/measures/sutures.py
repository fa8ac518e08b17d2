"""Sutures, and what cutting the cones off has added."""

from collections.abc import Callable
from typing import Any

from fem.closure.closure import Closure


def added_by_trimming(closure: Closure, measure: Callable[[Closure], Any]) -> float | None:
    """What cutting the cones off has added to a measure; None if they are left."""
    return None if closure.trimmed is None else measure(closure) - measure(closure.trimmed.before)


def suture_forces(closure: Closure, kind: str, *, when_tied: bool = False) -> list[float] | None:
    """Tensions in N of the sutures of a kind, in order of tying, when all are tied or each as soon as it was.

    None if there are none of them.
    """
    sutures = closure.sutures
    if sutures is None or kind not in sutures.kinds:
        return None
    forces = sutures.when_tied if when_tied else sutures.at_end
    return [float(force) for force, of in zip(forces, sutures.kinds, strict=True) if of == kind]


def purse_force(closure: Closure) -> float | None:
    """Tension in N of the thread of a purse-string; None if there is none."""
    forces = suture_forces(closure, "purse")
    return None if forces is None else forces[0]
