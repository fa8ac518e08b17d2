"""Interior penalty on the jumps of slope across facets, and across seams that carry moment.

    -D (n . m) theta + penalty/2 theta^2,   theta = n . beta,   beta = x,nu of one side + x,nu of the other

(1 - regularisation) of that, and `regularisation` of the same form without n:  -D m . beta + penalty/2 |beta|^2.
n is the mean unit normal of the two sides, m the mean of both sides' bending vector
(1 - nu) x,nunu + nu (x,11 + x,22).
"""

import numpy as np

from fem.mechanics.kernels import surface
from fem.mechanics.kernels.storage import Stored, scatter
from fem.mechanics.kernels.surface import ALL, VECTORS, Points, along, dot, kernel, unit, unit_normal, vectors

# VECTORS of a point: x,tau  x,nu of the first side, x,tau  x,nu of the second, m
TAU_1, NU_1, TAU_2, NU_2, MOMENT = 0, 3, 6, 9, 12  # where the components of each begin in a gradient
SIDE, SIDES = 6, 12  # components of one side's, both sides' vectors


@kernel
def interior_penalty(
    x: np.ndarray, at: Points, penalty: np.ndarray, D: float, regularisation: float, r: np.ndarray, to: Stored
) -> float:
    """Energy of the jumps; its forces and tangent are added.

    In one piece, long by its buffers, which are made once for all facets.

    B        (n_facets, n_quad, m, 5)  of x,tau  x,nu on the first side, x,tau  x,nu on the second, m;
             nu points out of a side, tau along the facet so that (tau, nu) is right-handed
    penalty  (n_facets,)               N
    """
    nodes, B, weights = at
    n_facets, n_quad, m, _ = B.shape
    K, T = np.empty((m, m, 3, 3)), np.empty((3, ALL))
    v, beta, q, p = np.empty((VECTORS, 3)), np.empty(3), np.empty(3), np.empty(3)
    n1, dn1, growth1 = np.empty(3), np.empty((3, SIDE)), np.empty(SIDE)
    n2, dn2, growth2 = np.empty(3), np.empty((3, SIDE)), np.empty(SIDE)
    n, dn, growth = np.empty(3), np.empty((3, SIDES)), np.empty(SIDES)
    dA, dtheta = np.empty(ALL), np.empty(ALL)
    g, H = np.empty(ALL), np.empty((ALL, ALL))
    Pi = 0.0
    for e in range(n_facets):
        K[:] = 0.0
        for pt in range(n_quad):
            koiter, plain = weights[e, pt] * (1 - regularisation), weights[e, pt] * regularisation
            vectors(x, nodes[e], B[e, pt], v)
            size1 = unit_normal(v[0], v[1], n1, dn1, growth1)
            size2 = unit_normal(v[2], v[3], n2, dn2, growth2)
            for i in range(3):
                n[i], beta[i] = n1[i] + n2[i], v[1, i] + v[3, i]
                for a in range(SIDE):
                    dn[i, a], dn[i, SIDE + a] = dn1[i, a], dn2[i, a]
            size = unit(n, dn, growth)
            Pi += _gradient(v[4], beta, n, dn, koiter, plain, penalty[e], D, q, dA, dtheta, g)
            surface.add_gradient(g, B[e, pt], nodes[e], r)
            if to.data.size > 0:
                H[:] = 0.0
                qn = dot(q, n)
                for i in range(3):
                    p[i] = (q[i] - qn * n[i]) / size
                surface.add_unit_hessian(q, n, dn, growth, H)
                surface.add_normal_hessian(p, n1, dn1, growth1, size1, H)
                surface.add_normal_hessian(p, n2, dn2, growth2, size2, H[TAU_2:, TAU_2:])
                _add_hessian(v[4], beta, n, dn, koiter, plain, penalty[e], D, dA, dtheta, H)
                surface.add_hessian(H, B[e, pt], K, T)
        if to.data.size > 0:
            scatter(K, nodes, e, to)
    return Pi


@kernel
def _gradient(m, beta, n, dn, koiter, plain, penalty, D, q, dA, dtheta, g):
    """Energy of a point; fills its gradient g, those of A = n . m and theta = n . beta, and q.

    dPi = e_A dA + e_theta dtheta + plain d(-D m . beta + penalty/2 |beta|^2)
    e_A = -koiter D theta,   e_theta = koiter (penalty theta - D A),   q = e_A m + e_theta beta
    dA = m . dn + n . dm,    dtheta = beta . dn + n . dbeta
    """
    A, theta = dot(n, m), dot(n, beta)
    e_A, e_theta = -koiter * D * theta, koiter * (penalty * theta - D * A)
    Pi = koiter * (0.5 * penalty * theta - D * A) * theta
    for a in range(SIDES):
        dA[a] = along(m, dn, a)
        dtheta[a] = along(beta, dn, a)
    for i in range(3):
        q[i] = e_A * m[i] + e_theta * beta[i]
        dtheta[NU_1 + i] += n[i]
        dtheta[NU_2 + i] += n[i]
        dA[MOMENT + i], dtheta[MOMENT + i] = n[i], 0.0
    for a in range(ALL):
        g[a] = e_A * dA[a] + e_theta * dtheta[a]
    for i in range(3):
        Pi += plain * (0.5 * penalty * beta[i] - D * m[i]) * beta[i]
        across = plain * (penalty * beta[i] - D * m[i])
        g[NU_1 + i] += across
        g[NU_2 + i] += across
        g[MOMENT + i] -= plain * D * beta[i]
    return Pi


@kernel
def _add_hessian(m, beta, n, dn, koiter, plain, penalty, D, dA, dtheta, H):
    """Add to H, its upper triangle, what remains beside q . d2n:

    koiter [penalty dtheta dtheta - D (dA dtheta + dtheta dA)]
    + e_A (dm . dn + dn . dm) + e_theta (dbeta . dn + dn . dbeta)
    + plain [penalty dbeta . dbeta - D (dm . dbeta + dbeta . dm)]
    """
    A, theta = dot(n, m), dot(n, beta)
    e_A, e_theta = -koiter * D * theta, koiter * (penalty * theta - D * A)
    for a in range(ALL):
        along_theta, along_A = koiter * (penalty * dtheta[a] - D * dA[a]), -koiter * D * dtheta[a]
        for b in range(a, ALL):
            H[a, b] += along_theta * dtheta[b] + along_A * dA[b]
    for i in range(3):
        for a in range(SIDES):
            H[a, MOMENT + i] += e_A * dn[i, a]
            for nu in (NU_1 + i, NU_2 + i):
                H[min(a, nu), max(a, nu)] += (2 if a == nu else 1) * e_theta * dn[i, a]
        for nu in (NU_1 + i, NU_2 + i):
            H[nu, nu] += plain * penalty
            H[nu, MOMENT + i] -= plain * D
        H[NU_1 + i, NU_2 + i] += plain * penalty
