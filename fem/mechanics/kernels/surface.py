"""What energies share: vectors v_k = sum_a B_ak x_a at a point, their normal, derivatives handed on to the nodes.

Derivatives with respect to vectors are stored one vector after the other, three components each. Compiled kernels
are kept for the next process.
"""

from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numba import njit

VECTORS = 5  # of a point, the shell's and the interior penalty's
ALL = 3 * VECTORS  # their components
FAST = {"contract", "reassoc", "nsz", "arcp"}  # leaves NaN and infinity as they are
CHANGED = max(source.stat().st_mtime for source in Path(__file__).parent.glob("*.py"))


def kernel(function: Callable) -> Callable:
    """The function, to be compiled when it is first called, or read if it is stored.

    numba looks for changes in the function's own file only: what was stored before any file here changed is dropped.
    """
    dispatcher = njit(cache=True, fastmath=FAST, error_model="numpy")(function)
    for index in _stored(dispatcher):
        if index.stat().st_mtime < CHANGED:
            index.unlink(missing_ok=True)
    return dispatcher


def compiled() -> bool:
    """Whether the kernels of these very files are stored on this machine."""
    from fem.mechanics.kernels.shell import shell

    return bool(_stored(shell))


def _stored(dispatcher):
    """The index files that numba wrote for a function."""
    function = dispatcher.py_func
    name = f"{Path(function.__code__.co_filename).stem}.{function.__name__}-*.nbi"
    return list(Path(dispatcher.stats.cache_path).glob(name))


class Points(NamedTuple):
    """Integration points of one kind: v_k = sum_a B_ak x_a at each."""

    nodes: np.ndarray  # (n, m) node numbers
    B: np.ndarray  # (n, n_quad, m, n_vectors)
    weights: np.ndarray  # (n, n_quad) mm2, or mm for edges


@kernel
def vectors(x: np.ndarray, nodes: np.ndarray, B: np.ndarray, v: np.ndarray) -> None:
    """Fill v (n_vectors, 3) with sum_a B_ak x_a."""
    m, n_vectors = B.shape
    v[:] = 0.0
    for a in range(m):
        for k in range(n_vectors):
            c = B[a, k]
            if c != 0.0:
                for i in range(3):
                    v[k, i] += c * x[nodes[a], i]


@kernel
def dot(a: np.ndarray, b: np.ndarray) -> float:
    """Scalar product of two vectors (3,)."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


@kernel
def along(q: np.ndarray, dn: np.ndarray, a: int) -> float:
    """Scalar product of q (3,) and column a of dn (3, ...)."""
    return q[0] * dn[0, a] + q[1] * dn[1, a] + q[2] * dn[2, a]


@kernel
def unit(n: np.ndarray, dn: np.ndarray, growth: np.ndarray) -> float:
    """Length |c| of a vector c, given with its derivatives in n and dn, which become those of n = c/|c|.

    dn = (1 - n n^T) dc / |c|   (3, m),      growth = n . dc / |c|   (m,)
    """
    size = np.sqrt(dot(n, n))
    for i in range(3):
        n[i] /= size
    for a in range(growth.size):
        growth[a] = along(n, dn, a) / size
        for i in range(3):
            dn[i, a] = dn[i, a] / size - n[i] * growth[a]
    return size


@kernel
def normal(v1: np.ndarray, v2: np.ndarray, n: np.ndarray) -> float:
    """Length of v1 x v2; fills n (3,), the unit vector along it."""
    for i in range(3):
        j, k = (i + 1) % 3, (i + 2) % 3
        n[i] = v1[j] * v2[k] - v1[k] * v2[j]
    size = np.sqrt(dot(n, n))
    for i in range(3):
        n[i] /= size
    return size


@kernel
def unit_normal(v1: np.ndarray, v2: np.ndarray, n: np.ndarray, dn: np.ndarray, growth: np.ndarray) -> float:
    """Length |c| of c = v1 x v2; fills n, dn (3, 6) and growth, in v1 and v2, as `unit`: dc = dv1 x v2 + v1 x dv2."""
    for i in range(3):
        j, k = (i + 1) % 3, (i + 2) % 3
        n[i] = v1[j] * v2[k] - v1[k] * v2[j]
        dn[i, i], dn[j, i], dn[k, i] = 0.0, -v2[k], v2[j]
        dn[i, 3 + i], dn[j, 3 + i], dn[k, 3 + i] = 0.0, v1[k], -v1[j]
    return unit(n, dn, growth)


@kernel
def add_unit_hessian(q: np.ndarray, n: np.ndarray, dn: np.ndarray, growth: np.ndarray, H: np.ndarray) -> None:
    """Add to the upper triangle of H the second derivatives of q . n, n = c/|c|, but for those of c itself.

        -(q.dn) growth^T - growth (q.dn)^T - (q.n) dn^T dn

    What c adds is p . d2c / |c|,   p = q - (q.n) n.
    """
    qn = dot(q, n)
    for a in range(growth.size):
        qa = along(q, dn, a)
        t0 = growth[a] * q[0] + qn * dn[0, a]
        t1 = growth[a] * q[1] + qn * dn[1, a]
        t2 = growth[a] * q[2] + qn * dn[2, a]
        for b in range(a, growth.size):
            H[a, b] -= qa * growth[b] + t0 * dn[0, b] + t1 * dn[1, b] + t2 * dn[2, b]


@kernel
def add_normal_hessian(
    q: np.ndarray, n: np.ndarray, dn: np.ndarray, growth: np.ndarray, size: float, H: np.ndarray
) -> None:
    """Add to the upper triangle of H (6, 6) the second derivatives of q . n, c = v1 x v2: p . d2c = p . (dv1 x dv2)."""
    add_unit_hessian(q, n, dn, growth, H)
    qn = dot(q, n)
    for i in range(3):
        j, k = (i + 1) % 3, (i + 2) % 3
        p = (q[i] - qn * n[i]) / size
        H[j, 3 + k] += p
        H[k, 3 + j] -= p


@kernel
def add_gradient(g: np.ndarray, B: np.ndarray, nodes: np.ndarray, r: np.ndarray) -> None:
    """Add the gradient g (3 n_vectors,) of a point to the forces:  r_a = sum_k B_ak g_k,  B (m, n_vectors)."""
    m, n_vectors = B.shape
    for a in range(m):
        for k in range(n_vectors):
            b = B[a, k]
            if b != 0.0:
                for i in range(3):
                    r[nodes[a], i] += b * g[3 * k + i]


@kernel
def add_hessian(H: np.ndarray, B: np.ndarray, K: np.ndarray, T: np.ndarray) -> None:
    """Add, H (3 n_vectors, same) of a point by its upper triangle,  K_ab = sum B_ak H_kl B_bl,  b >= a;  T is lost."""
    m, n_vectors = B.shape
    for row in range(3 * n_vectors):
        for col in range(row):
            H[row, col] = H[col, row]
    for a in range(m):
        T[:] = 0.0
        for k in range(n_vectors):
            c = B[a, k]
            if c != 0.0:
                for i in range(3):
                    for col in range(3 * n_vectors):
                        T[i, col] += c * H[3 * k + i, col]
        for b in range(a, m):
            for k in range(n_vectors):
                c = B[b, k]
                if c != 0.0:
                    for i in range(3):
                        for j in range(3):
                            K[a, b, i, j] += c * T[i, 3 * k + j]
