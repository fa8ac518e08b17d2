"""Bodies from files of triangles: their maps against closed forms; files that are no body."""

import meshio
import numpy as np
import pytest
import pyvista as pv
from pytest import approx

from fem.case import case as cases
from fem.case.body_file import SAMPLES, places
from fem.case.document import parse
from fem.errors import BadCase
from fem.geometry.surface import cylinder, distortion, sampled, sphere

R, REACH = 60.0, 40.0
GRID = np.stack(np.meshgrid(*2 * [np.linspace(-REACH, REACH, SAMPLES)], indexing="ij")).reshape(2, -1)


@pytest.fixture(scope="module")
def ball():
    found = pv.Icosphere(radius=R, nsub=4)
    return found.points.astype(float), found.regular_faces.astype(np.int32)


def limb():
    """A tube of long triangles, open at both ends."""
    angle = 2 * np.pi * np.arange(72) / 72
    along, around = (part.ravel() for part in np.meshgrid(np.linspace(-150, 150, 11), angle, indexing="ij"))
    i, j = (part.ravel() for part in np.meshgrid(np.arange(10), np.arange(72), indexing="ij"))
    a, b = 72 * i + j, 72 * i + (j + 1) % 72
    faces = np.vstack([np.stack([a, b, a + 72], axis=1), np.stack([b, b + 72, a + 72], axis=1)])
    return np.stack([along, -45 * np.sin(around), 45 * np.cos(around)], axis=1), faces.astype(np.int32)


def write(folder, points, faces, name="a.ply"):
    meshio.Mesh(points, [("triangle", faces)]).write(folder / name)


@pytest.mark.filterwarnings("ignore::RuntimeWarning")  # of meshio, as it looks whether an STL is binary
@pytest.mark.parametrize("name", ["a.ply", "a.stl", "a.obj"])
def test_ball(name, ball, tmp_path):
    """Great circles, within four times what triangles of 4.5 mm lie below the sphere, from any place, any way."""
    write(tmp_path, *ball, name)
    sagitta = 4.5**2 / 8 / R
    for at, along in (((0, 0, R), (1, 0, 0)), ((20, 30, 48), (0, 1, -0.3))):
        x = places(name, [tmp_path], at=at, along=along, reach=REACH).reshape(3, -1)
        assert np.abs(x - sphere(radius_mm=R)(GRID)).max() < 4 * sagitta


def test_limb(tmp_path):
    """A tube of long triangles is unrolled with lengths within 1 %."""
    write(tmp_path, *limb())
    x = places("a.ply", [tmp_path], at=(0, 0, 45), along=(1, 0, 0), reach=REACH)
    assert x.reshape(3, -1) == approx(cylinder(radius_mm=45.0)(GRID), abs=0.1)
    assert distortion(sampled(x, REACH), 38.0) < 0.01


def holed(points, faces):
    return points, faces[np.linalg.norm(points[faces].mean(axis=1) - [20, 0, 56], axis=1) > 6]


def flipped(points, faces):
    return points, np.vstack([faces[:1, ::-1], faces[1:]])


def two(points, faces):
    return np.vstack([points, points + 500]), np.vstack([faces, faces + len(points)])


def finned(points, faces):
    return np.vstack([points, [0, 0, 100]]), np.vstack([faces, [*faces[0, :2], len(points)]]).astype(np.int32)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (holed, r"the surface ends, or has a hole, within the patch, at \("),
        (flipped, "normals are flipped: some triangles beside each other face opposite ways"),
        (lambda points, faces: (points, faces[:, ::-1]), "normals are flipped: they point into the body"),
        (two, "not a single sheet: 2 pieces"),
        (finned, "not a single sheet: 1 edges belong to three triangles or more"),
        (lambda points, faces: (np.where(points == points.max(), np.inf, points), faces), "points within 100000 mm"),
    ],
)
def test_no_body(change, message, ball, tmp_path):
    write(tmp_path, *change(*ball))
    with pytest.raises(BadCase, match=f"a.ply: .*{message}"):
        places("a.ply", [tmp_path], at=(0, 0, R), along=(1, 0, 0), reach=REACH)


@pytest.mark.parametrize(
    ("at", "along", "message"),
    [
        ((0, 0, 80), (1, 0, 0), "at_mm is 20 mm from the surface, wanted at most 10"),
        ((0, 0, R), (0, 0, 1), "along points out of the surface"),
        ((0, 0, R), (0, 0, 0), "along points out of the surface"),
    ],
)
def test_bad_place(at, along, message, ball, tmp_path):
    write(tmp_path, *ball)
    with pytest.raises(BadCase, match=message):
        places("a.ply", [tmp_path], at=at, along=along, reach=REACH)


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("a.ply", b""), ("a.ply", b"ply\nformat ascii 1.0\nelement vertex 3\n"), ("a.ply", b"\xff" * 300),
        ("a.ply", b"ply\nformat ascii 1.0\nelement vertex 9\nproperty float x\nend_header\n1\n"),
        ("a.obj", b"v 1 2\nf 1 2 3\n"), ("a.obj", b"v 0 0 0\nf 1 2 9\n"), ("a.stl", b"solid\n"),
        ("a.stl", b"\x00" * 90),
    ],
)  # fmt: skip
def test_damaged(name, content, tmp_path):
    """Files that are none are refused by name; nothing hangs."""
    (tmp_path / name).write_bytes(content)
    with pytest.raises(BadCase, match=f"{name}: "):
        places(name, [tmp_path], at=(0, 0, R), along=(1, 0, 0), reach=REACH)


CASE = """\
name: a
wound: {outline: {kind: lens, length_mm: 30, width_mm: 10}}
closure: {undermine_mm: 6}
skin: {thickness_mm: 1.5, law: {kind: neo-hooke, shear_kPa: 33.3}}
patch: {radius_mm: 35, surface: {kind: file, file: NAME, at_mm: [0, 0, 60], along: [1, 0, 0]}}
"""


def test_case_keeps_what_the_file_was_mapped_to(ball, tmp_path):
    """The resolved case reads without the file, and is equal; a file outside the folder is refused with its line."""
    write(tmp_path, *ball)
    case = parse(CASE.replace("NAME", "a.ply"), cases.Case, "a.yaml", folders=[tmp_path])
    assert (case.patch.surface.file, case.patch.surface.mapped_from) == (None, "a.ply")
    assert parse(cases.text(case), cases.Case, "b.yaml") == case
    with pytest.raises(BadCase, match=r"a.yaml:5:\d+: patch: .*no file below"):
        parse(CASE.replace("NAME", "../a.ply"), cases.Case, "a.yaml", folders=[tmp_path / "cases"])
