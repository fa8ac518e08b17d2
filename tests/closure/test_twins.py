"""Twins of one wound, mirrored, turned, rescaled or in stiffer skin, give the numbers that theory asks for."""

from functools import cache

import numpy as np
import pytest
from pytest import approx

from fem.case.case import Case
from fem.case.document import parse
from fem.closure.closing import closed
from fem.closure.measure import measures
from fem.results.quantities import DIGITS, numbers, split

POWERS = {  # with which stiffness and size enter a number, by its unit
    "mm": (0, 1), "mm2": (0, 2), "mm3": (0, 3), "deg": (0, 0), "": (0, 0),
    "kPa": (1, 0), "N_per_m": (1, 1), "N": (1, 2), "mJ": (1, 3),
}  # fmt: skip
# Numbers that a fixed length enters: a height above the skin, or a distance from a tip or a corner.
GREATEST = "slope", "tension_max", "stress_max", "stretch_max"  # of one triangle or segment: they differ with the mesh
FIXED_LENGTH = "footprint", "volume", "reach", "line_tension_mid", "skin_stress", "skin_stretch"
CORNERS = [(-15, 0), (-9, -1.6), (0, -2), (9, -1.6), (15, 0), (9, 5.1), (0, 7.5), (-9, 5.1)]


@cache
def twin_numbers(*, size=1.0, stiff=1.0, turned=False, mirrored=False):
    """Numbers of a wound 30 mm long, whose edges differ, in slack skin, sutured one by one, on coarse triangles."""
    points = size * np.array(CORNERS) * [1, -1 if mirrored else 1]
    points = points[:, ::-1] * [-1, 1] if turned else points
    found = measures(
        closed(
            parse(
                f"""
name: twin
wound: {{outline: {{kind: polygon, points_mm: {points.tolist()}}}}}
closure:
  undermine_mm: {6 * size}
  sutures: {{kind: interrupted, spacing_mm: {8 * size}, bite_mm: {4 * size}}}
skin:
  thickness_mm: {1.5 * size}
  law: {{kind: ogden, shear_kPa: {30 * stiff}, exponent: 3}}
  tension: {{along_stretch: 0.995, across_stretch: 0.995, lines_deg: {90 if turned else 0}}}
bed: {{pull_kPa_per_mm: {0.1 * stiff / size}, shear_kPa_per_mm: {0.1 * stiff / size}}}
patch: {{radius_mm: {45 * size}}}
mesh: {{edge_mm: {1.5 * size}, tip_mm: {size}, far_mm: {12 * size}}}
""",
                Case,
                "twin.yaml",
            )
        )
    )
    return numbers(found)


@pytest.mark.parametrize(
    ("twin", "within"),
    [
        ({"stiff": 2.0}, 1e-4),
        ({"size": 2.0}, 1e-2),  # the bed begins to push within the same 0.01 mm
        ({"turned": True}, 1e-5),
        ({"mirrored": True}, 1e-2),  # on other triangles
    ],
)
def test_twins(twin, within):
    """Dimensions decide how lengths, energy and forces grow; nothing prefers a direction or a side.

    What is printed of a number, a tenth of a mm or a degree, is not asked of less than that.
    """
    one, other = twin_numbers(), twin_numbers(**twin)
    assert one["cone_height_mm"] > 1 and len(one) > 40
    for name, number in one.items():
        stem, unit = split(name)
        if number is None or stem.endswith(("at_x", "at_y", "compressed_area")):  # places; skin below a fixed stress
            continue
        apart = FIXED_LENGTH if "size" in twin else GREATEST if "mirrored" in twin else ()
        if any(word in stem for word in apart):
            continue
        stiffness, size = POWERS[unit]
        scale = twin.get("stiff", 1.0) ** stiffness * twin.get("size", 1.0) ** size
        printed = 0.0 if within < 1e-2 else 0.5 * 10.0 ** -DIGITS.get(unit, 0)
        assert other[name] == approx(scale * number, rel=within, abs=max(printed, 1e-9)), name
