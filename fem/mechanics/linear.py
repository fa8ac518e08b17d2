"""Sparse factors of a symmetric matrix of fixed pattern: analysed once, factored often, its inertia read.

`solver(indptr, indices)` takes the upper triangle by rows and returns the library's solver for this machine: an
object whose `factor(values)` returns the number of negative pivots and whose `solve(b)` uses the last factor. A
`definite` one (Cholesky, in half the time) may count one for all of them, and then solves nothing.
"""

import os
import platform
import weakref
from contextlib import suppress
from importlib.metadata import PackageNotFoundError, files
from pathlib import Path
from typing import Any

import numpy as np
from scipy.sparse import csc_array, csr_matrix

from fem.errors import SingularMatrix

MKL = "PYPARDISO_MKL_RT"  # where pypardiso looks for its library first


def _finite(values):
    """The values, contiguous."""
    if not np.isfinite(values).all():
        raise SingularMatrix("the matrix has entries that are no finite numbers")
    return np.ascontiguousarray(values)


def _name_mkl():
    """Say where the MKL is, if its package does: pypardiso would search the environment, half a second each time."""
    if MKL in os.environ:
        return
    with suppress(PackageNotFoundError):
        for path in files("mkl") or ():
            if "mkl_rt" in path.name and Path(path.locate()).exists():
                os.environ[MKL] = str(path.locate())
                return


class Pardiso:
    """PARDISO of the MKL, its phases driven one by one: `pypardiso.solve` would redo the analysis."""

    SYMMETRIC_DEFINITE, SYMMETRIC_INDEFINITE = 2, -2
    ANALYSIS, FACTORISATION, SOLUTION = 11, 22, 33
    NOT_POSITIVE = -4  # the error of a definite factorisation that meets such a pivot

    def __init__(self, indptr: np.ndarray, indices: np.ndarray, *, definite: bool = False) -> None:
        _name_mkl()
        from pypardiso import PyPardisoSolver

        self._mkl = PyPardisoSolver(mtype=self.SYMMETRIC_DEFINITE if definite else self.SYMMETRIC_INDEFINITE)
        os.environ.setdefault(MKL, self._mkl.libmkl._name)  # for the next ones, in other processes too
        self._matrix = csr_matrix((np.zeros(indices.size), indices, indptr), shape=(indptr.size - 1,) * 2)
        iparm = self._mkl.iparm  # numbered from 0 here, from 1 in the manual
        iparm[0] = 1  # the values below count
        iparm[1] = 2  # nested dissection
        iparm[7] = 0 if definite else 2  # steps of iterative refinement at most
        iparm[9] = 13  # pivots below 1e-13 of the matrix are perturbed, and counted
        iparm[20] = 1  # Bunch-Kaufman pivots
        self._call(self.ANALYSIS, np.zeros(indptr.size - 1))
        weakref.finalize(self, self._mkl.free_memory, everything=True)

    def factor(self, values: np.ndarray) -> int:
        """Number of negative pivots of the matrix with these stored entries. Raises SingularMatrix."""
        self._matrix.data = _finite(values)
        definite = self._mkl.mtype == self.SYMMETRIC_DEFINITE
        try:
            self._call(self.FACTORISATION, np.zeros(self._matrix.shape[0]))
        except SingularMatrix as error:
            if definite and getattr(error.__cause__, "value", None) == self.NOT_POSITIVE:
                return 1
            raise
        if perturbed := self._mkl.iparm[13]:
            raise SingularMatrix(f"{perturbed} pivots are zero to round-off")
        return 0 if definite else int(self._mkl.iparm[22])

    def solve(self, b: np.ndarray) -> np.ndarray:
        """Solution of K x = b with the last factor."""
        return self._call(self.SOLUTION, np.ascontiguousarray(b, dtype=float))

    def _call(self, phase, b):
        from pypardiso.pardiso_wrapper import PyPardisoError

        self._mkl.set_phase(phase)
        try:
            return self._mkl._call_pardiso(self._matrix, b)
        except PyPardisoError as error:
            raise SingularMatrix(f"PARDISO in phase {phase}: {error}") from error


class Rslab:
    """The same with `rslab`, which is pure Rust and runs where the MKL does not; it has no Cholesky factors."""

    def __init__(self, indptr: np.ndarray, indices: np.ndarray, *, definite: bool = False) -> None:
        import rslab

        n = indptr.size - 1
        lower = csc_array((np.ones(indices.size), indices, indptr), shape=(n, n))  # the upper one by rows
        self._symbolic = rslab.analyze(lower, path="ldlt")
        self._factor: Any = None

    def factor(self, values: np.ndarray) -> int:
        """As that of Pardiso."""
        try:
            self._factor = self._symbolic.factor(_finite(values))
        except RuntimeError as error:
            raise SingularMatrix(str(error)) from error
        return self._factor.inertia[1]

    def solve(self, b: np.ndarray) -> np.ndarray:
        """Solution of K x = b with the last factor."""
        return self._factor.solve(np.ascontiguousarray(b, dtype=float))


SOLVERS: dict[str, type[Pardiso | Rslab]] = {"pardiso": Pardiso, "rslab": Rslab}


def name() -> str:
    """Which of SOLVERS this machine uses: pardiso on x86-64, else rslab; FLATSEAM_SOLVER names another."""
    usual = "pardiso" if platform.machine() in ("x86_64", "AMD64") else "rslab"
    return os.environ.get("FLATSEAM_SOLVER", usual)


def solver(indptr: np.ndarray, indices: np.ndarray, *, definite: bool = False) -> Pardiso | Rslab:
    """Solver of this machine."""
    return SOLVERS[name()](indptr, indices, definite=definite)
