"""Energy, nodal forces and tangent of the sheet's parts, element by element, straight into a fixed sparse pattern.

Every part's energy density is a function of a few vectors that are linear in the nodes, v_k = sum_a B_ak x_a.
Its gradient and Hessian are worked out there and pushed to the nodes.  Inside a kernel the element comes first:
nodes (n_elements, m), B (n_elements, n_quad, m, n_vectors), weights (n_elements, n_quad); positions are (n, 3).

Kernels add to `r` (n, 3), the nodal forces, and to `data`, the stored entries of the upper triangle of the
independent nodes' tangent (see `constraints.Pattern`); an empty `data` leaves the tangent out.  They return the energy.
"""

from pathlib import Path

import numpy as np
from numba import njit

FAST = {"contract", "reassoc", "nsz", "arcp"}  # leaves NaN and infinity as they are
PARTS = 5  # vectors of a bending point: x,1  x,2  x,11  x,12  x,22; of a kink: x,tau x,nu of either side, mean bending


def compiled():
    """Whether the compiled kernels of this very file are stored on this machine."""
    source = Path(__file__).stat().st_mtime
    stored = Path(membrane.stats.cache_path).glob("kernels.*.nbi")
    return any(index.stat().st_mtime > source for index in stored)


@njit(cache=True, fastmath=FAST, error_model="numpy")
def _scatter(data, K, nodes, slots, widths):
    """Add the local tangent K (m, m, 3, 3), given for a <= b, to the stored upper triangle."""
    m = nodes.size
    for a in range(m):
        for b in range(a, m):
            above, below = slots[a, b], slots[b, a]
            if a == b:
                if above >= 0:
                    for i in range(3):
                        row = above + i * widths[nodes[a]] - i * (i + 1) // 2
                        for j in range(i, 3):
                            data[row + j] += K[a, a, i, j]
            elif above >= 0 and below >= 0:  # two sewn nodes of one element: one independent node
                for i in range(3):
                    row = above + i * widths[nodes[a]] - i * (i + 1) // 2
                    for j in range(i, 3):
                        data[row + j] += K[a, b, i, j] + K[a, b, j, i]
            elif above >= 0:
                for i in range(3):
                    row = above + i * widths[nodes[a]] - i * (i + 1) // 2
                    for j in range(3):
                        data[row + j] += K[a, b, i, j]
            elif below >= 0:
                for i in range(3):
                    row = below + i * widths[nodes[b]] - i * (i + 1) // 2
                    for j in range(3):
                        data[row + j] += K[a, b, j, i]


@njit(cache=True, fastmath=FAST, error_model="numpy")
def scatter_all(data, K, nodes, slots, widths):
    """Add the tangents K (n_elements, m, m, 3, 3) of elements to `data`."""
    for e in range(nodes.shape[0]):
        _scatter(data, K[e], nodes[e], slots[e], widths)


@njit(cache=True, fastmath=FAST, error_model="numpy")
def cauchy_green(x, nodes, B):
    """C11, C22, C12 (3, n_elements, n_quad) of the gradients B (n_elements, n_quad, m, 2)."""
    n_elements, n_quad, m, _ = B.shape
    C = np.empty((3, n_elements, n_quad))
    for e in range(n_elements):
        for q in range(n_quad):
            c11 = c22 = c12 = 0.0
            for i in range(3):
                f1 = f2 = 0.0
                for a in range(m):
                    f1 += x[nodes[e, a], i] * B[e, q, a, 0]
                    f2 += x[nodes[e, a], i] * B[e, q, a, 1]
                c11 += f1 * f1
                c22 += f2 * f2
                c12 += f1 * f2
            C[0, e, q], C[1, e, q], C[2, e, q] = c11, c22, c12
    return C


