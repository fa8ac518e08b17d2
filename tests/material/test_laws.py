"""Laws of elasticity: stresses in closed form, symmetries, limits."""

from functools import partial
from math import radians

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from laws_tried import (
    FIBRES,
    MU,
    VARIANTS,
    angles,
    every_law,
    fibres,
    law_of,
    right_cauchy_green,
    rotation,
    stretched,
    stretches,
)
from pytest import approx

from fem.material.laws import LAWS, neo_hooke, ogden

exponents = st.floats(1, 26) | st.floats(-26, -1)


def cauchy(law, F):
    """Cauchy stress F S F^T of an incompressible sheet with in-plane F (2, 2): S = 2 dpsi/dC, det F3 = 1."""
    S11, S22, twice_S12 = 2 * law(right_cauchy_green(F))[1]
    return F @ np.array([[S11, twice_S12 / 2], [twice_S12 / 2, S22]]) @ F.T


def test_every_law_is_tried():
    """A law that is added takes part in the tests below."""
    assert {kind for kind, _ in VARIANTS.values()} == set(LAWS)


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
