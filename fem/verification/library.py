"""The sheet's tangent and forces against the forms of scikit-fem, assembled by it."""

from collections.abc import Iterator

import numpy as np
import skfem
from scipy.sparse import csr_array, triu
from skfem.helpers import dd, ddot, dot, grad, trace

from fem.mechanics.kernels.storage import groups, pattern
from fem.mechanics.sheet import PENALTY, REACH, assemble, lift, sheet
from fem.verification.check import Check, Row, alike
from fem.verification.problems import bending_as, crumpled, flat, patch, plate, rubber, springs, unsewn

E, H, NU = 0.1, 0.05, 0.5  # MPa, mm, -
D = E * H**3 / 12 / (1 - NU**2)  # N mm


def skin(mesh, **changes):
    """Sheet of rubber of modulus E and thickness H."""
    return sheet(mesh, **{"law": rubber(E), "h": H, **changes})


def tangent(skin, sewing, x, share=0.0, closed=1.0):
    """Tangent (3 n_free, 3 n_free) of the independent nodes, three unknowns a node."""
    stored = pattern(sewing.free, skin.groups)
    values = np.zeros(stored.indices.size)
    assemble(skin, x, regularisation=share, closed=closed, tangent=groups(stored, values))
    upper = csr_array((values, stored.indices, stored.indptr))
    return upper + triu(upper, 1).T


def blocks(K):
    """K by component: (3, 3) of matrices over the nodes."""
    return [[K[i::3, j::3].toarray() for j in range(3)] for i in range(3)]


def plane_stress(_: int) -> Iterator[Row]:
    """At rest the tangent of a flat sheet in its plane is the plane-stress form with E = 3 mu, nu = 1/2."""
    m = patch(4)
    basis = skfem.Basis(m.tri, skfem.ElementTriP2(), intorder=4)
    K = blocks(tangent(skin(m), unsewn(m), flat(m)))
    stiffness = E * H / (1 - NU**2)
    for i in range(2):
        for j in range(2):

            @skfem.BilinearForm
            def form(u, v, w, i=i, j=j):
                du, dv = np.zeros((2, 2, 2, *w.x.shape[1:]))
                du[j], dv[i] = grad(u), grad(v)
                strain, other = (du + du.swapaxes(0, 1)) / 2, (dv + dv.swapaxes(0, 1)) / 2
                return stiffness * ((1 - NU) * ddot(strain, other) + NU * trace(strain) * trace(other))

            yield alike(f"all entries, {'xy'[i]}{'xy'[j]}", form.assemble(basis).toarray(), K[i][j], 1e-12, unit="N/mm")
    mixed = max(np.abs(K[0][2]).max(), np.abs(K[1][2]).max())
    yield Row("in-plane with out-of-plane", 0, mixed, "N/mm", 1e-15, np.abs(K[0][0]).max())


def interior_penalty(_: int) -> Iterator[Row]:
    """At rest the tangent of a flat sheet out of its plane is the C0 interior penalty form of a plate.

        D int (1 - nu) D2w : D2v + nu Lap w Lap v
        + D int_edges  -{M(w)} [v,n] - {M(v)} [w,n] + penalty {1/h} [w,n] [v,n],   M = (1 - nu) w,nn + nu Lap w

    jumps taken at the middles of edges, h a triangle's height over the edge, penalty the sheet's and its reach.
    """
    for nu in (0.0, 0.5):
        m = patch(4)
        K = blocks(tangent(bending_as(skin(m, law=plate(E, poisson=nu)), D), unsewn(m), flat(m)))[2][2]
        yield alike(f"all entries, nu = {nu}", plate_form(m, nu), K, 1e-12, unit="N/mm")


def plate_form(m, nu):
    """That form as a matrix over the nodes."""

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
    return (form.assemble(inside) + skfem.asm(edges, sides, sides)).toarray()


