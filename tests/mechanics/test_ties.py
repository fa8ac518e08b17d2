"""Threads and touching edges: closed forms, forces and tangent against differences."""

import numpy as np
import pytest
from pytest import approx

from fem.mechanics.ties import Contact, PenaltyTie, Thread, assembled, length, shortened, tension

RNG = np.random.default_rng(4)


def thread(rest, stations=4, m=9, fixed=False):
    """A thread of 3 N/mm through stations, each a mean of all nodes with weights of its own; the last may be fixed."""
    W = RNG.uniform(0, 1, (stations, m))
    W /= W.sum(axis=1, keepdims=True)
    place = np.zeros((stations, 3))
    if fixed:
        W[-1], place[-1] = 0, [4, 5, 6]
    return Thread(nodes=np.arange(m), W=W, fixed=place, stiffness=3.0, wanted=0.0, rest=rest)


def against_differences(tie, x, step=1e-5):
    """Forces and tangent on all nodes against central differences of the energy and the forces."""
    _, f, K = assembled(tie, x)
    for d in RNG.uniform(-1, 1, (3, *x.shape)):
        (ahead, f_ahead, _), (behind, f_behind, _) = (assembled(tie, x + sign * step * d) for sign in (1, -1))
        local = d[np.atleast_2d(tie.nodes)]
        assert (ahead - behind) / (2 * step) == approx((f * local).sum(), rel=1e-6, abs=1e-9)
        change = np.einsum("nabij,nbj->nai", K, local)
        assert (f_ahead - f_behind) / (2 * step) == approx(change, abs=1e-6 * np.abs(change).max())


@pytest.mark.parametrize(("stations", "rest"), [(2, 0.0), (2, 0.1), (5, 0.5)])
@pytest.mark.parametrize("fixed", [False, True])
def test_thread_against_differences(stations, rest, fixed):
    """A taut thread through two or five stations, drawn to nothing or to a length."""
    tie, x = thread(rest, stations, fixed=fixed), RNG.uniform(-3, 3, (9, 3))
    assert length(tie, x.T) > rest
    against_differences(tie, x)


def test_two_stations_drawn_together():
    """Two nodes 3-4-5 apart on a thread of 3 N/mm and 2 mm: 9 N along it; drawn to nothing it is a linear spring."""
    two = Thread(nodes=np.array([0, 1]), W=np.eye(2), fixed=np.zeros((2, 3)), stiffness=3.0, wanted=2.0, rest=2.0)
    x = np.array([[0.0, 0, 0], [3, 4, 0]])
    Pi, f, _ = assembled(two, x)
    assert (length(two, x.T), tension(two, x.T), Pi) == approx((5, 9, 3 / 2 * 9))
    assert f[0] == approx(np.array([[-5.4, -7.2, 0], [5.4, 7.2, 0]]))
    spring = Thread(nodes=np.array([0, 1]), W=np.eye(2), fixed=np.zeros((2, 3)), stiffness=3.0, wanted=0.0, rest=0.0)
    for far in (1.0, 0.0):
        K = assembled(spring, far * x)[2][0]
        assert K == approx(3 * np.einsum("ab,ij->abij", [[1, -1], [-1, 1]], np.eye(3)))


def test_slack_thread_does_nothing():
    """A thread that is longer than its stations are apart has no energy, force or stiffness."""
    x = RNG.uniform(-3, 3, (9, 3))
    for rest in (100.0, np.inf):
        tie = thread(rest)
        assert tension(tie, x.T) == 0
        assert all(not np.any(part) for part in assembled(tie, x))


def bond(tied=True):
    """A bond of 3 N/mm over four samples of two edges with four nodes each."""
    W = RNG.uniform(0, 1, (2, 4, 4))
    W /= W.sum(axis=2, keepdims=True)
    return PenaltyTie(nodes=np.arange(1, 9), W=np.hstack([W[0], -W[1]]), stiffness=3.0, tied=tied)


def test_bond_against_differences():
    against_differences(bond(), RNG.uniform(-3, 3, (9, 3)))


def test_bond_carries_the_mean_of_its_gaps():
    """Edges 3-4-5 apart all along a bite: 3 N/mm over 5 mm, in the direction of the gap; nothing before it is tied."""
    x = np.zeros((9, 3))
    x[1:5] = [3, 4, 0]
    assert tension(bond(tied=False), x.T) == 0
    assert all(not np.any(part) for part in assembled(bond(tied=False), x))
    Pi, f, _ = assembled(bond(), x)
    assert (tension(bond(), x.T), Pi) == approx((15, 3 / 2 * 5**2))
    assert f[0, :4].sum(axis=0) == approx([9, 12, 0]) and f.sum(axis=1) == approx(0)


def test_thread_drawn_by_a_share():
    """From the 5 mm that its stations are apart to the 1 mm wanted: by half to 3 mm; one that is slack stays."""
    x = np.array([[0.0, 0, 0], [3, 4, 0]]).T
    two = Thread(nodes=np.array([0, 1]), W=np.eye(2), fixed=np.zeros((2, 3)), stiffness=3.0, wanted=1.0)
    assert tension(two, x) == 0
    assert shortened(two, x, 0.5).rest == approx(3)
    assert shortened(two, 0.1 * x, 0.5).rest == approx(1)


def edges(gap):
    """Three points along two edges `gap` mm from the x axis and a Contact of 2 N/mm2 that all of them face."""
    first = np.array([[k, gap / 2, 0.3 * k] for k in range(3)], float)
    normals = np.array([[0.0, 0, 0], [1, 1, 1], [0, 0, 0]])
    touch = Contact(nodes=np.array([[0, 3], [1, 4], [2, 5]]), normals=normals, weights=np.ones(3), stiffness=2.0)
    return touch, np.vstack([first, first * [1, -1, -1]])


def test_edges_that_are_apart_do_not_touch():
    """Edges 0.5 mm apart push nothing."""
    assert all(not np.any(part) for part in assembled(*edges(0.5)))


def test_edges_that_pass_through_each_other_are_pushed_apart():
    """Three points 0.5 mm through: 2/2 0.5^2 mJ each, 1 N on each point, across the edges and level."""
    Pi, f, _ = assembled(*edges(-0.5))
    assert Pi == approx(3 * 0.25)
    assert f[:, 0] == approx(np.tile([0, -1, 0], (3, 1)))  # the energy falls as the first edge moves up
    assert f[:, 1] == approx(np.tile([0, 1, 0], (3, 1)))


def test_touching_edges_against_differences():
    """Uneven edges, some points of which touch."""
    touch, x = edges(-0.5)
    against_differences(touch, x + RNG.uniform(-0.2, 0.2, x.shape))
