"""Case files: what they become, and what is said about bad ones."""

import json
import re
from math import cos, pi
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx

from fem.case import physical
from fem.case.case import Case, geometry, key, read, schema, text, warnings
from fem.case.document import MAX_BYTES, parse
from fem.case.physical import plan
from fem.cli.printing import report
from fem.errors import BadCase

CONFIGS = Path(__file__).parents[2] / "configs"

# Short lines, so that places are easy to count.
GOOD = """\
name: bench
wound:
  outline: {kind: lens, length_mm: 60, width_mm: 20}
  lesion: {diameter_mm: 12, margin_mm: 4}
closure:
  undermine_mm: 15
  seam: hinge
skin:
  thickness_mm: 1.5
  law: {kind: neo-hooke, shear_kPa: 33.3}
  tension: {along_N_per_m: 20, across_N_per_m: 10}
bed: {normal_kPa_per_mm: 1, shear_kPa_per_mm: 0.1}
patch: {radius_mm: 120}
mesh: {edge_mm: 2, tip_mm: 1.6, far_mm: 6}
"""
KINDS = (
    "allowed: circle, ellipse, lens, rhombus, tangent, teardrop, crescent, lazy-s, lens-with-m, triangle, square, "
    "slit, polygon, traced"
)
SHORT = """\
name: short
wound: {outline: {kind: circle, diameter_mm: 20}}
skin: {thickness_mm: 2, law: {kind: neo-hooke, shear_kPa: 33.3}}
"""


def bad(written):
    """The heads of all messages about a text, without the lines shown below them."""
    with pytest.raises(BadCase) as caught:
        parse(written, Case, "a.yaml")
    return [line for line in str(caught.value).split("\n") if line.startswith("a.yaml")]


def test_every_value_arrives():
    """What is written is what the case holds; whole numbers are numbers too."""
    case = parse(GOOD, Case, "a.yaml")
    assert (case.name, case.closure.seam, case.closure.undermine_mm) == ("bench", "hinge", 15)
    assert (case.wound.outline.kind, case.wound.outline.length_mm) == ("lens", 60)
    assert (case.wound.lesion.diameter_mm, case.wound.lesion.margin_mm) == (12, 4)
    assert (case.skin.thickness_mm, case.skin.law.kind, case.skin.law.shear_kPa) == (1.5, "neo-hooke", 33.3)
    assert (case.skin.tension.along_N_per_m, case.skin.tension.lines_deg) == (20, 0)
    assert (case.bed.normal_kPa_per_mm, case.bed.shear_kPa_per_mm) == (1, 0.1)
    assert (case.patch.radius_mm, case.mesh.edge_mm, case.mesh.tip_mm, case.mesh.far_mm) == (120, 2, 1.6, 6)


def test_defaults():
    """Only name, outline, thickness and law are needed; nothing is undermined and nothing lies below."""
    case = parse(SHORT, Case, "a.yaml")
    assert (case.closure.technique, case.closure.undermine_mm, case.closure.seam) == (
        "side-to-side",
        0,
        "continuous",
    )
    assert case.closure.sutures.kind == "running"
    assert (case.skin.tension.along_N_per_m, case.skin.tension.across_N_per_m) == (0, 0)
    assert case.bed is None and case.wound.lesion is None
    assert (case.mesh.edge_mm, case.mesh.tip_mm, case.mesh.far_mm) == approx((2, 0.8, 100 / 6))
    assert plan(case).undermined is None


BEDDING = "bed: {normal_kPa_per_mm: 1, shear_kPa_per_mm: 0.1}\n"
SOFT = "bed: {normal_kPa_per_mm: 1e-4, shear_kPa_per_mm: 1e-5}\n"
BED = {"normal_kPa_per_mm": 1, "shear_kPa_per_mm": 0.1}


