"""Laws of elasticity: stresses in closed form, derivatives, symmetries, limits, admissible parameters."""

import json
import re
from functools import partial
from math import radians
from pathlib import Path

import mpmath
import numpy as np
import pytest
import sympy
from hypothesis import assume, example, given
from hypothesis import strategies as st
from problems import flat, patch
from pytest import approx
from ruamel.yaml import YAML

from fem.case.case import Case
from fem.case.document import parse
from fem.closure.closing import closed
from fem.closure.measure import measures
from fem.errors import BadCase
from fem.material.laws import LAWS, gasser_ogden_holzapfel, neo_hooke, ogden, young_modulus
from fem.material.skin import stretch_under, tension
from fem.mechanics import constraints, solve
from fem.mechanics.sheet import assemble, cauchy_stress, sheet

MU = 0.01  # MPa
OGDEN = dict(shear_MPa=MU, exponent=9)
FIBRES = dict(shear_MPa=MU, fibre_MPa=0.05, stiffening=10, dispersion=0.15, fibre_angle_rad=radians(40))
VARIANTS = {  # of every law, some
    "neo-hooke": ("neo-hooke", dict(shear_MPa=MU)),
    "ogden": ("ogden", OGDEN),
    "ogden-26": ("ogden", OGDEN | dict(exponent=26)),
    "ogden-negative": ("ogden", OGDEN | dict(exponent=-3)),
    "fibres": ("gasser-ogden-holzapfel", FIBRES),
    "fibres-along": ("gasser-ogden-holzapfel", FIBRES | dict(dispersion=0, fibre_angle_rad=0)),
    "fibres-across": ("gasser-ogden-holzapfel", FIBRES | dict(fibre_angle_rad=np.pi / 2)),
    "fibres-all-ways": ("gasser-ogden-holzapfel", FIBRES | dict(dispersion=1 / 3)),
}
every_law = pytest.mark.parametrize("variant", VARIANTS)
stretches = st.floats(0.75, 1.35)
angles = st.floats(-np.pi, np.pi)
exponents = st.floats(1, 26) | st.floats(-26, -1)


def law_of(variant):
    """One of the laws with its parameters given."""
    kind, keys = VARIANTS[variant]
    return partial(LAWS[kind], **keys)


def fibres(**changes):
    """The law with fibres, some parameters changed."""
    return partial(gasser_ogden_holzapfel, **(FIBRES | changes))


def rotation(angle):
    """Rotation (2, 2) in the plane."""
    return np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])


def right_cauchy_green(F):
    """C11, C22, C12 of F (2, 2)."""
    C = F.T @ F
    return np.array([C[0, 0], C[1, 1], C[0, 1]])


def stretched(first, second, angle):
    """C11, C22, C12 of principal stretches, the first one at an angle to the lines."""
    return right_cauchy_green(np.diag([first, second]) @ rotation(angle).T)


def cauchy(law, F):
    """Cauchy stress F S F^T of an incompressible sheet with in-plane F (2, 2): S = 2 dpsi/dC, det F3 = 1."""
    S11, S22, twice_S12 = 2 * law(right_cauchy_green(F))[1]
    return F @ np.array([[S11, twice_S12 / 2], [twice_S12 / 2, S22]]) @ F.T


def test_every_law_is_tried():
    """A law that is added takes part in the tests below."""
    assert {kind for kind, _ in VARIANTS.values()} == set(LAWS)


# Stresses in closed form ----------------------------------------------------------------------------------


@pytest.mark.parametrize(("a", "stress"), [(1.1, 0.04172), (1.2, 0.11537), (1.3, 0.25171)])
def test_ogden_uniaxial(a, stress):
    """A strip of mu = 0.11 MPa, alpha = 9: sigma = 2 mu/alpha (a^alpha - a^(-alpha/2)) (Ogden 1972)."""
    found = cauchy(partial(ogden, shear_MPa=0.11, exponent=9), np.diag([a, a**-0.5]))
    assert found == approx(np.diag([2 * 0.11 / 9 * (a**9 - a**-4.5), 0]), abs=1e-14)
    assert found[0, 0] == approx(stress, abs=5e-6)


