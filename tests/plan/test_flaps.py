"""Flaps: the geometry that their names promise, and what they refuse."""

import numpy as np
import pytest
import shapely
from pytest import approx

from fem.geometry.outlines import circle, crescent, lens, polygon, rhombus, slit, square, triangle
from fem.mechanics.mesh import mesh
from fem.plan.flaps import FLAPS
from fem.plan.junctions import ratios
from fem.plan.plan import removed_area, removed_skin, side_to_side, undermined

A_TRIANGLE = triangle(base_mm=20, height_mm=25)


def drawn(name, outline, **sizes):
    """The plan of a flap, and its points as complex numbers."""
    plan = FLAPS[name](outline, **sizes)
    return plan, {name: complex(*place) for name, place in plan.points.items()}


@pytest.mark.parametrize("degrees, gain", [(30, 23.9), (45, 47.4), (60, 73.2), (75, 99.1), (90, 123.6)])
def test_z_plasty(degrees, gain):
    """Limbs of one length; A D over the central limb is sqrt(5 - 4 cos a), in percent as usually tabulated."""
    plan, p = drawn("z-plasty", slit(length_mm=20), angle_rad=np.radians(degrees))
    assert abs(p["A"] - p["D"]) / abs(p["B"] - p["C"]) == approx(1 + gain / 100, abs=5e-4)
    assert ratios(plan) == approx([1, 1, 1])
    assert removed_area(plan) == 0
    assert np.degrees(np.angle((p["A"] - p["B"]) / (p["C"] - p["B"]))) == approx(degrees)


def test_mirrored_z_plasty():
    """With the first limb below, A and D lie on the other side."""
    _, up = drawn("z-plasty", slit(length_mm=20))
    _, down = drawn("z-plasty", slit(length_mm=20), first_limb="lower")
    assert down == approx({name: place.conjugate() for name, place in up.items()})


@pytest.mark.parametrize("corner, towards, x, y", [
    ("upper", "right", 1, 1), ("upper", "left", -1, 1), ("lower", "right", 1, -1), ("lower", "left", -1, -1),
])  # fmt: skip
def test_rhombic(corner, towards, x, y):
    """All sides are one length, the flap has the wound's area; turned by 60 degrees about C it covers the wound."""
    wound = rhombus(length_mm=20 * np.sqrt(3), width_mm=20)
    plan, p = drawn("rhombic", wound, corner=corner, towards=towards)
    assert ratios(plan) == approx([1] * 4)
    assert plan.seams[0][0].length == approx(20)
    (flap,) = plan.flaps
    assert flap.area == approx(wound.area)
    turn = np.exp(1j * x * y * np.pi / 3)
    for moved, target in zip("DEF", "BAD", strict=True):
        assert p["C"] + turn * (p[moved] - p["C"]) == approx(p[target])
    assert np.sign([p["C"].real, p["E"].imag]).tolist() == [x, y]


def test_rhombus_around_a_circle():
    """Its sides touch the circle: side d/sin 60, area 2/sqrt(3) d^2."""
    wound = circle(diameter_mm=15)
    plan, p = drawn("rhombic", wound)
    assert removed_area(plan) == approx(2 / np.sqrt(3) * 15**2)
    side = shapely.LineString([(z.real, z.imag) for z in (p["A"], p["B"])])
    assert side.distance(shapely.Point(0, 0)) == approx(7.5)


def test_rotation():
    """The arc keeps the radius P Q; turned by the apex angle about P, the flap's side P Q falls onto P R."""
    plan, p = drawn("rotation", A_TRIANGLE, arc_mm=60)
    radius, apex = np.hypot(25, 10), 2 * np.arctan2(10, 25)
    assert [abs(p[name] - p["P"]) for name in "QRST"] == approx([radius] * 4)
    assert np.angle((p["Q"] - p["P"]) / (p["T"] - p["P"])) * radius == approx(60)
    assert p["P"] + np.exp(1j * apex) * (p["Q"] - p["P"]) == approx(p["R"])
    assert ratios(plan) == approx([1, 80 / 60])


