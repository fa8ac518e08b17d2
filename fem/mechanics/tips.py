"""Tips and scars of a sewn wound: nodes at its ends, the way between them, both edges of each scar."""

from typing import TYPE_CHECKING, Protocol

import numpy as np

if TYPE_CHECKING:
    from fem.mechanics.mesh import Mesh


class Meshed(Protocol):
    """What has a mesh, as a closure."""

    @property
    def mesh(self) -> "Mesh":
        """The mesh of the wound."""


def scars(closure: Meshed) -> list[np.ndarray]:
    """Nodes (2, 2 k + 1) along both edges of each scar: the seams, in one where one carries on from the one before."""
    joined = list(closure.mesh.seams[:1])
    for seam in closure.mesh.seams[1:]:
        end = joined[-1][:, -1]
        if (end == seam[:, 0]).all() and end[0] != end[1]:
            joined[-1] = np.hstack([joined[-1], seam[:, 1:]])
        else:
            joined.append(seam)
    return joined


def tips(closure: Meshed) -> np.ndarray:
    """Nodes at the tips, where both edges of a seam end in the same node; from left to right, then from below."""
    ends = np.hstack([np.zeros((2, 0), int), *(seam[:, [0, -1]] for seam in closure.mesh.seams)])
    nodes = np.unique(ends[0, ends[0] == ends[1]])
    x, y = closure.mesh.X[:, nodes].round(6)
    return nodes[np.lexsort((y, x))]


def sides(closure: Meshed) -> tuple[np.ndarray, np.ndarray]:
    """Tips at the left and at the right end of the wound: of the two farthest apart, each belongs to the nearer.

    Both are empty where the plan has fewer than two tips.
    """
    nodes = tips(closure)
    if nodes.size < 2:
        return nodes[:0], nodes[:0]
    X = closure.mesh.X[:, nodes]
    distance = np.hypot(*(X[:, :, None] - X[:, None]))
    one, other = np.unravel_index(distance.argmax(), distance.shape)
    left = distance[one] <= distance[other]
    left = left if left[0] else ~left
    return nodes[left], nodes[~left]


def axis(closure: Meshed, x: np.ndarray) -> np.ndarray | None:
    """The way (2,) or (3,) from the left to the right end of the wound with nodes at x; of several tips, the middle.

    None where the plan has fewer than two tips.
    """
    left, right = sides(closure)
    return x[:, right].mean(axis=1) - x[:, left].mean(axis=1) if left.size else None


def outward(closure: Meshed, x: np.ndarray) -> np.ndarray:
    """Unit vectors (2, n) with nodes at x, seen from above, outward at each of the tips, along the axis of the wound.

    A single tip faces away from the middle of the wound's edge.
    """
    nodes, along = tips(closure), axis(closure, x[:2])
    if along is None:
        away = x[:2, nodes] - x[:2, closure.mesh.edge].mean(axis=1)[:, None]
        return away / np.linalg.norm(away, axis=0)
    side = np.where(np.isin(nodes, sides(closure)[0]), -1.0, 1.0)
    return side * along[:, None] / np.linalg.norm(along)
