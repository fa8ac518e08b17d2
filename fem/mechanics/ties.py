"""Sutures tied one by one, and edges that touch: their energy, forces and tangent; <a> = max(a, 0)."""

from dataclasses import dataclass, replace

import numpy as np


@dataclass(frozen=True)
class Thread:
    """A thread through stations, W x[nodes] + fixed, of length l, in tension only: Pi = k/2 <l - rest>^2."""

    nodes: np.ndarray  # (m,)
    W: np.ndarray  # (n_stations, m) weights of the nodes; a row sums to 1, or is 0 for a fixed point
    fixed: np.ndarray  # (n_stations, 3) mm, 0 where there are weights
    stiffness: float  # k, N/mm
    wanted: float  # mm, to which it is drawn when its turn comes
    rest: float = np.inf  # mm; infinite: not tied yet
    kind: str = ""  # "purse", "taper" or "anchor"


@dataclass(frozen=True)
class PenaltyTie:
    """Two edges held together over a bite, with what the skin pulls there, whatever the mesh.

    Pi = k/2 mean of |W x[nodes]|^2 when it is tied
    """

    nodes: np.ndarray  # (m,)
    W: np.ndarray  # (n_samples, m) weights of the first edge's nodes, less those of the second's; a row sums to 0
    stiffness: float  # k, N/mm
    tied: bool = False
    kind: str = "edges"


@dataclass(frozen=True)
class Contact:
    """Facing points of two edges: p/2 <-gap>^2 per length, gap = n . (x of the first - x of the second)."""

    nodes: np.ndarray  # (n, 2) node of the first edge, and that of the second which faces it
    normals: np.ndarray  # (3, n) unit vectors along the body across the edges, into the skin of the first
    weights: np.ndarray  # (n,) length of edge that a point stands for, mm
    stiffness: float  # p, N/mm2


@dataclass(frozen=True)
class TiedSutures:
    """A wound whose threads were tied one by one."""

    kinds: tuple[str, ...]  # of the threads in order of tying, n: "purse", "edges", "taper" or "anchor"
    when_tied: np.ndarray  # (n,) N, tension of each as soon as it was tied
    at_end: np.ndarray  # (n,) N, the same when all were
    after: tuple[np.ndarray, ...]  # (3, n_nodes) mm: positions at rest after each


def length(thread: Thread, x: np.ndarray) -> float:
    """Length of a thread at positions x (3, n), mm."""
    stations = thread.W @ x[:, thread.nodes].T + thread.fixed
    return float(np.linalg.norm(np.diff(stations, axis=0), axis=1).sum())


def tension(tie: Thread | PenaltyTie, x: np.ndarray) -> float:
    """Force of a Thread or PenaltyTie at positions x (3, n), N: its tension, or the sum of all that it holds."""
    if isinstance(tie, Thread):
        return tie.stiffness * max(0.0, length(tie, x) - tie.rest)
    return tie.stiffness * tie.tied * float(np.linalg.norm((tie.W @ x.T[tie.nodes]).mean(axis=0)))


def shortened(thread: Thread, x: np.ndarray, fraction: float) -> Thread:
    """A thread drawn by a fraction of the way from its length at x (3, n) to what is wanted of it."""
    start = max(thread.wanted, length(thread, x))
    return replace(thread, rest=start + fraction * (thread.wanted - start))


def assembled(tie: Thread | PenaltyTie | Contact, x: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
    """Energy in N mm of a tie at x (n, 3), forces (k, m, 3) and tangent (k, m, m, 3, 3) of its groups."""
    return {Thread: _threaded, PenaltyTie: _penalised, Contact: _in_contact}[type(tie)](tie, x)


def _threaded(thread, x):
    """A segment d of length a has da = u, d2a = (1 - u u)/a, u = d/a; a single one drawn to nothing, k a u = k d."""
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


def _penalised(tie, x):
    m = len(tie.nodes)
    if not tie.tied:
        return 0.0, np.zeros((1, m, 3)), np.zeros((1, m, m, 3, 3))
    k, gap = tie.stiffness / len(tie.W), tie.W @ x[tie.nodes]
    K = np.einsum("mn,ij->mnij", k * tie.W.T @ tie.W, np.eye(3))
    return float((k * gap * gap).sum() / 2), (tie.W.T @ (k * gap))[None], K[None]


def _in_contact(contact, x):
    n = contact.normals.T
    sign, p = np.array([1.0, -1.0]), contact.stiffness * contact.weights
    gap = np.einsum("ni,a,nai->n", n, sign, x[contact.nodes])
    press, stiff = p * np.minimum(gap, 0.0), np.where(gap < 0, p, 0.0)
    f = np.einsum("n,a,ni->nai", press, sign, n)
    K = np.einsum("n,a,b,ni,nj->nabij", stiff, sign, sign, n, n)
    return float((press * gap).sum() / 2), f, K
