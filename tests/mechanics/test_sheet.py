"""Energy, forces and tangent of the sheet against differences and closed forms."""

from dataclasses import replace

import numpy as np
import pytest
import skfem
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from fem.geometry.curve import polyline
from fem.mechanics import constraints
from fem.mechanics.kernels.elastic_foundation import GRADUAL
from fem.mechanics.mesh import mesh
from fem.mechanics.quadratic import interpolated
from fem.mechanics.sheet import PENALTY, ElasticFoundation, assemble
from fem.mechanics.triangulation import from_triangulation
from fem.plan.plan import Plan
from fem.verification.library import D, skin, tangent
from fem.verification.problems import crumpled, disc, flat, patch, rubber, sewn_flat, unsewn


def sewn_disc():
    """A coarse disc without a wedge of 40 degrees, sewn shut: mesh, sewing, positions."""
    m = disc(rings=3, wedge=np.radians(40))
    x = sewn_flat(m, np.radians(40))
    s = constraints.constraints(x, np.hstack(m.seams), np.zeros(0, int))
    q = crumpled(constraints.independent(s, x, 1.0))
    return m, s, constraints.positions(s, q, 1.0)


ONE_WAY = {"stretch": (1.2, 0.95), "lines": 0.4}  # natural tension


@pytest.mark.parametrize("share", [0.0, 0.3, 1.0])
@pytest.mark.parametrize("hinged", [False, True])
def test_forces_and_tangent_against_differences(share, hinged):
    """Of a crumpled sewn disc on its bed, along random directions; central differences err by step^2."""
    m, s, x = sewn_disc()
    bed = ElasticFoundation(*np.random.default_rng(2).uniform(0.01, 0.1, (3, m.undermined.size)))
    crumpled_skin = skin(m, foundation=bed, hinged=hinged, **ONE_WAY)
    K = tangent(crumpled_skin, s, x, share)
    q, step = constraints.independent(s, x, 1.0), 2e-6
    r = constraints.reduced(s, assemble(crumpled_skin, x, regularisation=share)[1])
    for d in np.random.default_rng(3).uniform(-1, 1, (3, *q.shape)):
        (ahead, r_ahead), (behind, r_behind) = (
            assemble(crumpled_skin, constraints.positions(s, q + sign * step * d, 1.0), regularisation=share)
            for sign in (1, -1)
        )
        assert (ahead - behind) / (2 * step) == approx((r * d).sum(), rel=1e-6)
        change = constraints.reduced(s, r_ahead - r_behind) / (2 * step)
        assert change.T.ravel() == approx(K @ d.T.ravel(), abs=1e-7 * np.abs(change).max())


@pytest.mark.parametrize("fold", [0.1, 1.5, 3.0, 3.14])
def test_an_edge_cannot_be_folded_over(fold):
    """A unit square of squares 1/4 wide, folded by an angle along its middle: 20 D/height tan^2(fold/2), and no limit.

    It resists no bending between, for its law is asked in the middle of its thickness only.
    """
    m = patch(4, skew=0.0)
    x, beyond = flat(m), np.maximum(m.X[0] - 0.5, 0)
    x[0] += (np.cos(fold) - 1) * beyond
    x[2] = np.sin(fold) * beyond
    Pi, _ = assemble(replace(skin(m), z=np.zeros(2)), x)
    assert Pi == approx(2 * PENALTY * D / 0.25 * np.tan(fold / 2) ** 2, rel=1e-6)


def test_hinged_seam_carries_no_moment():
    """A hinge leaves out the seam's kinks, and with them some energy of a crumpled sewn disc."""
    m, _, x = sewn_disc()
    stiff, hinged = skin(m), skin(m, hinged=True)
    assert len(stiff.edges) == 3  # between triangles, free, of the seam
    assert len(hinged.edges) == 2
    assert assemble(stiff, x)[0] != approx(assemble(hinged, x)[0], rel=1e-4)


