"""Every technique of configs/techniques, closed: stable on three skins, with cones where the ledger forecasts them."""

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from pytest import approx
from scipy.spatial import cKDTree

from fem.case import case as cases
from fem.case.document import parse
from fem.closure.closing import closed, patch
from fem.closure.measure import measures
from fem.closure.measures.cones import cones
from fem.mechanics.quadratic import interpolated
from fem.mechanics.triangulation import quality
from fem.plan.junctions import junctions
from fem.plan.techniques import TECHNIQUES

CONFIGS = Path(__file__).parents[2] / "configs" / "techniques"
NAMES = [name for name in TECHNIQUES if name != "named-points"]  # that file is the z-plasty once more
SKINS = {  # soft and slack; that of the demo; stiff and under high tension; all invented
    "loose": """\
skin: {thickness_mm: 1.5, law: {kind: neo-hooke, shear_kPa: 15}}
bed: {pull_kPa_per_mm: 0.3, shear_kPa_per_mm: 0.03}
""",
    "typical": """\
skin: {thickness_mm: 2, law: {kind: neo-hooke, shear_kPa: 33.3}, tension: {along_N_per_m: 12, across_N_per_m: 6}}
bed: {pull_kPa_per_mm: 1.0, shear_kPa_per_mm: 0.1}
""",
    "tight": """\
skin: {thickness_mm: 2.5, law: {kind: neo-hooke, shear_kPa: 60}, tension: {along_N_per_m: 40, across_N_per_m: 25}}
bed: {pull_kPa_per_mm: 1.0, shear_kPa_per_mm: 0.1}
""",
}
EDGE = {"trimmed": 2.3, "bilobed": 2.3, "two-sided-advancement": 2.7, "v-y": 2.0}  # which have short edges
OTHERS = 3.2  # mm, edges of the others' triangles
COARSE = "patch: {{radius_mm: 80}}\nmesh: {{edge_mm: {0}, tip_mm: {0}, far_mm: 18}}\n"
DEGREE = np.pi / 180


@cache
def result(name, skin):
    """The closure of a technique's case in another skin, on coarse triangles."""
    wound_and_closure = (CONFIGS / f"{name}.yaml").read_text().split("skin: ")[0]
    size = COARSE.format(EDGE.get(name, OTHERS))
    return closed(parse(wound_and_closure + SKINS[skin] + size, cases.Case, name))


@cache
def numbers(name, skin):
    """Its measures."""
    return measures(result(name, skin))


def pull(name, skin):
    """What closes it, N: across the seams, or in the thread around it."""
    found = numbers(name, skin)
    return found["purse_force_N" if name == "purse-string" else "closing_force_N"]


def forecast(closure):
    """Angle deficit of the plan at each tip of a closure, radians."""
    deficit = {tuple(m.places[:, 0].round(3)): m.deficit for m in junctions(closure.plan) if m.angles.size == 1}
    return np.array([deficit[tuple(place)] for place in closure.mesh.X[:, closure.mesh.tips].round(3).T])


def test_one_case_a_technique():
    """configs/techniques holds a case for each, named after it."""
    found = {path.stem: cases.read(path) for path in CONFIGS.glob("*.yaml")}
    assert found.keys() >= set(TECHNIQUES)
    assert all(found[name].closure.technique == found[name].name == name for name in TECHNIQUES)


@pytest.mark.parametrize("name", ["bilobed", "rotation"])
def test_curved_cuts_are_drawn_at_any_size(name):
    """At default sizes, and half and twice: the chords of one side of a bent cut do not cross those of the other."""
    case = cases.read(CONFIGS / f"{name}.yaml")
    for factor in (0.5, 1.0, 2.0):
        sizes = {key: factor * size for key, size in case.mesh.model_dump().items()}
        triangles = patch(case.model_copy(update={"mesh": case.mesh.model_copy(update=sizes)}))
        assert quality(triangles)[0] > 20


