"""Documents: what is said about bad ones, and where; what reads from other editors."""

import re
import time

import pytest
from case_files import GOOD, SHORT, SLIT

from fem.case.case import Case, read
from fem.case.document import MAX_BYTES, parse
from fem.errors import BadCase

KINDS = (
    "allowed: circle, ellipse, lens, rhombus, tangent, teardrop, crescent, lazy-s, lens-with-m, triangle, square, "
    "slit, polygon, traced"
)

TWO_KEYS = "not YAML: a second 'key:' in one value; is it indented as its neighbours, with a space after each colon?"


def bad(written):
    """The heads of all messages about a text, without the lines shown below them."""
    with pytest.raises(BadCase) as caught:
        parse(written, Case, "a.yaml")
    return [line for line in str(caught.value).split("\n") if line.startswith("a.yaml")]


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
        "14",
    ]


@pytest.mark.parametrize(
    ("old", "new", "messages"),
    [
        # unknown and missing keys
        ("thickness_mm", "thicknes_mm", [
            "9:3: skin: missing key 'thickness_mm'; needed: thickness_mm, law; or a site, as forearm, which has both",
            "9:3: skin: unknown key 'thicknes_mm'; did you mean 'thickness_mm'? "
            "allowed: site, age_years, thickness_mm, law, tension"]),
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
        ("1.5", "1.5 mm", ["9:17: skin.thickness_mm: got '1.5 mm', wanted a number; write 1.5"]),
        ("1.5", "2mm", ["9:17: skin.thickness_mm: got '2mm', wanted a number; write 2"]),
        ("1.5", "1,5 mm", ["9:17: skin.thickness_mm: got '1,5 mm', wanted a number; write 1.5"]),
        ("1.5", "0.2 cm", ["9:17: skin.thickness_mm: got '0.2 cm', wanted a number"]),
        ("1.5", "1.5 kPa", ["9:17: skin.thickness_mm: got '1.5 kPa', wanted a number"]),
        ("1.5", "0x10", ["9:17: skin.thickness_mm: got '0x10', wanted a number"]),
        ("1.5", "[1.5]", ["9:17: skin.thickness_mm: got a list, wanted a number"]),
        ("1.5", "", ["9:3: skin.thickness_mm: got nothing, wanted a number"]),
        ("bench", "12", ["1:7: name: got 12, wanted text (a number needs quotes)"]),
        ("{radius_mm: 120}", "120", ["13:8: patch: got 120, wanted keys and values"]),
        ("{kind: lens, length_mm: 60, width_mm: 20}", "lens", [
            "3:12: wound.outline: got 'lens', wanted keys and values"]),
        # decimal commas
        ("1.5", "1,5", ["9:17: skin.thickness_mm: got '1,5', wanted a number; write 1.5"]),
        ("length_mm: 60", "length_mm: 60,5", [
            "3:39: wound.outline: unknown key '5'; if these are decimals, write a point before them; "
            "allowed: kind, length_mm, width_mm"]),
        # words of the trade
        ("kind: lens", "kind: fusiform", [f"3:19: wound.outline.kind: got 'fusiform'; did you mean 'lens'? {KINDS}"]),
        ("kind: lens", "kind: Elliptical", [
            f"3:19: wound.outline.kind: got 'Elliptical'; did you mean 'lens'? {KINDS}"]),
        ("  undermine_mm: 15\n", "  undermining: 15\n", [
            "6:3: closure: unknown key 'undermining'; did you mean 'undermine_mm'? allowed: technique, surplus, "
            "eased_mm, undermine_mm, undermine_upper_mm, undermine_lower_mm, undermine_points_mm, seam, sutures, "
            "taper, anchor"]),
        # a block whose kind is missing or wrong, the rest of it too
        ("kind: lens, length_mm: 60", "lenght: 60", [
            f"3:12: wound.outline: missing key 'kind'; {KINDS}",
            "3:13: wound.outline: unknown key 'lenght'; did you mean 'length_mm'?"]),
        ("kind: lens, length_mm: 60", "kind: fusiform, length: -60", [
            "3:12: wound.outline: missing key 'length_mm'; needed: kind, length_mm, width_mm",
            f"3:19: wound.outline.kind: got 'fusiform'; did you mean 'lens'? {KINDS}",
            "3:29: wound.outline: unknown key 'length'; did you mean 'length_mm', in mm? "
            "allowed: kind, length_mm, width_mm"]),
        ("  law: {kind: neo-hooke, shear_kPa: 33.3}\n", "", [
            "9:3: skin: missing key 'law'; needed: thickness_mm, law; or a site, as forearm, which has both"]),
        ("seam: hinge", "taper: {length_mm: 3, spacing_mm: 5, remaining_mm: 20}", [
            "7:37: closure.taper.spacing_mm: spacing_mm 5 leaves none within length_mm 3",
            "7:54: closure.taper.remaining_mm: remaining_mm 20 is more than twice offset_mm, 8"]),
        # numbers out of range
        ("1.5", ".nan", ["9:17: skin.thickness_mm: got nan, wanted a finite number"]),
        ("1.5", "1e999", ["9:17: got 1e999, wanted 0 or a size of 1e-15 to 1e+15"]),
        ("1.5", "1e103", ["9:17: got 1e103, wanted 0 or a size of 1e-15 to 1e+15"]),
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
        ("kind: lens, ", "", [
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


@pytest.mark.parametrize(
    ("written", "message"),
    [
        ("", ": empty"),
        ("# nothing but a comment\n", ": empty"),
        ("just words\n", ":1:1: got 'just words', wanted keys and values"),
        ("name: [a\nwound: b\n", ":1:7: not YAML: a comma or the ] that closes this is missing"),
        ("name: a\n\twound: b\n", ":2:1: not YAML: a tab; only spaces may be in front of a key or a value"),
        ("name: a\n   wound: b\n", ":2:9: " + TWO_KEYS),
        ("name: a\n wound: b\n", ":2:7: " + TWO_KEYS),
        ("a:\n  b: 1\n c: 2\n", ":3:2: not YAML: this line starts in another column than the others of its block"),
        ("name:a\nwound: b\n", ":2:6: " + TWO_KEYS),
        ("a: 1\nb:2\nc: 3\n", ":2:1: not YAML: no 'key: value'; a colon, then a space, is missing"),
        ("name: 'a\nwound: b\n", ":1:7: not YAML: a quotation mark that is not closed"),
        ("name: a\n---\nname: b\n", ":2:1: not YAML: but found another document"),
        ("name: é\nb: a\x00b\n", ":2:5: not YAML: unacceptable character #x0000: control characters are not allowed"),
        ('name: "\\U99999999"\n', ":1:10: not YAML: found invalid Unicode character escape code"),
        ("a: &x [1]\nb: *x\nc: *x\n", ":2:4: alias '*x' is not allowed; write the value"),
        ("a: !!python/object:os.system {}\n", ":1:4: tag '!!python/object:os.system' is not allowed"),
        ("a: " + "[" * 900, ":1:23: nested more than 20 deep"),
        ("a: " + "[" * 100_000, ":1:1003: not YAML: exceeded maximum nesting depth"),
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


@pytest.mark.parametrize(
    "written",
    [
        GOOD.replace("60, width", "6" * 40_000 + "a, width"),
        GOOD.replace("60, width", "[" + "1," * 60_000 + "], width"),
        "".join(f"key{i}: 1\n" for i in range(15_000)),
        "- " * 60_000,
    ],
    ids=["digits", "list", "keys", "depth"],
)
def test_large_and_bad(written):
    """What is as large as a file may be is refused in less than 2 s, as is a number of 40,000 digits and a letter."""
    start = time.process_time()
    with pytest.raises(BadCase, match=r"a\.yaml:\d+:\d+: "):
        parse(written, Case, "a.yaml")
    assert time.process_time() - start < 2


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
    assert parse(island + "bed: {pull_kPa_per_mm: 1, shear_kPa_per_mm: 0.1}\n", Case, "a.yaml").bed is not None