@pytest.mark.parametrize(
    ("keys", "undermine_mm", "bed", "radius"),
    [
        ({"kind": "lens", "length_mm": 60, "width_mm": 20}, 15, BED, 45 + 3 * (3 * 33.3 * 2 / 0.1) ** 0.5),
        ({"kind": "circle", "diameter_mm": 4}, 0, BED, 10 * 2),
        ({"kind": "circle", "diameter_mm": 20}, 0, None, 10 * 10),
        ({"kind": "polygon", "points_mm": [[40, 0], [60, -5], [80, 0]]}, 10, None, 10 * (80 + 10)),
    ],
)
def test_default_radius(keys, undermine_mm, bed, radius):
    """Three decay lengths sqrt(E h / k_s), E = 3 mu, beyond the undermined zone, at most ten times its reach."""
    skin = {"thickness_mm": 2, "law": {"kind": "neo-hooke", "shear_kPa": 33.3}}
    content = {"name": "a", "wound": {"outline": keys}, "closure": {"undermine_mm": undermine_mm}, "skin": skin}
    case = parse(json.dumps(content | ({"bed": bed} if bed else {})), Case, "a.yaml")
    assert case.patch.radius_mm == approx(radius, rel=1e-3)  # it is given with four digits


def test_tension_as_stretches():
    """Neo-Hookean skin stretched by a and b carries mu h (a^2 - 1/(ab)^2) along the lines."""
    given = "{along_stretch: 1.1, across_stretch: 1.05, lines_deg: 30}"
    case = parse(SHORT.replace("33.3}", f"33.3}}, tension: {given}"), Case, "a.yaml")
    unit, squeezed = 33.3 * 2, (1.1 * 1.05) ** -2  # kPa mm = N/m
    assert case.skin.tension.along_N_per_m == approx(unit * (1.1**2 - squeezed))
    assert case.skin.tension.across_N_per_m == approx(unit * (1.05**2 - squeezed))
    assert case.skin.tension.lines_deg == 30
    assert geometry(case)["prestretch"] == approx([1.1, 1.05])
    assert parse(text(case), Case, "b.yaml") == case


def test_stretches_instead_of_the_tension_of_the_site():
    """Where a case gives stretches, no tension is taken from the site."""
    case = parse(
        """name: a
wound: {outline: {kind: circle, diameter_mm: 20}}
skin: {site: forearm, tension: {along_stretch: 1.05, across_stretch: 1.05}}
""", Case, "a.yaml")  # fmt: skip
    assert case.skin.tension.along_N_per_m == approx(case.skin.tension.across_N_per_m)
    assert not [key for key in case.from_site if "tension" in key]


@pytest.mark.parametrize(("bed", "limit"), [("", 4.7006 * 100 * 8 / 9 / 100**2), (SOFT, 2 * (1e-4 * 100 * 8 / 9) ** 0.5)])
def test_warning_of_buckling(bed, limit):
    """Skin squeezed by more than 4.70 D/R^2 without a bed, by more than 2 sqrt(k D) with one, is warned of.

    D = E h^3 / 9 of skin hardly squeezed, with E = 3 mu = 100 kPa and h = 2 mm; k = 1e-4 kPa/mm; 1 kPa mm is 1 N/m.
    """
    squeezed = "2, law: {{kind: neo-hooke, shear_kPa: 33.333333}}, tension: {{across_N_per_m: {}}}}}\n"
    squeezed += "patch: {{radius_mm: 100}}\n"
    for share, warned in ((0.99, 0), (1.01, 1)):
        skin = squeezed.format(-share * limit)
        case = parse(SHORT[: SHORT.index("2, law")] + skin + bed, Case, "a.yaml")
        assert len([line for line in warnings(case) if "squeezes" in line]) == warned


def test_geometry():
    """A 60x20 lens with a 12 mm lesion: facts of the outline, and skin taken beyond the lesion."""
    known = geometry(parse(GOOD, Case, "a.yaml"))
    assert known["tip_angles_deg"] == approx([73.740, 73.740], abs=6e-4)
    assert known["healthy_removed_mm2"] == approx(known["removed_area_mm2"] - 36 * pi)
    edges = sum(known["edge_lengths_mm"])
    assert known["undermined_area_mm2"] == approx(edges * 15 + pi * 15**2, rel=1e-3)  # Steiner, polygonal arcs
    assert known["patch_radius_mm"] == 120


def test_report():
    """`flatseam check` prints a line for each fact, with its unit."""
    lines = report(parse(GOOD, Case, "a.yaml")).splitlines()
    assert lines[0] == "bench: lens, side-to-side"
    assert "  tip angles        73.74, 73.74 °" in lines
    assert "  length to width   3.000" in lines
    assert "  removed area      817.51 mm²" in lines