@pytest.mark.slow
@pytest.mark.parametrize("skin", SKINS)
@pytest.mark.parametrize("name", NAMES)
def test_closes(name, skin):
    """At its default sizes, to a stable equilibrium: no negative pivots, what is sewn is shut, and something pulls."""
    closure = result(name, skin)
    assert closure.effort.negative_pivots == 0
    assert numbers(name, skin)["self_intersection_mm2"] == 0
    first, second = closure.mesh.pairs
    assert closure.x[:, first] == approx(closure.x[:, second], abs=1e-9)
    assert pull(name, skin) > 0


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_tighter_skin(name):
    """From loose over typical to tight skin, stiffer and under more tension, pull and energy at least double.

    Shear moduli times thickness are as 1 to 3 to 6.7. Tension draws cones flat: the tight skin keeps less than a third.
    """
    pulls, energies, heights = (
        np.array(values)
        for values in zip(
            *((pull(name, skin), *(numbers(name, skin)[key] for key in ("strain_energy_mJ", "cone_height_mm")))
              for skin in SKINS), strict=True,
        )
    )  # fmt: skip
    assert (pulls[1:] > 2 * pulls[:-1]).all()
    assert (energies[1:] > 2 * energies[:-1]).all()
    assert (np.diff(heights) < 1e-5).all() and heights[2] < heights[0] / 3


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_cones_where_they_are_forecast(name):
    """In loose skin, each tip with a deficit of 20 degrees or more has skin 0.8 mm high, one without has no cone.

    At the end of a bilobed flap's second lobe that skin is a ridge 10 mm from the tip, which is no cone at it.
    Skin of 1.5 mm held 10 mm or more away stays flat up to about 10 degrees (fact of the buckling of a wedge: 9.9
    thicknesses), and a V-Y of 22.6 degrees rises by 0.77, 0.90 and 0.95 mm on triangles of 2.2, 2.0 and 1.8 mm; 0.1 mm
    is what a cone elsewhere lifts. Of two tips, that with 10 degrees more has no lower cone, within 2 %: two tips near
    each other lift together.
    """
    closure = result(name, "loose")
    deficit, height = forecast(closure), np.array([cone["height_mm"] for cone in cones(closure)])
    nearest = cKDTree(closure.mesh.X[:, closure.mesh.tips].T).query(closure.mesh.X.T)[1]
    highest = np.array([closure.x[2, nearest == k].max() for k in range(len(height))])
    assert (highest[deficit > 20 * DEGREE] > 0.8).all()
    assert (height[deficit < 1 * DEGREE] < 0.1).all()
    assert (height[:, None] > 0.98 * height)[deficit[:, None] > deficit + 10 * DEGREE].all()


@pytest.mark.slow
@pytest.mark.parametrize("name, deficits", [
    ("rhombic", [60, 60]), ("rotation", [33.4, 0]), ("a-to-t", [0, 0, 43.6]), ("v-y", [22.6]),
])  # fmt: skip
def test_cones_stand_at_the_tips(name, deficits):
    """The highest point that belongs to a tip with a deficit lies within two triangles' edges of it, once closed."""
    closure = result(name, "loose")
    assert np.degrees(forecast(closure)) == approx(deficits, abs=0.05)
    highest = np.array([cone["at_mm"] for cone in cones(closure)]).T
    away = np.hypot(*(closure.x[:2, closure.mesh.tips] - highest))
    assert (away[np.array(deficits) > 0] < 2 * OTHERS).all()


# The Z-plasty's gain


def z(angle, skin, *, edge=3.0):
    """The closure of a Z-plasty with limbs of 20 mm."""
    written = f"""\
name: z
wound: {{outline: {{kind: slit, length_mm: 20}}}}
closure: {{technique: z-plasty, angle_deg: {angle}, undermine_mm: 10}}
{skin}patch: {{radius_mm: 120}}
mesh: {{edge_mm: {edge}, tip_mm: {0.8 * edge}, far_mm: 20}}
"""
    closure = closed(parse(written, cases.Case, "z"))
    assert closure.effort.negative_pivots == 0
    return closure


