"""Measures of closed wounds whose shape, stress or force is known in closed form."""

import json
from dataclasses import replace
from functools import partial
from math import atan, degrees, pi, sin, sqrt

import numpy as np
import pytest
import shapely
import skfem
from problems import bending_as, flat
from pytest import approx
from scipy.optimize import brentq

from fem.case.case import Case
from fem.case.document import parse
from fem.closure.closing import closed
from fem.closure.closure import Closure
from fem.closure.measure import MEASURES, measures
from fem.closure.measures.cones import cone_height, cones, dip
from fem.closure.measures.scars import (
    closing_force,
    line_tension,
    line_tension_max,
    line_tension_mid,
    push_out,
    scar_chord,
    scar_length,
)
from fem.closure.measures.skin import compressed_area, skin_stress_max, skin_stress_p99, skin_stretch_max, strain_energy
from fem.geometry.outlines import boundary, circle, crescent, lens, lens_with_m
from fem.material.laws import neo_hooke
from fem.mechanics import constraints, solve
from fem.mechanics.mesh import mesh
from fem.mechanics.sheet import sheet
from fem.mechanics.triangulation import from_triangulation
from fem.plan.plan import side_to_side

MU, H = 0.03, 1.5  # MPa, mm
LAW = partial(neo_hooke, shear_MPa=MU)
LENS = lens(length_mm=40, width_mm=12)
SIDE = 1.0  # mm, of the triangles in healed skin


def closure(mesh, x=None, *, gaping=None, outline=LENS, lesion_area=0.0, stretch=(1.0, 1.0)):
    """Closure with nodes at x (3, n), of skin without bed that hardly resists bending."""
    skin = bending_as(sheet(mesh, law=LAW, h=H, stretch=stretch), 1e-9)
    x = flat(mesh) if x is None else x
    gaping = flat(mesh) if gaping is None else gaping
    return Closure(
        outline=outline, plan=side_to_side(outline), lesion_area=lesion_area, mesh=mesh, sheet=skin, gaping=gaping, x=x
    )


def squares(*, length, width, side):
    """Triangulation of halved squares, its centre at the origin; vertices counter-clockwise."""
    x, y = (np.linspace(-size / 2, size / 2, round(size / side) + 1) for size in (length, width))
    tri = skfem.MeshTri.init_tensor(x, y)
    return skfem.MeshTri(tri.p, np.where(tri.mapping().detA.ravel() > 0, tri.t, tri.t[[0, 2, 1]]), sort_t=False)


def healed(*, side=SIDE, turned=0.0):
    """Unbroken 60 x 30 mm skin; its seam joins the same nodes from (-15, 0) to (15, 0), all turned about the origin."""
    tri = squares(length=60, width=30, side=side)
    seam = np.flatnonzero((tri.p[1] == 0) & (np.abs(tri.p[0]) <= 15))
    seam = seam[np.argsort(tri.p[0, seam])]
    c, s = np.cos(turned), np.sin(turned)
    tri = skfem.MeshTri(np.array([[c, -s], [s, c]]) @ tri.p, tri.t, sort_t=False)
    return from_triangulation(tri, [(seam, seam)], rim_vertices=tri.boundary_nodes())


HEALED = healed()
FROM_LEFT, FROM_RIGHT = (np.hypot(HEALED.X[0] - x, HEALED.X[1]) for x in (-15, 15))


def raised(height, mesh=HEALED):
    """Positions with the nodes of flat skin lifted to `height` (n,)."""
    return np.vstack([mesh.X, height])


def bowls(left, right):
    """Two paraboloids left - r^2/8 and right - r^2/8 about the tips, in skin 0.4 mm below its level."""
    return raised(np.maximum(-0.4, np.maximum(left - FROM_LEFT**2 / 8, right - FROM_RIGHT**2 / 8)))


@pytest.fixture(scope="module")
def wound():
    """A lens, 40 x 12 mm, cut into skin of radius 60 mm; triangles at the tips lie within 2 mm of them."""
    return mesh(side_to_side(LENS), radius=60, edge=1.5, tip=0.7, far=6)


# Which measures there are -------------------------------------------------------------------------------------


def test_names():
    """The table of results, for a running suture closed side to side."""
    names = """cone_height_mm cones dip_mm scar_length_mm scar_chord_mm push_out_mm gape_length_mm gape_width_mm
        gape_axis_deg closing_force_N closing_force_after line_tension_max_N_per_m line_tension_mid_N_per_m
        suture_forces_N suture_forces_final_N trim_cut_mm trim_cones_before_mm trim_scar_added_mm
        trim_skin_removed_mm2 purse_force_N open_area_mm2 taper_forces_N anchor_forces_N largest_gap_mm
        skin_stress_max_kPa
        skin_stretch_max skin_stress_p99_kPa compressed_area_mm2 self_intersection_mm2 removed_area_mm2
        healthy_removed_mm2 tip_angles_deg length_to_width strain_energy_mJ"""
    assert sorted(MEASURES) == sorted(names.split())


