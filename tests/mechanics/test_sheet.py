"""Energy, forces and tangent of the sheet against differences, scikit-fem's forms, and closed forms."""

from dataclasses import replace

import numpy as np
import pytest
import skfem
from hypothesis import given, settings
from hypothesis import strategies as st
from problems import bending_as, disc, flat, patch, plate, rubber, sewn_flat, springs, unsewn
from pytest import approx
from scipy.sparse import csr_array, triu
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation
from skfem.helpers import dd, ddot, dot, grad, trace

from fem.geometry.curve import polyline
from fem.mechanics import constraints
from fem.mechanics.kernels.elastic_foundation import GRADUAL
from fem.mechanics.kernels.storage import groups, pattern
from fem.mechanics.mesh import mesh
from fem.mechanics.quadratic import interpolated
from fem.mechanics.sheet import PENALTY, REACH, ElasticFoundation, assemble, cauchy_stress, lift, sheet
from fem.mechanics.triangulation import from_triangulation
from fem.plan.plan import Plan

E, H, NU = 0.1, 0.05, 0.5  # MPa, mm, -
D = E * H**3 / 12 / (1 - NU**2)  # N mm


def skin(mesh, **changes):
    return sheet(mesh, **{"law": rubber(E), "h": H, **changes})


def tangent(skin, sewing, x, share=0.0, closed=1.0):
    """Tangent (3 n_free, 3 n_free) of the independent nodes, three unknowns a node."""
    stored = pattern(sewing.free, skin.groups)
    data = np.zeros(stored.indices.size)
    assemble(skin, x, regularisation=share, closed=closed, tangent=groups(stored, data))
    upper = csr_array((data, stored.indices, stored.indptr))
    return upper + triu(upper, 1).T


def crumpled(x, seed=1):
    """Positions far from flat: a roll, a saddle and noise in every direction."""
    X, Y, _ = x
    wave = np.array([0.1 * np.sin(3 * Y), 0.15 * X * Y, 0.4 * np.sin(3 * X) + 0.3 * X * Y])
    return x + wave + np.random.default_rng(seed).uniform(-0.01, 0.01, x.shape)


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


def blocks(K):
    """K by component: (3, 3) of matrices over the nodes."""
    return [[K[i::3, j::3].toarray() for j in range(3)] for i in range(3)]


def same(found, form):
    return found == approx(form.toarray(), abs=1e-12 * np.abs(form).max())


def test_flat_membrane_is_plane_stress():
    """At rest the in-plane tangent is the plane-stress form with E = 3 mu, nu = 1/2 of scikit-fem."""
    m = patch(4)
    basis = skfem.Basis(m.tri, skfem.ElementTriP2(), intorder=4)
    K = blocks(tangent(skin(m), unsewn(m), flat(m)))
    stiffness = E * H / (1 - NU**2)

    for i in range(2):
        for j in range(2):

            @skfem.BilinearForm
            def plane_stress(u, v, w, i=i, j=j):
                du, dv = np.zeros((2, 2, 2, *w.x.shape[1:]))
                du[j], dv[i] = grad(u), grad(v)
                strain, other = (du + du.swapaxes(0, 1)) / 2, (dv + dv.swapaxes(0, 1)) / 2
                return stiffness * ((1 - NU) * ddot(strain, other) + NU * trace(strain) * trace(other))

            assert same(K[i][j], plane_stress.assemble(basis))
    mixed = max(np.abs(K[0][2]).max(), np.abs(K[1][2]).max())
    assert mixed < 1e-15 * np.abs(K[0][0]).max()  # in-plane and out-of-plane do not mix


@pytest.mark.parametrize("nu", [0.0, 0.5])
def test_flat_bending_is_the_interior_penalty_plate(nu):
    """At rest the out-of-plane tangent is the C0 interior penalty form of a plate (Brenner & Sung 2005).

        D int (1 - nu) D2w : D2v + nu Lap w Lap v
        + D int_edges  -{M(w)} [v,n] - {M(v)} [w,n] + penalty {1/h} [w,n] [v,n],   M = (1 - nu) w,nn + nu Lap w

    jumps taken at the middles of edges, h a triangle's height over the edge, penalty the sheet's and its reach.
    """
    m = patch(4)
    K = blocks(tangent(bending_as(skin(m, law=plate(E, poisson=nu)), D), unsewn(m), flat(m)))[2][2]

    @skfem.BilinearForm
    def form(u, v, _):
        return D * ((1 - nu) * ddot(dd(u), dd(v)) + nu * trace(dd(u)) * trace(dd(v)))

    @skfem.BilinearForm
    def edges(u, v, w):
        def moment(f):
            return (1 - nu) * np.einsum("i...,ij...,j...", w.n, dd(f), w.n) + nu * trace(dd(f))

        out_u, out_v = (-1.0) ** w.idx[0], (-1.0) ** w.idx[1]  # n is the first side's
        jump_u, jump_v = out_u * dot(grad(u), w.n), out_v * dot(grad(v), w.n)
        per_h = length[:, None] / 4 * (1 / area[0] + 1 / area[1])[:, None]
        return D * (-(moment(u) * jump_v + moment(v) * jump_u) / 2 + (PENALTY + REACH) * per_h * jump_u * jump_v)

    # ElementTriP2G has second derivatives; its numbering is that of ElementTriP2
    inside = skfem.Basis(m.tri, skfem.ElementTriP2G(), intorder=2)
    middle = np.array([[0.5]]), np.array([1.0])
    sides = [skfem.InteriorFacetBasis(m.tri, skfem.ElementTriP2G(), quadrature=middle, side=k) for k in (0, 1)]
    start, end = m.tri.p[:, m.tri.facets[:, sides[0].find]].transpose(1, 0, 2)
    length = np.hypot(*(end - start))
    area = (m.tri.mapping().detA / 2)[m.tri.f2t[:, sides[0].find]]
    assert same(K, form.assemble(inside) + skfem.asm(edges, sides, sides))


