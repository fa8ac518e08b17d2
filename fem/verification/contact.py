"""Skin that meets skin: two sheets pressed together, a strip folded upon itself, a ring pressed flat."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import skfem
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import beta, ellipeinc, ellipj, ellipk, ellipkinc

from fem.geometry.surface import Surface, cylinder
from fem.mechanics import solve
from fem.mechanics.constraints import constraints, independent, positions
from fem.mechanics.contact import REACH, Parts, SelfContact, contact
from fem.mechanics.sheet import assemble, sheet
from fem.mechanics.triangulation import Mesh, from_triangulation
from fem.verification.check import FULL, Check, Row
from fem.verification.problems import NO_PAIRS, counter_clockwise, plate, springs, strip

H, K = 2.0, 0.1  # mm, MPa
SIDE, APART = 12.0, 100.0  # mm; two squares, far from each other on the plan


def two_squares(cells: int) -> Mesh:
    """Two squares of so many cells a side in one mesh."""
    line = np.linspace(-SIDE / 2, SIDE / 2, cells + 1)
    one = skfem.MeshTri.init_tensor(line, line)
    p = np.hstack([one.p, one.p + np.array([[APART], [0]])])
    return from_triangulation(skfem.MeshTri(p, np.hstack([one.t, one.t + one.nvertices])), [])


def parts(mesh: Mesh, stiffness: float = K, h: float = H) -> Parts:
    """The skin of a mesh, as contact knows it."""
    return Parts(mesh, (), abs(mesh.tri.mapping().detA.ravel()) / 2, h, stiffness)


def stacked(mesh: Mesh, d: float, turn: float = 0.0) -> np.ndarray:
    """Positions (3, n) of two squares, the second d above the first, turned."""
    x = np.vstack([mesh.X, 0 * mesh.X[0]])
    second = x[0] > APART / 2
    c, s = np.cos(turn), np.sin(turn)
    over = x[:, second] - [[APART], [0], [0]]
    x[:, second] = np.array([c * over[0] - s * over[1], s * over[0] + c * over[1], over[2] + d])
    return x


def middle(met: SelfContact, x: np.ndarray) -> np.ndarray:
    """Pressures (n,), MPa, at the points of two squares that lie far from their rims."""
    at, _, pressure = met.pressed(x)
    return pressure[np.abs(at[:2]).max(axis=0) < SIDE / 2 - REACH * H]


def pressed_sheets(fine: int) -> Iterator[Row]:
    """Two sheets at a distance d press each other with k (1.25 h/d - 1)^3, however they lie on each other.

    Every point pushes every other by a function of their distance; the pressure is its integral, done by hand.
    """
    mesh = two_squares(4 * fine)
    for d in (0.8, 0.9, 1.0, 1.1):
        for turn in (0.0, 0.4):
            x = stacked(mesh, d * H, turn)
            obtained = 1e3 * middle(contact(parts(mesh), x), x)
            what = f"pressure at {d:g} thicknesses, turned by {turn:g}"
            expected = 1e3 * K * (REACH / d - 1) ** 3
            yield Row(f"{what}, mean", expected, float(obtained.mean()), "kPa", 1e-2)
            worst = obtained[np.abs(obtained - expected).argmax()]
            yield Row(f"{what}, worst point", expected, float(worst), "kPa", 6e-2)


LONG, E = 100.0, 1.0  # mm, MPa
BEFORE = 0.01  # of the modulus, below the onset


def elastica(k: float, s: np.ndarray | float) -> tuple[np.ndarray, np.ndarray]:
    """Places x, z (n,) at arc lengths s of a strip as long as 1, its middle at x = 0."""
    K4 = 4 * ellipk(k**2)
    _, cn, _, am = ellipj(K4 * np.asarray(s), k**2)
    x = (2 * ellipeinc(am, k**2) - K4 * s) / K4
    half = (2 * ellipeinc(np.pi, k**2) - K4 / 2) / K4
    return x - half, 2 * k * (1 - cn) / K4


def neck(k: float) -> float:
    """Distance, mm, between both sides where they are nearest; negative where they have passed each other."""
    angle = np.arcsin(np.sqrt(0.5) / k)  # where the strip stands upright
    return -2 * LONG * float(elastica(k, ellipkinc(angle, k**2) / (4 * ellipk(k**2)))[0])


def onset() -> float:
    """Modulus at which both sides are as near as parts of the skin begin to push."""
    return brentq(lambda k: neck(k) - REACH * H, 0.75, 0.99)


def folded(mesh: Mesh, k: float) -> np.ndarray:
    """Where nodes of a strip are in an elastica (3, n)."""
    s = np.clip((mesh.X[0] + LONG / 2) / LONG, 0, 1)
    x, z = (LONG * place for place in elastica(k, s))
    return np.array([x + mesh.X[0] - np.clip(mesh.X[0], -LONG / 2, LONG / 2), mesh.X[1], z])


def problem_of(mesh: Mesh, known: Parts | None, k: float) -> tuple[solve.Problem, np.ndarray]:
    """Problem of a strip whose ends are held as far apart as those of an elastica, and where that is."""
    held, at = np.flatnonzero(np.abs(mesh.X[0]) > LONG / 2 - 1e-9), folded(mesh, k)
    skin = replace(sheet(mesh, law=plate(E, poisson=0.0), h=H), parts=known)
    return solve.problem(skin, constraints(at, NO_PAIRS, held), tol=1e-9), at


def moved(
    mesh: Mesh, known: Parts | None, q: np.ndarray | None, before: float, after: float
) -> tuple[solve.Problem, np.ndarray]:
    """Problem and q of a strip whose ends went from where they are at one modulus to where they are at another."""
    (problem, start), (there, _) = (problem_of(mesh, known, k) for k in (before, after))
    one, other = problem.constraints, there.constraints

    def at(part: float) -> tuple[solve.Problem, float]:
        offset = one.offset + part * (other.offset - one.offset)
        return replace(problem, constraints=replace(one, offset=offset)), 1.0

    q = solve.at_rest(problem, independent(one, start, 1.0) if q is None else q)
    if known is not None:
        solve.keep_apart(problem, contact(known, positions(one, q, 1.0)))
    q = solve.walked(at, q, largest=0.2)
    return at(1.0)[0], solve.at_rest(at(1.0)[0], q)


def width(mesh: Mesh, x: np.ndarray) -> float:
    """Distance between both sides of a strip at x (3, n) where they are nearest; negative where they have passed."""
    side = (mesh.X[0] < 0) & (x[2] < LONG / 4)
    return float(-2 * x[0, side].max())


def long_strip(fine: int) -> Mesh:
    """A strip of squares of 2 mm, or of 1, one of them beyond either clamp."""
    side = 2.0 / fine
    return strip(-LONG / 2 - side, LONG / 2 + side, width=5, side=side)


def fold(fine: int) -> Iterator[Row]:
    """A clamped strip of 100 x 2 mm whose ends are moved together folds until both sides meet, and lies on itself.

    Inflectional elastica of modulus k, between clamps:

        sin(theta/2) = k sn(4 K s/L),   x = L/4K (2 E(am) - sigma),   ends (2 E/K - 1) L apart

    Before the onset both sides are as far apart as its. An elastica does not shorten; a strip as thick as this does, by
    0.2 % (one of a quarter of that is 0.02 mm off, on squares of 1 mm). Pressed on, where an elastica would have passed
    through itself, they stay about a thickness apart.
    """
    mesh, k = long_strip(fine), onset()
    known = parts(mesh, E)
    problem, q = moved(mesh, known, None, k - 2 * BEFORE, k - BEFORE)
    x = positions(problem.constraints, q, 1.0)
    yield Row("distance of both sides before the onset", neck(k - BEFORE), width(mesh, x), "mm", 2e-3, LONG)
    pressed = contact(known, x).pressed(x)[2]
    yield Row("pressure before the onset", 0.0, float(pressed.max(initial=0.0)), "MPa", 1e-12, K)
    problem, q = moved(mesh, known, q, k - BEFORE, k + 3 * BEFORE)
    yield Row("distance pressed on", H, width(mesh, positions(problem.constraints, q, 1.0)), "mm", 5e-2)


ROUND, THIN, WIDE = 16.0, 1.0, 3.0  # mm: radius, thickness and width of a ring
BETWEEN = 22.0  # mm, half the length of the plates
UPRIGHT, FLAT = beta(0.25, 0.5) / 2, beta(0.75, 0.5) / 2  # int 1/sqrt(sin t) dt and int sqrt(sin t) dt, to pi/2
SLIGHT = 1e-9  # MPa/mm, of a bed on which the ring does not roll; it bears less than 1e-3 of the load


def ring_between_plates() -> Mesh:
    """A ring, sewn where its lower middle is, and two plates, each far from the others on the plan."""
    line = np.linspace(-np.pi * ROUND, np.pi * ROUND, 97)
    one = skfem.MeshTri.init_tensor(np.linspace(0, WIDE, 5), line)
    across, along = np.linspace(-1, WIDE + 1, 3), np.linspace(-BETWEEN, BETWEEN, 17)
    lower, upper = (skfem.MeshTri.init_tensor(n * APART + across, along) for n in (1, 2))
    nodes = np.cumsum([0, one.nvertices, lower.nvertices])
    t = np.hstack([mesh.t + first for mesh, first in zip((one, lower, upper), nodes, strict=True)])
    tri = counter_clockwise(skfem.MeshTri(np.hstack([one.p, lower.p, upper.p]), t))
    ends = [np.flatnonzero((tri.p[0] < APART / 2) & (tri.p[1] == end)) for end in (line[0], line[-1])]
    seam = np.array([end[np.argsort(tri.p[0, end])] for end in ends])
    return replace(from_triangulation(tri, [seam]), surface=Surface(cylinder(radius_mm=ROUND), lambda x: x[:2]))


def flattened(mesh: Mesh, d: float) -> np.ndarray:
    """Where nodes are (3, n) if the ring is an elastica d high, above and below it a plate a thickness away."""
    size = d / FLAT / 2  # 1/sqrt(2 F/EI)
    flat = np.pi / 2 * ROUND - size * UPRIGHT
    t = np.linspace(0, np.sqrt(np.pi / 2), 200) ** 2  # of the tangent

    def along(power: float) -> np.ndarray:
        """Integrals of sin^power up to each t, in r, r^2 = t, for they start steeply."""
        return size * np.array([quad(lambda r: 2 * r * np.sin(r**2) ** power, 0, np.sqrt(end))[0] for end in t])

    s, z = along(-0.5), along(0.5)
    y = 2 * size * np.sqrt(np.sin(t))
    far = np.pi * ROUND / 2 - abs(abs(mesh.X[1]) - np.pi * ROUND / 2) - flat  # from where the plates are left
    side = np.where(far < 0, far, np.interp(far, s, y))
    down = np.interp(far, s, z)
    x = np.array([mesh.X[0], np.sign(mesh.X[1]) * (flat + side), -down])
    below = abs(mesh.X[1]) > np.pi * ROUND / 2
    x[2, below] = -d - x[2, below]
    for n, level in ((1, -d - THIN), (2, THIN)):
        there = abs(mesh.X[0] - n * APART) < APART / 2
        x[:, there] = np.array([mesh.X[0, there] - n * APART, mesh.X[1, there], np.full(there.sum(), level)])
    return x


def pressed_ring(fine: int) -> Iterator[Row]:
    """A ring of radius R between two smooth plates is pressed flat: P = 4 K^2 EI w/D^2 once it is D < 1.4355 R high.

    From where it leaves a plate, there straight, to its side it is an elastica under a force F at either end:

        theta'^2 = 2 F/EI sin(theta),   D = 2 K sqrt(EI/2F),   K = int sqrt(sin t) dt = B(3/4, 1/2)/2

    Half its width is what lies flat, pi R/2 - K' sqrt(EI/2F) with K' = B(1/4, 1/2)/2, and 2 sqrt(EI/2F) more. Plates
    and ring push each other as skin pushes skin; nothing else holds the ring.
    """
    mesh = ring_between_plates()
    ring, upper = mesh.X[0] < APART / 2, mesh.X[0] > 3 * APART / 2
    bed = springs(mesh, normal=SLIGHT, shear=SLIGHT)
    known = parts(mesh, E, THIN)
    skin = replace(sheet(mesh, law=plate(E, poisson=0.0), h=THIN, foundation=bed), parts=known)
    for d in (20.0, 17.0, 14.0) if fine == FULL else (20.0,):
        at = flattened(mesh, d)
        sewing = constraints(at, mesh.pairs, np.flatnonzero(~ring))
        problem = solve.problem(skin, sewing, tol=1e-9)
        solve.keep_apart(problem, contact(known, at))
        q = solve.newton(problem, independent(sewing, at, 1.0), tol=problem.tol, max_iter=200)
        x = positions(sewing, q, 1.0)
        pushed = assemble(skin, x, contact=problem.system.contact)[1] - assemble(skin, x)[1]
        height = float(np.ptp(x[2, ring]))
        force = E * THIN**3 / 3 * WIDE * (FLAT / height) ** 2
        yield Row(f"force of a plate, {d:g} mm", 1e3 * force, float(-1e3 * pushed[2, upper].sum()), "mN", 1e-2)
        half = np.pi / 2 * ROUND + height / FLAT * (1 - UPRIGHT / 2)
        yield Row(f"width of the ring, {d:g} mm", 2 * half, float(np.ptp(x[1, ring])), "mm", 2e-3)


CHECKS = (
    Check("pressed-sheets", "Two sheets pressed together", "code", "the integral, by hand", pressed_sheets),
    Check("fold", "A fold that meets itself", "code", "Love (1927), art. 262 and 263", fold),
    Check(
        "pressed-ring",
        "Ring pressed flat between plates",
        "code",
        "elastica, derived from Love (1927), art. 262",
        pressed_ring,
    ),
)
