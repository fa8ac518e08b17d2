"""Closed wounds against an independent shell: `tests/reference/shell.py` has the problems, `shell.csv` its numbers."""

import csv
from dataclasses import dataclass, replace
from functools import partial
from math import radians
from pathlib import Path

import numpy as np
import pytest

from fem.geometry.curve import Outline
from fem.geometry.outlines import crescent, lens, rhombus
from fem.geometry.surface import cylinder, laid
from fem.material.laws import Law, gasser_ogden_holzapfel
from fem.mechanics.mesh import mesh
from fem.plan.plan import side_to_side, undermined
from fem.verification.closures import NEO_HOOKE, bench_closure, bench_sheet, numbers

TABLE = Path(__file__).parents[1] / "reference" / "shell.csv"
PATCH = 60.0  # mm, radius
FIBRES = partial(
    gasser_ogden_holzapfel, shear_MPa=0.02, fibre_MPa=0.03, stiffening=3.0, dispersion=0.15, fibre_angle_rad=radians(40)
)
# Of a number, by which both may differ besides: cone and energy of the shell err by less on its own meshes; forces
# differ by 0.5 % at most, all of it within 3 mm of the tips (`tests/reference/README.md`), why was not found.
SHELL = np.array([1e-3, 6e-3, 1e-3])


@dataclass(frozen=True)
class Wound:
    """A wound of the bench, undermined 15 mm, as the independent shell has it."""

    outline: Outline
    law: Law = NEO_HOOKE
    stretch: tuple[float, float] = (1.0, 1.0)  # natural
    limb: float | None = None  # mm, radius of a cylinder along the wound


WOUNDS = {
    "lens": Wound(lens(length_mm=60, width_mm=20)),
    "rhombus": Wound(rhombus(length_mm=60, width_mm=20)),
    "unequal": Wound(crescent(length_mm=50, upper_mm=18, lower_mm=0)),
    "taut": Wound(lens(length_mm=40, width_mm=20), law=FIBRES, stretch=(1.04, 1.015)),
    "limb": Wound(lens(length_mm=60, width_mm=20), limb=100.0),
}


def closed_by_shell(name: str, seam: str) -> np.ndarray:
    """Cone height in mm, closing force in N and energy in N mm on the finest mesh of the table."""
    with TABLE.open() as table:
        rows = [row for row in csv.DictReader(table) if (row["wound"], row["seam"]) == (name, seam)]
    finest = min(rows, key=lambda row: float(row["tip_mm"]))
    return np.array([float(finest[key]) for key in ("cone_mm", "force_N", "energy_Nmm")])


def closed_here(name: str, seam: str, edge: float) -> np.ndarray:
    """The same on triangles of `edge`, mm."""
    wound = WOUNDS[name]
    plan = undermined(side_to_side(wound.outline), undermine_mm=15.0)
    triangles = mesh(plan, radius=PATCH, edge=edge, tip=0.8 * edge, far=4 * edge)
    if wound.limb is not None:
        triangles = replace(triangles, surface=laid(cylinder(radius_mm=wound.limb), PATCH))
    skin = bench_sheet(triangles, law=wound.law, stretch=wound.stretch, hinged=seam == "hinged")
    return numbers(bench_closure(triangles, skin, wound.outline))


def against_shell(name: str, seam: str, edge: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Cone, force and energy by the shell, here, and how far these may lie apart.

    Here triangles of `edge`, mm, and half of it lead, by second order, to a third of their difference beyond the finer
    ones; that third again is what is left to err.
    """
    expected = closed_by_shell(name, seam)
    coarse, fine = (closed_here(name, seam, size) for size in (edge, edge / 2))
    beyond = (fine - coarse) / 3
    return expected, fine + beyond, np.abs(beyond) + SHELL * np.abs(expected)


@pytest.mark.parametrize("name", WOUNDS)
def test_against_an_independent_shell(name):
    """A mixed (Hellan-Herrmann-Johnson) cubic shell in NGSolve closes the same wounds: other code, other unknowns.

    A lens, flat, on a limb, and in skin with fibres under natural tension; a rhombus; two edges of unequal length. Cone
    height, closing force and energy agree. The hinged lens needs finer triangles: `flatseam verify mixed-shell`.
    """
    expected, obtained, tolerance = against_shell(name, "moment-carrying", 4.0)
    assert (np.abs(obtained - expected) <= tolerance).all(), (expected, obtained, tolerance)
