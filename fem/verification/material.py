"""Laws of elasticity against stresses in closed form; natural tension and stress of stretched skin."""

from collections.abc import Iterator
from functools import partial
from typing import Any

import numpy as np
from scipy.spatial.transform import Rotation

from fem.material.laws import Law, gasser_ogden_holzapfel, neo_hooke, ogden
from fem.material.skin import KPA, tension
from fem.mechanics.sheet import cauchy_stress, sheet
from fem.verification.check import ROUND_OFF, Check, Row, alike
from fem.verification.problems import patch, rubber

MU = 0.01  # MPa
HOOKE = partial(neo_hooke, shear_MPa=MU)
K1, K2, ANGLE = 0.05, 10, np.radians(40)  # MPa, -, rad, of fibres
STRETCHES = 0.7, 1.1, 1.2, 1.3
EXPONENTS = -3, 1, 9, 26


def cauchy(law: Law, F: np.ndarray) -> np.ndarray:
    """Cauchy stress F S F^T, kPa, of an incompressible sheet with in-plane F (2, 2): S = 2 dpsi/dC, det F3 = 1."""
    C = F.T @ F
    S11, S22, twice_S12 = 2 * law(np.array([C[0, 0], C[1, 1], C[0, 1]]))[1]
    return KPA * F @ np.array([[S11, twice_S12 / 2], [twice_S12 / 2, S22]]) @ F.T


def stress(what: str, law: Law, F: np.ndarray, wanted: np.ndarray, tolerance: float = ROUND_OFF) -> Row:
    """Row of the worst component; `wanted` (2, 2) in MPa. Beside it 1e-15 MPa are round-off."""
    return alike(what, KPA * wanted, cauchy(law, F), tolerance, unit="kPa")


def strip(a: float) -> np.ndarray:
    """F (2, 2) of an incompressible strip stretched by a, whose sides are free."""
    return np.diag([a, a**-0.5])


def sheared(g: float) -> np.ndarray:
    """F (2, 2) of simple shear."""
    return np.array([[1, g], [0, 1]])


def neo_hooke_strip(_: int) -> Iterator[Row]:
    """A strip of rubber is stretched or pressed together by a and narrows by a^(-1/2): sigma = mu (a^2 - 1/a)."""
    for a in STRETCHES:
        yield stress(f"stress at a = {a:g}", HOOKE, strip(a), np.diag([MU * (a**2 - 1 / a), 0]))


def neo_hooke_both_ways(_: int) -> Iterator[Row]:
    """A sheet of rubber is stretched by a both ways: sigma = mu (a^2 - a^-4); 1.5 mm of it pull with h sigma."""
    for a in STRETCHES:
        yield stress(f"stress at a = {a:g}", HOOKE, a * np.eye(2), MU * (a**2 - a**-4) * np.eye(2))
        wanted = 1.5 * MU * (a**2 - a**-4) * np.ones(2)
        yield alike(
            f"line tension at a = {a:g}", wanted, tension(HOOKE, np.array([a, a]), h=1.5), ROUND_OFF, unit="N/mm"
        )


def neo_hooke_shear(_: int) -> Iterator[Row]:
    """A sheet of rubber is sheared by g, its thickness stays: sigma_11 = mu g^2, sigma_12 = mu g, sigma_22 = 0."""
    for g in (0.2, 1.0):
        yield stress(f"stress at g = {g:g}", HOOKE, sheared(g), MU * np.array([[g**2, g], [g, 0]]))


def ogden_strip(_: int) -> Iterator[Row]:
    """A strip that stiffens as skin does is stretched by a: sigma = 2 mu/alpha (a^alpha - a^(-alpha/2)).

    mu = 0.11 MPa and alpha = 9, of excised human skin.
    """
    law = partial(ogden, shear_MPa=0.11, exponent=9)
    for a in STRETCHES:
        yield stress(f"stress at a = {a:g}", law, strip(a), np.diag([2 * 0.11 / 9 * (a**9 - a**-4.5), 0]))


