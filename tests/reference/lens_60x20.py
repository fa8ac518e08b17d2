"""Cone height, closing force and energy of a closed 60 x 20 mm lens, by a mixed shell of a general-purpose library.

A lens (two equal circular arcs, 60 mm tip to tip, 20 mm wide) is cut from a flat, unstressed sheet of radius 60 mm,
and its two edges are sewn together. The sheet is a shell whose normals stay straight and normal, with positions
y: Omega -> R^3 over the flat patch and its law integrated through the thickness,

    E(y) = int t mean over z of psi(C - 2 z k) + 1/2 [kn u_z^2 + ks (u_x^2 + u_y^2)] dA     (N mm),

    F = grad y,   C = F^T F,   psi = mu/2 (tr C + 1/det C - 3),   k_ij = n . y,ij,   z = +-t/sqrt(12),

with springs kn, ks, which push and pull, only farther than 15 mm from the lens. Its discretisation is the
Hellan-Herrmann-Johnson method: y need not have continuous slopes, moments sigma are unknowns of their own, and the
kinks between triangles work on them. Here it is hybrid: sigma is discontinuous, and a rotation alpha on every edge
joins the triangles T. The equilibrium is a stationary point of

    L = int t mean psi(k) + bed + sigma : (n . D^2 y - k) dA  -  sum_T int_dT (beta - alpha) a sigma_nunu ds,

k too unknown, in each triangle on its own.

On the edge of a triangle, nu is the outward normal in the flat patch, m the unit vector that is tangential to the
deformed sheet and points outward across the deformed edge, beta = atan(m_z / n_z) the angle by which m is raised over
the level, and a = m . F nu the stretch across the edge. beta_left + beta_right is the exact angle of a kink. The
factor a makes smooth solutions satisfy the equations of the method also at large strain: rotation by beta works on
the moment per length of the patch, a sigma_nunu. Sheets so steep that n_z <= 0 somewhere are outside its range.

By symmetry only the quarter x > 0, y > 0 is modelled. On the seam and ahead of the tip y = 0 in the deformed sheet,
at x = 0 u_x = 0, and alpha = 0 on all three; in a hinged seam alpha is free and so a sigma_nunu = 0. The rim is held
in position and free to turn.

Usage:  python lens_60x20.py [EDGE [TIP]]     lengths of triangles along the seam and at the tip, mm

Source: Neunteufel & Schoeberl, The Hellan-Herrmann-Johnson method for nonlinear shells, Computers & Structures 225
(2019) 106109. Hybrid form, edge stretch a and law are put together here.
"""

import sys
from math import acos, degrees, hypot

import netgen.occ as occ
import ngsolve as ng
import numpy as np
import scipy.sparse.linalg
from ngsolve import Cross, Grad, InnerProduct, Norm, Trace, dx

LENGTH, WIDTH = 60.0, 20.0  # of the lens, mm
PATCH = 60.0  # radius, mm
FREED = 15.0  # width of the ring around the lens that has no bed, mm
THICKNESS = 2.0  # t, mm
YOUNG = 0.1  # E, MPa
SHEAR = YOUNG / 3  # mu, MPa
NORMAL, TANGENTIAL = 1e-3, 1e-4  # kn, ks, N/mm3
FAR = 6.0  # length of triangles at the rim, mm

ORDER = 3  # of positions; moments and edge rotations have one less
LIFT = 1e-5  # pressure from below while the wound closes, MPa; removed at the end
STEPS = 10  # of closing
TOLERANCE, ON_THE_WAY = 1e-9, 1e-5  # greatest nodal force out of balance in a result and while the wound closes, N


def quarter(edge, tip):
    """Curved mesh of the quarter x > 0, y > 0; materials `free` and `held`, edges `seam`, `ahead`, `side` and `rim`."""
    half, sagitta = LENGTH / 2, WIDTH / 2
    radius = (half**2 + sagitta**2) / (2 * sagitta)  # of the lens' arcs, 50 mm
    arc = degrees(acos((radius - sagitta) / radius))  # half the angle that an arc spans

    plane = occ.WorkPlane().MoveTo(half, 0).LineTo(half + FREED, 0).Direction(0, 1)
    plane.Arc(FREED, 90 - arc).Arc(radius + FREED, arc)  # around the tip, then along the lens
    free = plane.LineTo(0, sagitta).Direction(1, 0).Arc(radius, -arc).Close().Face()
    whole = occ.WorkPlane().MoveTo(0, 0).LineTo(PATCH, 0).Direction(0, 1).Arc(PATCH, 90).Close().Face()
    lens = occ.WorkPlane().MoveTo(0, 0).LineTo(0, sagitta).Direction(1, 0).Arc(radius, -arc).Close().Face()
    free.faces.name, held = "free", whole - free - lens
    held.faces.name = "held"
    sheet = occ.Glue([free, held])

    def all_on(line, distance):
        return all(abs(distance(p.x, p.y)) < 1e-6 for p in (line.start, line.end))

    for line in sheet.edges:
        if all_on(line, lambda x, y: y):
            line.name = "ahead"
        elif all_on(line, lambda x, y: x):
            line.name = "side"
        elif all_on(line, lambda x, y: hypot(x, y) - PATCH):
            line.name = "rim"
        elif all_on(line, lambda x, y: hypot(x, y + radius - sagitta) - radius):
            line.name, line.maxh = "seam", edge
    for point in sheet.vertices:
        if abs(point.p.x - half) + abs(point.p.y) < 1e-6:
            point.maxh = tip
    geometry = occ.OCCGeometry(sheet, dim=2)
    return ng.Mesh(geometry.GenerateMesh(maxh=FAR, grading=0.2)).Curve(ORDER)


