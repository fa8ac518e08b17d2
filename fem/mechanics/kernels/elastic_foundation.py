"""Elastic foundation below the skin:   1/2 (pull w^2 + shear |u_tan|^2) + (push - pull) p(-w),   w = u_3,

where p is 0 above the bed, and from there the stiffness goes over from pull to push evenly, within a depth s, so that
Newton's method meets no jump:

    p(t) = t^3/(6 s) for 0 < t < s,    t^2/2 - s t/2 + s^2/6 beyond
"""

from typing import NamedTuple

import numpy as np

from fem.mechanics.kernels.storage import Stored, scatter
from fem.mechanics.kernels.surface import Points, kernel

GRADUAL = 0.01  # mm, s; our choice: pressed skin lies deeper by half of it


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
    v, k, f = np.empty(3), np.empty(3), np.empty(3)
    Pi = 0.0
    for e in range(n_elements):
        K[:] = 0.0
        for q in range(n_quad):
            v[:] = 0.0
            for a in range(m):
                for i in range(3):
                    v[i] += N[q, a] * u[nodes[e, a], i]
            k[:2] = weights[e, q] * bed.shear[e]
            k[2] = weights[e, q] * bed.pull[e]
            for i in range(3):
                Pi += 0.5 * k[i] * v[i] ** 2
                f[i] = k[i] * v[i]
            if v[2] < 0:
                more, t = weights[e, q] * (bed.push[e] - bed.pull[e]), min(-v[2], GRADUAL)
                beyond = -v[2] - t
                Pi += more * (t**3 / (6 * GRADUAL) + beyond * (t**2 / GRADUAL + beyond) / 2)
                f[2] -= more * (t**2 / (2 * GRADUAL) + beyond)
                k[2] += more * t / GRADUAL
            for i in range(3):
                for a in range(m):
                    r[nodes[e, a], i] += f[i] * N[q, a]
            if to.data.size > 0:
                for a in range(m):
                    for b in range(a, m):
                        for i in range(3):
                            K[a, b, i, i] += k[i] * N[q, a] * N[q, b]
        if to.data.size > 0:
            scatter(K, nodes, e, to)
    return Pi
