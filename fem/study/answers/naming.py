"""Inputs and measures as they are called and printed in answers."""

import csv
import re
from pathlib import Path
from typing import Any

import numpy as np

from fem.case.document import hint
from fem.results.quantities import LEADING, known, label, shown, split, unit
from fem.study import sweep

with open(Path(__file__).with_name("inputs.csv"), encoding="utf-8", newline="") as table:
    NAMES = dict(csv.reader(table))  # of inputs that are often varied; others are called by their block and key


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
    """A value of an input as it is printed, with its unit; of a block its kind, and its numbers with their names."""
    if isinstance(given, dict):
        rest = [
            f"{name(f'.{key}').strip()} {value(key, v, digits)}"
            for key, v in given.items()
            if key != "kind" and v != {}
        ]
        listed = ", ".join(rest)
        return f"{given['kind']} ({listed})" if rest and "kind" in given else str(given.get("kind", listed))
    return f"{given:.{digits}g} {unit_of(path)}".strip() if isinstance(given, float) else sweep.shown(given)


def plain(path: str, given: Any) -> Any:
    """A value of an input as it stands along an axis: a number, or words."""
    return given if isinstance(given, float | int | str) else value(path, given)


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