def test_plain_numbers(wound):
    """All measures by name, as JSON takes them, and none of them NaN."""
    numbers = measures(closure(wound, 1.1 * flat(wound), stretch=(1.1, 1.05)))
    assert json.loads(json.dumps(numbers, allow_nan=False)) == numbers
    assert list(numbers) == list(MEASURES)


# Shape --------------------------------------------------------------------------------------------------------


def test_highest_and_lowest():
    """Bowls 3 and 2 mm high in skin 0.4 mm deep."""
    of = closure(HEALED, bowls(3.0, 2.0))
    assert cone_height(of) == 3.0
    assert dip(of) == 0.4


def test_no_dip():
    """Skin that lies above its level everywhere has no dip; it is not a negative one."""
    assert dip(closure(HEALED, raised(0.1 + FROM_LEFT))) == 0.0


@pytest.mark.parametrize(("k", "top", "x"), [(0, 3.0, -15.0), (1, 2.0, 15.0)])
def test_cones(k, top, x):
    """z = top - r^2/8 is 0.5 mm high at R = sqrt(8 (top - 0.5)).

    Its footprint is pi R^2, the volume above 0.5 mm pi R^4 / 16, the slope there R/4. Chords between the nodes, s
    apart, lie below the paraboloid by up to s^2/32, which is s^2 / 8 R of the reach; the slope is that of chords.
    """
    R, spacing = sqrt(8 * (top - 0.5)), SIDE / 2
    cone = cones(closure(HEALED, bowls(3.0, 2.0)))[k]
    assert cone["height_mm"] == top
    assert cone["at_mm"] == approx([x, 0])
    assert cone["footprint_mm2"] == approx(pi * R**2, rel=2 * spacing**2 / R**2)
    assert cone["volume_mm3"] == approx(pi * R**4 / 16, rel=2 * spacing**2 / R**2)
    assert R - spacing**2 / (8 * R) <= cone["reach_mm"] <= R
    assert cone["slope_deg"] == approx(degrees(atan(R / 4)), abs=degrees(spacing / 4))


def test_cones_where_they_end_up():
    """The place of a cone is where the closed skin is, and its reach counts from the closed tip."""
    ends = cones(closure(HEALED, bowls(3.0, 2.0) * [[1.2], [1.0], [1.0]]))
    assert ends[0]["at_mm"] == approx([-18, 0])
    assert ends[0]["reach_mm"] == approx(1.2 * sqrt(20), rel=(SIDE / 2) ** 2 / (8 * 20))
    assert ends[0]["footprint_mm2"] == approx(1.2 * 20 * pi, rel=2 * (SIDE / 2) ** 2 / 20)


def test_straight_cone():
    """z = 4 - r at a tip: exact slope 45 degrees, footprint pi 3.5^2, volume a third of that times 3.5."""
    cone = cones(closure(HEALED, raised(np.maximum(0, 4 - FROM_LEFT))))[0]
    assert cone["slope_deg"] == approx(45, abs=3)  # a triangle of the grid cuts across the circles
    assert cone["footprint_mm2"] == approx(pi * 3.5**2, rel=0.02)  # (side / 2 / R)^2
    assert cone["volume_mm3"] == approx(pi * 3.5**3 / 3, rel=0.04)


def test_slope_leaves_the_tip_out():
    """A needle of 5 mm at the very tip changes the height, and not the slope."""
    x = bowls(3.0, 2.0)
    slope = cones(closure(HEALED, x))[0]["slope_deg"]
    x[2, FROM_LEFT == 0] = 5.0
    cone = cones(closure(HEALED, x))[0]
    assert (cone["height_mm"], cone["slope_deg"]) == (5.0, slope)


def test_low_skin_is_no_cone():
    """Skin up to 0.49 mm high has neither footprint nor volume, reach or slope."""
    cone = cones(closure(HEALED, raised(np.maximum(0, 0.49 - FROM_RIGHT / 10))))[1]
    assert cone.pop("at_mm") == approx([15, 0])
    assert cone == {"height_mm": 0.49, "footprint_mm2": 0, "volume_mm3": 0, "reach_mm": 0, "slope_deg": 0}