@given(
    st.sampled_from(["ellipse", "lens", "rhombus", "tangent"]),
    st.tuples(st.floats(20, 200), st.floats(20, 200)).map(sorted),
    st.floats(1e-3, 1e3),
    st.floats(0, 40),
    st.sampled_from(["continuous", "hinge"]),
    st.floats(-180, 180),
)
def test_resolved_case_reads_back(kind, axes, shear, undermine, seam, lines):
    """The resolved case as YAML gives an equal case with the same key, whatever the digits of its numbers."""
    width, length = axes
    written = SHORT.replace("circle, diameter_mm: 20", f"{kind}, length_mm: {length!r}, width_mm: {width!r}")
    written = written.replace("33.3}", f"{shear!r}}}, tension: {{lines_deg: {lines!r}}}")
    case = parse(f"{written}closure: {{undermine_mm: {undermine!r}, seam: {seam}}}\n", Case, "a.yaml")
    again = parse(text(case), Case, "b.yaml")
    assert again == case
    assert key(again) == key(case)


def test_polygon_reads_back():
    """A list of points keeps its order."""
    written = SHORT.replace("circle, diameter_mm: 20", "polygon, points_mm: [[-30, 0], [0, -9], [30, 0], [4, 11]]")
    case = parse(written, Case, "a.yaml")
    assert case.wound.outline.points_mm == ((-30, 0), (0, -9), (30, 0), (4, 11))
    assert parse(text(case), Case, "b.yaml") == case


def test_key_tells_cases_apart():
    """Spelling and order do not matter to the key, every value does."""
    case = parse(SHORT, Case, "a.yaml")
    same = parse("closure: {}\n" + SHORT.replace("20", "2.0e1"), Case, "a.yaml")
    assert key(same) == key(case)
    for old, new in (("short", "long"), ("20", "20.000001"), ("33.3", "33.4"), ("_mm: 2,", "_mm: 2.5,")):
        assert key(parse(SHORT.replace(old, new), Case, "a.yaml")) != key(case)


def test_message_shows_the_place():
    """File, line and column, what is wrong, the nearest key, all keys; then the line and a caret below it."""
    with pytest.raises(BadCase) as caught:
        parse(GOOD.replace("seam", "seem"), Case, "configs/a.yaml")
    assert str(caught.value) == (
        "configs/a.yaml:7:3: closure: unknown key 'seem'; did you mean 'seam'? allowed: technique, surplus, eased_mm, "
        "undermine_mm, undermine_upper_mm, undermine_lower_mm, undermine_points_mm, seam, "
        "sutures, taper, anchor\n"
        "      seem: hinge\n"
        "      ^"
    )


def test_all_messages_at_once_in_the_order_of_the_file():
    """Mistakes in every block are told together."""
    written = (
        GOOD.replace("bench", "a/b").replace("width_mm: 20", "width_mm: 0").replace("15", "true")
        .replace("33.3", ".nan").replace("radius_mm: 120", "radius: 120").replace("far_mm: 6", "far_mm: 1")
    )  # fmt: skip
    assert [re.match(r"a.yaml:(\d+):", head)[1] for head in bad(written)] == [
        "1",
        "3",
        "6",
        "10",
        "13",
        "13",
        "14",
    ]


