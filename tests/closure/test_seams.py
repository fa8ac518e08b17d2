"""Measures along seams: line tension and closing force, wounds with several seams and tips."""

from dataclasses import replace

import numpy as np
import pytest
import skfem
from laid_out import MU, H, closure, squares
from pytest import approx
from scipy.integrate import quad

from fem.case.case import Case
from fem.case.document import parse
from fem.closure.closing import closed
from fem.closure.measure import MEASURES
from fem.closure.measures.cones import cones
from fem.closure.measures.scars import (
    closing_force,
    line_tension,
    line_tension_max,
    line_tension_mid,
    push_out,
    scar_chord,
    scar_length,
    seam_force,
)
from fem.geometry.outlines import circle, crescent, lens_with_m
from fem.mechanics import constraints, solve
from fem.mechanics.mesh import mesh
from fem.mechanics.ties import TiedSutures
from fem.mechanics.triangulation import from_triangulation
from fem.plan.plan import side_to_side
from fem.verification.problems import flat

# Forces -------------------------------------------------------------------------------------------------------


def strips(*, side=1.0):
    """Two strips, 20 x 3 mm, 4 mm apart; the seam joins their near edges from (0, +-2) to (20, +-2)."""
    upper, lower = (squares(length=20, width=3, side=side).translated((10, y)) for y in (3.5, -3.5))
    tri = skfem.MeshTri(np.hstack([upper.p, lower.p]), np.hstack([upper.t, upper.nvertices + lower.t]), sort_t=False)
    edges = [np.flatnonzero(tri.p[1] == y) for y in (2, -2)]
    return from_triangulation(tri, [[edge[np.argsort(tri.p[0, edge])] for edge in edges]])


def drawn_together(mesh, along, across):
    """Positions of the strips when their near edges have met, stretched by `along` (n,) and `across` (n,)."""
    X, Y = mesh.X
    return np.array([along * X, across * (Y - 2 * np.sign(Y)), 0 * X])


@pytest.mark.parametrize("across", [1.3, 0.8])
def test_even_line_tension(across):
    """T = h mu (b - 1 / (a^2 b^3)) / a per closed length; negative where the edges are pressed together.

    The closing force leaves out 2 mm at each end.
    """
    cut, a, b = strips(), 1.1, across
    of = closure(cut, drawn_together(cut, a, b))
    T = H * MU * (b - 1 / (a**2 * b**3)) / a
    assert line_tension_mid(of) == approx(1e3 * T)
    assert line_tension_max(of) == approx(1e3 * T)
    assert closing_force(of) == approx(T * (20 * a - 4))
    assert line_tension(of, cut.seams[0])[1] == approx(a * (np.arange(20) + 0.5))


def test_short_scar():
    """Of a scar of 5 mm a quarter is left out at each end, and the tension in the middle is that of the rest."""
    cut = strips(side=0.5)
    of = closure(cut, drawn_together(cut, 0.25, 1.3))
    T = H * MU * (1.3 - 1 / (0.25**2 * 1.3**3)) / 0.25
    assert closing_force(of) == approx(T * 2.5)
    assert line_tension_mid(of) == approx(1e3 * T)


def test_line_tension_of_uneven_segments():
    """Segments of 0.5 to 1.5 mm under an even pull all carry the same force per length."""
    cut = strips()
    uneven = 0.8 * np.sin(np.pi * cut.X[0] / 10)  # moves nodes along x in the reference
    tri = skfem.MeshTri(cut.tri.p + [[1], [0]] * uneven[: cut.tri.nvertices], cut.tri.t, sort_t=False)
    cut = from_triangulation(tri, [cut.seams[0][:, ::2]])
    tension, _ = line_tension(closure(cut, drawn_together(cut, 1.0, 1.3)), cut.seams[0])
    assert tension[1:-1] == approx(H * MU * (1.3 - 1.3**-3))


@pytest.mark.parametrize("degrees", [40, 180, -100])
def test_line_tension_of_a_turned_scar(degrees):
    """The force is taken across the scar, whichever way it runs."""
    cut, turn = strips(), np.radians(degrees)
    R = np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]])
    tri = skfem.MeshTri(R[:2, :2] @ cut.tri.p, cut.tri.t, sort_t=False)
    turned = from_triangulation(tri, [cut.seams[0][:, ::2]])
    of = closure(turned, R @ drawn_together(cut, 1.0, 1.3))
    assert line_tension_mid(of) == approx(1e3 * H * MU * (1.3 - 1.3**-3))