@pytest.mark.parametrize("exponent", [-3, 1, 9, 26])
def test_ogden_equibiaxial(exponent):
    """Stretched by a both ways, where principal axes are any: sigma = 2 mu/alpha (a^alpha - a^(-2 alpha))."""
    law, a = partial(ogden, shear_MPa=MU, exponent=exponent), 1.2
    stress = 2 * MU / exponent * (a**exponent - a ** (-2 * exponent))
    assert cauchy(law, a * np.eye(2)) == approx(stress * np.eye(2), rel=1e-13, abs=1e-15)


@pytest.mark.parametrize("exponent", [-3, 1, 9, 26])
def test_ogden_simple_shear(exponent):
    """Sheared by g, the principal stretches are a, 1/a and 1, g = a - 1/a; the principal stresses differ by

        s = 2 mu/alpha (a^alpha - a^-alpha),  sigma_12 = s / (a + 1/a),  sigma_11 - sigma_22 = g sigma_12

    and sigma_11 + sigma_22 = 2 mu/alpha (a^alpha + a^-alpha - 2); the second but last is Rivlin's relation.
    """
    a, factor = 1.25, 2 * MU / exponent
    g, shear = a - 1 / a, factor * (a**exponent - a**-exponent) / (a + 1 / a)
    total = factor * (a**exponent + a**-exponent - 2)
    found = cauchy(partial(ogden, shear_MPa=MU, exponent=exponent), np.array([[1, g], [0, 1]]))
    wanted = np.array([[total + g * shear, 2 * shear], [2 * shear, total - g * shear]]) / 2
    assert found == approx(wanted, rel=1e-12, abs=1e-15)


@pytest.mark.parametrize("kappa", [0, 0.15, 1 / 3])
def test_fibres_uniaxial(kappa):
    """A strip pulled by a along both families narrows by a^(-1/2), for the law is then the same all round.

    E = kappa (a^2 + 2/a - 3) + (1 - 3 kappa)(a^2 - 1)
    sigma = mu (a^2 - 1/a) + 4 k1 E exp(k2 E^2) (kappa (a^2 - 1/a) + (1 - 3 kappa) a^2)
    """
    a, k1, k2 = 1.2, 0.05, 10  # -, MPa, -
    E = kappa * (a**2 + 2 / a - 3) + (1 - 3 * kappa) * (a**2 - 1)
    share = kappa * (a**2 - 1 / a) + (1 - 3 * kappa) * a**2
    stress = MU * (a**2 - 1 / a) + 4 * k1 * E * np.exp(k2 * E**2) * share
    found = cauchy(fibres(dispersion=kappa, fibre_angle_rad=0), np.diag([a, a**-0.5]))
    assert found == approx(np.diag([stress, 0]), rel=1e-13, abs=1e-15)


def fibre_stress(F, *, kappa, angle):
    """Cauchy stress of F (2, 2), by families: mu (b - b33) + 2 k1 E exp(k2 E^2) (kappa (b - b33) + (1 - 3 kappa) m m).

    b = F F^T, m = F (cos, +-sin); b33 = 1/det b, for the thickness bears no stress (Gasser, Ogden & Holzapfel 2006).
    """
    b = F @ F.T
    b33 = 1 / np.linalg.det(b)
    stress = MU * (b - b33 * np.eye(2))
    for m in (F @ [np.cos(angle), np.sin(angle)], F @ [np.cos(angle), -np.sin(angle)]):
        E = kappa * (np.trace(b) + b33 - 3) + (1 - 3 * kappa) * (m @ m - 1)
        spread = kappa * (b - b33 * np.eye(2)) + (1 - 3 * kappa) * np.outer(m, m)
        stress += 2 * 0.05 * max(E, 0) * np.exp(10 * E**2) * spread
    return stress


@pytest.mark.parametrize("kappa", [0, 0.15, 1 / 3])
@pytest.mark.parametrize("degrees", [0, 40, 90])
def test_fibres_equibiaxial(kappa, degrees):
    """Stretched by a both ways, fibres at +-t share g = 4 k1 E exp(k2 E^2) by direction, apart from what is dispersed.

    E = kappa (2 a^2 + a^-4 - 3) + (1 - 3 kappa)(a^2 - 1)
    sigma_along = (mu + g kappa)(a^2 - a^-4) + g (1 - 3 kappa) a^2 cos^2 t;  across, sin^2 t
    """
    a, t = 1.15, np.radians(degrees)
    E = kappa * (2 * a**2 + a**-4 - 3) + (1 - 3 * kappa) * (a**2 - 1)
    even, growth = a**2 - a**-4, 4 * 0.05 * E * np.exp(10 * E**2)
    wanted = [
        MU * even + growth * (kappa * even + (1 - 3 * kappa) * a**2 * c) for c in (np.cos(t) ** 2, np.sin(t) ** 2)
    ]
    found = cauchy(fibres(dispersion=kappa, fibre_angle_rad=radians(degrees)), a * np.eye(2))
    assert found == approx(np.diag(wanted), rel=1e-12, abs=1e-15)