@njit(cache=True, fastmath=FAST, error_model="numpy")
def membrane(x, nodes, B, weights, dpsi, ddpsi, r, data, slots, widths):
    """Forces and tangent of the energy sum w psi(C), its derivatives given at every point; C as in `cauchy_green`."""
    n_elements, n_quad, m, _ = B.shape
    K = np.empty((m, m, 3, 3))
    F = np.empty((3, 2))
    dC = np.empty((m, 3, 3))  # node, component of C, direction
    SdC = np.empty((m, 3, 3))
    for e in range(n_elements):
        K[:] = 0.0
        for q in range(n_quad):
            w = weights[e, q]
            for i in range(3):
                F[i, 0] = F[i, 1] = 0.0
                for a in range(m):
                    F[i, 0] += x[nodes[e, a], i] * B[e, q, a, 0]
                    F[i, 1] += x[nodes[e, a], i] * B[e, q, a, 1]
            s11, s22, s12 = 2 * w * dpsi[0, e, q], 2 * w * dpsi[1, e, q], w * dpsi[2, e, q]
            for a in range(m):
                b1, b2 = B[e, q, a, 0], B[e, q, a, 1]
                for i in range(3):
                    r[nodes[e, a], i] += F[i, 0] * (s11 * b1 + s12 * b2) + F[i, 1] * (s12 * b1 + s22 * b2)
            if data.size == 0:
                continue
            for a in range(m):
                b1, b2 = B[e, q, a, 0], B[e, q, a, 1]
                for i in range(3):
                    dC[a, 0, i] = 2 * F[i, 0] * b1
                    dC[a, 1, i] = 2 * F[i, 1] * b2
                    dC[a, 2, i] = F[i, 0] * b2 + F[i, 1] * b1
                for k in range(3):
                    for i in range(3):
                        SdC[a, k, i] = w * (
                            ddpsi[k, 0, e, q] * dC[a, 0, i]
                            + ddpsi[k, 1, e, q] * dC[a, 1, i]
                            + ddpsi[k, 2, e, q] * dC[a, 2, i]
                        )
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
        if data.size > 0:
            _scatter(data, K, nodes[e], slots[e], widths)


@njit(cache=True, fastmath=FAST, error_model="numpy")
def _unit_normal(v1, v2, n, dn):
    """Fill n = c/|c|, c = v1 x v2, and dn (3, 6) = dn/d(v1, v2); returns |c|."""
    c0 = v1[1] * v2[2] - v1[2] * v2[1]
    c1 = v1[2] * v2[0] - v1[0] * v2[2]
    c2 = v1[0] * v2[1] - v1[1] * v2[0]
    size = np.sqrt(c0 * c0 + c1 * c1 + c2 * c2)
    n[0], n[1], n[2] = c0 / size, c1 / size, c2 / size
    for i in range(3):  # e_i x v2 and v1 x e_i, made tangential
        j, k = (i + 1) % 3, (i + 2) % 3
        # dc/dv1_i = e_i x v2: components j: -v2_k, k: v2_j;  dc/dv2_i = v1 x e_i: j: v1_k, k: -v1_j
        along1 = -n[j] * v2[k] + n[k] * v2[j]
        along2 = n[j] * v1[k] - n[k] * v1[j]
        dn[i, i] = -along1 * n[i] / size
        dn[j, i] = (-v2[k] - along1 * n[j]) / size
        dn[k, i] = (v2[j] - along1 * n[k]) / size
        dn[i, 3 + i] = -along2 * n[i] / size
        dn[j, 3 + i] = (v1[k] - along2 * n[j]) / size
        dn[k, 3 + i] = (-v1[j] - along2 * n[k]) / size
    return size


@njit(cache=True, fastmath=FAST, error_model="numpy")
def _normal_hessian(q, v1, v2, n, dn, size, H, pdn, grow):
    """Add to H (6, 6) the second derivatives of q . n with respect to (v1, v2).

    With c = v1 x v2, p = q - (q.n) n:   q . n  has gradient p/|c| in c and Hessian
        -(p n^T + n p^T + (q.n)(1 - n n^T)) / |c|^2,
    and dn = (1 - n n^T) dc / |c|;  the last term comes from the bilinear c itself.
    """
    qn = q[0] * n[0] + q[1] * n[1] + q[2] * n[2]
    # n . dc / |c| = d|c| / |c|
    for i in range(3):
        j, k = (i + 1) % 3, (i + 2) % 3
        grow[i] = (-n[j] * v2[k] + n[k] * v2[j]) / size
        grow[3 + i] = (n[j] * v1[k] - n[k] * v1[j]) / size
    for a in range(6):
        pdn[a] = q[0] * dn[0, a] + q[1] * dn[1, a] + q[2] * dn[2, a]  # dn is tangential: q . dn = p . dn
    for a in range(6):
        for b in range(6):
            tt = dn[0, a] * dn[0, b] + dn[1, a] * dn[1, b] + dn[2, a] * dn[2, b]
            H[a, b] -= pdn[a] * grow[b] + grow[a] * pdn[b] + qn * tt
    for i in range(3):  # p/|c| . (dv1 x dv2)
        j, k = (i + 1) % 3, (i + 2) % 3
        g = (q[i] - qn * n[i]) / size
        H[j, 3 + k] += g
        H[3 + k, j] += g
        H[k, 3 + j] -= g
        H[3 + j, k] -= g