def test_greatest_line_tension():
    """Stretch across 1.2 + x / 50: the tension in the middle is the mean over 8 mm, the closing force the integral.

    The greatest is that at the last segment whose middle is more than 2 mm from the end, up to how it changes over a
    triangle.
    """
    cut = strips(side=0.5)
    of = closure(cut, drawn_together(cut, 1.0, 1.2 + cut.X[0] / 50))

    def T(b):
        return 1e3 * H * MU * (b - b**-3)

    over_a_triangle = T(1.41) - T(1.4)
    assert line_tension_mid(of) == approx(quad(lambda x: T(1.2 + x / 50), 6, 14)[0] / 8, rel=1e-6)
    assert closing_force(of) == approx(quad(lambda x: T(1.2 + x / 50), 2, 18)[0] / 1e3, rel=1e-6)
    assert line_tension_max(of) == approx(T(1.2 + 17.75 / 50), abs=over_a_triangle)


@pytest.mark.parametrize(
    ("diameter_mm", "name"),
    [(2, "line_tension_max_N_per_m"), (1, "skin_stress_p99_kPa"), (1, "skin_stretch_p99")],
)
def test_nothing_left_outside_the_tip_zones(diameter_mm, name):
    """A scar of pi mm has no part 2 mm from both tips; skin 1 mm around a 1 mm circle is all within 2 mm of a tip."""
    outline = circle(diameter_mm=diameter_mm)
    small = mesh(side_to_side(outline), radius=10, edge=0.2, tip=0.2, far=2)
    assert MEASURES[name](closure(small, outline=outline)) is None


@pytest.fixture(scope="module")
def lens_closed():
    """A 30 x 10 mm lens closed without natural tension; two cones."""
    written = """
        {name: a, wound: {outline: {kind: lens, length_mm: 30, width_mm: 10}}, closure: {undermine_mm: 6},
        skin: {thickness_mm: 1.5, law: {kind: neo-hooke, shear_kPa: 33.3}},
        bed: {pull_kPa_per_mm: 1, shear_kPa_per_mm: 0.1},
        patch: {radius_mm: 40}, mesh: {edge_mm: 2, tip_mm: 2, far_mm: 9}}"""
    return closed(parse(written, Case, "a.yaml"))


def force_by_work(of, sewing, opening, *, d=1e-3):
    """Change of the energy at rest, N, per mm by which nodes are opened along `opening` (3, n); central difference."""
    problem = solve.problem(of.sheet, replace(sewing, gap=opening))
    q = constraints.independent(sewing, of.x, 1.0)
    at = dict(load=np.zeros_like(of.x))
    wide, tight = (
        solve.state(problem, solve.newton(problem, q, closed=1 - s * d, tol=1e-9, **at), closed=1 - s * d, **at).energy
        for s in (1, -1)
    )
    return (tight - wide) / (2 * d)


def across_all(of):
    """Force across all of the scars but for their end nodes, N."""
    return sum(seam_force(of, scar).sum() for scar in of.mesh.scars)


def test_closing_force_by_virtual_work(lens_closed):
    """Opening the seam evenly by d against its pull changes the energy at rest by -d times the force across it.

    The tips stay shut, and are left out of the sum. Central difference: error d^2. The two sides of the mesh are not
    quite alike, so the scar turns from the axis by up to some 0.003, and the force across differs by the square of it.
    """
    of = lens_closed
    sewing = constraints.constraints(of.gaping, of.mesh.seams[0], of.mesh.rim)
    opening = np.sign(sewing.gap[1]) * np.array([[0.0], [1.0], [0.0]])
    assert force_by_work(of, sewing, opening) == approx(across_all(of), rel=1e-5)


# Several seams and tips ---------------------------------------------------------------------------------------


WITH_M = lens_with_m(length_mm=40, width_mm=14, shorter_mm=5)


@pytest.fixture(scope="module")
def forked():
    """A lens with an M at its right end, cut into skin of radius 50 mm."""
    return mesh(side_to_side(WITH_M), radius=50, edge=1.5, tip=1, far=8)


@pytest.mark.parametrize(("sutures", "half"), [(1, 5.0), (2, 5.0), (4, 4.0)])
def test_line_tension_between_sutures(sutures, half):
    """A scar of 20 mm: the mean is over a spacing of sutures, but a quarter of it at most and 4 mm at least."""
    cut = strips(side=0.5)
    of = closure(cut, drawn_together(cut, 1.0, 1.2 + cut.X[0] / 50))
    none = np.zeros(sutures)
    of = replace(of, sutures=TiedSutures(("edges",) * sutures, none, none, (of.x,) * sutures))
    whole = quad(lambda x: (1.2 + x / 50) - (1.2 + x / 50) ** -3, 10 - half, 10 + half)[0]
    assert line_tension_mid(of) == approx(1e3 * H * MU * whole / (2 * half), rel=1e-6)


