"""Newton's method on the energy, its stability read from the tangent's inertia, and the path that closes a wound."""

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, TypeVar

import numpy as np

from fem.errors import NotConverged, SingularMatrix
from fem.mechanics import contact
from fem.mechanics.constraints import Constraints, positions, reduced
from fem.mechanics.contact import NO_PAIRS, SelfContact
from fem.mechanics.kernels.storage import NO_TANGENT, Pattern, groups, pattern
from fem.mechanics.linear import Pardiso, Rslab, solver
from fem.mechanics.sheet import Sheet, assemble, at_nodes, lift

# The path; our choices. They change how many steps are taken and not where they end.
PATH_REGULARISATION = 0.1  # weight of plain second derivatives in bending on the way: they hold the turning tips
LARGEST_STEP, LEAST_STEP = 0.2, 0.002  # of `closed`; the least of any path
PATIENCE, LAST = 25, 200  # iterations before a step is halved, and at its end; shallow waves take many
MOST = 300  # iterations of a path, after which the first step that leads nowhere ends it
ROUGH = 1e5  # times the final tolerance, on the way
DIFFERENCE = 1e-5  # of the path, for the linearised response
# Newton's method.
DECAY, GROWTH = 4.0, 4.0  # of the shift, from one iteration to the next and from one trial to the next
FIRST = 10.0  # mm3: the first shift tried would move a node of 1 mm2 by this many mm under the residual
LARGEST_SHIFT = 1e12  # 1/mm3, times the residual: beyond it a step is round-off
NEGLIGIBLE = 1e-4  # 1/mm3: shifts below this times the residual are dropped
SHORTEST = 1e-6  # share of a step
LARGEST_FORCE = 1e3  # N, that a message speaks of; our choice: beyond, triangles have turned inside out
PASSED = "passed through"  # the kind of trouble, of which contact is the remedy
End = TypeVar("End")
Load = np.ndarray | float  # dead loads (3, n), N


@dataclass
class Effort:
    """What a closure takes, counted while it is computed, and how well it is solved."""

    unknowns: int = 0
    elements: int = 0
    smallest_angle_deg: float = np.nan
    residual_N: float = np.nan
    iterations: int = 0
    factorisations: int = 0
    negative_pivots: int = 0  # of the tangent at the end
    starts_dropped: int = 0  # from coarser triangles
    edges_unfaced: int = 0  # points of sutured edges that nothing keeps apart at the end, as contact does elsewhere
    other_triangles: str = ""  # on which it was closed, and why not on those given
    branches: list[dict[str, Any]] = field(default_factory=list)  # how the path was led, and where it ended, or why not
    gaping_at_rest: bool = True  # or held flat
    mesh_s: float = 0.0
    assembly_s: float = 0.0
    factorisation_s: float = 0.0
    total_s: float = 0.0
    coarser: "Effort | dict[str, str] | None" = None  # on the triangles where it starts; or why these are not used


@dataclass
class System:
    """Where tangents are stored and factored; renewed as parts of the skin come near each other."""

    pattern: Pattern
    cholesky: Pardiso | Rslab  # of tangents on the way; one that is not positive need only be known as such
    contact: SelfContact | None = None  # of skin that is kept from passing through skin; None: it is not


@dataclass(frozen=True)
class Problem:
    """A constrained sheet, ready to be solved."""

    sheet: Sheet
    constraints: Constraints
    system: System
    area: np.ndarray  # (3 n_free,) mm2, int N^2 dA of the shape function of each unknown
    perturbation: np.ndarray  # (3, n) N, of a slight upward pressure on the way; it picks the side to which cones rise
    tol: float  # N, the largest force that is left on a node at the end
    effort: Effort = field(default_factory=Effort)
    watch: Callable[..., None] = lambda **state: None  # called after every iteration with `closed` and `residual`
    path: list[tuple[float, np.ndarray]] = field(default_factory=list)  # (closed, q) of every state on the way


def problem(sheet: Sheet, constraints: Constraints, *, pressure: float = 0.0, tol: float = 0.0, **kept: Any) -> Problem:
    """Problem of a sheet and its constraints; pressure of the perturbation in MPa, the rest as in `Problem`."""
    area = reduced(constraints, at_nodes(sheet, sheet.area.weights @ sheet.shapes**2)[None])[0]
    return Problem(
        sheet, constraints, _system(sheet, constraints), np.repeat(area, 3), lift(sheet, pressure), tol, **kept
    )


