"""The sheet as a shell: sewn discs against theory, when they buckle and how high their cones stand."""

from dataclasses import replace

import numpy as np
import pytest
from problems import NO_NODES, bending_as, disc, edge_load, outward, rubber, sewn_flat, springs
from pytest import approx
from theory import cone_height, wedge_threshold

from fem.mechanics import solve
from fem.mechanics.constraints import constraints, independent, positions
from fem.mechanics.sheet import sheet

# Discs without a wedge, sewn; radius 1, E h = 1 so that Gamma = s/D; nu = 1/2 --------------------------------
# The bed keeps the disc from drifting: ten times stiffer, it moves the threshold by 0.07 %. It is softer still
# against sliding, for sliding back to where it was cut would tilt a cone.

DRIFT = 1e-2  # of D/R^4
SLIDE = 1e-3


def sewn_disc(*, rings, wedge, Gamma):
    """Problem of a disc whose wedge is sewn."""
    m = disc(rings=rings, wedge=wedge)
    D = wedge / Gamma
    skin = sheet(m, law=rubber(1.0), h=1.0, foundation=springs(m, normal=DRIFT * D, shear=SLIDE * D))
    return m, solve.problem(bending_as(skin, D), constraints(sewn_flat(m, wedge), np.hstack(m.seams), NO_NODES))


def flat_state(m, sewn, *, wedge, tension=0.0):
    """Independent positions at rest of the disc pressed flat, with a dead load `tension`, N/mm, on the rim."""
    pressed = replace(
        sewn, sheet=replace(sewn.sheet, foundation=springs(m, normal=1.0, shear=SLIDE * sewn.sheet.D[0, 0]))
    )
    rim = m.tri.boundary_facets()
    rim = rim[np.isin(m.tri.facets[:, rim], m.rim).all(axis=0)]
    load = edge_load(m, rim, tension * outward(m, rim))
    q = independent(sewn.constraints, sewn_flat(m, wedge), 1.0)
    return solve.newton(pressed, q, closed=1.0, load=load, tol=1e-12)


def with_Gamma(m, sewn, *, wedge, Gamma):
    """The same problem with another bending stiffness; the flat state does not depend on it."""
    D = wedge / Gamma
    bed = springs(m, normal=DRIFT * D, shear=SLIDE * D)
    return replace(sewn, sheet=replace(bending_as(sewn.sheet, D), foundation=bed))


def buckling_threshold(*, rings, wedge, tension=0.0):
    """Gamma at which the flat disc gets its first negative pivot, by bisection to 0.05 %."""
    m, sewn = sewn_disc(rings=rings, wedge=wedge, Gamma=100.0)
    q = flat_state(m, sewn, wedge=wedge, tension=tension)

    def unstable(Gamma):
        return solve.negative_pivots(with_Gamma(m, sewn, wedge=wedge, Gamma=Gamma), q)

    low, high = 100.0, 400.0
    assert unstable(low) == 0
    assert unstable(high) > 0
    while high / low > 1.0005:
        middle = np.sqrt(low * high)
        low, high = (low, middle) if unstable(middle) else (middle, high)
    return np.sqrt(low * high)


def cone(*, rings, wedge, Gamma):
    """Height of the apex over the rim's centre, and the number of negative pivots, from a perfect cone's shape."""
    m, sewn = sewn_disc(rings=rings, wedge=wedge, Gamma=Gamma)
    base = 1 - wedge / (2 * np.pi)  # sine of the half-angle
    x = sewn_flat(m, wedge)
    x = np.array([base * x[0], base * x[1], -np.sqrt(1 - base**2) * np.hypot(*m.X)])
    q = independent(sewn.constraints, x, 1.0)
    q = solve.newton(sewn, q, closed=1.0, load=0 * x, tol=1e-12, max_iter=200)
    x = positions(sewn.constraints, q, 1.0)
    rim = m.rim[m.rim < m.tri.nvertices][:-1]  # the last is sewn to the first
    return np.linalg.norm(x[:, 0] - x[:, rim].mean(axis=1)), solve.negative_pivots(sewn, q)


