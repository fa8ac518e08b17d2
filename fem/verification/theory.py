"""Answers of thin-plate theory (Foppl-von Karman) for round plates, membranes and discs without a wedge.

Radius 1, y = (G, G', n, n', w):  slope w' = x G,  radial tension n,  hoop tension (x n)'.
"""

import numpy as np
from scipy.integrate import solve_bvp
from scipy.linalg import eigh

X = np.geomspace(1e-4, 1, 201)  # from a centre small enough to be left out


def _solution(curvatures, edge, start):
    """y (5, ...) on [0, 1] of G'' + 3 G'/x = c1, n'' + 3 n'/x = c2 with (c1, c2) = curvatures(x, G, n).

    The 3/x are those of the bending moments' and the compatibility equation; edge(y) = 0 at 1.
    """

    def slopes(x, y):
        G, dG, n, dn, _ = y
        c1, c2 = curvatures(x, G, n)
        return np.array([dG, c1 - 3 * dG / x, dn, c2 - 3 * dn / x, x * G])

    def ends(inner, outer):
        return np.array([inner[1], inner[3], *edge(outer)])

    found = solve_bvp(slopes, ends, X, start, tol=1e-6, max_nodes=20000)
    if not found.success:
        raise ArithmeticError(found.message)
    return found.y


def clamped_plate(P, *, nu):
    """Deflection w0/h at the centre of a clamped plate with immovable edge under P = q a^4 / E h^4.

    (G'' + 3 G'/x) / 12 (1 - nu^2) = n G + P/2,    n'' + 3 n'/x = -G^2/2,    w in h, n in E h (h/a)^2
    """
    D = 1 / (12 * (1 - nu**2))
    w0 = min(P / (64 * D), 0.6 * P ** (1 / 3))
    start = np.array([-4 * w0 * (1 - X**2), 8 * w0 * X, w0**2 / 2 + 0 * X, 0 * X, w0 * (1 - X**2) ** 2])
    y = _solution(
        lambda x, G, n: ((n * G + P / 2) / D, -(G**2) / 2),
        lambda y: (y[0], y[3] + (1 - nu) * y[2], y[4]),
        start,
    )
    return y[4, 0]


def hencky(*, nu):
    """(C1, C2) of a membrane under p: w0 = C1 a (p a/E h)^(1/3), N(0) = C2 (E h p^2 a^2)^(1/3).

    n'' + 3 n'/x = -1/(8 n^2),   w' = -x / 2n       Hencky (1915)
    """

    def slopes(x, y):
        n, dn, _ = y
        return np.array([dn, -1 / (8 * n**2) - 3 * dn / x, -x / (2 * n)])

    def ends(inner, outer):
        return np.array([inner[1], outer[1] + (1 - nu) * outer[0], outer[2]])

    found = solve_bvp(slopes, ends, X, np.array([0.4 + 0 * X, 0 * X, 0.6 * (1 - X)]), tol=1e-6)
    if not found.success:
        raise ArithmeticError(found.message)
    return found.y[2, 0], found.y[0, 0]


# A wedge s cut from a disc and sewn makes tension N_r = Y s/4pi (ln x + m), Y = E h, in a flat disc with m = 0;
# Gamma = Y R^2 s / D. Slopes are in sqrt(s/pi), of the perfect cone. Seung & Nelson (1988) posed the problem.


def wedge_threshold(*, nu, tension=0.0):
    """Gamma beyond which the sewn disc, its edge free to turn, buckles under an edge tension given per Y s.

        psi'' + psi'/x - psi/x^2 = Gamma (ln x / 4pi + tension) psi,   psi'(1) + nu psi(1) = 0

    by Ritz's method with psi = sum c_i x^i:  all integrals are known.
    """
    i, j = np.ogrid[1:11, 1:11]
    bending = (i * j + 1) / (i + j) + nu
    softening = 1 / (4 * np.pi * (i + j + 2) ** 2) - tension / (i + j + 2)
    return 1 / eigh(softening, bending, eigvals_only=True)[-1]


def cone_height(Gamma, *, nu):
    """Height of the sewn disc with free edge, in R sqrt(s/pi).

    G'' + 3 G'/x = Gamma/4pi (ln x + m) G,    m'' + 3 m'/x = -2 G^2
    """
    core = X**2 + 40 / Gamma
    start = np.array([core**-0.5, -X * core**-1.5, -np.log(core) / 2, -X / core, np.sqrt(core) - 1])
    y = _solution(
        lambda x, G, m: (Gamma / (4 * np.pi) * (np.log(x) + m) * G, -2 * G**2),
        lambda y: ((1 + nu) * y[0] + y[1], y[2], y[4]),
        start,
    )
    return -y[4, 0]