@pytest.mark.parametrize(
    ("old", "new", "messages"),
    [
        # unknown and missing keys
        ("thickness_mm", "thicknes_mm", [
            "9:3: skin: missing key 'thickness_mm'; needed: thickness_mm, law",
            "9:3: skin: unknown key 'thicknes_mm'; did you mean 'thickness_mm'? "
            "allowed: site, thickness_mm, law, tension"]),
        ("bed:", "xyz: red\nbed:", [
            "12:1: unknown key 'xyz'; allowed: name, wound, closure, skin, bed, relax, patch, mesh, from_site"]),
        ("name: bench\n", "", ["1:1: missing key 'name'; needed: name, wound, skin"]),
        ("kind: lens, ", "", [
            f"3:12: wound.outline: missing key 'kind'; {KINDS}"]),
        ("kind: neo-hooke, ", "", [
            "10:8: skin.law: missing key 'kind'; allowed: neo-hooke, ogden, gasser-ogden-holzapfel"]),
        (", width_mm: 20", "", [
            "3:12: wound.outline: missing key 'width_mm'; needed: kind, length_mm, width_mm"]),
        ("far_mm: 6", "far_mm: 6, <<: {a: 1}", [
            "14:44: mesh: unknown key '<<'; allowed: edge_mm, tip_mm, far_mm"]),
        # wrong units in the name of a key
        ("length_mm", "length_cm", [
            "3:12: wound.outline: missing key 'length_mm'; needed: kind, length_mm, width_mm",
            "3:25: wound.outline: unknown key 'length_cm'; did you mean 'length_mm', in mm? "
            "allowed: kind, length_mm, width_mm"]),
        ("along_N_per_m", "along_mN_per_mm", [
            "11:13: skin.tension: unknown key 'along_mN_per_mm'; did you mean 'along_N_per_m', in N/m? "
            "allowed: along_N_per_m, across_N_per_m, along_stretch, across_stretch, lines_deg"]),
        ("across_N_per_m: 10", "lines_rad: 1", [
            "11:32: skin.tension: unknown key 'lines_rad'; did you mean 'lines_deg', in degrees? "
            "allowed: along_N_per_m, across_N_per_m, along_stretch, across_stretch, lines_deg"]),
        ("mesh: {edge_mm", "mesh: {edge", [
            "14:8: mesh: unknown key 'edge'; did you mean 'edge_mm', in mm? "
            "allowed: edge_mm, tip_mm, far_mm"]),
        # tension that would tear the skin
        ("along_N_per_m: 20", "along_N_per_m: 5000", [
            "11:12: skin.tension: this skin would be stretched 10 times along and 0.491 times across the lines, "
            "wanted 0.4 to 5"]),
        ("along_N_per_m: 20, across_N_per_m: 10", "along_stretch: 1.1", [
            "11:12: skin.tension: needed: along_stretch and across_stretch together"]),
        ("along_N_per_m: 20", "along_stretch: 1.1, across_stretch: 1", [
            "11:12: skin.tension: wanted line tensions or stretches, got both"]),
        ("undermine_mm: 15", "undermine_points_mm: [[0, 0], [9, 9], [9, 0], [0, 9]]", [
            "6:3: closure: the sides cross or touch: Self-intersection[4.5 4.5] mm"]),
        # repeated keys and keys that are not words
        ("bed:", "name: again\nbed:", ["12:1: key 'name' is given twice"]),
        ("margin_mm: 4", "margin_mm: 4, diameter_mm: 9", [
            "4:43: wound.lesion: key 'diameter_mm' is given twice"]),
        ("bed:", "[a]: 1\nbed:", ["12:1: wanted a key that is a word"]),
        # wrong types
        ("1.5", "true", ["9:17: skin.thickness_mm: got true, wanted a number"]),
        ("1.5", "'1.5'", ["9:17: skin.thickness_mm: got '1.5', wanted a number"]),
        ("1.5", "1.5 mm", ["9:17: skin.thickness_mm: got '1.5 mm', wanted a number"]),
        ("1.5", "0x10", ["9:17: skin.thickness_mm: got '0x10', wanted a number"]),
        ("1.5", "[1.5]", ["9:17: skin.thickness_mm: got a list, wanted a number"]),
        ("1.5", "", ["9:3: skin.thickness_mm: got nothing, wanted a number"]),
        ("bench", "12", ["1:7: name: got 12, wanted text (a number needs quotes)"]),
        ("{radius_mm: 120}", "120", ["13:8: patch: got 120, wanted keys and values"]),
        ("{kind: lens, length_mm: 60, width_mm: 20}", "lens", [
            "3:12: wound.outline: got 'lens', wanted keys and values"]),
        # numbers out of range
        ("1.5", ".nan", ["9:17: skin.thickness_mm: got nan, wanted a finite number"]),
        ("1.5", "1e999", ["9:17: skin.thickness_mm: got inf, wanted a finite number"]),
        ("1.5", "-1.5", ["9:17: skin.thickness_mm: got -1.5, wanted greater than 0"]),
        ("1.5", "0", ["9:17: skin.thickness_mm: got 0, wanted greater than 0"]),
        ("15", "-1", ["6:17: closure.undermine_mm: got -1, wanted greater than or equal to 0"]),
        ("length_mm: 60", "length_mm: 6e4", [
            "3:36: wound.outline.length_mm: got 60000, wanted less than or equal to 1000"]),
        ("along_N_per_m: 20", "lines_deg: 181", [
            "11:24: skin.tension.lines_deg: got 181, wanted less than or equal to 180"]),
        # words that are not known
        ("kind: lens", "kind: lense", [
            "3:19: wound.outline.kind: got 'lense'; did you mean 'lens'? " + KINDS]),
        ("kind: lens", "kind:", [
            f"3:12: wound.outline: missing key 'kind'; {KINDS}"]),
        ("neo-hooke", "neohooke", [
            "10:15: skin.law.kind: got 'neohooke'; did you mean 'neo-hooke'? "
            "allowed: neo-hooke, ogden, gasser-ogden-holzapfel"]),
        ("hinge", "hinged", [
            "7:9: closure.seam: got 'hinged'; did you mean 'hinge'? allowed: continuous, hinge"]),
        # names of folders
        ("bench", "../up", [
            "1:7: name: got '../up', wanted the name of the results folder: "
            "letters, digits, - _ . but no . in front, at most 80"]),
        # impossible geometry
        ("width_mm: 20", "width_mm: 61", [
            "3:12: wound.outline: width_mm 61 is more than length_mm 60; the long axis is the length"]),
        ("margin_mm: 4", "margin_mm: 4.1", [
            "4:11: wound.lesion: lesion and margin reach 10.1 mm from the origin, the outline leaves 10 mm"]),
        ("radius_mm: 120", "radius_mm: 45", [
            "13:8: patch: the undermined zone reaches 45 mm from the origin, beyond radius_mm 45"]),
        ("  undermine_mm: 15\n  seam: hinge", "  seam: hinge\n  undermine_mm: 95", [
            "13:8: patch: the undermined zone reaches 125 mm from the origin, beyond radius_mm 120"]),
        ("radius_mm: 120", "radius_mm: 50", [
            "14:7: mesh: far_mm 6 is more than the 5 mm from the outline or undermined zone to the rim"]),
        # sizes of triangles
        ("edge_mm: 2", "edge_mm: 1", ["14:7: mesh: wanted tip_mm <= edge_mm <= far_mm, got 1.6, 1, 6"]),
        ("edge_mm: 2, tip_mm: 1.6, far_mm: 6", "edge_mm: 17, far_mm: 20", [
            "14:7: mesh: an edge of 64.35 mm needs 4 segments: edge_mm of 16.1 or less, got 17"]),
        ("tip_mm: 1.6", "tip_mm: 0.001", [
            "14:7: mesh: an edge of 64.35 mm takes at most 2000 segments: "
            "tip_mm of 0.0322 or more, got 0.001"]),
        ("edge_mm: 2, tip_mm: 1.6, far_mm: 6", "edge_mm: 0.3, tip_mm: 0.3, far_mm: 0.3", [
            "14:7: mesh: a patch of radius 120 mm needs far_mm of 0.4 or more, got 0.3"]),
    ],
)  # fmt: skip
def test_bad_input(old, new, messages):
    """One mistake in a good file: the place, the value, what is allowed, the nearest known key."""
    assert old in GOOD
    assert bad(GOOD.replace(old, new, 1)) == [f"a.yaml:{message}" for message in messages]