@pytest.mark.parametrize("kappa", [0, 0.15, 1 / 3])
@pytest.mark.parametrize("degrees", [0, 40, 90])
def test_fibres_simple_shear(kappa, degrees):
    """Sheared by g, the thickness stays; one family is stretched, the other one shortened."""
    F = np.array([[1, 0.3], [0, 1]])
    found = cauchy(fibres(dispersion=kappa, fibre_angle_rad=radians(degrees)), F)
    assert found == approx(fibre_stress(F, kappa=kappa, angle=np.radians(degrees)), rel=1e-12, abs=1e-15)


# Derivatives ----------------------------------------------------------------------------------------------


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


def automatic(kind, **keys):
    """The law, its derivatives made by sympy and evaluated to 200 digits.

    Principal stretches that are equal are set apart by 1e-40, for the formula divides by their difference.
    """
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


AUTOMATIC = {variant: automatic(kind, **keys) for variant, (kind, keys) in VARIANTS.items() if kind != "neo-hooke"}


@pytest.mark.parametrize("variant", AUTOMATIC)
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
    found, wanted = law_of(variant)(C), AUTOMATIC[variant](C)
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


# Symmetries, limits, slack fibres -------------------------------------------------------------------------


@every_law
@given(stretches, stretches, angles, angles)
def test_objective(variant, first, second, angle, turn):
    """Skin turned as a whole after it was stretched carries the same stress, turned with it."""
    law, F, Q = law_of(variant), np.diag([first, second]) @ rotation(angle), rotation(turn)
    stress = cauchy(law, F)
    assert cauchy(law, Q @ F) == approx(Q @ stress @ Q.T, abs=1e-11 * (np.abs(law(right_cauchy_green(F))[2]).max()))


@given(stretches, stretches, angles, angles, exponents)
def test_ogden_has_no_direction(first, second, angle, other, exponent):
    """The energy does not depend on the direction of the stretches to the lines."""
    law = partial(ogden, shear_MPa=0.01, exponent=exponent)
    one, two = law(stretched(first, second, angle))[0], law(stretched(first, second, other))[0]
    assert one == approx(two, rel=1e-11, abs=1e-16)


@given(stretches, stretches, angles, angles)
def test_fully_dispersed_fibres_have_no_direction(first, second, angle, other):
    """dispersion 1/3: psi = mu/2 (I1 - 3) + k1/k2 (exp(k2 (I1 - 3)^2/9) - 1), whatever the fibres' angle."""
    I1 = first**2 + second**2 + (first * second) ** -2
    wanted = MU / 2 * (I1 - 3) + 0.05 / 10 * np.expm1(10 * (I1 - 3) ** 2 / 9)
    for turn, degrees in ((angle, 40), (other, 0)):
        law = fibres(dispersion=1 / 3, fibre_angle_rad=radians(degrees))
        assert law(stretched(first, second, turn))[0] == approx(wanted, rel=1e-11, abs=1e-16)


@given(stretches, stretches, angles)
def test_fibres_are_symmetric_about_the_lines(first, second, angle):
    """Skin seen in a mirror along the lines, or turned by 90 degrees with its fibres, has the same energy."""
    here = fibres()(stretched(first, second, angle))[0]
    assert fibres()(stretched(first, second, -angle))[0] == approx(here, rel=1e-11, abs=1e-16)
    turned = fibres(fibre_angle_rad=np.pi / 2 - FIBRES["fibre_angle_rad"])
    assert turned(stretched(first, second, angle + np.pi / 2))[0] == approx(here, rel=1e-11, abs=1e-16)


