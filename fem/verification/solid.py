"""Skin and fat as solids: quadratic hexahedra of scikit-fem, Newton's method. Of the sheet it uses the linear solver.

    psi = mu/2 (J^(-2/3) tr FᵀF - 3) + bulk/2 (J - 1)²

The second term is taken at 2 x 2 x 2 points, the first at 3 x 3 x 3: selective reduced integration, so that solids that
nearly keep their volume do not lock.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np
import skfem
from scipy.sparse import coo_array

from fem.errors import NotConverged
from fem.mechanics.linear import solver

MOST = 25  # iterations of a step
AT_ONCE = 200  # elements whose stiffness is made together, for memory's sake


@dataclass(frozen=True)
class Points:
    """Integration points."""

    dN: np.ndarray  # (n_elements, n_quad, 27, 3) 1/mm
    weights: np.ndarray  # (n_elements, n_quad) mm3


@dataclass(frozen=True)
class Solid:
    """A body of hexahedra; arrays of elements are (n_elements, ...)."""

    X: np.ndarray  # (3, n) mm
    nodes: np.ndarray  # (n_elements, 27)
    full: Points
    reduced: Points
    shear: np.ndarray  # (n_elements,) MPa
    bulk: np.ndarray  # (n_elements,) MPa


def solid(mesh: skfem.MeshHex, *, shear: Callable, bulk: Callable) -> Solid:
    """Body on hexahedra; the moduli are functions of the elements' middles (3, n_elements)."""
    middle = mesh.p[:, mesh.t].mean(axis=1)
    basis = skfem.Basis(mesh, skfem.ElementHex2(), intorder=2)
    return Solid(basis.doflocs, basis.element_dofs.T, _points(mesh, 3), _points(mesh, 2), shear(middle), bulk(middle))


def _points(mesh, n):
    x, w = np.polynomial.legendre.leggauss(n)
    place = np.array(list(product((x + 1) / 2, repeat=3))).T
    weight = np.array([np.prod(of) for of in product(w / 2, repeat=3)])
    basis = skfem.Basis(mesh, skfem.ElementHex2(), quadrature=(place, weight))
    dN = np.stack([np.asarray(shape[0].grad) for shape in basis.basis])  # (27, 3, e, q)
    return Points(np.ascontiguousarray(dN.transpose(2, 3, 0, 1)), np.asarray(basis.dx))


def _isochoric(F, mu, *, tangent=True):
    """psi (...), P (..., 3, 3) and A = dP/dF (..., 3, 3, 3, 3) of the first term."""
    H = np.linalg.inv(F).swapaxes(-1, -2)
    J = np.linalg.det(F)
    I1 = (F**2).sum(axis=(-1, -2))
    m = mu * J ** (-2 / 3)
    P = m[..., None, None] * (F - (I1 / 3)[..., None, None] * H)
    psi = (m * I1 - 3 * mu) / 2
    if not tangent:
        return psi, P, None
    eye = np.eye(3)
    A = np.einsum("ik,JL->iJkL", eye, eye) - 2 / 3 * (_both(F, H) + _both(H, F))
    A = A + (2 / 9 * I1)[..., None, None, None, None] * _both(H, H)
    A = A + (I1 / 3)[..., None, None, None, None] * np.einsum("...iL,...kJ->...iJkL", H, H)
    return psi, P, m[..., None, None, None, None] * A


def _volumetric(F, bulk, *, tangent=True):
    """The same of the second term."""
    H, J = np.linalg.inv(F).swapaxes(-1, -2), np.linalg.det(F)
    P = (bulk * (J - 1) * J)[..., None, None] * H
    psi = bulk / 2 * (J - 1) ** 2
    if not tangent:
        return psi, P, None
    A = (bulk * (2 * J - 1) * J)[..., None, None, None, None] * _both(H, H)
    A -= (bulk * (J - 1) * J)[..., None, None, None, None] * np.einsum("...iL,...kJ->...iJkL", H, H)
    return psi, P, A


def _both(a, b):
    return np.einsum("...iJ,...kL->...iJkL", a, b)


