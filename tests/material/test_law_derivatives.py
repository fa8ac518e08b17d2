"""Derivatives of the laws of elasticity, and their values at rest, at many points at once and far out of bounds."""

from functools import cache, partial

import numpy as np
import pytest
from hypothesis import assume, example, given
from laws_tried import VARIANTS, angles, every_law, law_of, stretched, stretches
from pytest import approx

from fem.material.laws import ogden


@every_law
def test_nothing_at_rest(variant):
    """Unstretched skin has no energy and no stress."""
    psi, dpsi, _ = law_of(variant)(np.array([1.0, 1.0, 0.0]))
    assert (psi, *dpsi) == approx((0, 0, 0, 0), abs=1e-16)


def lengths_of_fibres(C, *, dispersion, fibre_angle_rad, **_):
    """E of both families."""
    m = np.array([np.cos(fibre_angle_rad), np.sin(fibre_angle_rad)])
    I1 = C[0] + C[1] + 1 / (C[0] * C[1] - C[2] ** 2)
    I4 = [m[0] ** 2 * C[0] + m[1] ** 2 * C[1] + sign * 2 * m[0] * m[1] * C[2] for sign in (1, -1)]
    return [dispersion * (I1 - 3) + (1 - 3 * dispersion) * (one - 1) for one in I4]


@every_law
@given(stretches, stretches, angles)
@example(1.2, 1.2, 0.3)
@example(1.2, 1.2 + 1e-9, 0.3)
@example(0.796875, 0.796875, 2.022088011852563e-305)  # C12 is a subnormal number
@example(1.1, 0.9, 0.0)
def test_derivatives_against_differences(variant, first, second, angle):
    """dpsi/dC and d2psi/dC2 against central differences, whose error is step^2 and round-off / step.

    At E = 0, where fibres slacken, the second derivative jumps; differences across the jump are left out.
    """
    law, (kind, keys), C, step = law_of(variant), VARIANTS[variant], stretched(first, second, angle), 1e-5
    if kind == "gasser-ogden-holzapfel":
        assume(min(abs(E) for E in lengths_of_fibres(C, **keys)) > 10 * step)
    _, dpsi, ddpsi = law(C)
    ahead, behind = (law(C[:, None] + sign * step * np.eye(3)) for sign in (1, -1))
    scale = np.abs(ddpsi).max()
    assert (ahead[0] - behind[0]) / (2 * step) == approx(dpsi, abs=1e-6 * scale)
    assert (ahead[1] - behind[1]) / (2 * step) == approx(ddpsi, abs=1e-6 * scale)


def energy(kind, C, **keys):
    """psi in MPa of the law of Ogden or of the one with fibres, as sympy expression of C11, C22, C12."""
    import sympy

    keys = {key: sympy.Rational(value) for key, value in keys.items()}
    mu, J2 = keys["shear_MPa"], C[0] * C[1] - C[2] ** 2
    if kind == "ogden":
        alpha = keys["exponent"]
        root = sympy.sqrt((C[0] - C[1]) ** 2 / 4 + C[2] ** 2)
        powers = [((C[0] + C[1]) / 2 + sign * root) ** (alpha / 2) for sign in (1, -1)]
        return 2 * mu / alpha**2 * (sum(powers) + J2 ** (-alpha / 2) - 3)
    k1, k2, kappa = keys["fibre_MPa"], keys["stiffening"], keys["dispersion"]
    a, I1 = keys["fibre_angle_rad"], C[0] + C[1] + 1 / J2
    psi = mu / 2 * (I1 - 3)
    for sign in (1, -1):
        m = sympy.Matrix([sympy.cos(a), sign * sympy.sin(a)])
        I4 = m[0] ** 2 * C[0] + m[1] ** 2 * C[1] + 2 * m[0] * m[1] * C[2]
        E = kappa * (I1 - 3) + (1 - 3 * kappa) * (I4 - 1)
        psi += sympy.Piecewise((k1 / (2 * k2) * (sympy.exp(k2 * E**2) - 1), E > 0), (0, True))
    return psi