@given(stretches, stretches, angles)
@example(1.2, 1.2, 0.0)
def test_ogden_of_exponent_two(first, second, angle):
    """With alpha = 2 Ogden's law is the neo-Hookean one, in all derivatives."""
    C = stretched(first, second, angle)
    for one, other in zip(ogden(C, shear_MPa=0.01, exponent=2), neo_hooke(C, shear_MPa=0.01), strict=True):
        assert one == approx(other, rel=1e-12, abs=1e-15)


@given(stretches, stretches, angles)
def test_fibres_of_no_stiffness(first, second, angle):
    """What the fibres add is proportional to k1; with k1 = 1e-18 MPa the law is neo-Hookean to round-off."""
    C = stretched(first, second, angle)
    laws = partial(neo_hooke, shear_MPa=0.01), *(fibres(fibre_MPa=k1) for k1 in (1e-18, 0.05, 0.1))
    for bare, none, some, twice in zip(*(law(C) for law in laws), strict=True):
        assert none == approx(bare, rel=1e-12, abs=1e-15)
        assert twice - bare == approx(2 * (some - bare), rel=1e-9, abs=1e-15)


def test_fibres_that_do_not_stiffen():
    """With k2 -> 0 the fibres' energy is k1/2 E^2 each; here E = a^2 - 1 of both along the lines."""
    a = 1.2
    added = fibres(stiffening=1e-12, dispersion=0, fibre_angle_rad=0)(np.array([a**2, 1 / a, 0]))[0]
    assert added == approx(MU / 2 * (a**2 + 2 / a - 3) + 0.05 * (a**2 - 1) ** 2, rel=1e-11)


@pytest.mark.parametrize("dispersion", [0, 0.15])
@pytest.mark.parametrize("a", [0.8, 0.99])
def test_fibres_carry_no_compression(dispersion, a):
    """A strip shortened along its fibres is as its ground substance alone: no stress and no stiffness of fibres."""
    C = np.array([a**2, 1 / a, 0.0])
    bare = neo_hooke(C, shear_MPa=0.01)
    for one, other in zip(fibres(dispersion=dispersion, fibre_angle_rad=0)(C), bare, strict=True):
        assert one == approx(other, rel=1e-14)


def test_one_family_is_slack():
    """Sheared, the family that is shortened does nothing: the stress is that of the stretched one alone."""
    F = np.array([[1, 0.3], [0, 1]])
    m = F @ [np.sqrt(0.5), np.sqrt(0.5)]
    E = m @ m - 1
    wanted = MU * np.array([[0.09, 0.3], [0.3, 0]]) + 0.1 * E * np.exp(10 * E**2) * np.outer(m, m)
    assert cauchy(fibres(dispersion=0, fibre_angle_rad=np.pi / 4), F) == approx(wanted, rel=1e-12, abs=1e-15)


@pytest.mark.parametrize("exponent", [1, -1])
def test_where_ogden_softens(exponent):
    """d2psi/da^2, the other stretch held: 2 mu/alpha ((alpha - 1) a^(alpha - 2) + (alpha + 1) a^(-alpha - 2) b^-alpha).

    Positive for all stretches if |alpha| >= 1, negative for large ones (4 at 0.9) below: such a sheet necks.
    """

    def stiffness(alpha, a):
        C = np.array([a**2, a**2, 0.0])
        _, dpsi, ddpsi = ogden(C, shear_MPa=MU, exponent=alpha)
        return 2 * dpsi[0] + 4 * C[0] * ddpsi[0, 0]

    for a in (0.5, 1.0, 2.0, 4.0):
        expected = ((exponent - 1) * a ** (exponent - 2) + (exponent + 1) * a ** (-2 * exponent - 2)) / exponent
        assert stiffness(exponent, a) == approx(2 * MU * expected, rel=1e-12)
        assert expected > 0
    assert stiffness(0.9 * exponent, 4.0) < 0


# Natural tension ------------------------------------------------------------------------------------------


def test_young_modulus_of_ogden():
    """E = 3 mu of an incompressible solid, for every exponent."""
    for exponent in (-9, 1, 9, 26):
        assert young_modulus(partial(ogden, shear_MPa=0.01, exponent=exponent)) == approx(0.03, rel=1e-12)


@given(st.floats(0, 90), st.floats(0, 1 / 3))
def test_young_modulus_of_fibres(degrees, dispersion):
    """At C = 1 fibres are slack to the last digit, whatever their angle: the 3 mu of the ground substance."""
    assert young_modulus(fibres(fibre_angle_rad=radians(degrees), dispersion=dispersion)) == approx(0.03, rel=1e-12)


