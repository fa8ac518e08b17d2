"""Threads and touching edges: the energy, forces and tangent of sutures that are tied one by one.

A thread runs through stations, each the weighted mean of some nodes or a fixed point, and carries tension only:

    Pi = k/2 <l - rest>^2,    l the length of the thread through its stations,    <a> = max(a, 0)

Edges that are not sewn all along may part and not pass through each other: see `Touch`.
"""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Thread:
    """A thread through stations, W x[nodes] + fixed."""

    nodes: np.ndarray  # (m,)
    W: np.ndarray  # (n_stations, m) weights of the nodes; a row sums to 1, or is 0 for a fixed point
    fixed: np.ndarray  # (n_stations, 3) mm, 0 where there are weights
    stiffness: float  # k, N/mm
    rest: float  # mm; infinite: not tied yet

    @property
    def group(self):
        """Nodes (1, m) that the thread ties together."""
        return self.nodes[None]


@dataclass(frozen=True)
class Touch:
    """Facing points of two edges: p/2 <-gap>^2 per length, gap = n . (x of the first - x of the second)."""

    group: np.ndarray  # (n, 2) node of the first edge, and that of the second which faces it
    normals: np.ndarray  # (2, n) level unit vectors across the edges, into the skin of the first
    weights: np.ndarray  # (n,) length of edge that a point stands for, mm
    stiffness: float  # p, N/mm2


@dataclass(frozen=True)
class Tied:
    """A wound whose threads were tied one by one."""

    kinds: tuple[str, ...]  # of the threads in order of tying, n: "purse", "edges", "taper" or "anchor"
    when_tied: np.ndarray  # (n,) N, tension of each as soon as it was tied
    at_end: np.ndarray  # (n,) N, the same when all were
    after: tuple[np.ndarray, ...]  # (3, n_nodes) mm: positions at rest after each


def length(thread, x):
    """Length of a thread at positions x (3, n), mm."""
    return float(np.linalg.norm(np.diff(_stations(thread, x), axis=0), axis=1).sum())


def tension(thread, x):
    """Tension of a thread at positions x (3, n), N."""
    return thread.stiffness * max(0.0, length(thread, x) - thread.rest)


def drawn(tie, x):
    """Energy in N mm of a Thread or Touch at x (n, 3), forces (k, m, 3) and tangent (k, m, m, 3, 3) of its groups."""
    return _threaded(tie, x) if isinstance(tie, Thread) else _touching(tie, x)


def _stations(thread, x):
    return thread.W @ x[:, thread.nodes].T + thread.fixed


def _threaded(thread, x):
    """Energy, forces (1, m, 3) and tangent (1, m, m, 3, 3) of a thread.

    A segment d of length a has da = u, d2a = (1 - u u)/a, u = d/a; as a single one is drawn to nothing, k a u = k d.
    """
    step = np.diff(thread.W, axis=0)
    d = step @ x[thread.nodes] + np.diff(thread.fixed, axis=0)
    a = np.linalg.norm(d, axis=1)
    k, excess = thread.stiffness, max(0.0, a.sum() - thread.rest)
    u = np.divide(d, a[:, None], out=np.zeros_like(d), where=a[:, None] > 0)
    dl = np.einsum("sm,si->mi", step, u)
    taut = k if excess > 0 or thread.rest == 0 else 0.0
    share = np.divide(k * excess, a, out=np.full_like(a, taut), where=a > 0)
    across = share[:, None, None] * (np.eye(3) - u[:, :, None] * u[:, None])
    K = taut * np.einsum("mi,nj->mnij", dl, dl) + np.einsum("sm,sn,sij->mnij", step, step, across)
    return k / 2 * excess**2, (k * excess * dl)[None], K[None]


def _touching(touch, x):
    """Energy, forces (n, 2, 3) and tangent (n, 2, 2, 3, 3) of edges that touch."""
    n = np.vstack([touch.normals, np.zeros(len(touch.group))]).T
    sign = np.array([1.0, -1.0])
    gap = np.einsum("ni,a,nai->n", n, sign, x[touch.group])
    press = touch.stiffness * touch.weights * np.minimum(gap, 0.0)
    stiff = np.where(gap < 0, touch.stiffness * touch.weights, 0.0)
    f = np.einsum("n,a,ni->nai", press, sign, n)
    K = np.einsum("n,a,b,ni,nj->nabij", stiff, sign, sign, n, n)
    return float((press * gap).sum() / 2), f, K
