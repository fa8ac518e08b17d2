"""Outlines from files: what they hold, where they may lie, and what is said about bad ones."""

import json
import os
import re
import time

import numpy as np
import pytest
import shapely
from pytest import approx

from fem.case import physical
from fem.case.case import key, read, text
from fem.case.tracing import MAX_BYTES, MAX_POINTS, located, points
from fem.errors import BadCase
from fem.geometry.outlines import boundary, facts, lens
from fem.geometry.polygon import traced_edges

LENS = lens(length_mm=60, width_mm=20)
CORNERS = shapely.get_coordinates(boundary(LENS, n=200))[:-1] + np.array([70, 50])  # as on a sheet
CASE = """\
name: traced
wound: {{outline: {{kind: traced, file: {}}}}}
skin: {{thickness_mm: 2, law: {{kind: neo-hooke, shear_kPa: 33.3}}}}
"""
IN_MM = ' width="100mm" height="100mm" viewBox="0 0 100 100"'
SVG = '<svg xmlns="http://www.w3.org/2000/svg"{}>{}</svg>'
R = 50  # mm, of the lens's arcs


def geojson(corners):
    return json.dumps({"type": "Polygon", "coordinates": [[*corners.tolist(), corners[0].tolist()]]})


def csv(corners):
    return "x_mm,y_mm\n" + "".join(f"{x},{y}\n" for x, y in corners.tolist())


LENS_FILES = {
    "lens.geojson": geojson(CORNERS),
    "lens.csv": csv(CORNERS),
    "lens.svg": SVG.format(
        ' width="140mm" height="100mm" viewBox="0 0 140 100"',
        f'<path d="M 40 50 A {R} {R} 0 0 1 100 50 A 50 50 0 0 1 40 50 Z"/>',
    ),
}


def case_of(folder, name, written):
    """The case beside a file that it names."""
    (folder / name).parent.mkdir(exist_ok=True)
    (folder / name).write_bytes(written if isinstance(written, bytes) else written.encode())
    (folder / "a.yaml").write_text(CASE.format(json.dumps(name)))
    return read(folder / "a.yaml")


def complaint(folder, name, written):
    with pytest.raises(BadCase) as caught:
        case_of(folder, name, written)
    return str(caught.value).split("\n")[0].replace(f"{folder}/", "")


# What they hold -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", LENS_FILES)
def test_lens_from_a_file(tmp_path, name):
    """The 60 x 20 mm lens drawn in each format is the lens, to the tolerance of 0.01 mm and what follows from it.

    Chords that far off an arc of 50 mm are 2 mm long: lengths lose (0.01 / 2)^2 of 8/3, angles 4 x 0.01/2 on each edge.
    """
    outline = facts_of(case_of(tmp_path, name, LENS_FILES[name]))
    wanted = facts(LENS)
    for fact in ("length_mm", "width_mm", "length_to_width", "edge_lengths_mm", "removed_area_mm2"):
        assert outline[fact] == approx(wanted[fact], rel=1e-3), fact
    assert outline["tip_angles_deg"] == approx(wanted["tip_angles_deg"], abs=2 * np.degrees(4 * 0.01 / 2))


def facts_of(case):
    return facts(physical.outline(case.wound.outline))


def test_formats_agree(tmp_path):
    """GeoJSON and CSV hold the same points; the SVG's arcs, drawn to scale and with y down, enclose the same skin.

    Chords of an arc of 64 mm in 200 and in 400 lie within c^2/8R, 2.6e-4 and 0.6e-4 mm, of it.
    """
    for name, written in LENS_FILES.items():
        (tmp_path / name).write_text(written)
    in_json, in_csv, in_svg = (points(name, [tmp_path]) for name in LENS_FILES)
    assert (in_json[:-1] == in_csv).all()
    assert in_csv == approx(CORNERS, abs=1e-12)
    upright = shapely.Polygon(in_svg * [1, -1])
    assert shapely.hausdorff_distance(upright.exterior, shapely.LinearRing(CORNERS)) < 4e-4