@pytest.mark.parametrize(
    ("points", "messages"),
    [
        ("[[0, 0], [9, 9], [9, 0], [0, 9]]", [
            "2:18: wound.outline: the sides cross or touch: Self-intersection[4.5 4.5] mm"]),
        ("[[0, 0], [9, 0]]", ["2:18: wound.outline: 2 points; a polygon has 3 to 1000"]),
        ("[[0, 0], [9, 0], [9, 9], [0, 0]]", [
            "2:18: wound.outline: point 4 repeats point 1; the last point joins the first by itself"]),
        ("[[0, 0], [9, 0], [18, 0]]", ["2:18: wound.outline: the points lie on one line"]),
        ("[[0, 0], [9, x], [9]]", [
            "2:58: wound.outline.points_mm[1][1]: got 'x', wanted a number",
            "2:62: wound.outline.points_mm[2]: value number 2 is missing"]),
        ("[[0, 0, 0], 5, [9, 2000]]", [
            "2:46: wound.outline.points_mm[0]: got 3 values, wanted 2 at most",
            "2:57: wound.outline.points_mm[1]: got 5, wanted a list",
            "2:64: wound.outline.points_mm[2][1]: got 2000, wanted less than or equal to 1000"]),
    ],
)  # fmt: skip
def test_bad_polygon(points, messages):
    """Points that cross, are too few, repeat, lie on a line, or are not points."""
    written = SHORT.replace("kind: circle, diameter_mm: 20", f"kind: polygon, points_mm: {points}")
    assert bad(written) == [f"a.yaml:{message}" for message in messages]


