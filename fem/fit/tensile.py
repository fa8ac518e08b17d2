"""Tension tests of skin, read from a CSV file whose columns carry their units in their names.

A row is one state of the specimen: its stretches along and across the skin tension lines, and the stresses measured in
it. A direction whose stretch is not given is free of stress, as the sides of a strip are. Lines that begin with # are
comments.
"""

import csv
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from fem.case.document import MAX_MESSAGES, NUMBER, hint, read
from fem.case.keys import LARGEST_STRETCH
from fem.errors import BadCase

AXES = "along", "across"
STRETCH = {"stretch": lambda v: v, "strain_percent": lambda v: 1 + v / 100}
STRESS = {"nominal_stress_kPa": 1.0, "nominal_stress_MPa": 1e3, "cauchy_stress_kPa": 1.0, "cauchy_stress_MPa": 1e3}
MAX_BYTES, MAX_ROWS = 5_000_000, 10_000  # our choices; a fit to more rows takes minutes and is no better
LABEL = re.compile(r"[^\W_][\w .-]{0,39}")


@dataclass(frozen=True)
class Measured:
    """n states of a specimen, and the m stresses measured in them."""

    stretch: np.ndarray  # (2, n) from the unloaded state, along and across the lines; 1 where it was not measured
    free: np.ndarray  # (2, n) bool: not measured, and free of stress
    label: np.ndarray  # (n,) words: the test that a state belongs to
    state: np.ndarray  # (m,) int: that a stress was measured in
    axis: np.ndarray  # (m,) int: 0 along the lines, 1 across
    nominal: np.ndarray  # (m,) bool: force per unstretched area; else per stretched area, Cauchy's
    stress: np.ndarray  # (m,) kPa


def columns() -> dict[str, tuple[str, int | None]]:
    """Names of all columns: what they hold, and in which direction (0 along, 1 across; None for the test's name)."""
    known: dict[str, tuple[str, int | None]] = {"test": ("test", None)}
    for quantity in (*STRETCH, *STRESS, "force_N"):
        stem, _, unit = quantity.rpartition("_")
        for axis, name in enumerate(AXES):
            known[f"{stem}_{name}_{unit}" if stem else f"{unit}_{name}"] = (quantity, axis)
    return known


def measured(
    path: Path | str, *, area: float | None = None, up_to: float = math.inf,
    start: Sequence[float] | np.ndarray = (1.0, 1.0),
) -> tuple[Measured, int]:  # fmt: skip
    """The states in a CSV file, and the number of its rows that were left out.

    area    of the unstretched cross-section, mm2, which forces are divided by
    up_to   states in which a measured stretch is greater are left out
    start   stretches from which those in the file count, along and across; nominal stresses refer to that section

    Skin a_i times as long has a section of A / a_i, whatever the other directions do, for its volume stays. So stretch
    l' and nominal stress P' from there are l = a_i l' and P = P' / a_i from the unloaded state; Cauchy's stress and
    forces are the same.

    Raises BadCase with every complaint, each with its line.
    """
    lines = re.split(r"\r\n|[\r\n]", read(path, limit=MAX_BYTES))
    written = [(n, line) for n, line in enumerate(lines, 1) if line.strip() and not line.startswith("#")]
    if len(written) < 2:
        raise BadCase(f"{path}: wanted a line of column names and a line of numbers for each state")
    if len(written) > MAX_ROWS + 1:
        raise BadCase(f"{path}: {len(written) - 1} rows; wanted {MAX_ROWS} at most, so leave out some evenly")
    n, names = written[0][0], [name.strip() for name in _cells(*written[0], path)]
    refuse(path, [(n, problem) for problem in _about_columns(names, area)])
    problems: list = []
    rows = [_row(n, names, _cells(n, line, path), area, start, problems) for n, line in written[1:]]
    refuse(path, problems)
    kept = [row for row in rows if max(row["stretch"].values()) <= up_to]
    return _arrays(kept), len(rows) - len(kept)


def refuse(path: Path | str, problems: list[tuple[int, str]]) -> None:
    """Raise BadCase if there are problems (line, message)."""
    if problems:
        lines = [f"{path}:{n}: {message}" for n, message in problems[:MAX_MESSAGES]]
        more = [f"{path}: {len(problems) - MAX_MESSAGES} more"] if len(problems) > MAX_MESSAGES else []
        raise BadCase("\n".join(lines + more))


