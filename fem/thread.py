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
    """Facing points of two edges: p/2 <-gap>^2 per length, the gap taken level, across the line between the edges."""

    group: np.ndarray  # (n, 6) nodes of the first edge before, at and after a point, then those that face them
    weights: np.ndarray  # (n,) length of edge that a point stands for, mm
    stiffness: float  # p, N/mm2


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


MEAN = np.array([-0.5, 0, 0.5, -0.5, 0, 0.5])  # of the six nodes: along the line between the edges
ACROSS = np.array([0.0, 1, 0, 0, -1, 0])  # from the second edge to the first


def _touching(touch, x):
    """Energy, forces (n, 6, 3) and tangent (n, 6, 6, 3, 3) of edges that touch.

        gap = (t1 d2 - t2 d1) / |t|,    t along the line between the edges, d from the second edge to the first

    The first edge's skin is on the left of t, so the gap is positive while the edges are apart.
    """
    nodes = x[touch.group, :2]
    t, d = np.einsum("a,nai->in", MEAN, nodes), np.einsum("a,nai->in", ACROSS, nodes)
    s, c = np.hypot(*t), t[0] * d[1] - t[1] * d[0]
    zero, one = np.zeros_like(s), np.ones_like(s)
    dc = np.array([d[1], -d[0], -t[1], t[0]])
    ddc = np.array([[zero] * 3 + [one], [zero, zero, -one, zero], [zero, -one, zero, zero], [one] + [zero] * 3])
    ds = np.array([t[0], t[1], zero, zero]) / s
    plane = np.array([[one, zero, zero, zero], [zero, one, zero, zero], [zero] * 4, [zero] * 4])
    dds = (plane - ds[:, None] * ds) / s
    gap = c / s
    dgap = (dc - gap * ds) / s
    ddgap = (ddc - gap * dds - dgap[:, None] * ds - ds[:, None] * dgap) / s
    press = touch.stiffness * touch.weights * np.minimum(gap, 0.0)
    H = np.where(gap < 0, touch.stiffness * touch.weights * dgap[:, None] * dgap + press * ddgap, 0.0)
    L = np.stack([MEAN, ACROSS])  # (2, 6): t and d of the nodes
    f, K = np.zeros((len(s), 6, 3)), np.zeros((len(s), 6, 6, 3, 3))
    f[..., :2] = np.einsum("va,vin->nai", L, (press * dgap).reshape(2, 2, -1))
    K[..., :2, :2] = np.einsum("va,wb,viwjn->nabij", L, L, H.reshape(2, 2, 2, 2, -1))
    return float((press * gap).sum() / 2), f, K
