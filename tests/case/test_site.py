"""The library of sites: complete, traceable, and what a case that names an entry becomes."""

import json
import re
import subprocess
import sys
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from pytest import approx
from scipy.optimize import minimize_scalar

from fem.case.case import Case, key, schema, text, warnings
from fem.case.document import parse
from fem.case.site import LIBRARY, SITES, STRETCHES, TENSIONS, law, springs, undermining, values
from fem.cli.printing import site, sites
from fem.errors import BadCase

ROOT = Path(__file__).parents[2]
WOUND = "name: a\nwound: {outline: {kind: lens, length_mm: 30, width_mm: 10}}\n"
ALLOWED = "allowed: " + ", ".join(SITES)
UNITS = ("_mm", "_kPa", "_N_per_m", "_stretch", "exponent", "poisson")


def case(skin, rest=""):
    """A small lens on the skin that a YAML mapping describes."""
    return parse(f"{WOUND}skin: {skin}\n{rest}\nclosure: {{undermine_mm: 0}}", Case, "a.yaml")


def bad(skin, rest=""):
    """First lines of the complaints about such a case."""
    with pytest.raises(BadCase) as caught:
        case(skin, rest)
    return [line for line in str(caught.value).split("\n") if line.startswith("a.yaml")]


def flatseam(*words):
    """What a command prints, and its exit code."""
    asked = [sys.executable, "-c", "from fem.cli.cli import main; main()", *map(str, words)]
    done = subprocess.run(asked, capture_output=True, text=True, cwd=ROOT, check=False)
    return done.stdout, done.stderr, done.returncode


# The library ----------------------------------------------------------------------------------------------


def test_sites_and_materials():
    """The sites where skin is most often excised, and three materials that need no patient."""
    assert set(LIBRARY.sites) >= {
        "forearm", "upper-arm", "back", "abdomen", "thigh", "buttock", "scalp", "cheek", "forehead", "lower-leg"
    }  # fmt: skip
    assert set(LIBRARY.bench) >= {"cotton-towel", "foam-sheet", "silicone-pad"}


@pytest.mark.parametrize("name", SITES)
def test_every_value_is_complete(name):
    """Units in the names of keys; ranges in order; a source; a tag; a paper wherever one was read."""
    known = values(SITES[name])
    for dotted, value in known.items():
        assert dotted.endswith(UNITS)
        assert 0 <= value.low <= value.typical <= value.high
        assert value.tag in ("read", "from memory", "our choice")
        assert len(value.source.split()) >= 3
        assert value.tag != "read" or any(paper in value.source for paper in LIBRARY.papers)


@pytest.mark.parametrize("name", LIBRARY.sites)
def test_a_site_is_stretched_and_lies_on_fat(name):
    """Skin of a body is stretched, most along the lines, is under tension, and lies on fat."""
    known = values(SITES[name])
    along, across = (known[stretch].typical for stretch in STRETCHES)
    assert along > across > 1
    assert {TENSIONS[0], "bed.fat_mm", "bed.fat_shear_kPa"} <= known.keys()


def test_every_paper_is_cited_and_every_citation_has_a_paper():
    """No paper stands there for nothing, and no year in a source lacks its paper."""
    entries = LIBRARY.anywhere, *SITES.values()
    told = [value.source for entry in entries for value in values(entry).values()]
    told += [undermining(entry).source for entry in entries]
    told += [entry.body.radius_mm.source for entry in entries if entry.body]
    told += [value.source for value in (*LIBRARY.age.values(), SITES["forearm"].young_kPa, SITES["back"].young_kPa)]
    assert [paper for paper in LIBRARY.papers if not any(paper in source for source in told)] == []
    cited = {name for source in told for name in re.findall(r"[A-ZÀ-Ý]\w+(?: [A-ZÀ-Ý]\w+)? (?:19|20)\d\d", source)}
    assert cited and all(any(name in paper for paper in LIBRARY.papers) for name in cited)


def test_reference_names_every_site():
    """configs/reference.yaml lists what `site` may be."""
    assert set(SITES) <= set(re.findall(r"[\w-]+", (ROOT / "configs" / "reference.yaml").read_text()))


# Fat ------------------------------------------------------------------------------------------------------


