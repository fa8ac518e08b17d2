"""Inputs and measures as they are called and printed in answers."""

import re
from typing import Any

import numpy as np

from fem.case import site
from fem.case.document import hint
from fem.results.quantities import LEADING, known, label, shown, split, unit
from fem.study import sweep

ALONG, ACROSS = "skin.tension.along_N_per_m", "skin.tension.across_N_per_m"
NAMES = {  # of inputs that are often varied; others are called by their block and key
    "wound.outline": "outline",
    "wound.outline.kind": "outline",
    "wound.outline.length_mm": "length of the wound",
    "wound.outline.width_mm": "width of the wound",
    "closure.technique": "technique",
    "closure.undermine_mm": "undermining",
    "skin.site": "site",
    "skin.thickness_mm": "thickness of the skin",
    "skin.law.shear_kPa": "shear modulus of the skin",
    ALONG: "tension along the lines",
    ACROSS: "tension across the lines",
    site.STRETCHES[0]: "natural stretch along the lines",
    site.STRETCHES[1]: "natural stretch across the lines",
    "skin.tension.lines_deg": "direction of the lines",
    "bed.fat_mm": "thickness of the fat",
    "bed.fat_shear_kPa": "shear modulus of the fat",
}


def unknown(measure: str) -> str:
    """What is wrong with the name of a measure; empty if nothing is."""
    return "" if known(measure) else f"got '{measure}'{hint(measure, LEADING)}"


def name(path: str) -> str:
    """What an input or a measure is called; an input not in NAMES by the last block of its path and its key."""
    if "." in path:
        *_, block, key = path.split(".")
        return NAMES.get(path, f"{block} {split(key)[0].replace('_', ' ')}")
    first, *rest = re.split(r"[,;] ", label(path), maxsplit=1)
    return f"{first} ({rest[0]})" if rest else first


def unit_of(path: str) -> str:
    """The unit of an input as it is written; those of measures are among them."""
    return "kPa/mm" if path.endswith("_kPa_per_mm") else unit(path)


def value(path: str, given: Any, digits: int = 4) -> str:
    """A value of an input as it is printed, with its unit."""
    return f"{given:.{digits}g} {unit_of(path)}".strip() if isinstance(given, float) else sweep.shown(given)


def cell(measure: str, number: float) -> str:
    """A measure's number as it is printed, NaN as unknown."""
    return shown(measure, None if np.isnan(number) else number)


def measured(measure: str, number: float) -> str:
    """The same with its unit."""
    return cell(measure, number) if np.isnan(number) else f"{cell(measure, number)} {unit(measure)}".strip()


def heading(path: str) -> str:
    """An input or a measure, with its unit."""
    return f"{name(path)}, {unit_of(path)}" if unit_of(path) else name(path)


def settings_text(settings: dict, digits: int = 4) -> str:
    """Settings in one line."""
    parts = [f"{name(path)} {value(path, given, digits)}" for path, given in settings.items()]
    return ", ".join(parts) or "as in the base"
