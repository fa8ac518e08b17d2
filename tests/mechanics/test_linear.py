"""Sparse solvers against SuperLU and dense eigenvalues."""

import platform
from contextlib import suppress

import numpy as np
import pytest
from pytest import approx
from scipy.sparse import csc_array, csr_array, triu
from scipy.sparse.linalg import splu

from fem.errors import SingularMatrix
from fem.mechanics import constraints
from fem.mechanics.kernels.storage import groups, pattern
from fem.mechanics.linear import SOLVERS, Pardiso, Rslab, solver
from fem.mechanics.sheet import assemble, sheet
from fem.verification.problems import bending_as, disc, rubber, sewn_flat

HAS_MKL = platform.machine() in ("x86_64", "AMD64")
HERE = [name for name in SOLVERS if name != "pardiso" or HAS_MKL]
needs_mkl = pytest.mark.skipif(not HAS_MKL, reason="the MKL is built for x86-64 only")


def stored(dense):
    """The upper triangle (indptr, indices, values) of a symmetric matrix, every entry stored."""
    upper = csr_array(triu(csr_array(np.ones_like(dense))))
    row = np.repeat(np.arange(dense.shape[0]), np.diff(upper.indptr))
    return upper.indptr.astype(np.int64), upper.indices.astype(np.int64), dense[row, upper.indices]


def random_symmetric(n, *, negative, seed):
    """A matrix (n, n) with eigenvalues 0.5 to 2, `negative` of them turned about."""
    rng = np.random.default_rng(seed)
    Q, _ = np.linalg.qr(rng.normal(size=(n, n)))
    value = rng.uniform(0.5, 2, n) * np.where(np.arange(n) < negative, -1, 1)
    return Q * value @ Q.T


def sewn_sheet(squeeze):
    """Tangent of a coarse, flat sewn disc held at its rim and squeezed: indptr, indices, values."""
    m = disc(rings=5, wedge=0.5)
    x = squeeze * sewn_flat(m, 0.5)
    s = constraints.constraints(x, np.hstack(m.seams), m.rim)
    x = constraints.positions(s, constraints.independent(s, x, 1.0), 1.0)
    skin = bending_as(sheet(m, law=rubber(0.1), h=1.5), 1e-5)
    stored = pattern(s.free, skin.groups)
    values = np.zeros(stored.indices.size)
    assemble(skin, x, tangent=groups(stored, values))
    return stored.indptr, stored.indices, values


def whole(indptr, indices, values):
    upper = csr_array((values, indices, indptr))
    return csc_array(upper + triu(upper, 1).T)


@pytest.mark.parametrize("name", HERE)
@pytest.mark.parametrize("squeeze", [1.2, 0.95])
def test_sheet_matrix(name, squeeze):
    """A sewn sheet taut or about to buckle: SuperLU's solution; as many negative pivots as negative eigenvalues.

    The last is Sylvester's law of inertia.
    """
    indptr, indices, values = sewn_sheet(squeeze)
    K = whole(indptr, indices, values)
    ldlt = SOLVERS[name](indptr, indices)
    eigenvalues = np.linalg.eigvalsh(K.toarray())
    negative = (eigenvalues < 0).sum()
    assert (negative > 3) == (squeeze < 1)
    assert ldlt.factor(values) == negative
    b = np.random.default_rng(0).normal(size=indptr.size - 1)
    reference = splu(K).solve(b)
    condition = np.abs(eigenvalues).max() / np.abs(eigenvalues).min()
    assert ldlt.solve(b) == approx(reference, abs=1e-15 * condition * np.abs(reference).max())


@pytest.mark.parametrize("name", HERE)
@pytest.mark.parametrize("negative", [0, 1, 7, 40])
def test_inertia(name, negative):
    """Full matrices of 40 unknowns with a known number of negative eigenvalues."""
    indptr, indices, values = stored(random_symmetric(40, negative=negative, seed=negative))
    assert SOLVERS[name](indptr, indices).factor(values) == negative


