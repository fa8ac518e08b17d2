"""Pictures: places, lengths and colours are what they say; the skin's file reads back."""

from dataclasses import replace
from pathlib import Path

import meshio
import numpy as np
import pytest
import pyvista as pv
import shapely
from matplotlib.colors import to_rgb
from matplotlib.image import imread
from pytest import approx

from fem.case import case, keys, physical
from fem.closure.closing import closed
from fem.closure.closure import Closure, nodal, nodal_stress
from fem.closure.measures.skin import skin_stress_max
from fem.geometry.outlines import lens, lens_with_m
from fem.mechanics.mesh import mesh
from fem.mechanics.sheet import cauchy_stress, sheet
from fem.plan.junctions import junctions
from fem.plan.plan import opened, side_to_side, undermined
from fem.render import canvas, picture, plan_figure, projection
from fem.verification.problems import flat, rubber

CIRCLE = Path(__file__).parents[2] / "configs" / "demo" / "circle-20.yaml"
NAMES = ["height-oblique.png", "height-above.png", "stress-above.png", "plan.png"]


@pytest.fixture(scope="module")
def circle():
    """A stitched circle, 20 mm across, on a coarse mesh: two cones of some 5 mm."""
    asked = case.read(CIRCLE)
    return closed(asked.model_copy(update={"mesh": keys.MeshSize(edge_mm=3, tip_mm=3, far_mm=9)}))


def surface(closure):
    return projection.surface(closure.x, closure.mesh.elements, closure.mesh.surface, stress_kPa=nodal_stress(closure))


def wide(closure, **others):
    """The ranges of a closure's pictures, 40 mm to either side."""
    return replace(projection.ranges(closure), half_width=40.0, **others)


@pytest.fixture(scope="module")
def skin(circle):
    return surface(circle)


@pytest.fixture(scope="module")
def pictures(circle, tmp_path_factory):
    folder = tmp_path_factory.mktemp("results") / "pictures"
    paths = picture.save_pictures(circle, folder, title="circle-20", ranges=wide(circle))
    assert paths == [folder / name for name in NAMES]
    return {path.name: imread(path)[..., :3] for path in paths}


def skin_of(image):
    """The part of a picture in which the skin is, upper left corner first."""
    (left, low), (width, height) = canvas.CORNER, canvas.VIEW
    bottom = canvas.SIZE[1] - low
    return image[bottom - height : bottom, left : left + width]


def marks(image, colour):
    """Middles (2, 2), in pixels from the lower left, of a colour in the left and the right half."""
    near = np.abs(image - to_rgb(colour)).max(axis=2) < 0.02
    row, column = np.nonzero(near)
    sides = [column < image.shape[1] / 2, column >= image.shape[1] / 2]
    return np.array([[column[s].mean() + 0.5, image.shape[0] - row[s].mean() - 0.5] for s in sides]).T


@pytest.mark.parametrize("name", NAMES)
def test_pictures(pictures, name):
    """Each picture is 1200 x 900 pixels, and the skin in it has more than one colour."""
    assert pictures[name].shape == (900, 1200, 3)
    assert skin_of(pictures[name]).std(axis=(0, 1)).max() > 0.02


@pytest.mark.parametrize("name", ["height-above.png", "stress-above.png"])
def test_tips_from_above(circle, pictures, name):
    """A tip is x / 80 mm of the picture's width from its middle, where 80 mm are in view: within a pixel."""
    middle = canvas.VIEW[:, None] / 2
    found = (marks(skin_of(pictures[name]), canvas.TIP) - middle) * 80 / canvas.VIEW[0]
    assert found == approx(circle.x[:2, circle.mesh.tips], abs=80 / canvas.VIEW[0])


def test_tips_seen_obliquely(circle, pictures):
    """The tips are where the projection says, lifted skin included: within a pixel."""
    width = 40 * (np.cos(projection.TURNED) + projection.DEPTH * np.sin(-projection.TURNED))
    seen = projection.View(np.zeros(3), width, turned=projection.TURNED, raised=projection.RAISED)
    pixel = 2 * width / canvas.VIEW[0]
    found = (marks(skin_of(pictures["height-oblique.png"]), canvas.TIP) - canvas.VIEW[:, None] / 2) * pixel
    assert found == approx(projection.projected(seen, circle.x[:, circle.mesh.tips]), abs=pixel)


