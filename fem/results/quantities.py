"""The numbers that a result has, how they are named, printed and ranked: one table.

Every number that is shown, on a page, on the terminal or in a figure, is printed by `shown`.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from fem.errors import present_name

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
FURTHER = "Further numbers"
RENAMED = {  # measures by their former names, read for this version
    "passed_through_mm2": "self_intersection_mm2",
    "loosened_area_mm2": "undermined_area_mm2",
}


@dataclass(frozen=True)
class Quantity:
    """A number of a result."""

    name: str  # as `numbers` names it; {} in place of the number of a tip, cone or suture
    unit: str  # as it is written
    label: str
    digits: int  # decimals printed
    better: str  # "less", or "" where less is neither better nor worse
    group: str  # heading in tables; those before FURTHER lead them


def _quantity(name, label, better="", group=FURTHER):
    unit, digits = UNITS[split(name)[1]]
    return Quantity(name, unit, label, digits, better, group)


def split(name: str) -> tuple[str, str]:
    """A name without its unit, and the unit's key in UNITS."""
    unit = next(unit for unit in UNITS if name.endswith(f"_{unit}") or not unit)
    return name.removesuffix(f"_{unit}") if unit else name, unit


LABELS = {  # by heading, and whether less is better
    ("Shape", "less"): {
        "cone_height_mm": "cone height",
        "scar_length_mm": "scar length, along the skin",
        "scar_chord_mm": "scar length, tip to tip",
        "dip_mm": "deepest dip",
    },
    ("Forces", "less"): {
        "closing_force_N": "closing force",
        "line_tension_mid_N_per_m": "line tension, middle of the seam",
        "line_tension_max_N_per_m": "line tension, greatest",
    },
    ("Skin", "less"): {
        "skin_stress_max_kPa": "skin stress, greatest",
        "skin_stress_p99_kPa": "skin stress, 99th percentile near the wound",
        "skin_stretch_max": "skin stretch, greatest",
        "compressed_area_mm2": "skin under compression",
        "removed_area_mm2": "skin removed",
        "healthy_removed_mm2": "healthy skin removed; all of it if no lesion is given",
    },
    ("Skin", ""): {
        "length_to_width": "length to width of the wound",
        "strain_energy_mJ": "energy stored",
    },
    (FURTHER, ""): {
        "cones_{}_at_x_mm": "cone {}: place along the wound",
        "cones_{}_at_y_mm": "cone {}: place across it",
        "cones_{}_height_mm": "cone {}: height",
        "cones_{}_footprint_mm2": "cone {}: footprint",
        "cones_{}_volume_mm3": "cone {}: volume",
        "cones_{}_reach_mm": "cone {}: reach beyond the tip",
        "cones_{}_slope_deg": "cone {}: slope",
        "push_out_{}_mm": "push-out of tip {}",
        "gape_length_mm": "length of the open wound",
        "gape_width_mm": "width of the open wound",
        "gape_axis_deg": "direction of the open wound",
        "closing_force_after_{}_time_s": "held closed, time {}: time",
        "closing_force_after_{}_closing_force_N": "held closed, time {}: closing force",
        "closing_force_after_{}_share_left": "held closed, time {}: share left",
        "trim_cut_{}_mm": "cut beyond tip {}",
        "trim_cones_before_{}_mm": "cone {} before it was cut off",
        "trim_scar_added_mm": "scar added by cutting cones off",
        "trim_skin_removed_mm2": "skin removed by cutting cones off",
        "suture_forces_{}_N": "suture {}, as soon as tied",
        "suture_forces_final_{}_N": "suture {}, when all are tied",
        "purse_force_N": "pull of the purse-string",
        "open_area_mm2": "left open",
        "taper_forces_{}_N": "tapering suture {}",
        "anchor_forces_{}_N": "anchoring suture {}",
        "largest_gap_mm": "largest gap between the edges",
        "self_intersection_mm2": "skin that has passed through other skin",
        "tip_angles_{}_deg": "angle of the wound at tip {}",
    },
}
QUANTITIES = {
    name: _quantity(name, label, better, group)
    for (group, better), labels in LABELS.items()
    for name, label in labels.items()
}
LEADING = tuple(name for name, quantity in QUANTITIES.items() if quantity.group != FURTHER)  # of a table


def numbers(measures: dict[str, Any]) -> dict[str, Any]:
    """All measures as {name: number or None}.

    Members of lists are numbered before the unit, as in push_out_2_mm; places have an x and a y.
    """
    return {current(name, "measures.json"): value for name, value in _members(measures)}


def _members(measures):
    """Name and value of all numbers in nested measures."""
    for name, value in measures.items():
        stem, unit = split(name)
        if isinstance(value, dict):
            yield from _members({f"{name}_{key}": member for key, member in value.items()})
        elif isinstance(value, list):
            places = "xy" if stem.endswith("_at") else range(1, len(value) + 1)
            ending = f"_{unit}" if unit else ""
            yield from _members({f"{stem}_{place}{ending}": v for place, v in zip(places, value, strict=True)})
        else:
            yield name, value


def current(name: str, where: str) -> str:
    """Today's name of a number; warns of a former one, met at `where`."""
    return present_name(name, RENAMED, where)


def known(name: str) -> bool:
    """Whether a name is that of a number of a result, as `numbers` names them."""
    return _pattern(name) in QUANTITIES


def _pattern(name):
    return re.sub(r"_\d+(?=_|$)", "_{}", name)


def quantity(name: str) -> Quantity:
    """The quantity of a number; one that is not in the table is labelled by its name."""
    if known(name):
        listed = QUANTITIES[_pattern(name)]
        return replace(listed, name=name, label=listed.label.format(*re.findall(r"_(\d+)(?=_|$)", name)))
    return _quantity(name, split(name)[0].replace("_", " "))


def label(name: str) -> str:
    """What a number is."""
    return quantity(name).label


def unit(name: str) -> str:
    """The unit of a number as it is written."""
    return quantity(name).unit


def labelled(name: str) -> str:
    """What a number is, with its unit."""
    return f"{label(name)}, {unit(name)}" if unit(name) else label(name)


def shown(name: str, value: float | None, *, sign: str = "") -> str:
    """A number as it is printed, without its unit; with sign "+" positive ones are given theirs."""
    if value is None:
        return "–"
    text = f"{value:{sign}.{quantity(name).digits}f}"
    return text.replace("-", "−") if float(text) else text.lstrip("+-")


def ranks(name: str, values: Sequence[float | None]) -> list[str | None]:
    """What is "best", the least, and "worst", the greatest, of some values; None for the rest.

    As printed: what cannot be told apart there has the same rank; nothing is ranked if all are alike, or if less is
    neither better nor worse.
    """
    of = quantity(name)
    printed = [None if value is None else float(f"{value:.{of.digits}f}") for value in values]
    different = {value for value in printed if value is not None}
    if not of.better or len(different) < 2:
        return [None] * len(values)
    ends: dict[float | None, str] = {min(different): "best", max(different): "worst"}
    return [ends.get(value) for value in printed]