def test_seam_is_as_stiff_as_uncut_skin():
    """A square cut along a line and sewn again has the energy and forces of the uncut one, crumpled."""
    whole = patch(4, skew=0.0)
    cut, twin = cut_in_the_middle(whole)
    x = crumpled(flat(whole))
    x_cut = x[:, twin]
    (Pi, r), (Pi_cut, r_cut) = (assemble(skin(m, **ONE_WAY), p) for m, p in ((whole, x), (cut, x_cut)))
    together = np.zeros_like(r)
    np.add.at(together, (slice(None), twin), r_cut)
    assert Pi_cut == approx(Pi, rel=1e-13)
    assert together == approx(r, abs=1e-12 * np.abs(r).max())


def cut_in_the_middle(whole):
    """The same square with two nodes for one along x = 1/2, sewn there; the whole one's node of each of its nodes."""
    tri = whole.tri
    line = np.flatnonzero(np.isclose(tri.p[0], 0.5))
    line = line[np.argsort(tri.p[1, line])]
    double = np.arange(tri.nvertices)
    double[line] = tri.nvertices + np.arange(line.size)
    right = tri.p[0, tri.t].mean(axis=0) > 0.5
    t = np.ascontiguousarray(np.where(right, double[tri.t], tri.t))
    p = np.hstack([tri.p, tri.p[:, line]])
    cut = from_triangulation(skfem.MeshTri(p, t, sort_t=False), [np.array([line, double[line]])])
    return cut, cKDTree(whole.X.T).query(cut.X.T)[1]


@settings(deadline=None, max_examples=25)
@given(st.tuples(*[st.floats(-3, 3)] * 3), st.tuples(*[st.floats(-5, 5)] * 3))
def test_rigid_motion_changes_nothing(turn, shift):
    """Energy of a crumpled sheet stays and its forces turn with it; a rigidly moved flat sheet has none."""
    m, _, x = sewn_disc()
    free = skin(m, **ONE_WAY)
    R = Rotation.from_rotvec(turn).as_matrix()
    (Pi, r), (moved_Pi, moved_r) = (assemble(free, p, regularisation=0.3) for p in (x, R @ x + np.c_[list(shift)]))
    assert moved_Pi == approx(Pi, rel=1e-12)
    assert moved_r == approx(R @ r, abs=1e-11 * np.abs(r).max())
    unstretched, round_off = skin(m, hinged=True), 1e-15 * 10  # of coordinates up to 10 mm
    moved = assemble(unstretched, R @ flat(m) + np.c_[list(shift)])[1]
    stiffest = np.abs(tangent(unstretched, unsewn(m), flat(m))).max()
    assert np.abs(moved).max() < 4 * round_off * stiffest


def test_forces_are_in_balance():
    """Without a bed the inner forces of a crumpled sewn disc have no resultant and no moment."""
    m, _, x = sewn_disc()
    r = assemble(skin(m, **ONE_WAY), x)[1]
    assert np.abs(r.sum(axis=1)).max() < 1e-13 * np.abs(r).sum()
    assert np.abs(np.cross(x, r, axis=0).sum(axis=1)).max() < 1e-13 * np.abs(r).sum()


def test_cylinder():
    """A square bent to radius R: Pi = D/2 / R^2 per area, for any Poisson ratio; quadratic triangles err by h^2.

    The arc keeps lengths, so that the membrane adds little; kinks and penalty cost nothing in the limit.
    """
    R = 2.0
    found = []
    for n in (8, 16):
        m = patch(n, skew=0.0)
        X, Y = m.X
        x = np.array([R * np.sin(X / R), Y, R * (1 - np.cos(X / R))])
        found.append(assemble(skin(m), x)[0] / (D / 2 / R**2))
    assert found[1] == approx(1, rel=2e-3)
    assert abs(found[1] - 1) < 0.3 * abs(found[0] - 1)  # order 2, a factor of 4