@njit(cache=True, fastmath=FAST, error_model="numpy")
def _push(g, H, B, nodes, r, K, T, tangent):
    """Push gradient g (n_vectors*3) and Hessian H of a point to the nodes through B (m, n_vectors)."""
    m = B.shape[0]
    for a in range(m):
        for k in range(PARTS):
            b = B[a, k]
            if b != 0.0:
                for i in range(3):
                    r[nodes[a], i] += b * g[3 * k + i]
    if not tangent:
        return
    for a in range(m):
        T[:] = 0.0
        for k in range(PARTS):
            c = B[a, k]
            if c != 0.0:
                for i in range(3):
                    for col in range(3 * PARTS):
                        T[i, col] += c * H[3 * k + i, col]
        for b in range(a, m):
            for k in range(PARTS):
                c = B[b, k]
                if c != 0.0:
                    for i in range(3):
                        for j in range(3):
                            K[a, b, i, j] += c * T[i, 3 * k + j]


@njit(cache=True, fastmath=FAST, error_model="numpy")
def _vectors(x, nodes, B, v):
    """Fill v (n_vectors, 3) with sum_a B_ak x_a."""
    m, n_vectors = B.shape
    v[:] = 0.0
    for a in range(m):
        for k in range(n_vectors):
            c = B[a, k]
            if c != 0.0:
                for i in range(3):
                    v[k, i] += c * x[nodes[a], i]


@njit(cache=True, fastmath=FAST, error_model="numpy")
def bending(x, nodes, B, weights, D, poisson, share, r, data, slots, widths):
    """Koiter's bending energy with a share of the plain second derivatives.

        D/2 [(1 - nu) |k|^2 + nu (tr k)^2],   k_ij = n . x,ij
        (1 - share) of that, and `share` of the same form of the vectors x,ij themselves

    B  (n_elements, n_quad, m, 5)  of x,1  x,2  x,11  x,12  x,22
    """
    n_elements, n_quad, m, n_vectors = B.shape
    K = np.empty((m, m, 3, 3))
    v = np.empty((n_vectors, 3))
    n, dn = np.empty(3), np.empty((3, 6))
    k, M, s = np.empty(3), np.empty(3), np.empty(3)
    hdn, Mdn = np.empty((3, 6)), np.empty((3, 6))
    p6, g6, T = np.empty(6), np.empty(6), np.empty((3, 15))
    g, H, N2 = np.empty(15), np.empty((15, 15)), np.empty((6, 6))
    q = np.empty(3)
    stiff = np.array([[1.0, 0.0, poisson], [0.0, 2 * (1 - poisson), 0.0], [poisson, 0.0, 1.0]])
    tangent = data.size > 0
    Pi = 0.0
    for e in range(n_elements):
        K[:] = 0.0
        for p in range(n_quad):
            full, normal = D * weights[e, p] * share, D * weights[e, p] * (1 - share)
            _vectors(x, nodes[e], B[e, p], v)
            size = _unit_normal(v[0], v[1], n, dn)
            for c in range(3):
                k[c] = v[2 + c, 0] * n[0] + v[2 + c, 1] * n[1] + v[2 + c, 2] * n[2]
            for c in range(3):
                M[c] = normal * (stiff[c, 0] * k[0] + stiff[c, 1] * k[1] + stiff[c, 2] * k[2])
                Pi += 0.5 * M[c] * k[c]
            for i in range(3):
                q[i] = M[0] * v[2, i] + M[1] * v[3, i] + M[2] * v[4, i]
            for a in range(6):
                g[a] = q[0] * dn[0, a] + q[1] * dn[1, a] + q[2] * dn[2, a]
            for c in range(3):
                for i in range(3):
                    s[i] = full * (stiff[c, 0] * v[2, i] + stiff[c, 1] * v[3, i] + stiff[c, 2] * v[4, i])
                    Pi += 0.5 * s[i] * v[2 + c, i]
                    g[6 + 3 * c + i] = M[c] * n[i] + s[i]
            if tangent:
                N2[:] = 0.0
                _normal_hessian(q, v[0], v[1], n, dn, size, N2, p6, g6)
                for c in range(3):
                    for a in range(6):
                        hdn[c, a] = v[2 + c, 0] * dn[0, a] + v[2 + c, 1] * dn[1, a] + v[2 + c, 2] * dn[2, a]
                for c in range(3):
                    for a in range(6):
                        Mdn[c, a] = normal * (
                            stiff[c, 0] * hdn[0, a] + stiff[c, 1] * hdn[1, a] + stiff[c, 2] * hdn[2, a]
                        )
                for a in range(6):
                    for b in range(6):
                        H[a, b] = N2[a, b] + hdn[0, a] * Mdn[0, b] + hdn[1, a] * Mdn[1, b] + hdn[2, a] * Mdn[2, b]
                    for d in range(3):
                        for j in range(3):
                            H[a, 6 + 3 * d + j] = H[6 + 3 * d + j, a] = M[d] * dn[j, a] + Mdn[d, a] * n[j]
                for c in range(3):
                    for d in range(3):
                        for i in range(3):
                            for j in range(3):
                                H[6 + 3 * c + i, 6 + 3 * d + j] = stiff[c, d] * normal * n[i] * n[j]
                            H[6 + 3 * c + i, 6 + 3 * d + i] += stiff[c, d] * full
            _push(g, H, B[e, p], nodes[e], r, K, T, tangent)
        if tangent:
            _scatter(data, K, nodes[e], slots[e], widths)
    return Pi