def ogden_both_ways(_: int) -> Iterator[Row]:
    """Stretched by a both ways, where principal axes are any: sigma = 2 mu/alpha (a^alpha - a^(-2 alpha))."""
    a = 1.2
    for alpha in EXPONENTS:
        wanted = 2 * MU / alpha * (a**alpha - a ** (-2 * alpha)) * np.eye(2)
        yield stress(f"stress, alpha = {alpha}", partial(ogden, shear_MPa=MU, exponent=alpha), a * np.eye(2), wanted)


def ogden_shear(_: int) -> Iterator[Row]:
    """A sheet that stiffens is sheared by g, its thickness stays; principal stretches are a, 1/a and 1, g = a - 1/a.

    The principal stresses differ by s.

        s = 2 mu/alpha (a^alpha - a^-alpha),  sigma_12 = s / (a + 1/a),  sigma_11 - sigma_22 = g sigma_12

    and sigma_11 + sigma_22 = 2 mu/alpha (a^alpha + a^-alpha - 2); the second but last is Rivlin's relation.
    """
    for alpha in EXPONENTS:
        a, factor = 1.25, 2 * MU / alpha
        g, shear = a - 1 / a, factor * (a**alpha - a**-alpha) / (a + 1 / a)
        total = factor * (a**alpha + a**-alpha - 2)
        wanted = np.array([[total + g * shear, 2 * shear], [2 * shear, total - g * shear]]) / 2
        law = partial(ogden, shear_MPa=MU, exponent=alpha)
        yield stress(f"stress, alpha = {alpha}", law, sheared(g), wanted, 1e-12)


def fibres(kappa: float, angle: float) -> Law:
    """Law with two families of fibres at +- an angle, rad, to the lines."""
    keys: dict[str, Any] = {"fibre_MPa": K1, "stiffening": K2, "dispersion": kappa, "fibre_angle_rad": angle}
    return partial(gasser_ogden_holzapfel, shear_MPa=MU, **keys)


def fibre_strip(_: int) -> Iterator[Row]:
    """A strip with dispersed fibres along it is stretched by a and narrows by a^(-1/2), for it is alike all round.

        E = kappa (a^2 + 2/a - 3) + (1 - 3 kappa)(a^2 - 1)
        sigma = mu (a^2 - 1/a) + 4 k1 E exp(k2 E^2) (kappa (a^2 - 1/a) + (1 - 3 kappa) a^2)

    kappa is the dispersion, k1 = 50 kPa and k2 = 10 are the fibres' stiffness and stiffening.
    """
    a = 1.2
    for kappa in (0, 0.15, 1 / 3):
        E = kappa * (a**2 + 2 / a - 3) + (1 - 3 * kappa) * (a**2 - 1)
        share = kappa * (a**2 - 1 / a) + (1 - 3 * kappa) * a**2
        wanted = MU * (a**2 - 1 / a) + 4 * K1 * E * np.exp(K2 * E**2) * share
        yield stress(f"stress, dispersion {kappa:.2g}", fibres(kappa, 0), strip(a), np.diag([wanted, 0]))


def fibre_both_ways(_: int) -> Iterator[Row]:
    """Stretched by a both ways, fibres at +-t share g = 4 k1 E exp(k2 E^2) by direction, apart from what is dispersed.

        E = kappa (2 a^2 + a^-4 - 3) + (1 - 3 kappa)(a^2 - 1)
        sigma_along = (mu + g kappa)(a^2 - a^-4) + g (1 - 3 kappa) a^2 cos^2 t;  across, sin^2 t

    kappa is the dispersion, k1 = 50 kPa and k2 = 10 are the fibres' stiffness and stiffening.
    """
    a = 1.15
    for kappa in (0, 0.15, 1 / 3):
        E = kappa * (2 * a**2 + a**-4 - 3) + (1 - 3 * kappa) * (a**2 - 1)
        even, growth = a**2 - a**-4, 4 * K1 * E * np.exp(K2 * E**2)
        for degrees in (0, 40, 90):
            t = np.radians(degrees)
            shares = np.array([np.cos(t), np.sin(t)]) ** 2
            wanted = np.diag(MU * even + growth * (kappa * even + (1 - 3 * kappa) * a**2 * shares))
            what = f"stress, dispersion {kappa:.2g}, fibres at {degrees}°"
            yield stress(what, fibres(kappa, t), a * np.eye(2), wanted, 1e-12)


