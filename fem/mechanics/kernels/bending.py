"""Koiter's bending energy, a share of it with plain second derivatives.

    D/2 [(1 - nu) |k|^2 + nu (tr k)^2],   k_c = n . x,c,   c = 11, 12, 22,   n normal to x,1 and x,2

(1 - regularisation) of that, and `regularisation` of the same form of the vectors x,c themselves.
"""

import numpy as np

from fem.mechanics.kernels import surface
from fem.mechanics.kernels.storage import Stored, scatter
from fem.mechanics.kernels.surface import ALL, VECTORS, Points, along, dot, kernel, unit_normal, vectors

# VECTORS of a point: x,1  x,2  x,11  x,12  x,22
SECOND = 2  # the first of the second derivatives
TANGENTS, AT_SECOND = 6, 6  # components of x,1 and x,2; where those of x,11 begin


@kernel
def bending(
    x: np.ndarray, at: Points, D: float, poisson: float, regularisation: float, r: np.ndarray, to: Stored
) -> float:
    """Bending energy; its forces and tangent are added.  B (n_elements, n_quad, m, 5), of VECTORS as above."""
    nodes, B, weights = at
    n_elements, n_quad, m, _ = B.shape
    K, T = np.empty((m, m, 3, 3)), np.empty((3, ALL))
    v, n, dn, growth = np.empty((VECTORS, 3)), np.empty(3), np.empty((3, TANGENTS)), np.empty(TANGENTS)
    g, H = np.empty(ALL), np.empty((ALL, ALL))
    M, q = np.empty(3), np.empty(3)
    dk, dM = np.empty((3, TANGENTS)), np.empty((3, TANGENTS))
    S = D * np.array([[1.0, 0.0, poisson], [0.0, 2 * (1 - poisson), 0.0], [poisson, 0.0, 1.0]])  # of k11, k12, k22
    Pi = 0.0
    for e in range(n_elements):
        K[:] = 0.0
        for p in range(n_quad):
            koiter, plain = weights[e, p] * (1 - regularisation), weights[e, p] * regularisation
            vectors(x, nodes[e], B[e, p], v)
            size = unit_normal(v[0], v[1], n, dn, growth)
            Pi += _gradient(v, n, dn, S, koiter, plain, M, q, g)
            surface.add_gradient(g, B[e, p], nodes[e], r)
            if to.data.size > 0:
                H[:] = 0.0
                surface.add_normal_hessian(q, n, dn, growth, size, H)
                _add_hessian(v, n, dn, S, koiter, plain, M, dk, dM, H)
                surface.add_hessian(H, B[e, p], K, T)
        if to.data.size > 0:
            scatter(K, nodes, e, to)
    return Pi


@kernel
def _gradient(v, n, dn, S, koiter, plain, M, q, g):
    """Energy of a point; fills its gradient g, the moments M = koiter S k and q = M_c x,c.

    dPi = M_c dk_c + s_c . dx,c,     dk_c = x,c . dn + n . dx,c,     s_c = plain S_cd x,d
    """
    Pi = 0.0
    q[:] = 0.0
    for c in range(3):
        M[c] = 0.0
        for d in range(3):
            M[c] += koiter * S[c, d] * dot(n, v[SECOND + d])
        Pi += 0.5 * M[c] * dot(n, v[SECOND + c])
        for i in range(3):
            q[i] += M[c] * v[SECOND + c, i]
            s = plain * along(S[c], v[SECOND:], i)
            Pi += 0.5 * s * v[SECOND + c, i]
            g[AT_SECOND + 3 * c + i] = M[c] * n[i] + s
    for a in range(TANGENTS):
        g[a] = along(q, dn, a)
    return Pi


@kernel
def _add_hessian(v, n, dn, S, koiter, plain, M, dk, dM, H):
    """Add to H, its upper triangle, what remains beside q . d2n:

        dk_c koiter S_cd dk_d  +  M_c (dx,c . dn + dn . dx,c)  +  dx,c . plain S_cd dx,d

    dk, dM = koiter S dk   (3, 6), the derivatives in x,1 and x,2, are filled.
    """
    for a in range(TANGENTS):
        for c in range(3):
            dk[c, a] = along(v[SECOND + c], dn, a)
        for c in range(3):
            dM[c, a] = koiter * along(S[c], dk, a)
    for a in range(TANGENTS):
        for b in range(a, TANGENTS):
            H[a, b] += dk[0, a] * dM[0, b] + dk[1, a] * dM[1, b] + dk[2, a] * dM[2, b]
        for d in range(3):
            for j in range(3):
                H[a, AT_SECOND + 3 * d + j] = M[d] * dn[j, a] + dM[d, a] * n[j]
    for c in range(3):
        for d in range(c, 3):
            for i in range(3):
                for j in range(3):
                    H[AT_SECOND + 3 * c + i, AT_SECOND + 3 * d + j] = koiter * S[c, d] * n[i] * n[j]
                H[AT_SECOND + 3 * c + i, AT_SECOND + 3 * d + i] += plain * S[c, d]
