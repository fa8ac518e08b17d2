"""Skin on curved bodies: uncut it stays where it is, whatever it is laid on; forces and tangent; frames of the skin."""

from dataclasses import replace

import numpy as np
import pytest
import skfem
from pytest import approx
from test_sheet import sewn_disc

from fem.geometry.surface import FLAT, cylinder, ellipsoid, laid, saddle, sphere
from fem.material.skin import tension
from fem.mechanics import constraints
from fem.mechanics.kernels.elastic_foundation import pressed_by
from fem.mechanics.sheet import ElasticFoundation, assemble, cauchy_stress, lift, sheet, uncut_energy
from fem.verification.library import tangent
from fem.verification.problems import rubber, square_on

LAW, H, STRETCH, LINES = rubber(0.1), 1.5, np.array([1.2, 1.1]), 0.4
BODIES = {
    "cylinder": cylinder(radius_mm=45.0, axis_rad=0.3),
    "concave cylinder": cylinder(radius_mm=-45.0),
    "sphere": sphere(radius_mm=85.0),
    "ellipsoid": ellipsoid(radius_along_mm=120.0, radius_across_mm=40.0, axis_rad=1.0),
    "saddle": saddle(radius_along_mm=-100.0, radius_across_mm=60.0),
}


def bed_of(mesh, push=4e-2, pull=2e-3, shear=1e-3):
    return ElasticFoundation(*np.array([[push], [pull], [shear]]) * np.ones(mesh.undermined.size))


def taut(mesh, **changes):
    return sheet(mesh, **{"law": LAW, "h": H, "stretch": STRETCH, "lines": LINES, **changes})


def inner(mesh):
    return np.setdiff1d(np.arange(mesh.X.shape[1]), mesh.rim)


@pytest.mark.parametrize("body", BODIES)
def test_uncut_skin_stays_where_it_is(body):
    """Taut skin on its bed: no force is left on any node but those that are held, and its energy is that of flat skin.

    What the bed bears is N : k0. Besides, dead loads hold what triangles err, and on bodies that are bent both ways
    what turning lines pull along the skin; on a cylinder each is below 2 % of the bed's, and falls faster than those.
    """
    held = []
    for n in (8, 16):
        m = square_on(laid(BODIES[body], 50.0), n)
        skin = taut(m, foundation=bed_of(m))
        Pi, r = assemble(skin, m.x0)
        pressed, nodes = lift(skin, skin.body.pressure), inner(m)
        assert np.abs(r[:, nodes]).max() < 1e-12 * np.abs(pressed).max()
        assert Pi == approx(uncut_energy(skin), rel=1e-6)
        held.append(np.abs(skin.held[:, nodes]).max() / np.abs(pressed[:, nodes]).max())
    if "cylinder" in body:
        assert held[0] < 2e-2 and held[1] < held[0] / 1.5  # shares of loads that fall by four themselves


@pytest.mark.parametrize("body", BODIES)
def test_frames_are_those_of_the_skin(body):
    """However the plan was laid, uncut skin is stretched by its natural stretch, and areas are those of the body."""
    surface = laid(BODIES[body], 50.0)
    m = square_on(surface, 16)
    skin = taut(m)
    wanted = tension(LAW, STRETCH, h=H) / H
    stress, stretch = cauchy_stress(skin, m.x0)
    assert stress[1] == approx(wanted.max(), rel=1e-12) and stress[0] == approx(wanted.min(), rel=1e-12)
    assert stretch == approx(1.2, rel=1e-12)
    s = np.linspace(-30, 30, 201)
    middles = (s[1:] + s[:-1]) / 2
    X = np.stack(np.meshgrid(middles, middles)).reshape(2, -1)
    exact = surface.stretches(X).prod(axis=0).sum() * (s[1] - s[0]) ** 2
    assert skin.area.weights.sum() == approx(exact, rel=1e-5)
    assert sum(at.sides.area.sum() for at in skin.edges) == approx(exact, rel=1e-4)


@pytest.mark.parametrize(("share", "closed"), [(0.0, 1.0), (0.3, 1.0), (0.3, 0.4)])
def test_forces_and_tangent_against_differences(share, closed):
    """Of a crumpled sewn disc on a small sphere, taut and on its bed, also while its seam is not yet closed."""
    m, s, x = sewn_disc()
    m = replace(m, surface=laid(sphere(radius_mm=2.5), 1.2))
    x = x + m.x0 - FLAT.place(m.X)
    s = constraints.constraints(x, np.hstack(m.seams), np.zeros(0, int))
    bed = ElasticFoundation(*np.random.default_rng(2).uniform(0.01, 0.1, (3, m.undermined.size)))
    skin = taut(m, h=0.05, foundation=bed)
    aids = {"regularisation": share, "closed": closed}
    q, step = constraints.independent(s, x, 1.0), 2e-6
    x = constraints.positions(s, q, 1.0)
    K = tangent(skin, s, x, share, closed=closed)
    r = constraints.reduced(s, assemble(skin, x, **aids)[1])
    for d in np.random.default_rng(3).uniform(-1, 1, (3, *q.shape)):
        (ahead, r_ahead), (behind, r_behind) = (
            assemble(skin, constraints.positions(s, q + sign * step * d, 1.0), **aids) for sign in (1, -1)
        )
        assert (ahead - behind) / (2 * step) == approx((r * d).sum(), rel=1e-6)
        change = constraints.reduced(s, r_ahead - r_behind) / (2 * step)
        assert change.T.ravel() == approx(K @ d.T.ravel(), abs=1e-7 * np.abs(change).max())


