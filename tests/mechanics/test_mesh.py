"""Meshes: what is prescribed is there, seams match, triangles are well shaped, what cannot be meshed is refused."""

from dataclasses import replace

import meshio
import numpy as np
import pytest
import shapely
import skfem
from problems import COARSE, FINE
from pytest import approx

from fem.errors import MeshError
from fem.geometry.curve import part, polyline
from fem.geometry.outlines import circle, lens, polygon, rhombus, tangent
from fem.mechanics.mesh import check_cover, mesh
from fem.mechanics.triangulation import facets_between, from_triangulation, quality, write
from fem.plan.plan import Plan, removed_skin, side_to_side, undermined


def straight(start, end):
    return polyline(np.array([start, end], float).T)


def segment_lengths(m, side):
    return np.hypot(*np.diff(m.X[:, m.seams[0][side, ::2]]))


def hole_area(m):
    first, second = m.seams[0]
    return shapely.Polygon(np.hstack([m.X[:, first], m.X[:, second[::-1]]]).T).area


# Seams


def test_seam_nodes_face_each_other():
    """The edges of a lens are mirror images, so that nodes at equal fractions are too, midpoints included."""
    m = mesh(side_to_side(lens(length_mm=60, width_mm=20)), **FINE)
    first, second = m.X[:, m.seams[0][0]], m.X[:, m.seams[0][1]]
    assert second == approx(first * [[1], [-1]], abs=1e-9)
    assert m.X[:, m.pairs[1]] == approx(m.X[:, m.pairs[0]] * [[1], [-1]], abs=1e-9)
    assert first[:, 1::2] == approx((first[:, :-2:2] + first[:, 2::2]) / 2, abs=1e-12)
    assert m.seams[0][0, [0, -1]].tolist() == m.seams[0][1, [0, -1]].tolist()
    assert first[:, [0, -1]] == approx(np.array([[-30, 30], [0, 0]]), abs=1e-9)


def test_corners_of_either_edge_are_nodes_of_both():
    """One corner above, two below, at other fractions: both edges have nodes at all three."""
    upper = [straight((-20, 0), (0, 15)), straight((0, 15), (20, 0))]
    points = [(-20, 0), (-10, -10), (6, -12), (20, 0)]
    outline = polygon(points_mm=[*points, (0, 15)])
    m = mesh(side_to_side(outline), **FINE)
    found = [np.append(0, np.cumsum(segment_lengths(m, side))) for side in (0, 1)]
    assert found[0] / found[0][-1] == approx(found[1] / found[1][-1], abs=1e-12)
    lower = np.hypot(*np.diff(np.array(points).T)).cumsum()
    corners = [lower[0] / lower[-1], lower[1] / lower[-1], upper[0].length / (2 * upper[0].length)]
    assert np.abs(found[0] / found[0][-1] - np.array(corners)[:, None]).min(axis=1) == approx(0, abs=1e-12)


def test_segments_grow_from_the_tips():
    """First segment `tip` within a quarter, growth by a third at most, `edge` in the middle, never longer.

    A chord is shorter than its arc by (edge / 2R)^2 / 6 = 1e-3.
    """
    m = mesh(side_to_side(lens(length_mm=60, width_mm=20)), radius=60, edge=3.0, tip=0.5, far=6.0)
    lengths = segment_lengths(m, 0)
    growth = lengths[1:] / lengths[:-1]
    assert 0.5 / 1.25 < lengths[0] < 0.5 * 1.25
    assert 1 / 1.351 < growth.min() < growth.max() < 1.351
    assert 2.5 < lengths.max() <= 3


def test_two_wounds_one_sewn():
    """Two square holes; the sewn one has a seam, the other stays open, and both are left out."""

    def square(x):
        corners = [(x - 5, 0), (x, -5), (x + 5, 0), (x, 5)]
        return tuple(straight(a, b) for a, b in zip(corners, corners[1:] + corners[:1], strict=True))

    sewn, left = square(-20), square(20)
    seams = (part(sewn[3], 1, 0), sewn[0]), (part(sewn[2], 1, 0), sewn[1])
    open_ = tuple(part(side, 1, 0) for side in left)
    m = mesh(Plan(removed=(sewn, left), seams=seams, open=open_), **COARSE)
    n = 4 * int(np.ceil(np.pi / 2 * 60 / 9))
    assert m.tri.mapping().detA.sum() / 2 == approx(n * 1800 * np.sin(2 * np.pi / n) - 2 * 50, rel=1e-9)
    assert m.seams[0][0, 0] == m.seams[0][1, 0]
    assert m.seams[0][:, -1].tolist() == m.seams[1][:, 0].tolist()
    assert m.X[:, m.seams[0][:, -1]] == approx(np.array([[-20, -20], [5, -5]]), abs=1e-9)


