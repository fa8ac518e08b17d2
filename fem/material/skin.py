"""Flat skin: its line tension and prestretch, its bending stiffness, when it buckles, how its forces fall with time.

A law is as in LAWS with its parameters given, h the thickness of the stretched skin in mm. Derivations: README.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import brentq, minimize, root
from scipy.special import jn_zeros, jv

from fem.material.laws import Law, young_modulus

# The search for the prestretch; our choices. It takes no more than a few steps where skin may be found.
SEARCH = {"initial_trust_radius": 0.1, "max_trust_radius": 0.25, "maxiter": 100}  # of log stretch
KPA, N_PER_M = 1e3, 1e3  # of 1 MPa, of 1 N/mm: messages, measures, pictures and pages are in kPa and N/m


def tension(law: Law, stretch: np.ndarray, *, h: float) -> np.ndarray:
    """Line tension (2, ...) in N/mm of skin stretched by `stretch` (2, ...) along and across the lines.

    T_i = h sigma_i = h 2 C_ii dpsi/dC_ii,    sigma the Cauchy stress; no shear
    """
    C = np.array([stretch[0] ** 2, stretch[1] ** 2, 0 * stretch[0]])
    return 2 * h * (C * law(C)[1])[:2]


def stiffness(law: Law, stretch: np.ndarray, *, h: float) -> np.ndarray:
    """Change (2, 2) in N/mm of the line tension per log stretch e, both along and across the lines.

    dT_i/de_j = 4 h (C_ii C_jj d2psi/dC_ii dC_jj + [i = j] C_ii dpsi/dC_ii),    h as it is at `stretch` (2,)
    """
    C = np.array([stretch[0] ** 2, stretch[1] ** 2, 0.0])
    _, dpsi, ddpsi = law(C)
    return 4 * h * (np.outer(C, C) * ddpsi + np.diag(C * dpsi))[:2, :2]


def resistance(law: Law, stretch: np.ndarray, *, h: float) -> np.ndarray:
    """Change (2,) in N/mm of the line tension per log stretch, the other direction free to give way; E h at rest."""
    return 1 / np.linalg.inv(stiffness(law, stretch, h=h)).diagonal()


def stretch_under(law: Law, wanted: Sequence[float] | np.ndarray, *, h: float) -> np.ndarray:
    """Stretch (2,) along and across the lines at which skin carries the line tension `wanted` (2,), N/mm.

    T_i = h dpsi/de_i,    e the log stretches, in which psi is convex for all laws here: there is no other

    The law is symmetric about the lines; a tension below 0 compresses. Raises ValueError if no stretch carries it.
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
        raise ValueError(f"no natural stretch gives a tension of {N_PER_M * wanted} N/m in this law")
    return np.exp(e)


def bending_stiffness(law: Law, stretch: np.ndarray | Sequence[float], *, h: float) -> np.ndarray:
    """Bending stiffness D (3, 3), N mm, of skin as thick as h at `stretch` (2,), against k11, k22, k12.

    D_cd = h^3/3 C_c C_d d2psi/dC_c dC_d, C_12 here the product of both stretches; without stretch Koiter's, with
    E h^3 / 12 (1 - nu^2) first
    """
    C = np.array([stretch[0] ** 2, stretch[1] ** 2, stretch[0] * stretch[1]])
    return h**3 / 3 * np.outer(C, C) * law(C * [1, 1, 0])[2]


def buckling_tension(*, D: float, lift: float, radius: float, poisson: float = 0.5) -> float:
    """Line compression in N/mm, positive, at which uncut skin no longer lies flat, about; as a disc or in waves.

        N = max(a^2 D / R^2, 2 sqrt(k D)),    a J0(a) = (1 - nu) J1(a)

    D, poisson  bending stiffness, N mm, and its Poisson ratio, that of incompressible skin if left out
    lift        stiffness k of the bed against lifting, N/mm3; 0: no bed
    radius      R of the patch, mm; its rim is held and free to turn

    Source: Timoshenko & Gere (1961), sec. 9.1 for the disc and sec. 2.10 for the bed (from memory; tested).
    """
    a = brentq(lambda a: a * jv(0, a) - (1 - poisson) * jv(1, a), 0.1, jn_zeros(0, 1)[0])
    return max(a**2 * D / radius**2, 2 * np.sqrt(lift * D))


def wave_length(*, D: float, lift: float) -> float:
    """Length, mm, of the waves in which squeezed skin leaves its bed first; infinite without one.

        2 pi (D/k)^(1/4), at which D (2 pi/l)^2 + k (l/2 pi)^2 is least

    D      bending stiffness, N mm
    lift   stiffness k of the bed against lifting, N/mm3

    Source: Timoshenko & Gere (1961), sec. 2.10 (from memory; tested).
    """
    return 2 * np.pi * (D / lift) ** 0.25 if lift > 0 else np.inf


def left_after(t: ArrayLike, *, shares: ArrayLike, times: ArrayLike) -> np.ndarray:
    """Share of every force and stress that is left at times t, s, of skin that was deformed at t = 0 and is then held.

    g(t) = 1 - sum of g_i (1 - exp(-t / tau_i)),    shares g_i (k,), with a sum below 1, and times tau_i (k,), s

    Source: quasi-linear viscoelasticity, Fung (1993), ch. 7.
    """
    t = np.asarray(t)[..., None]
    return 1 - (np.asarray(shares) * -np.expm1(-t / np.asarray(times))).sum(axis=-1)