@pytest.mark.parametrize("name", HERE)
def test_factored_again_with_the_same_analysis(name):
    """Other values, same pattern: each solution and inertia belongs to the last factor; the input stays as it was."""
    n, b = 30, np.arange(30.0)
    first, second = (random_symmetric(n, negative=k, seed=k) for k in (2, 5))
    indptr, indices, _ = stored(first)
    ldlt = SOLVERS[name](indptr, indices)
    for A, negative in ((first, 2), (second, 5), (first, 2)):
        values = stored(A)[2]
        before = values.copy()
        assert ldlt.factor(values) == negative
        assert ldlt.solve(b) == approx(np.linalg.solve(A, b), abs=1e-11)
        assert (values == before).all()
        assert (b == np.arange(30.0)).all()


@pytest.mark.parametrize("name", HERE)
def test_definite(name):
    """A definite one solves a positive matrix, tells one that is not, though not how far, and then the next."""
    n, b = 30, np.arange(30.0)
    positive, indefinite = (random_symmetric(n, negative=k, seed=k) for k in (0, 4))
    indptr, indices, values = stored(positive)
    cholesky = SOLVERS[name](indptr, indices, definite=True)
    for _ in range(2):
        assert cholesky.factor(values) == 0
        assert cholesky.solve(b) == approx(np.linalg.solve(positive, b), abs=1e-11)
        assert cholesky.factor(stored(indefinite)[2]) > 0
    with suppress(SingularMatrix):  # raised or counted
        assert SOLVERS[name](np.array([0, 2, 3]), np.array([0, 1, 1]), definite=True).factor(np.ones(3)) > 0


@pytest.mark.parametrize("name", HERE)
def test_zero_on_the_diagonal(name):
    """[[0, 1], [1, 0]] needs a 2 x 2 pivot: one negative eigenvalue, solution turned about."""
    ldlt = SOLVERS[name](np.array([0, 2, 3]), np.array([0, 1, 1]))
    assert ldlt.factor(np.array([0.0, 1, 0])) == 1
    assert ldlt.solve(np.array([2.0, 3])) == approx([3, 2])


@pytest.mark.parametrize("name", HERE)
def test_two_solvers_at_once(name):
    """Each keeps its own factors."""
    a, b = (stored(random_symmetric(12, negative=k, seed=k)) for k in (1, 3))
    one, other = SOLVERS[name](*a[:2]), SOLVERS[name](*b[:2])
    assert (one.factor(a[2]), other.factor(b[2])) == (1, 3)
    ones = np.ones(12)
    assert whole(*a) @ one.solve(ones) == approx(ones, abs=1e-12)
    assert whole(*b) @ other.solve(ones) == approx(ones, abs=1e-12)


@pytest.mark.parametrize("name", HERE)
@pytest.mark.parametrize("values", [[0.0, 0, 0], [1.0, 1, 1], [np.nan, 1, 1], [np.inf, 1, 1]])
def test_singular_matrix_is_refused(name, values):
    """Without an inverse, or with entries that are no numbers, there is neither an inertia nor a solution."""
    ldlt = SOLVERS[name](np.array([0, 2, 3]), np.array([0, 1, 1]))
    with pytest.raises(SingularMatrix):
        ldlt.factor(np.array(values))


@pytest.mark.parametrize("name", HERE)
def test_soft_is_not_singular(name):
    """diag(1, 1e-10): softer than any bed against the skin, and still solved exactly."""
    ldlt = SOLVERS[name](np.array([0, 2, 3]), np.array([0, 1, 1]))
    assert ldlt.factor(np.array([1.0, 0, -1e-10])) == 1
    assert ldlt.solve(np.array([1.0, 2])) == approx([1, -2e10])


@needs_mkl
def test_mkl_is_not_searched_for(monkeypatch):
    """Its package says where it is; pypardiso would look through all files of the environment."""
    monkeypatch.delenv("PYPARDISO_MKL_RT", raising=False)
    monkeypatch.setattr("glob.glob", lambda *_, **__: pytest.fail("looked for"))
    indptr, indices, values = stored(2 * np.eye(2))
    assert Pardiso(indptr, indices).factor(values) == 0


@needs_mkl
def test_usual_solver(monkeypatch):
    """PARDISO on x86-64, unless the environment names another."""
    monkeypatch.delenv("FLATSEAM_SOLVER", raising=False)
    pattern = np.array([0, 1]), np.array([0])
    assert isinstance(solver(*pattern), Pardiso)
    monkeypatch.setenv("FLATSEAM_SOLVER", "rslab")
    assert isinstance(solver(*pattern), Rslab)