@pytest.mark.parametrize(("nu", "Gamma"), [(0.0, 124.10), (0.3, 142.94), (0.5, 153.01)])
def test_theory_of_the_threshold(nu, Gamma):
    """Ritz's method against values from the differential equation, printed to 0.01."""
    assert wedge_threshold(nu=nu) == approx(Gamma, abs=0.006)


@pytest.mark.slow
@pytest.mark.parametrize("degrees", [0.5, 2])
def test_wedge_buckles_at_the_threshold(degrees):
    """The flat sewn disc is stable up to Gamma = 153.0, for a vanishing wedge; within 0.5 % at 0.5, 1 % at 2 degrees.

    24 rings add 0.3 %; theory leaves out terms of the order of the wedge over 2 pi.
    """
    found = buckling_threshold(rings=24, wedge=np.radians(degrees))
    expected = wedge_threshold(nu=0.5)
    assert found == approx(expected, rel=1e-2 if degrees == 2 else 5e-3)
    assert found > expected  # quadratic triangles with a penalty are too stiff, and so is a wedge that is not small


def test_threshold_converges():
    """The error of the threshold falls with the size of the triangles: 6 and 12 rings."""
    coarse, fine = (buckling_threshold(rings=r, wedge=np.radians(2)) / wedge_threshold(nu=0.5) - 1 for r in (6, 12))
    assert 0 < fine < 0.6 * coarse < 0.025


@pytest.mark.slow
def test_edge_tension_delays_buckling():
    """A dead pull on the rim of T R^2/D = 5 raises the threshold from 153 to 274; within 2 %."""
    wedge, ratio = np.radians(2), 5 / 274.2
    found = buckling_threshold(rings=16, wedge=wedge, tension=ratio * wedge)
    assert found == approx(wedge_threshold(nu=0.5, tension=ratio), rel=2e-2)
    assert found * ratio == approx(5, rel=2e-2)


def test_flat_below_the_threshold():
    """From the shape of a perfect cone, the disc falls flat at Gamma = 140 < 153 and stays there."""
    height, negative = cone(rings=12, wedge=np.radians(2), Gamma=140)
    assert height == approx(0, abs=1e-6)
    assert negative == 0


def test_a_cone_above_the_threshold():
    """At Gamma = 170 > 153 it stays up, much lower than the perfect cone: near the threshold errors are magnified."""
    height, negative = cone(rings=12, wedge=np.radians(2), Gamma=170)
    assert height / np.sqrt(np.radians(2) / np.pi) == approx(cone_height(170, nu=0.5), rel=0.1)
    assert negative == 0


@pytest.mark.slow
@pytest.mark.parametrize("Gamma", [300, 400, 1000])
def test_cone_height(Gamma):
    """Height of the cone of a 2 degree wedge beyond the threshold, in R sqrt(s/pi); within 1 %."""
    wedge = np.radians(2)
    height, negative = cone(rings=24, wedge=wedge, Gamma=Gamma)
    assert negative == 0
    assert height / np.sqrt(wedge / np.pi) == approx(cone_height(Gamma, nu=0.5), rel=1e-2)


@pytest.mark.parametrize(
    ("nu", "Gamma", "height"), [(0.3, 300, 0.6550), (0.5, 300, 0.6298), (0.3, 1000, 0.8497), (0.5, 5000, 0.9302)]
)
def test_theory_of_the_cone_height(nu, Gamma, height):
    """Values from another solution of the same equations, printed to 0.0001."""
    assert cone_height(Gamma, nu=nu) == approx(height, abs=1e-4)


@pytest.mark.slow
def test_large_thin_wedge_is_the_exact_cone():
    """60 degrees, Gamma = 2e4: height over slant just below sqrt(1 - (1 - 60/360)^2) = 0.5528; -6 % to 0."""
    height, negative = cone(rings=24, wedge=np.radians(60), Gamma=2e4)
    exact = np.sqrt(1 - (1 - 1 / 6) ** 2)
    assert negative == 0
    assert 0.94 * exact < height < exact