def test_membrane_forces_and_tangent_of_scikit_fem():
    """Crumpled: r_i = h int P_iJ N,J and K_ij = h int N,I A_iIjJ N,J, taken at the middles of the edges.

    P = mu (F - F C^-1 / det C),   A = dP/dF by central differences
    """
    m = patch(3)
    x = crumpled(flat(m))
    middles = np.array([[0.5, 0.5, 0.0], [0.0, 0.5, 0.5]]), np.full(3, 1 / 6)
    basis = skfem.Basis(m.tri, skfem.ElementTriP2(), quadrature=middles)
    F = np.stack([np.asarray(basis.interpolate(component).grad) for component in x])  # (3, 2, e, q)
    mu = E / 3

    def nominal(F):
        C = np.einsum("iI...,iJ...->IJ...", F, F)
        inverse = np.moveaxis(np.linalg.inv(np.moveaxis(C, (0, 1), (-2, -1))), (-2, -1), (0, 1))
        J2 = C[0, 0] * C[1, 1] - C[0, 1] ** 2
        return mu * (F - np.einsum("iJ...,JI...->iI...", F, inverse) / J2)

    membrane = bending_as(skin(m), 0.0)
    r = assemble(membrane, x)[1]
    K = blocks(tangent(membrane, unsewn(m), x))
    for i, P in enumerate(nominal(F)):
        force = skfem.LinearForm(lambda v, w, P=P: H * dot(P, grad(v))).assemble(basis)
        assert r[i] == approx(force, abs=1e-13 * np.abs(r).max())
        for j in range(3):
            A = _derivative(nominal, F, j)[i]  # dP_i/dF_j

            @skfem.BilinearForm
            def stiffness(u, v, w, A=A):
                return H * np.einsum("I...,IJ...,J...", grad(v), A, grad(u))

            assert K[i][j] == approx(stiffness.assemble(basis).toarray(), abs=1e-8 * E)


def _derivative(P, F, j, step=1e-6):
    """dP_iI/dF_jJ (3, 2, 2, ...) by central differences."""
    columns = []
    for J in range(2):
        ahead, behind = F.copy(), F.copy()
        ahead[j, J] += step
        behind[j, J] -= step
        columns.append((P(ahead) - P(behind)) / (2 * step))
    return np.stack(columns, axis=2)


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


def test_bed_matrix():
    """The tangent of a bed is its stiffness times the mass matrix of scikit-fem."""
    m = patch(3)
    nothing_else = skin(m, law=rubber(0.0), foundation=springs(m, normal=0.2, shear=0.1))
    K = blocks(tangent(nothing_else, unsewn(m), flat(m)))
    basis = skfem.Basis(m.tri, skfem.ElementTriP2(), intorder=4)
    mass = skfem.BilinearForm(lambda u, v, _: u * v).assemble(basis).toarray()
    for i, k in enumerate((0.1, 0.1, 0.2)):
        assert K[i][i] == approx(k * mass, abs=1e-16)


def test_lift():
    """A pressure of 2 MPa on a unit square: 2 N upward, with scikit-fem's shares of the nodes."""
    m = patch(3)
    f = lift(skin(m), 2.0)
    basis = skfem.Basis(m.tri, skfem.ElementTriP2(), intorder=4)
    assert f[2] == approx(skfem.LinearForm(lambda v, _: 2.0 * v).assemble(basis), abs=1e-15)
    assert f.sum(axis=1) == approx([0, 0, 2])


def test_principal_stress_of_a_stretched_square():
    """Stretched 1.3 along and 0.9 across a direction at 35 degrees: sigma_i = mu (a_i^2 - 1/(a_1 a_2)^2)."""
    m, a = patch(3), np.array([1.3, 0.9])
    c, s = np.cos(np.radians(35)), np.sin(np.radians(35))
    U = np.array([[c, -s], [s, c]]) @ np.diag(a) @ np.array([[c, s], [-s, c]])
    x = Rotation.from_rotvec([0.3, 1.2, -0.5]).as_matrix()[:, :2] @ U @ m.X
    stress, greatest = cauchy_stress(skin(m), x)
    expected = E / 3 * (a**2 - 1 / np.prod(a) ** 2)
    assert stress[1] == approx(np.full_like(stress[1], expected[0]), rel=1e-12)
    assert stress[0] == approx(np.full_like(stress[0], expected[1]), rel=1e-12)
    assert greatest == approx(np.full_like(greatest, 1.3))


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
