"""Membrane: h int psi(C),   C = F^T F,   F = dx/dX made natural by B; psi and its derivatives are a skin law's."""

import numpy as np

from fem.mechanics.kernels.storage import Stored, scatter
from fem.mechanics.kernels.surface import Points, along, dot, kernel, vectors


@kernel
def cauchy_green(x: np.ndarray, at: Points) -> np.ndarray:
    """C11, C22, C12 (3, n_elements, n_quad) of the gradients B (n_elements, n_quad, m, 2)."""
    nodes, B, _ = at
    n_elements, n_quad, _, _ = B.shape
    C = np.empty((3, n_elements, n_quad))
    f = np.empty((2, 3))
    for e in range(n_elements):
        for q in range(n_quad):
            vectors(x, nodes[e], B[e, q], f)
            C[0, e, q], C[1, e, q], C[2, e, q] = dot(f[0], f[0]), dot(f[1], f[1]), dot(f[0], f[1])
    return C


@kernel
def membrane(
    x: np.ndarray, at: Points, h: float, dpsi: np.ndarray, ddpsi: np.ndarray, r: np.ndarray, to: Stored
) -> None:
    """Forces and tangent of the energy, the derivatives of psi given at every point; C as in `cauchy_green`.

        r_a = F S B_a,      K_ab = (B_a . S B_b) 1 + dC_a . w d2psi/dC2 dC_b,      S = 2 w dpsi/dC,   w = h weight

    In one piece: in parts its tangent takes a fifth longer.
    """
    nodes, B, weights = at
    n_elements, n_quad, m, _ = B.shape
    K = np.empty((m, m, 3, 3))
    f = np.empty((2, 3))
    dC, SdC = np.empty((m, 3, 3)), np.empty((m, 3, 3))  # node, component of C, direction
    for e in range(n_elements):
        K[:] = 0.0
        for q in range(n_quad):
            w = h * weights[e, q]
            vectors(x, nodes[e], B[e, q], f)
            s11, s22, s12 = 2 * w * dpsi[0, e, q], 2 * w * dpsi[1, e, q], w * dpsi[2, e, q]
            for a in range(m):
                b1, b2 = B[e, q, a, 0], B[e, q, a, 1]
                for i in range(3):
                    r[nodes[e, a], i] += f[0, i] * (s11 * b1 + s12 * b2) + f[1, i] * (s12 * b1 + s22 * b2)
            if to.data.size == 0:
                continue
            for a in range(m):
                b1, b2 = B[e, q, a, 0], B[e, q, a, 1]
                for i in range(3):
                    dC[a, 0, i], dC[a, 1, i] = 2 * f[0, i] * b1, 2 * f[1, i] * b2
                    dC[a, 2, i] = f[0, i] * b2 + f[1, i] * b1
                for k in range(3):
                    for i in range(3):
                        SdC[a, k, i] = w * along(ddpsi[k, :, e, q], dC[a], i)
            for a in range(m):
                t1 = s11 * B[e, q, a, 0] + s12 * B[e, q, a, 1]
                t2 = s12 * B[e, q, a, 0] + s22 * B[e, q, a, 1]
                for b in range(a, m):
                    g = t1 * B[e, q, b, 0] + t2 * B[e, q, b, 1]
                    for i in range(3):
                        K[a, b, i, i] += g
                        for j in range(3):
                            K[a, b, i, j] += (
                                dC[a, 0, i] * SdC[b, 0, j] + dC[a, 1, i] * SdC[b, 1, j] + dC[a, 2, i] * SdC[b, 2, j]
                            )
        if to.data.size > 0:
            scatter(K, nodes, e, to)