def _cells(n, line, path):
    try:
        return next(csv.reader([line], strict=True))
    except csv.Error as error:
        raise BadCase(f"{path}:{n}: not a line of CSV: {error}") from error


def _about_columns(names, area):
    """Problems with the names of the columns."""
    known = columns()
    problems = [f"unknown column {name!r}{hint(name, known)}" for name in names if name not in known]
    problems += [f"column {name!r} is given twice" for name in dict.fromkeys(names) if names.count(name) > 1]
    if problems:
        return problems
    for what, kinds in (("stretch", STRETCH), ("stress", (*STRESS, "force_N"))):
        for axis, direction in enumerate(AXES):
            same = [name for name in names if known[name][0] in kinds and known[name][1] == axis]
            problems += [f"columns {' and '.join(same)} both give the {what} {direction}"] if len(same) > 1 else []
        if not any(known[name][0] in kinds for name in names):
            wanted = ", ".join(name for name, (quantity, _) in known.items() if quantity in kinds)
            problems.append(f"no column of a {what}; wanted one or two of {wanted}")
    if area is None and any(known[name][0] == "force_N" for name in names):
        problems.append("forces need --width-mm and --thickness-mm of the specimen")
    return problems


def _row(n, names, cells, area, start, problems):
    """Label, stretches and stresses of a line of numbers, by direction; `problems` gains (line, message)."""
    row: dict = {"label": "", "stretch": {}, "stress": {}}
    if len(cells) != len(names):
        problems.append((n, f"{len(cells)} values in {len(names)} columns"))
        return row
    known, before = columns(), len(problems)
    for name, cell in zip(names, map(str.strip, cells), strict=True):
        quantity, axis = known[name]
        if quantity == "test":
            row["label"] = cell
            if cell and not LABEL.fullmatch(cell):
                problems.append((n, f"{name}: got {cell[:40]!r}, wanted at most 40 letters, digits, spaces, - _ ."))
        elif cell:
            value = float(cell) if NUMBER.fullmatch(cell) else math.nan
            if not math.isfinite(value):
                problems.append((n, f"{name}: got {cell[:40]!r}, wanted a number, or nothing if it was not measured"))
            elif quantity in STRETCH:
                row["stretch"][axis] = stretch = start[axis] * STRETCH[quantity](value)
                if not 1 / LARGEST_STRETCH <= stretch <= LARGEST_STRETCH:
                    wanted = f"a stretch of {1 / LARGEST_STRETCH:g} to {LARGEST_STRETCH:g}"
                    problems.append((n, f"{name}: got {cell[:40]}, a stretch of {stretch:g}; wanted {wanted}"))
            else:
                scale = STRESS[quantity] if quantity in STRESS else 1e3 / area  # MPa, N / mm2, in kPa
                scale /= start[axis] if quantity.startswith("nominal") else 1.0
                row["stress"][axis] = (scale * value, not quantity.startswith("cauchy"))
    if len(problems) == before:
        missing = [f"no {what} in this row" for what in ("stretch", "stress") if not row[what]][:1]
        for way in [] if missing else [AXES[axis] for axis in row["stress"].keys() - row["stretch"].keys()]:
            none = f"a stress {way} the lines without a stretch {way}"
            missing.append(f"{none}; where no stretch is given, there is no stress")
        problems += [(n, problem) for problem in missing]
    return row


def _arrays(rows):
    """The rows as arrays."""
    stretch = np.array([[row["stretch"].get(axis, 1.0) for row in rows] for axis in (0, 1)])
    free = np.array([[axis not in row["stretch"] for row in rows] for axis in (0, 1)], dtype=bool)
    label = np.array([row["label"] for row in rows], dtype=str)
    stresses = [(n, axis, *value) for n, row in enumerate(rows) for axis, value in sorted(row["stress"].items())]
    state, axis, stress, nominal = np.array(stresses, float).reshape(-1, 4).T
    return Measured(stretch, free, label, state.astype(int), axis.astype(int), nominal.astype(bool), stress)
