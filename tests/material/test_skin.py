"""The law's stresses in closed form, its derivatives, and the natural tension of uncut skin."""

from functools import partial

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx

from fem.material.laws import neo_hooke, young_modulus
from fem.material.skin import bending_stiffness, stretch_under, tension
from fem.mechanics.sheet import assemble, cauchy_stress, sheet
from fem.verification.problems import flat, patch, rubber

MU = 0.0333  # MPa
law = partial(neo_hooke, shear_MPa=MU)
stretches = st.floats(0.6, 1.8)
shears = st.floats(-0.6, 0.6)


@given(stretches, stretches, shears)
def test_derivatives_against_differences(c11, c22, c12):
    """dpsi/dC and d2psi/dC2 against central differences, whose error is step^2 and round-off / step."""
    C, step = np.array([c11, c22, c12 * np.sqrt(c11 * c22)]), 1e-5
    _, dpsi, ddpsi = law(C)
    ahead, behind = (law(C[:, None] + sign * step * np.eye(3)) for sign in (1, -1))
    scale = MU / np.linalg.det([[C[0], C[2]], [C[2], C[1]]]) ** 4
    assert (ahead[0] - behind[0]) / (2 * step) == approx(dpsi, abs=1e-8 * scale)
    assert (ahead[1] - behind[1]) / (2 * step) == approx(ddpsi, abs=1e-8 * scale)


@given(stretches, stretches)
def test_second_derivative_is_symmetric(c11, c22):
    """The tangent stiffness has the symmetry of second derivatives."""
    ddpsi = law(np.array([c11, c22, 0.3]))[2]
    assert ddpsi == approx(ddpsi.T, abs=1e-15)


def test_young_modulus():
    """E = 3 mu of an incompressible solid."""
    assert young_modulus(law) == approx(3 * MU, rel=1e-12)


def test_bending_stiffness():
    """E = 0.1 MPa, 1.5 mm thick, nu = 1/2: D = E h^3 / 12 (1 - nu^2) = 0.0375 N mm."""
    D = bending_stiffness(rubber(0.1), (1.0, 1.0), h=1.5)
    assert D == approx(0.0375 * np.array([[1, 0.5, 0], [0.5, 1, 0], [0, 0, 1]]))


@given(st.floats(-0.005, 0.1), st.floats(-0.005, 0.1))
def test_natural_stretch_carries_the_tension_asked_for(along, across):
    """From tension to stretch and back; slight compression is allowed. N/mm."""
    found = stretch_under(law, np.array([along, across]), h=1.5)
    assert tension(law, found, h=1.5) == approx(np.array([along, across]), abs=1e-10 * 1.5 * MU)


def test_natural_stretch_of_one_way_tension():
    """Skin pulled one way only is in uniaxial tension, T = h mu (a^2 - 1/a), and narrows by a^(-1/2)."""
    a, h = 1.15, 2.0
    assert stretch_under(law, np.array([h * MU * (a**2 - 1 / a), 0]), h=h) == approx(np.array([a, a**-0.5]))


def test_no_stretch_carries_more_than_the_law_can():
    """An energy with an upper bound bears no stress beyond some stretch; 10 mu is out of reach."""

    def bounded(C):
        psi, dpsi, ddpsi = law(C)
        return MU * np.tanh(psi / MU), dpsi / np.cosh(psi / MU) ** 2, ddpsi

    with pytest.raises(ValueError, match="no natural stretch"):
        stretch_under(bounded, np.array([10 * MU, 10 * MU]), h=1.0)


@pytest.mark.parametrize("lines", np.radians([0, 25, 90, -140]))
def test_uncut_skin_is_at_rest(lines):
    """Under uniform tension at any angle of the lines the forces on inner nodes vanish, those on the rim do not."""
    h, stretch = 1.5, stretch_under(law, np.array([0.02, 0.01]), h=1.5)
    m = patch(5)
    skin = sheet(m, law=law, h=h, stretch=stretch, lines=lines)
    r = assemble(skin, flat(m))[1]
    inner = np.setdiff1d(np.arange(m.X.shape[1]), m.rim)
    assert np.abs(r[:, inner]).max() < 1e-14 * 0.02
    assert np.abs(r[:, m.rim]).max() > 1e-3 * 0.02
    stress, greatest = cauchy_stress(skin, flat(m))
    assert stress[0] == approx(np.full_like(stress[0], 0.01 / h))
    assert stress[1] == approx(np.full_like(stress[1], 0.02 / h))
    assert greatest == approx(np.full_like(greatest, stretch[0]))


def test_direction_of_the_lines():
    """20 N/m along lines at 30 degrees and 10 N/m across pull a unit edge with T . normal, T = sum T_i e_i e_i.

    The shares of the upper and lower edges in the corners' forces cancel.
    """
    m, angle = patch(4), np.pi / 6
    stretch = stretch_under(rubber(0.1), np.array([0.02, 0.01]), h=1.5)
    skin = sheet(m, law=rubber(0.1), h=1.5, stretch=stretch, lines=angle)
    along, across = np.array([np.cos(angle), np.sin(angle)]), np.array([-np.sin(angle), np.cos(angle)])
    T = 0.02 * np.outer(along, along) + 0.01 * np.outer(across, across)
    right = np.isclose(m.X[0], 1)
    assert assemble(skin, flat(m))[1][:2, right].sum(axis=1) == approx(T @ [1, 0], rel=1e-12)
