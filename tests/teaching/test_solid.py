"""Bodies to print: closed forms of what makes them, and those of a closed wound, read back from their files."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
import trimesh
from pytest import approx
from small_cases import case, result_of, text

from fem.errors import NotPrintable
from fem.mechanics.triangulation import flat_triangles
from fem.render.canvas import SHAPE
from fem.teaching import solid

SQUARE = np.array([[-1.0, 1, 1, -1], [-1, -1, 1, 1], [0, 0, 0, 0]])
PYRAMID = np.array([[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]]).T


@pytest.fixture(scope="module")
def closed(tmp_path_factory):
    """A closed lens of 28 x 10 mm."""
    sample = case(text("lens", 28))
    return result_of(sample, tmp_path_factory.mktemp("results"))


@pytest.fixture(scope="module", params=[1.0, 2.5])
def printed(request, closed):
    return solid.printed(closed, exaggeration=request.param), request.param


def pyramid(*apex):
    return np.hstack([SQUARE, np.array([apex], float).T])


# What bodies are made of --------------------------------------------------------------------------------------


@pytest.mark.parametrize("sideways", [0.0, 0.8, 3.0])
def test_body_below_a_pyramid(sideways):
    """Base area times depth, and a third of it times the height: the same wherever the apex is, also beyond the base,
    where one side looks downward (Cavalieri)."""
    made = solid.body(pyramid(sideways, 0.1, 1.5), PYRAMID, -2.0)
    assert made.is_watertight and made.is_winding_consistent
    assert made.volume == approx(4 * 2 + 4 * 1.5 / 3, rel=1e-12)
    assert (made.face_normals[:4, 2] < 0).any() == (sideways > 1)


def test_body_of_a_ring():
    """A square hole of 1 in a square of 2 goes through: 3 times the depth; the rim of both is closed by walls."""
    x = np.hstack([SQUARE, SQUARE / 2])
    ring = [[k, (k + 1) % 4, 4 + k] for k in range(4)] + [[(k + 1) % 4, 4 + (k + 1) % 4, 4 + k] for k in range(4)]
    made = solid.body(x, np.array(ring).T, -0.5)
    assert made.volume == approx(3 * 0.5, rel=1e-12)
    assert made.euler_number == 0  # a torus


def test_rims_that_are_no_body():
    """A rim that crosses itself seen from above, and two pieces that touch in one point, are refused."""
    crossed = SQUARE[:, [0, 2, 1, 3]]
    with pytest.raises(NotPrintable, match="crosses itself"):
        solid.body(crossed, np.array([[0, 1, 2], [0, 2, 3]]).T, -1.0)
    touching = np.array([[0, 1, 2], [0, 3, 4]]).T
    with pytest.raises(NotPrintable, match="touch"):
        solid.body(pyramid(-1, 2, 0), touching, -1.0)


def test_moved_along_normals():
    """The vertices of a ball's triangles move outward by h, within the square of the triangles' angle; at a ridge
    of a right angle the two slopes do, so the ridge itself moves by sqrt(2) h."""
    ball = trimesh.creation.icosphere(subdivisions=4, radius=3.0)
    moved = ball.vertices + 0.5 * solid.normals(ball.vertices.T, ball.faces.T).T
    assert np.linalg.norm(moved, axis=1) == approx(3.5, rel=2e-3)
    roof = np.array([[-1, 1, -1, 1, -1, 1], [-1, -1, 0, 0, 1, 1], [-1, -1, 0, 0, -1, -1]], float)
    slopes = np.array([[0, 1, 3], [0, 3, 2], [2, 3, 5], [2, 5, 4]]).T
    assert solid.normals(roof, slopes)[:, 2] == approx([0, 0, np.sqrt(2)])


def test_letters():
    """A capital H is as high as asked, its hole-less outline one polygon; an O has one hole; words run to the right."""
    assert np.ptp(solid.lettering("H", 4.0).bounds[1::2]) == approx(4.0)
    assert [len(part.interiors) for part in shapely.get_parts(solid.lettering("OH", 4.0))] == [1, 0]
    assert solid.lettering("HH", 4.0).bounds[2] > 2 * np.ptp(solid.lettering("H", 4.0).bounds[::2])


# A closed wound -----------------------------------------------------------------------------------------------


def test_both_edges_are_one(closed):
    """Welded, the skin has no rim but the patch's, chords of 9 mm in a circle of 40 mm; parted a little, as between
    sutures, the edges meet half way."""
    x, triangles = solid.welded(closed)
    assert np.hypot(*x[:2, np.unique(solid.rim(triangles))]).min() > 40 * (1 - 9**2 / 8 / 40**2 * 1.1)
    parted = closed.stages.x.copy()
    parted[-1][1, closed.stages.pairs[0]] += 0.2
    apart, same = solid.welded(replace(closed, stages=replace(closed.stages, x=parted)))
    assert (same == triangles).all()
    moved = np.abs(apart - x).max(axis=0) > 1e-6
    assert moved.sum() == np.unique(closed.stages.pairs[0]).size
    assert (apart - x)[1, moved].min() == approx(0.1, abs=1e-5)  # tips, one node, move by all of it


def test_no_open_edge(printed):
    """Every edge of every body has a triangle on either side, in opposite senses; nothing passes through anything."""
    made, _ = printed
    for body in (made.whole, made.skin, made.base):
        ways = np.sort(body.edges @ [len(body.vertices), 1])
        assert (np.diff(ways) > 0).all()
        assert (np.sort(body.edges[:, ::-1] @ [len(body.vertices), 1]) == ways).all()
    assert made.crossed == 0


def test_volume(printed, closed):
    """The skin's volume is its area times its thickness within 1 % (in fact the square of thickness over radius), and
    skin and base together are the whole."""
    made, _ = printed
    assert made.skin.volume == approx(made.area * closed.case.skin.thickness_mm, rel=0.01)
    assert made.skin.volume == approx(made.area * closed.case.skin.thickness_mm, rel=1e-3)
    assert made.whole.volume == approx(made.skin.volume + made.base.volume, rel=1e-6)


def test_volume_of_flat_skin(closed):
    """Of flat skin every body is a box: the piece of the picture, skin and plate thick, and the label in front."""
    stages = closed.stages
    uncut = np.vstack([stages.X, 0 * stages.X[:1]])
    flat = np.array([*stages.x[:-1], uncut])
    middle = closed.case.model_copy(update={"name": "H"})
    made = solid.printed(replace(closed, case=middle, stages=replace(stages, x=flat, seams=())))
    wide, deep = 2 * stages.half_width, 2 * SHAPE * stages.half_width
    area = wide * deep - shapely.Polygon(uncut[:2, ring(stages)].T).area
    letters = solid.lettering(made.label, solid.LETTERS).area
    h = closed.case.skin.thickness_mm
    assert made.area == approx(area, rel=1e-5)
    assert made.skin.volume == approx(area * h, rel=1e-5)
    tag = wide * solid.STRIP * solid.PLATE + letters * solid.RAISED
    assert made.base.volume == approx(area * solid.PLATE + tag, rel=1e-5)


def ring(stages):
    """Nodes around the wound."""
    first, second = stages.pairs
    return [*first, *second[::-1]]


def test_heights(printed, closed):
    """The cone stands `exaggeration` times as high above the level, on the plate and below half the thickness."""
    made, exaggeration = printed
    z = exaggeration * closed.stages.x[-1][2]
    h = closed.case.skin.thickness_mm
    wanted = np.ptp(z) + h + solid.PLATE
    assert made.whole.bounds[:, 2] == approx([0, wanted], abs=0.02 * h)
    assert made.label == ("lens   1:1" if exaggeration == 1 else "lens   1:1   heights x2.5")


def test_label_stands_out(printed, closed):
    """On the ledge in front the letters' outlines, and nothing else, stand as high as they should."""
    made, _ = printed
    faces = made.base.triangles_center
    front = faces[:, 1] < -SHAPE * closed.stages.half_width
    high = front & (abs(faces[:, 2] - solid.PLATE - solid.RAISED) < 1e-6)
    outlines = solid.lettering(made.label, solid.LETTERS)
    shrink = min(1.0, 1.9 * closed.stages.half_width / np.ptp(outlines.bounds[::2]))
    assert made.base.area_faces[high].sum() == approx(outlines.area * shrink**2, rel=1e-4)


