"""Newton's method on the energy, its stability read from the tangent's inertia, and the path that closes a wound."""

import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from fem.errors import NotConverged, SingularMatrix
from fem.mechanics.constraints import Constraints, positions, reduced
from fem.mechanics.kernels.storage import Pattern, pattern
from fem.mechanics.linear import Pardiso, Rslab, solver
from fem.mechanics.sheet import Sheet, assemble

# The path; our choices. They change how many steps are taken and not where they end.
PATH_REGULARISATION = (
    0.1  # weight of plain second derivatives in bending while the wound closes: they hold the turning tips
)
LARGEST_STEP, LEAST_STEP = 0.2, 0.005  # of `closed`
PATIENCE = 25  # iterations before a step is halved
ROUGH = 1e5  # times the final tolerance, on the way
DIFFERENCE = 1e-5  # of `closed`, for the linearised response
# Newton's method.
DECAY, GROWTH = 16.0, 16.0  # of the shift, from one iteration to the next and from one trial to the next
FIRST = 10.0  # mm3: the first shift tried would move a node of 1 mm2 by this many mm under the residual
LARGEST_SHIFT = 1e12  # 1/mm3, times the residual: beyond it a step is round-off
NEGLIGIBLE = 1e-4  # 1/mm3: shifts below this times the residual are dropped
SHORTEST = 1e-6  # share of a step
ADVICE = "try a finer mesh or a smaller wound"  # a triangle that is crushed stops the path before the skin does


@dataclass(frozen=True)
class Problem:
    """A constrained sheet under dead loads, ready to be solved."""

    sheet: Sheet
    constraints: Constraints
    pattern: Pattern
    ldlt: Pardiso | Rslab
    area: np.ndarray  # (3 n_free,) mm2, int N^2 dA of the shape function of each unknown
    spent: Counter = field(default_factory=Counter)  # iterations, factorisations, seconds; the end's negative pivots
    watch: Callable = lambda **state: None  # called after every iteration
    path: list = field(default_factory=list)  # (closed, q) of every state on the way from open to closed


def problem(
    sheet: Sheet, constraints: Constraints, *, spent: Counter | None = None, watch: Callable = lambda **state: None
) -> Problem:
    """Problem of a sheet and its constraints."""
    stored = pattern(constraints.free, sheet.groups)
    area = np.zeros(sheet.X.shape[1])
    np.add.at(area, sheet.membrane.nodes, sheet.membrane.weights @ sheet.shapes**2)
    free_area = np.bincount(constraints.free[constraints.free >= 0], area[constraints.free >= 0])
    return Problem(
        sheet=sheet,
        constraints=constraints,
        pattern=stored,
        ldlt=solver(stored.indptr, stored.indices),
        area=np.repeat(free_area, 3),
        spent=Counter() if spent is None else spent,
        watch=watch,
    )


@dataclass(frozen=True)
class State:
    """The sheet at some positions."""

    energy: float  # N mm, that of the loads included
    forces: np.ndarray  # (3, n_free) N
    tangent: np.ndarray  # stored entries, N/mm; empty if not asked for


def state(
    problem: Problem,
    q: np.ndarray,
    *,
    closed: float,
    load: np.ndarray,
    regularisation: float = 0.0,
    tangent: bool = False,
) -> State:
    """State at q (3, n_free) of the independent nodes."""
    start = time.perf_counter()
    x = positions(problem.constraints, q, closed)
    stored = problem.pattern
    data = np.zeros(stored.indices.size if tangent else 0)
    Pi, r = assemble(
        problem.sheet, x, regularisation=regularisation, data=data, slots=stored.slots, widths=stored.widths
    )
    forces = reduced(problem.constraints, r - load)
    problem.spent["assembly_s"] += time.perf_counter() - start  # type: ignore[assignment]
    return State(energy=Pi - (load * x).sum(), forces=forces, tangent=data)


def factor(problem: Problem, data: np.ndarray, shift: float = 0.0) -> int:
    """Negative pivots of the tangent plus `shift` (MPa/mm) times the area of each unknown; 1 if it is singular."""
    start = time.perf_counter()
    values = data.copy()
    values[problem.pattern.indptr[:-1]] += shift * problem.area
    try:
        negative = problem.ldlt.factor(values)
    except SingularMatrix:  # at the threshold of buckling: no more stable than a negative pivot
        negative = 1
    problem.spent["factorisations"] += 1
    problem.spent["factorisation_s"] += time.perf_counter() - start  # type: ignore[assignment]
    return negative


def newton(
    problem: Problem,
    q: np.ndarray,
    *,
    closed: float,
    load: np.ndarray,
    tol: float,
    regularisation: float = 0.0,
    max_iter: int = 60,
) -> np.ndarray:
    """Positions (3, n_free) at which the forces vanish to `tol` N, found by descent on the energy.

    A tangent with negative pivots is shifted until it has none, so that every step goes down.

    Raises NotConverged after max_iter iterations.
    """
    at: dict[str, Any] = dict(closed=closed, regularisation=regularisation, load=load)
    shift, here = 0.0, state(problem, q, tangent=True, **at)
    for _ in range(max_iter):
        residual = np.abs(here.forces).max()
        problem.watch(closed=closed, residual=residual)
        if residual <= tol:
            return q
        problem.spent["iterations"] += 1
        shift = shift / DECAY if shift > NEGLIGIBLE * residual else 0.0
        while factor(problem, here.tangent, shift):
            shift = max(GROWTH * shift, residual / FIRST)
            if not shift < LARGEST_SHIFT * residual:
                raise NotConverged(f"no shift gives a positive tangent; forces of {residual:.1e} N are left; {ADVICE}")
        d = -problem.ldlt.solve(here.forces.T.ravel()).reshape(-1, 3).T
        q, here = _lower(problem, q, d, here, **at)
    raise NotConverged(
        f"forces of {residual:.1e} N are left after {max_iter} iterations at closed = {closed:.3f}, "
        f"wanted {tol:.1e} N; {ADVICE}"
    )


