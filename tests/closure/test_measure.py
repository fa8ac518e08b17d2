"""Measures of closed wounds whose shape or stress is known in closed form."""

import json
from dataclasses import replace
from math import atan, degrees, pi, sin, sqrt

import numpy as np
import pytest
import shapely
import skfem
from laid_out import LENS, MU, H, closure, squares
from pytest import approx
from scipy.optimize import brentq

from fem.closure.measure import MEASURES, measures
from fem.closure.measures.cones import cone_height, cones, dip, rise
from fem.closure.measures.scars import push_out, scar_chord, scar_length, seam_waves
from fem.closure.measures.skin import (
    compressed_area,
    corners,
    skin_stress_corner,
    skin_stress_max,
    skin_stress_p99,
    skin_stretch_max,
    skin_stretch_p99,
    strain_energy,
)
from fem.geometry.outlines import boundary, circle, crescent, rhombus
from fem.mechanics.mesh import mesh
from fem.mechanics.triangulation import from_triangulation
from fem.plan.plan import side_to_side
from fem.verification.problems import flat

SIDE = 1.0  # mm, of the triangles in healed skin


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
    names = """cone_height_mm cones rise_mm seam_wave_mm seam_wave_length_mm
        dip_mm seam_depth_mm contour_mm scar_length_mm scar_chord_mm push_out_mm gape_length_mm gape_width_mm
        gape_axis_deg closing_force_N closing_force_after line_tension_max_N_per_m line_tension_mid_N_per_m
        suture_forces_N suture_forces_final_N trim_cut_mm trim_cones_before_mm trim_scar_added_mm
        trim_skin_removed_mm2 purse_force_N open_area_mm2 taper_forces_N anchor_forces_N largest_gap_mm
        skin_stress_max_kPa
        skin_stretch_max skin_stress_p99_kPa skin_stretch_p99 skin_stress_corner_kPa
        compressed_area_mm2 contact_area_mm2 contact_pressure_max_kPa self_intersection_mm2 removed_area_mm2
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
    assert (cone_height(of), rise(of), dip(of)) == (3.0, 3.0, 0.4)


def test_no_dip():
    """Skin that lies above its level everywhere has no dip, and below no rise; neither is a negative one."""
    assert dip(closure(HEALED, raised(0.1 + FROM_LEFT))) == 0.0
    assert rise(closure(HEALED, raised(-0.1 - FROM_LEFT))) == 0.0


def test_sunk_and_standing():
    """A tip 3 mm below the level beside one 2 mm above it: the cone of the wound is the sunk one."""
    of = closure(HEALED, bowls(3.0, 2.0) * np.where(HEALED.X[0] < 0, [[1], [1], [-1]], 1))
    assert [cone["height_mm"] for cone in cones(of)] == [-3.0, 2.0]
    assert (cone_height(of), rise(of), dip(of)) == (-3.0, 2.0, 3.0)


def test_far_from_the_tips():
    """A bowl 5 mm high, 15 mm from the nearest tip of a wound 12 mm wide, is no cone, nor is it part of one."""
    x = bowls(3.0, 2.0)
    far = np.maximum(x[2], 5 - ((HEALED.X[0] - 24) ** 2 + (HEALED.X[1] - 12) ** 2) / 4)
    of = closure(HEALED, raised(far))
    assert (cone_height(of), rise(of)) == (3.0, 5.0)
    assert cones(of) == cones(closure(HEALED, x))


def test_without_tips():
    """Around an edge that is left open, what counts is the skin within half the wound's width, 6 mm, of it."""
    edge = HEALED.seams[0][0, ::2]
    mesh = from_triangulation(HEALED.tri, [], rim_vertices=HEALED.tri.boundary_nodes(), open_edges=[edge])
    near, far = (np.maximum(0, 1 - np.hypot(mesh.X[0], mesh.X[1] - y)) for y in (5, 9))
    assert cone_height(closure(mesh, raised(3 * far - 2 * near, mesh))) == -2.0


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize(("k", "top", "x"), [(0, 3.0, -15.0), (1, 2.0, 15.0)])
def test_cones(k, top, x, side):
    """z = top - r^2/8 is 0.5 mm high at R = sqrt(8 (top - 0.5)).

    Its footprint is pi R^2, the volume above 0.5 mm pi R^4 / 16, the slope there R/4. Chords between the nodes, s
    apart, lie below the paraboloid by up to s^2/32, which is s^2 / 8 R of the reach; the slope is that of chords.
    Upside down only the sign of the height is another.
    """
    R, spacing = sqrt(8 * (top - 0.5)), SIDE / 2
    cone = cones(closure(HEALED, bowls(3.0, 2.0) * [[1], [1], [side]]))[k]
    assert cone["height_mm"] == side * top
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
    left, right = cones(closure(HEALED, raised(np.maximum(-0.4, 1.03 - np.abs(HEALED.X[0] - 20) / 10))))
    assert right["footprint_mm2"] == approx(10.6 * 30)
    assert right["volume_mm3"] == approx(10.6 * 30 * 0.53 / 2)
    assert right["reach_mm"] == approx(10.3)  # beyond the tip at x = 15
    assert right["slope_deg"] == approx(degrees(atan(0.1)))
    assert left["footprint_mm2"] == 0


