"""The sheet in its plane: holes under tension and ellipses closed, against exact plane stress (E, nu = 1/2).

A stiff bed keeps the sheet flat. Strains are so small that the law is linear: the answers scale.
"""

from collections.abc import Iterator

import numpy as np

from fem.material.laws import gasser_ogden_holzapfel
from fem.mechanics import solve
from fem.mechanics.constraints import constraints, independent, positions
from fem.mechanics.sheet import assemble, cauchy_stress, sheet
from fem.verification.check import FULL, Check, Row, alike
from fem.verification.problems import edge_load, flat, hole, outward, rubber, springs, unsewn

NU = 0.5
SMALL = 1e-5  # strain


def flat_sheet(m):
    """E = 1 MPa, h = 1 mm, on springs that no compression here can buckle."""
    return sheet(m, law=rubber(1.0), h=1.0, foundation=springs(m, normal=1.0, shear=0.0))


def at_rest(skin, sewn, x, *, load):
    """Positions (3, n) at rest, from x."""
    q = independent(sewn, x, 1.0)
    q = solve.newton(solve.problem(skin, sewn), q, closed=1.0, load=load, tol=1e-11)
    return positions(sewn, q, 1.0)


def concentration(m, skin, x, *, a, b, along):
    """Greatest stress at one end of the axis at `along` rad of the hole, over that of the remote stretch.

    Along the axis the exact stress is a series in even powers of 1/rho, rho being 1 on the hole's edge and constant
    on ellipses confocal with it; beside the axis, it is even in the angle. Least squares, beside the axis by the
    square of the angle at most.
    """
    at = np.einsum("qa,iea->ieq", skin.shapes, m.X[:, skin.area.nodes])
    z = (at[0] + 1j * at[1]) * np.exp(-1j * along) * 2 / (a + b)
    ratio = (a - b) / (a + b) * np.cos(2 * along)
    root = np.sqrt(z**2 - 4 * ratio)
    zeta = (z + np.where((z * root.conj()).real < 0, -root, root)) / 2
    rho, angle = np.abs(zeta), np.angle(zeta)
    near = (abs(angle) < 0.14) & (rho < 1.5)
    radial = rho[near][:, None] ** -np.arange(0, 8, 2)
    shape = np.hstack([radial, radial * angle[near][:, None] ** 2])
    series = np.linalg.lstsq(shape, cauchy_stress(skin, x)[0][1][near] / SMALL, rcond=None)[0]
    return series[:4].sum()


def stretched(m, skin=None, poisson=NU):
    """Positions under remote uniaxial tension along y; the rim is placed as if there were no hole."""
    remote = flat(m) * (1 + SMALL * np.array([[-poisson], [1], [0]]))
    sewn = constraints(remote, np.zeros((2, 0), int), m.rim)
    return at_rest(flat_sheet(m) if skin is None else skin, sewn, remote, load=0 * remote)


def kirsch(fine: int) -> Iterator[Row]:
    """A round hole triples the tension at its sides: K = 3; its edge becomes an ellipse of 3 and -1.

    The rim at 100 a adds (a/R)^2; the hole's 96 chords 0.5 %.
    """
    m = hole(a=1.0, b=1.0, rings=48 * fine, around=96 * fine, radius=100)
    x = stretched(m)
    yield Row("stress at the sides", 3, concentration(m, flat_sheet(m), x, a=1, b=1, along=0.0), "", 1e-2)
    u = (x - flat(m)) / SMALL
    yield Row("half-axis along the pull grows by", 3, u[1, 24 * fine], "a σ/E", 3e-3)
    yield Row("half-axis across it grows by", -1, u[0, 0], "a σ/E", 6e-3)


def orthotropic(E1, E2, nu12, G12):
    """Second derivatives (3, 3) of psi by C11, C22, C12: of E = (C - 1)/2 and the shear angle C12, sigma = Q E."""
    Q = np.linalg.inv([[1 / E1, -nu12 / E1], [-nu12 / E1, 1 / E2]])
    return np.block([[Q / 4, np.zeros((2, 1))], [np.zeros((1, 2)), np.array([[G12]])]])


def fibres(dispersion, degrees):
    """The same of fibres that are about to stretch."""
    C = np.array([1 + 1e-9, 1 + 1e-9, 0.0])
    keys = {"shear_MPa": 0.1, "fibre_MPa": 0.15, "stiffening": 1, "dispersion": dispersion}
    return gasser_ogden_holzapfel(C, **keys, fibre_angle_rad=np.radians(degrees))[2]