def _lower(problem, q, d, here, **at):
    """Positions along the step d and their state: lower in energy, or near the end, where energy is round-off, calmer.

    The full step is nearly always taken, so its tangent is assembled at once.
    """
    slope, residual = (here.forces * d).sum(), np.abs(here.forces).max()
    step, there = 1.0, state(problem, q + d, tangent=True, **at)
    while not (  # nor if the energy is no number
        there.energy <= here.energy + 1e-4 * step * slope or np.abs(there.forces).max() < 0.5 * residual
    ):
        step /= 2
        if step < SHORTEST:
            raise NotConverged(f"no step lowers the energy; forces of {residual:.1e} N are left; {ADVICE}")
        there = state(problem, q + step * d, **at)
    return q + step * d, there if step == 1.0 else state(problem, q + step * d, tangent=True, **at)


def opened_wound(problem: Problem, q: np.ndarray, *, perturbation: np.ndarray, tol: float) -> np.ndarray:
    """Positions (3, n_free) of the gaping, unsewn wound at rest, from those of the uncut skin."""
    q = newton(problem, q, closed=1.0, load=0 * perturbation, tol=tol)
    if negative_pivots(problem, q):
        q = newton(problem, q, closed=1.0, load=perturbation, tol=ROUGH * tol)
        q = newton(problem, q, closed=1.0, load=0 * perturbation, tol=tol)
        _refuse_saddle(problem, q)
    return q


def closed_wound(
    problem: Problem, q: np.ndarray, *, perturbation: np.ndarray, tol: float, near: bool = False
) -> np.ndarray:
    """Positions (3, n_free) of the closed wound at rest.

    q     positions of the gaping wound, from which it is closed step by step; or, with `near`, of a closed one
    perturbation   nodal forces (3, n) of a slight upward pressure, which choose the side to which cones rise; not at
        the end

    Raises NotConverged if the path stops short or ends in an equilibrium that is not stable.
    """
    if not near:
        q = _walked(problem, q, load=perturbation, regularisation=PATH_REGULARISATION, tol=ROUGH * tol)
    return settled(problem, q, perturbation=perturbation, tol=tol)


def on_the_way(problem: Problem, q: np.ndarray, *, perturbation: np.ndarray, tol: float) -> np.ndarray:
    """Positions (3, n_free) at rest with the aids of the path, from those before; arguments as in `closed_wound`."""
    return newton(problem, q, closed=1.0, load=perturbation, regularisation=PATH_REGULARISATION, tol=ROUGH * tol)


def settled(problem: Problem, q: np.ndarray, *, perturbation: np.ndarray, tol: float) -> np.ndarray:
    """Positions (3, n_free) at rest without any aid, from those with the aids of the path; see `closed_wound`."""
    q = newton(problem, q, closed=1.0, load=perturbation, tol=ROUGH * tol)
    q = newton(problem, q, closed=1.0, load=0 * perturbation, tol=tol)
    _refuse_saddle(problem, q)
    return q


def _walked(problem, q, *, tol, **at):
    """Positions (3, n_free) at closed = 1, led there from closed = 0 in steps that adapt and go into `path`."""
    q = newton(problem, q, closed=0.0, tol=tol, **at)
    problem.path.append((0.0, q))
    factor(problem, state(problem, q, closed=0.0, tangent=True, **at).tangent)
    closed, step = 0.0, LARGEST_STEP
    while closed < 1:
        target = min(1.0, closed + step)
        try:
            ahead = q + (target - closed) * _response(problem, q, closed=closed, **at)
            q = newton(problem, ahead, closed=target, tol=tol, max_iter=PATIENCE, **at)
        except NotConverged:
            step /= 2
            if step < LEAST_STEP:
                raise
        else:
            closed, step = target, min(1.5 * step, LARGEST_STEP)
            problem.path.append((closed, q))
    return q


def _refuse_saddle(problem, q):
    """Raise NotConverged if q is not stable; the count goes into `spent`."""
    negative = problem.spent["negative_pivots"] = negative_pivots(problem, q)
    if negative:
        raise NotConverged(f"the equilibrium found is not stable: {negative} negative pivots; {ADVICE}")


def _response(problem, q, *, closed, **at):
    """Linearised change of q (3, n_free) per unit of `closed`, with the tangent factored last."""
    forward = state(problem, q, closed=closed + DIFFERENCE, **at).forces
    backward = state(problem, q, closed=closed - DIFFERENCE, **at).forces
    change = (forward - backward) / (2 * DIFFERENCE)
    return -problem.ldlt.solve(change.T.ravel()).reshape(-1, 3).T


def negative_pivots(problem: Problem, q: np.ndarray, *, closed: float = 1.0) -> int:
    """Number of directions in which the unloaded sheet would leave q (3, n_free) by itself."""
    unloaded = np.zeros_like(problem.constraints.gap)
    return factor(problem, state(problem, q, closed=closed, load=unloaded, tangent=True).tangent)