def _system(sheet, constraints, contact=None):
    """System of a sheet with a contact, if any."""
    met = (contact.pairs.nodes,) if contact is not None and contact.near else ()
    stored = pattern(constraints.free, (*sheet.groups, *met))
    return System(stored, solver(stored.indptr, stored.indices, definite=True), contact)


def keep_apart(problem: Problem, contact: SelfContact | None) -> None:
    """Let the parts of the skin that a contact knows push each other from now on; None: nothing does any more."""
    system, before = problem.system, problem.system.contact
    now, last = (NO_PAIRS.nodes if of is None else of.pairs.nodes for of in (contact, before))
    if now is not last and now.size + last.size:
        renewed = _system(problem.sheet, problem.constraints, contact)
        system.pattern, system.cholesky = renewed.pattern, renewed.cholesky
    system.contact = contact


def _met(problem, x):
    """Contact at positions x (3, n)."""
    return contact.contact(problem.sheet.parts, x, problem.system.contact)


@dataclass(frozen=True)
class State:
    """The sheet at some positions."""

    energy: float  # N mm, that of the loads included
    forces: np.ndarray  # (3, n_free) N
    tangent: np.ndarray  # stored entries, N/mm; empty if not asked for


def state(
    problem: Problem, q: np.ndarray, *, closed: float = 1.0, load: Load = 0.0, regularisation: float = 0.0,
    tangent: bool = False,
) -> State:  # fmt: skip
    """State at q (3, n_free) of the independent nodes under a load."""
    start = time.perf_counter()
    x, met = positions(problem.constraints, q, closed), problem.system.contact
    if met is not None and not met.holds(x):
        met = _met(problem, x)
        if tangent:
            keep_apart(problem, met)
    data = np.zeros(problem.system.pattern.indices.size if tangent else 0)
    stored = groups(problem.system.pattern, data) if tangent else NO_TANGENT
    Pi, r = assemble(problem.sheet, x, regularisation=regularisation, closed=closed, contact=met, tangent=stored)
    forces = reduced(problem.constraints, r - load)
    problem.effort.assembly_s += time.perf_counter() - start
    return State(energy=Pi - (load * x).sum(), forces=forces, tangent=data)


def _positive(problem, tangent, residual, shift=0.0):
    """The shift (MPa/mm), times the area of each unknown, that makes the tangent positive; it is factored then."""
    while True:
        values = tangent.copy()
        values[problem.system.pattern.indptr[:-1]] += shift * problem.area
        if not _factored(problem, problem.system.cholesky, values):
            return shift
        shift = max(GROWTH * shift, residual / FIRST)
        if not shift < LARGEST_SHIFT * residual:
            raise NotConverged(f"no shift gives a positive tangent{_left(residual)}", kind="crushed")


def _factored(problem, solver, values):
    """Negative pivots of the matrix with these stored entries; 1 if it is singular."""
    start = time.perf_counter()
    try:
        negative = solver.factor(values)
    except SingularMatrix:  # at the threshold of buckling: no more stable than a negative pivot
        negative = 1
    problem.effort.factorisations += 1
    problem.effort.factorisation_s += time.perf_counter() - start
    return negative


def newton(
    problem: Problem, q: np.ndarray, *, tol: float, closed: float = 1.0, max_iter: int = 60, **aids: Any
) -> np.ndarray:
    """Positions (3, n_free) at which the forces vanish to `tol` N, found by descent on the energy, from others near.

    aids   load and regularisation, as in `state`.  Raises NotConverged after max_iter iterations.
    """

    def at(q: np.ndarray, *, tangent: bool = False) -> State:
        return state(problem, q, closed=closed, tangent=tangent, **aids)

    at_gap = f" at closed = {closed:.3f}" if closed < 1 else ""
    shift, here = 0.0, at(q, tangent=True)
    if not np.isfinite(here.energy):
        raise NotConverged(f"skin is bent further than its thickness allows{at_gap}", kind="crushed")
    for _ in range(max_iter):
        residual = np.abs(here.forces).max()
        problem.watch(closed=closed, residual=residual)
        if residual <= tol:
            return q
        problem.effort.iterations += 1
        shift = shift / DECAY if shift > NEGLIGIBLE * residual else 0.0
        shift = _positive(problem, here.tangent, residual, shift)
        d = _answer(problem, here.forces)
        q, here = _lower(at, q, _kept_apart(problem, q, q + d, closed, closed) * d, here)
    message = f"no rest after {max_iter} iterations{at_gap}{_left(residual)}, wanted {tol:.1e} N"
    raise NotConverged(message, kind="limit point" if residual > ROUGH * problem.tol else "round-off")


