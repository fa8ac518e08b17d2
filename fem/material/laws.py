"""Laws of elasticity of skin.

A law takes C (3, ...), the C11, C22, C12 of the right Cauchy-Green tensor in the axes of the lines, and returns the
energy per reference volume psi (...), dpsi/dC (3, ...) and d2psi/dC2 (3, 3, ...) of an incompressible sheet in plane
stress, MPa. C12 counts as one variable. Adding a law: one function, listed in KINDS; an argument in MPa or rad is a key
of a case in kPa or degrees, and its range and its line of the docstring, the schema's description, are of that key.
"""

from collections.abc import Callable
from typing import Annotated

import numpy as np
from annotated_types import Ge, Gt, Le
from pydantic import AfterValidator, WithJsonSchema

Positive = Annotated[float, Gt(0)]
Response = tuple[np.ndarray, np.ndarray, np.ndarray]  # psi (...), dpsi/dC (3, ...), d2psi/dC2 (3, 3, ...), MPa
Law = Callable[[np.ndarray], Response]  # of C (3, ...), its parameters given

# Of Ogden's law: within 1 a taut sheet softens; 50, our choice, is beyond all skin and finite at a stretch of 1000.
EXPONENTS = (-50.0, -1.0), (1.0, 50.0)
LARGEST_GROWTH = 300.0  # of fibres, k2 E^2; our choice, 1e130 is beyond all skin: met on trial only, it must be finite


def _outside_one(exponent: float) -> float:
    """The exponent of a sheet that gets stiffer with stretch. Raises ValueError for any other."""
    if not any(low <= exponent <= high for low, high in EXPONENTS):
        allowed = ", or ".join(f"{low:g} to {high:g}" for low, high in EXPONENTS)
        raise ValueError(f"got {exponent:g}, wanted {allowed}")
    return exponent


_SCHEMA = {"type": "number", "anyOf": [{"minimum": low, "maximum": high} for low, high in EXPONENTS]}
Exponent = Annotated[float, AfterValidator(_outside_one), WithJsonSchema(_SCHEMA)]


def neo_hooke(C: np.ndarray, *, shear_MPa: Positive) -> Response:
    """Neo-Hookean skin, whose modulus hardly changes with stretch.

        psi = mu/2 (I1 - 3),    I1 = tr C + 1/det C

    shear_kPa  shear modulus mu, kPa

    Source: Holzapfel (2000), ch. 6.
    """
    I1, dI1, ddI1 = _lengthening(C)
    return shear_MPa / 2 * I1, shear_MPa / 2 * dI1, shear_MPa / 2 * ddI1


def ogden(C: np.ndarray, *, shear_MPa: Positive, exponent: Exponent) -> Response:
    """Ogden's one-term skin, which stiffens with a power of the stretch.

        psi = 2 mu / alpha^2 (sum of the three principal stretches to the power alpha - 3)

    shear_kPa  shear modulus mu of unstretched skin, kPa
    exponent   alpha, -50 to -1 or 1 to 50; 2: neo-Hookean, 9 to 26: skin

    Source: Ogden (1972); Holzapfel (2000), ch. 6.
    """
    p, factor = exponent / 2, 2 * shear_MPa / exponent**2
    J2, dJ2, ddJ2 = _det(C)
    e, de, turn, x = _principal(C, J2)
    ratio = np.divide(np.sinh((p - 1) * x), np.sinh(x), out=np.full_like(x, p - 1), where=x > 0)
    change = p * J2 ** (p / 2 - 1) * ratio  # of the first derivative p e^(p - 1), per difference of the two e
    psi = (e**p).sum(axis=0) + J2**-p - 3
    dpsi = p * ((e ** (p - 1))[:, None] * de).sum(axis=0) - p * J2 ** (-p - 1) * dJ2
    ddpsi = 2 * change * turn[:, None] * turn - p * J2 ** (-p - 1) * ddJ2
    ddpsi = ddpsi + p * (p + 1) * J2 ** (-p - 2) * dJ2[:, None] * dJ2
    for power, slope in zip(p * (p - 1) * e ** (p - 2), de, strict=True):
        ddpsi += power * slope[:, None] * slope
    return factor * psi, factor * dpsi, factor * ddpsi