@every_law
@given(st.floats(-0.002, 0.1), st.floats(-0.002, 0.1))
@example(0.0, 0.0)
@example(0.1, -0.002)
def test_natural_stretch_carries_the_tension_asked_for(variant, along, across):
    """From tension to stretch and back, for every law, slight compression included. N/mm."""
    law = law_of(variant)
    found = stretch_under(law, np.array([along, across]), h=1.5)
    assert tension(law, found, h=1.5) == approx(np.array([along, across]), abs=1e-10 * max(0.1, 1.5 * 3 * MU))


@given(
    st.floats(1e-4, 1),
    st.floats(0.01, 1000),
    st.floats(0, 1 / 3),
    st.floats(0, 90),
    st.floats(0.1, 10),
    st.floats(0.1, 10),
)
def test_natural_stretch_of_strongly_stiffening_skin(fibre_MPa, stiffening, dispersion, degrees, along, across):
    """Any fibres, and any tension of a tenth to ten times the shear modulus times the thickness."""
    law = fibres(fibre_MPa=fibre_MPa, stiffening=stiffening, dispersion=dispersion, fibre_angle_rad=radians(degrees))
    wanted = MU * np.array([along, across])
    assert tension(law, stretch_under(law, wanted, h=1.0), h=1.0) == approx(wanted, abs=1e-10 * 10 * MU)


def test_skin_stretches_less_along_its_fibres():
    """Under the same tension both ways, fibres near the lines hold the skin along them; at 45 degrees it is alike."""
    along, across = stretch_under(fibres(fibre_angle_rad=radians(20)), np.array([0.01, 0.01]), h=1.5)
    assert 1 < along < across - 0.05
    same = stretch_under(fibres(fibre_angle_rad=np.pi / 4), np.array([0.01, 0.01]), h=1.5)
    assert same[0] == approx(same[1], rel=1e-10)


@pytest.mark.parametrize("lines", np.radians([0, 25, 90, -140]))
@pytest.mark.parametrize("variant", ["ogden", "ogden-26", "fibres", "fibres-along", "fibres-across"])
def test_uncut_skin_is_at_rest(variant, lines):
    """Under 20 and 10 N/m along and across lines at any angle, inner nodes are at rest, the stress as asked for."""
    law, h = law_of(variant), 1.5
    m, stretch = patch(5), stretch_under(law, np.array([0.02, 0.01]), h=h)
    skin = sheet(m, law=law, h=h, stretch=stretch, lines=lines)
    r = assemble(skin, flat(m))[1]
    inner = np.setdiff1d(np.arange(m.X.shape[1]), m.rim)
    stiffness = 4 * h * np.abs(law(np.array([*stretch**2, 0]))[2]).max()
    assert np.abs(r[:, inner]).max() < 1e-14 * stiffness
    assert np.abs(r[:, m.rim]).max() > 1e-3 * 0.02
    stress = cauchy_stress(skin, flat(m))[0]
    assert stress[0] == approx(np.full_like(stress[0], 0.01 / h), rel=1e-9)
    assert stress[1] == approx(np.full_like(stress[1], 0.02 / h), rel=1e-9)


# In a case ------------------------------------------------------------------------------------------------

CASE = """\
name: a
wound: {outline: {kind: circle, diameter_mm: 20}}
skin: {thickness_mm: 2, law: LAW, tension: {along_N_per_m: 20, across_N_per_m: 10}}
patch: {radius_mm: 100}
"""
GOOD = {
    "ogden": "{kind: ogden, shear_kPa: 10, exponent: 9}",
    "fibres": "{kind: gasser-ogden-holzapfel, shear_kPa: 10, fibre_kPa: 50, stiffening: 10, dispersion: 0.15, "
    "fibre_angle_deg: 40}",
}


