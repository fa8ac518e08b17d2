"""Sutures tied one by one: where they pass, and the wound after each; kinds and rationale: README."""

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np

from fem.errors import NotConverged, at_stage
from fem.geometry.surface import Surface
from fem.mechanics import solve
from fem.mechanics.constraints import positions
from fem.mechanics.quadratic import located
from fem.mechanics.solve import Problem
from fem.mechanics.ties import Contact, PenaltyTie, Thread, TiedSutures, shortened, tension
from fem.mechanics.triangulation import Mesh
from fem.plan.plan import Around

# Our choices, per resistance of the skin in place, N/mm: twice as stiff, it bears twice the forces. STIFF: of a suture;
# twice as much changes forces by some per cent. CONTACT: 1/mm, with which edges push that pass through each other.
STIFF, CONTACT = 200.0, 10.0
SMOOTH = 1 / 16  # of a seam, either way, over which its direction is taken: an edge that curls up has none of its own
AGAINST = 0.1  # of its length over that way: edges whose mean line is shorter do not face, they run against each other
SNAP = 75  # iterations before a step of a thread is halved: a cone drawn down snaps through, in steps of any size
SAMPLES = 32  # of the skin within a bite
GOLDEN = np.pi * (3 - 5**0.5)  # rad, the turn that spreads points evenly over a disc


def around(mesh: Mesh, thread: Around, *, skin: float) -> Thread:
    """The thread around the open edges of a wound, once round; skin: its resistance in place, N/mm, as below."""
    edge = np.concatenate([mesh.open[0], *(part[1:] for part in mesh.open[1:])])
    X = mesh.X[:, edge]
    at, width = (np.arange(thread.stations) + 0.5) / thread.stations, thread.bite / _along(X)[-1]
    stations = [(nodes, W.mean(axis=0)) for nodes, W in (_samples(edge, X, s, width) for s in at)]
    return _thread([*stations, stations[0]], wanted=thread.drawn_to, kind="purse", skin=skin)


def across_the_wound(
    mesh: Mesh, stitches: Sequence[tuple[int, float]], *, bite: float, skin: float
) -> list[PenaltyTie]:
    """Penalty ties of edge to edge; stitches as in `fem.plan.plan.stitches`."""
    ties = []
    for number, at in stitches:
        width = 2 * bite / sum(_along(mesh.X[:, edge])[-1] for edge in mesh.seams[number])
        (first, W), (second, less) = (_samples(edge, mesh.X[:, edge], at, width) for edge in mesh.seams[number])
        nodes, column = np.unique(np.append(first, second), return_inverse=True)
        ties.append(PenaltyTie(nodes, np.hstack([W, -less]) @ np.eye(nodes.size)[column], STIFF * skin))
    return ties


def tapering(
    mesh: Mesh,
    *,
    skin: float,
    spacing_mm: float,
    length_mm: float,
    offset_mm: float,
    remaining_mm: float,
    bite_mm: float,
) -> list[Thread]:
    """Threads beyond each tip, nearest first, spacing_mm apart up to length_mm, offset_mm to each side of the axis."""
    threads = []
    for s in np.arange(spacing_mm, length_mm, spacing_mm):
        wanted = remaining_mm + (2 * offset_mm - remaining_mm) * s / length_mm
        for tip, along in zip(mesh.tips, mesh.outward(mesh.X).T, strict=True):
            place, aside = mesh.X[:, tip] + s * along, offset_mm * np.array([-along[1], along[0]])
            ends = [_patch(mesh, place + side * aside, bite_mm) for side in (1, -1)]
            threads.append(_thread(ends, wanted=wanted, kind="taper", skin=skin))
    return threads


def anchoring(mesh: Mesh, *, beyond_mm: float, bite_mm: float, skin: float) -> list[Thread]:
    """Threads from a place beyond each tip to where it lies in uncut skin."""
    places = mesh.X[:, mesh.tips] + beyond_mm * mesh.outward(mesh.X)
    below = mesh.surface.place(places)
    threads = [([_patch(mesh, X, bite_mm)], on_bed) for X, on_bed in zip(places.T, below.T, strict=True)]
    return [_thread(*thread, wanted=0.0, kind="anchor", skin=skin) for thread in threads]


def contact(mesh: Mesh, stitches: Sequence[tuple[int, float]], *, bite: float, skin: float) -> Contact:
    """What keeps edges of seams from passing through each other, but within a bite, with normals of the uncut skin."""
    weights = [np.convolve(np.diff(_along(mesh.X[:, first])), [0.5, 0.5], mode="valid") for first, _ in mesh.seams]
    for number, at in stitches:
        first, second = (_along(mesh.X[:, edge]) for edge in mesh.seams[number])
        weights[number] *= abs(first[1:-1] / first[-1] - at) > bite / (first[-1] + second[-1])
    nodes = np.hstack([seam[:, 1:-1] for seam in mesh.seams]).T
    return Contact(nodes, _across(mesh.seams, mesh.x0, mesh.surface), np.concatenate(weights), CONTACT * skin)


def _across(seams, x, surface):
    """Unit vectors (3, n) along the body at inner nodes of seams at x, left of a line between both edges.

    Its direction is that over SMOOTH of it either way.
    """
    normals = []
    for first, second in seams:
        line = (x[:, first] + x[:, second]) / 2
        over = surface.over(line)
        line, up = surface.place(over[:2]), surface.normal(over[:2])[:, 1:-1]
        k, reach = np.arange(1, line.shape[1] - 1), max(1, round(SMOOTH * line.shape[1]))
        along = line[:, np.minimum(k + reach, line.shape[1] - 1)] - line[:, np.maximum(k - reach, 0)]
        left = np.cross(up, along, axis=0)
        size = np.linalg.norm(left, axis=0)
        facing = size > AGAINST * reach * np.linalg.norm(np.diff(line), axis=0).mean()
        normals.append(np.where(facing, left, 0.0) / np.where(facing, size, 1.0))
    return np.hstack(normals)