class Shell:
    """Lagrangian L of the sheet on a mesh, and its unknowns: displacement, moment and edge rotation."""

    def __init__(self, mesh, *, hinged):
        self.mesh = mesh
        turning = "ahead|side" if hinged else "ahead|side|seam"
        space = (
            ng.H1(mesh, order=ORDER, dirichlet="rim|side")
            * ng.H1(mesh, order=ORDER, dirichlet="rim|ahead|seam")
            * ng.H1(mesh, order=ORDER, dirichlet="rim")
            * ng.HDivDiv(mesh, order=ORDER - 1, discontinuous=True)
            * ng.NormalFacetFESpace(mesh, order=ORDER - 1, dirichlet=turning)
            * ng.L2(mesh, order=ORDER - 1)
            * ng.L2(mesh, order=ORDER - 1)
            * ng.L2(mesh, order=ORDER - 1)
        )
        self.space, self.lift, self.state = space, ng.Parameter(0.0), ng.GridFunction(space)
        ux, uy, uz, sigma, alpha, k11, k22, k12 = space.TrialFunction()
        u = (ux, uy, uz)

        F = ng.CF(tuple(Grad(c)[j] for c in u for j in (0, 1)), dims=(3, 2)) + ng.CF((1, 0, 0, 1, 0, 0), dims=(3, 2))
        C = F.trans * F
        normal = Cross(F[:, 0], F[:, 1])
        normal = normal / Norm(normal)
        k = sum((normal[c] * u[c].Operator("hesse") for c in (1, 2)), normal[0] * u[0].Operator("hesse"))
        bending = ng.CF((k11, k12, k12, k22), dims=(2, 2))
        membrane = 0
        for z in (-THICKNESS / 12**0.5, THICKNESS / 12**0.5):
            E = C - 2 * z * bending
            membrane += THICKNESS / 2 * SHEAR / 2 * (Trace(E) + 1 / ng.Det(E) - 3)
        bed = (NORMAL * u[2] ** 2 + TANGENTIAL * (u[0] ** 2 + u[1] ** 2)) / 2

        nu = ng.specialcf.normal(2)
        along = F * ng.CF((-nu[1], nu[0]))
        outward = Cross(along / Norm(along), normal)
        beta = ng.atan(outward[2] / normal[2])
        moment = InnerProduct(outward, F * nu) * InnerProduct(sigma * nu, nu)

        self.L = ng.BilinearForm(space, symmetric=True, condense=True)
        for integrand, where in (
            (membrane, dx(bonus_intorder=2)),
            (InnerProduct(sigma, k - bending), dx),
            (bed, dx("held")),
            (-self.lift * u[2], dx),
            (-(beta - alpha * nu) * moment, dx(element_boundary=True, bonus_intorder=2)),
        ):
            self.L += ng.Variation(integrand.Compile() * where)

    def forces(self):
        """Derivative of L, N (N mm for rotations); zero in equilibrium except where the sheet is held."""
        r = self.state.vec.CreateVector()
        self.L.Apply(self.state.vec, r)
        return r

    def _step(self, r):
        """Change of the free unknowns that balances forces r, by the tangent at the present state."""
        L = self.L
        L.AssembleLinearization(self.state.vec)
        b, d = r.CreateVector(), r.CreateVector()
        b.data = r + L.harmonic_extension_trans * r
        d.data = -1 * (L.mat.Inverse(self.space.FreeDofs(True), inverse="umfpack") * b)
        d.data += L.harmonic_extension * d
        d.data -= L.inner_solve * r
        return d

    def relax(self, tolerance=TOLERANCE):
        """Newton's method with the supports as they are; a step is halved until forces grow at most tenfold."""
        x, start = self.state.vec, self.state.vec.CreateVector()
        free = np.array(list(self.space.FreeDofs()))
        for iteration in range(40):
            r = self.forces()
            imbalance = np.abs(r.FV().NumPy()[free]).max()
            if imbalance < tolerance:
                return iteration
            d = self._step(r)
            start.data, share = x, 1.0
            x.data = start + d
            while not np.abs(self.forces().FV().NumPy()[free]).max() < 10 * imbalance and share > 1e-3:
                share /= 2
                x.data = start + share * d
        raise RuntimeError(f"no equilibrium; {imbalance:.1e} N out of balance")

    def pull(self, change):
        """Move the lens' edge by a share `change` of its way to y = 0; the sheet follows as its tangent says."""
        x, gap = self.state.vec, ng.GridFunction(self.space)
        gap.components[1].Set(-ng.y, definedon=self.mesh.Boundaries("seam"))
        before, eps = self.forces(), 1e-6
        x.data += eps * gap.vec
        after, r = self.forces(), before.CreateVector()
        r.data = (1 - change / eps) * before + change / eps * after
        x.data -= eps * gap.vec
        d = self._step(r)
        x.data += change * gap.vec + d

    def negative_pivots(self):
        """Number of directions in which the quarter's energy falls, by an LU decomposition without pivoting."""
        self.L.AssembleLinearization(self.state.vec)
        free = np.flatnonzero(list(self.space.FreeDofs(True)))
        rows, columns, values = self.L.mat.COO()
        A = scipy.sparse.csr_matrix((values, (rows, columns)), shape=2 * [self.L.mat.height])
        A = A + scipy.sparse.tril(A, -1).T if scipy.sparse.triu(A, 1).nnz == 0 else A
        lu = scipy.sparse.linalg.splu(
            A[free][:, free].tocsc(), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True}
        )
        assert (lu.perm_r == lu.perm_c).all()
        return int((lu.U.diagonal() < 0).sum())

    def cone_height(self):
        """Greatest height over the patch's level, mm, over a grid of points in every triangle."""
        grid = [(i / 8, j / 8) for i in range(9) for j in range(9 - i)]
        points = self.mesh.MapToAllElements(ng.IntegrationRule(grid, len(grid) * [0.0]), ng.VOL)
        return self.state.components[2](points).max()

    def closing_force(self, beyond):
        """Force across the whole seam, N, from its vertices at least `beyond` mm of reference from the nearest tip.

        Vertex shape functions sum to one along the seam; that of the tip also takes in some of the force ahead of it.
        """
        seam = {v.nr for line in self.mesh.Boundaries("seam").Elements() for v in line.vertices}
        r = self.forces().FV().NumPy()
        y = self.space.Range(1).start
        return -2 * sum(r[y + v] for v in seam if self.mesh.vertices[v].point[0] <= LENGTH / 2 - beyond + 1e-9)

    def energy(self):
        """Energy of the whole sheet and its bed, N mm; in equilibrium L has its value."""
        return 4 * self.L.Energy(self.state.vec)


