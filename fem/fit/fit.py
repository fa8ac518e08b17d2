"""A law fitted to a measurement, from file to results folder: table, picture and the `skin:` block of a case."""

import hashlib
import json
import math
from collections.abc import Iterable
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

import fem
from fem.case.document import NUMBER, hint
from fem.errors import BadCase
from fem.fit.estimate import CONFIDENCE, Fit, fit, ranges
from fem.fit.tensile import AXES, Measured, measured
from fem.material.laws import LAWS
from fem.results.folder import refuse_unusable, whole

if TYPE_CHECKING:
    from matplotlib.figure import Figure

DIGITS = 6  # of a parameter that is written; our choice, beyond all measurements
INK, COLOURS, MARKS = "#181818", ("#009e73", "#cc5500"), "osD^vP*X"  # as in `picture`, which loads pyvista
CAUTION = "For research and teaching; not a medical device, and not for decisions about a patient."


@dataclass(frozen=True)
class Fitted:
    """A fit and what it was made from."""

    fit: Fit
    measured: Measured
    path: Path
    left_out: int  # rows
    up_to: float  # stretch; infinite if none was left out
    thickness: float | None  # mm


def fitted(
    path: Path | str,
    kind: str,
    *,
    held: Iterable[str] = (),
    thickness: float | None = None,
    width: float | None = None,
    up_to: float | None = None,
) -> Fitted:
    """Fit of a law to the measurement in a CSV file.

    kind        law, as in LAWS
    held        words "key=value" or "key=low:high": what is known of parameters
    thickness   of the unstretched specimen, mm; needed with `width`
    width       of the specimen, mm, if forces were measured
    up_to       stretch beyond which rows are left out

    Raises BadCase with every complaint about the words, or about the file; or estimate.NotFitted.
    """
    problems = [] if kind in LAWS else [f"--law: got {kind!r}{hint(kind, LAWS)}"]
    given = {"--thickness-mm": thickness, "--width-mm": width, "--up-to-stretch": up_to}
    problems += [
        f"{option}: got {value:g}, wanted a finite number above 0"
        for option, value in given.items()
        if value is not None and not (0 < value < math.inf)
    ]
    if width is not None and thickness is None:
        problems.append("--width-mm: needs --thickness-mm as well, for the cross-section")
    values, limits = _held(held, kind, problems) if kind in LAWS else ({}, {})
    if problems:
        raise BadCase("\n".join(problems))
    area = None if width is None or thickness is None else width * thickness
    limit = math.inf if up_to is None else up_to
    states, left_out = measured(path, area=area, up_to=limit)
    try:
        found = fit(states, kind, held=values, within=limits)
    except ValueError as error:
        rest = f"; {left_out} rows beyond a stretch of {up_to:g} were left out" if left_out else ""
        raise BadCase(f"{path}: {error}{rest}") from error
    return Fitted(fit=found, measured=states, path=Path(path), left_out=left_out, up_to=limit, thickness=thickness)


def _held(words, kind, problems):
    """By key, values of parameters that are held and ranges of those known to lie in one; `problems` gains complaints.

    words   "key=value" or "key=low:high"
    """
    known = ranges(kind)
    values: dict[str, float] = {}
    limits: dict[str, tuple[float, float]] = {}
    for word in words:
        key, _, given = map(str.strip, word.partition("="))
        numbers = [float(part) if NUMBER.fullmatch(part.strip()) else math.nan for part in given.split(":")]
        if key not in known:
            problems.append(f"--hold: got {word!r}, wanted a parameter of {kind} as key=value{hint(key, known)}")
        elif key in values or key in limits:
            problems.append(f"--hold: {key} is given twice")
        elif len(numbers) > 2 or not all(map(math.isfinite, numbers)) or sorted(set(numbers)) != numbers:
            problems.append(f"--hold: {key}: got {given!r}, wanted a number, or two in order as 1:50")
        elif not any(low <= numbers[0] and numbers[-1] <= high for low, high in known[key]):
            allowed = ("above 0" if math.isinf(high) else f"{low:g} to {high:g}" for low, high in known[key])
            problems.append(f"--hold: {key}: got {given}, wanted {', or '.join(allowed)}")
        elif len(numbers) == 1:
            values[key] = numbers[0]
        else:
            limits[key] = numbers[0], numbers[1]
    if known.keys() <= values.keys():
        problems.append("--hold: every parameter is held, nothing is left to fit")
    return values, limits


def save(result: Fitted, into: Path | str = "results") -> Path:
    """The folder of a fit, written whole: fit.yaml, fit.png and fit.json.

    Raises OSError if it cannot be written, or would replace what is not a fit.
    """
    folder = Path(into) / f"{result.path.stem}-{result.fit.kind}"
    refuse_unusable(folder, mark="fit.json")
    with whole(folder) as draft:
        (draft / "fit.yaml").write_text(block(result))
        figure(result).savefig(draft / "fit.png", dpi=100)
        (draft / "fit.json").write_text(json.dumps(numbers(result), indent=2, allow_nan=False) + "\n")
    return folder


# What is written --------------------------------------------------------------------------------------------


