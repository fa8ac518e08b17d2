"""The ledger of a plan: each edge sewn once, and angle deficits that add up to nothing."""

from dataclasses import replace
from math import radians

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from fem.geometry.outlines import circle, crescent, ellipse, lens, lens_with_m, rhombus, slit, square, triangle
from fem.mechanics.mesh import mesh
from fem.mechanics.triangulation import corner_angles
from fem.plan.flaps import FLAPS
from fem.plan.junctions import check, junctions, ratios, remainder, spread
from fem.plan.named_points import sewn
from fem.plan.plan import side_to_side

EXACT = 1e-9  # rad
WOUNDS = {
    "z-plasty": slit(length_mm=20),
    "v-y": square(side_mm=15),
    "advancement": square(side_mm=15),
    "two-sided-advancement": square(side_mm=20),
    "a-to-t": triangle(base_mm=20, height_mm=25),
    "rotation": triangle(base_mm=15, height_mm=25),
    "rhombic": circle(diameter_mm=15),
    "bilobed": circle(diameter_mm=15),
}
SQUARE = dict(A=(-10, -10), B=(10, -10), C=(10, 10), D=(-10, 10))


def deficits(plan):
    """Places of the points that meet, and their deficits in degrees."""
    return {tuple(map(tuple, m.places.T.round(6).tolist())): np.degrees(m.deficit) for m in junctions(plan)}


# Closed forms


@pytest.mark.parametrize("ratio", [1, 2, 3, 4])
def test_lens(ratio):
    """+alpha at each tip, -2 alpha along the seam, alpha = 4 atan(W/L)."""
    plan = side_to_side(lens(length_mm=20 * ratio, width_mm=20))
    alpha = 4 * np.arctan(1 / ratio)
    assert [m.deficit for m in junctions(plan)] == approx([alpha, alpha], abs=EXACT)
    assert spread(plan) == approx([-2 * alpha], abs=EXACT)


def test_rhombus():
    """3:1: 36.870 degrees at each tip, -73.740 where the blunt corners meet, in the middle of the seam."""
    plan = side_to_side(rhombus(length_mm=60, width_mm=20))
    found = deficits(plan)
    assert found[((-30.0, 0.0),)] == approx(36.8699, abs=1e-4)
    assert found[((30.0, 0.0),)] == approx(36.8699, abs=1e-4)
    assert found[((0.0, 10.0), (0.0, -10.0))] == approx(-73.7398, abs=1e-4)
    assert (junctions(plan)[2].seam, junctions(plan)[2].fraction) == (0, approx(0.5))


def test_crescent():
    """Both edges bulge the same way: the tip angle at each tip, and their difference in bend along the seam."""
    outline = crescent(length_mm=30, upper_mm=10, lower_mm=4)
    plan = side_to_side(outline)
    assert [m.deficit for m in junctions(plan)] == approx(outline.tip_angles, abs=EXACT)
    assert spread(plan) == approx([-sum(outline.tip_angles)], abs=EXACT)
    assert ratios(plan) == approx([38.2202 / 31.4026], abs=1e-4)


def test_z_plasty():
    """+a beside the flaps, where the skin turns around a limb's end; -a where a flap's tip meets a cut's free end."""
    plan = FLAPS["z-plasty"](slit(length_mm=20), angle_rad=radians(50), limb_mm=14)
    assert sorted(np.degrees(m.deficit) for m in junctions(plan)) == approx([-50, -50, 50, 50])
    assert spread(plan) == approx([0, 0, 0])


def test_rhombic():
    """60 degrees at the pivot and at the far end of the flap's bed, -120 where the bed is drawn shut."""
    found = deficits(FLAPS["rhombic"](rhombus(length_mm=np.sqrt(3) * 20, width_mm=20)))
    assert sorted(found.values()) == approx([-120, 0, 0, 60, 60])
    assert found[((17.320508, 0.0),)] == approx(60)


