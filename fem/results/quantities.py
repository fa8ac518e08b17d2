"""The numbers of a result, named and ranked by one table, `quantities.csv`, and wherever shown printed by `shown`."""

import csv
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from fem.errors import present_name

WRITTEN = {"N_per_m": "N/m", "mm2": "mm²", "mm3": "mm³", "deg": "°"}  # units, where not as they end names
UNITS = *WRITTEN, "kPa", "mm", "mJ", "N", "s", ""
LEAST_ERROR = 1e-6  # of any unit: round-off; our choice
LEAST_LENGTH = 1e-5  # mm: of skin that lies flat, residual and round-off leave less; our choice
DIGITS = {"mm": 1, "mJ": 1, "N": 2, "": 2}  # decimals printed; else none
FIRST, FURTHER = "First", "Further numbers"  # groups: what is asked first, and what nobody may ask
UNLIMITED = "Greatest values: they depend on the mesh"  # a group: as triangles shrink they have no limit, so no error
# Former names of measures, still read with a warning -> present ones.
RENAMED = {"passed_through_mm2": "self_intersection_mm2", "loosened_area_mm2": "undermined_area_mm2"}


@dataclass(frozen=True)
class Quantity:
    """A number of a result."""

    name: str  # as `numbers` names it; {} in place of the number of a tip, cone or suture
    unit: str  # as it is written
    label: str
    digits: int  # decimals printed
    better: str  # "less", "level": the nearer to 0, or "" where neither is better
    group: str  # heading in tables; those before FURTHER lead them
    error: float | None  # share of it that it may be off on the default triangles and patch; None: not measured


def _quantity(name, label, better="", group=FURTHER, error_percent=""):
    _, unit = split(name)
    error = float(error_percent) / 100 if error_percent else None
    return Quantity(name, WRITTEN.get(unit, unit), label, DIGITS.get(unit, 0), better, group, error)


def split(name: str) -> tuple[str, str]:
    """A name without its unit, and the unit as it ends the name."""
    unit = next(unit for unit in UNITS if name.endswith(f"_{unit}") or not unit)
    return name.removesuffix(f"_{unit}") if unit else name, unit


with open(Path(__file__).with_suffix(".csv"), encoding="utf-8", newline="") as table:
    QUANTITIES = {row["name"]: _quantity(**row) for row in csv.DictReader(table)}
LEADING = tuple(  # of a table, by names that can be asked for
    name for name, quantity in QUANTITIES.items() if quantity.group != FURTHER and "{}" not in name
)


def numbers(measures: dict[str, Any]) -> dict[str, Any]:
    """All measures as {name: number or None}; members of lists numbered, as in push_out_2_mm, places with x and y."""
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


def error_name(name: str) -> str:
    """What the error of a number is called in tables."""
    stem, unit = split(name)
    return "_".join(filter(None, [stem, "error", unit]))


def current(name: str, where: str) -> str:
    """Today's name of a number; warns of a former one, met at `where`."""
    return present_name(name, RENAMED, where)


def known(name: str) -> bool:
    """Whether a name is that of a number of a result, as `numbers` names them."""
    return pattern(name) in QUANTITIES


def pattern(name: str) -> str:
    """The name of a number with {} in place of the numbers of tips, cones and sutures."""
    return re.sub(r"_\d+(?=_|$)", "_{}", name)


def quantity(name: str) -> Quantity:
    """The quantity of a number; one that is not in the table is labelled by its name."""
    if known(name):
        listed = QUANTITIES[pattern(name)]
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


def tabled(name: str, value: Any) -> Any:
    """A number as tables hold it: all its digits, but 0 for a length below LEAST_LENGTH."""
    length = known(name) and unit(name) == "mm" and isinstance(value, float)
    return 0.0 if length and abs(value) < LEAST_LENGTH else value


def plus_minus(error: float | None) -> str:
    """An error as it is printed, two digits, with ± and without its unit; "" if there is none to speak of."""
    if error is None or error < LEAST_ERROR:
        return ""
    rounded = float(f"{error:.1e}")
    return f"± {rounded:.{max(0, 1 - math.floor(math.log10(rounded)))}f}"


def magnitude(name: str, value: Any) -> Any:
    """A number, or array of numbers, as it is ranked and held to limits: how far off 0, where 0 is best."""
    return abs(value) if quantity(name).better == "level" else value


def off(name: str, value: float) -> float:
    """How far a number is off 0 where that is best, else the number, as printed: what cannot be told apart is one."""
    return magnitude(name, float(f"{value:.{quantity(name).digits}f}"))


def ranks(
    name: str, values: Sequence[float | None], ways: Sequence[Mapping[int, int]] | None = None
) -> list[str | None]:
    """What is "best", the least `magnitude`, and "worst", the greatest, of some values; None for the rest.

    ways    for each value, by the places of all: 1 if it counts as more, -1 if as less, 0 if as alike; without it what
            prints alike is alike

    Nothing counts as less than the best, if there is such a value. What is alike has the same rank, but none if it is
    like the best and the worst; nothing is ranked if these are alike, or if less is neither better nor worse.
    """
    known = {i: off(name, value) for i, value in enumerate(values) if value is not None}
    if not quantity(name).better or not known:
        return [None] * len(values)
    to = {i: ways[i] if ways else {j: (a > b) - (a < b) for j, b in known.items()} for i, a in known.items()}
    lowest, highest = ([i for i in known if all(sign * way >= 0 for way in to[i].values())] for sign in (-1, 1))
    ends = {"best": min(lowest or known, key=known.__getitem__), "worst": max(highest or known, key=known.__getitem__)}
    like = {rank: {i for i in known if to[end][i] == 0} for rank, end in ends.items()}
    apart = ends["best"] not in like["worst"]
    marks = {
        i: rank for rank, other in (("best", "worst"), ("worst", "best")) for i in like[rank] - like[other] if apart
    }
    return [marks.get(i) for i in range(len(values))]
