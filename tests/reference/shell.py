"""Cone height, closing force and energy of closed wounds, by a mixed shell of a general-purpose library.

A wound is cut from a sheet that lies at y0 over its plan and is in place stretched by G = diag(g) along x and y; its
edges are sewn together. The sheet is a shell whose normals stay straight and normal, with positions y: plan -> R^3 and
its law integrated through the thickness,

    E(y) = int t mean over z of psi(C - 2 z k) + 1/2 [kn w^2 + ks |u_tan|^2] dA     (N mm),

    F = grad y,   C = G F^T F G,   k_ij = g_i (n . y,ij - n0 . y0,ij) g_j,   z = +-t/sqrt(12),

    neo-Hooke   psi = mu/2 (I1 - 3),   I1 = tr C + 1/det C
    fibres      psi = mu/2 (I1 - 3) + k1/(2 k2) sum over both families of exp(k2 e^2) - 1 where e > 0,
                e = kappa (I1 - 3) + (1 - 3 kappa) (m . C m - 1),   m = (cos a, +-sin a)

with springs kn, ks, which push and pull, only farther than FREED from the wound. On a limb y0 wraps the plan, without
distortion, around a cylinder along x. There w = n0 . u + (around . u)^2 / 2 R is the height above the paraboloid that
touches the limb, u_tan the displacement along it, and a seam is at rest where skin runs flat across.

The discretisation is the Hellan-Herrmann-Johnson method: y need not have continuous slopes, moments sigma are unknowns
of their own, and the kinks between triangles work on them. Here it is hybrid: sigma is discontinuous, and a rotation
alpha on every edge joins the triangles T. The equilibrium is a stationary point of

    L = int t mean psi(k) + bed + sigma : (n . D^2 y - n0 . D^2 y0 - k) dA
        -  sum_T int_dT (beta - alpha) a sigma_nunu ds,

k too unknown, in each triangle on its own, against the plan's coordinates (G comes in with psi).

On the edge of a triangle, nu is the outward normal in the plan, m the unit vector that is tangential to the deformed
sheet and points outward across the deformed edge, beta = atan(m_z / n_z) the angle by which m is raised over the
level, and a = m . F nu the stretch across the edge. beta_left + beta_right is the exact angle of a kink. The
factor a makes smooth solutions satisfy the equations of the method also at large strain: rotation by beta works on
the moment per length of the plan, a sigma_nunu. Sheets so steep that n_z <= 0 somewhere are outside its range.

By symmetry only x > 0 is modelled, and of wounds with two equal edges only y > 0. There, on the seam and ahead of the
tip y_y = 0, at x = 0 u_x = 0, and alpha = 0 on all three; in a hinged seam alpha is free and so a sigma_nunu = 0. Edges
of unequal length share unknowns where they meet, at equal shares of their lengths. The rim is held in position and free
to turn.

The wounds are those of `wounds.py`.

Usage:  python shell.py NAME [EDGE [TIP [hinged]]]     lengths of triangles along the seam and at the tip, mm
        prints rows of shell.csv

Sources: Neunteufel & Schoeberl, The Hellan-Herrmann-Johnson method for nonlinear shells, Computers & Structures 225
(2019) 106109; Gasser, Ogden & Holzapfel, J. R. Soc. Interface 3 (2006) 15-35, for the fibres. Hybrid form, edge stretch
a, prestretch and law are put together here.
"""

import sys

import ngsolve as ng
import numpy as np
import scipy.sparse.linalg
from ngsolve import Cross, Grad, IfPos, InnerProduct, Norm, dx
from scipy.interpolate import CubicSpline
from wounds import NORMAL, ORDER, PROBLEMS, TANGENTIAL, laid, meeting, mesh

ENDS = 2.0  # of the closed seam, left out of the force at each tip, mm
LIFT = 1e-5  # pressure from below while the wound closes, MPa; removed at the end
STEPS = 8  # of closing
TOLERANCE, ON_THE_WAY = 1e-9, 1e-4  # greatest nodal force out of balance in a result and while the wound closes, N


def body(radius):
    """Of uncut skin: outward normal and direction around the limb (3,), gradient (3, 2) and n0 . y0,22."""
    angle = 0 if radius is None else ng.y / radius
    s, c = ng.sin(angle), ng.cos(angle)
    return ng.CF((0, s, c)), ng.CF((0, c, -s)), ng.CF((1, 0, 0, c, 0, -s), dims=(3, 2)), -1 / (radius or np.inf)


def unit(vector):
    """A vector of length 1."""
    return vector / Norm(vector)


def edge_length(nu):
    """Length of a triangle's edge, by which its rotation is divided: both sides of a seam may differ in it, mm."""
    way = ng.Inv(ng.specialcf.JacobianMatrix(2)) * ng.CF((-nu[1], nu[0]))  # along an edge of the unit triangle
    first, second = IfPos(way[0], way[0], -way[0]), IfPos(way[1], way[1], -way[1])
    return 1 / IfPos(first - second, first, second)