@pytest.mark.parametrize(
    ("size", "unit", "scale"),
    [
        ("", 1.0, 1.0),
        (' viewBox="0 0 60 40"', 0.5, 0.5),
        (' width="60px" height="40px"', 25.4 / 96, 25.4 / 96),
        (' width="60mm" height="40mm" viewBox="0 0 60 40"', None, 1.0),
        (' width="6cm" height="4cm" viewBox="0 0 600 400"', None, 0.1),
        (' width="1in" height="1in" viewBox="0 0 254 254"', None, 0.1),
    ],
)
def test_scale_of_svg(tmp_path, size, unit, scale):
    """A drawing with a size in mm, cm or in is read to scale, to 1e-6; of any other the unit is given. y points up.

    Without a unit it asks for one; a drawing that is to scale takes none.
    """
    drawing = SVG.format(size, '<g transform="translate(10 0)"><polygon points="0,0 40,0 40,20"/></g>')
    (tmp_path / "a.svg").write_text(drawing)
    with pytest.raises(BadCase, match="unit_mm: 1 if it was drawn in mm" if unit else "leave out unit_mm"):
        points("a.svg", [tmp_path], unit=None if unit else 1.0)
    corners = points("a.svg", [tmp_path], unit=unit)[:3]
    assert corners == approx(scale * np.array([[10, 0], [50, 0], [50, -20]]), rel=1e-6)


@pytest.mark.parametrize(
    ("shape", "area"),
    [
        ('<rect x="5" y="5" width="40" height="10"/>', 400),
        ('<circle cx="30" cy="20" r="10"/>', 100 * np.pi),
        ('<path d="M 0 0 C 0 40 60 40 60 0 Z"/>', 60 * 30 * 0.8),  # 3/5 L h of a cubic whose handles are h high
        ('<path d="M 0 0 Q 30 40 60 0"/>', 2 / 3 * 60 * 20),  # a parabola, closed by itself
        ('<path d="m 0 0 h 40 v 10 l -40 0 z"/>', 400),
    ],
)
def test_shapes_of_svg(tmp_path, shape, area):
    """Curves are followed on 400 chords, which lose a share of some 1/400^2."""
    (tmp_path / "a.svg").write_text(SVG.format(IN_MM, shape))
    assert shapely.Polygon(points("a.svg", [tmp_path])).area == approx(area, rel=1e-4)


@pytest.mark.parametrize("wrap", ["Feature", "FeatureCollection", "MultiPolygon", "GeometryCollection"])
def test_wrapped_polygon(tmp_path, wrap):
    """One polygon may be a feature, a collection of one, or the only part of several."""
    polygon = {"type": "Polygon", "coordinates": [[[0, 0, 7], [40, 0, 7], [20, 9, 7], [0, 0, 7]]]}
    feature = {"type": "Feature", "properties": {"drawn": "by hand"}, "geometry": polygon}
    content = {
        "Feature": feature,
        "FeatureCollection": {"type": "FeatureCollection", "features": [feature]},
        "MultiPolygon": {"type": "MultiPolygon", "coordinates": [polygon["coordinates"]]},
        "GeometryCollection": {"type": "GeometryCollection", "geometries": [polygon]},
    }[wrap]
    (tmp_path / "a.json").write_text(json.dumps(content))
    assert points("a.json", [tmp_path]).tolist() == [[0, 0], [40, 0], [20, 9], [0, 0]]


# In a case ----------------------------------------------------------------------------------------------------


def test_case_keeps_the_points(tmp_path):
    """The resolved case holds points and ends, and where they came from; it reads back without the file, equal."""
    case = case_of(tmp_path, "lens.csv", LENS_FILES["lens.csv"])
    outline = case.wound.outline
    assert (outline.file, outline.traced_from) == (None, "lens.csv")
    assert outline.ends_mm == approx(np.array([[40, 50], [100, 50]]))
    (tmp_path / "lens.csv").unlink()
    (tmp_path / "b.yaml").write_text(text(case))
    again = read(tmp_path / "b.yaml")
    assert again == case
    assert facts_of(again) == facts_of(case)


