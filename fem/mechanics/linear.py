"""Sparse LDL^T of a symmetric matrix of fixed pattern: analysed once, factored often, its inertia read.

`solver(indptr, indices)` takes the upper triangle by rows and returns the library's solver for this machine: an
object whose `factor(values)` returns the number of negative pivots and whose `solve(b)` uses the last factor.
"""

import ctypes
import os
import platform
import weakref
from typing import Any

import numpy as np

from fem.errors import SingularMatrix


def _finite(values):
    """The values, contiguous. Raises SingularMatrix if one is no number."""
    if not np.isfinite(values).all():
        raise SingularMatrix("the matrix has entries that are no finite numbers")
    return np.ascontiguousarray(values)


class Pardiso:
    """PARDISO of the MKL, phases 11, 22 and 33 driven directly: `pypardiso.solve` would redo the analysis."""

    SYMMETRIC_INDEFINITE = -2

    def __init__(self, indptr: np.ndarray, indices: np.ndarray) -> None:
        from pypardiso import PyPardisoSolver

        self._mkl = PyPardisoSolver(mtype=self.SYMMETRIC_INDEFINITE)
        # Searched for in the whole environment, for about a second; the next ones, in other processes too, take this.
        os.environ.setdefault("PYPARDISO_MKL_RT", self._mkl.libmkl._name)
        self._n = indptr.size - 1
        self._ia = (indptr + 1).astype(np.int32)
        self._ja = (indices + 1).astype(np.int32)
        self._values = np.zeros(indices.size)
        iparm = self._mkl.iparm  # numbered from 0 here, from 1 in the manual
        iparm[0] = 1  # the values below count
        iparm[1] = 2  # nested dissection
        iparm[7] = 2  # steps of iterative refinement at most
        iparm[9] = 13  # pivots below 1e-13 of the matrix are perturbed, and counted
        iparm[20] = 1  # Bunch-Kaufman pivots
        self._call(11)
        weakref.finalize(self, _release, self._mkl, self._n, self._ia, self._ja)

    def factor(self, values: np.ndarray) -> int:
        """Number of negative pivots of the matrix with these stored entries. Raises SingularMatrix."""
        self._values = _finite(values)
        self._call(22)
        if perturbed := self._mkl.iparm[13]:
            raise SingularMatrix(f"{perturbed} pivots are zero to round-off")
        return int(self._mkl.iparm[22])

    def solve(self, b: np.ndarray) -> np.ndarray:
        """Solution of K x = b with the last factor."""
        return self._call(33, b)

    def _call(self, phase, b=None):
        return _pardiso(self._mkl, phase, self._n, self._values, self._ia, self._ja, b)


def _pardiso(mkl, phase, n, values, ia, ja, b=None):
    error = ctypes.c_int32(0)
    b = np.zeros(n) if b is None else np.ascontiguousarray(b, dtype=float)
    x = np.zeros(n)

    def integer(value):
        return ctypes.byref(ctypes.c_int32(value))

    def integers(array):
        return array.ctypes.data_as(ctypes.POINTER(ctypes.c_int32))

    mkl._mkl_pardiso(
        mkl.pt.ctypes.data_as(ctypes.POINTER(ctypes.c_int64)),
        integer(1), integer(1), integer(mkl.mtype), integer(phase), integer(n),
        values.ctypes.data, integers(ia), integers(ja), integers(mkl.perm), integer(1),
        integers(mkl.iparm), integer(0), b.ctypes.data, x.ctypes.data, ctypes.byref(error),
    )  # fmt: skip
    if error.value:
        raise SingularMatrix(f"PARDISO reports error {error.value} in phase {phase}")
    return x


def _release(mkl, n, ia, ja):
    _pardiso(mkl, -1, n, np.zeros(ja.size), ia, ja)


class Rslab:
    """The same with `rslab`, which is pure Rust and runs where the MKL does not."""

    def __init__(self, indptr: np.ndarray, indices: np.ndarray) -> None:
        import rslab
        from scipy.sparse import csc_array

        n = indptr.size - 1
        # the upper triangle by rows is the lower triangle by columns
        lower = csc_array((np.ones(indices.size), indices, indptr), shape=(n, n))
        self._symbolic = rslab.analyze(lower, path="ldlt")
        self._factor: Any = None

    def factor(self, values: np.ndarray) -> int:
        """Number of negative pivots of the matrix with these stored entries. Raises SingularMatrix."""
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


def solver(indptr: np.ndarray, indices: np.ndarray) -> Pardiso | Rslab:
    """Solver of this machine."""
    return SOLVERS[name()](indptr, indices)
