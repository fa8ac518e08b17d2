"""A synthetic result, to whose numbers sentences can be held."""

import numpy as np
from small_cases import case, text

from fem.case import physical
from fem.plan import junctions
from fem.results.result import Result
from fem.results.scene import Stages

NUMBERS = {
    "cone_height_mm": 4.0,
    "cones": [{"height_mm": 4.0}, {"height_mm": 4.0}],
    "rise_mm": 4.0,
    "dip_mm": 0.1,
    "scar_length_mm": 34.0,
    "closing_force_N": 1.5,
    "line_tension_mid_N_per_m": 40.0,
    "suture_forces_N": None,
    "suture_forces_final_N": None,
    "removed_area_mm2": 200.0,
    "push_out_mm": [1.0, 2.0],
    "gape_length_mm": 32.0,
    "gape_width_mm": 11.0,
    "open_area_mm2": None,
    "purse_force_N": None,
}
FLAP = text("flap", 1).replace("kind: lens, length_mm: 1, width_mm: 10", "kind: circle, diameter_mm: 15").replace(
    "{undermine_mm: 6}", "{technique: rhombic, undermine_mm: 6}"
).replace("radius_mm: 40", "radius_mm: 90")  # fmt: skip
PURSE = FLAP.replace("rhombic", "purse-string")
LEFT_OPEN = {
    "cones": [],
    "scar_length_mm": None,
    "closing_force_N": None,
    "line_tension_mid_N_per_m": None,
    "push_out_mm": [],
    "open_area_mm2": 60.4,
    "purse_force_N": 0.8,
}
TIED = text("tied", 30).replace("{undermine_mm: 6}", "{sutures: {kind: interrupted}}")


def result(written=None, **changed):
    """A result of a lens of 30 x 10 mm, or of a text, with some of NUMBERS changed."""
    closed = case(written or text("lens", 30))
    met = [m.places[:, 0] for m in junctions.junctions(physical.plan(closed)) if m.places.shape[1] == 1 and m.closed]
    X = np.array(sorted(map(tuple, met))).reshape(-1, 2).T
    return Result(closed, measures=NUMBERS | changed, stages=tips_at(X, np.arange(len(met))))


def tips_at(X, tips):
    """Stages of which only nodes X (2, n) and the tips among them are known."""
    return Stages(
        *(np.empty(0),) * 4, X, np.empty((6, 0), int), seams=(), tips=tips, centre=np.zeros(3), half_width=1.0
    )


def of(**numbers):
    return result(**numbers)