def slack(thickness):
    """Skin without tension and bed."""
    return f"skin: {{thickness_mm: {thickness}, law: {{kind: neo-hooke, shear_kPa: 10}}}}\n"


def rule(angle):
    """sqrt(5 - 4 cos a) - 1: the flaps as rigid triangles, the skin around them out of the way."""
    return np.sqrt(5 - 4 * np.cos(np.radians(angle))) - 1


def gain_along_skin(closure):
    """Gain in the way along the skin between the ends of the old central limb, straight over both flaps."""
    A, B, C, D = (np.array(closure.plan.points[name]) for name in "ABCD")
    way = 0.0
    for start, one, other in [(B, C, D), (C, B, A)]:
        line = start[:, None] + np.linspace(0, 1, 201) * ((one + other) / 2 - start)[:, None]
        inside = line + 0.01 * ((start + one + other)[:, None] / 3 - line)
        way += np.linalg.norm(np.diff(interpolated(closure.mesh, closure.x, line, inside=inside)), axis=0).sum()
    return way / np.hypot(*(C - B)) - 1


def gain(closure):
    """The same straight through space."""
    nodes = [closure.mesh.seams[k][0][0] for k in (0, 1)]  # C and B beside the flaps
    return np.linalg.norm(closure.x[:, nodes[0]] - closure.x[:, nodes[1]]) / 20 - 1


def turn(closure):
    """Angle of the new central limb, from the tip of one flap to that of the other, to the old one, degrees 0 to 90."""
    x, y, _ = np.diff(closure.x[:, closure.mesh.seams[2][0][[0, -1]]])[:, 0]
    return np.degrees(np.arctan2(abs(y), abs(x)))


@pytest.mark.slow
def test_gain_in_slack_skin():
    """Loose skin that nothing holds takes up the angle deficits as cones and as strain; the thinner, the less strain.

    So the way along the skin grows towards the planar rule from below: 0.57 and 0.68 of 0.73 at 2 and 0.1 mm,
    where it is 4 % short of the rule's length. Straight through space it gains a fifth, because both ends stand on top
    of cones. The planar rule tells of skin that is pressed flat by what it cannot do.
    """
    found = [z(60, slack(h)) for h in (2, 0.1)]
    along = [gain_along_skin(closure) for closure in found]
    assert along[0] < along[1] < rule(60)
    assert 1 + along[1] == approx(1 + rule(60), rel=0.04)
    assert [turn(closure) for closure in found] == approx([90] * 2, abs=3)


@pytest.mark.slow
@pytest.mark.parametrize("angle", [30, 90])
def test_gain_in_thin_slack_skin(angle):
    """The same at other angles, within 4 % in length."""
    along = gain_along_skin(z(angle, slack(0.1)))
    assert along < rule(angle)
    assert 1 + along == approx(1 + rule(angle), rel=0.04)


@pytest.mark.slow
def test_gain_in_held_skin():
    """On its bed and under tension, the gain stays below the rule and grows with the angle; 60 degrees turn by 90."""
    angles = [30, 60, 90]
    found = [z(angle, SKINS["typical"]) for angle in angles]
    gains = [gain(closure) for closure in found]
    assert (np.diff(gains) > 0).all()
    assert (np.array(gains) < [rule(angle) for angle in angles]).all()
    assert turn(found[1]) == approx(90, abs=3)


@pytest.mark.parametrize("angle, quoted", [(30, 25), (45, 50), (60, 75), (75, 100), (90, 120)])
def test_rule_and_what_textbooks_quote(angle, quoted):
    """25, 50, 75, 100, 120 % are the rule's 24, 47, 73, 99, 124 % in round numbers (common practice)."""
    assert 100 * rule(angle) == approx(quoted, abs=4)
