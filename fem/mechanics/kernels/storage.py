"""The tangent's stored entries: the upper triangle by rows, three unknowns an independent node, and how kernels add.

The rows of node f hold its own block and those of the nodes g, h, ... > f that some element couples with it:

    start[f]           slot of (f, g)    slot of (f, h)
    v                  v                 v
    ff00  ff01  ff02   fg00  fg01  fg02  fh00  fh01  fh02   ...     width[f]     entries
          ff11  ff12   fg10  fg11  fg12  fh10  fh11  fh12   ...     width[f] - 1
                ff22   fg20  fg21  fg22  fh20  fh21  fh22   ...     width[f] - 2     then node f + 1

so that row i of a block begins at   slot + i width[f] - i (i + 1)/2,   in a diagonal block i places before what it
stores.  `Pattern` names the slots by the nodes of an element, which may follow the same independent node.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import repeat
from typing import NamedTuple

import numpy as np

from fem.mechanics.kernels.surface import kernel


@dataclass(frozen=True)
class Pattern:
    """Where the tangent of the independent nodes is stored."""

    indptr: np.ndarray  # (3 n_free + 1,)
    indices: np.ndarray
    slots: tuple[np.ndarray, ...]  # (n, m, m) a group: where the 3 x 3 block of two nodes starts; -1 if not stored
    widths: np.ndarray  # (n_nodes,) length of the first of the three rows of the node that a node follows


class Stored(NamedTuple):
    """The tangent's stored entries, and where those of one group are."""

    data: np.ndarray  # stored entries, N/mm; empty if no tangent is asked for
    slots: np.ndarray  # (n, m, m) as in `Pattern`
    widths: np.ndarray  # (n_nodes,)


NO_TANGENT = repeat(Stored(np.empty(0), slots=np.zeros((0, 0, 0), int), widths=np.zeros(1, int)))


def groups(pattern: Pattern, data: np.ndarray) -> Iterator[Stored]:
    """Where each group of a pattern adds to the stored entries."""
    return (Stored(data, slots, pattern.widths) for slots in pattern.slots)


def pattern(free: np.ndarray, groups: tuple[np.ndarray, ...]) -> Pattern:
    """Pattern of the tangent.

    free     (n_nodes,) independent node that a node follows, -1 where it is held
    groups   node numbers (n, m) of all that couples nodes
    """
    n = int(free.max()) + 1
    couples = [(f[:, :, None], f[:, None, :]) for f in (free[nodes] for nodes in groups)]
    keys = [np.where((a >= 0) & (a <= b), a * n + b, -1) for a, b in couples]
    blocks = np.unique(np.concatenate([*(k[k >= 0] for k in keys), np.arange(n) * (n + 1)]))
    row, col = np.divmod(blocks, n)
    count = np.bincount(row, minlength=n)
    first, width = np.cumsum(count) - count, 3 * count
    start = 9 * first - 3 * np.arange(n)  # each diagonal block leaves out its lower three entries
    slot = start[row] + 3 * (np.arange(blocks.size) - first[row])
    lengths = np.stack([width, width - 1, width - 2], axis=1).ravel()
    return Pattern(
        indptr=np.concatenate([[0], np.cumsum(lengths)]),
        indices=_columns(slot, row, col, width, int(lengths.sum())),
        slots=tuple(np.where(k >= 0, slot[np.minimum(np.searchsorted(blocks, k), blocks.size - 1)], -1) for k in keys),
        widths=width[np.maximum(free, 0)],
    )


def _columns(slot, row, col, width, size):
    """Column of every stored entry; the block of (row, col) has its first row at `slot`."""
    indices = np.empty(size, dtype=np.int64)
    for i in range(3):
        at = slot + i * width[row] - i * (i + 1) // 2  # as in `_row`
        for j in range(3):
            stored = (row != col) | (j >= i)
            indices[at[stored] + j] = 3 * col[stored] + j
    return indices


@kernel
def _row(slot, width, i):
    """Where row i of the block at a slot begins."""
    return slot + i * width - i * (i + 1) // 2


@kernel
def scatter(K: np.ndarray, nodes: np.ndarray, e: int, to: Stored) -> None:
    """Add element e's tangent K (m, m, 3, 3), given for a <= b, to the stored entries."""
    data, slots, widths = to
    m = nodes.shape[1]
    for a in range(m):
        for b in range(a, m):
            above, below = slots[e, a, b], slots[e, b, a]
            one = above >= 0 and below >= 0  # node, or two that follow the same: the upper triangle of both
            for i in range(3):
                first = i if one else 0
                if above >= 0:
                    row = _row(above, widths[nodes[e, a]], i)
                    for j in range(first, 3):
                        data[row + j] += K[a, b, i, j]
                if below >= 0 and a != b:
                    row = _row(below, widths[nodes[e, b]], i)
                    for j in range(first, 3):
                        data[row + j] += K[a, b, j, i]


@kernel
def scatter_all(K: np.ndarray, nodes: np.ndarray, to: Stored) -> None:
    """Add the tangents K (n_elements, m, m, 3, 3) of elements, if the tangent is asked for."""
    if to.data.size > 0:
        for e in range(nodes.shape[0]):
            scatter(K[e], nodes, e, to)
