"""Skin that meets skin: what contact may not do; two sheets and a strip against formulas are checks of the book."""

from dataclasses import replace

import numpy as np
import pytest
from pytest import approx
from scipy.sparse import csr_array

from fem.errors import NotConverged
from fem.mechanics import solve
from fem.mechanics.constraints import independent, positions
from fem.mechanics.contact import ALONG, LARGEST, contact
from fem.mechanics.kernels.storage import Stored, pattern
from fem.verification.contact import E, H, long_strip, moved, onset, parts, problem_of, stacked, two_squares, width
from fem.verification.problems import strip


def energy_and_forces(met, x):
    r = np.zeros_like(x.T)
    Pi, pressed = met.assembled(np.ascontiguousarray(x.T), r)
    return Pi, r.T, pressed


def test_action_and_reaction():
    """Forces of contact, their moments, and what turns with it: nought to round-off; mirrored, the same energy."""
    mesh = two_squares(cells=2)
    x = stacked(mesh, 0.9 * H, 0.4)
    x[2] += 0.02 * x[0] * x[1]
    met = contact(parts(mesh), x)
    Pi, f, pressed = energy_and_forces(met, x)
    scale = np.abs(f).max()
    assert f.sum(axis=1) == approx(0, abs=1e-12 * scale)
    assert np.cross(x, f, axis=0).sum(axis=1) == approx(0, abs=1e-10 * scale)
    assert met.pairs.areas @ pressed == approx(0, abs=1e-12 * scale)
    turn = np.linalg.qr(np.random.default_rng(1).standard_normal((3, 3)))[0]  # and mirrors
    again = contact(parts(mesh), turn @ x)
    turned_Pi, turned_f, _ = energy_and_forces(again, turn @ x)
    assert turned_Pi == approx(Pi, rel=1e-12)
    assert turned_f == approx(turn @ f, abs=1e-10 * scale)


def test_forces_and_tangent_against_differences():
    """Forces are the energy's differences, tangents those of forces."""
    mesh = two_squares(cells=1)
    x = stacked(mesh, 0.9 * H, 0.4)
    met = contact(parts(mesh), x)
    n = x.shape[1]
    stored = pattern(np.arange(n), (met.pairs.nodes,))
    data = np.zeros(stored.indices.size)
    met.assembled(np.ascontiguousarray(x.T), np.zeros_like(x.T), Stored(data, stored.slots[0], stored.widths))
    upper = csr_array((data, stored.indices, stored.indptr), shape=(3 * n, 3 * n)).toarray()
    tangent = upper + np.triu(upper, 1).T
    way = np.random.default_rng(2).standard_normal(x.shape)
    (more, f_more, _), (less, f_less, _) = (energy_and_forces(met, x + t * way) for t in (1e-5, -1e-5))
    _, f, _ = energy_and_forces(met, x)
    assert (more - less) / 2e-5 == approx((f * way).sum(), rel=1e-6)
    assert (f_more - f_less) / 2e-5 == approx((tangent @ way.T.ravel()).reshape(-1, 3).T, abs=1e-6 * np.abs(f).max())


def test_large_triangles_have_no_contact():
    """Skin thinner than a twentieth of its triangles is left to pass; a little thicker it pushes."""
    mesh = two_squares(cells=2)
    known = parts(mesh)
    for thicknesses, pushes in ((1.01 * LARGEST, False), (0.99 * LARGEST, True)):
        thin = replace(known, h=known.longest.max() / thicknesses)
        assert contact(thin, stacked(mesh, 0.9 * thin.h)).pushes == pushes


def test_neighbours_are_no_contact():
    """A sheet that is flat, or squeezed to two thirds, meets nothing; a hairpin does, but not beside its bend."""
    mesh = strip(-20, 20, width=6, side=2)
    known = parts(mesh)
    line = np.vstack([mesh.X, 0 * mesh.X[0]])
    assert not contact(known, line).near
    assert not contact(known, line * [[2 / 3], [1], [1]]).near
    s = mesh.X[0]
    hairpin = np.array([np.abs(s), mesh.X[1], np.where(s > 0, 0.45, -0.45) * H])
    met = contact(known, hairpin)
    first, second = met.pairs.shapes[met.pairs.first], met.pairs.shapes[met.pairs.second]
    of = np.repeat(np.arange(len(met.pairs.nodes)), np.diff(met.pairs.starts))
    apart = np.abs((first * s[met.pairs.nodes[of, :6]]).sum(axis=1) - (second * s[met.pairs.nodes[of, 6:]]).sum(axis=1))
    assert apart.min() == approx(ALONG * H, abs=0.4 * H)


# A strip folded upon itself ----------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def strips():
    """A strip, as contact knows it; positions and energy where its ends had made both sides pass through each other.

    "met": they were kept from it; "passed": they were not.
    """
    mesh, k, found = long_strip(1), onset(), {}
    known = parts(mesh, E)
    _, q = moved(mesh, known, None, k - 0.02, k - 0.01)
    for name, some in (("met", known), ("passed", None)):
        problem, end = moved(mesh, some, q, k - 0.01, k + 0.03)
        found[name] = positions(problem.constraints, end, 1.0), solve.state(problem, end).energy
    return mesh, known, k + 0.03, found


def test_sides_of_a_fold_do_not_pass(strips):
    """Pressed on, they stay about a thickness apart, where they had passed; contact takes energy."""
    mesh, _, _, found = strips
    assert width(mesh, found["met"][0]) == approx(H, rel=0.05)
    assert width(mesh, found["passed"][0]) < 0
    assert found["met"][1] > found["passed"][1]


@pytest.mark.parametrize("watched", [False, True])
def test_skin_that_has_passed_is_told(strips, watched):
    """A state in which the sides have passed through each other is no rest, even if they had been kept apart before."""
    mesh, known, k, found = strips
    problem, _ = problem_of(mesh, known, k)
    if watched:
        solve.keep_apart(problem, contact(known, found["met"][0]))
    with pytest.raises(NotConverged, match="passed through skin"):
        solve.at_rest(problem, independent(problem.constraints, found["passed"][0], 1.0))
