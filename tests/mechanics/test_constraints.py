"""Sewing: who follows whom, positions from independent nodes and back, the pattern of the tangent."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx
from scipy.sparse import coo_array, csr_array, triu

from fem.mechanics.constraints import constraints, independent, positions, reduced
from fem.mechanics.kernels.storage import groups, pattern
from fem.mechanics.sheet import assemble, sheet
from fem.verification.problems import disc, flat, patch, rubber, unsewn

fractions = st.floats(0, 1)


def six(seed=0):
    """Six nodes somewhere."""
    return np.random.default_rng(seed).uniform(-1, 1, (3, 6))


PAIRS = np.array([[0, 3], [1, 4]])  # 0 with 1, 3 with 4


@given(fractions)
def test_gap_closes_evenly(closed):
    """Partners are as far apart as the gaping wound times (1 - closed); others move on their own."""
    x = six()
    s = constraints(x, PAIRS, np.array([5]))
    q = np.random.default_rng(1).uniform(-1, 1, (3, s.n_free))
    y = positions(s, q, closed)
    assert s.n_free == 3
    assert y[:, 1] - y[:, 0] == approx((1 - closed) * (x[:, 1] - x[:, 0]), abs=1e-15)
    assert y[:, 4] - y[:, 3] == approx((1 - closed) * (x[:, 4] - x[:, 3]), abs=1e-15)
    assert (y[:, 5] == x[:, 5]).all()


@given(fractions)
def test_independent_nodes_and_back(closed):
    """q from the positions it made, at any stage of closing."""
    s = constraints(six(), PAIRS, np.array([5]))
    q = np.random.default_rng(2).uniform(-1, 1, (3, s.n_free))
    assert independent(s, positions(s, q, closed), closed) == approx(q, abs=1e-15)


def test_fresh_wound_is_where_it_was():
    """At closed = 0 the sewing gives back the positions it was made from, to the last bit."""
    x = six()
    s = constraints(x, PAIRS, np.array([5]))
    assert positions(s, independent(s, x, 0.0), 0.0) == approx(x, abs=1e-15)


@pytest.mark.parametrize("chain", [[[0, 1, 2], [1, 2, 3]], [[2, 1, 0], [3, 2, 1]], [[0, 0, 0], [1, 2, 3]]])
def test_chains_of_followers(chain):
    """0, 1, 2, 3 sewn one to the next, or all to one, meet in a single node when closed."""
    x = six()
    s = constraints(x, np.array(chain), np.zeros(0, int))
    assert s.n_free == 3
    assert len(set(s.free[:4])) == 1
    closed = positions(s, independent(s, x, 0.0), 1.0)
    for node in (1, 2, 3):
        assert (closed[:, node] == closed[:, 0]).all()


@pytest.mark.parametrize("held", [0, 1])
def test_partner_of_a_held_node(held):
    """Sewn to a held node, a node is led to it: it is not free, and its place follows from `closed` alone."""
    x = six()
    s = constraints(x, PAIRS, np.array([held]))
    assert (s.free[:2] == -1).all()
    half = positions(s, np.zeros((3, s.n_free)), 0.5)
    other = 1 - held
    assert half[:, held] == approx(x[:, held])
    assert half[:, other] == approx((x[:, 0] + x[:, 1]) / 2)


def test_forces_are_gathered_by_the_transpose():
    """Work is kept: r . positions(dq) = reduced(r) . dq, for a closed wound with held nodes left out."""
    x = six()
    s = constraints(x, PAIRS, np.array([5]))
    rng = np.random.default_rng(3)
    r, dq = rng.uniform(-1, 1, (3, 6)), rng.uniform(-1, 1, (3, s.n_free))
    moved = positions(s, dq, 1.0) - positions(s, 0 * dq, 1.0)
    assert (reduced(s, r) * dq).sum() == approx((r * moved).sum())


def test_a_tip_sewn_to_itself_stays_free():
    """The first and last columns of a seam name the same node twice; it keeps its own place."""
    s = constraints(six(), np.array([[0, 1], [0, 2]]), np.zeros(0, int))
    assert s.n_free == 5
    assert s.free[0] != s.free[1] == s.free[2]


def stored_tangent(skin, s, x):
    stored = pattern(s.free, skin.groups)
    data = np.zeros(stored.indices.size)
    assemble(skin, x, tangent=groups(stored, data))
    return csr_array((data, stored.indices, stored.indptr))


def sewn_problem(shape):
    """Mesh and sewing: a disc whose wedge is sewn, or a square with chains of far and near nodes and held ones."""
    if shape == "disc":
        m = disc(rings=3, wedge=0.6)
        return m, constraints(flat(m), np.hstack(m.seams), m.rim[:3])
    m = patch(3)
    element = m.elements[:, 4]
    pairs = np.array([[element[0], element[1], 0, 3], [element[1], element[4], 20, 40]])
    return m, constraints(flat(m), pairs, np.array([7, 8]))


@pytest.mark.parametrize("shape", ["disc", "square"])
def test_stored_tangent_is_the_sewn_one(shape):
    """The upper triangle written in place is that of P^T K P, K of all nodes, even with nodes of one element sewn."""
    m, s = sewn_problem(shape)
    skin = sheet(m, law=rubber(0.1), h=0.05)
    q = np.random.default_rng(4).uniform(-0.02, 0.02, (3, s.n_free)) + independent(s, flat(m), 0.0)
    x = positions(s, q, 0.0)
    upper = stored_tangent(skin, s, x)
    of_all = stored_tangent(skin, unsewn(m), x)
    K = of_all + triu(of_all, 1).T
    moves = np.flatnonzero(s.free >= 0)
    rows = (3 * moves[:, None] + np.arange(3)).ravel()
    columns = (3 * s.free[moves][:, None] + np.arange(3)).ravel()
    P = coo_array((np.ones(rows.size), (rows, columns)), shape=(3 * s.free.size, 3 * s.n_free)).tocsr()
    expected = triu(P.T @ K @ P)
    assert abs(upper - expected).max() < 1e-13 * abs(expected).max()


@pytest.mark.parametrize("shape", ["disc", "square"])
def test_pattern_is_a_sorted_upper_triangle(shape):
    """Every row starts at its diagonal, columns rise, nothing is stored twice: what the solvers ask for."""
    m, s = sewn_problem(shape)
    stored = pattern(s.free, sheet(m, law=rubber(0.1), h=0.05).groups)
    assert stored.indptr.size == 3 * s.n_free + 1
    assert stored.indptr[-1] == stored.indices.size
    for row, (start, end) in enumerate(zip(stored.indptr[:-1], stored.indptr[1:], strict=True)):
        columns = stored.indices[start:end]
        assert columns[0] == row
        assert (np.diff(columns) > 0).all()