def _left(residual):
    """How far from rest; nothing where there is no number to speak of."""
    return f"; forces of {residual:.1e} N are left" if residual < LARGEST_FORCE else ""


def _answer(problem, forces):
    """Displacement (3, n_free) that balances forces (3, n_free), by the tangent factored last."""
    return -problem.system.cholesky.solve(forces.T.ravel()).reshape(-1, 3).T


def answer(problem: Problem, q: np.ndarray, forces: np.ndarray) -> np.ndarray:
    """Displacement (3, n_free) that balances forces (3, n_free) at q, by the tangent there, shifted if need be."""
    here = state(problem, q, tangent=True)
    _positive(problem, here.tangent, np.abs(here.forces).max())
    return _answer(problem, forces)


def _kept_apart(problem, q, there, before, closed):
    """Part of the way between states, at most 1, on which no skin passes through skin, if that is watched."""
    if problem.system.contact is None:
        return 1.0
    x, ahead = (positions(problem.constraints, *end) for end in ((q, before), (there, closed)))
    return problem.system.contact.part(x, ahead - x)


def _lower(at, q, d, here):
    """Positions along the step d and their state: lower in energy, or near the end, where energy is round-off, calmer.

    The full step is nearly always taken, so its tangent is assembled at once.
    """
    slope, residual = (here.forces * d).sum(), np.abs(here.forces).max()
    step, there = 1.0, at(q + d, tangent=True)
    # an energy that is infinite or no number is not lower either
    while not (
        there.energy <= here.energy + 1e-4 * step * slope
        or (np.isfinite(there.energy) and np.abs(there.forces).max() < 0.5 * residual)
    ):
        step /= 2
        if step < SHORTEST:
            raise NotConverged(f"no step lowers the energy{_left(residual)}", kind="round-off")
        there = at(q + step * d)
    return q + step * d, there if step == 1.0 else at(q + step * d, tangent=True)


def closed_wound(problem: Problem, q: np.ndarray) -> np.ndarray:
    """Positions (3, n_free) of the closed wound at rest, from those of the gaping one, by a `path` that is kept.

    Raises NotConverged if the path stops short or ends in an equilibrium that is not stable.
    """
    try:
        return settled(problem, drawn_together(problem, q))
    except NotConverged as error:
        if error.kind != PASSED:
            raise
    return settled(problem, _drawn_on(problem))


def _drawn_on(problem):
    """As `drawn_together`, from the last state on the path in which no skin has passed through skin."""
    while problem.path:
        place, q = problem.path.pop()
        met = _met(problem, positions(problem.constraints, q, place))
        if place < 1 and not met.passed:
            keep_apart(problem, met)
            problem.path.append((place, q))
            return walked(lambda closed: (problem, closed), q, place, largest=LARGEST_STEP, path=problem.path)
    raise NotConverged("skin passes through skin all along the path", kind=PASSED)


def drawn_together(problem: Problem, q: np.ndarray) -> np.ndarray:
    """Positions (3, n_free) of the closed wound, still with the aids of the path, otherwise as `closed_wound`."""
    keep_apart(problem, None)
    q = on_the_way(problem, q, closed=0.0)
    problem.path.append((0.0, q))
    return walked(lambda closed: (problem, closed), q, largest=LARGEST_STEP, path=problem.path)


def walked(
    at: Callable[[float], tuple[Problem, float]], q: np.ndarray, place: float = 0.0, *, largest: float,
    patience: int = PATIENCE, path: list[tuple[float, np.ndarray]] | None = None,
) -> np.ndarray:  # fmt: skip
    """Positions (3, n_free) at rest at the end of a path, from those at its start; the states between join `path`.

    at        what is solved at a place on the path, from 0 to 1, with the aids of the path: a problem, and its `closed`
    largest   step, and the first;  patience   iterations before a step is halved

    Raises NotConverged where the least step leads nowhere, or any after MOST iterations, times patience/PATIENCE.
    """

    def aided(place: float, *, tangent: bool = False) -> State:
        problem, closed = at(place)
        return state(problem, q, closed=closed, tangent=tangent, **_aids(problem))

    def rate() -> np.ndarray:
        """Of q along the path, linearised, by the tangent factored last: that of this state."""
        return _answer(problem, (aided(place + DIFFERENCE).forces - aided(place).forces) / DIFFERENCE)

    step, (problem, closed) = largest, at(place)
    most = problem.effort.iterations + MOST * patience / PATIENCE
    here = aided(DIFFERENCE, tangent=True)  # a thread that is just taut
    _positive(problem, here.tangent, np.abs(here.forces).max())
    ahead = rate()
    while place < 1:
        target, least = min(1.0, place + step), step <= LEAST_STEP
        last, (problem, closed) = closed, at(target)
        try:
            there = _ahead(problem, q, (target - place) * ahead, last, closed)
            q = on_the_way(problem, there, closed=closed, max_iter=LAST if least else patience)
        except NotConverged:
            if least or problem.effort.iterations > most:
                raise
            step, closed = max(LEAST_STEP, step / 2), last
        else:
            place, step = target, min(1.5 * step, largest)
            if path is not None:
                path.append((place, q))
            ahead = rate() if place < 1 else ahead
    return q