def lifting(x):
    """Normal stiffness k_n H / G of an incompressible layer of thickness 1 below skin that takes the wave cos(x s).

    Displacements W(z) cos(x s) upwards and -W'(z)/x sin(x s) along s keep the volume; equilibrium then asks for
    W'''' - 2 x^2 W'' + x^4 W = 0. Both faces stick: W = W' = 0 below; W = 1, W' = 0 above, where the traction is
    -W'''/x^2.
    """

    def basis(z):  # columns: cosh, z cosh, sinh, z sinh; rows: the function and its first three derivatives
        c, s = np.cosh(x * z), np.sinh(x * z)
        return np.array([
            [c, z * c, s, z * s],
            [x * s, c + z * x * s, x * c, s + z * x * c],
            [x**2 * c, 2 * x * s + z * x**2 * c, x**2 * s, 2 * x * c + z * x**2 * s],
            [x**3 * s, 3 * x**2 * c + z * x**3 * s, x**3 * c, 3 * x**2 * s + z * x**3 * c],
        ])  # fmt: skip

    held = np.vstack([basis(0)[:2], basis(1)[:2]])
    return -float(basis(1)[3] @ np.linalg.solve(held, [0, 0, 1, 0]) / x**2)


@pytest.mark.parametrize("x", [0.1, 1.0, 2.5, 8.0])
def test_layer_of_fat(x):
    """The closed form in the README, and its limits 12/x^2 for long and 2x for short waves."""
    closed = 2 * x * (np.sinh(2 * x) + 2 * x) / (np.cosh(2 * x) - 1 - 2 * x**2)
    assert lifting(x) == approx(closed, rel=1e-5)  # cosh 2x - 1 - 2x^2 loses ten digits at x = 0.1
    assert lifting(0.01) == approx(12 / 0.01**2, rel=1e-3)
    assert lifting(12) == approx(24, rel=1e-3)


def test_springs_of_fat():
    """Hooke's law of a block: no strain across when confined, no stress across when free.

    10 mm of 0.5 kPa with nu = 0.49 give 2.55, 0.149 and 0.05 kPa/mm. A bonded layer holds any wave by 6.5 G/H at least.
    """
    G, nu, H = 0.5, 0.49, 10.0
    bulk = 2 * G * (1 + nu) / (3 * (1 - 2 * nu))
    stiffness = np.full((3, 3), bulk - 2 * G / 3) + 2 * G * np.eye(3)
    free = 1 / np.linalg.inv(stiffness)[0, 0]
    assert springs(fat_mm=H, fat_shear_kPa=G, fat_poisson=nu) == approx((stiffness[0, 0] / H, free / H, G / H))
    assert (stiffness[0, 0] / H, free / H) == approx((2.55, 0.149))
    least = minimize_scalar(lifting, bracket=(1, 2, 4))
    assert (least.fun, least.x) == (approx(6.5, abs=0.05), approx(2.45, abs=0.02))


def test_bed_from_fat_without_a_site():
    """Springs left out follow from fat; springs that are given stand."""
    skin = "{thickness_mm: 2, law: {kind: neo-hooke, shear_kPa: 40}}"
    both = case(skin, "bed: {fat_mm: 10, fat_shear_kPa: 0.5}\n").bed
    one = case(skin, "bed: {fat_mm: 10, fat_shear_kPa: 0.5, pull_kPa_per_mm: 2}\n").bed
    assert (both.push_kPa_per_mm, both.pull_kPa_per_mm, both.shear_kPa_per_mm) == approx((2.55, 0.149, 0.05))
    assert (one.pull_kPa_per_mm, one.shear_kPa_per_mm) == approx((2, 0.05))


# A case that names a site ---------------------------------------------------------------------------------


@pytest.mark.parametrize("name", SITES)
def test_a_site_is_enough(name):
    """All typical values arrive, nothing is unusual about them, and the resolved case reads back."""
    made = case(f"{{site: {name}}}")
    skin, entry = made.skin, SITES[name]
    assert (skin.thickness_mm, skin.law.kind) == (entry.thickness_mm.typical, law(entry).kind)
    assert {p: getattr(skin.law, p) for p in law(entry).parameters} == {
        p: value.typical for p, value in law(entry).parameters.items()
    }
    follow = {"skin.law.shear_kPa", *(TENSIONS if entry.stretch else [])}
    assert set(made.from_site) == {"skin.law.kind", *follow, *values(entry)} - set(STRETCHES)
    assert warnings(made) == []
    again = parse(text(made), Case, "b.yaml")
    assert (again, key(again)) == (made, key(made))


