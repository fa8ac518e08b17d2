"""Elastic foundation below the skin:   1/2 (k_n w^2 + k_s |u_tan|^2),   u = x - X,   w = u_3."""

import numpy as np

from fem.mechanics.kernels.compiling import kernel
from fem.mechanics.kernels.storage import scatter


@kernel
def elastic_foundation(
    x: np.ndarray,
    X: np.ndarray,
    nodes: np.ndarray,
    N: np.ndarray,
    weights: np.ndarray,
    push: np.ndarray,
    pull: np.ndarray,
    shear: np.ndarray,
    r: np.ndarray,
    data: np.ndarray,
    slots: np.ndarray,
    widths: np.ndarray,
) -> float:
    """Energy of springs; their forces and tangent are added.

    Long by its arguments; what is left is one loop.

    N                 (n_quad, m)     shape functions
    push, pull, shear (n_elements,)   MPa/mm, where w < 0, where w > 0, against sliding
    """
    n_elements, n_quad = weights.shape
    m = N.shape[1]
    K = np.empty((m, m, 3, 3))
    u, k = np.empty(3), np.empty(3)
    Pi = 0.0
    for e in range(n_elements):
        K[:] = 0.0
        for q in range(n_quad):
            u[:] = 0.0
            for a in range(m):
                node = nodes[e, a]
                u[0] += N[q, a] * (x[node, 0] - X[node, 0])
                u[1] += N[q, a] * (x[node, 1] - X[node, 1])
                u[2] += N[q, a] * x[node, 2]
            k[:2] = weights[e, q] * shear[e]
            k[2] = weights[e, q] * (push[e] if u[2] < 0 else pull[e])
            for i in range(3):
                Pi += 0.5 * k[i] * u[i] ** 2
                for a in range(m):
                    r[nodes[e, a], i] += k[i] * u[i] * N[q, a]
            if data.size > 0:
                for a in range(m):
                    for b in range(a, m):
                        for i in range(3):
                            K[a, b, i, i] += k[i] * N[q, a] * N[q, b]
        if data.size > 0:
            scatter(data, K, nodes[e], slots[e], widths)
    return Pi