def test_tips_of_an_m(forked):
    """The left tip of the lens, then the two right ones, 5 mm short of the lens's, from below."""
    of = closure(forked, outline=WITH_M)
    left, right = of.mesh.ends
    assert of.mesh.tips.tolist() == [*left, *right]
    x, y = forked.X[:, of.mesh.tips]
    height = WITH_M.upper.point(np.array([1 - WITH_M.beyond[1] / WITH_M.upper.length]))[1, 0]
    assert x == approx([-20, 15, 15])
    assert y == approx([0, -height, height], abs=1e-9)


def test_shape_of_an_m(forked):
    """Stretched by 1.1 along x, tips 20 and 15 mm from the origin move out by a tenth; the ends are 38.5 mm apart."""
    of = closure(forked, flat(forked) * [[1.1], [1.0], [1.0]], outline=WITH_M)
    assert push_out(of) == approx([2.0, 1.5, 1.5])
    assert scar_chord(of) == approx(1.1 * 35)


def test_scars_of_an_m(forked):
    """In flat skin that lies where it was cut, the scar is the first edge of each seam: the edges up to the tips."""
    edges = WITH_M.upper.length - WITH_M.beyond[1], WITH_M.beyond[1]
    first_edges = edges[0] + edges[1]  # the upper edge; of the lower one only what the flap is sewn to
    shortening = first_edges * 2**2 / (24 * 30**2)  # chords of 2 mm, arcs of more than 30 mm radius
    assert scar_length(closure(forked, outline=WITH_M)) == approx(first_edges, abs=shortening)


def test_cone_at_each_tip_of_an_m(forked):
    """Paraboloids of 3, 2 and 1.5 mm about the tips; each reaches sqrt(8 (top - 0.5)) along the axis, outward."""
    ends = closure(forked, outline=WITH_M).mesh.tips
    tops = np.array([3.0, 2.0, 1.5])
    r2 = ((forked.X[:, None] - forked.X[:, ends, None]) ** 2).sum(axis=0)
    x = flat(forked)
    x[2] = np.maximum(0, (tops[:, None] - r2 / 8).max(axis=0))
    ends = cones(closure(forked, x, outline=WITH_M))
    assert [cone["height_mm"] for cone in ends] == approx(tops)
    assert [cone["at_mm"][0] for cone in ends] == approx([-20, 15, 15])
    reach = np.sqrt(8 * (tops - 0.5))
    assert [cone["reach_mm"] for cone in ends] == approx(reach, rel=0.05)  # chords of triangles of 2 mm and more


@pytest.mark.parametrize("surplus", ["left", "right"])
def test_seams_that_carry_on_are_one_scar(surplus):
    """A crescent sewn in two parts has one scar, from tip to tip, and two tips; yet unsewn, its length is a mean."""
    outline = crescent(length_mm=40, upper_mm=12, lower_mm=5)
    cut = mesh(side_to_side(outline, surplus=surplus), radius=50, edge=2, tip=1.5, far=8)
    of = closure(cut, outline=outline)
    assert len(cut.seams) == 2
    (scar,) = of.mesh.scars
    assert scar.shape[1] == sum(seam.shape[1] for seam in cut.seams) - 1
    assert scar[0, [0, -1]].tolist() == scar[1, [0, -1]].tolist() == of.mesh.tips.tolist()
    mean = (outline.upper.length + outline.lower.length) / 2
    assert scar_length(of) == approx(mean, rel=2**2 / (24 * 20**2))


def test_closing_force_of_three_seams():
    """Opening all seams of an M evenly, but for tips and fork: the energy falls by the force across, as for one."""
    written = """
        {name: a, wound: {outline: {kind: lens-with-m, length_mm: 40, width_mm: 14, shorter_mm: 5}},
        closure: {undermine_mm: 6}, skin: {thickness_mm: 1.5, law: {kind: neo-hooke, shear_kPa: 33.3}},
        bed: {pull_kPa_per_mm: 1, shear_kPa_per_mm: 0.1},
        patch: {radius_mm: 50}, mesh: {edge_mm: 1.7, tip_mm: 1.7, far_mm: 9}}"""
    of = closed(parse(written, Case, "a.yaml"))
    sewing = constraints.constraints(of.gaping, np.hstack(of.mesh.seams), of.mesh.rim)
    opening = np.zeros_like(sewing.gap)
    for seam in of.mesh.seams:
        along = np.gradient(of.x[:2, seam[0]], axis=1)
        across = np.stack([-along[1], along[0]])[:, 1:-1] / np.hypot(*along)[1:-1]
        for edge in seam[:, 1:-1]:  # that of the two which follows the other
            opening[:2, edge] = np.sign((across * sewing.gap[:2, edge]).sum(axis=0)) * across
    assert force_by_work(of, sewing, opening) == approx(across_all(of), rel=1e-4)