def gasser_ogden_holzapfel(
    C: np.ndarray, *, shear_MPa: Positive, fibre_MPa: Positive, stiffening: Positive,
    dispersion: Annotated[float, Ge(0), Le(1 / 3)], fibre_angle_rad: Annotated[float, Ge(0), Le(90)],
) -> Response:  # fmt: skip
    """Skin with two families of dispersed fibres, symmetric about the lines, that carry no compression.

        psi = mu/2 (I1 - 3) + k1/(2 k2) sum of exp(k2 E^2) - 1 over the families with E > 0
        E = kappa (I1 - 3) + (1 - 3 kappa)(m . C m - 1),    m = (cos a, +-sin a)

    shear_kPa        shear modulus mu of the ground substance, kPa
    fibre_kPa        stiffness k1 of each family, kPa
    stiffening       k2 of the fibres, by which they stiffen
    dispersion       kappa of the fibres; 0: all in one direction, 1/3: in all directions
    fibre_angle_deg  of each family to the lines, degrees; 0: all fibres along the lines

    Source: Gasser, Ogden & Holzapfel (2006).
    """
    k1, k2 = fibre_MPa, stiffening
    I1, dI1, ddI1 = _lengthening(C)
    psi, dpsi, ddpsi = neo_hooke(C, shear_MPa=shear_MPa)
    cos, sin = np.cos(fibre_angle_rad), np.sin(fibre_angle_rad)
    for m in ((cos, sin), (cos, -sin)):
        dI4 = _column([m[0] ** 2, m[1] ** 2, 2 * m[0] * m[1]], C)
        I4 = (dI4 * (C - _column([1, 1, 0], C))).sum(axis=0)  # minus 1, without round-off at C = 1: fibres slacken
        E = dispersion * I1 + (1 - 3 * dispersion) * I4
        dE = dispersion * dI1 + (1 - 3 * dispersion) * dI4
        taut = np.where(E > 0, E, 0.0)
        power = np.minimum(k2 * taut**2, LARGEST_GROWTH)
        growth = np.where(E > 0, k1 * np.exp(power), 0.0)
        psi = psi + k1 / (2 * k2) * np.expm1(power)
        dpsi = dpsi + growth * taut * dE
        ddpsi = ddpsi + growth * ((1 + 2 * k2 * taut**2) * dE[:, None] * dE + taut * dispersion * ddI1)
    return psi, dpsi, ddpsi


KINDS = neo_hooke, ogden, gasser_ogden_holzapfel
LAWS: dict[str, Callable[..., Response]] = {law.__name__.replace("_", "-"): law for law in KINDS}


def _lengthening(C):
    """I1 - 3 = tr C + 1/det C - 3 (...), with its first (3, ...) and second (3, 3, ...) derivatives."""
    J2, dJ2, ddJ2 = _det(C)
    ddI1 = 2 * dJ2[:, None] * dJ2 / J2**3 - ddJ2 / J2**2
    return C[0] + C[1] + 1 / J2 - 3, _column([1, 1, 0], C) - dJ2 / J2**2, ddI1


def _det(C):
    """det C (...) of C11, C22, C12 with its first (3, ...) and second (3, 3, ...) derivatives."""
    second = _column([[0, 1, 0], [1, 0, 0], [0, 0, -2]], C)
    return C[0] * C[1] - C[2] ** 2, np.stack([C[1], C[0], -2 * C[2]]), second


def _column(numbers, C):
    """Constants (3,) or (3, 3) with axes of length 1 for those of C (3, ...) behind its first."""
    constants = np.array(numbers, float)
    return constants.reshape(*constants.shape, *[1] * (C.ndim - 1))


def _principal(C, J2):
    """Eigenvalues e of C and what their derivatives are made of, J2 = det C.

        e = (C11 + C22)/2 +- r,    d2e = +-2 turn turn / (difference of the two e)

    Returns e (2, ...), greater first; de/dC (2, 3, ...); turn (3, ...), the change of C12 in the principal axes;
    half the log of the ratio of the e (...). Where the e are equal, axes 1 and 2 are principal.
    """
    mean, half = (C[0] + C[1]) / 2, (C[0] - C[1]) / 2
    r = np.hypot(half, C[2])
    r = np.where(r > np.finfo(float).eps * mean, r, 0.0)  # below, they are equal: see README
    cos = np.divide(half, r, out=np.ones_like(r), where=r > 0)
    sin = np.divide(C[2], r, out=np.zeros_like(r), where=r > 0)
    e = np.stack([mean + r, J2 / (mean + r)])
    de = np.stack([np.stack([1 + cos, 1 - cos, 2 * sin]), np.stack([1 - cos, 1 + cos, -2 * sin])]) / 2
    return e, de, np.stack([-sin / 2, sin / 2, cos]), np.log1p(2 * r / e[1]) / 2


def young_modulus(law: Law) -> float:
    """Young's modulus in MPa of unstretched skin along the lines, in plane stress; fibres do not count: README."""
    stiffness = 4 * law(np.array([1.0, 1.0, 0.0]))[2]
    return 1 / np.linalg.inv(stiffness)[0, 0]