def test_lesion_off_the_outline():
    """A polygon stays where it is drawn; a lesion at the origin is then outside."""
    written = SHORT.replace(
        "{kind: circle, diameter_mm: 20}", "{kind: polygon, points_mm: [[10, 0], [60, 0], [40, 20]]}"
    )
    written = written.replace("20]]}}", "20]]}, lesion: {diameter_mm: 5}}")
    assert bad(written) == [
        "a.yaml:2:84: wound.lesion: lesion and margin reach 2.5 mm from the origin, the outline leaves 0 mm"
    ]


def test_lesion_that_fills_the_outline():
    """Lesion and margin may touch the outline: a circle of 20 mm around 12 mm and twice 4 mm."""
    written = SHORT.replace("20}}", "20}, lesion: {diameter_mm: 12, margin_mm: 4}}")
    assert parse(written, Case, "a.yaml").wound.lesion.margin_mm == 4


def test_default_mesh_follows_the_wound():
    """A circle of a quarter the size gets the same mesh, a quarter the size."""
    sizes = [parse(SHORT.replace("20}", f"{d}}}"), Case, "a.yaml").mesh for d in (20, 5)]
    assert [sizes[0].edge_mm, sizes[0].far_mm] == approx([4 * sizes[1].edge_mm, 4 * sizes[1].far_mm])


def test_default_mesh_of_a_needle():
    """A lens 100 times as long as wide: 40 segments to its length, where a tenth of its width would take 1000."""
    written = SHORT.replace("{kind: circle, diameter_mm: 20}", "{kind: lens, length_mm: 100, width_mm: 1}")
    assert parse(written, Case, "a.yaml").mesh.edge_mm == approx(100 / 40)


@pytest.mark.parametrize(
    ("written", "message"),
    [
        ("", ": empty"),
        ("# nothing but a comment\n", ": empty"),
        ("just words\n", ":1:1: got 'just words', wanted keys and values"),
        ("name: [a\nwound: b\n", ":2:6: not YAML: expected ',' or ']', but got ':'"),
        ("name: a\n\twound: b\n", ":2:1: not YAML: found character '\\t' that cannot start any token"),
        ("name: a\n---\nname: b\n", ":2:1: not YAML: but found another document"),
        ("name: a\x00b\n", ": not YAML: unacceptable character #x0000: special characters are not allowed"),
        ('name: "\\U99999999"\n', ": not YAML: Python int too large to convert to C int"),
        ("a: &x [1]\nb: *x\nc: *x\n", ":2:4: alias '*x' is not allowed; write the value"),
        ("a: !!python/object:os.system {}\n", ":1:4: tag '!!python/object:os.system' is not allowed"),
        ("a: " + "[" * 1000, ":1:23: nested more than 20 deep"),
        ("- " * 1000, ":1:41: nested more than 20 deep"),
    ],
)
def test_not_a_case_at_all(written, message):
    """Empty, broken or dangerous YAML is refused where it breaks."""
    assert bad(written)[0] == f"a.yaml{message}"


def test_many_messages_and_long_lines():
    """A thousand mistakes on one long line give a hundred messages, each with the part around its place."""
    with pytest.raises(BadCase) as caught:
        parse("{" + ", ".join(f"key{i}: {i}" for i in range(1000)) + "}", Case, "a.yaml")
    lines = str(caught.value).split("\n")
    assert lines[-1] == "a.yaml: 903 more"  # three needed keys are missing as well
    assert len(lines) == 3 * 100 + 1
    assert max(map(len, lines)) < 140
    place, shown, caret = lines[-4:-1]
    name = re.search(r"unknown key '(\w+)'", place)[1]
    assert shown[caret.index("^") :].startswith(name)