def test_back_cut():
    """From the end of the arc towards the apex; both its edges belong to those of the arc."""
    plan, p = drawn("rotation", A_TRIANGLE, arc_mm=60, back_cut_mm=9)
    assert abs(p["U"] - p["T"]) == approx(9)
    assert np.angle((p["P"] - p["T"]) / (p["U"] - p["T"])) == approx(0, abs=1e-12)
    assert ratios(plan) == approx([1, 89 / 69])


def test_default_arc():
    """Five bases, but no more than half a turn."""
    assert drawn("rotation", triangle(base_mm=15, height_mm=40))[0].seams[1][1].length == approx(75)
    wide = drawn("rotation", triangle(base_mm=30, height_mm=20))[0].seams[1][1].length
    assert wide == approx(np.pi * np.hypot(20, 15))


def test_a_to_t():
    """The flanks are of one length; each half of the bar takes half of the base and its cut onto the cut."""
    plan, _ = drawn("a-to-t", A_TRIANGLE, limb_mm=16)
    assert ratios(plan) == approx([1, 26 / 16, 16 / 26])


@pytest.mark.parametrize("name, share", [("advancement", 1), ("two-sided-advancement", 0.5)])
def test_advancement(name, share):
    """Burow's triangles as long as the way a flap slides leave every seam with edges of equal length."""
    plan, _ = drawn(name, lens(length_mm=24, width_mm=12))
    assert ratios(plan) == approx([1] * len(plan.seams))
    n = len(plan.removed) - 1
    assert removed_area(plan) == approx(24 * 12 + n * (24 * share) ** 2 / 2)
    smaller, _ = drawn(name, lens(length_mm=24, width_mm=12), burow_mm=6, burow_height_mm=5)
    assert removed_area(smaller) == approx(24 * 12 + n * 6 * 5 / 2)


def test_v_y():
    """The island covers the box, its limbs and those of the V match, and the stem is as long as the box."""
    plan, p = drawn("v-y", square(side_mm=15), flap_mm=40)
    assert ratios(plan) == approx([1] * 4)
    assert plan.seams[3][0].length == approx(15)
    assert abs(p["V"] - p["D"]) == approx(np.hypot(40, 7.5))
    island, held = plan.flaps[0], plan.held
    assert (island.area, held.area) == approx((15 * 40 / 2, 15 * 40 / 8))
    assert held.within(island)


def test_bilobed():
    """Turned by 45° about P, K falls onto I; both edges of the wound's seam have one length, as do the lobes'."""
    plan, p = drawn("bilobed", circle(diameter_mm=15))
    assert p["P"] + np.exp(-1j * np.pi / 4) * (p["K"] - p["P"]) == approx(p["I"])
    assert abs(p["I"]) == approx(7.5)
    assert abs(p["K"] - p["L"]) == approx(7.5)
    assert ratios(plan) == approx([1, 1, 1])
    assert removed_skin(plan).area == approx(7.5 * (np.sqrt(15**2 - 7.5**2) + 7.5 * 2 / 3 * np.pi), rel=1e-3)