def test_files(printed, tmp_path):
    """Read back, the STL is one body of the same volume and the 3MF two, in millimetres, named."""
    made, _ = printed
    solid.write_stl(made, tmp_path / "a.stl")
    solid.write_3mf(made, tmp_path / "a.3mf")
    stl = trimesh.load_mesh(tmp_path / "a.stl")
    assert stl.is_watertight and stl.volume == approx(made.whole.volume, rel=1e-5)
    assert (tmp_path / "a.stl").read_bytes()[:80].decode().rstrip() == f"mm; {made.label}"
    parts = trimesh.load_scene(tmp_path / "a.3mf")
    assert parts.units == "millimeter"
    assert {name: body.is_watertight for name, body in parts.geometry.items()} == {
        f"skin, {made.label}": True,
        f"base, {made.label}": True,
    }
    volumes = sum(body.volume for body in parts.geometry.values())
    assert volumes == approx(made.whole.volume, rel=1e-5)


def test_what_is_said(printed, closed):
    """Thickness, area, volumes and the exaggeration, as they are; no gaps and nothing that leans over."""
    made, exaggeration = printed
    phrase = "\n".join(solid.description(made, closed, exaggeration))
    assert f"heights of the skin x{exaggeration:g}" in phrase
    assert f"{made.area:.0f} mm2, {made.skin.volume:.0f} mm3, on a solid base of {made.base.volume:.0f} mm3" in phrase
    assert phrase.count("\n") == 4 and phrase.endswith("not a medical device.")


def test_triangles_of_the_skin(closed):
    """Welding drops no triangle: as many as flat ones in the patch, of the same area but for the weld."""
    x, triangles = solid.welded(closed)
    flat = flat_triangles(closed.stages.elements)
    assert triangles.shape == flat.shape
    before = trimesh.Trimesh(closed.stages.x[-1].T, flat.T, process=False).area
    assert trimesh.Trimesh(x.T, triangles.T, process=False).area == approx(before, rel=1e-6)