@cache
def automatic(variant):
    """One of the laws, its derivatives made by sympy, which takes a second, and evaluated to 200 digits.

    Principal stretches that are equal are set apart by 1e-40, for the formula divides by their difference.
    """
    import mpmath
    import sympy

    kind, keys = VARIANTS[variant]
    C = sympy.symbols("C11 C22 C12")
    psi = energy(kind, C, **keys)
    first = [sympy.diff(psi, c) for c in C]
    second = [[sympy.diff(d, c) for c in C] for d in first]
    values = sympy.lambdify(C, [psi, first, second], "mpmath", cse=True)

    def law(at):
        with mpmath.workdps(200):
            apart = mpmath.mpf(10) ** -40
            found = values(mpmath.mpf(at[0]) + apart, mpmath.mpf(at[1]), mpmath.mpf(at[2]))
        return [np.array(part, dtype=float) for part in found]

    return law


LONG = "fibres", "fibres-across", "fibres-all-ways"  # take seconds each
DIFFERENTIATED = [name for name, (kind, _) in VARIANTS.items() if kind != "neo-hooke"]


@pytest.mark.parametrize(
    "variant", [pytest.param(name, marks=pytest.mark.slow) if name in LONG else name for name in DIFFERENTIATED]
)
@given(stretches, stretches, angles)
@example(1.2, 1.2, 0.0)
@example(0.8, 0.8, 0.0)
@example(1.2, 1.2, 0.3)
@example(1.2, 1.2 + 1e-9, 0.3)
@example(0.796875, 0.796875, 2.022088011852563e-305)  # C12 is a subnormal number
@example(1.3, 0.8, 0.7)
def test_derivatives_against_automatic_ones(variant, first, second, angle):
    """psi and both derivatives as sympy makes them from the formula; equal principal stretches are no exception."""
    C = stretched(first, second, angle)
    kind, keys = VARIANTS[variant]
    if kind == "gasser-ogden-holzapfel":
        assume(min(abs(E) for E in lengths_of_fibres(C, **keys)) > 1e-12)
    found, wanted = law_of(variant)(C), automatic(variant)(C)
    scale = np.abs(wanted[2]).max()
    for one, other in zip(found, wanted, strict=True):
        assert one == approx(other, rel=1e-11, abs=1e-13 * scale)


@every_law
def test_many_points_at_once(variant):
    """C (3, n_elements, n_quad) gives what each of its points gives alone."""
    law = law_of(variant)
    C = np.array([stretched(1 + 0.02 * i, 1.06, 0.2 * i) for i in range(-4, 5)]).T.reshape(3, 3, 3)
    psi, dpsi, ddpsi = law(C)
    assert (psi.shape, dpsi.shape, ddpsi.shape) == ((3, 3), (3, 3, 3), (3, 3, 3, 3))
    for i in np.ndindex(3, 3):
        alone = law(C[:, *i])
        assert psi[i] == approx(alone[0], abs=1e-17)
        assert dpsi[:, *i] == approx(alone[1], rel=1e-13, abs=1e-16)
        assert ddpsi[:, :, *i] == approx(alone[2], rel=1e-13, abs=1e-15)


@pytest.mark.parametrize("stretch", [(1e3, 1.0), (1e3, 1e3), (1e-3, 1.0), (1e-3, 1e3)])
@pytest.mark.parametrize("variant", [*VARIANTS, "ogden-50", "ogden-negative-50"])
def test_finite_on_trial(variant, stretch):
    """A step on trial may stretch skin out of all bounds; its energy is then enormous, not inf or nan."""
    exponent = {"ogden-50": 50, "ogden-negative-50": -50}.get(variant)
    law = partial(ogden, shear_MPa=0.01, exponent=exponent) if exponent else law_of(variant)
    psi, dpsi, ddpsi = law(stretched(*stretch, 0.3))
    assert psi > 1 and np.isfinite(dpsi).all() and np.isfinite(ddpsi).all()