@njit(cache=True, fastmath=FAST, error_model="numpy")
def kinks(x, nodes, B, weights, penalty, D, share, r, data, slots, widths):
    """Interior penalty on the kinks across edges.

        -D (n . m) theta + penalty/2 theta^2,   theta = n . beta,   beta = x,nu of one side + x,nu of the other
        (1 - share) of that, and `share` of the same form without n

    n is the mean unit normal of the two sides, m the mean of both sides' bending vector
    (1 - nu) x,nunu + nu (x,11 + x,22).

    B        (n_edges, n_quad, m, 5)  of x,tau  x,nu on the first side, x,tau  x,nu on the second, m;
             nu points out of a side, tau along the edge so that (tau, nu) is right-handed
    penalty  (n_edges,)               N
    """
    n_edges, n_quad, m, n_vectors = B.shape
    K = np.empty((m, m, 3, 3))
    v = np.empty((n_vectors, 3))
    n1, dn1, n2, dn2 = np.empty(3), np.empty((3, 6)), np.empty(3), np.empty((3, 6))
    n, dn = np.empty(3), np.empty((3, 12))
    ds = np.empty((3, 12))
    beta, q, p = np.empty(3), np.empty(3), np.empty(3)
    mdn, bdn, pds, grow = np.empty(12), np.empty(12), np.empty(12), np.empty(12)
    dA, dT = np.empty(15), np.empty(15)
    g, H = np.empty(15), np.empty((15, 15))
    p6, g6, T = np.empty(6), np.empty(6), np.empty((3, 15))
    H1, H2 = np.empty((6, 6)), np.empty((6, 6))
    tangent = data.size > 0
    Pi = 0.0
    for e in range(n_edges):
        K[:] = 0.0
        for pt in range(n_quad):
            w = weights[e, pt]
            _vectors(x, nodes[e], B[e, pt], v)
            mean = v[4]
            size1 = _unit_normal(v[0], v[1], n1, dn1)
            size2 = _unit_normal(v[2], v[3], n2, dn2)
            size = 0.0
            for i in range(3):
                n[i] = n1[i] + n2[i]
                size += n[i] * n[i]
                beta[i] = v[1, i] + v[3, i]
                for a in range(6):
                    ds[i, a], ds[i, 6 + a] = dn1[i, a], dn2[i, a]
            size = np.sqrt(size)
            for i in range(3):
                n[i] /= size
            for a in range(12):
                grow[a] = (n[0] * ds[0, a] + n[1] * ds[1, a] + n[2] * ds[2, a]) / size
                for i in range(3):
                    dn[i, a] = ds[i, a] / size - n[i] * grow[a]
            A = n[0] * mean[0] + n[1] * mean[1] + n[2] * mean[2]
            theta = n[0] * beta[0] + n[1] * beta[1] + n[2] * beta[2]
            koiter, plain = w * (1 - share), w * share
            Pi += koiter * (0.5 * penalty[e] * theta - D * A) * theta
            eA, eT = -koiter * D * theta, koiter * (penalty[e] * theta - D * A)
            for a in range(12):
                mdn[a] = mean[0] * dn[0, a] + mean[1] * dn[1, a] + mean[2] * dn[2, a]
                bdn[a] = beta[0] * dn[0, a] + beta[1] * dn[1, a] + beta[2] * dn[2, a]
                dA[a] = mdn[a]
                dT[a] = bdn[a]
            for i in range(3):
                dT[3 + i] += n[i]
                dT[9 + i] += n[i]
            for a in range(12):
                g[a] = eA * dA[a] + eT * dT[a]
            for i in range(3):
                across = plain * (penalty[e] * beta[i] - D * mean[i])
                g[3 + i] += across
                g[9 + i] += across
                dA[12 + i], dT[12 + i] = n[i], 0.0
                g[12 + i] = eA * n[i] - plain * D * beta[i]
                Pi += plain * (0.5 * penalty[e] * beta[i] - D * mean[i]) * beta[i]
            if tangent:
                qn = 0.0
                for i in range(3):
                    q[i] = eA * mean[i] + eT * beta[i]
                    qn += q[i] * n[i]
                for i in range(3):
                    p[i] = (q[i] - qn * n[i]) / size
                H1[:] = 0.0
                H2[:] = 0.0
                _normal_hessian(p, v[0], v[1], n1, dn1, size1, H1, p6, g6)
                _normal_hessian(p, v[2], v[3], n2, dn2, size2, H2, p6, g6)
                for a in range(12):
                    pds[a] = p[0] * dn[0, a] + p[1] * dn[1, a] + p[2] * dn[2, a]
                kA = -koiter * D
                kT = koiter * penalty[e]
                for a in range(15):
                    left, right = kA * dA[a] + kT * dT[a], kA * dT[a]
                    for b in range(a, 15):
                        H[a, b] = left * dT[b] + right * dA[b]
                for a in range(12):
                    # second derivative of q . n through s = n1 + n2
                    pa, ga = pds[a] * size, grow[a] * size
                    t0, t1, t2 = qn * dn[0, a], qn * dn[1, a], qn * dn[2, a]
                    for b in range(a, 12):
                        H[a, b] += -(pa * grow[b] + ga * pds[b]) - (t0 * dn[0, b] + t1 * dn[1, b] + t2 * dn[2, b])
                    for i in range(3):
                        H[a, 12 + i] += eA * dn[i, a]
                for i in range(3):
                    for nu in (3 + i, 9 + i):
                        for a in range(12):
                            H[min(a, nu), max(a, nu)] += (2 if a == nu else 1) * eT * dn[i, a]
                        H[nu, nu] += plain * penalty[e]
                        H[nu, 12 + i] -= plain * D
                    H[3 + i, 9 + i] += plain * penalty[e]
                for a in range(6):
                    for b in range(a, 6):
                        H[a, b] += H1[a, b]
                        H[6 + a, 6 + b] += H2[a, b]
                for a in range(15):
                    for b in range(a):
                        H[a, b] = H[b, a]
            _push(g, H, B[e, pt], nodes[e], r, K, T, tangent)
        if tangent:
            _scatter(data, K, nodes[e], slots[e], widths)
    return Pi


