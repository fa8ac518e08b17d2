"""Case files: what they become, their defaults and warnings, and the reference and schema that describe them."""

import json
import re
from math import cos, pi
from pathlib import Path

import pytest
from case_files import GOOD, SHORT, SLIT
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx

from fem.case import physical
from fem.case.case import Case, geometry, key, read, schema, text, warnings
from fem.case.document import LEAST, parse
from fem.case.physical import plan
from fem.cli.printing import report

CONFIGS = Path(__file__).parents[2] / "configs"


def test_every_value_arrives():
    """What is written is what the case holds; whole numbers are numbers too."""
    case = parse(GOOD, Case, "a.yaml")
    assert (case.name, case.closure.seam, case.closure.undermine_mm) == ("bench", "hinge", 15)
    assert (case.wound.outline.kind, case.wound.outline.length_mm) == ("lens", 60)
    assert (case.wound.lesion.diameter_mm, case.wound.lesion.margin_mm) == (12, 4)
    assert (case.skin.thickness_mm, case.skin.law.kind, case.skin.law.shear_kPa) == (1.5, "neo-hooke", 33.3)
    assert (case.skin.tension.along_N_per_m, case.skin.tension.lines_deg) == (20, 0)
    assert (case.bed.pull_kPa_per_mm, case.bed.shear_kPa_per_mm) == (1, 0.1)
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
    assert (case.mesh.edge_mm, case.mesh.tip_mm, case.mesh.far_mm) == approx((2, 0.3, 20))
    assert plan(case).undermined is None


BEDDING = "bed: {pull_kPa_per_mm: 1, shear_kPa_per_mm: 0.1}\n"
SOFT = "bed: {pull_kPa_per_mm: 1e-4, shear_kPa_per_mm: 1e-5}\n"
BED = {"pull_kPa_per_mm": 1, "shear_kPa_per_mm": 0.1}


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


@pytest.mark.parametrize(
    ("bed", "limit"), [("", 4.7006 * 100 * 8 / 9 / 100**2), (SOFT, 2 * (1e-4 * 100 * 8 / 9) ** 0.5)]
)
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


@pytest.mark.parametrize(("closure", "edge"), [("undermine_mm: 0", 1.456), ("undermine_mm: 20", 2.4)])
def test_triangles_that_show_waves(closure, edge):
    """Not undermined, thin slack skin of a forearm folds in waves; by default a fifth of one holds an edge, at most.

    2 pi (D/k)^(1/4) with D = E h^3/9 of unstretched skin, E = 3 mu; here mu = 2 kPa, h = 0.3 mm, k = 0.01 kPa/mm.
    """
    wave = 2 * pi * (3 * 2 * 0.3**3 / 9 / 0.01) ** 0.25
    made = parse(
        "name: a\nwound: {outline: {kind: circle, diameter_mm: 24}}\n"
        "skin: {thickness_mm: 0.3, law: {kind: neo-hooke, shear_kPa: 2}}\n"
        f"bed: {{pull_kPa_per_mm: 0.01, shear_kPa_per_mm: 0.005}}\nclosure: {{{closure}}}\n",
        Case,
        "a.yaml",
    )
    assert made.mesh.edge_mm == approx(edge, rel=1e-3)
    assert wave / 5 == approx(1.456, rel=1e-3)
    assert not any("waves" in line for line in warnings(made))
    larger = made.model_copy(update={"mesh": made.mesh.model_copy(update={"edge_mm": 2 * edge})})
    assert any(f"waves {wave:.3g} mm long" in line for line in warnings(larger)) == (edge < 2)


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
    assert lines[0] == "bench: case, lens, side-to-side"
    assert "  tip angles        73.74, 73.74 °" in lines
    assert "  length to width   3.000" in lines
    assert "  removed area      817.51 mm²" in lines


@pytest.mark.slow
@given(
    st.sampled_from(["ellipse", "lens", "rhombus", "tangent"]),
    st.tuples(st.floats(20, 200), st.floats(20, 200)).map(sorted),
    st.floats(1e-3, 1e3),
    st.floats(0, 40).filter(lambda size: size == 0 or size > LEAST),
    st.sampled_from(["continuous", "hinge"]),
    st.floats(-180, 180).filter(lambda size: size == 0 or abs(size) > LEAST),
)
def test_resolved_case_reads_back(kind, axes, shear, undermine, seam, lines):
    """The resolved case as YAML gives an equal case with the same key, whatever the digits of its numbers."""
    width, length = axes
    written = SHORT.replace("33.3}", f"{shear!r}}}, tension: {{lines_deg: {lines!r}}}")  # before a width
    written = written.replace("circle, diameter_mm: 20", f"{kind}, length_mm: {length!r}, width_mm: {width!r}")
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


def test_default_mesh_follows_the_wound():
    """A circle of a quarter the size gets the same mesh, a quarter the size."""
    sizes = [parse(SHORT.replace("20}", f"{d}}}"), Case, "a.yaml").mesh for d in (20, 5)]
    assert [sizes[0].edge_mm, sizes[0].far_mm] == approx([4 * sizes[1].edge_mm, 4 * sizes[1].far_mm])


def test_default_mesh_of_a_needle():
    """A lens 100 times as long as wide: 40 segments to its length, where a tenth of its width would take 1000."""
    written = SHORT.replace("{kind: circle, diameter_mm: 20}", "{kind: lens, length_mm: 100, width_mm: 1}")
    assert parse(written, Case, "a.yaml").mesh.edge_mm == approx(100 / 40)


def test_slit():
    """No width and no area; a tenth of its length is a triangle's size."""
    case = parse(SLIT, Case, "a.yaml")
    known = geometry(case)
    assert (known["width_mm"], known["length_to_width"], known["removed_area_mm2"]) == (0, None, 0)
    assert case.mesh.edge_mm == 2
    assert "  length to width   none\n" in report(case)


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
