"""A law fitted to a measurement, from file to results folder: table, picture and the `skin:` block of a case."""

import hashlib
import json
import math
from collections.abc import Iterable
from dataclasses import dataclass
from importlib.metadata import version
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib import rc_context
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

import fem
from fem.case.document import NUMBER, hint
from fem.comparison import style
from fem.comparison.wording import sentence, sentences
from fem.errors import BadCase
from fem.fit.certainty import CONFIDENCE
from fem.fit.estimate import Fit, fit
from fem.fit.in_place import GREATEST, LEAST, InPlace, in_place, natural_stretch
from fem.fit.search import ranges
from fem.fit.tensile import AXES, Measured, measured
from fem.material.laws import LAWS
from fem.results.folder import refuse_unusable, whole

LOOK = {**style.STYLE, "font.size": 15, "axes.labelsize": 16}
CAUTION = "For research and teaching; not a medical device, and not for decisions about a patient."


@dataclass(frozen=True)
class Fitted:
    """A fit and what it was made from."""

    fit: Fit
    measured: Measured
    path: Path
    left_out: int  # rows
    up_to: float  # stretch; infinite if none was left out
    thickness: float | None  # of the unloaded specimen, mm
    starts_in_place: bool  # as the stretches in the file do
    in_place: InPlace | None  # if it is known how far the skin retracted


def fitted(
    path: Path | str, kind: str, *, held: Iterable[str] = (), thickness: float | None = None,
    width: float | None = None, up_to: float | None = None,
    retraction: tuple[float | None, float | None] = (None, None), starts_in_place: bool = False,
) -> Fitted:  # fmt: skip
    """Fit of a law to the measurement in a CSV file.

    kind             law, as in LAWS
    held             words "key=value" or "key=low:high": what is known of parameters
    thickness        of the unloaded specimen, mm; needed with `width` and `retraction`
    width            of the unloaded specimen, mm, if forces were measured
    up_to            stretch from the unloaded state beyond which rows are left out
    retraction       percent of the length in place that was lost when excised, along and across the lines
    starts_in_place  stretches, and sections of nominal stresses, in the file are referred to skin in place

    Raises BadCase with every complaint about the words, or about the file; or estimate.NotFitted.
    """
    problems = [] if kind in LAWS else [f"--law: got {kind!r}{hint(kind, LAWS)}"]
    problems += _about_lengths(thickness=thickness, width=width, up_to=up_to)
    problems += _about_retraction(retraction, thickness, starts_in_place)
    values, limits = _held(held, kind, problems) if kind in LAWS else ({}, {})
    if problems:
        raise BadCase("\n".join(problems))
    area = None if width is None or thickness is None else width * thickness
    limit = math.inf if up_to is None else up_to
    start = natural_stretch([percent or 0.0 for percent in retraction]) if starts_in_place else (1.0, 1.0)
    states, left_out = measured(path, area=area, up_to=limit, start=start)
    try:
        best = fit(states, kind, held=values, within=limits)
    except ValueError as error:
        rest = f"; {left_out} rows beyond a stretch of {up_to:g} were left out" if left_out else ""
        raise BadCase(f"{path}: {error}{rest}") from error
    (along, across), before = retraction, None
    if along is not None and across is not None and thickness is not None:
        before = in_place(best, states, retraction_percent=(along, across), thickness=thickness)
    return Fitted(best, states, Path(path), left_out, limit, thickness, starts_in_place, before)


def _about_lengths(*, thickness, width, up_to):
    """Problems with sizes of the specimen and the greatest stretch."""
    given = {"--thickness-mm": thickness, "--width-mm": width, "--up-to-stretch": up_to}
    wrong = {option: value for option, value in given.items() if value is not None and not 0 < value < math.inf}
    problems = [f"{option}: got {value:g}, wanted a finite number above 0" for option, value in wrong.items()]
    if width is not None and thickness is None:
        problems.append("--width-mm: needs --thickness-mm as well, for the cross-section")
    return problems


def _about_retraction(retraction, thickness, starts_in_place):
    """Problems with what is said of skin in place."""
    options = [f"--retraction-{way}-percent" for way in AXES]
    given = {option: value for option, value in zip(options, retraction, strict=True) if value is not None}
    wanted = f"wanted {LEAST:g} to {GREATEST:g}, of the length in place"
    problems = [f"{o}: got {value:g}, {wanted}" for o, value in given.items() if not LEAST <= value <= GREATEST]
    if len(given) == 1:
        (missing,) = set(options) - given.keys()
        problems.append(f"{missing}: missing; 0 if the skin kept its length that way")
    if given and thickness is None:
        problems.append(f"{next(iter(given))}: needs --thickness-mm as well, of the unloaded specimen")
    if starts_in_place and not given:
        problems.append(f"--starts-in-place: needs {' and '.join(options)} as well")
    return problems