def test_roof():
    """z = 1.03 - |x - 20| / 10 is 0.5 mm high 5.3 mm from its ridge; flat triangles show it exactly: round-off."""
    left, right = cones(closure(HEALED, raised(1.03 - np.abs(HEALED.X[0] - 20) / 10)))
    assert right["footprint_mm2"] == approx(10.6 * 30)
    assert right["volume_mm3"] == approx(10.6 * 30 * 0.53 / 2)
    assert right["reach_mm"] == approx(10.3)  # beyond the tip at x = 15
    assert right["slope_deg"] == approx(degrees(atan(0.1)))
    assert left["footprint_mm2"] == 0


def test_bent_scar():
    """A scar of 30 mm laid along an arc of radius rho keeps its length; its chord is 2 rho sin(15 / rho)."""
    rho = 12.0
    X, Y = HEALED.X
    of = closure(HEALED, np.array([rho * np.sin(X / rho), Y, rho * np.cos(X / rho) - rho]))
    assert scar_length(of) == approx(30, rel=(SIDE / rho) ** 4)
    assert scar_chord(of) == approx(2 * rho * sin(15 / rho))


def test_push_out():
    """The left tip goes 1.5 mm outward, the right one 0.75 mm inward; what they move up or aside does not count."""
    X, Y = HEALED.X
    of = closure(HEALED, np.array([np.where(X < 0, 1.1 * X, 0.95 * X), Y + 2.0, 3.0 + 0 * X]))
    assert push_out(of) == approx([1.5, -0.75])


def test_gape():
    """A lens that gapes by 1.3 across and 1.1 along, closed or not: 44 x 15.6 mm."""
    cut = mesh(side_to_side(LENS), radius=60, edge=1.5, tip=1.5, far=10)
    of = closure(cut, gaping=flat(cut) * [[1.1], [1.3], [1.0]])
    sagitta = 1.5**2 / 8 / LENS.width  # nodes are at most that far from the top of the arc, as a share
    assert MEASURES["gape_length_mm"](of) == approx(44)
    assert MEASURES["gape_width_mm"](of) == approx(15.6, rel=sagitta)


def test_turned_by_any_angle():
    """A wound whose tips lie on a line at 40 degrees has the same measures of shape."""
    turn = np.radians(40)
    c, s = np.cos(turn), np.sin(turn)
    R = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
    x = bowls(3.0, 2.0) * [[1.2], [1.0], [1.0]]
    of, turned = closure(HEALED, x, gaping=x), closure(healed(turned=turn), R @ x, gaping=R @ x)
    for name in ("scar_length_mm", "scar_chord_mm", "push_out_mm", "gape_length_mm"):
        assert MEASURES[name](turned) == approx(MEASURES[name](of))
    for one, other in zip(cones(of), cones(turned), strict=True):
        assert other.pop("at_mm") == approx(R[:2, :2] @ one.pop("at_mm"))
        assert other == approx(one)


def test_geometry_of_the_outline(wound):
    """What is known before the solve: area 2 R^2 (theta - sin theta cos theta), tip angles 4 atan(W/L)."""
    of = closure(wound, lesion_area=25.0)
    theta = 2 * atan(0.3)
    area = 2 * (20 / sin(theta)) ** 2 * (theta - sin(2 * theta) / 2)
    assert MEASURES["removed_area_mm2"](of) == approx(area)
    assert MEASURES["healthy_removed_mm2"](of) == approx(area - 25)
    assert MEASURES["tip_angles_deg"](of) == approx([degrees(2 * theta)] * 2)
    assert MEASURES["length_to_width"](of) == approx(40 / 12)


# Stress -------------------------------------------------------------------------------------------------------


def stretched(mesh, a, b):
    """Positions of skin stretched evenly by a along x and b along y."""
    return np.array([[a], [b], [0]]) * flat(mesh)


def stress(a, b):
    """Cauchy stress along the stretch a in kPa, b across it: sigma = mu (a^2 - 1 / (a b)^2)."""
    return 1e3 * MU * (a**2 - (a * b) ** -2)


def test_even_stretch(wound):
    """All skin has the stress of its stretch, the greater of the two; natural stretches multiply it."""
    of = closure(wound, stretched(wound, 1.1, 1.3), stretch=(1.05, 1.02))
    a, b = 1.1 * 1.05, 1.3 * 1.02
    assert skin_stress_max(of) == approx(stress(b, a))
    assert skin_stress_p99(of) == approx(stress(b, a))
    assert skin_stretch_max(of) == approx(b)
    assert compressed_area(of) == 0.0