@pytest.mark.parametrize(
    ("law", "old", "new", "message"),
    [
        ("ogden", "shear_kPa: 10", "shear_kPa: -1", "law.shear_kPa: got -1, wanted greater than 0"),
        ("ogden", "exponent: 9", "exponent: 0", "law.exponent: got 0, wanted -50 to -1, or 1 to 50"),
        ("ogden", "exponent: 9", "exponent: -0.9", "law.exponent: got -0.9, wanted -50 to -1, or 1 to 50"),
        ("ogden", "exponent: 9", "exponent: 51", "law.exponent: got 51, wanted -50 to -1, or 1 to 50"),
        ("ogden", "exponent: 9", "exponent: nine", "law.exponent: got 'nine', wanted a number"),
        ("ogden", ", exponent: 9", "", "law: missing key 'exponent'; needed: kind, shear_kPa, exponent"),
        ("fibres", "shear_kPa: 10", "shear_kPa: 0", "law.shear_kPa: got 0, wanted greater than 0"),
        ("fibres", "fibre_kPa: 50", "fibre_kPa: -50", "law.fibre_kPa: got -50, wanted greater than 0"),
        ("fibres", "stiffening: 10", "stiffening: 0", "law.stiffening: got 0, wanted greater than 0"),
        ("fibres", "0.15", "-0.01", "law.dispersion: got -0.01, wanted greater than or equal to 0"),
        ("fibres", "0.15", "0.34", "law.dispersion: got 0.34, wanted less than or equal to 0.333"),
        ("fibres", "deg: 40", "deg: 91", "law.fibre_angle_deg: got 91, wanted less than or equal to 90"),
        ("fibres", "deg: 40", "deg: -1", "law.fibre_angle_deg: got -1, wanted greater than or equal to 0"),
    ],
)
def test_bad_parameters(law, old, new, message):
    """A parameter out of its range is refused where it stands, with the range."""
    good = CASE.replace("LAW", GOOD[law])
    assert parse(good, Case, "a.yaml").skin.law.shear_kPa == 10
    with pytest.raises(BadCase, match=r"^a\.yaml:3:\d+: skin\." + re.escape(message)):
        parse(good.replace(old, new, 1), Case, "a.yaml")


@pytest.mark.parametrize("exponent", [-50, -1, 1, 50])
def test_good_exponents(exponent):
    """The ends of both ranges are allowed."""
    written = CASE.replace("LAW", GOOD["ogden"].replace("9", str(exponent)))
    assert parse(written, Case, "a.yaml").skin.law.exponent == exponent


def pivots(closure):
    """Negative pivots of the tangent of a closed wound, and the largest force left on a free node, N."""
    sewing = constraints.constraints(closure.gaping, np.hstack(closure.mesh.seams), closure.mesh.rim)
    problem, q = solve.problem(closure.sheet, sewing), constraints.independent(sewing, closure.x, 1.0)
    here = solve.state(problem, q, closed=1.0, load=np.zeros_like(closure.x))
    return solve.negative_pivots(problem, q), np.abs(here.forces).max()


@pytest.mark.slow
@pytest.mark.parametrize(
    ("law", "lines_deg"),
    [("ogden", 0), ("fibres", 0), ("fibres", 45)],
    ids=["ogden", "fibres", "fibres-turned"],
)
def test_closure(law, lines_deg):
    """The demo's 3:1 lens on coarse triangles in skin that stiffens, on a bed: it gapes, closes and is stable.

    Half a turn maps wound and lines upon themselves, so both cones are alike.
    """
    path = Path(__file__).parents[2] / "configs" / "demo" / "lens-3-1.yaml"
    lines = {"along_N_per_m": 12, "across_N_per_m": 6, "lines_deg": lines_deg}
    blocks = {
        "skin": {"thickness_mm": 2, "law": YAML(typ="safe").load(GOOD[law]), "tension": lines},
        "bed": {"normal_kPa_per_mm": 1, "shear_kPa_per_mm": 0.1},
        "mesh": {"edge_mm": 3, "tip_mm": 3, "far_mm": 20},
    }
    case = parse(json.dumps(YAML(typ="safe").load(path) | blocks), Case, path)
    closure = closed(case)
    negative, residual = pivots(closure)
    assert negative == 0
    assert residual < 1e-8 * 3 * MU * 2 * 3  # of E h edge_mm
    found = measures(closure)
    assert found["gape_width_mm"] > 20
    assert 0.5 < found["cone_height_mm"] < 10
    assert 0.2 < found["closing_force_N"] < 20
    assert found["skin_stretch_max"] > 1.1
    left, right = (cone["height_mm"] for cone in found["cones"])
    assert left == approx(right, rel=0.05)