def test_projection():
    """From above x is right and y up; from e above the level, y shrinks by sin e and z by cos e."""
    point, e = np.array([[3.0], [2.0], [5.0]]), np.radians(30)
    above, across = projection.View(np.ones(3), 10.0), projection.View(np.zeros(3), 10.0, raised=e)
    assert projection.projected(above, point) == approx(np.array([[2.0], [1.0]]))
    assert projection.projected(across, point) == approx(np.array([[3.0], [2 * np.sin(e) + 5 * np.cos(e)]]))


def test_turned_projection():
    """Turned by 90 degrees the eye is at the right end: y points to the right of the picture."""
    seen = projection.View(np.zeros(3), 10.0, turned=np.pi / 2, raised=0.0)
    assert seen.directions[2] == approx(np.array([1.0, 0, 0]))
    assert projection.projected(seen, np.array([[0.0], [4.0], [1.0]])) == approx(np.array([[4.0], [1.0]]))


@pytest.mark.parametrize("half_width, length", [(40.0, 10.0), (42.0, 20.0), (9.0, 2.0), (110.0, 50.0)])
def test_scale_bar(half_width, length):
    """The longest of 1, 2, 5 times ten that fits 240 of 980 pixels, drawn at the scale of the view."""
    figure, axes = canvas.framed(half_width, "title", "words")
    assert canvas.scale_bar(axes) == approx(length)
    drawn = axes.transData.transform(axes.lines[-1].get_xydata())
    assert np.ptp(drawn[:, 0]) == approx(length * 980 / (2 * half_width))
    assert figure.get_size_inches() * figure.dpi == approx(canvas.SIZE)


@pytest.mark.parametrize("title", ["x" * 80 + ": cones 2.0 mm high", "W" * 80])
def test_title_fits(title):
    """The longest name that a case may have gets letters as small as it needs, and no smaller."""
    text = canvas.framed(40.0, title, "words")[0].texts[0]
    assert 0.85 * canvas.WIDE < text.get_window_extent().width <= canvas.WIDE  # a point is up to a ninth of it


def test_short_title_is_large():
    assert canvas.framed(40.0, "circle-20: cones 5.2 mm high", "words")[0].texts[0].get_size() == 22


@pytest.mark.parametrize("limit, wanted", [(1.0, 1.0), (1.9, 1.0), (2.0, 2.0), (4.99, 2.0), (70, 50), (0.03, 0.02)])
def test_round_number(limit, wanted):
    assert canvas.round_number(limit) == approx(wanted)


def test_contour_levels():
    """Eight intervals or more of 1, 2, 5 times ten, none at the skin's own level."""
    interval, levels = projection.contour_levels(np.array([-1.2, 0.0, 3.1]))
    assert interval == 0.5
    assert levels == approx(np.array([-1.0, -0.5, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0]))


def test_flat_skin_has_no_contours():
    """Skin flat to round-off has the range of FLATTEST and no contour line."""
    assert projection.contour_levels(np.array([-1e-9, 1e-7]))[1].size == 0


def test_ranges(circle):
    """Colours of height are those of all pictures; those of stress go from none to that of the measures."""
    ranges = projection.ranges(circle)
    assert ranges.heights == canvas.HEIGHT_ENDS
    assert ranges.stresses == (0.0, skin_stress_max(circle))


def test_colours_of_height():
    """Level skin has that of skin in plans, whatever dips; up and down it darkens in hues of their own.

    Black lines keep a contrast of 3 to 1 on the darkest (WCAG 2.1, relative luminance).
    """
    low, high = canvas.HEIGHT_ENDS
    colours = canvas.HEIGHTS((np.arange(low, high + 0.5, 0.5) - low) / (high - low))[:, :3]
    level = int(-low / 0.5)
    assert colours[level] == approx(np.array(to_rgb(canvas.SKIN)), abs=0.01)
    linear = np.where(colours <= 0.04045, colours / 12.92, ((colours + 0.055) / 1.055) ** 2.4)
    luminance = linear @ [0.2126, 0.7152, 0.0722]
    assert (np.diff(luminance[level:]) < 0).all() and (np.diff(luminance[: level + 1]) > 0).all()
    assert (colours[level + 1 :, 0] > colours[level + 1 :, 2]).all()  # red above
    assert (colours[: level - 3, 0] < colours[: level - 3, 2]).all()  # blue 2 mm below
    ink = 0.0091  # of canvas.INK
    assert ((luminance + 0.05) / (ink + 0.05)).min() > 3