def test_even_shortening(wound):
    """Skin pressed together along x by 0.9 is compressed everywhere: the area of disc less lens."""
    of = closure(wound, stretched(wound, 0.9, 1.0))
    disc = shapely.Polygon(wound.X[:, wound.rim[np.argsort(np.arctan2(*wound.X[:, wound.rim]))]].T).area
    assert stress(0.9, 1.0) < -1
    assert compressed_area(of) == approx(disc - LENS.area, rel=1e-3)  # an arc is drawn with chords


@pytest.mark.parametrize(("pressure", "share"), [(0.99, 0.0), (1.01, 1.0)])
def test_slight_compression_does_not_count(pressure, share):
    """Skin counts as compressed below -1 kPa; uniaxial stress is mu (a^2 - 1/a)."""
    a = brentq(lambda a: 1e3 * MU * (a**2 - 1 / a) + pressure, 0.9, 1)
    assert compressed_area(closure(HEALED, stretched(HEALED, a, a**-0.5))) == approx(share * 60 * 30)


def test_tips_are_left_out(wound):
    """Moving both tips by 0.2 mm strains the triangles there, within 2 mm of the tips, and no measure of stress."""
    x = stretched(wound, 1.1, 1.3)
    x[0, closure(wound).mesh.tips] += 0.2
    of = closure(wound, x)
    for name in ("skin_stress_max_kPa", "skin_stretch_max", "skin_stress_p99_kPa"):
        assert MEASURES[name](of) == approx(MEASURES[name](closure(wound, stretched(wound, 1.1, 1.3))), rel=1e-12)