REFUSED = [
    ("z-plasty", lens(length_mm=20, width_mm=5), {}, "takes no skin; wanted an outline of kind slit"),
    ("rhombic", rhombus(length_mm=40, width_mm=20), {}, "wants a circle, or a rhombus"),
    ("rhombic", lens(length_mm=20 * np.sqrt(3), width_mm=20), {}, "wants a circle, or a rhombus"),
    ("rotation", square(side_mm=10), {}, "wanted an outline of kind triangle"),
    ("rotation", crescent(length_mm=30, upper_mm=10, lower_mm=0), {}, "wanted an outline of kind triangle"),
    ("rotation", polygon(points_mm=((0, 0), (30, 2), (5, 12))), {}, "equal length"),
    ("rotation", A_TRIANGLE, {"arc_mm": 90}, "arc_mm 90 is more than half a turn about the wound's apex, 84.59"),
    ("rotation", A_TRIANGLE, {"back_cut_mm": 26.8}, "back_cut_mm 26.8 leaves no base; the apex is 26.93 mm away"),
    ("a-to-t", circle(diameter_mm=10), {}, "wanted an outline of kind triangle"),
    ("advancement", slit(length_mm=20), {}, "a slit is no wound to cover"),
    ("advancement", square(side_mm=15), {"flap_mm": 15}, "burow_mm 15 does not fit beside a flap of 15 mm"),
    ("two-sided-advancement", square(side_mm=15), {"burow_mm": 40}, "does not fit beside a flap of 15 mm"),
    ("v-y", square(side_mm=15), {"flap_mm": 12}, "sides of 14.15 mm, no longer than the wound, 15 mm"),
    ("bilobed", lens(length_mm=20, width_mm=15), {}, "wants a circle"),
    ("bilobed", circle(diameter_mm=15), {"pivot_mm": 7}, "is not between 7.653"),
    ("bilobed", circle(diameter_mm=15), {"pivot_mm": 20}, "19.21, where the first lobe still touches it"),
    ("bilobed", circle(diameter_mm=15), {"second_mm": 20}, "not less than the edge of the first lobe's bed, 18.96 mm"),
]


@pytest.mark.parametrize("name, outline, sizes, words", REFUSED)
def test_refused(name, outline, sizes, words):
    with pytest.raises(ValueError, match=words):
        FLAPS[name](outline, **sizes)


def test_slit_side_to_side():
    with pytest.raises(ValueError, match="nothing to close side to side"):
        side_to_side(slit(length_mm=20))


# What is undermined, and meshed


def test_flaps_are_free():
    """Without undermining just the flaps are undermined; with it, they and everything near the wound and the cuts."""
    plan = FLAPS["z-plasty"](slit(length_mm=20))
    assert undermined(plan).undermined.area == approx(2 * 20**2 * np.sqrt(3) / 4)
    around = undermined(plan, undermine_mm=5).undermined
    cut = shapely.LineString([plan.points[name] for name in "ABCD"])
    assert around.area == approx(shapely.union_all([cut.buffer(5, quad_segs=32), *plan.flaps]).area, rel=1e-3)


def test_drawn_zone_beside_a_flap():
    """A zone that is drawn elsewhere comes on top of the flap."""
    plan = undermined(FLAPS["z-plasty"](slit(length_mm=20)), undermine_points_mm=((50, 50), (60, 50), (60, 60)))
    assert plan.undermined.area == approx(2 * 20**2 * np.sqrt(3) / 4 + 50)


def test_pedicle_is_held():
    """However far is undermined, the middle of an island stays on its bed."""
    plan = undermined(FLAPS["v-y"](square(side_mm=15)), undermine_mm=20)
    assert plan.undermined.intersection(plan.held).area == approx(0, abs=1e-9)
    assert plan.undermined.union(plan.held).contains(plan.flaps[0])


@pytest.mark.parametrize("name", FLAPS)
@pytest.mark.parametrize("undermine", [0, 8])
def test_mesh(name, undermine):
    """The patch but for what is removed; an island belongs to it. 2 mm chords of arcs of 7.5 mm cost 0.1 mm2 each."""
    wounds = {"z-plasty": slit(length_mm=20), "rhombic": circle(diameter_mm=15), "bilobed": circle(diameter_mm=15)}
    wounds |= {"a-to-t": A_TRIANGLE, "rotation": A_TRIANGLE}
    plan = undermined(FLAPS[name](wounds.get(name, square(side_mm=15))), undermine_mm=undermine)
    m = mesh(plan, radius=110, edge=2, tip=1.6, far=18)
    n = 4 * int(np.ceil(np.pi / 2 * 110 / 18))
    area = m.tri.mapping().detA.sum() / 2
    assert area == approx(n / 2 * 110**2 * np.sin(2 * np.pi / n) - removed_area(plan), abs=2.0)
    loose = m.tri.mapping().detA[m.undermined].sum() / 2
    assert loose == approx(plan.undermined.difference(removed_skin(plan)).area, rel=0.03)
