"""Where cones may rise or sink a closure has more than one equilibrium: several ways are tried, and all are told."""

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np

from fem.errors import NotConverged, within
from fem.mechanics import lying, solve, sutures
from fem.mechanics.sheet import uncut_energy
from fem.mechanics.solve import Effort, Problem, state
from fem.mechanics.ties import TiedSutures

End = tuple[Problem, np.ndarray, TiedSutures | None]  # the problem as it is at the end, q (3, n_free), its sutures
# Our choices. Two ends are one if no node of either is farther than SAME, mm, from the other's, and skin nowhere higher
# is flat; a share of energy below CLOSE settles nothing, below EQUAL it is round-off.
SAME, CLOSE, EQUAL = 0.01, 0.01, 1e-9
LIFT = 2.0  # thicknesses by which flat skin is lifted before it is let go, as high as low cones stand
HIGH = 4.0  # thicknesses above which skin is not pressed flat: flat it was stable beside cones of up to 2.6
PULL = 300.0  # times the upward pressure of the path: lifts skin off fat as high
SEED, STRONGER = 1, 10.0  # a random way has at each node the upward pressure times STRONGER and a normal variate
RESCUES = 2  # random ways that are tried if the first leads to no rest


def lowest(problem: Problem, sew: Callable[[Problem], End], *, both: bool, restarts: int) -> End:
    """The end of least energy of those that are found; of equal ones the first. The effort tells of all.

    The path is led up. Skin that comes to rest flat is lifted and let go, skin that stands low is pressed flat and let
    go: at the threshold of buckling it may rest in either state.

    both      whether skin may sink as well, for fat holds it: then it is pulled harder, and its mirror image let go
    restarts  random ways besides

    Raises NotConverged as the first way, if none ends.
    """
    ends: dict[str, tuple[float, End, int]] = {}
    rng, told = np.random.default_rng(SEED), problem.effort.branches
    tried = partial(_tried, ends, told, uncut_energy(problem.sheet))
    failure = tried("led up", partial(sew, problem))
    for k in range(restarts or RESCUES):
        if restarts or (failure and not ends and failure.kind != "round-off"):
            load = STRONGER * problem.perturbation * rng.standard_normal(problem.sheet.x0.shape[1])
            tried(f"led at random {k + 1}", partial(sew, replace(problem, perturbation=load, path=[])))
    if failure and not ends:
        failure.tried = tuple(branch["way"] for branch in told[1:])
        raise failure
    for other in _other_states(next(iter(ends.values()))[1]):
        tried(*other)
    if both:
        _held_by_fat(ends, tried)
    lowest, least, pivots = next(iter(ends.values()))
    for energy, end, negative in ends.values():
        if energy < lowest - EQUAL * abs(lowest):
            lowest, least, pivots = energy, end, negative
    problem.effort.negative_pivots = pivots
    for branch in told:
        if branch["way"] in ends:
            branch["apart_mm"] = float(np.abs(ends[branch["way"]][1][1] - least[1]).max())
    return least


def _tried(ends, told, uncut, name, way):
    """Put among the ends that of a way, its energy above that of uncut skin and its pivots; or return why none is."""
    try:
        with within(name):
            end = way()
    except NotConverged as error:
        told.append({"way": name, "failed": str(error)})
        return error
    ends[name] = float(state(end[0], end[1]).energy - uncut), end, end[0].effort.negative_pivots
    heights = [float(_heights(end).min()), float(_heights(end).max())]
    told.append({"way": name, "energy_mJ": ends[name][0], "heights_mm": heights})
    return None


def _other_states(end):
    """What is done to an end, if anything, and the way from there."""
    problem, q, _ = end
    if _flat(end):
        yield "lifted", lambda: _let_go(end, lying.lifted(problem, q, by=LIFT * problem.sheet.h))
    elif np.abs(_heights(end)).max() < HIGH * problem.sheet.h:
        yield "pressed flat", lambda: _let_go(end, lying.pressed_flat(problem, q))


def _held_by_fat(ends, tried):
    """Skin is pressed flat and pulled off the fat, all its cones, and the mirror image of what stood last let go."""
    first = next(iter(ends.values()))[1]
    harder = replace(first[0], perturbation=PULL * first[0].perturbation)
    tried("pulled up", lambda: _let_go(first, solve.on_the_way(harder, _mirrored(first, 0))))
    risen = next((end for _, end, _ in reversed(ends.values()) if not _flat(end)), None)
    if risen is not None:
        tried("mirrored", lambda: _let_go(risen, _mirrored(risen, -1)))


def _heights(end):
    return end[0].sheet.surface.over(end[1])[2]


def _flat(end):
    return np.abs(_heights(end)).max() < SAME


def _mirrored(end, times):
    """q (3, n_free) of an end, its heights above the body some times as great."""
    surface = end[0].sheet.surface
    return surface.lifted(surface.over(end[1]) * [[1], [1], [times]])


def _let_go(end, q):
    """Another end of the same problem, from q (3, n_free)."""
    problem, _, tied = end
    q = solve.at_rest(problem, q)
    return problem, q, None if tied is None else sutures.at_another_end(tied, problem, q)


def doubts(effort: Effort) -> list[str]:
    """Lines on other equilibria that were found, on a gaping wound that was not, and on edges that may pass."""
    lines = [effort.other_triangles] if effort.other_triangles else []
    if not effort.gaping_at_rest:
        lines.append("no rest of the gaping wound was found: it is shown held flat, and its size is not told")
    if effort.edges_unfaced:
        unfaced = f"at {effort.edges_unfaced} points sutured edges do not face"
        lines.append(f"{unfaced}: nothing keeps them from passing through each other there")
    while not effort.branches and isinstance(effort.coarser, Effort):
        effort = effort.coarser
    ended = [branch for branch in effort.branches if "failed" not in branch]
    least = min((branch["energy_mJ"] for branch in ended), default=0.0)
    for branch in ended:
        if branch["apart_mm"] > SAME:
            low, high = branch["heights_mm"]
            more = branch["energy_mJ"] / least - 1
            kept = "skin may take either" if more < CLOSE else "that of less energy is kept"
            lines.append(
                f"{branch['way']} the skin comes to rest elsewhere, from {low:.2f} to {high:.2f} mm high, with "
                f"{100 * more:.2g} % more energy: {kept}"
            )
    return lines
