"""How far the triangles and the patch may put numbers off: estimated by three further closures, kept beside them.

Richardson's extrapolation from triangles coarser, given and finer, with the factor of Roache's grid convergence index
(1994, J Fluids Eng 116:405; ASME V&V 20-2009; both from memory); where the order is too high the range of all three, as
by Eça and Hoekstra (from memory). Without an order: our choice. How well it does: tests/MEASURED.md.
"""

import json
import math
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from fem.case import case as cases
from fem.case import physical
from fem.case.case import Case
from fem.closure.closing import closed
from fem.closure.closure import Closure
from fem.closure.measure import measures
from fem.errors import MeshError, NotConverged, within
from fem.geometry.surface import BEYOND
from fem.results import identity
from fem.results.cost import unknowns
from fem.results.folder import write_whole
from fem.results.quantities import UNLIMITED, numbers, quantity

FILE = "errors.json"  # in the folder of a case, beside measures.json
RATIO = math.sqrt(2)  # of the sizes of triangles, from one closure to the next
WIDER = 2.0, 1.5, 1.25  # times as wide a patch; the first that its body carries
SAFETY = 1.25  # of three meshes: Roache
ORDERS = 0.5, 2.05  # an order outside is none of these triangles, whose order is ORDER; a lower one counts as 0.5
ORDER = 2.0
ROUND_OFF = 1e-6  # of a number, mm, N and so on: what differs by less is the same; our choice
FOUND = {  # words on how a mesh part was estimated
    "order": "Richardson, order {:.1f}", "fast": "order above 2: range of three",
    "none": "no order: difference doubled",
    "finer": "finer triangles only", "coarser": "coarser triangles only", "exact": "the same on all triangles",
}  # fmt: skip
NO_PATCH = "patch not tried"


@dataclass(frozen=True)
class Error:
    """How far a number may be off, in its unit."""

    mesh: float  # for its triangles
    patch: float  # for the patch; 0 if it is not known
    how: str  # it was estimated

    @property
    def total(self) -> float:
        """Both together."""
        return self.mesh + self.patch


@dataclass(frozen=True)
class Accuracy:
    """What is known of the errors of a result."""

    errors: Mapping[str, Error] = field(default_factory=dict)  # by name of the number
    note: str = ""  # why a file of them is not used


# What follows from numbers ------------------------------------------------------------------------------------


def mesh_part(
    value: float, *, finer: tuple[float, float] | None = None, coarser: tuple[float, float] | None = None
) -> tuple[float, str]:
    """Error of a value for its triangles, and how it was found.

    finer, coarser   the value on other triangles, and how many times as large, or as small, they are

        (coarser - value) / (value - finer) = (r^p - 1) s^p / (s^p - 1)  gives the order p
        value - limit = (value - finer) s^p / (s^p - 1)
    """
    near = max(abs(value), 1.0) * ROUND_OFF
    apart = [abs(value - other[0]) for other in (finer, coarser) if other]
    if max(apart) < near:
        return max(apart), FOUND["exact"]
    if finer is None or coarser is None:
        [(other, ratio)] = [pair for pair in (finer, coarser) if pair]
        away = abs(value - other) / (ratio**ORDER - 1)
        return (3 * away, FOUND["coarser"]) if finer is None else (3 * away * ratio**ORDER, FOUND["finer"])
    step, before = value - finer[0], coarser[0] - value
    (s, r), (low, high) = (finer[1], coarser[1]), ORDERS
    p = _order(before / step, r, s) if step and before / step > 0 else 0.0
    if p <= 0:
        return 2 * abs(step), FOUND["none"]
    q = min(max(p, low), ORDER)
    away = abs(step) * s**q / (s**q - 1)
    if p > high:
        return SAFETY * max(away, abs(step + before)), FOUND["fast"]
    return SAFETY * away, FOUND["order"].format(p)


def _order(ratio, r, s):
    """Order p of convergence, at most 9, from the ratio of the differences on either side; 0 if there is none."""
    from scipy.optimize import brentq

    def excess(p: float) -> float:
        return math.log((r**p - 1) * s**p / (s**p - 1)) - math.log(ratio)

    least, most = 1e-3, 9.0
    if excess(most) < 0:
        return most
    return brentq(excess, least, most) if excess(least) < 0 else 0.0


def patch_part(value: float, wider: float, times: float) -> float:
    """Error of a value for its patch, from that on one so many times as wide, if it falls as 1/width or faster.

    That of a rim which holds the skin falls as 1/width^2 without a bed, and exponentially on one.
    """
    return abs(wider - value) * times / (times - 1)


# What is computed ---------------------------------------------------------------------------------------------