def test_view_holds_the_wound_and_its_undermined_zone(circle):
    """Undermined skin reaches 25 mm from the middle; the height of the view, 5/7 of its width, decides."""
    wanted = projection.MARGIN * 25 / canvas.SHAPE
    assert projection.wanted_half_width(circle) == approx(wanted, rel=0.02)  # its border is drawn with chords


def test_view_of_a_wound_that_is_not_undermined(circle):
    """One width of the wound, 20 mm, beyond its reach of 10 mm across."""
    bound = replace(circle, mesh=replace(circle.mesh, undermined=np.zeros_like(circle.mesh.undermined)))
    wanted = projection.MARGIN * 30 / canvas.SHAPE
    assert projection.wanted_half_width(bound) == approx(wanted, rel=0.02)  # chords: no node at the very top


def test_given_ranges(circle, skin):
    """Colour bars span the ranges given, whatever the closure."""
    given = projection.Ranges(40.0, heights=(-1.0, 8.0), stresses=(-20.0, 50.0))
    for drawn, ends in [
        (picture.height_oblique, given.heights),
        (picture.height_above, given.heights),
        (picture.stress_above, given.stresses),
    ]:
        assert drawn(circle, skin, "circle-20", given).axes[1].get_ylim() == ends


@pytest.mark.parametrize(
    "drawn, colours", [(picture.height_above, canvas.HEIGHTS), (picture.stress_above, canvas.STRESSES)]
)
def test_colours_mean_what_the_bar_says(circle, skin, drawn, colours):
    """Level skin under its natural 10 kPa has the middle colour of -1000 to 1000: within 1/64 of the map."""
    ends = (-1000.0, 1000.0)
    figure = drawn(circle, skin, "circle-20", projection.Ranges(40.0, heights=ends, stresses=ends))
    image = np.asarray(figure.axes[0].images[0].get_array())
    assert image[5, 5] / 255 == approx(np.array(colours(0.5)[:3]), abs=1 / 64)


def test_bars_seen_obliquely(circle, skin):
    """Three bars of length L at right angles: their lengths on the picture squared add up to 2 L^2."""
    axes = picture.height_oblique(circle, skin, "circle-20", wide(circle, heights=(0.0, 5.0))).axes[0]
    bars = [np.diff(line.get_xydata(), axis=0) for line in axes.lines]
    assert len(bars) == 3
    assert axes.texts[0].get_text() == "each bar 10 mm"
    assert sum((bar**2).sum() for bar in bars) == approx(2 * 10**2)


def test_smoothing_keeps_linear_fields(circle):
    """Nodal values of 3 + 2 x - y, given at the integration points, are those of the formula: round-off."""
    at = np.einsum("qa,iea->ieq", circle.sheet.shapes, circle.mesh.X[:, circle.mesh.elements.T])
    x, y = circle.mesh.X
    assert nodal(circle, 3 + 2 * at[0] - at[1]) == approx(3 + 2 * x - y, abs=1e-9)


# A plan with named points


@pytest.fixture(scope="module")
def flap():
    """A rhombic flap in skin that rises, coarsely."""
    asked = case.read(CIRCLE.parent.parent / "techniques" / "rhombic.yaml")
    return closed(asked.model_copy(update={"mesh": keys.MeshSize(edge_mm=3, tip_mm=3, far_mm=12)}))


def numbers(axes):
    """Numbers written in a picture, and where (2, n)."""
    found = [text for text in axes.texts if text.get_text().isdigit()]
    return [int(text.get_text()) for text in found], np.array([text.get_position() for text in found]).T


@pytest.mark.slow
def test_numbers_in_a_plan(flap):
    """One at each wedge of skin, at most 0.08 half-widths from its place; points that meet share one."""
    met = junctions(flap.plan)
    written, at = numbers(plan_figure.plan(flap, "rhombic", 40.0).axes[0])
    assert written == [k for k, meeting in enumerate(met, start=1) for _ in meeting.angles]
    places = np.hstack([meeting.places for meeting in met]) - projection.centre(flap)[:2, None]
    assert np.hypot(*(at - places)).max() < 0.08 * 40
    assert np.hypot(*(at - places)).min() > 0.02 * 40


def the_plan(name):
    """The plan of a technique."""
    return physical.plan(case.read(CIRCLE.parent.parent / "techniques" / f"{name}.yaml"))


