"""Quadratic triangles: shape functions, their derivatives, integration points, values between the nodes."""

import numpy as np
from scipy.spatial import cKDTree
from skfem import MeshTri
from skfem.quadrature import get_quadrature
from skfem.refdom import RefTri

from fem.mechanics.triangulation import Mesh

NEAREST = 12  # triangles whose centres are nearest to a point, among which is the one it lies in

# N_a = FACTOR_a lam_i lam_j - lam_i at vertices 0 1 2, and without its last term at the edges 01 12 02
ONE, OTHER = [0, 1, 2, 0, 1, 0], [0, 1, 2, 1, 2, 2]
FACTOR, AT_VERTEX = np.array([2, 2, 2, 4, 4, 4]), np.array([1, 1, 1, 0, 0, 0])


def barycentric(tri: MeshTri) -> tuple[np.ndarray, np.ndarray]:
    """Gradients (n_elements, 3, 2) of the three barycentric coordinates lam, 1/mm, and areas (n_elements,), mm2."""
    p = tri.p[:, tri.t]  # (2, 3, n_elements)
    across = np.roll(p, -2, axis=1) - np.roll(p, -1, axis=1)  # the side opposite to each vertex
    twice = across[0, 0] * across[1, 1] - across[1, 0] * across[0, 1]
    gradient = np.stack([-across[1], across[0]]) / twice
    return np.moveaxis(gradient, (0, 1, 2), (2, 1, 0)), np.abs(twice) / 2


def shapes(lam: np.ndarray) -> np.ndarray:
    """Shape functions (..., 6) at barycentric coordinates (..., 3)."""
    return FACTOR * lam[..., ONE] * lam[..., OTHER] - AT_VERTEX * lam[..., ONE]


def gradients(lam: np.ndarray, dlam: np.ndarray) -> np.ndarray:
    """Gradients (n_elements, n_quad, 6, 2) at lam (n_elements or 1, n_quad, 3); dlam (n_elements, 3, 2)."""
    slope = FACTOR * lam[..., OTHER] - AT_VERTEX, FACTOR * lam[..., ONE]
    return slope[0][..., None] * dlam[:, None, ONE] + slope[1][..., None] * dlam[:, None, OTHER]


def second_derivatives(dlam: np.ndarray) -> np.ndarray:
    """Second derivatives (n_elements, 6, 2, 2)."""
    outer = dlam[:, ONE, :, None] * dlam[:, OTHER, None]
    return FACTOR[:, None, None] * (outer + outer.swapaxes(2, 3))


def integration_points(tri: MeshTri, order: int) -> tuple[np.ndarray, np.ndarray]:
    """Barycentric coordinates (1, n_quad, 3) and weights (n_elements, n_quad) in mm2, exact for a degree."""
    (x, y), weight = get_quadrature(RefTri, order)
    return np.stack([1 - x - y, x, y], axis=-1)[None], 2 * barycentric(tri)[1][:, None] * weight


def interpolated(mesh: Mesh, values: np.ndarray, X: np.ndarray, *, inside: np.ndarray | None = None) -> np.ndarray:
    """Values (k, m) at points X (2, m), `located` in triangles (off the mesh, the nearest), of (k, n) at the nodes."""
    nodes, N = located(mesh, X, inside=inside)
    return np.einsum("ma,kam->km", N, values[:, nodes])


def located(mesh: Mesh, X: np.ndarray, *, inside: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray]:
    """Nodes (6, m) of the triangles in which points X (2, m) lie, and their shape functions (m, 6) there.

    inside  (2, m) points whose triangles are taken instead: they tell the two sides of a cut apart
    """
    inside = X if inside is None else inside
    centres, dlam = mesh.tri.p[:, mesh.tri.t].mean(axis=1).T, barycentric(mesh.tri)[0]
    near = cKDTree(centres).query(inside.T, k=min(NEAREST, len(centres)))[1]  # (m, NEAREST)
    lam = 1 / 3 + np.einsum("mcai,mci->mca", dlam[near], inside.T[:, None] - centres[near])
    element = np.take_along_axis(near, lam.min(axis=-1).argmax(axis=-1)[:, None], axis=1)[:, 0]
    return mesh.elements[:, element], shapes(1 / 3 + np.einsum("mai,mi->ma", dlam[element], X.T - centres[element]))