def test_a_body_has_tension_and_bed_a_bench_has_none():
    """Forearm: tension from the library, springs from 4 mm of 0.53 kPa. Silicone pad: neither."""
    arm, pad = case("{site: forearm}"), case("{site: silicone-pad}")
    assert (arm.skin.tension.along_N_per_m, arm.skin.tension.across_N_per_m) == approx((8.8, 4.25), rel=1e-3)
    assert (arm.bed.pull_kPa_per_mm, arm.bed.shear_kPa_per_mm) == approx((2.98 * 0.53 / 4, 0.53 / 4))
    assert (pad.skin.tension.along_N_per_m, pad.skin.tension.across_N_per_m, pad.bed) == (0, 0, None)


@pytest.mark.parametrize(
    ("skin", "rest", "dotted", "value"),
    [
        ("thickness_mm: 1.2", "", "skin.thickness_mm", 1.2),
        ("law: {shear_kPa: 50}", "", "skin.law.shear_kPa", 50),
        ("law: {kind: ogden}", "", "skin.law.kind", "ogden"),
        ("tension: {along_N_per_m: 7}", "", "skin.tension.along_N_per_m", 7),
        ("tension: {across_N_per_m: 5}", "", "skin.tension.across_N_per_m", 5),
        ("", "bed: {fat_mm: 6}", "bed.fat_mm", 6),
        ("", "bed: {fat_shear_kPa: 0.6}", "bed.fat_shear_kPa", 0.6),
    ],
)
def test_one_value_overrides(skin, rest, dotted, value):
    """What the case writes wins, all else is the site's, and `from_site` tells which is which."""
    plain, made = case("{site: forearm}"), case(f"{{site: forearm, {skin}}}", rest)
    assert set(plain.from_site) - set(made.from_site) == {dotted}
    follow = {"skin.law.shear_kPa", *TENSIONS} - {dotted}
    for name in set(plain.from_site) - follow:
        *path, last = name.split(".")
        block, origin = made, plain
        for part in path:
            block, origin = getattr(block, part), getattr(origin, part)
        assert getattr(block, last) == (value if name == dotted else getattr(origin, last))
    again = parse(text(made), Case, "b.yaml")
    assert (again, key(again)) == (made, key(made))


@pytest.mark.parametrize(
    ("rest", "normal", "shear", "taken"),
    [
        ("bed: {pull_kPa_per_mm: 2, shear_kPa_per_mm: 0.3}", 2, 0.3, set()),
        ("bed: {pull_kPa_per_mm: 2}", 2, 0.53 / 4, {"bed.fat_mm", "bed.fat_shear_kPa", "bed.fat_poisson"}),
    ],
)
def test_springs_override_fat(rest, normal, shear, taken):
    """Springs that the case gives stand; fat is taken from the site only if it still decides something."""
    made = case("{site: forearm}", rest)
    assert (made.bed.pull_kPa_per_mm, made.bed.shear_kPa_per_mm) == approx((normal, shear))
    assert {name for name in made.from_site if name.startswith("bed.")} == taken
    assert parse(text(made), Case, "b.yaml") == made


def test_nothing_below_a_site():
    """`bed: null` takes the bed away, and stays so when the resolved case is read."""
    made = case("{site: forearm}", "bed: null\n")
    assert made.bed is None
    assert parse(text(made), Case, "b.yaml") == made


def test_lines_leave_the_tension():
    """The direction of the lines is the case's own; the tension stays the site's."""
    tension = case("{site: back, tension: {lines_deg: 45}}").skin.tension
    assert (tension.along_N_per_m, tension.across_N_per_m, tension.lines_deg) == approx((40, 19.32, 45), rel=1e-3)


def test_a_site_and_the_same_values_give_the_same_skin():
    """A site is nothing but its values: the case with them written out differs in `site` and `from_site` only."""
    made = case("{site: forearm}")
    content = json.loads(made.model_dump_json(exclude_none=True, exclude={"from_site": True, "skin": {"site"}}))
    written = parse(json.dumps(content), Case, "b.yaml")
    assert written.model_dump(exclude={"from_site": True, "skin": {"site"}}) == made.model_dump(
        exclude={"from_site": True, "skin": {"site"}}
    )
    assert key(written) != key(made)