def test_key_follows_the_file(tmp_path):
    """Another point in the file is another case."""
    one = key(case_of(tmp_path, "a.csv", csv(np.array([[0, 0], [40, 0], [20, 9]]))))
    assert key(case_of(tmp_path, "a.csv", csv(np.array([[0, 0], [40, 0], [20, 9.5]])))) != one


def test_ends_in_the_file(tmp_path):
    """Ends are given in the file's own places; the outline then lies on the x axis."""
    name = "box.csv"
    (tmp_path / name).write_text(csv(np.array([[100, 100], [100, 140], [90, 140], [90, 100]])))
    written = CASE.format(f"{name}, ends_mm: [[95, 100], [95, 140]]")
    (tmp_path / "a.yaml").write_text(written)
    known = facts_of(read(tmp_path / "a.yaml"))
    assert (known["length_mm"], known["width_mm"]) == (approx(40), approx(10))
    assert known["tip_angles_deg"] == approx([180, 180])


# Where they may lie -------------------------------------------------------------------------------------------


def test_folders(tmp_path, monkeypatch):
    """A file lies beside the case, in a folder there, or in meshes/ of the folder that the program runs in."""
    beside, meshes = tmp_path / "cases", tmp_path / "meshes"
    for folder in (beside / "drawings", meshes):
        folder.mkdir(parents=True)
        (folder / "a.csv").write_text(LENS_FILES["lens.csv"])
    monkeypatch.chdir(tmp_path)
    for name in ("drawings/a.csv", "a.csv"):
        (beside / "a.yaml").write_text(CASE.format(name))
        assert read("cases/a.yaml").wound.outline.traced_from == name
    assert located("a.csv", [beside, meshes], kinds=[".csv"]) == meshes / "a.csv"
    (beside / "a.csv").write_text("")
    assert located("a.csv", [beside, meshes], kinds=[".csv"]) == beside / "a.csv"


@pytest.mark.parametrize(
    "name",
    [
        "/etc/passwd.csv", "../a.csv", "b/../../a.csv", "./a.csv", "~/a.csv", "b//a.csv", "a.csv/", "C:/a.csv",
        "b\\a.csv", ".a.csv", "b/.a.csv", "a.csv\0", "a.yaml", "a", "", "a.csv\n", "x" * 300 + ".csv",
    ],
)  # fmt: skip
def test_refused_names(tmp_path, name):
    """No absolute path, no folder above, no hidden file, no other kind of file, whatever lies there."""
    with pytest.raises(BadCase, match=r"is no file below .* or meshes;|at most 200"):
        case_of_name(tmp_path, name)


def case_of_name(folder, name):
    (folder / "a.csv").write_text(LENS_FILES["lens.csv"])
    (folder / "a.yaml").write_text(CASE.format(json.dumps(name)))
    return read(folder / "a.yaml")


def test_links_out_of_the_folder(tmp_path):
    """A link, or a folder that is one, may point to a place inside, and not outside."""
    inside, outside = tmp_path / "cases", tmp_path / "private"
    for folder in (inside, outside):
        folder.mkdir()
        (folder / "a.csv").write_text(LENS_FILES["lens.csv"])
    os.symlink(outside / "a.csv", inside / "file.csv")
    os.symlink(outside, inside / "folder")
    os.symlink("loop.csv", inside / "loop.csv")
    os.symlink("a.csv", inside / "same.csv")
    for name in ("file.csv", "folder/a.csv"):
        with pytest.raises(BadCase, match="a link out of the folder"):
            located(name, [inside], kinds=[".csv"])
    with pytest.raises(BadCase, match=r"no file 'loop\.csv' in"):
        located("loop.csv", [inside], kinds=[".csv"])
    assert located("same.csv", [inside], kinds=[".csv"]) == inside / "same.csv"


def test_no_file_but_a_file(tmp_path):
    """Nothing there, a folder, and a pipe, which nobody would ever write to."""
    (tmp_path / "folder.csv").mkdir()
    os.mkfifo(tmp_path / "pipe.csv")
    for name in ("none.csv", "folder.csv", "pipe.csv"):
        with pytest.raises(BadCase, match=re.escape(f"no file '{name}' in")):
            located(name, [tmp_path], kinds=[".csv"])