def table(result: Fitted) -> str:
    """The fit as lines of text: each parameter, its unit in its name, and its confidence interval."""
    found = result.fit
    size = max(map(len, found.values))
    rows = [f"{result.path.name}: {found.kind}, {found.stress.size} stresses{_left_out(result)}"]
    rows += [f"  {key:<{size}}  {value:<10.4g}{_spread(found, key)}" for key, value in found.values.items()]
    rows.append(f"  R2 {found.r2:.4f}, residual {found.rms_kPa:.3g} kPa (root mean square)")
    if any(why.startswith("undetermined") for why in found.why.values()):
        rows.append("  undetermined: measure in another direction, or say what is known of it (--hold)")
    return "\n".join(rows)


def _left_out(result):
    return f", {result.left_out} rows beyond a stretch of {result.up_to:g} left out" if result.left_out else ""


def _spread(found, key):
    """The confidence interval of a parameter in words, or why it has none."""
    if key in found.why:
        return found.why[key]
    low, high = found.intervals[key]
    return f"{CONFIDENCE:.0%} confidence: {low:.4g} to {high:.4g}"


def block(result: Fitted) -> str:
    """The `skin:` block of a case, as YAML with comments."""
    found, thickness = result.fit, result.thickness
    if thickness is None:
        first = "  # thickness_mm:   # needed; was not given with --thickness-mm"
    else:
        words = "of the unstretched specimen; under natural tension skin is thinner"
        first = f"  thickness_mm: {thickness:.{DIGITS}g}   # {words}"
    rows = [
        f"# {found.kind} fitted to {_plain(result.path.name)}: {found.stress.size} stresses, R2 {found.r2:.4f}.",
        f"# {CAUTION}",
        "skin:",
        first,
        "  law:",
        f"    kind: {found.kind}",
    ]
    rows += [f"    {key}: {value:.{DIGITS}g}   # {_spread(found, key)}" for key, value in found.values.items()]
    return "\n".join(rows) + "\n"


def _plain(name):
    """A file's name on one line of printable characters."""
    return "".join(c if c.isprintable() else "?" for c in name)


def numbers(result: Fitted) -> dict[str, Any]:
    """The fit as plain numbers and words."""
    found = result.fit
    return {
        "data": {
            "file": result.path.name,
            "sha256": hashlib.sha256(result.path.read_bytes()).hexdigest(),
            "stresses": found.stress.size,
            "rows_left_out": result.left_out,
            "up_to_stretch": None if math.isinf(result.up_to) else result.up_to,
        },
        "law": found.kind,
        "parameters": {
            key: {"value": value, "interval": found.intervals.get(key), "why_none": found.why.get(key)}
            for key, value in found.values.items()
        },
        "confidence": CONFIDENCE,
        "r2": found.r2,
        "rms_kPa": found.rms_kPa,
        "thickness_mm": result.thickness,
        "versions": {"flatseam": fem.__version__} | {name: version(name) for name in ("numpy", "scipy")},
        "note": CAUTION,
    }


def figure(result: Fitted) -> "Figure":
    """Figure of the measured stresses and the fitted ones over stretch, a mark for each test, a colour a direction."""
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D

    states, found = result.measured, result.fit
    drawn = Figure(figsize=(12, 9), dpi=100)
    axes = drawn.add_axes((0.09, 0.1, 0.87, 0.76))
    stretch = np.where(states.free, -np.inf, states.stretch).max(axis=0)[states.state]  # the greatest that was measured
    handles = []
    for i, label in enumerate(dict.fromkeys(states.label)):
        for axis, direction in enumerate(AXES):
            these = np.flatnonzero((states.label[states.state] == label) & (states.axis == axis))
            these = these[np.argsort(stretch[these], kind="stable")]
            if these.size:
                looks: dict[str, Any] = dict(color=COLOURS[axis], marker=MARKS[i % len(MARKS)], ms=7, ls="")
                axes.plot(stretch[these], states.stress[these], **looks)
                axes.plot(stretch[these], found.stress[these], color=COLOURS[axis], lw=2)
                handles.append(Line2D([], [], label=f"{label}, {direction}".removeprefix(", "), **looks))
    handles.append(Line2D([], [], color=INK, lw=2, label="fitted"))
    kinds = {True: "nominal", False: "Cauchy"}
    shown = " and ".join(kinds[kind] for kind in (True, False) if kind in states.nominal)
    axes.set_xlabel("stretch; of two, the greater", size=16, color=INK)
    axes.set_ylabel(f"{shown} stress, kPa", size=16, color=INK)
    axes.tick_params(labelsize=14, colors=INK)
    axes.spines[["top", "right"]].set_visible(False)
    axes.legend(handles=handles, fontsize=14, frameon=False)
    quality = f"R² {found.r2:.4f}, residual {found.rms_kPa:.3g} kPa{_left_out(result)}"
    place: dict[str, Any] = dict(va="center", color=INK, parse_math=False)
    drawn.text(0.025, 0.955, f"{result.path.stem}: {found.kind}", size=22, weight="bold", **place)
    drawn.text(0.025, 0.913, quality, size=14, **place)
    return drawn