class Shell:
    """Lagrangian L of the sheet on a mesh, and its unknowns: displacement, moment and edge rotation."""

    def __init__(self, problem, mesh, *, hinged):
        self.problem, self.mesh = problem, mesh
        paired = problem.rise is not None
        shared = ng.Periodic if paired else lambda space: space
        alone = lambda space: space if hinged else shared(space)  # noqa: E731
        level = "ahead|seam" if not paired else ""
        turning = "side" if paired else "ahead|side" if hinged else "ahead|side|seam"
        displacements = [ng.H1(mesh, order=ORDER, dirichlet=f"rim|{held}") for held in ("side", level, "")]
        self.space = ng.FESpace(
            [
                *map(shared, displacements),
                ng.HDivDiv(mesh, order=ORDER - 1, discontinuous=True),
                alone(ng.NormalFacetFESpace(mesh, order=ORDER - 1, dirichlet=turning)),
                *(ng.L2(mesh, order=ORDER - 1) for _ in range(3)),
            ]
        )
        self.lift, self.state = ng.Parameter(0.0), ng.GridFunction(self.space)
        self.given = ng.GridFunction(ng.FESpace(displacements))  # part of the displacements that is no unknown
        self.way = ng.GridFunction(self.given.space)  # what it is where the wound is closed
        self.place = laid(problem.limb, ng.x, ng.y, sin=ng.sin, cos=ng.cos)
        to = meeting(problem, ng.x, ng.y, arctan2=ng.atan2) if paired else (0, -self.place[1])
        for component, by in zip(self.way.components, to, strict=False):
            component.Set(IfPos(ng.y - 1e-9, by, 0), definedon=mesh.Boundaries("seam"))
        self.L = self._lagrangian()

    def _lagrangian(self):
        """L as a form of the unknowns."""
        problem, t = self.problem, self.problem.thickness
        *u, sigma, alpha, k11, k22, k12 = self.space.TrialFunction()
        outward, around, F, k0 = body(problem.limb)
        given = self.given.components
        F = F + ng.CF(tuple((Grad(u[c]) + Grad(given[c]))[j] for c in range(3) for j in (0, 1)), dims=(3, 2))
        normal = unit(Cross(F[:, 0], F[:, 1]))
        k = k0 * (normal * outward - 1) * ng.CF((0, 0, 0, 1), dims=(2, 2))  # y0,22 = k0 n0
        for c in range(3):
            k += normal[c] * (u[c].Operator("hesse") + given[c].Operator("hesse"))

        G = ng.CF((problem.stretch[0], 0, 0, problem.stretch[1]), dims=(2, 2))
        bending = ng.CF((k11, k12, k12, k22), dims=(2, 2))
        membrane = 0
        for z in (-t / 12**0.5, t / 12**0.5):
            membrane += t / 2 * (problem.psi(G * (F.trans * F - 2 * z * bending) * G) - problem.psi(G * G))

        moved = ng.CF(tuple(u[c] + given[c] for c in range(3)))
        along = moved * around
        height = moved * outward - k0 * along**2 / 2
        bed = (NORMAL * height**2 + TANGENTIAL * (moved[0] ** 2 + along**2)) / 2

        nu = ng.specialcf.normal(2)
        across = Cross(unit(F * ng.CF((-nu[1], nu[0]))), normal)
        beta = ng.atan(across[2] / normal[2])
        moment = InnerProduct(across, F * nu) * InnerProduct(sigma * nu, nu)
        turned = alpha * nu * edge_length(nu)

        L = ng.BilinearForm(self.space, symmetric=True, condense=True)
        for integrand, where in (
            (membrane, dx(bonus_intorder=2)),
            (InnerProduct(sigma, k - bending), dx),
            (bed, dx("held")),
            (-self.lift * moved[2], dx),
            (-(beta - turned) * moment, dx(element_boundary=True, bonus_intorder=2)),
        ):
            L += ng.Variation(integrand.Compile() * where)
        return L

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
        """Bring the edges together by a share `change` of their way; the sheet follows as its tangent says."""
        given, eps = self.given.vec, 1e-6
        before = self.forces()
        given.data += eps * self.way.vec
        after, r = self.forces(), before.CreateVector()
        r.data = (1 - change / eps) * before + change / eps * after
        given.data -= eps * self.way.vec
        d = self._step(r)
        given.data += change * self.way.vec
        self.state.vec.data += d

    def negative_pivots(self):
        """Number of directions in which the energy falls, by an LU decomposition without pivoting."""
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
        """Height over the body where it is farthest off it, mm, over a grid of points in every triangle."""
        grid = [(i / 8, j / 8) for i in range(9) for j in range(9 - i)]
        points = self.mesh.MapToAllElements(ng.IntegrationRule(grid, len(grid) * [0.0]), ng.VOL)
        moved = zip(self.place, self.state.components[:3], self.given.components, strict=True)
        _, y, z = (ng.CF(sum(of, 0))(points).ravel() for of in moved)
        height = z if self.problem.limb is None else np.hypot(y, z + self.problem.limb) - self.problem.limb
        return height[np.abs(height).argmax()]

    def seam(self):
        """Vertices of the upper edge from the middle to the tip and their places (n, 3) in the closed skin, mm."""
        seam = {v.nr for line in self.mesh.Boundaries("seam").Elements() for v in line.vertices}
        at = {nr: np.array(self.mesh.vertices[nr].point) for nr in seam}
        tip = max(seam, key=lambda nr: at[nr][0])
        upper = sorted((nr for nr in seam if at[nr][1] > 1e-9 or nr == tip), key=lambda nr: at[nr][0])
        place = np.array([laid(self.problem.limb, *at[nr]) for nr in upper])
        for c in range(3):
            unknown, given = self.state.components[c], self.given.components[c]
            dofs = [unknown.space.GetDofNrs(ng.NodeId(ng.VERTEX, nr))[0] for nr in upper]
            place[:, c] += [unknown.vec[dof] + given.vec[nr] for dof, nr in zip(dofs, upper, strict=True)]
        return upper, place

    def closing_force(self):
        """Force across the whole seam, N, without ENDS of its closed length at each tip.

        What L loses as a vertex of the upper edge moves across the seam is that vertex's; a spline goes through what
        all to either side of a vertex take, its own shared by the lengths beside it.
        """
        vertices, place = self.seam()
        along = np.gradient(np.vstack([place[1] * [-1, 1, 1], place]), axis=0)[1:]
        across = np.stack([-along[:, 1], along[:, 0], 0 * along[:, 0]], axis=1)  # here the body is level
        across /= np.linalg.norm(across, axis=1)[:, None]
        force = np.array([self.resistance(*of) for of in zip(vertices, across, strict=True)])
        length = np.linalg.norm(np.diff(place, axis=0), axis=1)
        before = np.append(0.0, length[:-1] / (length[:-1] + length[1:]))
        up_to = np.cumsum(force[:-1]) - (1 - before) * force[:-1]
        up_to[0] = 0.0
        at = np.append(0.0, np.cumsum(length))
        return 2 * float(CubicSpline(at[:-1], up_to)(at[-1] - ENDS))

    def resistance(self, vertex, direction, eps=1e-4):
        """What L loses per mm that a vertex of the upper edge moves in a direction, N."""
        energies = []
        for by in (-eps, 2 * eps, -eps):
            for component, move in zip(self.given.components, by * direction, strict=True):
                component.vec[vertex] += move
            energies.append(self.L.Energy(self.state.vec))
        return (energies[0] - energies[1]) / (2 * eps)

    def energy(self):
        """Energy of the whole sheet and its bed above that of the same skin uncut, N mm; in equilibrium that of L."""
        return (4 if self.problem.rise is None else 2) * self.L.Energy(self.state.vec)