# What is said about bad ones ----------------------------------------------------------------------------------


def test_place_in_case_and_file(tmp_path):
    """A complaint names the case with line and column, then the file with its line."""
    said = complaint(tmp_path, "a.csv", "x_mm,y_mm\n0,0\n40,none\n20,9\n")
    assert said == "a.yaml:2:18: wound.outline: a.csv:3: wanted two numbers, got '40,none'"


@pytest.mark.parametrize(
    ("name", "written", "message"),
    [
        ("a.csv", "", "a.csv: no points"),
        ("a.csv", "x,y\n0,0\n", "a.csv:1: wanted the heading x_mm,y_mm"),
        ("a.csv", "x_mm,y_mm\n", "a.csv: no points"),
        ("a.csv", "x_mm,y_mm\n0,0\n1,2,3\n", "a.csv:3: wanted two numbers, got '1,2,3'"),
        ("a.csv", "x_mm,y_mm\n0,0\nnan,3\n", "a.csv:3: wanted two numbers, got 'nan,3'"),
        ("a.csv", "x_mm,y_mm\n0,0\n1e999,3\n5,5\n", "a.csv: wanted places within 1000 mm of the origin, in mm"),
        ("a.csv", 'x_mm,y_mm\n0,0\n"4,3\n', "a.csv:3: not CSV: unexpected end of data"),
        ("a.csv", b"x_mm,y_mm\n\xff,3\n", "a.csv: not text in UTF-8 (byte 11)"),
        ("a.csv", "x_mm,y_mm\n" + "0,0\n" * (MAX_POINTS + 1), f"a.csv:{MAX_POINTS + 2}: more than {MAX_POINTS} points"),
        ("a.csv", "#" * (MAX_BYTES + 1), f"a.csv: more than {MAX_BYTES} bytes"),
        (
            "a.csv",
            "x_mm,y_mm\n0,0\n9,9\n9,0\n0,9\n",
            "the outline crosses or touches itself: Self-intersection[4.5 4.5] mm",
        ),
        ("a.geojson", '{"type":\n "Polygon", coordinates: []}', "a.geojson:2:13: not JSON: Expecting property name"),
        ("a.geojson", '{"type": "Polygon", "coordinates": [[[NaN, 0]]]}', "a.geojson: not GeoJSON: "),
        ("a.geojson", "[" * 100_000, "a.geojson: nested too deep"),
        ("a.geojson", "{}", "a.geojson: not GeoJSON: "),
        (
            "a.geojson",
            '{"type": "Point", "coordinates": [0, 0]}',
            "a.geojson: wanted one polygon without holes, got Point",
        ),
        (
            "a.geojson",
            '{"type": "Polygon", "coordinates": []}',
            "a.geojson: wanted one polygon without holes, got Polygon",
        ),
        ("a.geojson", '{"type": "FeatureCollection", "features": []}', "wanted one polygon without holes, got nothing"),
        (
            "a.geojson",
            '{"type": "Polygon", "coordinates": [[[0,0],[9,0],[9,9],[0,0]], [[6,1],[7,1],[7,2],[6,1]]]}',
            "a.geojson: wanted one polygon without holes, got Polygon",
        ),
        ("a.svg", "<svg>\n<path></svg>", "a.svg:2:9: not XML: mismatched tag"),
        ("a.svg", SVG.format(IN_MM, ""), "a.svg: wanted one path in one piece, got 0"),
        (
            "a.svg",
            SVG.format(IN_MM, '<path d="M0 0 h9 v9 z M2 1 h1 v1 z"/>'),
            "a.svg: wanted one path in one piece, got more",
        ),
        (
            "a.svg",
            SVG.format(IN_MM, '<path d="M0 0 h9 foo v9 z"/>'),
            "a.svg: a path holds characters that are no path data",
        ),
        ("a.svg", SVG.format(IN_MM, '<path d="M0 0 A 5 5 0 0 1 9 0 A 5 5 Z"/>'), "a.svg: not an SVG drawing"),
        ("a.svg", SVG.format(IN_MM, '<path d="M 0 0 h 9"/>'), "2 different points; an outline has 3 or more"),
        (
            "a.svg",
            SVG.format(IN_MM, '<g id="a"/><use href="#a"/>'),
            "a.svg: <use> is not allowed; draw the outline itself",
        ),
        (
            "a.svg",
            '<!DOCTYPE svg [<!ENTITY a "9">]>' + SVG.format(IN_MM, '<path d="M0 0 h&a; v9 z"/>'),
            "a.svg: entities are not allowed",
        ),
    ],
)
def test_bad_files(tmp_path, name, written, message):
    """Empty, broken, dangerous or large files, and outlines that are none."""
    assert message in complaint(tmp_path, name, written)


