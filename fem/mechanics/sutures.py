"""Sutures tied one by one: where they pass, in which order, and the wound after each.

Every suture holds the skin over its bite, so its force does not depend on the mesh. It is drawn from what it is when
its turn comes to what is wanted, and those tied before stay.

    purse    around a wound that stays open, through its edge, drawn to a length
    edges    from edge to edge of a wound that is not sewn all along: a penalty tie over the bite
    taper    beyond a tip, from one side of the axis to the other: s mm beyond it, drawn to
             remaining + (2 offset - remaining) s / length, which is the distance as it was where s = length
    anchor   from a place beyond a tip, when its turn comes, down to where it lay in uncut skin
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from fem.errors import NotConverged
from fem.mechanics import solve
from fem.mechanics.constraints import positions
from fem.mechanics.sheet import located
from fem.mechanics.solve import Problem
from fem.mechanics.ties import Contact, PenaltyTie, Thread, TiedSutures, shortened, tension
from fem.mechanics.triangulation import Mesh
from fem.plan.plan import Around

# Our choices. STIFF: N/mm of a suture, so that 1 N leaves 0.05 mm open; twice as much changes forces by some per cent.
# CONTACT: N/mm2 with which edges push that pass through each other; at 10 N/m they overlap by 0.01 mm.
STIFF, CONTACT = 20.0, 1.0
STEPS, MOST_STEPS = 4, 32  # in which a suture is drawn tight
SMOOTH = 1 / 16  # of a seam, either way, over which its direction is taken: an edge that curls up has none of its own
SAMPLES = 32  # of the skin within a bite
GOLDEN = np.pi * (3 - 5**0.5)  # rad, the turn that spreads points evenly over a disc


def around(mesh: Mesh, thread: Around) -> Thread:
    """The thread around the open edges of a wound, once round."""
    edge = np.concatenate([mesh.open[0], *(part[1:] for part in mesh.open[1:])])
    at = (np.arange(thread.stations) + 0.5) / thread.stations
    stations = [_bite(edge, mesh.X[:, edge], s, thread.bite) for s in at]
    return _thread(*stations, stations[0], wanted=thread.drawn_to)


def across_the_wound(
    seams: Sequence[np.ndarray], X: np.ndarray, stitches: Sequence[tuple[int, float]], *, bite: float
) -> list[PenaltyTie]:
    """Penalty ties of edge to edge; stitches as in `fem.plan.plan.stitches`."""
    ties = []
    for number, at in stitches:
        width = 2 * bite / sum(_along(X[:, edge])[-1] for edge in seams[number])
        first, second = (_samples(edge, X[:, edge], at, width) for edge in seams[number])
        nodes, inverse = np.unique(np.concatenate([first[0], second[0]]), return_inverse=True)
        W = np.zeros((len(first[1]), nodes.size))
        np.add.at(W.T, inverse, np.hstack([first[1], -second[1]]).T)
        ties.append(PenaltyTie(nodes=nodes, W=W, stiffness=STIFF))
    return ties


def tapering(mesh: Mesh, *, spacing: float, reach: float, offset: float, remaining: float, bite: float) -> list[Thread]:
    """Threads beyond each tip, nearest first; see above.

    spacing     between them, the first as far beyond the tip, mm;  reach  the length beyond the tip, mm
    offset      of their ends from the axis, mm;  remaining  at the tip, mm
    """
    threads = []
    X, away = mesh.X, mesh.outward(mesh.X)
    for s in np.arange(spacing, reach, spacing):
        for tip, along in zip(mesh.tips, away.T, strict=True):
            aside = offset * np.array([-along[1], along[0]])
            ends = [_patch(mesh, X[:, tip] + s * along + side * aside, bite) for side in (1, -1)]
            threads.append(_thread(*ends, wanted=remaining + (2 * offset - remaining) * s / reach))
    return threads


def anchoring(mesh: Mesh, *, beyond: float, bite: float) -> list[Thread]:
    """Threads from a place beyond each tip to where it lies in uncut skin."""
    threads = []
    for tip, along in zip(mesh.tips, mesh.outward(mesh.X).T, strict=True):
        place = mesh.X[:, tip] + beyond * along
        threads.append(_thread(_patch(mesh, place, bite), np.append(place, 0.0), wanted=0.0))
    return threads


def contact(
    seams: Sequence[np.ndarray], X: np.ndarray, stitches: Sequence[tuple[int, float]], *, bite: float
) -> Contact:
    """What keeps the edges of all seams from passing through each other, with the normals of the wound at X (2, n).

    Not within a bite, where edges are held together.
    """
    weights = [np.convolve(np.diff(_along(X[:, first])), [0.5, 0.5], mode="valid") for first, _ in seams]
    for number, at in stitches:
        first, second = (_along(X[:, edge]) for edge in seams[number])
        weights[number] *= abs(first[1:-1] / first[-1] - at) > bite / (first[-1] + second[-1])
    return Contact(
        group=np.hstack([seam[:, 1:-1] for seam in seams]).T,
        normals=np.hstack([_normals(X[:, first] + X[:, second]) for first, second in seams]),
        weights=np.concatenate(weights),
        stiffness=CONTACT,
    )


def _normals(line):
    """Unit vectors (2, k - 2) to the left of a line through points (2, k), at its inner ones, smoothed by SMOOTH."""
    k, reach = np.arange(1, line.shape[1] - 1), max(1, round(SMOOTH * line.shape[1]))
    along = line[:, np.minimum(k + reach, line.shape[1] - 1)] - line[:, np.maximum(k - reach, 0)]
    return np.array([-along[1], along[0]]) / np.hypot(*along)


def tied(
    problem: Problem,
    q: np.ndarray,
    kinds: Sequence[str],
    *,
    seams: Sequence[np.ndarray],
    perturbation: np.ndarray,
    tol: float,
    starts: Sequence[np.ndarray] | None = None,
) -> tuple[Problem, TiedSutures, np.ndarray]:
    """The problem with all its threads tied, what became of them, and q (3, n_free), from q before.

    problem   its sheet's ties begin with the sutures in order of tying, none of them tied
    kinds     what each is, for `TiedSutures`
    seams     whose edges may touch; the way across them is that of the wound when the turn of a suture comes
    starts    q near those after each, as from a coarser mesh; None: every suture is drawn tight step by step

    Raises NotConverged as `solve.closed_wound`.
    """
    when_tied, after = [], []
    for k in range(len(kinds)):
        at = q if starts is None else starts[k]
        problem = _facing(problem, seams, positions(problem.constraints, at, 1.0))
        if starts is None:
            problem, q = _tightened(problem, q, k, perturbation=perturbation, tol=tol)
        else:
            problem, q = _shortened(problem, q, k, 1.0), starts[k]
        settled = solve.settled(problem, q, perturbation=perturbation, tol=tol)
        after.append(positions(problem.constraints, settled, 1.0))
        when_tied.append(tension(problem.sheet.ties[k], after[-1]))  # type: ignore[arg-type]  # Contact is last
    at_end = [tension(tie, after[-1]) for tie in problem.sheet.ties[: len(kinds)]]  # type: ignore[arg-type]
    return problem, TiedSutures(tuple(kinds), np.array(when_tied), np.array(at_end), tuple(after)), settled


def _facing(problem, seams, x):
    """The problem with the normals of its Contact, if it has one, taken from the wound at x (3, n)."""
    ties = problem.sheet.ties
    if not isinstance(ties[-1], Contact):
        return problem
    normals = np.hstack([_normals(x[:2, first] + x[:2, second]) for first, second in seams])
    ties = (*ties[:-1], replace(ties[-1], normals=normals))
    return replace(problem, sheet=replace(problem.sheet, ties=ties))


def _tightened(problem, q, k, *, perturbation, tol):
    """The problem with suture k drawn to what is wanted of it and its q, in as few steps as lead there."""
    steps = STEPS
    while True:
        there = q
        try:
            for fraction in np.linspace(0, 1, steps + 1)[1:]:
                shorter = _shortened(problem, q, k, float(fraction))
                there = solve.on_the_way(shorter, there, perturbation=perturbation, tol=tol)
            return shorter, there
        except NotConverged:
            steps *= 2
            if steps > MOST_STEPS:
                raise


def _shortened(problem, q, k, fraction):
    ties = list(problem.sheet.ties)
    ties[k] = shortened(ties[k], positions(problem.constraints, q, 1.0), fraction)
    return replace(problem, sheet=replace(problem.sheet, ties=tuple(ties)))


def _thread(*stations, wanted):
    """Thread, not tied yet, through stations: nodes and weights, or a fixed point (3,)."""
    parts = [(np.empty(0, int), np.empty(0)) if isinstance(station, np.ndarray) else station for station in stations]
    sizes = [len(nodes) for nodes, _ in parts]
    W, at = np.zeros((len(parts), sum(sizes))), np.cumsum([0, *sizes])
    for row, (_, weights) in enumerate(parts):
        W[row, at[row] : at[row + 1]] = weights
    fixed = [station if isinstance(station, np.ndarray) else np.zeros(3) for station in stations]
    nodes, inverse = np.unique(np.concatenate([nodes for nodes, _ in parts]), return_inverse=True)
    summed = np.zeros((len(parts), nodes.size))
    np.add.at(summed.T, inverse, W.T)
    return Thread(nodes=nodes, W=summed, fixed=np.array(fixed), stiffness=STIFF, wanted=wanted)


def _along(X):
    """Arc length (n,) along points X (2, n) from the first, mm."""
    return np.append(0.0, np.cumsum(np.hypot(*np.diff(X, axis=1))))


def _bite(edge, X, at, bite):
    """Nodes of an edge (2 k + 1,) at X and their weights in its mean over a bite, mm, about the fraction `at` of it."""
    nodes, W = _samples(edge, X, at, bite / _along(X)[-1])
    return nodes, W.mean(axis=0)


def _samples(edge, X, at, width):
    """Nodes of an edge (2 k + 1,) at X and their weights (n_samples, m) at places over a width about the fraction `at`.

    width   of the edge's length; beyond an end of the edge there are no samples
    """
    s = _along(X)
    sample = at + width * ((np.arange(SAMPLES) + 0.5) / SAMPLES - 0.5)
    sample = sample[(sample > 0) & (sample < 1)] * s[-1]
    segment = np.searchsorted(s[::2], sample, side="right") - 1
    xi = (sample - s[2 * segment]) / (s[2 * segment + 2] - s[2 * segment])
    shapes = np.array([(1 - xi) * (1 - 2 * xi), 4 * xi * (1 - xi), xi * (2 * xi - 1)])
    W = np.zeros((len(sample), len(edge)))
    np.add.at(W, (np.arange(len(sample)), 2 * segment + np.arange(3)[:, None]), shapes)
    used = np.flatnonzero(W.any(axis=0))
    return edge[used], W[:, used]


def _patch(mesh, place, bite):
    """Nodes and their weights in the mean of the skin over a disc as wide as a bite, mm, about a place (2,)."""
    k = np.arange(SAMPLES)
    turn = np.array([np.cos(GOLDEN * k), np.sin(GOLDEN * k)])
    nodes, shapes = located(mesh, place[:, None] + bite / 2 * np.sqrt((k + 0.5) / SAMPLES) * turn)
    used, inverse = np.unique(nodes.T, return_inverse=True)
    return used, np.bincount(inverse.ravel(), shapes.ravel()) / SAMPLES
