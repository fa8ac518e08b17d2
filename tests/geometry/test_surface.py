"""Bodies: maps against closed forms, feet of perpendiculars, what a body cannot carry."""

import math

import numpy as np
import pytest
from pytest import approx

from fem.geometry.surface import FLAT, SURFACES, TooWide, cylinder, distortion, ellipsoid, laid, saddle, sphere, within

BODIES = {
    "cylinder": cylinder(radius_mm=45.0, axis_rad=0.3),
    "sphere": sphere(radius_mm=85.0),
    "concave sphere": sphere(radius_mm=-85.0),
    "ellipsoid": ellipsoid(radius_along_mm=120.0, radius_across_mm=40.0, axis_rad=1.0),
    "concave ellipsoid": ellipsoid(radius_along_mm=-60.0, radius_across_mm=-90.0),
    "saddle": saddle(radius_along_mm=-100.0, radius_across_mm=60.0, axis_rad=-0.4),
}
X = within(60.0, 31)
EVERY = pytest.mark.parametrize("body", BODIES)


def test_ellipsoid_of_equal_radii_is_a_sphere():
    """Geodesics, by a method of eighth order, against great circles; convex and concave."""
    for R in (85.0, -85.0):
        ball = ellipsoid(radius_along_mm=R, radius_across_mm=R, axis_rad=0.7)
        assert ball(X) == approx(sphere(radius_mm=R)(X), abs=1e-8)


def test_principal_curvatures_at_the_origin():
    """z = -(x^2/2 R + y^2/2 R') near it, whatever the axis: here along y."""
    for kind, R, other in ((ellipsoid, 120.0, 40.0), (saddle, -100.0, 60.0)):
        on = kind(radius_along_mm=R, radius_across_mm=other, axis_rad=np.pi / 2)
        x, y, z = on(np.array([[0.1, 0.0, 0.1], [0.0, 0.1, 0.1]]))
        assert z == approx(-(x**2 / other + y**2 / R) / 2, rel=1e-5)


@EVERY
def test_lines_through_the_origin_keep_their_length(body):
    """And start in their direction: a geodesic polar map."""
    for angle in (0.0, 1.0, 2.5):
        s = np.linspace(0, 60, 2001)
        p = BODIES[body](s * np.array([[np.cos(angle)], [np.sin(angle)]]))
        assert np.linalg.norm(np.diff(p), axis=0).sum() == approx(60, rel=1e-6)
        assert p[:, 1] / s[1] == approx([np.cos(angle), np.sin(angle), 0], abs=1e-3)


@EVERY
def test_splines_and_feet(body):
    """Splines go through the map within 1e-6 of its radius; 8 mm above the body, and 3 below, the foot is found."""
    surface = laid(BODIES[body], 60.0)
    assert surface.place(X) == approx(BODIES[body](X), abs=1e-4)
    heights = np.random.default_rng(0).uniform(-3, 8, X.shape[1])
    over = np.vstack([X, heights])
    assert surface.over(surface.lifted(over)) == approx(over, abs=1e-9)


def test_heights_on_cylinder_and_sphere():
    """Distance to the axis or the middle, less the radius."""
    x = np.random.default_rng(1).uniform(-30, 30, (3, 50)) * [[1], [1], [0.1]]
    limb, ball = laid(cylinder(radius_mm=45.0), 60.0), laid(sphere(radius_mm=85.0), 60.0)
    assert limb.over(x)[2] == approx(np.hypot(x[1], x[2] + 45) - 45, abs=1e-5)
    assert ball.over(x)[2] == approx(np.linalg.norm(x - np.array([[0], [0], [-85]]), axis=0) - 85, abs=1e-5)


def test_flat():
    """The plan itself, heights those of z, and no distortion."""
    x = np.random.default_rng(2).normal(size=(3, 9))
    assert (FLAT.over(x) == x).all() and (FLAT.lifted(x) == x).all() and distortion(FLAT, 60.0) == 0
    assert laid(SURFACES["flat"](), 60.0) is FLAT


def test_distortion():
    """None on a cylinder; on a sphere circles of the radius r are sin(r/R) R/r as long."""
    assert distortion(laid(cylinder(radius_mm=45.0), 60.0), 60.0) < 1e-6
    assert distortion(laid(sphere(radius_mm=85.0), 60.0), 60.0) == approx(1 - np.sinc(60 / 85 / np.pi), rel=1e-4)


@pytest.mark.parametrize(
    ("kind", "keys", "radius", "message"),
    [
        ("cylinder", {"radius_mm": 0.0}, 60, "radius_mm 0: wanted 2 mm or more, or if concave -2 or less"),
        ("sphere", {"radius_mm": 1.0}, 60, "radius_mm 1: wanted 2 mm or more"),
        ("ellipsoid", {"radius_along_mm": 60.0, "radius_across_mm": -60.0}, 60, "one of each makes a saddle"),
        ("saddle", {"radius_along_mm": 60.0, "radius_across_mm": 60.0}, 60, "make an ellipsoid"),
        ("cylinder", {"radius_mm": 20.0}, 70, "radius_mm 70 wraps onto itself there; wanted radius_mm 6.* or less"),
        ("sphere", {"radius_mm": 30.0}, 70, "more than 50 % there; wanted radius_mm 56.* or less"),
        ("saddle", {"radius_along_mm": -20.0, "radius_across_mm": 20.0}, 100, "more than 50 %"),
        ("file", {}, 60, "needed: file, at_mm and along"),
    ],
)
def test_what_carries_no_patch(kind, keys, radius, message):
    with pytest.raises(ValueError, match=message):
        laid(SURFACES[kind](**keys), radius)


@pytest.mark.parametrize(
    ("kind", "most"),
    [
        ("sphere", 1.8955 * 30),  # sin(a)/a = 1/2 at a = 1.8955: all around, lengths are half of those on the plan
        ("cylinder", math.pi * 30),  # the patch goes once around
    ],
)
def test_the_greatest_patch(kind, most):
    """The radius that is named is carried, and no more than 3 % below the greatest."""
    with pytest.raises(TooWide) as error:
        laid(SURFACES[kind](radius_mm=30.0), 110)
    assert 0.97 * most < error.value.most < most
    laid(SURFACES[kind](radius_mm=30.0), error.value.most)
