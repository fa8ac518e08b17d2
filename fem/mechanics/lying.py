"""Skin that lies on the body: pressed flat, a wound that gapes there, and lifted off it to see whether it stays."""

from dataclasses import replace

import numpy as np

from fem.errors import NotConverged
from fem.mechanics import solve
from fem.mechanics.constraints import reduced
from fem.mechanics.sheet import ElasticFoundation
from fem.mechanics.solve import Problem

FIRM = 1.0  # 1/mm2, times E h: of the bed that holds the gaping wound level; our choice


def opened_wound(problem: Problem, q: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Positions (3, n_free) of the gaping, unsewn wound, held to the body and at rest, from those of the uncut skin.

    Its edges may curl so much that no rest is found: then both are that of skin held flat, as the effort says.
    """
    flat = pressed_flat(problem, q)
    at_rest = np.abs(solve.state(problem, flat).forces).max() <= problem.tol  # not on a body that is curved
    if at_rest and not solve.negative_pivots(problem, flat):
        return flat, flat
    try:  # it is flat only because nothing pushes it to either side
        return flat, solve.settled(problem, solve.on_the_way(problem, flat))
    except NotConverged:
        problem.effort.gaping_at_rest = False
        return flat, flat


def pressed_flat(problem: Problem, q: np.ndarray) -> np.ndarray:
    """Positions (3, n_free) at rest of skin that is held to the body, from those at q, pressed onto it."""
    return solve.newton(replace(problem, sheet=_held_flat(problem.sheet)), level(problem, q), tol=problem.tol)


def level(problem: Problem, q: np.ndarray) -> np.ndarray:
    """Positions (3, n_free) on the body below those at q."""
    surface = problem.sheet.surface
    return surface.place(surface.over(q)[:2])


def lifted(problem: Problem, q: np.ndarray, *, by: float) -> np.ndarray:
    """Positions (3, n_free) of skin at rest at q, lifted by `by` mm where it gives way most to the perturbation."""
    way = solve.answer(problem, q, -reduced(problem.constraints, problem.perturbation))
    surface = problem.sheet.surface
    upward = (way * surface.normal(surface.over(q)[:2])).sum(axis=0)
    return q + by / np.abs(upward).max() * way


def _held_flat(sheet):
    """The sheet on a bed that keeps it level; in skin that is flat it bears no more than what the body bears."""
    n, stiff = sheet.area.nodes.shape[0], float(np.abs(sheet.law(np.array([1.0, 1.0, 0.0]))[2]).max()) * sheet.h
    shear = np.zeros(n) if sheet.foundation is None else sheet.foundation.shear
    level = np.full(n, FIRM * stiff)
    return replace(sheet, foundation=ElasticFoundation(level, level, shear))