def orthotropic_hole(fine: int) -> Iterator[Row]:
    """A round hole in an orthotropic sheet pulled along axis 1: K = 1 + sqrt(2 (sqrt(E1/E2) - nu12) + E1/G12).

    The edge becomes an ellipse and its stress is uniaxial, so K times the remote strain is the growth of the half-axis
    along the pull. The formula is from memory; it gives 3 for an isotropic sheet. The law is quadratic, with the second
    derivatives of fibres in ground substance or of given moduli; the mesh errs as with a hole in an isotropic sheet.
    """
    sheets = {
        "orthotropic": orthotropic(3, 1, 0.45, 0.6),
        "fibres along the pull": fibres(0.0, 0),
        "dispersed fibres": fibres(0.1, 35),
        "fibres all ways": fibres(1 / 3, 35),
    }
    m = hole(a=1.0, b=1.0, rings=48, around=96, radius=100)
    for name, H in sheets.items() if fine == FULL else [("orthotropic", sheets["orthotropic"])]:
        compliance = np.linalg.inv(4 * H[:2, :2])
        E1, E2, nu12 = 1 / compliance[0, 0], 1 / compliance[1, 1], -compliance[0, 1] / compliance[0, 0]
        exact = 1 + np.sqrt(2 * (np.sqrt(E1 / E2) - nu12) + E1 / H[2, 2])
        bed = springs(m, normal=1.0, shear=0.0)
        skin = sheet(m, law=quadratic(H), h=1.0, lines=np.pi / 2, foundation=bed)
        x = stretched(m, skin, nu12)
        yield Row(f"K, {name}", exact, (x - flat(m))[1, 24] / SMALL, "", 5e-3)


def quadratic(H):
    """Law psi = (C - 1) : H : (C - 1) / 2."""

    def law(C):
        points = [1] * (C.ndim - 1)
        change = C - np.array([1.0, 1.0, 0.0]).reshape(3, *points)
        slope = np.einsum("ij,j...->i...", H, change)
        return (change * slope).sum(axis=0) / 2, slope, np.broadcast_to(H.reshape(3, 3, *points), (3, *C.shape))

    return law


def inglis(fine: int) -> Iterator[Row]:
    """Tension across the long axis of an elliptical hole, a = 3 b: K = 1 + 2 a/b = 7 at its ends.

    The edge opens by (2 a + b) sigma/E and shortens by a sigma/E. 128 chords err by 2 % at the ends.
    """
    a, b = 3.0, 1.0
    m = hole(a=a, b=b, rings=32 * (1 + fine), around=64 * (1 + fine), radius=200)
    x = stretched(m)
    yield Row("stress at the ends", 1 + 2 * a / b, concentration(m, flat_sheet(m), x, a=a, b=b, along=0.0), "", 2e-2)
    u = (x - flat(m)) / SMALL
    yield Row("opens by", 2 * a + b, u[1, 16 * (1 + fine)], "b σ/E", 3e-3)
    yield Row("shortens by", -a, u[0, 0], "b σ/E", 3e-3)


def edge_of_hole(m):
    facets = m.tri.boundary_facets()
    return facets[~np.isin(m.tri.facets[:, facets], m.rim).all(axis=0)]


def pressure(fine: int) -> Iterator[Row]:
    """Pressure p in an elliptical hole: half-axes grow by [2 b - (1 - nu) a] p/E and [2 a - (1 - nu) b] p/E.

    It stays an ellipse. So p = E b / [2 a - (1 - nu) b] shuts it.
    """
    a, b = 3.0, 1.0
    m = hole(a=a, b=b, rings=36 * fine, around=96 * fine, radius=200)
    edge = edge_of_hole(m)
    x = at_rest(flat_sheet(m), unsewn(m, m.rim), flat(m), load=edge_load(m, edge, -SMALL * outward(m, edge)))
    u = (x - flat(m)) / SMALL
    top = u[1, 24 * fine]
    yield Row("short half-axis grows by", 2 * a - (1 - NU) * b, top, "b p/E", 1e-2)
    yield Row("long half-axis grows by", 2 * b - (1 - NU) * a, u[0, 0], "b p/E", 2e-2, 1.0)
    side = np.unique(m.tri.facets[:, edge])
    yield alike("opening along it, of an ellipse", top / b * m.X[1, side], u[1, side], 1e-2, unit="b p/E", scale=top)