def close(problem, mesh):
    """Shell at rest, its wound closed by a moment-carrying seam and nothing lifting it; Newton steps spent."""
    shell = Shell(problem, mesh, hinged=False)
    shell.lift.Set(LIFT)
    count = shell.relax()
    for _ in range(STEPS):
        shell.pull(1 / STEPS)
        count += 1 + shell.relax(ON_THE_WAY)
    shell.lift.Set(0.0)
    return shell, count + shell.relax()


def hinge(closed):
    """Shell at rest after the seam of a closed one has been freed to turn; Newton steps spent."""
    shell = Shell(closed.problem, closed.mesh, hinged=True)
    shell.given.vec.data = closed.given.vec
    shell.state.vec.data = closed.state.vec
    return shell, shell.relax()


def report(name, seam, sizes, shell, steps):
    """Print a row of the table, and to the side what it took."""
    numbers = [f"{of:.4f}" for of in (shell.cone_height(), shell.closing_force(), shell.energy())]
    print(name, seam, *sizes, shell.mesh.ne, shell.space.ndof, *numbers, shell.negative_pivots(), sep=",", flush=True)
    print(f"{name}, {seam}: {steps} Newton steps", file=sys.stderr, flush=True)


def main(name, edge=1.0, tip=0.3, *seams):
    """Print rows of the table: of a moment-carrying seam and, if a further argument is `hinged`, of a hinged one."""
    problem, sizes = PROBLEMS[name], (float(edge), float(tip))
    closed, steps = close(problem, mesh(problem, *sizes))
    report(name, "moment-carrying", sizes, closed, steps)
    if "hinged" in seams:
        report(name, "hinged", sizes, *hinge(closed))


if __name__ == "__main__":
    main(*sys.argv[1:])