PATH = '<path d="M0 0 L30 0 L15 10 z"/>'


@pytest.mark.parametrize(
    ("written", "message"),
    [
        (SVG.format("", PATH.replace("z", "z" * 300_000)), "wanted one path in one piece"),
        (SVG.format("", PATH.replace("z", "a1 1 0 0 1 1 1 " * 20_000)), "more than 20000 points"),
        (SVG.format("", PATH.replace("z", "a1 1 0 0 1 1 1 " * 60)), "more than 20000 points"),
        (SVG.format("", "<g>" * 1500 + PATH + "</g>" * 1500), "nested more than 50 deep"),
        (SVG.format("", PATH * 3000), "more than 2000 elements"),
        (SVG.format("", PATH.replace("<path", '<path transform="scale(nan)"')), "wanted functions of numbers"),
        (SVG.format("", PATH.replace("<path", f'<path transform="{"scale(1) " * 9000}"')), "more than 1000 characters"),
        (SVG.format(' width="-60mm" height="40mm" viewBox="0 0 60 40"', PATH), "wanted a size, got width='-60mm'"),
        (SVG.format(' width="nanmm" height="40mm" viewBox="0 0 60 40"', PATH), "wanted a size, got width='nanmm'"),
        (SVG.format(IN_MM, f"<style>{'/*' * 300_000}</style>{PATH}"), ""),
        (SVG.format(IN_MM, PATH.replace("<path", f'<path style="{"a:b;" * 300_000}"')), ""),
    ],
    ids=[
        "closed",
        "arcs",
        "some arcs",
        "groups",
        "shapes",
        "nan",
        "transform",
        "negative",
        "no size",
        "style",
        "styles",
    ],
)
def test_drawings_that_take_long(tmp_path, written, message):
    """Refused in less than 2 s, as are sizes that are none; styles say nothing of the shape and are not read."""
    (tmp_path / "a.svg").write_text(written)
    start = time.process_time()
    if message:
        with pytest.raises(BadCase, match=re.escape(message)):
            points("a.svg", [tmp_path])
    else:
        assert len(points("a.svg", [tmp_path])) == 4
    assert time.process_time() - start < 2


def test_large_tracing(tmp_path):
    """A tracing of as many points as there may be is read in less than 2 s, its ends found among all of them."""
    t = np.linspace(0, 2 * np.pi, MAX_POINTS - 1, endpoint=False)
    np.savetxt(tmp_path / "a.csv", np.stack([20 * np.cos(t), 10 * np.sin(t)], axis=1), "%.6f", ",", header="x_mm,y_mm",
               comments="")  # fmt: skip
    start = time.process_time()
    upper, _ = traced_edges(points("a.csv", [tmp_path]), None, 0.01)
    assert upper[:, [0, -1]] == approx(np.array([[-20, 20], [0, 0]]), abs=0.01)
    assert time.process_time() - start < 2


def test_case_from_nowhere():
    """A case that is no file has no folder to look in."""
    from fem.case.case import Case
    from fem.case.document import parse

    with pytest.raises(BadCase, match=re.escape("no file 'a.csv' in a case without a folder")):
        parse(CASE.format("a.csv"), Case, "a.yaml")