def seam_tension(m, skin, x):
    """Force across each segment of the seam per length of the long axis (k,), N/mm, and its place (k,) on it.

    A vertex's share goes to the segments on either side by their lengths; the tips' is left out.
    """
    first = m.seams[0][0]
    pull = assemble(skin, x)[1][1, first] * -np.sign(m.X[1, first].sum())
    length = np.diff(m.X[0, first[::2]])
    share = length[:-1] / (length[:-1] + length[1:])
    force = pull[1::2].copy()
    force[:-1] += share * pull[2:-1:2]
    force[1:] += (1 - share) * pull[2:-1:2]
    return force / length, m.X[0, first[1::2]]


def sewn_ellipse(fine: int) -> Iterator[Row]:
    """Sewn point to point, an ellipse bears the same tension E h W/2L everywhere: exactly, however wide it is.

    Sewing pulls across the long axis only. A uniform remote tension sigma opens the free hole by (2 a + b) sigma/E,
    the uncut sheet by b sigma/E there; their difference, 2 a sigma/E = b, is the hole shut by sigma n_y along y.
    The wound is closed by a small share, in a sheet of 30 L; 96 chords err by (1/96) at the ends.
    """
    for ratio in (3, 20) if fine == FULL else (3,):
        a, b = float(ratio), 1.0
        m = hole(a=a, b=b, rings=48, around=96, radius=60 * a, seam=True)
        skin, sewn = flat_sheet(m), constraints(flat(m), m.seams[0], m.rim)
        q = independent(sewn, flat(m), 0.0)
        q = solve.newton(solve.problem(skin, sewn), q, closed=SMALL, load=0 * flat(m), tol=1e-12)
        yield from even(seam_tension(m, skin, positions(sewn, q, SMALL)), a, SMALL * b / (2 * a), 5e-3)


def even(found, a, expected, tolerance):
    """Rows of a line tension, as of `seam_tension`, of a seam of half-length a: in the middle, and all along it."""
    N, at = found
    yield Row(f"line tension, middle, L/W = {a:g}", expected, N[abs(at) < 0.5 * a].mean(), "N/mm", tolerance)
    inner = abs(at) < 0.95 * a
    yield alike(f"all but the last 5 %, L/W = {a:g}", expected * np.ones(inner.sum()), N[inner], 3e-2, unit="N/mm")


def thin_ellipse(_: int) -> Iterator[Row]:
    """A thin ellipse, L/W = 20, is closed all the way: E h W/2L per length of the wound.

    Now strains are finite; they are of the order of W/L away from the tips. The last four segments at a tip, which
    turns by 90 degrees, swing about the answer on any mesh; 80 chords bring them within the last 5 %.
    """
    a, b = 20.0, 1.0
    m = hole(a=a, b=b, rings=30, around=80, radius=20 * a, seam=True)
    skin, sewn = flat_sheet(m), constraints(flat(m), m.seams[0], m.rim)
    shutting = solve.problem(skin, sewn)
    q = independent(sewn, flat(m), 0.0)
    for closed in np.linspace(0.25, 1, 4):
        q = solve.newton(shutting, q, closed=closed, load=0 * flat(m), tol=1e-10, max_iter=200)
    x = positions(sewn, q, 1.0)
    yield Row("straight scar strays by", 0, np.abs(x[1, m.seams[0]]).max(), "mm", 1e-9, 1.0)
    yield from even(seam_tension(m, skin, x), a, b / (2 * a), 1.5e-2)


CHECKS = (
    Check("kirsch", "Round hole", "code", "Kirsch (1898)", kirsch),
    Check("inglis", "Elliptical hole", "code", "Inglis (1913)", inglis),
    Check(
        "fibre-hole",
        "Round hole in skin with fibres",
        "code",
        "Lekhnitskii (1968), from memory",
        orthotropic_hole,
    ),
    Check("pressed-hole", "Pressure in an elliptical hole", "code", "Muskhelishvili (1953), from memory", pressure),
    Check("sewn-ellipse", "Ellipse sewn, slightly", "code", "derived from Inglis (1913)", sewn_ellipse),
    Check("thin-ellipse", "Thin ellipse sewn shut", "code", "derived from Inglis (1913)", thin_ellipse),
)