def test_schema_knows_the_short_form():
    """Editors accept a site alone, a complete skin, and neither half a skin nor an unknown site."""
    known = jsonschema.Draft202012Validator(schema())
    content = {"name": "a", "wound": {"outline": {"kind": "circle", "diameter_mm": 20}}}
    whole = {"thickness_mm": 2, "law": {"kind": "neo-hooke", "shear_kPa": 40}}
    assert [
        known.is_valid(content | {"skin": skin})
        for skin in ({"site": "scalp"}, whole, {"thickness_mm": 2}, {"site": "scape"})
    ] == [True, True, False, False]


# Bad and unusual input ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("skin", "rest", "message"),
    [
        ("{site: forarm}", "", f"3:14: skin.site: got 'forarm'; did you mean 'forearm'? {ALLOWED}"),
        ("{site: 5}", "", f"3:14: skin.site: got 5; {ALLOWED}"),
        ("{site: [back]}", "", f"3:14: skin.site: got a list; did you mean 'back'? {ALLOWED}"),
        ("{sight: back, thickness_mm: 2, law: {kind: neo-hooke, shear_kPa: 40}}", "",
         "3:8: skin: unknown key 'sight'; did you mean 'site'? allowed: site, age_years, thickness_mm, law, tension"),
        ("{site: back, thickness_mm: 0}", "", "3:34: skin.thickness_mm: got 0, wanted greater than 0"),
        ("{site: back, thickness_mm: }", "", "3:20: skin.thickness_mm: got nothing, wanted a number"),
        ("{site: back, law: {kind: gasser-ogden-holzapfel, stiffening: 1, dispersion: 0.1, fibre_angle_deg: 0,"
         " fibre_kPa: 3}}", "", "3:25: skin.law: missing key 'shear_kPa'; "
         "needed: kind, shear_kPa, fibre_kPa, stiffening, dispersion, fibre_angle_deg"),
        ("{site: back, law: {exponent: 0}}", "", "3:36: skin.law.exponent: got 0, wanted -50 to -1, or 1 to 50"),
        ("{site: back, age_years: 200}", "", "3:31: skin.age_years: got 200, wanted less than or equal to 120"),
        ("{thickness_mm: 2, age_years: 20, law: {kind: neo-hooke, shear_kPa: 40}}", "",
         "3:36: skin.age_years: needed: a site, whose natural stretch it changes"),
        ("{site: back, law: stiff}", "", "3:25: skin.law: got 'stiff', wanted keys and values"),
        ("{site: back}", "bed: {fat_mm: 0}", "4:15: bed.fat_mm: got 0, wanted greater than 0"),
        ("{site: back}", "bed: {fat_cm: 1}",
         "4:7: bed: unknown key 'fat_cm'; did you mean 'fat_mm', in mm? "
         "allowed: fat_mm, fat_shear_kPa, fat_poisson, push_kPa_per_mm, pull_kPa_per_mm, shear_kPa_per_mm"),
        ("{site: foam-sheet}", "bed: {fat_mm: 8}",
         "4:6: bed: needed: pull_kPa_per_mm and shear_kPa_per_mm, or fat_mm and fat_shear_kPa"),
        ("{thickness_mm: 2, law: {kind: neo-hooke, shear_kPa: 40}}", "from_site: [skin.thickness_mm]",
         "4:12: from_site: no key that a case without skin.site fills: skin.thickness_mm"),
        ("{site: back, thickness_mm: 2, law: {kind: neo-hooke, shear_kPa: 40}}", "from_site: [skin.colour]",
         "4:12: from_site: no key that back fills: skin.colour"),
    ],
)  # fmt: skip
def test_bad_input(skin, rest, message):
    """One complaint each, at its place; an unknown site brings no others about what it would have filled."""
    assert bad(skin, rest) == [f"a.yaml:{message}"]


@pytest.mark.parametrize(
    ("skin", "rest", "warning"),
    [
        ("{site: forearm, thickness_mm: 1.5}", "",
         "skin.thickness_mm 1.5 is outside 0.9 to 1.3 of forearm (from memory: "),
        ("{site: forearm, law: {exponent: 15}}", "",
         "skin.law.exponent 15 is outside 9 to 12 of forearm (from memory: "),
        ("{site: forearm, tension: {along_stretch: 1.5}}", "",
         "skin.tension.along_stretch 1.5 is outside 1.067 to 1.387 of forearm (read: "),
        ("{site: forearm, tension: {along_N_per_m: 60}}", "",
         "skin.tension.along_stretch 1.491 is outside 1.067 to 1.387 of forearm (read: "),
        ("{site: forearm, age_years: 30, tension: {along_N_per_m: 9}}", "",
         "skin.age_years changes nothing, for tension or stretch is given"),
        ("{site: abdomen}", "bed: {fat_mm: 50}", "bed.fat_mm 50 is outside 3.61 to 16.69 of abdomen (read: "),
        ("{thickness_mm: 9, law: {kind: neo-hooke, shear_kPa: 40}}", "",
         "skin.thickness_mm 9 is outside 0.3 to 5.9 of skin of any site (read: "),
    ],
)  # fmt: skip
def test_unusual_values_are_accepted_with_a_warning(skin, rest, warning):
    """The value, the range, whose it is, and its source."""
    made = case(skin, rest)
    (line,) = warnings(made)
    assert line.startswith(warning)