def _facing(contact, seams, x, surface, *, h):
    """The contact with normals at x; none where edges run against each other, or a flap's edge is yet to be turned.

    Such an edge lies beyond the other, by more than the thickness h.
    """
    normals, (first, second) = _across(seams, x, surface), contact.nodes.T
    gap = (normals * (x[:, first] - x[:, second])).sum(axis=0)
    return replace(contact, normals=np.where(gap > -h, normals, 0.0))


def tied(
    problem: Problem, q: np.ndarray, *, seams: Sequence[np.ndarray], starts: Sequence[np.ndarray] = ()
) -> tuple[Problem, np.ndarray, TiedSutures]:
    """The problem with all its ties tied, its q (3, n_free), and what became of them.

    problem   its sheet's ties are in order of tying, those from edge to edge first; none of them is tied
    q         near rest; if there are ties from edge to edge, where the edges meet
    seams     whose edges may touch
    starts    q near those after each, as from a coarser mesh: what each adds to the last one's is taken from there

    Raises NotConverged as `solve.closed_wound`.
    """
    ties: tuple[Any, ...] = problem.sheet.ties
    after: dict[int, np.ndarray] = {}

    def near(k: int, q: np.ndarray, last: int) -> np.ndarray:
        """Where the search for the rest after thread k starts, q being that after the last, if any."""
        if not starts:
            return q
        return starts[k] + (after[last] - starts[last] if last in after else 0.0)

    edges = [tie for tie in ties if isinstance(tie, PenaltyTie)]
    some, there = problem, q
    for k in reversed(range(len(edges))):
        held = [replace(tie, tied=j <= k) for j, tie in enumerate(edges)]
        some = _touching(_with(some, (*held, *ties[len(edges) :])), there, seams)
        with at_stage(f"suture {k + 1} of {len(ties)}"):
            start = near(k, there, k + 1)
            after[k] = there = solve.kept_apart(some, start, partial(solve.settled, some, start))
        if k == len(edges) - 1:
            problem, q = some, there
    for k in range(len(edges), len(ties)):
        with at_stage(f"suture {k + 1} of {len(ties)}"):
            start = near(k, q, k - 1)
            problem, q = solve.kept_apart(problem, start, partial(_drawn, problem, start, k))
        after[k] = q
    x = tuple(positions(problem.constraints, after[k], 1.0) for k in range(len(ties)))
    when = np.array([tension(tie, at) for tie, at in zip(problem.sheet.ties, x, strict=True)])
    return problem, q, at_another_end(TiedSutures(tuple(tie.kind for tie in ties), when, when, x), problem, q)


def _with(problem, ties):
    return replace(problem, sheet=replace(problem.sheet, ties=tuple(ties)))


def _touching(problem, q, seams):
    """The problem with the contact, if any, that edges have at q (3, n_free)."""
    if (contact := problem.sheet.contact) is None:
        return problem
    x, sheet = positions(problem.constraints, q, 1.0), problem.sheet
    facing = _facing(contact, seams, x, sheet.surface, h=sheet.h)
    return replace(problem, sheet=replace(problem.sheet, contact=facing))


def unfaced(contact: Contact | None, seams: Sequence[np.ndarray], x: np.ndarray, surface: Surface, *, h: float) -> int:
    """Points of sutured edges that do not face at positions x (3, n), so that nothing keeps them apart."""
    return 0 if contact is None else int((~_facing(contact, seams, x, surface, h=h).normals.any(axis=0)).sum())


def at_another_end(tied: TiedSutures, problem: Problem, q: np.ndarray) -> TiedSutures:
    """What became of the sutures if the wound, once they are tied, rests at q (3, n_free)."""
    x = positions(problem.constraints, q, 1.0)
    at_end = np.array([tension(tie, x) for tie in problem.sheet.ties])
    return replace(
        tied, when_tied=np.append(tied.when_tied[:-1], at_end[-1]), at_end=at_end, after=(*tied.after[:-1], x)
    )


def _drawn(problem, q, k):
    """The problem with thread k drawn to what is wanted of it, and its q at rest."""

    def drawn(part: float) -> Problem:
        ties = list(problem.sheet.ties)
        ties[k] = shortened(ties[k], positions(problem.constraints, q, 1.0), part)
        return _with(problem, ties)

    try:
        return drawn(1.0), solve.at_rest(drawn(1.0), q, max_iter=SNAP)
    except NotConverged:  # then step by step, with the aids of the path
        way = solve.walked(lambda part: (drawn(part), 1.0), q, largest=1.0, patience=SNAP)
        return drawn(1.0), solve.settled(drawn(1.0), way)


def _thread(stations, *places, wanted, kind, skin):
    """Thread, not tied yet, through stations, nodes and weights each, then fixed places (3,)."""
    nodes = np.unique(np.concatenate([at for at, _ in stations]))
    W = np.zeros((len(stations) + len(places), nodes.size))
    for row, (at, weights) in enumerate(stations):
        W[row, np.searchsorted(nodes, at)] = weights
    return Thread(nodes, W, np.vstack([np.zeros((len(stations), 3)), *places]), STIFF * skin, wanted, kind=kind)


def _along(X):
    """Arc length (n,) along points X (2, n) from the first, mm."""
    return np.append(0.0, np.cumsum(np.hypot(*np.diff(X, axis=1))))


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