def in_sight(plan, curve, side, end):
    """Numbers of a plan, at most 4 mm from an end of an edge, in sight of its skin 1 mm away: no cut is between them.

    side   1 with the skin on the left of the edge, -1 on its right
    """
    at = np.array([abs(end - 1 / curve.length)])
    beside = curve.point(at)[:, 0] + 0.05 * side * (np.array([[0, -1], [1, 0]]) @ curve.tangent(at)[:, 0])
    corner, cut = curve.point(np.array([float(end)]))[:, 0], opened(plan)
    return {
        number
        for number, place in plan_figure.numbers(plan, away=1.5)
        if np.hypot(*(place - corner)) < 4 and not cut.intersects(shapely.LineString([place, beside]))
    }


@pytest.mark.parametrize("name", ["rhombic", "z-plasty", "rotation", "v-y"])
def test_numbers_beside_their_edges(name):
    """Each end of a seam has its number on the skin of both edges, left of the first and right of the second.

    On the other side of its corner a number would be in removed skin, or beyond a cut.
    """
    plan = the_plan(name)
    assert not any(shapely.intersects_xy(opened(plan), *place) for _, place in plan_figure.numbers(plan, away=1.5))
    for first, second in plan.seams:
        for end in (0, 1):
            assert in_sight(plan, first, 1, end) & in_sight(plan, second, -1, end)


def test_stations_in_the_skin():
    """The numbers of a purse-string's stations stand in the skin around the wound, in order."""
    plan = the_plan("purse-string")
    placed = plan_figure.numbers(plan, away=1.0)
    assert [number for number, _ in placed] == list(range(1, plan.thread.stations + 1))
    assert [opened(plan).distance(shapely.Point(place)) for _, place in placed] == approx([2.0] * len(placed), abs=0.1)


def test_lines_of_a_plan():
    """A lens: one closed border, an upper edge above a lower one, sewn points across, tips at both ends."""
    plan = undermined(side_to_side(lens(length_mm=60, width_mm=20)), undermine_mm=15)
    lines = plan_figure.plan_lines(plan)
    kinds = [line.kind for line in lines]
    assert kinds == ["undermined", "removed", "upper", "lower", *["sewn"] * (plan_figure.PAIRS + 2), "tip"]
    (removed,), (upper,), (lower,), (tip,) = (
        [line.points for line in lines if line.kind == kind] for kind in ("removed", "upper", "lower", "tip")
    )
    assert removed[:, 0] == approx(removed[:, -1], abs=1e-9)
    assert upper[1].max() == approx(10, abs=1e-3) and lower[1].min() == approx(-10, abs=1e-3)
    assert tip == approx(np.array([[-30, 30], [0, 0]]), abs=1e-6)
    across = [line.points for line in lines if line.kind == "sewn"]
    assert [first for first, _ in np.array(across)[:, 0]] == approx([last for _, last in np.array(across)[:, 0]])


def test_colours_of_seams(flap):
    """Both edges of each seam have its colour, beside the line that is cut, on the side of their skin."""
    axes = plan_figure.plan(flap, "rhombic", 40.0).axes[0]
    drawn = [line for line in axes.lines if line.get_linewidth() == 3]
    assert [line.get_color() for line in drawn] == [canvas.SEAMS[k] for k in (0, 0, 1, 1, 2, 2, 3, 3)]
    flap_side, bed_side = (drawn[k].get_xydata()[200] for k in (3, 6))  # both edges of the cut D E, along y
    assert flap_side[0] > bed_side[0]
    assert axes.texts and plan_figure.plan(flap, "rhombic", 40.0).texts[0].get_text() == "rhombic: 260 mm² cut out"


def test_numbers_in_the_result(flap):
    """Each number stands where all of its points came to lie: 1 and 5 on the tips."""
    skin = surface(flap)
    written, at = numbers(picture.height_above(flap, skin, "rhombic", wide(flap, heights=(0.0, 5.0))).axes[0])
    assert written == [1, 2, 3, 4, 5]
    ends = flap.x[:2, flap.mesh.tips] - projection.centre(flap)[:2, None]
    assert at[:, [4, 0]] == approx(ends, abs=1e-9)


@pytest.fixture(scope="module")
def vtu(circle, tmp_path_factory):
    path = tmp_path_factory.mktemp("results") / "skin.vtu"
    projection.save_vtu(circle, path)
    return path


