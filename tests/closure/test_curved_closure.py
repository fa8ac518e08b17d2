"""Closures on curved bodies: the flat limit, a seam that sinks, a hollow, all techniques on a limb and a scalp."""

from functools import cache

import numpy as np
import pytest
from pytest import approx
from test_catalogue import COARSE, CONFIGS, EDGE, NAMES, OTHERS, SKINS

from fem.case import case as cases
from fem.case.document import parse
from fem.closure.closing import closed
from fem.closure.measure import measures
from fem.results.scene import profiles

BODIES = {"limb": "{kind: cylinder, radius_mm: 45}", "scalp": "{kind: sphere, radius_mm: 85}"}
LENS = """\
name: lens
wound: {outline: {kind: lens, length_mm: 45, width_mm: 15}}
closure: {undermine_mm: 10}
skin: {thickness_mm: 1.5, law: {kind: neo-hooke, shear_kPa: 33.3}, tension: {along_N_per_m: 4, across_N_per_m: 2}}
bed: {pull_kPa_per_mm: 0.4, shear_kPa_per_mm: 0.1}
patch: {radius_mm: 45, surface: BODY}
mesh: {edge_mm: 2.8, tip_mm: 2.2, far_mm: 9}
"""


@cache
def lens(body):
    closure = closed(parse(LENS.replace("BODY", body), cases.Case, "lens"))
    return closure, measures(closure)


def on(body, name, skin="typical"):
    """The closure of a technique's case on a body, on coarse triangles."""
    wound_and_closure = (CONFIGS / f"{name}.yaml").read_text().split("skin: ")[0]
    size = COARSE.format(EDGE.get(name, OTHERS)).replace("radius_mm: 80", f"radius_mm: 80, surface: {BODIES[body]}")
    return closed(parse(wound_and_closure + SKINS[skin] + size, cases.Case, name))


NUMBERS = "cone_height_mm", "scar_length_mm", "closing_force_N", "strain_energy_mJ", "skin_stress_p99_kPa"


@pytest.mark.parametrize("kind", ["cylinder, axis_deg: 30", "sphere"])
def test_flat_limit(kind):
    """On bodies of 1e5 mm a lens has the numbers of a flat one, within 1e-4.

    Heights within 1e-3 mm: springs that begin to push gradually are pressed in by sqrt(2 s p/k), 3e-4 mm of p = N/R.
    """
    flat, large = lens("{kind: flat}")[1], lens(f"{{kind: {kind}, radius_mm: 1e5}}")[1]
    assert [large[name] for name in NUMBERS[1:]] == approx([flat[name] for name in NUMBERS[1:]], rel=1e-4)
    assert large["cone_height_mm"] == approx(flat["cone_height_mm"], abs=1e-3)


def test_limb():
    """The cones of a lens along a limb are lower than on a flat patch, and its seam sinks; all in equilibrium.

    So they are, though the trade says that cones are worse where a body is convex: what the eye sees is the contour.
    """
    flat, limb = lens("{kind: flat}"), lens("{kind: cylinder, radius_mm: 30}")
    assert limb[0].effort.negative_pivots == 0
    assert 0.1 < limb[1]["cone_height_mm"] < flat[1]["cone_height_mm"]
    assert limb[1]["seam_depth_mm"] > flat[1]["seam_depth_mm"] + 0.1
    assert limb[1]["contour_mm"] == approx(limb[1]["cone_height_mm"] + limb[1]["seam_depth_mm"])
    heights = np.concatenate([line["height_mm"] for line in profiles(limb[0])["seams"]])
    assert -heights.min() == approx(limb[1]["seam_depth_mm"], abs=1e-9)


def test_wound_lies_as_well_on_either_side_of_a_limb():
    """Turned by 180 degrees about the normal, body and wound are the same; so is the mirror image of all cones."""
    _, at = lens("{kind: cylinder, radius_mm: 30}")
    _, turned = lens("{kind: cylinder, radius_mm: 30, axis_deg: 180}")
    assert [turned[name] for name in NUMBERS] == approx([at[name] for name in NUMBERS], rel=1e-6)
    left, right = (cone["height_mm"] for cone in at["cones"])
    assert left == approx(right, rel=1e-2)


def test_hollow():
    """Skin in a hollow has lost the pull of its bed where it is undermined: it rises all over, as a tent does."""
    closure, at = lens("{kind: sphere, radius_mm: -60}")
    undermined = np.unique(closure.mesh.elements[:, closure.mesh.undermined])
    assert np.median(closure.over[2, undermined]) > 0.3
    assert at["rise_mm"] > lens("{kind: flat}")[1]["rise_mm"]


@pytest.mark.slow
@pytest.mark.parametrize(("name", "body"), [(n, b) for n in NAMES for b in BODIES if (n, b) != ("bilobed", "limb")])
def test_every_technique(name, body):
    """Closes on a limb of 45 mm and a scalp of 85 mm to a stable equilibrium; what is sewn is shut.

    But for the bilobed flap, which takes longest, on the scalp only.
    """
    closure = on(body, name)
    assert closure.effort.negative_pivots == 0
    first, second = closure.mesh.pairs
    assert closure.x[:, first] == approx(closure.x[:, second], abs=1e-9)
    assert np.isfinite(measures(closure)["strain_energy_mJ"])