def test_tabs_before_the_caret():
    """The caret stays below its place on a line with tabs."""
    with pytest.raises(BadCase) as caught:
        parse(GOOD.replace("patch: {radius_mm: 120}", "patch: {\tradius: 120}"), Case, "a.yaml")
    assert "    patch: {\tradius: 120}\n            \t^" in str(caught.value)


def test_bad_files(tmp_path):
    """No such file, a folder, bytes that are not text, and more than a case can need."""
    binary, large = tmp_path / "binary.yaml", tmp_path / "large.yaml"
    binary.write_bytes(b"name: \xff\xfe\x00")
    large.write_text("#" * (MAX_BYTES + 1))
    for path, message in (
        (tmp_path / "none.yaml", "No such file or directory"),
        (tmp_path, "Is a directory"),
        (binary, "not text in UTF-8 (byte 7)"),
        (large, f"more than {MAX_BYTES} bytes"),
    ):
        with pytest.raises(BadCase, match=re.escape(f"{path}: {message}")):
            read(path)


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_other_editors(tmp_path, end):
    """A byte order mark and line ends of other systems change nothing, places included."""
    path = tmp_path / "a.yaml"
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", end).encode())
    assert read(path) == parse(GOOD, Case, "a.yaml")
    path.write_bytes(GOOD.replace("1.5", "x").replace("\n", end).encode())
    with pytest.raises(BadCase, match="got 'x', wanted a number\n      thickness_mm: x\n") as caught:
        read(path)
    assert str(caught.value).startswith(f"{path}:9:17: ")


SLIT = """\
name: z
wound: {outline: {kind: slit, length_mm: 20}}
closure: {technique: z-plasty}
skin: {thickness_mm: 1.5, law: {kind: neo-hooke, shear_kPa: 33.3}}
"""


def test_slit():
    """No width and no area; a tenth of its length is a triangle's size."""
    case = parse(SLIT, Case, "a.yaml")
    known = geometry(case)
    assert (known["width_mm"], known["length_to_width"], known["removed_area_mm2"]) == (0, None, 0)
    assert case.mesh.edge_mm == 2
    assert "  length to width   none\n" in report(case)


@pytest.mark.parametrize("was, becomes, words", [
    ("length_mm: 20}}", "length_mm: 20}, lesion: {diameter_mm: 1}}", "a slit takes no skin, so no lesion is inside"),
    ("z-plasty", "side-to-side", "nothing to close side to side"),
    ("z-plasty", "rhombic", "a rhombic flap wants a circle, or a rhombus"),
    ("z-plasty", "z-plasty, angle_deg: 95", "closure.angle_deg: got 95, wanted less than or equal to 90"),
    ("technique: z-plasty", "techniqe: z-plasty", "unknown key 'techniqe'; did you mean 'technique'"),
])  # fmt: skip
def test_bad_techniques(was, becomes, words):
    with pytest.raises(BadCase, match=words):
        parse(SLIT.replace(was, becomes), Case, "a.yaml")


def test_island_without_bed():
    """A V-Y's island hangs on its bed alone."""
    island = SLIT.replace("kind: slit, length_mm: 20", "kind: square, side_mm: 15").replace("z-plasty", "v-y")
    with pytest.raises(BadCase, match="island of skin, which floats away without a bed"):
        parse(island, Case, "a.yaml")
    assert parse(island + "bed: {normal_kPa_per_mm: 1, shear_kPa_per_mm: 0.1}\n", Case, "a.yaml").bed is not None


def test_keys_become_arguments():
    """kPa and degrees of a case become MPa and rad; a default in rad is that of the key in round degrees."""
    fibres = dict(shear_kPa=10, fibre_kPa=50, stiffening=2, dispersion=0.1, fibre_angle_deg=90)
    known = physical.law({"kind": "gasser-ogden-holzapfel"} | fibres).keywords
    wanted = dict(shear_MPa=0.01, fibre_MPa=0.05, stiffening=2, dispersion=0.1, fibre_angle_rad=pi / 2)
    assert known == approx(wanted, rel=1e-15)
    assert parse(SLIT, Case, "a.yaml").closure.angle_deg == 60
    places = plan(parse(SLIT.replace("z-plasty", "z-plasty, angle_deg: 30"), Case, "a.yaml")).points
    assert places["A"] == approx((-10 + 20 * cos(pi / 6), 20 / 2))