@njit(cache=True, fastmath=FAST, error_model="numpy")
def bed(x, X, nodes, N, weights, push, pull, shear, r, data, slots, widths):
    """Springs below the skin: `push` (MPa/mm) where w < 0, `pull` where w > 0, `shear` against sliding.

        1/2 (k_n w^2 + k_s |u_tan|^2)

    N (n_quad, m) shape functions; push, pull, shear (n_elements,).
    """
    n_elements, n_quad = weights.shape
    m = N.shape[1]
    K = np.empty((m, m, 3, 3))
    u = np.empty(3)
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
            w = weights[e, q]
            kn = w * (push[e] if u[2] < 0 else pull[e])
            ks = w * shear[e]
            Pi += 0.5 * (kn * u[2] ** 2 + ks * (u[0] ** 2 + u[1] ** 2))
            for a in range(m):
                node = nodes[e, a]
                r[node, 0] += ks * u[0] * N[q, a]
                r[node, 1] += ks * u[1] * N[q, a]
                r[node, 2] += kn * u[2] * N[q, a]
            if data.size > 0:
                for a in range(m):
                    for b in range(a, m):
                        NN = N[q, a] * N[q, b]
                        K[a, b, 0, 0] += ks * NN
                        K[a, b, 1, 1] += ks * NN
                        K[a, b, 2, 2] += kn * NN
        if data.size > 0:
            _scatter(data, K, nodes[e], slots[e], widths)
    return Pi