def test_middle_of_a_wedge():
    """Beside the tip of a lens the wedge of skin is all around but alpha, its middle points outward."""
    left, right = junctions(side_to_side(lens(length_mm=60, width_mm=20)))
    assert (np.cos(left.ways), np.cos(right.ways)) == (approx([-1]), approx([1]))
    assert right.angles == approx([2 * np.pi - 4 * np.arctan(1 / 3)])


# The zero sum


LENGTH, SHARE, SIDE = st.floats(5, 60), st.floats(0.1, 0.9), st.sampled_from(["upper", "lower"])


def _z(draw):
    sizes = dict(angle_rad=radians(draw(st.floats(20, 90))), limb_mm=draw(LENGTH), first_limb=draw(SIDE))
    return FLAPS["z-plasty"](slit(length_mm=draw(LENGTH)), **sizes)


def _box(draw):
    return draw(st.builds(lambda w, q: lens(length_mm=w * q, width_mm=w), st.floats(5, 30), st.floats(1, 3)))


def _v_y(draw):
    wound = _box(draw)
    return FLAPS["v-y"](wound, flap_mm=wound.length * draw(st.floats(1.1, 4)), pedicle=draw(SHARE))


def _tongue(name):
    def plan(draw):
        wound = _box(draw)
        flap = wound.length * draw(st.floats(0.3, 3))
        return FLAPS[name](wound, flap_mm=flap, burow_mm=flap * draw(SHARE), burow_height_mm=draw(LENGTH))

    return plan


def _a_to_t(draw):
    return FLAPS["a-to-t"](triangle(base_mm=draw(LENGTH), height_mm=draw(LENGTH)), limb_mm=draw(LENGTH))


def _rotation(draw):
    wound = triangle(base_mm=draw(LENGTH), height_mm=draw(LENGTH))
    radius = np.hypot(wound.length, wound.width / 2)
    back = draw(st.none() | SHARE)
    sizes = dict(arc_mm=np.pi * radius * draw(SHARE), back_cut_mm=back and back * radius, flap=draw(SIDE))
    return FLAPS["rotation"](wound, **sizes)


def _rhombic(draw):
    wound = circle(diameter_mm=draw(LENGTH))
    return FLAPS["rhombic"](wound, corner=draw(SIDE), towards=draw(st.sampled_from(["left", "right"])))


def _bilobed(draw):
    wound, lobe = circle(diameter_mm=draw(LENGTH)), draw(st.floats(30, 60))
    r = wound.length / 2
    pivot = r + draw(SHARE) * (r / np.sin(np.radians(lobe) / 2) - r)
    return FLAPS["bilobed"](wound, lobe_rad=radians(lobe), pivot_mm=pivot, second_mm=r * draw(SHARE), lobes=draw(SIDE))


PLANS = {
    "z-plasty": _z,
    "v-y": _v_y,
    "advancement": _tongue("advancement"),
    "two-sided-advancement": _tongue("two-sided-advancement"),
    "a-to-t": _a_to_t,
    "rotation": _rotation,
    "rhombic": _rhombic,
    "bilobed": _bilobed,
}


@pytest.mark.parametrize("technique", FLAPS)
@settings(max_examples=10, deadline=None)
@given(data=st.data())
def test_zero_sum(technique, data):
    """Whatever its sizes, a flap can be cut and sewn as it is drawn, and its deficits add up to 0."""
    plan = PLANS[technique](data.draw)
    check(plan)
    assert remainder(plan) == approx(0, abs=EXACT)


@pytest.mark.parametrize(
    "outline",
    [
        circle(diameter_mm=20),
        ellipse(length_mm=60, width_mm=20),
        square(side_mm=20),
        triangle(base_mm=20, height_mm=30),
        *(lens_with_m(length_mm=60, width_mm=20, shorter_mm=10, m_at=end) for end in ("left", "right", "both")),
    ],
)
@pytest.mark.parametrize("surplus", ["shared", "left"])
def test_zero_sum_side_to_side(outline, surplus):
    """The same of a wound that is closed side to side, with folds at an M."""
    plan = side_to_side(outline, surplus=surplus)
    check(plan)
    assert remainder(plan) == approx(0, abs=EXACT)


