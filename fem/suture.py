"""Interrupted sutures: where they pass, in which order they are tied, and the wound after each.

A suture is a thread between the means of both edges over its bite, so its force does not depend on the mesh. It is
drawn from the length that it has when its turn comes to nothing, and those tied before stay.
"""

from collections import deque
from dataclasses import dataclass, replace

import numpy as np

from fem import solve
from fem.sew import positions
from fem.thread import Thread, Touch, length, tension

# Our choices. STIFF: N/mm of a suture, so that 1 N leaves 0.05 mm open; twice as much changes forces by less than 1 %.
# TOUCH: N/mm2 with which edges push that pass through each other; at 10 N/m they overlap by 0.01 mm.
STIFF, TOUCH = 20.0, 1.0
STEPS, MOST_STEPS = 4, 32  # in which a suture is drawn tight
SAMPLES = 32  # of the edge within a bite

# Least mean knot-pull strength of synthetic absorbable sutures by size, N: USP <881>, from memory.
KNOT_PULL = {
    "8-0": 0.69, "7-0": 1.37, "6-0": 2.45, "5-0": 6.67, "4-0": 9.32, "3-0": 17.4, "2-0": 26.3, "0": 38.2, "1": 49.8,
    "2": 62.3,
}  # fmt: skip


@dataclass(frozen=True)
class Tied:
    """A wound whose sutures were tied one by one."""

    when_tied: np.ndarray  # (n,) N, in order of tying: tension of each as soon as it was tied
    at_end: np.ndarray  # (n,) N: the same when all were tied
    gap: float  # mm, the greatest that is left between facing points of the edges
    after: tuple[np.ndarray, ...]  # (3, n_nodes) mm: positions at rest after each


def places(seams, X, *, spacing):
    """Number of the seam and fraction of its length of each suture, evenly spaced by about `spacing` mm, in order.

    Where both edges end in the same node nothing is left to sew; where they do not, there is a suture at the end.
    """
    found = []
    for number, (first, second) in enumerate(seams):
        n = max(2, round(_along(X[:, first])[-1] / spacing))
        inner = range(0 if first[0] != second[0] else 1, n + (first[-1] != second[-1]))
        found += [(number, k / n) for k in inner]
    return found


def halves(n):
    """Numbers 0 to n - 1 in the order of halving: the middle first, then the middle of each half, and so on."""
    order, parts = [], deque([(0, n)])
    while parts:
        start, end = parts.popleft()
        if start < end:
            middle = (start + end) // 2
            order.append(middle)
            parts += [(start, middle), (middle + 1, end)]
    return order


def thread(seam, X, *, at, bite):
    """Thread, not tied yet, between the means of both edges of a seam over a bite, mm, about a fraction of them."""
    parts = [_bite(edge, X[:, edge], at, bite) for edge in seam]
    nodes = np.concatenate([edge[used] for edge, (used, _) in zip(seam, parts, strict=True)])
    sizes = [len(used) for used, _ in parts]
    W = np.zeros((2, sum(sizes)))
    W[0, : sizes[0]], W[1, sizes[0] :] = parts[0][1], parts[1][1]
    return Thread(nodes=nodes, W=W, fixed=np.zeros((2, 3)), stiffness=STIFF, rest=np.inf)


def touch(seams, X):
    """What keeps the edges of all seams from passing through each other."""
    groups, weights = [], []
    for first, second in seams:
        k = np.arange(1, len(first) - 1)
        groups.append(np.stack([first[k - 1], first[k], first[k + 1], second[k - 1], second[k], second[k + 1]], axis=1))
        weights.append((_along(X[:, first])[k + 1] - _along(X[:, first])[k - 1]) / 2)
    return Touch(group=np.concatenate(groups), weights=np.concatenate(weights), stiffness=TOUCH)


def tied(problem, q, threads, seams, *, bias, tol):
    """The wound with its sutures tied in the order given, and q (3, n_free) of its positions, from the fresh wound's q.

    problem   of the unsewn sheet; its ties are a Touch and the threads, none of them tied

    Raises NotConverged as `solve.closed_wound`.
    """
    when_tied, after = [], []
    for k in range(len(threads)):
        problem, q = _drawn_tight(problem, q, k, bias=bias, tol=tol)
        settled = solve.settled(problem, q, bias=bias, tol=tol)
        x = positions(problem.sewing, settled, 1.0)
        when_tied.append(tension(problem.sheet.ties[1 + k], x))
        after.append(x)
    at_end = np.array([tension(tie, x) for tie in problem.sheet.ties[1:]])
    gap = max(np.linalg.norm(x[:, first] - x[:, second], axis=0).max() for first, second in seams)
    return Tied(np.array(when_tied), at_end, float(gap), tuple(after)), settled


def _drawn_tight(problem, q, k, *, bias, tol):
    """The problem with suture k tied and its q, in as few steps as lead there."""
    tie = problem.sheet.ties[1 + k]
    start = length(tie, positions(problem.sewing, q, 1.0))
    steps = STEPS
    while True:
        try:
            there = q
            for rest in start * np.linspace(1, 0, steps + 1)[1:]:
                ties = list(problem.sheet.ties)
                ties[1 + k] = replace(tie, rest=float(rest))
                drawn = replace(problem, sheet=replace(problem.sheet, ties=tuple(ties)))
                there = solve.on_the_way(drawn, there, bias=bias, tol=tol)
            return drawn, there
        except solve.NotConverged:
            steps *= 2
            if steps > MOST_STEPS:
                raise


def _along(X):
    """Arc length (n,) along points X (2, n) from the first, mm."""
    return np.append(0.0, np.cumsum(np.hypot(*np.diff(X, axis=1))))


def _bite(edge, X, at, bite):
    """Which nodes of an edge (2 k + 1,) at X a bite about the fraction `at` of it uses, and their weights: its mean."""
    s = _along(X)
    sample = at * s[-1] + bite * ((np.arange(SAMPLES) + 0.5) / SAMPLES - 0.5)
    sample = sample[(sample > 0) & (sample < s[-1])]
    segment = np.searchsorted(s[::2], sample, side="right") - 1
    xi = (sample - s[2 * segment]) / (s[2 * segment + 2] - s[2 * segment])
    shapes = np.array([(1 - xi) * (1 - 2 * xi), 4 * xi * (1 - xi), xi * (2 * xi - 1)])
    weights = np.zeros(len(edge))
    np.add.at(weights, 2 * segment + np.arange(3)[:, None], shapes / len(sample))
    used = np.flatnonzero(weights)
    return used, weights[used]