def crumpled_membrane(_: int) -> Iterator[Row]:
    """Of a crumpled sheet without bending: r_i = h int P_iJ N,J and K_ij = h int N,I A_iIjJ N,J.

        P = mu (F - F C^-1 / det C),   A = dP/dF by central differences

    All at the middles of the edges.
    """
    m = patch(3)
    x = crumpled(flat(m))
    middles = np.array([[0.5, 0.5, 0.0], [0.0, 0.5, 0.5]]), np.full(3, 1 / 6)
    basis = skfem.Basis(m.tri, skfem.ElementTriP2(), quadrature=middles)
    F = np.stack([np.asarray(basis.interpolate(component).grad) for component in x])  # (3, 2, e, q)
    membrane = bending_as(skin(m), 0.0)
    r = assemble(membrane, x)[1]
    K = blocks(tangent(membrane, unsewn(m), x))
    for i, P in enumerate(_nominal(F)):
        force = skfem.LinearForm(lambda v, w, P=P: H * dot(P, grad(v))).assemble(basis)
        yield alike(f"all forces, {'xyz'[i]}", force, r[i], 1e-13, unit="N", scale=np.abs(r).max())
        for j in range(3):
            A = _derivative(F, j)[i]  # dP_i/dF_j

            @skfem.BilinearForm
            def stiffness(u, v, w, A=A):
                return H * np.einsum("I...,IJ...,J...", grad(v), A, grad(u))

            wanted = stiffness.assemble(basis).toarray()
            what = f"all entries of the tangent, {'xyz'[i]}{'xyz'[j]}"
            yield alike(what, wanted, K[i][j], 1e-8, unit="N/mm", scale=E)


def _nominal(F):
    """P (3, 2, ...) of rubber whose modulus is E."""
    C = np.einsum("iI...,iJ...->IJ...", F, F)
    inverse = np.moveaxis(np.linalg.inv(np.moveaxis(C, (0, 1), (-2, -1))), (-2, -1), (0, 1))
    J2 = C[0, 0] * C[1, 1] - C[0, 1] ** 2
    return E / 3 * (F - np.einsum("iJ...,JI...->iI...", F, inverse) / J2)


def _derivative(F, j, step=1e-6):
    """dP_iI/dF_jJ (3, 2, 2, ...) by central differences."""
    columns = []
    for J in range(2):
        ahead, behind = F.copy(), F.copy()
        ahead[j, J] += step
        behind[j, J] -= step
        columns.append((_nominal(ahead) - _nominal(behind)) / (2 * step))
    return np.stack(columns, axis=2)


def bed_and_pressure(_: int) -> Iterator[Row]:
    """The tangent of a bed is its stiffness times the mass matrix; a pressure has the shares of the nodes."""
    m = patch(3)
    nothing_else = skin(m, law=rubber(0.0), foundation=springs(m, normal=0.2, shear=0.1))
    K = blocks(tangent(nothing_else, unsewn(m), flat(m)))
    basis = skfem.Basis(m.tri, skfem.ElementTriP2(), intorder=4)
    mass = skfem.BilinearForm(lambda u, v, _: u * v).assemble(basis).toarray()
    for i, k in enumerate((0.1, 0.1, 0.2)):
        yield alike(f"all entries, {'xyz'[i]}", k * mass, K[i][i], 1e-12, unit="N/mm")
    wanted = skfem.LinearForm(lambda v, _: 2.0 * v).assemble(basis)
    yield alike("all forces of 2 MPa", wanted, lift(skin(m), 2.0)[2], 1e-13, unit="N")


SCIKIT_FEM = "scikit-fem"
CHECKS = (
    Check("plane-stress", "Sheet in its plane", "code", SCIKIT_FEM, plane_stress),
    Check("interior-penalty", "Sheet as a plate", "code", f"{SCIKIT_FEM}; Brenner & Sung (2005)", interior_penalty),
    Check("crumpled", "Crumpled sheet", "code", SCIKIT_FEM, crumpled_membrane),
    Check("bed-matrix", "Bed and pressure", "code", SCIKIT_FEM, bed_and_pressure),
)