@pytest.mark.parametrize("technique", FLAPS)
def test_zero_sum_of_triangles(technique):
    """Angles of the triangles around all nodes that are sewn together, the mesh's own way to the same deficits.

    Where edges are straight they are those of the plan; an arc in chords of c moves some c/2R from there to its nodes.
    """
    plan = FLAPS[technique](WOUNDS[technique])
    m = mesh(plan, radius=150, edge=2, tip=1.5, far=20)
    around = np.bincount(m.tri.t.ravel(), corner_angles(m.tri).ravel())
    i, j = np.hstack([seam[:, ::2] for seam in m.seams])
    n = m.tri.nvertices
    group = connected_components(coo_array((np.ones(i.size), (i, j)), shape=(n, n)), directed=False)[1]
    sewn_up = np.unique(group[np.concatenate([i, j])])
    found = 2 * np.pi - np.bincount(group, around)
    assert found[sewn_up].sum() == approx(0, abs=EXACT)
    ends = {(k, end): group[seam[0, -int(end)]] for k, seam in enumerate(m.seams) for end in (0.0, 1.0)}
    wanted = {ends[e.seam, e.fraction]: e.deficit for e in junctions(plan) if e.fraction in (0.0, 1.0)}
    straight = technique not in ("rotation", "bilobed")
    assert found[list(wanted)] == approx(list(wanted.values()), abs=EXACT if straight else 0.5)


# What is refused


def square_hole(**seams):
    return sewn(SQUARE, removed=["ABCD"], **seams)


def test_edge_left_out():
    """The upper side of a square is neither sewn nor open: named with its place."""
    plan = square_hole(seams=[("AD", "BC")], open=["BA"])
    with pytest.raises(ValueError, match=r"\(-10, 10\) over \(0, 10\) to \(10, 10\) mm, skin on its left, is cut, but"):
        check(plan)


def test_edge_sewn_twice():
    """An edge that is sewn and also left open."""
    plan = square_hole(seams=[("AD", "BC"), ("DC", "AB")], open=["BA"])
    with pytest.raises(ValueError, match=r"\(10, -10\) over \(0, -10\) to \(-10, -10\) .* more often than it is cut"):
        check(plan)


def test_skin_on_the_other_side():
    """The edges of a lens in the wrong order: the skin would lie inside the wound."""
    plan = side_to_side(lens(length_mm=60, width_mm=20))
    ((first, second),) = plan.seams
    with pytest.raises(ValueError, match="skin lies on the other side"):
        check(replace(plan, seams=((second, first),)))


def test_edge_cut_twice():
    """A cut along the edge of removed skin."""
    plan = square_hole(seams=[("DC", "AB"), ("AD", "BC")], cuts=["AB"])
    with pytest.raises(ValueError, match="lie on each other, near"):
        check(plan)


def test_sewn_crosswise():
    """Both pairs of opposite sides of a square: a handle, whose deficits add up to -4 pi, four times 270 degrees."""
    plan = square_hole(seams=[("DC", "AB"), ("AD", "BC")])
    assert remainder(plan) == approx(-4 * np.pi)
    with pytest.raises(ValueError, match="add up to -720 degrees, not to 0; edges are sewn crosswise"):
        check(plan)


def test_crossing_cuts():
    """Two cuts that cross, named with their place."""
    points = dict(A=(-10, 0), B=(10, 0), C=(0, -10), D=(0, 10))
    plan = sewn(points, cuts=["AB", "CD"], seams=[("AB", "AB"), ("CD", "CD")])
    with pytest.raises(ValueError, match=r"cross, or lie on each other, near \(0, 0\)"):
        check(plan)


def test_open_wound():
    """A square sewn over half its length leaves two holes: deficits and turns add up to 0 with 2 pi for each."""
    points = SQUARE | dict(M=(0, -10), N=(0, 10))
    plan = sewn(points, removed=["AMBCND"], seams=[("NC", "MB")], open=["CB", "DN", "AD", "MA"])
    check(plan)
    assert remainder(plan) == approx(0, abs=EXACT)
