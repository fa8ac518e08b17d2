"""Skin as a material: laws of elasticity and the natural tension of uncut skin."""

import numpy as np
from scipy.optimize import root

BENDING_POISSON = 0.5  # incompressible skin


def neo_hooke(C, *, shear_kPa):
    """Energy per reference volume of an incompressible neo-Hookean sheet in plane stress, and its derivatives.

        psi = mu/2 (tr C + 1/det C - 3),    C33 = 1/det C

    C          (3, ...)  C11, C22, C12 of the right Cauchy-Green tensor
    shear_kPa            shear modulus mu, kPa

    Returns psi (...), dpsi/dC (3, ...), d2psi/dC2 (3, 3, ...), MPa; C12 counts as one variable.
    Source: Holzapfel (2000), ch. 6.
    """
    mu = 1e-3 * shear_kPa
    zero = np.zeros_like(C[0])
    J2, dJ2, ddJ2 = _det(C)
    psi = mu / 2 * (C[0] + C[1] + 1 / J2 - 3)
    dpsi = mu / 2 * (np.stack([1 + zero, 1 + zero, zero]) - dJ2 / J2**2)
    ddpsi = mu / 2 * (2 * dJ2[:, None] * dJ2[None] / J2**3 - ddJ2 / J2**2)
    return psi, dpsi, ddpsi


LAWS = {"neo-hooke": neo_hooke}


def _det(C):
    """det C (...) of C11, C22, C12 with its first (3, ...) and second (3, 3, ...) derivatives."""
    second = np.array([[0.0, 1, 0], [1, 0, 0], [0, 0, -2]])
    return (
        C[0] * C[1] - C[2] ** 2,
        np.stack([C[1], C[0], -2 * C[2]]),
        second.reshape(3, 3, *[1] * (C.ndim - 1)),
    )


def tension(law, stretch, *, h):
    """Line tension (2,) in N/mm of flat skin stretched by `stretch` (2,) along and across the lines.

        T_i = h sigma_i = h 2 C_ii dpsi/dC_ii      (no shear; sigma is the Cauchy stress)

    law      C -> psi, dpsi/dC, d2psi/dC2, as in LAWS with its parameters given
    h        thickness of the stretched skin, mm
    """
    C = np.array([stretch[0] ** 2, stretch[1] ** 2, 0.0])
    return 2 * h * (C * law(C)[1])[:2]


def natural_stretch(law, wanted, *, h):
    """Stretch (2,) along and across the lines at which flat skin carries the line tension `wanted` (2,), N/mm.

    Raises ValueError if no stretch of this law carries it.
    """
    found = root(lambda log_stretch: tension(law, np.exp(log_stretch), h=h) - wanted, np.zeros(2), tol=1e-14)
    stretch = np.exp(found.x)
    scale = max(np.abs(wanted).max(), h * young_modulus(law))
    if np.abs(tension(law, stretch, h=h) - wanted).max() > 1e-10 * scale:
        raise ValueError(f"no natural stretch gives a tension of {1e3 * np.asarray(wanted)} N/m in this law")
    return stretch


def young_modulus(law):
    """Young's modulus in MPa of unstretched skin along the lines, in plane stress.

    Source: the compliance of 4 d2psi/dC2 at C = 1.
    """
    stiffness = 4 * law(np.array([1.0, 1.0, 0.0]))[2]
    return 1 / np.linalg.inv(stiffness)[0, 0]


def bending_stiffness(modulus, *, h, poisson):
    """Plate stiffness D = E h^3 / 12 (1 - nu^2), N mm; modulus E in MPa, h in mm."""
    return modulus * h**3 / (12 * (1 - poisson**2))