def estimate(
    case: Case, known: Mapping[str, Any], elements: int, *, restarts: int = 0,
    watch: Callable[..., None] = lambda **state: None,
) -> dict[str, Any]:  # fmt: skip
    """Content of FILE but for what it is of: `runs` that were made, and `errors` of the numbers known."""
    runs, how = [], {"restarts": restarts, "watch": watch}
    for words, size in (("finer triangles", 1 / RATIO), ("coarser triangles", RATIO)):
        runs.append({"triangles": size, "patch": 1.0, **_run(words, case, size=size, **how)})
    times, wide = _wider(case)
    if wide is not None:
        runs.append({"triangles": 1.0, "patch": times, **_run("wider patch", wide, size=1.0, **how)})
    sizes = {
        name: (run["numbers"], math.sqrt(max(run["elements"], elements) / min(run["elements"], elements)))
        for name, run in zip(("finer", "coarser"), runs, strict=False)
        if "numbers" in run
    }
    beyond = [(run["numbers"], run["patch"]) for run in runs[2:] if "numbers" in run]
    errors = {name: error for name, value in known.items() if (error := _error(name, value, sizes, beyond))}
    return {"runs": runs, "errors": {name: asdict(error) for name, error in errors.items()}}


def _error(name, value, sizes, beyond):
    """The Error of a number; None if it is none, has no limit, or is not there in the other closures."""
    if not isinstance(value, float | int) or quantity(name).group == UNLIMITED:
        return None
    others = {which: (at[name], ratio) for which, (at, ratio) in sizes.items() if at.get(name) is not None}
    if not others or any(ratio == 1 for _, ratio in others.values()):
        return None
    mesh, how = mesh_part(value, **others)
    wider = [patch_part(value, at[name], times) for at, times in beyond if at.get(name) is not None]
    return Error(mesh, sum(wider), how if wider else f"{how}; {NO_PATCH}")


def _run(words, case, *, size, restarts, watch):
    """The numbers of a closure and its triangles, or why there is none."""
    try:
        with within(words):
            closure = closed(case, restarts=restarts, watch=watch, size=size)
    except (MeshError, NotConverged) as error:
        return {"failed": str(error)}
    return {"elements": closure.effort.elements, "numbers": numbers(measures(closure))}


def _wider(case):
    """How many times as wide a patch the body carries, and the case on it; 1 and None if no wider one."""
    patch = case.patch
    known = getattr(patch.surface, "reach_mm", None) or math.inf  # of a scanned body
    for times in WIDER:
        wide = patch.model_copy(update={"radius_mm": times * patch.radius_mm})
        try:
            if BEYOND * wide.radius_mm <= known and physical.surface(wide):
                return times, case.model_copy(update={"patch": wide})
        except ValueError:  # it meets itself or is distorted too far
            continue
    return 1.0, None


# What is kept -------------------------------------------------------------------------------------------------


def add(folder: Path, case: Case, *, watch: Callable[..., None] = lambda **state: None) -> None:
    """Write the errors of a complete result into its folder. Raises OSError if it is not that of the case."""
    if not (state := identity.state(folder, case, keep="measures")).complete:
        raise OSError(f"{folder}: {state}")
    run, known = (json.loads((folder / f"{name}.json").read_text()) for name in ("run", "measures"))
    made = estimate(case, numbers(known), run["elements"], restarts=run.get("restarts", 0), watch=watch)
    note = identity.signed(_of(run) | {"safety": SAFETY, **made})
    write_whole(folder / FILE, json.dumps(note, indent=2, allow_nan=False) + "\n")


def of(case: Case, closure: Closure, **how: Any) -> Accuracy:
    """The errors of a closure that is written nowhere; how: restarts and watch of `estimate`."""
    made = estimate(case, numbers(measures(closure)), closure.effort.elements, **how)
    return Accuracy({name: _read(**error) for name, error in made["errors"].items()})


def _of(run):
    """Whose errors they are."""
    known = run.get("files")
    numbers_of = known.get("measures.json") if isinstance(known, dict) else None
    return {"case": run.get("case"), "solver": run.get("solver"), "measures": numbers_of}


def read(folder: Path) -> Accuracy:
    """What is known of the errors of a result in a folder with its run.json."""
    path = folder / FILE
    if not path.exists():
        return Accuracy()
    note, run = identity.record(path), identity.record(folder / "run.json") or {}
    if note is None or not identity.intact(note):
        return Accuracy(note=f"{path} is damaged and not used; --error estimates errors anew")
    if any(note.get(name) != value for name, value in _of(run).items()):
        return Accuracy(note=f"{path} is out of date and not used; --error estimates errors anew")
    try:
        return Accuracy({name: _read(**error) for name, error in note["errors"].items()})
    except (KeyError, TypeError, ValueError, AttributeError):
        return Accuracy(note=f"{path} is damaged and not used; --error estimates errors anew")


def _read(mesh, patch, how):
    if not (math.isfinite(mesh) and math.isfinite(patch) and min(mesh, patch) >= 0 and how.isprintable()):
        raise ValueError("no error")
    return Error(float(mesh), float(patch), how)


def complete(folder: Path) -> bool:
    """Whether the errors of the result in a folder are there."""
    found = read(folder)
    return (folder / FILE).exists() and not found.note


# What is stated -----------------------------------------------------------------------------------------------


def stated(case: Case) -> float:
    """How many times as large as stated for the default triangles (`quantities.csv`) errors are, as sizes squared."""
    usual = cases.usual_mesh(case)
    if usual is None or usual == case.mesh:
        return 1.0
    return max(1.0, unknowns(case.model_copy(update={"mesh": usual})) / unknowns(case))