def test_stress_beside_the_tips_counts(wound):
    """Moving a node of the edge half way between the tips does change the greatest stress."""
    x = stretched(wound, 1.1, 1.3)
    x[1, wound.seams[0][0, wound.seams[0].shape[1] // 2]] -= 0.2
    assert skin_stress_max(closure(wound, x)) > 1.1 * stress(1.3, 1.1)


def test_hundredth_part_of_greatest_stress():
    """Stretch 1.2 + Y / 100 across: the 99th percentile is that at the Y above which 1 % of the zone's area lies.

    The zone is the skin within 12 mm of the edge, the width of the wound, less 2 mm around the tips.
    """
    fine = mesh(side_to_side(LENS), radius=40, edge=1, tip=0.7, far=1)
    X, Y = fine.X
    of = closure(fine, np.array([X, 1.2 * Y + Y**2 / 200, 0 * X]))
    ends = shapely.MultiPoint([(-20, 0), (20, 0)]).buffer(2)
    zone = boundary(LENS, n=400).buffer(12, quad_segs=64) - boundary(LENS, n=400) - ends
    above = np.linspace(15, 18, 301)
    share = [(zone & shapely.box(-99, y, 99, 99)).area / zone.area for y in above]
    wanted = np.interp(-0.01, -np.array(share), above)
    greatest = approx(stress(1.2 + wanted / 100, 1.0), rel=2e-3)  # rows of points are about 1 mm apart
    assert skin_stress_p99(of) == greatest


def test_stretch_energy(wound):
    """Energy above the uncut skin's: h A (psi(C) - psi(G^T G)), with the natural stretch 1.05, 1.02."""
    a, b, g = 1.1, 1.3, np.array([1.05, 1.02])

    def psi(one, two):
        return MU / 2 * (one**2 + two**2 + (one * two) ** -2 - 3)

    of = closure(wound, stretched(wound, a, b), stretch=g)
    area = wound.tri.mapping().detA.sum() / 2
    assert strain_energy(of) == approx(H * area * (psi(a * g[0], b * g[1]) - psi(*g)))


def test_uncut_skin_has_no_energy(wound):
    assert strain_energy(closure(wound, stretch=(1.05, 1.02))) == 0.0


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

    The two end nodes hold a sixth of a segment each, which the sum leaves out.
    """
    cut, a, b = strips(), 1.1, across
    of = closure(cut, drawn_together(cut, a, b))
    T = H * MU * (b - 1 / (a**2 * b**3)) / a
    assert line_tension_mid(of) == approx(1e3 * T)
    assert line_tension_max(of) == approx(1e3 * T)
    assert closing_force(of) == approx(T * a * (20 - 2 / 6))
    assert line_tension(of, cut.seams[0])[1] == approx(a * (np.arange(20) + 0.5))


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
    """Stretch across 1.2 + x / 50: the tension in the middle is that of 1.4, the greatest that at the last segment
    whose middle is more than 2 mm from the end, up to how it changes over a triangle.
    """
    cut = strips(side=0.5)
    of = closure(cut, drawn_together(cut, 1.0, 1.2 + cut.X[0] / 50))

    def T(b):
        return 1e3 * H * MU * (b - b**-3)

    over_a_triangle = T(1.41) - T(1.4)
    assert line_tension_mid(of) == approx(T(1.4), abs=over_a_triangle)
    assert line_tension_max(of) == approx(T(1.2 + 17.75 / 50), abs=over_a_triangle)


@pytest.mark.parametrize(("diameter_mm", "name"), [(2, "line_tension_max_N_per_m"), (1, "skin_stress_p99_kPa")])
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
        bed: {normal_kPa_per_mm: 1, shear_kPa_per_mm: 0.1},
        patch: {radius_mm: 40}, mesh: {edge_mm: 2, tip_mm: 2, far_mm: 9}}"""
    return closed(parse(written, Case, "a.yaml"))


def test_closing_force_by_virtual_work(lens_closed):
    """Opening the seam evenly by d against its pull changes the energy at rest by -d times the closing force.

    The tips stay shut, as in the sum. Central difference: error d^2. The two sides of the mesh are not quite alike,
    so the scar turns from the axis by up to some 0.003, and the force across it differs by the square of that.
    """
    of, d = lens_closed, 1e-3
    sewing = constraints.constraints(of.gaping, of.mesh.seams[0], of.mesh.rim)
    opening = np.sign(sewing.gap[1]) * np.array([[0.0], [1.0], [0.0]])
    problem = solve.problem(of.sheet, replace(sewing, gap=opening))
    q = constraints.independent(sewing, of.x, 1.0)
    at = dict(load=np.zeros_like(of.x))
    wide, tight = (
        solve.state(problem, solve.newton(problem, q, closed=1 - s * d, tol=1e-9, **at), closed=1 - s * d, **at).energy
        for s in (1, -1)
    )
    assert (tight - wide) / (2 * d) == approx(closing_force(of), rel=1e-5)


# Several seams and tips ---------------------------------------------------------------------------------------


WITH_M = lens_with_m(length_mm=40, width_mm=14, shorter_mm=5)


@pytest.fixture(scope="module")
def forked():
    """A lens with an M at its right end, cut into skin of radius 50 mm."""
    return mesh(side_to_side(WITH_M), radius=50, edge=2, tip=1.5, far=8)


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
    """A crescent sewn in two parts has one scar, from tip to tip, and two tips."""
    outline = crescent(length_mm=40, upper_mm=12, lower_mm=5)
    cut = mesh(side_to_side(outline, surplus=surplus), radius=50, edge=2, tip=1.5, far=8)
    of = closure(cut, outline=outline)
    assert len(cut.seams) == 2
    (scar,) = of.mesh.scars
    assert scar.shape[1] == sum(seam.shape[1] for seam in cut.seams) - 1
    assert scar[0, [0, -1]].tolist() == scar[1, [0, -1]].tolist() == of.mesh.tips.tolist()
    assert scar_length(of) == approx(outline.upper.length, rel=2**2 / (24 * 20**2))


def test_closing_force_of_three_seams():
    """Opening all seams of an M evenly, but for tips and fork: the energy falls by the closing force, as for one."""
    written = """
        {name: a, wound: {outline: {kind: lens-with-m, length_mm: 40, width_mm: 14, shorter_mm: 5}},
        closure: {undermine_mm: 6}, skin: {thickness_mm: 1.5, law: {kind: neo-hooke, shear_kPa: 33.3}},
        bed: {normal_kPa_per_mm: 1, shear_kPa_per_mm: 0.1},
        patch: {radius_mm: 50}, mesh: {edge_mm: 1.7, tip_mm: 1.7, far_mm: 9}}"""
    of, d = closed(parse(written, Case, "a.yaml")), 1e-3
    sewing = constraints.constraints(of.gaping, np.hstack(of.mesh.seams), of.mesh.rim)
    opening = np.zeros_like(sewing.gap)
    for seam in of.mesh.seams:
        along = np.gradient(of.x[:2, seam[0]], axis=1)
        across = np.stack([-along[1], along[0]])[:, 1:-1] / np.hypot(*along)[1:-1]
        for edge in seam[:, 1:-1]:  # that of the two which follows the other
            opening[:2, edge] = np.sign((across * sewing.gap[:2, edge]).sum(axis=0)) * across
    problem = solve.problem(of.sheet, replace(sewing, gap=opening))
    q = constraints.independent(sewing, of.x, 1.0)
    at = dict(load=np.zeros_like(of.x))
    wide, tight = (
        solve.state(problem, solve.newton(problem, q, closed=1 - s * d, tol=1e-9, **at), closed=1 - s * d, **at).energy
        for s in (1, -1)
    )
    assert (tight - wide) / (2 * d) == approx(closing_force(of), rel=1e-4)