def fibre_shear(_: int) -> Iterator[Row]:
    """Sheared by g, the thickness stays; one family of fibres is stretched, the other is shortened and slack.

    By families: mu (b - b33) + 2 k1 E exp(k2 E^2) (kappa (b - b33) + (1 - 3 kappa) m m), E > 0;
    b = F F^T, m = F (cos, +-sin); b33 = 1/det b, for the thickness bears no stress.
    """
    F = sheared(0.3)
    b = F @ F.T
    b33 = 1 / np.linalg.det(b)
    for kappa in (0, 0.15, 1 / 3):
        for degrees in (0, 40, 90):
            t, wanted = np.radians(degrees), MU * (b - b33 * np.eye(2))
            for m in (F @ [np.cos(t), np.sin(t)], F @ [np.cos(t), -np.sin(t)]):
                E = kappa * (np.trace(b) + b33 - 3) + (1 - 3 * kappa) * (m @ m - 1)
                spread = kappa * (b - b33 * np.eye(2)) + (1 - 3 * kappa) * np.outer(m, m)
                wanted = wanted + 2 * K1 * max(E, 0) * np.exp(K2 * E**2) * spread
            yield stress(f"stress, dispersion {kappa:.2g}, fibres at {degrees}°", fibres(kappa, t), F, wanted, 1e-12)


def principal_stress(_: int) -> Iterator[Row]:
    """A square is stretched by 1.3 along and 0.9 across a direction at 35°, and turned in space.

        sigma_i = mu (a_i^2 - 1/(a_1 a_2)^2)

    It is measured as in a closure, from the positions of the nodes.
    """
    m, a, E = patch(3), np.array([1.3, 0.9]), 0.1
    c, s = np.cos(np.radians(35)), np.sin(np.radians(35))
    U = np.array([[c, -s], [s, c]]) @ np.diag(a) @ np.array([[c, s], [-s, c]])
    x = Rotation.from_rotvec([0.3, 1.2, -0.5]).as_matrix()[:, :2] @ U @ m.X
    found, greatest = cauchy_stress(sheet(m, law=rubber(E), h=0.05), x)
    wanted = KPA * E / 3 * (a**2 - 1 / np.prod(a) ** 2)
    for name, value, at in (("greater", wanted[0], found[1]), ("smaller", wanted[1], found[0])):
        yield alike(f"{name} principal stress", np.array(value), KPA * at, 1e-12, unit="kPa")
    yield alike("greatest stretch", np.array(1.3), greatest, 1e-12)


HOLZAPFEL = "Holzapfel (2000), ch. 6"
OGDEN = "Ogden (1972)"
FIBRES = "Gasser, Ogden & Holzapfel (2006)"
CHECKS = (
    Check("rubber-strip", "Strip of rubber", "code", HOLZAPFEL, neo_hooke_strip),
    Check("rubber-sheet", "Sheet of rubber stretched both ways", "code", HOLZAPFEL, neo_hooke_both_ways),
    Check("rubber-shear", "Sheet of rubber sheared", "code", HOLZAPFEL, neo_hooke_shear),
    Check("ogden-strip", "Strip that stiffens", "code", OGDEN, ogden_strip),
    Check("ogden-sheet", "Sheet that stiffens, both ways", "code", OGDEN, ogden_both_ways),
    Check("ogden-shear", "Sheet that stiffens, sheared", "code", f"{OGDEN}; Rivlin's relation", ogden_shear),
    Check("fibre-strip", "Strip with fibres", "code", FIBRES, fibre_strip),
    Check("fibre-sheet", "Sheet with fibres, both ways", "code", FIBRES, fibre_both_ways),
    Check("fibre-shear", "Sheet with fibres, sheared", "code", FIBRES, fibre_shear),
    Check("principal-stress", "Principal stress of a turned square", "code", HOLZAPFEL, principal_stress),
)