def test_bed_energy():
    """A square lifted by w and slid by (u, v): A/2 (k_n w^2 + k_s (u^2 + v^2)).

    Pushed down to -t, more by (push - pull)(t^2/2 - s t/2 + s^2/6), s over which the bed begins to push.
    """
    m = patch(3)
    one = np.ones(m.undermined.size)
    bare = skin(m)
    bedded = replace(bare, foundation=ElasticFoundation(push=0.3 * one, pull=0.2 * one, shear=0.1 * one))
    for w, more in ((0.5, 0.0), (-0.5, 0.1)):
        x = flat(m) + np.array([[0.3], [-0.4], [w]])
        Pi, r = assemble(bedded, x)
        expected = 0.5 * (0.2 * w**2 + 0.1 * 0.25) + more * (w**2 / 2 + GRADUAL * w / 2 + GRADUAL**2 / 6)
        assert Pi - assemble(bare, x)[0] == approx(expected, rel=1e-12)
        assert r.sum(axis=1) == approx([0.1 * 0.3, -0.1 * 0.4, 0.2 * w + more * (w + GRADUAL / 2)], rel=1e-10)


def test_contact_only_pushes():
    """Where nothing pulls the skin down, lifting it costs nothing, and pressing it does."""
    m = patch(3)
    contact = skin(m, foundation=ElasticFoundation(*np.array([[0.3], [0.0], [0.0]]) * np.ones(m.undermined.size)))
    up = assemble(contact, flat(m) + np.array([[0], [0], [0.2]]))
    down = assemble(contact, flat(m) - np.array([[0], [0], [0.2]]))
    assert up[0] == approx(0, abs=1e-15)
    assert np.abs(up[1]).max() < 1e-14
    assert down[0] == approx(0.3 * (0.2**2 / 2 - GRADUAL * 0.2 / 2 + GRADUAL**2 / 6), rel=1e-12)
    assert down[1][2].sum() == approx(-0.3 * (0.2 - GRADUAL / 2), rel=1e-12)


def test_contact_begins_gradually():
    """Energy, force and stiffness go on across the level of the bed and the depth where it pushes in full."""
    m = patch(3)
    bed = ElasticFoundation(*np.array([[0.3], [0.1], [0.0]]) * np.ones(m.undermined.size))
    contact = skin(m, law=rubber(0.0), foundation=bed)
    depths = np.linspace(-2 * GRADUAL, GRADUAL, 61)
    energy, force = np.array(
        [(Pi, r[2].sum()) for Pi, r in (assemble(contact, flat(m) + np.array([[0], [0], [w]])) for w in depths)]
    ).T
    step = depths[1] - depths[0]
    assert np.diff(energy) / step == approx((force[1:] + force[:-1]) / 2, abs=1e-6)
    stiffness = np.diff(force) / step
    assert stiffness[0] == approx(0.3) and stiffness[-1] == approx(0.1)
    assert np.abs(np.diff(stiffness)).max() < 1.01 * 0.2 * step / GRADUAL


def test_interpolated_quadratic():
    """A quadratic field lies in the space: its values anywhere, slightly off the mesh included, are exact."""
    m = disc(rings=4, wedge=np.radians(40))

    def field(X):
        return np.stack([1 + X[0] - X[1] ** 2, X[0] * X[1]])

    angle = np.radians(np.linspace(25, 335, 7))
    points = np.array([0.01, 0.4, 1.001])[:, None, None] * np.stack([np.cos(angle), np.sin(angle)])
    X = points.transpose(1, 0, 2).reshape(2, -1)
    assert interpolated(m, field(m.X), X) == approx(field(X), abs=1e-11)


def test_interpolated_beside_a_cut():
    """A field that jumps across a cut keeps either side's value at the cut itself, told by the points inside."""
    cut = polyline(np.array([[-5.0, 5.0], [0.0, 0.0]]))
    m = mesh(Plan(removed=(), seams=((cut, cut),), cuts=(cut,)), radius=20, edge=1.0, tip=1.0, far=4.0)
    side = np.zeros(m.X.shape[1])
    side[m.elements[:, m.tri.p[1, m.tri.t].mean(axis=0) > 0]] = 1.0
    at = np.array([[-3.05, 0.0, 2.1], [0.0, 0.0, 0.0]])
    away = np.array([[0.0], [0.1]])
    for sign, wanted in [(1, 1.0), (-1, 0.0)]:
        assert interpolated(m, side[None], at, inside=at + sign * away)[0] == approx([wanted] * 3, abs=1e-12)