def test_a_short_edge_has_four_segments_and_the_others_keep_theirs():
    """A triangle 40 mm high, cut off 4 mm below its top, on segments of 5 mm: that edge, 4.2 mm long, gets its own."""
    corners = [(0, 0), (20, 0), (11, 36), (7, 36)]
    sides = [straight(a, b) for a, b in zip(corners, corners[1:] + corners[:1], strict=True)]
    m = mesh(Plan(removed=(tuple(sides),), seams=(), open=tuple(part(side, 1, 0) for side in sides)), **COARSE)
    counts = sorted(len(edge) // 2 for edge in m.open)
    assert counts[0] >= 4 and counts[-1] < 20


def test_thin_triangles_are_refused(monkeypatch):
    """Where the least angle is larger than any mesh has, the message says where and how small it is."""
    monkeypatch.setattr("fem.mechanics.mesh.LEAST_ANGLE", 59.9)
    monkeypatch.setattr("fem.mechanics.mesh.HALVED", 59.9)
    with pytest.raises(MeshError, match=r"a triangle near \(.*\) mm has \d+ degrees, wanted 59.9"):
        mesh(side_to_side(lens(length_mm=60, width_mm=20)), **COARSE)


# The triangulation


def test_nodes_are_those_of_quadratic_elements():
    """Elements and nodes equal the numbering and the places of scikit-fem's ElementTriP2."""
    m = mesh(undermined(side_to_side(lens(length_mm=60, width_mm=20)), undermine_mm=15), **FINE)
    basis = skfem.Basis(m.tri, skfem.ElementTriP2())
    assert (m.elements == basis.element_dofs).all()
    assert m.X == approx(basis.doflocs, abs=1e-12)


def test_rim_is_the_outer_edge():
    """Vertices of the rim lie on the circle; every boundary facet is on the rim or on a seam."""
    m = mesh(undermined(side_to_side(lens(length_mm=60, width_mm=20)), undermine_mm=15), **FINE)
    rim_vertices = m.rim[m.rim < m.tri.nvertices]
    assert np.hypot(*m.X[:, rim_vertices]) == approx(60, abs=1e-9)
    assert rim_vertices.size == 4 * int(np.ceil(np.pi / 2 * 60 / 6))
    seam_midpoints = m.seams[0][:, 1::2].ravel()
    boundary = m.tri.nvertices + m.tri.boundary_facets()
    assert np.union1d(m.rim[m.rim >= m.tri.nvertices], seam_midpoints).tolist() == boundary.tolist()


def test_undermined_zone_has_its_border_in_the_mesh():
    """Triangles lie inside or outside the zone; it loses only the slivers beyond the chords of its border.

    A chord c of an arc of radius r cuts off c^3 / 12 r; here c <= 3 mm and r >= 15 mm, the undermining.
    """
    plan = undermined(side_to_side(lens(length_mm=60, width_mm=20)), undermine_mm=15)
    m = mesh(plan, **FINE)
    loose = m.tri.mapping().detA[m.undermined].sum() / 2
    exact = plan.undermined.area - hole_area(m)
    assert exact - plan.undermined.length * 3**2 / (12 * 15) < loose < exact
    centroid = m.tri.p[:, m.tri.t].mean(axis=1)
    inside = shapely.contains_xy(plan.undermined, *centroid)
    assert (inside == m.undermined).all()


def test_corners_of_the_undermined_zone_are_kept():
    """A zone bounded by straight lines is covered to round-off."""
    wound = lens(length_mm=30, width_mm=10)
    drawn = side_to_side(wound)
    zone = shapely.box(-25, -15, 28, 20)
    m = mesh(Plan(removed=drawn.removed, seams=drawn.seams, undermined=zone), **COARSE)
    assert m.tri.mapping().detA[m.undermined].sum() / 2 == approx(zone.area - hole_area(m), rel=1e-9)


def test_zone_that_crosses_the_wound():
    """The border of a box over the right half of a wound runs into the nearest vertices of its edge.

    It is off by half a segment there at most, so the area by less than two triangles of half a segment's width.
    """
    drawn = side_to_side(lens(length_mm=30, width_mm=10))
    zone = shapely.box(0.1, -15, 28, 20)
    m = mesh(replace(drawn, undermined=zone), **COARSE)
    loose = m.tri.mapping().detA[m.undermined].sum() / 2
    exact = zone.difference(removed_skin(drawn)).area
    assert loose == approx(exact, abs=2 * COARSE["edge"] / 2 * 20 / 2)
    assert quality(m)[0] > 15


def test_zone_on_one_side():
    """Nothing is undermined below the axis when only the upper side is undermined; its border ends at the tips."""
    plan = undermined(side_to_side(lens(length_mm=60, width_mm=20)), undermine_upper_mm=15)
    m = mesh(plan, **FINE)
    y = m.tri.p[1, m.tri.t][:, m.undermined]
    assert y.min() > -1e-9
    exact = plan.undermined.difference(removed_skin(plan)).area
    assert m.tri.mapping().detA[m.undermined].sum() / 2 == approx(exact, rel=0.01)  # chords of the border and the edge


@pytest.mark.parametrize(
    "outline",
    [
        circle(diameter_mm=20),
        lens(length_mm=40, width_mm=20),
        lens(length_mm=80, width_mm=20),
        rhombus(length_mm=60, width_mm=20),
        tangent(length_mm=60, width_mm=20),
        polygon(points_mm=[(-20, 0), (0, -8), (20, 0), (20, 5), (0, 5), (0, 15), (-20, 15)]),
    ],
)
def test_triangles_are_well_shaped(outline):
    """No angle below 25 degrees, at blunt tips, sharp tips and inward corners alike."""
    angle, at = quality(mesh(undermined(side_to_side(outline), undermine_mm=15), radius=80, edge=2.0, tip=1.6, far=6.0))
    assert 25 < angle < 60
    assert np.hypot(*at) <= 80 + 1e-9


def test_smallest_angle_and_its_place():
    """Of a right triangle with legs 2 and 1: atan(1/2), at the far end of the longer leg."""
    tri = skfem.MeshTri(np.array([[0.0, 2, 0], [0, 0, 1]]), np.array([[0], [1], [2]]))
    angle, at = quality(from_triangulation(tri, []))
    assert angle == approx(np.degrees(np.arctan(0.5)), abs=1e-12)
    assert at.tolist() == [2, 0]


def test_triangles_grow_to_the_size_asked():
    """Facets are about `edge` at the wound, at most 1.5 times that within the zone, and `far` far away.

    Facet lengths scatter about the size by half of it.
    """
    plan = undermined(side_to_side(lens(length_mm=60, width_mm=20)), undermine_mm=15)
    m = mesh(plan, radius=120, edge=2.0, tip=1.6, far=6.0)
    start, end = m.tri.p[:, m.tri.facets].swapaxes(0, 1)
    length, r = np.hypot(*(end - start)), np.hypot(*((start + end) / 2))
    in_zone = m.tri.t2f[:, m.undermined].ravel()
    assert length.min() > 2 * 0.67
    assert length[in_zone].max() < 1.5 * 1.5 * 2
    assert np.median(length[r > 90]) == approx(6, rel=0.05)


def test_same_plan_same_mesh():
    """Two runs give the same arrays, bit for bit."""
    plan = undermined(side_to_side(lens(length_mm=60, width_mm=20)), undermine_mm=15)
    first, second = (mesh(plan, **FINE) for _ in range(2))
    assert first.X.tobytes() == second.X.tobytes()
    assert first.elements.tobytes() == second.elements.tobytes()
    assert first.seams[0].tobytes() == second.seams[0].tobytes()


# Cuts


def z_plasty(angle, side=20.0):
    """Plan of a cut A B C D, whose flaps with tips B and C change places; limbs of one length."""
    limb = side * np.array([np.cos(angle), np.sin(angle)])
    B, C = np.array([-side / 2, 0.0]), np.array([side / 2, 0.0])
    A, D = B + limb, C - limb

    def straight(start, end):
        return polyline(np.array([start, end]).T)

    seams = (straight(C, D), straight(C, B)), (straight(B, A), straight(B, C)), (straight(A, B), straight(C, D))
    return Plan(removed=(), cuts=(polyline(np.array([A, B, C, D]).T),), seams=seams)


@pytest.mark.parametrize("degrees", [30, 60, 90])
def test_both_edges_of_a_cut(degrees):
    """Nodes are double along the cut but at its two free ends; they lie where they were drawn, and nothing is missing.

    The flaps' tips meet the far ends of the cut, and the corners beside them meet each other.
    """
    m = mesh(z_plasty(np.radians(degrees)), radius=60, edge=2.0, tip=1.6, far=6.0)
    n = 4 * int(np.ceil(np.pi / 2 * 60 / 6))
    assert m.tri.mapping().detA.sum() / 2 == approx(n / 2 * 60**2 * np.sin(2 * np.pi / n), rel=1e-12)
    one, two, three = (seam[:, [0, -1]] for seam in m.seams)
    assert one[0, 0] == one[1, 0]  # C, beside the flap
    assert two[0, 0] == two[1, 0]  # B, beside the other flap
    assert (three[0] == [two[0, 1], one[1, 1]]).all()  # A and the tip at B
    assert (three[1] == [two[1, 1], one[0, 1]]).all()  # the tip at C and D
    assert quality(m)[0] > 20
    twins = np.hstack([seam.ravel() for seam in m.seams])
    _, count = np.unique(m.X[:, np.unique(twins)].round(9), axis=1, return_counts=True)
    assert sorted(count)[:2] == [1, 1]
    assert (np.sort(count)[2:] == 2).all()


# What cannot be meshed


def test_crossing_outline_is_refused():
    """A bow tie crosses itself at the origin."""
    corners = [(-10, -5), (10, 5), (10, -5), (-10, 5)]
    first, second = (polyline(np.array(corners[k : k + 3]).T) for k in (0, 1))
    bow_tie = Plan(removed=(), seams=((part(second, 1, 0), first),))
    with pytest.raises(MeshError, match=r"cross near|enclose nothing"):
        mesh(bow_tie, **COARSE)


def test_zone_beyond_the_rim_is_refused():
    """A lens of 60 mm undermined by 31 mm does not fit into a patch of 60 mm radius."""
    with pytest.raises(MeshError, match="reaches the rim of the patch, 60 mm"):
        mesh(undermined(side_to_side(lens(length_mm=60, width_mm=20)), undermine_mm=31), **COARSE)


def test_missing_edge_is_found():
    """In a square cut along one diagonal, the other diagonal is no facet."""
    tri = skfem.MeshTri(np.array([[0.0, 1, 1, 0], [0, 0, 1, 1]]), np.array([[0, 1, 2], [0, 2, 3]]).T)
    assert tri.facets[:, facets_between(tri, np.array([[2], [0]]))].tolist() == [[0], [2]]
    with pytest.raises(MeshError, match=r"1 of 2 prescribed edges .* \(0, 1\) to \(1, 0\)"):
        facets_between(tri, np.array([[0, 3], [2, 1]]))


@pytest.mark.parametrize(
    ("triangles", "last", "message"),
    [
        ([[0, 1, 2], [0, 2, 3]], 0, "cover 1.000000 mm2 of 2.000000 mm2"),
        ([[0, 1, 2], [0, 3, 2]], 0, "0 free edges inside the patch, 1 inverted triangles, 0 unused vertices"),
        ([[0, 1, 2], [4, 2, 3]], 4, "2 free edges inside the patch, 0 inverted triangles, 0 unused vertices"),
        ([[0, 1, 2], [5, 2, 3]], 5, "2 free edges inside the patch, 0 inverted triangles, 1 unused vertices"),
    ],
)
def test_cover_is_checked(triangles, last, message):
    """A unit square asked to cover 2 mm2; a triangle inverted; a tear at a doubled vertex; one left over."""
    p = np.array([[0.0, 1, 1, 0, 0, 0], [0, 0, 1, 1, 0, 0]])[:, : max(4, last + 1)]
    tri = skfem.MeshTri(p, np.array(triangles).T, sort_t=False, validate=False)
    outer = np.array([[0, 1, 2, 3], [1, 2, 3, last]])
    with pytest.raises(MeshError, match=message):
        check_cover(tri, outer, outer=outer, area=2.0)


# Files


def test_files_hold_the_mesh(tmp_path):
    """Both files read back with the same nodes, triangles, zone, rim and seam."""
    m = mesh(undermined(side_to_side(lens(length_mm=60, width_mm=20)), undermine_mm=15), **FINE)
    for path in write(m, tmp_path / "lens"):
        read = meshio.read(path)
        assert read.points.T == approx(np.vstack([m.X, 0 * m.X[0]]), abs=1e-12)
        assert (read.get_cells_type("triangle6").T == m.elements).all()
        assert (read.get_cell_data("undermined", "triangle6").ravel() == m.undermined).all()
        assert np.flatnonzero(read.point_data["rim"]).tolist() == m.rim.tolist()
        assert (read.point_data["seam"].ravel()[m.seams[0][0]] == 1).all()
        assert (read.point_data["seam"].ravel()[m.seams[0][1, 1:-1]] == -1).all()
        assert np.count_nonzero(read.point_data["seam"]) == np.unique(m.seams[0]).size