def turned(mesh, angle, surface):
    """The mesh turned about the origin by an angle, on a body."""
    c, s = np.cos(angle), np.sin(angle)
    R = np.array([[c, -s], [s, c]])
    tri = skfem.MeshTri(R @ mesh.tri.p, mesh.tri.t, sort_t=False)
    return replace(mesh, X=R @ mesh.X, tri=tri, surface=surface)


@pytest.mark.parametrize(("body", "turn"), [("cylinder", 0.0), ("sphere", 0.7)])
def test_turned_as_one(body, turn):
    """Plan, lines and body turned together change neither energy nor forces; on a sphere the body need not turn.

    So no closure changes, for it is the state of least energy. The splines of a body err by less than 1e-6 mm.
    """
    angle = 0.7
    on = {"cylinder": cylinder(radius_mm=45.0, axis_rad=0.2 + angle), "sphere": sphere(radius_mm=45.0)}[body]
    before = {"cylinder": cylinder(radius_mm=45.0, axis_rad=0.2), "sphere": sphere(radius_mm=45.0)}[body]
    m = square_on(laid(before, 50.0))
    other = turned(m, angle, laid(on, 50.0))
    R = np.eye(3)
    R[:2, :2] = [[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]]
    x = m.x0 + np.random.default_rng(1).uniform(-0.3, 0.3, m.x0.shape)
    Pi, r = assemble(taut(m, foundation=bed_of(m)), x)
    Pi_other, r_other = assemble(taut(other, lines=LINES + angle, foundation=bed_of(other)), R @ x)
    assert Pi_other == approx(Pi, rel=1e-8)
    assert r_other == approx(R @ r, abs=1e-6 * np.abs(r).max())


# The bed ---------------------------------------------------------------------------------------------------


def pushed(skin, x):
    """Force of the bed along z on the whole of a small patch at x, N per mm2."""
    bare = replace(skin, foundation=None)
    return -(assemble(skin, x)[1] - assemble(bare, x)[1])[2].sum() / skin.area.weights.sum()


@pytest.mark.parametrize(("R", "pull"), [(45.0, 2e-3), (45.0, 0.0), (-45.0, 2e-3), (-45.0, 0.0)])
def test_preload_of_the_bed(R, pull):
    """Uncut, it bears N : k0, up on a convex body, down on a concave one, where loosened skin has lost it.

    Loosened skin that is lifted by as much as the bed was pressed in is free of it; attached skin is then pulled back.
    """
    m = square_on(laid(cylinder(radius_mm=R), 5.0), 2, size=0.2)
    skin = taut(m, foundation=bed_of(m, pull=pull))
    p = np.mean(skin.body.pressure)
    lost = R < 0 and pull == 0
    assert pushed(skin, m.x0) == approx(0.0 if lost else p, rel=1e-4, abs=1e-12)
    d = skin.rest.mean()
    assert d == approx(0.0 if lost else p / pull if R < 0 else (p + (4e-2 - pull) * 0.005) / 4e-2, rel=1e-4)
    up = m.x0 + np.array([[0], [0], [d + 0.05]])
    assert pushed(skin, up) == approx(-pull * 0.05, rel=1e-2, abs=1e-9)


def test_depth_of_springs():
    """Where the stiffness goes over from pull to push, and beyond: the springs bear what they were pressed in for."""
    bed = ElasticFoundation(*np.array([[0.3], [0.1], [0.0]]) * np.ones(1))
    for p in (1e-5, 1e-3, 2e-3, 0.1):
        d = pressed_by(np.array([[p]]), bed).item()
        t = min(d, 0.01)
        assert 0.1 * d + 0.2 * (t**2 / 0.02 + d - t) == approx(p, rel=1e-12)


def test_skin_that_slides_around_a_limb_stays_on_it():
    """Slid by 10 mm around a cylinder of 45 mm it is less than 0.02 mm off the bed, by a plane it would be 1.1."""
    m = square_on(laid(cylinder(radius_mm=45.0), 20.0), 2, size=0.2)
    skin = sheet(m, law=LAW, h=H, foundation=bed_of(m, push=1.0, pull=1.0, shear=0.0))
    x = m.surface.place(m.X + np.array([[0.0], [10.0]]))
    w = np.sqrt(2 * (assemble(skin, x)[0] - assemble(replace(skin, foundation=None), x)[0]) / 0.04)
    assert w < 0.02