def test_a_value_that_is_not_the_sites():
    """A resolved case that was changed by hand, or by a new library, says so; thicker skin is stretched less too."""
    written = text(case("{site: forearm}")).replace("thickness_mm: 1.1", "thickness_mm: 1.2")
    thickness, *stretch = warnings(parse(written, Case, "a.yaml"))
    assert thickness == "skin.thickness_mm 1.2 is said to be from forearm, where it is 1.1"
    assert [line.split()[0] for line in stretch] == STRETCHES


@pytest.mark.parametrize(("skin", "usual"), [("site: scalp", "10 to 150 mm, 50"), ("site: back", "10 to 20 mm, 15")])
def test_undermining_left_out(skin, usual):
    """That nothing is undermined is said unless the case says so itself, with what is usual there."""
    (line,) = warnings(parse(f"{WOUND}skin: {{{skin}}}\n", Case, "a.yaml"))
    assert line.startswith("closure.undermine_mm is left out") and usual in line and "read" in line
    for undermined in ("undermine_mm: 0", "undermine_upper_mm: 5", "undermine_points_mm: [[-9, -9], [9, -9], [0, 15]]"):
        made = parse(f"{WOUND}skin: {{{skin}}}\nclosure: {{{undermined}}}\n", Case, "a.yaml")
        assert not any("left out" in line for line in warnings(made))
    assert warnings(parse(f"{WOUND}skin: {{site: silicone-pad}}\n", Case, "a.yaml")) == []  # on no bed


# The commands ---------------------------------------------------------------------------------------------


def test_sites_prints_a_plain_table():
    """Piped: a head and a line an entry, in columns, without colours or frames."""
    printed, errors, code = flatseam("sites")
    head, *lines = [line.rstrip() for line in printed.splitlines()]
    assert (errors, code, "\x1b" in printed) == ("", 0, False)
    assert re.split(r"\s{2,}", head.strip())[:3] == ["site", "mm", "E kPa"]
    assert [tuple(re.split(r"\s{2,}", line.strip())) for line in lines] == sites()
    assert (
        lines[0].split() == "forearm 1.1 20.3 1.206 x 1.114 8.8 x 4.249 73.87 x 36.65 ogden, 6.759 kPa 4 0.53".split()
    )


@pytest.mark.parametrize("name", SITES)
def test_one_entry_with_its_sources(name):
    """Every value with its range, tag and source, and the papers in full, within the width."""
    printed = site(name, columns=70)
    flowing = " ".join(printed.split())
    assert max(map(len, printed.splitlines())) <= 70
    body = {"patch.surface.radius_mm": SITES[name].body.radius_mm} if SITES[name].body else {}
    for dotted, value in (values(SITES[name]) | body).items():
        line = f"{dotted} {value.typical:g} {value.low:g} to {value.high:g} {value.tag} {value.source}"
        assert line in flowing
        assert all(f"{paper}: {full}" in flowing for paper, full in LIBRARY.papers.items() if paper in value.source)


def test_sites_names_the_nearest():
    """An unknown entry ends with code 2, the nearest name and all names; help shows an example."""
    assert flatseam("sites", "forehaed") == (
        "", f"flatseam sites: no site 'forehaed'; did you mean 'forehead'? {ALLOWED}\n", 2
    )  # fmt: skip
    assert flatseam("sites", "cheek")[0].startswith("cheek: Middle of the cheek.\n  skin.law.kind")
    assert "flatseam sites forearm" in flatseam("sites", "--help")[0]


