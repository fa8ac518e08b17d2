"""The theories that checks rest on meet values printed by others."""

import pytest
from pytest import approx

from fem.verification.plates import END_SHEAR, elastica
from fem.verification.theory import clamped_plate, cone_height, hencky, wedge_threshold


def test_elastica_is_the_published_one():
    """The exact inextensible beam meets the table's last row, rounded and slightly extensible, within 0.1 %."""
    assert [10 * part for part in elastica(4.0)] == approx(END_SHEAR[1.0], rel=1.1e-3)


def test_large_deflection():
    """The theory meets P = q a^4/64 D for small P, and Hencky's membrane for great P."""
    assert clamped_plate(1e-3, nu=0.5) == approx(1e-3 * 12 * 0.75 / 64, rel=1e-5)
    assert clamped_plate(1e5, nu=0.5) == approx(hencky(nu=0.5)[0] * 1e5 ** (1 / 3), rel=5e-3)  # edge layer: P^(-1/3)


@pytest.mark.parametrize(("nu", "b0"), [(0.2, 1.6827), (0.3, 1.7244), (0.4, 1.7769)])
def test_hencky(nu, b0):
    """4 C2 is the first coefficient b0 of Hencky's (1915) series, whose published values these are."""
    assert 4 * hencky(nu=nu)[1] == approx(b0, abs=1e-4)


@pytest.mark.parametrize(("nu", "Gamma"), [(0.0, 124.10), (0.3, 142.94), (0.5, 153.01)])
def test_threshold(nu, Gamma):
    """Ritz's method against values from the differential equation, printed to 0.01."""
    assert wedge_threshold(nu=nu) == approx(Gamma, abs=0.006)


@pytest.mark.parametrize(
    ("nu", "Gamma", "height"), [(0.3, 300, 0.6550), (0.5, 300, 0.6298), (0.3, 1000, 0.8497), (0.5, 5000, 0.9302)]
)
def test_cone_height(nu, Gamma, height):
    """Values from another solution of the same equations, printed to 0.0001."""
    assert cone_height(Gamma, nu=nu) == approx(height, abs=1e-4)
