"""What bending and interior penalty share: vectors v_k = sum_a B_ak x_a at a point, normals, derivatives to the nodes.

Derivatives with respect to vectors are stored one vector after the other, three components each.
"""

import numpy as np

from fem.mechanics.kernels.compiling import kernel

VECTORS = 5  # of a point, bending's and the interior penalty's
ALL = 3 * VECTORS  # their components


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
def unit_normal(v1: np.ndarray, v2: np.ndarray, n: np.ndarray, dn: np.ndarray, growth: np.ndarray) -> float:
    """Length |c| of c = v1 x v2.  Fills the normal n = c/|c| and its derivatives in v1 and v2.

        dn = (1 - n n^T) dc / |c|   (3, 6),      growth = n . dc / |c|   (6,)

    with  dc/dv1_i = e_i x v2,   dc/dv2_i = v1 x e_i.
    """
    c0 = v1[1] * v2[2] - v1[2] * v2[1]
    c1 = v1[2] * v2[0] - v1[0] * v2[2]
    c2 = v1[0] * v2[1] - v1[1] * v2[0]
    size = np.sqrt(c0 * c0 + c1 * c1 + c2 * c2)
    n[0], n[1], n[2] = c0 / size, c1 / size, c2 / size
    for i in range(3):
        j, k = (i + 1) % 3, (i + 2) % 3
        along1 = growth[i] = (n[k] * v2[j] - n[j] * v2[k]) / size
        along2 = growth[3 + i] = (n[j] * v1[k] - n[k] * v1[j]) / size
        dn[i, i], dn[i, 3 + i] = -along1 * n[i], -along2 * n[i]
        dn[j, i], dn[j, 3 + i] = -v2[k] / size - along1 * n[j], v1[k] / size - along2 * n[j]
        dn[k, i], dn[k, 3 + i] = v2[j] / size - along1 * n[k], -v1[j] / size - along2 * n[k]
    return size


@kernel
def add_unit_hessian(q: np.ndarray, n: np.ndarray, dn: np.ndarray, growth: np.ndarray, H: np.ndarray) -> None:
    """Add to the upper triangle of H the second derivatives of q . n, n = c/|c|, but for those of c itself.

        -(q.dn) growth^T - growth (q.dn)^T - (q.n) dn^T dn

    What c adds is p . d2c / |c|,   p = q - (q.n) n.
    """
    qn = dot(q, n)
    for a in range(growth.size):
        qa = q[0] * dn[0, a] + q[1] * dn[1, a] + q[2] * dn[2, a]
        t0, t1, t2 = (
            growth[a] * q[0] + qn * dn[0, a],
            growth[a] * q[1] + qn * dn[1, a],
            growth[a] * q[2] + qn * dn[2, a],
        )
        for b in range(a, growth.size):
            H[a, b] -= qa * growth[b] + t0 * dn[0, b] + t1 * dn[1, b] + t2 * dn[2, b]


@kernel
def add_normal_hessian(
    q: np.ndarray, n: np.ndarray, dn: np.ndarray, growth: np.ndarray, size: float, H: np.ndarray
) -> None:
    """Add to the upper triangle of H (6, 6) the second derivatives of q . n in v1 and v2; see `unit_normal`.

    c is bilinear, so that  p . d2c = p . (dv1 x dv2).
    """
    add_unit_hessian(q, n, dn, growth, H)
    qn = dot(q, n)
    for i in range(3):
        j, k = (i + 1) % 3, (i + 2) % 3
        p = (q[i] - qn * n[i]) / size
        H[j, 3 + k] += p
        H[k, 3 + j] -= p


@kernel
def add_to_nodes(
    g: np.ndarray,
    H: np.ndarray,
    B: np.ndarray,
    nodes: np.ndarray,
    r: np.ndarray,
    K: np.ndarray,
    T: np.ndarray,
    tangent: bool,
) -> None:
    """Add gradient g (15,) and Hessian H, its upper triangle given, to the nodes through B (m, 5).

        r_a = sum_k B_ak g_k,      K_ab = sum_kl B_ak H_kl B_bl

    T (3, 15) is overwritten.
    """
    m = B.shape[0]
    for a in range(m):
        for k in range(VECTORS):
            b = B[a, k]
            if b != 0.0:
                for i in range(3):
                    r[nodes[a], i] += b * g[3 * k + i]
    if not tangent:
        return
    for row in range(ALL):
        for col in range(row):
            H[row, col] = H[col, row]
    for a in range(m):
        T[:] = 0.0
        for k in range(VECTORS):
            c = B[a, k]
            if c != 0.0:
                for i in range(3):
                    for col in range(ALL):
                        T[i, col] += c * H[3 * k + i, col]
        for b in range(a, m):
            for k in range(VECTORS):
                c = B[b, k]
                if c != 0.0:
                    for i in range(3):
                        for j in range(3):
                            K[a, b, i, j] += c * T[i, 3 * k + j]


@kernel
def dot(a: np.ndarray, b: np.ndarray) -> float:
    """Scalar product of two vectors (3,)."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
