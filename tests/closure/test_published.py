"""Wounds of published experiments, computed from what their papers print: `configs/published`, misses included."""

from pathlib import Path

import numpy as np
import pytest
import shapely
from pytest import approx

from fem.case.case import Case
from fem.closure.closing import patch, skin_sheet
from fem.mechanics import lying, solve
from fem.mechanics.constraints import constraints, independent, positions
from flatseam import read, varied

PUBLISHED = Path(__file__).parents[2] / "configs" / "published"
PRINTED = np.array([16.0, -10.0, 9.0])  # along, across, area, %: Deroy 2017, abstract


def growth(case: Case) -> np.ndarray:
    """Growth (3,), %, of a round wound as it gapes, at rest and flat: along the lines, across them, of its area."""
    triangles, none = patch(case), np.zeros((2, 0), int)
    skin, diameter = skin_sheet(case, triangles, hinged=True), case.wound.outline.diameter_mm
    cut = solve.problem(skin, constraints(triangles.x0, none, triangles.rim), pressure=0.0, tol=1e-8)
    level, _ = lying.opened_wound(cut, independent(cut.constraints, triangles.x0, 1.0))
    edge = positions(cut.constraints, level, 1.0)[:2, triangles.edge]
    area = shapely.MultiPoint(edge.T).convex_hull.area
    return 100 * (np.append(np.ptp(edge, axis=1) / diameter, area / (np.pi / 4 * diameter**2)) - 1)


def dogs(exponent: float, **changes) -> tuple[np.ndarray, np.ndarray, float]:
    """Growth of the wounds of Deroy (2017) as printed and as computed on coarse triangles, %, and what those err, %."""
    stretched = {"along_stretch": 1 / (1 - 0.23), "across_stretch": 1 / (1 - 0.10)}  # of discs that shrank so much
    skin = {"skin.law.exponent": exponent, "skin.tension": stretched}
    size = {"mesh.edge_mm": 5, "mesh.tip_mm": 5, "mesh.far_mm": 50}
    case = varied(read(PUBLISHED / "round-wound.yaml"), "dogs", skin | size | changes)
    return PRINTED, growth(case), 1.0


@pytest.mark.parametrize(
    ("exponent", "misses"), [(9, [14.4, 6.7, 16.2]), (12, [12.5, 2.4, 7.8]), (15, [11.4, -0.4, 2.6])]
)
def test_wounds_of_dogs(exponent, misses):
    """Discs cut from dogs shrank by 23 % along the lines and 10 % across; their wounds grew by 16 %, shrank by 10 %.

    In skin stretched by as much, without a bed, wounds shrink across the lines as printed, by 3, 8 and 10 % with the
    exponents of human (9) and pigs' skin (12) and with 15, yet grow along them by 30 to 27: 14 to 11 more than printed.
    """
    printed, computed, tolerance = dogs(exponent)
    assert computed - printed == approx(misses, abs=tolerance)


def test_skin_that_does_not_stiffen_is_not_that_of_dogs():
    """Neo-Hookean skin (exponent 2), stretched by as much, opens across the lines too, and to twice its area."""
    _, (_, across, area), _ = dogs(2)
    assert across > 30 and area > 100


def test_bed_holds_the_rim():
    """Below skin of 10 kPa pigs' fat of 4 mm (Sims 2010) takes 5 % of the growth along the lines, and adds 4 across."""
    change = dogs(12, **{"bed.fat_mm": 4, "bed.fat_shear_kPa": 0.53})[1] - dogs(12)[1]
    assert change[:2] == approx([-5.2, 3.6], abs=1.0)
