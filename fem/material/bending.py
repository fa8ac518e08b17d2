"""Plate stiffness of skin, and the compression at which it no longer lies flat."""

import numpy as np
from scipy.optimize import brentq
from scipy.special import jn_zeros, jv

BENDING_POISSON = 0.5  # incompressible skin


def bending_stiffness(modulus: float, *, h: float, poisson: float) -> float:
    """Plate stiffness D = E h^3 / 12 (1 - nu^2), N mm; modulus E in MPa, h in mm."""
    return modulus * h**3 / (12 * (1 - poisson**2))


def buckling_tension(*, D: float, poisson: float, lift: float, radius: float) -> float:
    """Line compression in N/mm, positive, at which an uncut patch of skin no longer lies flat; about.

        N = max(a^2 D / R^2, 2 sqrt(k D)),    a J0(a) = (1 - nu) J1(a)

    The first is the load of a disc without a bed whose rim is held and free to turn, the second that of a wide patch
    on springs, which folds into waves of length 2 pi (D/k)^(1/4). On a bed, patches that are not wide bear more.

    D        bending stiffness, N mm;  poisson  its Poisson ratio
    lift     stiffness k of the bed against lifting, N/mm3; 0: no bed
    radius   R of the patch, mm

    Source: Timoshenko & Gere (1961), sec. 9.1 for the disc and sec. 2.10 for the bed (from memory; tested).
    """
    a = brentq(lambda a: a * jv(0, a) - (1 - poisson) * jv(1, a), 0.1, jn_zeros(0, 1)[0])
    return max(a**2 * D / radius**2, 2 * np.sqrt(lift * D))