def close(mesh):
    """Shell at rest, its lens closed by a moment-carrying seam and nothing lifting it; Newton steps spent."""
    shell = Shell(mesh, hinged=False)
    shell.lift.Set(LIFT)
    count = shell.relax()
    for _ in range(STEPS):
        shell.pull(1 / STEPS)
        count += 1 + shell.relax(ON_THE_WAY)
    shell.lift.Set(0.0)
    return shell, count + shell.relax()


def hinge(closed):
    """Shell at rest after the seam of a closed one has been freed to turn; Newton steps spent."""
    shell = Shell(closed.mesh, hinged=True)
    shell.state.vec.data = closed.state.vec
    return shell, shell.relax()


def report(seam, shell, steps):
    """Print what came out for a kind of seam."""
    print(
        f"{seam} seam ({shell.space.ndof} unknowns, {steps} Newton steps, {shell.negative_pivots()} negative pivots):\n"
        f"  cone height    {shell.cone_height():.4f} mm\n"
        f"  closing force  {shell.closing_force(1e-3):.4f} N without the tip nodes, "
        f"{shell.closing_force(0):.4f} N with them, {shell.closing_force(2):.4f} N without 2 mm at each tip\n"
        f"  energy         {shell.energy():.4f} N mm",
        flush=True,
    )


def main(edge=1.0, tip=0.3):
    """Print cone height in mm, closing force in N and energy in N mm for both kinds of seam."""
    mesh = quarter(edge, tip)
    print(f"quarter: {mesh.ne} triangles of order {ORDER}, {edge:g} mm along the seam, {tip:g} mm at the tip")
    closed, steps = close(mesh)
    report("moment-carrying", closed, steps)
    report("hinged", *hinge(closed))


if __name__ == "__main__":
    main(*map(float, sys.argv[1:]))