def energy(body: Solid, u: np.ndarray) -> tuple[float, np.ndarray]:
    """Energy, N mm, and nodal forces (3, n), N, at displacements u (3, n)."""
    Pi, r = 0.0, np.zeros(u.T.shape)
    for part in _parts(body):
        psi, f, _ = _elements(body, u, part, tangent=False)
        Pi += psi
        np.add.at(r, body.nodes[part], f)
    return Pi, r.T


def _parts(body: Solid) -> Iterator[slice]:
    """Slices of elements."""
    for first in range(0, body.nodes.shape[0], AT_ONCE):
        yield slice(first, first + AT_ONCE)


def _elements(body, u, part, *, tangent):
    """Energy, nodal forces (e, 27, 3) and stiffness (e, 27, 3, 27, 3) of some elements."""
    Pi, r, K = 0.0, 0.0, 0.0
    for law, at, modulus in ((_isochoric, body.full, body.shear), (_volumetric, body.reduced, body.bulk)):
        dN, w = at.dN[part], at.weights[part]
        F = np.eye(3) + np.einsum("iea,eqaJ->eqiJ", u[:, body.nodes[part]], dN)
        psi, P, A = law(F, np.broadcast_to(modulus[part, None], w.shape), tangent=tangent)
        Pi += float((w * psi).sum())
        r = r + np.einsum("eq,eqiJ,eqaJ->eai", w, P, dN, optimize=True)
        if tangent:
            e, q = w.shape
            AdN = np.einsum("eq,eqiJkL,eqbL->eqJikb", w, A, dN, optimize=True).reshape(e, q * 3, -1)
            both = dN.transpose(0, 2, 1, 3).reshape(e, 27, -1) @ AdN  # over points and J
            K = K + both.reshape(e, 27, 3, 3, 27).transpose(0, 1, 2, 4, 3)
    return Pi, r, K


def at_rest(body: Solid, held: np.ndarray, given: np.ndarray, u: np.ndarray, *, tol: float) -> np.ndarray:
    """Displacements (3, n) at rest where those that are held (3, n, bool) are as given (3, n), from others near.

    The first step takes those that are held to where they belong, the others along by the tangent. Raises NotConverged.
    """
    free = np.full(held.T.size, -1)
    free[~held.T.ravel()] = np.arange((~held).sum())
    to = free[3 * body.nodes[:, :, None] + np.arange(3)].reshape(body.nodes.shape[0], -1)  # (e, 81)
    indptr, indices, place, taken = _upper(to)
    ldlt = solver(indptr, indices)
    for _ in range(MOST):
        ahead = np.where(held, given - u, 0.0)
        r, values = np.zeros(u.T.shape), []
        for part in _parts(body):
            _, f, K = _elements(body, u, part, tangent=True)
            f = f + np.einsum("eaibk,keb->eai", K, ahead[:, body.nodes[part]])
            np.add.at(r, body.nodes[part], f)
            values.append(K.reshape(-1, 81 * 81))
        left = r[~held.T]
        if np.abs(left).max() <= tol and not ahead.any():
            return u
        ldlt.factor(np.bincount(place, np.concatenate(values).ravel()[taken], minlength=indices.size))
        step = ahead.T.copy()
        step[~held.T] = ldlt.solve(-left)
        u = u + step.T
    raise NotConverged(f"no rest of the solid after {MOST} iterations; forces of {np.abs(left).max():.1e} N are left")


def _upper(to):
    """Pattern of the upper triangle of free unknowns (e, 81): indptr, indices; where which entries (of all) go."""
    row, col = np.repeat(to, 81, axis=1).ravel(), np.tile(to, 81).ravel()
    taken = np.flatnonzero((row >= 0) & (col >= row))
    n = int(to.max()) + 1
    row, col = row[taken], col[taken]
    once = coo_array((np.ones(row.size), (row, col)), shape=(n, n)).tocsr()
    once.sort_indices()
    key = np.repeat(np.arange(n), np.diff(once.indptr)) * n + once.indices
    place = np.searchsorted(key, row.astype(np.int64) * n + col)
    return once.indptr.astype(np.int64), once.indices.astype(np.int64), place, taken


def bulk_of(shear: float, poisson: float) -> float:
    """Bulk modulus by shear modulus and Poisson's ratio."""
    return 2 * shear * (1 + poisson) / (3 * (1 - 2 * poisson))
