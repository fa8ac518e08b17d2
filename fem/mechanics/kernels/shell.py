"""The skin as a shell: h times the mean over the thickness of psi(E), at the middles of all edges, on both sides.

    E = C - 2 z (k - k0),     C_c = x,a . x,b,     k_c = n . x,ab - reach nu_c theta,     c = 11, 22, 12

x,a and x,ab are natural: derivatives along and across the lines in skin that carries no tension; n is normal to x,1 and
x,2; z is the height above the middle of the skin in place. The jump of slope across the edge,

    theta = (n_1 + n_2)/|n_1 + n_2| . (x,nu of one side + x,nu of the other),

is curvature in its own right: nu_c are the components of nu nu. 2 penalty tan^2(fold/2), of the angle between n_1 and
n_2, keeps it small and grows without limit as the edge folds over; on the way `plain`/2 x,ab . x,ab is added.
k0 is k of uncut skin, on the body. Quadratic triangles of a body have slight folds too, so  -turned theta  is added, by
which the energy of the penalty is least where theta is that of uncut skin.
Orders and sources: README of mechanics.
"""

from typing import NamedTuple

import numpy as np

from fem.mechanics.kernels import surface
from fem.mechanics.kernels.storage import Stored, scatter
from fem.mechanics.kernels.surface import along, dot, kernel, normal, unit, unit_normal, vectors

# Vectors of an edge: x,1  x,2 of the first side, x,1  x,2 of the second, then x,11  x,22  x,12 of each
TANGENTS, SECOND, ALL = 12, 9, 30  # components of both sides' x,1 x,2; of one side's second derivatives; of all
SIDE = 6  # components of one side's x,1 x,2;  C and k of one side together
BENT = 3  # where k begins


class Sides(NamedTuple):
    """The two sides of edges; of a free one, the second counts nothing."""

    area: np.ndarray  # (n, 2) mm2, that the middle of the edge stands for
    nu: np.ndarray  # (n, 2, 2) x,nu = nu_1 x,1 + nu_2 x,2, nu out of the side
    bent: np.ndarray  # (n, 2, 3) 1/mm, reach nu_c
    penalty: np.ndarray  # (n,) N mm, per squared angle, halved
    k0: np.ndarray  # (n, 2, 3) 1/mm, of uncut skin; 0 if it is flat
    turned: np.ndarray  # (n,) N mm


@kernel
def bends(x: np.ndarray, nodes: np.ndarray, B: np.ndarray, sides: Sides) -> tuple[np.ndarray, np.ndarray]:
    """k (n, 2, 3) of n edges, 1/mm, and theta (n,); the rest as in `layers`."""
    k, theta = np.empty((nodes.shape[0], 2, 3)), np.empty(nodes.shape[0])
    v, n, beta = np.empty((10, 3)), np.empty((2, 3)), np.empty(3)
    for e in range(nodes.shape[0]):
        vectors(x, nodes[e], B[e], v)
        theta[e] = _bent(v, n, beta, sides.nu[e], sides.bent[e], k[e])
    return k, theta


@kernel
def _bent(v, n, beta, nu, bent, k):
    """theta of an edge; fills both normals n, beta as `_jump`, and k (2, 3)."""
    normal(v[0], v[1], n[0])
    normal(v[2], v[3], n[1])
    theta = _jump(v, n, nu, beta)
    for side in range(2):
        for c in range(3):
            k[side, c] = dot(n[side], v[4 + 3 * side + c]) - bent[side, c] * theta
    return theta


