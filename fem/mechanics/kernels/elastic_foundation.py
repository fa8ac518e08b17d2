"""Elastic foundation below the skin:   1/2 (k_n w^2 + k_s |u_tan|^2),   w = u_3."""

from typing import NamedTuple

import numpy as np

from fem.mechanics.kernels.storage import Stored, scatter
from fem.mechanics.kernels.surface import Points, kernel


class ElasticFoundation(NamedTuple):
    """Springs below the skin, by element, MPa/mm."""

    push: np.ndarray  # (n_elements,) where the skin is pressed down
    pull: np.ndarray  # (n_elements,) where it is lifted
    shear: np.ndarray  # (n_elements,) against sliding


@kernel
def elastic_foundation(
    u: np.ndarray, at: Points, N: np.ndarray, bed: ElasticFoundation, r: np.ndarray, to: Stored
) -> float:
    """Energy of springs at displacements u (n, 3), shapes N (n_quad, m); their forces and tangent are added."""
    nodes, _, weights = at
    n_elements, n_quad = weights.shape
    m = N.shape[1]
    K = np.empty((m, m, 3, 3))
    v, k = np.empty(3), np.empty(3)
    Pi = 0.0
    for e in range(n_elements):
        K[:] = 0.0
        for q in range(n_quad):
            v[:] = 0.0
            for a in range(m):
                for i in range(3):
                    v[i] += N[q, a] * u[nodes[e, a], i]
            k[:2] = weights[e, q] * bed.shear[e]
            k[2] = weights[e, q] * (bed.push[e] if v[2] < 0 else bed.pull[e])
            for i in range(3):
                Pi += 0.5 * k[i] * v[i] ** 2
                for a in range(m):
                    r[nodes[e, a], i] += k[i] * v[i] * N[q, a]
            if to.data.size > 0:
                for a in range(m):
                    for b in range(a, m):
                        for i in range(3):
                            K[a, b, i, i] += k[i] * N[q, a] * N[q, b]
        if to.data.size > 0:
            scatter(K, nodes, e, to)
    return Pi