def test_check_prints_warnings(tmp_path):
    """Unusual values do not stop a case: geometry to standard output, the warning beside it, code 0."""
    path = tmp_path / "a.yaml"
    path.write_text(f"{WOUND}skin: {{site: forearm, thickness_mm: 1.5}}\nclosure: {{undermine_mm: 0}}\n")
    printed, warned, code = flatseam("check", path)
    assert printed.startswith("a: case, lens, side-to-side\n")
    assert warned.startswith(f"{path}: warning: skin.thickness_mm 1.5 is outside 0.9 to 1.3 of forearm (from memory: ")
    assert (warned.count("\n"), code) == (1, 0)


# Bodies -----------------------------------------------------------------------------------------------------


def test_body_of_a_site():
    """Only if the case asks; it is then as if it had been written. Without a site that has one the word is refused."""
    written = f"{WOUND}skin: {{site: SITE}}\npatch: {{radius_mm: 60, surface: site}}\n"
    limb = parse(written.replace("SITE", "forearm"), Case, "a.yaml")
    assert (limb.patch.surface.kind, limb.patch.surface.radius_mm) == ("cylinder", 41)
    assert not any(key.startswith("patch") for key in limb.from_site)
    assert parse(written.replace("SITE", "scalp"), Case, "a.yaml").patch.surface.kind == "sphere"
    with pytest.raises(BadCase, match=r"a.yaml:\d+:33: patch.surface: needed for a surface like the site's: skin.site"):
        parse(written.replace("SITE", "cotton-towel"), Case, "a.yaml")
    assert (
        parse(written.replace("SITE", "forearm").replace(", surface: site", ""), Case, "a.yaml").patch.surface is None
    )


def test_taut_skin_on_a_body_needs_a_bed():
    """What it presses with must be borne; slack skin presses with nothing."""
    skin = "{thickness_mm: 2, law: {kind: neo-hooke, shear_kPa: 33}TENSION}"
    written = f"{WOUND}skin: {skin}\npatch: {{radius_mm: 60, surface: {{kind: sphere, radius_mm: 85}}}}\n"
    with pytest.raises(BadCase, match="patch: taut skin on a curved body presses on what lies below"):
        parse(written.replace("TENSION", ", tension: {along_N_per_m: 9}"), Case, "a.yaml")
    assert parse(written.replace("TENSION", ""), Case, "a.yaml").patch.surface.radius_mm == 85


@pytest.mark.parametrize(
    ("surface", "message"),
    [
        ("{kind: cylinder, radius_mm: 0}", "patch: radius_mm 0: wanted 2 mm or more"),
        ("{kind: cylinder, radius_mm: 15}", "patch: a patch with radius_mm 60 wraps onto itself"),
        ("{kind: sphere, radius_mm: 20}", "patch: a patch with radius_mm 60 distorts lengths by more than 50 %"),
        ("{kind: cone, radius_mm: 20}", "patch.surface.kind: got 'cone'"),
    ],
)
def test_bodies_that_are_refused(surface, message):
    with pytest.raises(BadCase, match=rf"a.yaml:\d+:\d+: {message}"):
        parse(f"{WOUND}skin: {{site: forearm}}\npatch: {{radius_mm: 60, surface: {surface}}}\n", Case, "a.yaml")


def test_as_wide_as_the_body_carries():
    """On a head, undermined by 50 mm, the patch is the widest that a sphere carries; by 80 mm too little is left.

    On a flat patch, and where the head is wide enough, it is as wide as the wound asks.
    """

    def radius(undermined, surface):
        wound = "name: a\nwound: {outline: {kind: circle, diameter_mm: 25}}\n"
        rest = f"closure: {{undermine_mm: {undermined}}}\nskin: {{site: scalp}}\npatch: {{surface: {surface}}}\n"
        return parse(wound + rest, Case, "a.yaml").patch.radius_mm

    assert (radius(50, "site"), radius(50, "null")) == (160, 201.9)
    assert radius(5, "site") == radius(5, "null")
    with pytest.raises(BadCase, match=r"radius_mm 2\d\d\S* distorts .*; wanted radius_mm 160 or less"):
        radius(80, "site")


def test_far_around_a_limb():
    """More than half of a limb's girth is told, and so is a plan that is much distorted."""
    limb, ball = (
        parse(f"{WOUND}skin: {{site: forearm}}\npatch: {{radius_mm: {body}}}\n", Case, "a.yaml")
        for body in ("70, surface: site", "45, surface: {kind: sphere, radius_mm: 26}")
    )
    assert any("goes around 0.54 of such a limb" in line for line in warnings(limb))
    assert any("lengths of the plan are up to" in line for line in warnings(ball))