@kernel
def layers(x: np.ndarray, nodes: np.ndarray, B: np.ndarray, sides: Sides, z: np.ndarray) -> np.ndarray:
    """E (3, n, 2, n_z) of n edges at heights z (n_z,).

    nodes, B  (n, m), (n, m, 10) of the vectors as above
    """
    n_edges = nodes.shape[0]
    E = np.empty((3, n_edges, 2, z.size))
    v, n, beta, k = np.empty((10, 3)), np.empty((2, 3)), np.empty(3), np.empty((2, 3))
    for e in range(n_edges):
        vectors(x, nodes[e], B[e], v)
        _bent(v, n, beta, sides.nu[e], sides.bent[e], k)
        for side in range(2):
            t = v[2 * side : 2 * side + 2]
            for c in range(3):
                C = dot(t[1], t[1]) if c == 1 else dot(t[0], t[c // 2])
                for i in range(z.size):
                    E[c, e, side, i] = C - 2 * z[i] * (k[side, c] - sides.k0[e, side, c])
    return E


@kernel
def _jump(v, n, nu, beta):
    """theta of an edge; fills beta = x,nu of one side + x,nu of the other."""
    theta = size = 0.0
    for i in range(3):
        beta[i] = nu[0, 0] * v[0, i] + nu[0, 1] * v[1, i] + nu[1, 0] * v[2, i] + nu[1, 1] * v[3, i]
        both = n[0, i] + n[1, i]
        theta += both * beta[i]
        size += both * both
    return theta / np.sqrt(size)


@kernel
def shell(
    x: np.ndarray, nodes: np.ndarray, B: np.ndarray, sides: Sides, h: float, z: np.ndarray,
    dpsi: np.ndarray, ddpsi: np.ndarray, plain: np.ndarray, r: np.ndarray, to: Stored,
) -> float:  # fmt: skip
    """Forces and tangent are added.  Returns the energy of `plain` (3, 3), N mm.  Others as in `layers`, the law there.

    In one piece, long by its buffers, which are made once for all edges.
    """
    n_edges, m = nodes.shape
    K, T = np.empty((m, m, 3, 3)), np.empty((3, ALL))
    v, beta, q, p = np.empty((10, 3)), np.empty(3), np.empty((2, 3)), np.empty(3)
    n, dn, growth, sizes = np.empty((2, 3)), np.empty((2, 3, SIDE)), np.empty((2, SIDE)), np.empty(2)
    mean, dmean, growth_mean = np.empty(3), np.empty((3, TANGENTS)), np.empty(TANGENTS)
    dtheta, dc, g, H = np.empty(TANGENTS), np.empty(TANGENTS), np.empty(ALL), np.empty((ALL, ALL))
    W, A, Z, V = np.empty(SIDE), np.empty((SIDE, SIDE)), np.empty((SIDE, ALL)), np.empty((SIDE, ALL))
    Pi = 0.0
    for e in range(n_edges):
        K[:], H[:], g[:] = 0.0, 0.0, 0.0
        vectors(x, nodes[e], B[e], v)
        for side in range(2):
            sizes[side] = unit_normal(v[2 * side], v[2 * side + 1], n[side], dn[side], growth[side])
        theta = _jump(v, n, sides.nu[e], beta)
        for i in range(3):
            mean[i] = n[0, i] + n[1, i]
            for a in range(SIDE):
                dmean[i, a], dmean[i, SIDE + a] = dn[0, i, a], dn[1, i, a]
        size = unit(mean, dmean, growth_mean)
        for a in range(TANGENTS):
            dtheta[a] = along(beta, dmean, a)
        for a in range(4):
            for i in range(3):
                dtheta[3 * a + i] += sides.nu[e, a // 2, a % 2] * mean[i]
        for i in range(3):
            p[i] = n[1, i] - n[0, i]
        e_theta, c = -sides.turned[e], 1 - dot(p, p) / 2  # n_1 . n_2
        Pi += sides.penalty[e] * dot(p, p) / (1 + c) + e_theta * theta
        e_c = -4 * sides.penalty[e] / (1 + c) ** 2
        _add_penalty(p, dn, e_c, -2 * e_c / (1 + c), dc, g, H)
        for a in range(TANGENTS):
            g[a] += e_theta * dtheta[a]
        for side in range(2):
            area = sides.area[e, side]
            if area == 0.0:
                q[side] = 0.0
                continue
            t, second, bent = v[2 * side : 2 * side + 2], v[4 + 3 * side : 7 + 3 * side], sides.bent[e, side]
            _response(h * area / z.size, z, dpsi[:, e, side], ddpsi[:, :, e, side], W, A)
            M = W[BENT:]
            e_theta -= dot(M, bent)
            for i in range(3):
                q[side, i] = along(M, second, i)
            _strains(side, t, second, n[side], dn[side], dtheta, bent, Z)
            Pi += _add_gradient(side, second, W, Z, area, plain, g)
            if to.data.size > 0:
                _add_hessian(side, n[side], dn[side], W, A, Z, area, plain, V, H)
        surface.add_gradient(g, B[e], nodes[e], r)
        if to.data.size > 0:
            for i in range(3):
                p[i] = e_theta * (beta[i] - theta * mean[i]) / size
            for side in range(2):
                for i in range(3):
                    q[side, i] += p[i] + e_c * n[1 - side, i]
                there = H[SIDE * side :, SIDE * side :]
                surface.add_normal_hessian(q[side], n[side], dn[side], growth[side], sizes[side], there)
            for i in range(3):
                p[i] = e_theta * beta[i]
            surface.add_unit_hessian(p, mean, dmean, growth_mean, H)
            _add_turning(dmean, sides.nu[e], e_theta, H)
            surface.add_hessian(H, B[e], K, T)
            scatter(K, nodes, e, to)
    return Pi


@kernel
def _add_penalty(p, dn, e_c, e_cc, dc, g, H):
    """Add to g and to H, its upper triangle, what a function of c = n_1 . n_2 with derivatives e_c, e_cc adds there.

    But for what the second derivatives of normals add.  p = n_2 - n_1, without round-off where both are one, as
    n . dn = 0;  dc (12,) is filled.
    """
    for a in range(SIDE):
        dc[a], dc[SIDE + a] = along(p, dn[0], a), -along(p, dn[1], a)
    for a in range(TANGENTS):
        g[a] += e_c * dc[a]
        for b in range(a, TANGENTS):
            H[a, b] += e_cc * dc[a] * dc[b]
    for a in range(SIDE):
        for b in range(SIDE):
            both = dn[0, 0, a] * dn[1, 0, b] + dn[0, 1, a] * dn[1, 1, b] + dn[0, 2, a] * dn[1, 2, b]
            H[a, SIDE + b] += e_c * both


@kernel
def _response(w, z, dpsi, ddpsi, W, A):
    """Fill first and second derivatives W (6,), A (6, 6) in C and k of  w sum psi(C - 2 z k)."""
    W[:], A[:] = 0.0, 0.0
    for i in range(z.size):
        s = -2 * z[i]
        for c in range(3):
            W[c] += w * dpsi[c, i]
            W[BENT + c] += w * s * dpsi[c, i]
            for d in range(3):
                Q = w * ddpsi[c, d, i]
                A[c, d] += Q
                A[BENT + c, d] += s * Q
                A[c, BENT + d] += s * Q
                A[BENT + c, BENT + d] += s**2 * Q


@kernel
def _strains(side, t, second, n, dn, dtheta, bent, Z):
    """Fill Z (6, 30), the derivatives of one side's C and k:  dk_c = x,c . dn + n . dx,c - reach nu_c dtheta."""
    Z[:] = 0.0
    first, last = SIDE * side, TANGENTS + SECOND * side
    for i in range(3):
        Z[0, first + i], Z[1, first + 3 + i] = 2 * t[0, i], 2 * t[1, i]
        Z[2, first + i], Z[2, first + 3 + i] = t[1, i], t[0, i]
    for c in range(3):
        for a in range(TANGENTS):
            Z[BENT + c, a] = -bent[c] * dtheta[a]
        for a in range(SIDE):
            Z[BENT + c, first + a] += along(second[c], dn, a)
        for i in range(3):
            Z[BENT + c, last + 3 * c + i] = n[i]


@kernel
def _add_gradient(side, second, W, Z, area, plain, g):
    """Add one side's gradient to g (30,); the energy of `plain`."""
    for a in range(ALL):
        for c in range(SIDE):
            g[a] += W[c] * Z[c, a]
    Pi = 0.0
    for c in range(3):
        for i in range(3):
            s = area * along(plain[c], second, i)
            Pi += 0.5 * s * second[c, i]
            g[TANGENTS + SECOND * side + 3 * c + i] += s
    return Pi


@kernel
def _add_hessian(side, n, dn, W, A, Z, area, plain, V, H):
    """Add to H, its upper triangle, one side's

        Z . A Z  +  W_C d2C  +  W_k (dx,c . dn + dn . dx,c)  +  plain dx,c . dx,d

    V = A Z   (6, 30) is filled.
    """
    first, last = SIDE * side, TANGENTS + SECOND * side
    for r in range(SIDE):
        for a in range(ALL):
            V[r, a] = 0.0
        for a in range(TANGENTS):
            for c in range(SIDE):
                V[r, a] += A[r, c] * Z[c, a]
        for c in range(3):
            for i in range(3):
                V[r, last + 3 * c + i] = A[r, BENT + c] * n[i]
    for a in range(TANGENTS):
        for r in range(SIDE):
            if Z[r, a] != 0.0:
                for b in range(a, TANGENTS):
                    H[a, b] += Z[r, a] * V[r, b]
                for b in range(last, last + SECOND):
                    H[a, b] += Z[r, a] * V[r, b]
    for i in range(3):
        H[first + i, first + i] += 2 * W[0]
        H[first + 3 + i, first + 3 + i] += 2 * W[1]
        H[first + i, first + 3 + i] += W[2]
    for c in range(3):
        for i in range(3):
            a = last + 3 * c + i
            for b in range(a, last + SECOND):
                H[a, b] += n[i] * V[BENT + c, b]
            for b in range(SIDE):
                H[first + b, a] += W[BENT + c] * dn[i, b]
            for d in range(c, 3):
                H[a, last + 3 * d + i] += area * plain[c, d]


@kernel
def _add_turning(dmean, nu, e_theta, H):
    """Add to H, its upper triangle, e_theta (dbeta . dn + dn . dbeta) of theta, n the mean normal."""
    for k in range(4):
        c = e_theta * nu[k // 2, k % 2]
        for i in range(3):
            b = 3 * k + i
            for a in range(TANGENTS):
                H[min(a, b), max(a, b)] += (2 if a == b else 1) * c * dmean[i, a]