def _held(options, kind, problems):
    """By key, values and ranges of "key=value" and "key=low:high"; `problems` gains complaints."""
    known = ranges(kind)
    values: dict[str, float] = {}
    limits: dict[str, tuple[float, float]] = {}
    for word in options:
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
        (draft / "fit.yaml").write_text(block(result), encoding="utf-8")
        with rc_context(LOOK):
            figure(result).savefig(draft / "fit.png", dpi=100)
        (draft / "fit.json").write_text(json.dumps(numbers(result), indent=2, allow_nan=False) + "\n")
    return folder


# What is written --------------------------------------------------------------------------------------------


def table(result: Fitted) -> str:
    """The fit as lines of text: each parameter, its unit in its name, and its confidence interval."""
    lines = sentences("fit/fit", "table", result, result.fit, CONFIDENCE, max(map(len, result.fit.values)))
    if (before := result.in_place) is not None:
        lines += sentences("fit/fit", "in_place", before, CONFIDENCE, max(map(len, before.values)))
    return "\n".join(lines)


def warnings(result: Fitted) -> list[str]:
    """Where skin in place is beyond what was tested, a line each."""
    return sentences("fit/fit", "warnings", result.in_place) if result.in_place else []


def block(result: Fitted) -> str:
    """The `skin:` block of a case, as YAML with comments."""
    file = "".join(c if c.isprintable() else "?" for c in result.path.name)
    values = result.fit, CONFIDENCE, file, result.thickness, result.in_place, warnings(result), CAUTION
    return "\n".join(sentences("fit/fit", "block", *values)) + "\n"


def numbers(result: Fitted) -> dict[str, Any]:
    """The fit as plain numbers and words."""
    best, sums = result.fit, hashlib.sha256(result.path.read_bytes()).hexdigest()
    data = {"file": result.path.name, "sha256": sums, "stresses": best.stress.size, "rows_left_out": result.left_out}
    data["up_to_stretch"] = None if math.isinf(result.up_to) else result.up_to
    known = {"data": data, "law": best.kind, "parameters": _with_intervals(best), "confidence": CONFIDENCE}
    known |= {"r2": best.r2, "rms_kPa": best.rms_kPa, "thickness_mm": result.thickness}
    if result.in_place is not None:
        known["in_place"] = _in_place_numbers(result.in_place, result)
    versions = {"flatseam": fem.__version__} | {name: version(name) for name in ("numpy", "scipy")}
    return known | {"versions": versions, "note": CAUTION}


def _with_intervals(known: Fit | InPlace) -> dict[str, Any]:
    """Its values by name, each with its interval or why it has none."""
    return {
        name: {"value": value, "interval": known.intervals.get(name), "why_none": known.why.get(name)}
        for name, value in known.values.items()
    }


def _in_place_numbers(before, result):
    """Skin in place as plain numbers and words."""
    both = ("retraction_{}_percent", before.retraction_percent), ("{}_stretch", before.stretch.tolist())
    known = {key.format(way): value for key, pair in both for way, value in zip(AXES, pair, strict=True)}
    known |= {"tests_start_in_place": result.starts_in_place, "thickness_mm": before.thickness}
    return known | {"carries": _with_intervals(before), "warnings": warnings(result)}


def figure(result: Fitted) -> Figure:
    """Figure of the measured stresses and the fitted ones over stretch, a mark for each test, a colour a direction."""
    states, best = result.measured, result.fit
    plot, axes = style.figure((12, 9))
    stretch = np.where(states.free, -np.inf, states.stretch).max(axis=0)[states.state]  # the greatest that was measured
    tests = enumerate(dict.fromkeys(states.label))
    for (i, label), (axis, direction) in product(tests, enumerate(AXES)):
        these = np.flatnonzero((states.label[states.state] == label) & (states.axis == axis))
        these = these[np.argsort(stretch[these], kind="stable")]
        if these.size:
            looks: dict[str, Any] = {"color": style.COLOURS[axis], "marker": style.MARKERS[i % len(style.MARKERS)]}
            name = f"{label}, {direction}".removeprefix(", ")
            axes.plot(stretch[these], states.stress[these], ms=7, ls="", label=name, **looks)
            axes.plot(stretch[these], best.stress[these], lw=2, color=style.COLOURS[axis])
    fitted = Line2D([], [], color="k", lw=2, label="fitted")
    axes.legend(handles=[*axes.get_legend_handles_labels()[0], fitted], frameon=False)
    kinds = {True: "nominal", False: "Cauchy"}
    shown = " and ".join(kinds[kind] for kind in (True, False) if kind in states.nominal)
    axes.set(xlabel="stretch; of two, the greater", ylabel=f"{shown} stress, kPa")
    plot.suptitle(f"{result.path.stem}: {best.kind}", size=22, weight="bold", parse_math=False)
    axes.set_title(sentence("fit/fit", "quality", result, best), loc="left", parse_math=False)
    return plot