def waved(height, length):
    """Bowls 3 and 2 mm high about the tips of a scar, 6 mm from which begin waves of a height from crest to trough."""
    waves = height / 2 * np.cos(2 * pi * HEALED.X[0] / length)
    return raised(np.where(np.minimum(FROM_LEFT, FROM_RIGHT) < 6, bowls(3.0, 2.0)[2], waves))


@pytest.mark.parametrize(("height", "length"), [(1.6, 6.0), (0.3, 4.0)])
def test_waves_along_the_seam(height, length):
    """A cosine along the scar, its crests and troughs at nodes: 0, 3 and 6 mm from the middle, or 0, 2, 4, ... 8."""
    assert seam_waves(closure(HEALED, waved(height, length))) == approx((height, length))


def test_wave_that_grows():
    """Crests of 0 mm at -4, 0 and 4 mm, between them troughs of -0.4 and -1.2 mm: the greatest height, the length."""
    x = HEALED.X[0]
    trough = np.where(x < 0, 0.4, 1.2) * np.sin(pi * x / 4) ** 2 * (np.abs(x) < 8)
    assert seam_waves(closure(HEALED, raised(-trough))) == approx((1.2, 4.0))


@pytest.mark.parametrize("x", [waved(0.09, 6.0), bowls(3.0, 2.0), raised(HEALED.X[0] ** 2 / 100)])
def test_no_waves(x):
    """What stands out by less than 0.1 mm, a scar between two cones, and one that sags between its ends."""
    assert seam_waves(closure(HEALED, x)) == (0.0, None)


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
    assert skin_stress_corner(of) == approx(stress(b, a))
    assert skin_stretch_max(of) == approx(b)
    assert skin_stretch_p99(of) == approx(b)
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
    for name in ("skin_stress_max_kPa", "skin_stretch_max", "skin_stress_p99_kPa", "skin_stretch_p99"):
        assert MEASURES[name](of) == approx(MEASURES[name](closure(wound, stretched(wound, 1.1, 1.3))), rel=1e-12)


def test_stress_about_a_corner():
    """Stretch 1.2 + X / 200 along: the mean about the right tip, of points x there with the weight 1 - r / 4 mm.

    Triangles have points about 0.3 mm apart, at which the cone of weights is as good as smooth.
    """
    fine = mesh(side_to_side(LENS), radius=40, edge=1, tip=0.5, far=3)
    X, Y = fine.X
    of = closure(fine, np.array([1.2 * X + X**2 / 400, Y, 0 * X]))
    x, y = np.meshgrid(20 + np.linspace(-4, 4, 401), np.linspace(-4, 4, 401))
    weight = np.maximum(0, 1 - np.hypot(x - 20, y) / 4) * ~shapely.contains_xy(boundary(LENS, n=400), x, y)
    assert skin_stress_corner(of) == approx(np.average(stress(1.2 + x / 200, 1.0), weights=weight), rel=1e-3)


def test_corners():
    """A rhombus has four corners, half way along its seam too; where the parts of a crescent's seam meet is none.

    The ends of a circle's seam count, for the skin that is missing there.
    """
    outline = rhombus(length_mm=40, width_mm=12)
    cut = mesh(side_to_side(outline), radius=60, edge=4, tip=4, far=20)
    assert sorted(corners(closure(cut, outline=outline)).T.tolist()) == approx_rows([-20, 0], [0, -6], [0, 6], [20, 0])
    pushed = side_to_side(crescent(length_mm=40, upper_mm=12, lower_mm=5), surplus="right")
    assert sorted(corners(replace(closure(cut), plan=pushed)).T.tolist()) == approx_rows([-20, 0], [20, 0])

    sewn = side_to_side(circle(diameter_mm=20))
    assert sorted(corners(replace(closure(cut), plan=sewn)).T.tolist()) == approx_rows([-10, 0], [10, 0])


def approx_rows(*rows):
    return [approx(row, abs=1e-9) for row in rows]


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
    assert strain_energy(closure(wound, stretch=(1.05, 1.02))) == approx(0, abs=1e-12)