def test_removed_area_of_a_plan():
    """With Burow's triangles: 15 x 15 mm and two of 15 x 15 / 2; the rhombus around a circle counts, not the circle."""
    advanced = SLIT.replace("kind: slit, length_mm: 20", "kind: square, side_mm: 15").replace("z-plasty", "advancement")
    assert geometry(parse(advanced, Case, "a.yaml"))["removed_area_mm2"] == approx(450)
    around = SLIT.replace("kind: slit, length_mm: 20", "kind: circle, diameter_mm: 15").replace("z-plasty", "rhombic")
    assert geometry(parse(around, Case, "a.yaml"))["removed_area_mm2"] == approx(2 / 3**0.5 * 225)


def test_reference_shows_every_key():
    """configs/reference.yaml reads, and each key and each word that the schema knows stands in it."""
    path = CONFIGS / "reference.yaml"
    assert read(path).name == "reference"
    known = schema()
    blocks = [known, *known["$defs"].values()]
    keys = {name for block in blocks for name in block["properties"]}
    values = [value for block in blocks for value in block["properties"].values()]
    words = {word for value in values for word in value.get("enum", [value["const"]] if "const" in value else [])}
    assert {"lens", "rhombus", "hinge", "neo-hooke", "running", "side-to-side"} <= words
    written = set(re.findall(r"[\w-]+", path.read_text()))
    assert keys | words <= written


def test_reference_comments_every_line():
    """Every line with a key has a comment."""
    lines = (CONFIGS / "reference.yaml").read_text().splitlines()
    assert [line for line in lines if line.strip() and "#" not in line] == []


def test_demo_cases():
    """The demo differs in the outline only; files are named after cases; natural tension is included."""
    cases = {path.stem: read(path) for path in sorted((CONFIGS / "demo").glob("*.yaml"))}
    assert {"circle-20", "lens-2-1", "lens-3-1", "lens-4-1", "rhombus-3-1"} <= cases.keys()
    assert all(case.name == stem for stem, case in cases.items())
    (skin,) = {case.skin for case in cases.values()}
    assert skin.tension.along_N_per_m > skin.tension.across_N_per_m > 0
    assert len({(case.bed, case.closure) for case in cases.values()}) == 1
    assert {geometry(case)["width_mm"] for case in cases.values()} == {20}
    assert geometry(cases["lens-3-1"])["length_to_width"] == 3


def test_schema_describes_every_key():
    """The JSON Schema is plain JSON, says a unit for every key that has one, and refuses unknown keys."""
    known = json.loads(json.dumps(schema()))
    for block in (known, *known["$defs"].values()):
        assert block["additionalProperties"] is False
        for name, value in block["properties"].items():
            for unit in re.findall(r"_((?:[^_]+_per_)?(?:mm|kPa|N|m|deg)\d?)$", name):
                assert unit.replace("_per_", "/").replace("deg", "degrees") in value["description"], name
    lens = known["$defs"]["lens"]["properties"]
    assert lens["length_mm"]["description"] == "tip to tip, mm"
    assert known["$defs"]["neo-hooke"]["properties"]["shear_kPa"]["exclusiveMinimum"] == 0
    assert known["required"] == ["name", "wound", "skin"]


@pytest.mark.parametrize(
    ("file", "present", "former"),
    [
        ("techniques/named-points", "technique: named-points", "technique: drawn"),
        ("outlines/traced", "kind: traced", "kind: drawn"),
    ],
)
def test_former_values_are_read(file, present, former, monkeypatch):
    """A value by its former name makes the same case, with a warning that has the present one."""
    monkeypatch.chdir(CONFIGS.parent)
    path = CONFIGS / f"{file}.yaml"
    written = path.read_text().replace(present, former)
    with pytest.warns(FutureWarning, match=rf"a.yaml:\d+:\d+: warning: '{former}' is called '{present}' now"):
        assert parse(written, Case, "a.yaml", folders=(Path("meshes"),)) == read(path)