def _ahead(problem, q, d, before, closed):
    """Where a step on the path starts: ahead by d, or where skin would pass through skin, where it is."""
    for there in (q + d, q):
        if _kept_apart(problem, q, there, before, closed) == 1:
            return there
    raise NotConverged("skin would pass through skin", kind=PASSED)


def on_the_way(problem: Problem, q: np.ndarray, *, closed: float = 1.0, max_iter: int = 60) -> np.ndarray:
    """Positions (3, n_free) at rest with the aids of the path, perturbation and regularisation, from others near."""
    return newton(problem, q, tol=ROUGH * problem.tol, closed=closed, max_iter=max_iter, **_aids(problem))


def _aids(problem) -> dict[str, Any]:
    return {"load": problem.perturbation, "regularisation": PATH_REGULARISATION}


def settled(problem: Problem, q: np.ndarray) -> np.ndarray:
    """Positions (3, n_free) of the closed wound at rest without any aid, from others near. Raises as `closed_wound`."""
    try:
        return at_rest(problem, q)
    except NotConverged as error:  # then the aids go one after the other
        if error.kind == "round-off":
            raise
        aided = newton(problem, q, load=problem.perturbation, tol=ROUGH * problem.tol, max_iter=LAST)
        return at_rest(problem, aided)


def at_rest(problem: Problem, q: np.ndarray, *, max_iter: int = LAST) -> np.ndarray:
    """Positions (3, n_free) of stable equilibrium, straight from others near. Raises as `closed_wound`.

    Skin that is near other skin, here or at rest, is kept apart from then on.
    """
    watched(problem, q)
    q = newton(problem, q, tol=problem.tol, max_iter=max_iter)
    if watched(problem, q, strictly=True):
        q = newton(problem, q, tol=problem.tol, max_iter=max_iter)
    if negative := negative_pivots(problem, q):
        raise NotConverged(f"the equilibrium found is not stable: {negative} negative pivots", kind="saddle")
    return q


def watched(problem: Problem, q: np.ndarray, *, strictly: bool = False) -> bool:
    """Whether parts of the skin that push each other at q (3, n_free) are kept apart only from now on.

    Raises NotConverged where skin has passed through skin, if it was kept apart before or is looked at strictly.
    """
    already = problem.system.contact is not None
    if problem.sheet.parts is None:
        return False
    met = _met(problem, positions(problem.constraints, q, 1.0))
    if met.passed and (already or strictly):
        raise NotConverged("skin has passed through skin", kind=PASSED)
    if already or met.passed or not met.pushes:
        return False
    keep_apart(problem, met)
    return True


def kept_apart(problem: Problem, q: np.ndarray, way: Callable[[], End]) -> End:
    """What a way that starts at q (3, n_free) leads to; if to no rest, or through skin, once more, kept from that."""
    if problem.sheet.parts is None or problem.system.contact is not None:
        return way()
    try:
        return way()
    except NotConverged as error:
        failure = error
    met = _met(problem, positions(problem.constraints, q, 1.0))
    if met.passed:
        raise failure
    keep_apart(problem, met)
    return way()


def negative_pivots(problem: Problem, q: np.ndarray, *, closed: float = 1.0) -> int:
    """Number of directions in which the unloaded sheet would leave q (3, n_free) by itself; noted in its effort."""
    tangent, stored = state(problem, q, closed=closed, tangent=True).tangent, problem.system.pattern
    problem.effort.negative_pivots = _factored(problem, solver(stored.indptr, stored.indices), tangent)
    return problem.effort.negative_pivots