def test_vtu_in_meshio(circle, vtu):
    """meshio reads the positions and numbers that were written, to the last bit."""
    skin = meshio.read(vtu)
    assert (skin.points == circle.x.T).all()
    assert (skin.cells_dict["triangle6"] == circle.mesh.elements.T).all()
    assert (skin.point_data["reference_mm"][:, :2] == circle.mesh.X.T).all()
    assert (skin.point_data["gaping_mm"] == circle.gaping.T).all()
    assert (skin.point_data["height_mm"] == circle.x[2]).all()
    moved = skin.point_data["displacement_mm"]
    assert skin.point_data["reference_mm"] + moved == approx(skin.points, abs=1e-12)
    assert (skin.cell_data["undermined"][0] == circle.mesh.undermined).all()


def test_vtu_in_pyvista(circle, vtu):
    """Quadratic triangles in VTK's order: nodes 3, 4, 5 half way between 0 1, 1 2, 2 0 of the uncut skin."""
    skin = pv.read(vtu)
    assert (skin.celltypes == pv.CellType.QUADRATIC_TRIANGLE).all()
    corner = skin.point_data["reference_mm"][skin.cells_dict[pv.CellType.QUADRATIC_TRIANGLE]]
    assert (corner[:, :3] + corner[:, [1, 2, 0]]) / 2 == approx(corner[:, 3:], abs=1e-12)


def test_stress_in_the_vtu(circle, vtu):
    """A cell's mean times its area is the integral over it, in kPa; its principal stresses are in order."""
    skin, weights = pv.read(vtu), circle.sheet.area.weights
    stress, stretch = cauchy_stress(circle.sheet, circle.x)
    area = weights.sum(axis=1)
    assert skin["stress_max_kPa"] * area == approx(1e3 * (weights * stress[1]).sum(axis=1))
    assert skin["stress_min_kPa"] * area == approx(1e3 * (weights * stress[0]).sum(axis=1))
    assert skin["stretch_max"] * area == approx((weights * stretch).sum(axis=1))
    assert (skin["stress_max_kPa"] >= skin["stress_min_kPa"]).all()


def test_plan_of_an_m(forked):
    """Pairs of sewn points on all three seams; the point of the flap is in two of them, one with either edge."""
    axes = plan_figure.plan(forked, "m", 40.0).axes[0]
    (tips_shown,) = (line.get_xydata() for line in axes.lines if line.get_label() == "tip of the wound")
    assert len(tips_shown) == 3
    places = [line.get_xydata() for line in axes.lines if line.get_marker() == "o" and line.get_linestyle() == "-"]
    pairs = np.array(places)
    middle = projection.centre(forked)[:2]
    corner = forked.outline.upper.point(np.array([1.0]))[:, 0] - middle  # the point of the flap
    fork = pairs[(np.abs(pairs - corner).max(axis=2) < 1e-9).any(axis=1)]
    assert len(fork) == 2
    on_axis = np.abs(pairs[:, 0, 0] - pairs[:, 1, 0]) < 1e-6  # straight across, as on the seam between both edges
    assert plan_figure.PAIRS <= on_axis.sum() < len(pairs)


@pytest.fixture(scope="module")
def forked():
    """A lens with an M, uncut skin in place of closed skin."""
    outline = lens_with_m(length_mm=60, width_mm=20, shorter_mm=8)
    plan = undermined(side_to_side(outline), undermine_mm=15)
    cut = mesh(plan, radius=80, edge=2.5, tip=2, far=9)
    return Closure(
        outline=outline, plan=plan, lesion_area=0.0, mesh=cut,
        sheet=sheet(cut, law=rubber(0.1), h=2.0), gaping=flat(cut), x=flat(cut),
    )  # fmt: skip


def test_pictures_of_an_m(forked, tmp_path):
    """All of its seam and three tips are drawn from above, where they are: within a pixel."""
    path = picture.save_pictures(forked, tmp_path, title="m", ranges=wide(forked))[1]
    found = skin_of(imread(path)[..., :3])
    near = np.abs(found - to_rgb(canvas.TIP)).max(axis=2) < 0.02
    middle = canvas.VIEW[:, None] / 2
    for tip in (forked.x[:2, forked.mesh.tips] - projection.centre(forked)[:2, None]).T:
        column, row = tip / 80 * canvas.VIEW[0] + middle[:, 0]
        assert near[round(canvas.VIEW[1] - row), round(column)]
