"""Line tension of flat skin from its stretch, and the prestretch of uncut skin from its pre-tension."""

from collections.abc import Sequence

import numpy as np
from scipy.optimize import minimize, root

from fem.material.laws import Law, young_modulus

# The search for the prestretch; our choices. It takes no more than a few steps where skin may be found.
SEARCH = {"initial_trust_radius": 0.1, "max_trust_radius": 0.25, "maxiter": 100}  # of log stretch


def tension(law: Law, stretch: np.ndarray, *, h: float) -> np.ndarray:
    """Line tension (2, ...) in N/mm of flat skin stretched by `stretch` (2, ...) along and across the lines.

        T_i = h sigma_i = h 2 C_ii dpsi/dC_ii      (no shear; sigma is the Cauchy stress)

    law      C -> psi, dpsi/dC, d2psi/dC2, as in LAWS with its parameters given
    h        thickness of the stretched skin, mm
    """
    C = np.array([stretch[0] ** 2, stretch[1] ** 2, 0 * stretch[0]])
    return 2 * h * (C * law(C)[1])[:2]


def stiffness(law: Law, stretch: np.ndarray, *, h: float) -> np.ndarray:
    """Change (2, 2) in N/mm of the line tension along and across the lines per log stretch e along and across them.

        dT_i/de_j = 4 h (C_ii C_jj d2psi/dC_ii dC_jj + [i = j] C_ii dpsi/dC_ii)      (h as it is at `stretch`)

    Arguments as in `tension`.
    """
    C = np.array([stretch[0] ** 2, stretch[1] ** 2, 0.0])
    _, dpsi, ddpsi = law(C)
    return 4 * h * (np.outer(C, C) * ddpsi + np.diag(C * dpsi))[:2, :2]


def stretch_under(law: Law, wanted: Sequence[float] | np.ndarray, *, h: float) -> np.ndarray:
    """Stretch (2,) along and across the lines at which flat skin carries the line tension `wanted` (2,), N/mm.

        T_i = h dpsi/de_i,    e the log stretches, in which psi is convex for all laws here: there is no other

    law      as in `tension`; symmetric about the lines

    A tension below 0 compresses. Raises ValueError if no stretch of this law carries it.
    """
    wanted = np.asarray(wanted)

    def energy(e):
        return h * law(np.array([*np.exp(2 * e), 0.0]))[0] - wanted @ e

    def excess(e):
        return tension(law, np.exp(e), h=h) - wanted

    def slope(e):
        return stiffness(law, np.exp(e), h=h)

    with np.errstate(all="ignore"):  # stretches on trial may be out of all bounds
        near = minimize(energy, np.zeros(2), jac=excess, hess=slope, method="trust-exact", options=SEARCH).x
        e = root(excess, near, jac=slope, tol=1e-14).x
        left = np.abs(excess(e)).max()
    if not left <= 1e-10 * max(np.abs(wanted).max(), h * young_modulus(law)):  # nor is nan
        raise ValueError(f"no natural stretch gives a tension of {1e3 * wanted} N/m in this law")
    return np.exp(e)
