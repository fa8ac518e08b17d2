"""What results folders say of the cases that are compared, and how their numbers are printed.

Every number that is shown, on the page, on the terminal or in a figure, is printed by `shown`.
"""

import json
import math
import re
from dataclasses import dataclass, field
from pathlib import Path
from zipfile import BadZipFile

import numpy as np

from fem.case import case as cases
from fem.case import physical
from fem.results import identity

UNITS = {  # as they end names -> as they are written, and decimals printed
    "N_per_m": ("N/m", 0),
    "kPa": ("kPa", 0),
    "mm2": ("mm²", 0),
    "mm3": ("mm³", 0),
    "mm": ("mm", 1),
    "deg": ("°", 0),
    "mJ": ("mJ", 1),
    "N": ("N", 2),
    "s": ("s", 0),
    "": ("", 2),
}
WORDS = {  # of the measures that lead the table, in its order
    "cone_height_mm": "cone height",
    "scar_length_mm": "scar length, along the skin",
    "scar_chord_mm": "scar length, tip to tip",
    "dip_mm": "deepest dip",
    "closing_force_N": "closing force",
    "line_tension_mid_N_per_m": "line tension, middle of the seam",
    "line_tension_max_N_per_m": "line tension, greatest",
    "skin_stress_max_kPa": "skin stress, greatest",
    "skin_stress_p99_kPa": "skin stress, 99th percentile near the wound",
    "skin_stretch_max": "skin stretch, greatest",
    "compressed_area_mm2": "skin under compression",
    "removed_area_mm2": "skin removed",
    "healthy_removed_mm2": "healthy skin removed; all of it if no lesion is given",
    "length_to_width": "length to width of the wound",
    "strain_energy_mJ": "energy stored",
}
OTHERS = {  # words of those that follow, by the beginning of their names; the number of a tip or cone comes after
    "cones_{}_at_x": "cone {}: place along the wound",
    "cones_{}_at_y": "cone {}: place across it",
    "cones_{}_reach": "cone {}: reach beyond the tip",
    "cones_{}": "cone {}:",
    "closing_force_after_{}": "held closed, time {}:",
    "suture_forces_final_{}": "suture {}, when all are tied",
    "suture_forces_{}": "suture {}, as soon as tied",
    "trim_cut_{}": "cut beyond tip {}",
    "trim_cones_before_{}": "cone {} before it was cut off",
    "trim_scar_added": "scar added by cutting cones off",
    "trim_skin_removed": "skin removed by cutting cones off",
    "purse_force": "pull of the purse-string",
    "open_area": "left open",
    "taper_forces_{}": "tapering suture {}",
    "anchor_forces_{}": "anchoring suture {}",
    "largest_gap": "largest gap between the edges",
    "push_out_{}": "push-out of tip {}",
    "gape_length": "length of the open wound",
    "gape_width": "width of the open wound",
    "gape_axis": "direction of the open wound",
    "tip_angles_{}": "angle of the wound at tip {}",
}
STAGES = "closed", "words", "x", "stress_kPa", "X", "elements", "seams", "seam_of", "tips", "centre", "half_width"
NEITHER = {"length_to_width", "strain_energy_mJ"}  # more is neither better nor worse; of the others, less is better


@dataclass(frozen=True)
class Result:
    """A case and what became of it."""

    case: cases.Case
    reason: str = ""  # why there is no closure; empty if there is one
    run: dict = field(default_factory=dict)  # run.json
    measures: dict = field(default_factory=dict)  # measures.json
    profiles: dict = field(default_factory=dict)  # profiles.json
    stages: dict = field(default_factory=dict)  # arrays of stages.npz

    @property
    def name(self):
        """Name of the case."""
        return self.case.name


def read(folder, case) -> Result:
    """The result in a complete folder; its case has the lengths of cuts that were found.

    Raises OSError, or ValueError if it is not complete, see `identity.state`, or not what was written there.
    """
    folder = Path(folder)
    if not (state := identity.state(folder, case, keep="fields")).complete:
        raise ValueError(str(state))
    content = {name: json.loads((folder / f"{name}.json").read_text()) for name in ("run", "measures", "profiles")}
    odd = [name for name, value in numbers(content["measures"]).items() if not isinstance(value, float | int | None)]
    if odd:
        raise ValueError(f"measures.json: {odd[0]} is no number")
    if cut := content["measures"].get("trim_cut_mm"):
        case = physical.cut_by(case, cut)
    try:
        with open(folder / "stages.npz", "rb") as stream, np.load(stream, allow_pickle=False) as stages:
            return Result(case, stages={name: stages[name] for name in STAGES}, **content)
    except (KeyError, EOFError, BadZipFile) as error:
        raise ValueError(f"stages.npz: {error}") from error


def solved(results):
    """Those of the results that have a closure."""
    return [result for result in results if not result.reason]


# Numbers ------------------------------------------------------------------------------------------------------


def split(name):
    """A measure's name without its unit, and the unit's key in UNITS."""
    unit = next(unit for unit in UNITS if name.endswith(f"_{unit}") or not unit)
    return name.removesuffix(f"_{unit}") if unit else name, unit


def numbers(measures):
    """All measures as {name: number or None}.

    Members of lists are numbered before the unit, as in push_out_2_mm; places have an x and a y.
    """
    flat: dict[str, float | None] = {}

    def add(name, value):
        stem, unit = split(name)
        if isinstance(value, dict):
            for key, member in value.items():
                add(f"{name}_{key}", member)
        elif isinstance(value, list):
            places = "xy" if stem.endswith("_at") else range(1, len(value) + 1)
            for place, member in zip(places, value, strict=True):
                add(f"{stem}_{place}_{unit}" if unit else f"{stem}_{place}", member)
        else:
            flat[name] = value

    for name, value in measures.items():
        add(name, value)
    return flat


def names(results):
    """Names of all numbers that any of the results has: those in WORDS first, then the rest in their order."""
    known = dict.fromkeys(
        name for result in results for name, value in numbers(result.measures).items() if value is not None
    )
    return [name for name in WORDS if name in known] + [name for name in known if name not in WORDS]


def label(name):
    """What a number is, in words."""
    stem = split(name)[0]
    for start, words in OTHERS.items():
        if found := re.match(start.format(r"(\d+)"), stem):
            return f"{words.format(*found.groups())}{stem[found.end() :].replace('_', ' ')}"
    return WORDS.get(name, stem.replace("_", " "))


def unit(name):
    """The unit of a number as it is written."""
    return UNITS[split(name)[1]][0]


def shown(name, value, *, sign=""):
    """A number as it is printed, without its unit; with sign "+" positive ones are given theirs."""
    if value is None:
        return "–"
    text = f"{value:{sign}.{UNITS[split(name)[1]][1]}f}"
    return text.replace("-", "−") if float(text) else text.lstrip("+-")


def ranks(name, values):
    """What is "best", the least, and "worst", the greatest, of some values; None for the rest.

    As printed: what cannot be told apart there has the same rank; nothing is ranked if all are alike, or if less is
    neither better nor worse.
    """
    printed = [None if value is None else float(f"{value:.{UNITS[split(name)[1]][1]}f}") for value in values]
    known = [value for value in printed if value is not None]
    if name not in WORDS or name in NEITHER or len(set(known)) < 2:
        return [None] * len(values)
    return [{min(known): "best", max(known): "worst"}.get(value, None) for value in printed]


def ordered(results, name):
    """The results by a number, smallest first; those without it come last, in the order given."""

    def value(result):
        number = numbers(result.measures).get(name)
        return math.inf if number is None else number

    return sorted(results, key=value)
