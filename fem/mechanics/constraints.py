"""Constraints: positions of all nodes from those of the independent ones.

    x = q[free] + offset + (1 - closed) gap

A node that is sewn follows its partner; the gap between them is that of the gaping wound and closes with `closed`.
"""

from dataclasses import dataclass

import numpy as np

from fem.plan.junctions import groups


@dataclass(frozen=True)
class Constraints:
    """Who follows whom."""

    free: np.ndarray  # (n,) independent node that a node follows, -1 where it is held
    offset: np.ndarray  # (3, n) mm, from the independent node; of a held node its position
    gap: np.ndarray  # (3, n) mm

    @property
    def n_free(self) -> int:
        """Number of independent nodes."""
        return int(self.free.max()) + 1


def constraints(x: np.ndarray, pairs: np.ndarray, held: np.ndarray) -> Constraints:
    """Constraints on nodes at x (3, n): pairs (2, k) are sewn, `held` nodes stay; gaps are those of x."""
    n = x.shape[1]
    group = groups(n, pairs)
    order = np.concatenate([held, np.arange(n)])  # a held node leads its group, else the first one
    leaders = order[np.unique(group[order], return_index=True)[1]]
    leader = leaders[group]
    is_held = np.isin(leaders, held)[group]
    free = np.full(n, -1)
    free[~is_held] = np.unique(leader[~is_held], return_inverse=True)[1]
    offset = np.where(is_held, x[:, leader], 0.0)
    return Constraints(free=free, offset=offset, gap=x - x[:, leader])


def positions(constraints: Constraints, q: np.ndarray, closed: float) -> np.ndarray:
    """Positions (3, n) of all nodes from q (3, n_free) of the independent ones."""
    moving = np.where(constraints.free >= 0, q[:, constraints.free], 0.0)
    return moving + constraints.offset + (1 - closed) * constraints.gap


def independent(constraints: Constraints, x: np.ndarray, closed: float) -> np.ndarray:
    """q (3, n_free) from positions x (3, n): the inverse of `positions`, or the mean of nodes that do not yet meet."""
    followers = np.bincount(constraints.free[constraints.free >= 0], minlength=constraints.n_free)
    return reduced(constraints, x - constraints.offset - (1 - closed) * constraints.gap) / followers


def reduced(constraints: Constraints, r: np.ndarray) -> np.ndarray:
    """Forces (3, n_free) on the independent nodes from those on all nodes (3, n)."""
    moves = constraints.free >= 0
    return np.stack([np.bincount(constraints.free[moves], c[moves], minlength=constraints.n_free) for c in r])
