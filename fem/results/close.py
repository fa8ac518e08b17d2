"""One case from file to results folder."""

import json
import os
import platform
import resource
import shutil
import subprocess
import time
from collections.abc import Callable
from dataclasses import asdict
from importlib.metadata import version
from pathlib import Path
from typing import Any, cast

import fem
from fem.case import case as cases
from fem.case import physical
from fem.case.keys import Patch
from fem.closure.branches import doubts
from fem.closure.closing import closed
from fem.closure.closure import Closure
from fem.closure.measure import measures
from fem.mechanics import solve
from fem.results import identity, scene
from fem.results.folder import refuse_unusable, whole, write_whole
from fem.results.result import Result

HANDOUT, MADE = "handout", "handout.json"  # in the folder of a case: what is taught with it; in that: what wrote it
UNTRIMMED = "untrimmed"  # in the folder of a trimmed closure: the whole result of the one before
# Our choices: sutures 8 mm apart leave up to 2.3 mm between the edges of lenses of `configs`; skin tears below TORN.
GAPING, TORN = 3.0, 2.0  # mm, -
GRAVE = "edges gape", "skin is stretched", "a suture carries"  # how warnings begin that belong beside the numbers


def close(
    case: cases.Case, *, into: Path | str = "results", again: bool = False, restarts: int = 0,
    watch: Callable[..., None] = lambda **state: None, page: Callable[[Path], None] = lambda draft: None,
) -> Path:  # fmt: skip
    """Results folder of a case in `into`, computed if `again` or unless a complete one of the very same case is there.

    restarts   random ways to close it, as in `closed`; what is there and tried fewer is computed again
    page       adds to the folder what is made from it, before it takes its place

    Raises MeshError, or OSError if results cannot be written there, and leaves all as it was; or NotConverged, and
    writes only `<name>.failed.json`.
    """
    into = Path(into)
    folder, failed = into / case.name, into / f"{case.name}.failed.json"
    if not again and identity.state(folder, case, restarts=restarts).complete:
        return folder
    refuse_unusable(folder, mark="run.json")
    reached: dict[str, Any] = {}

    def follow(**state):
        reached.update(state)
        watch(**state)

    try:
        closure = closed(case, restarts=restarts, watch=follow)
    except solve.NotConverged as error:
        into.mkdir(parents=True, exist_ok=True)
        note = {"case": cases.key(case), "solver": identity.solver(), "reason": str(error), "reached": reached}
        write_whole(failed, json.dumps(note, indent=2, default=float) + "\n")
        raise
    watch(stage="numbers and pictures")
    with whole(folder) as draft:
        write(draft, case, closure, restarts=restarts)
        _keep_handout(folder, draft)
        page(draft)
    failed.unlink(missing_ok=True)
    return folder


def _keep_handout(folder, draft):
    """Copy the handout of the very same result, its case and solver, from the folder that a draft replaces."""
    run, record = (json.loads((draft / "run.json").read_text()), identity.record(folder / HANDOUT / MADE))
    if record and all(record.get(name) == run[name] for name in ("case", "solver")):
        shutil.copytree(folder / HANDOUT, draft / HANDOUT, symlinks=True)


def write(
    folder: Path, case: cases.Case, closure: Closure, *, keep: str = "pictures", title: str = "", restarts: int = 0
) -> None:
    """Write what KEPT names; of a trimmed closure whose fields are kept, also the result before, in UNTRIMMED."""
    numbers = measures(closure)
    start = time.perf_counter()
    if keep != "measures":
        from fem.render import projection

        (folder / "profiles.json").write_text(json.dumps(scene.profiles(closure), allow_nan=False) + "\n")
        scene.write_stages(scene.stages(closure), folder / "stages.npz")
        projection.save_vtu(closure, folder / "skin.vtu")
    if keep == "pictures":
        from fem.render import picture

        picture.save_pictures(closure, folder / "pictures", title=title or case.name, case=_as_cut(case, closure))
    further: dict[str, Any] = {"restarts": restarts, "pictures_s": round(time.perf_counter() - start, 3)}
    further["warnings"] = _warnings(case, numbers, closure)
    write_numbers(folder, case, numbers, effort(closure) | further, keep=keep)
    if closure.trimmed is not None and keep != "measures":
        (folder / UNTRIMMED).mkdir()
        untrimmed, title = physical.cut_by(case, (0.0, 0.0)), f"{case.name}, untrimmed"
        write(folder / UNTRIMMED, untrimmed, closure.trimmed.before, keep=keep, title=title)


def write_numbers(
    folder: Path, case: cases.Case, numbers: dict[str, Any], how: dict[str, Any], *, keep: str = "measures"
) -> None:
    """Write the least that a result has: case, measures and how they were computed."""
    (folder / "case.yaml").write_text(cases.text(case))
    (folder / "measures.json").write_text(json.dumps(numbers, indent=2, allow_nan=False) + "\n")
    programs = {"flatseam": fem.__version__, "python": platform.python_version()}
    run = {
        "case": cases.key(case),
        "inputs": cases.inputs(case),
        "solver": identity.solver(),
        "keep": keep,
        "versions": programs | {name: version(name) for name in identity.LIBRARIES},
        "commit": commit(),
        "machine": {"cpu": platform.machine(), "cores": os.cpu_count()},
        **how,
        "peak_memory_MB": round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024),
        "patch_radius_mm": cast(Patch, case.patch).radius_mm,
        "warnings": [*cases.warnings(case), *how.get("warnings", ())],
        "note": "For research and teaching; not a medical device.",
    }
    (folder / "run.json").write_text(json.dumps(identity.sealed(folder, run), indent=2) + "\n")


def effort(closure: Closure) -> dict[str, Any]:
    """How a closure was computed, and the one before its cones were cut off, by the names that `run.json` uses."""
    record = asdict(
        closure.effort, dict_factory=lambda pairs: {k: round(v, 3) if k[-2:] == "_s" else v for k, v in pairs}
    )
    if closure.trimmed is None:
        return record
    cuts = [{"cut_mm": cut, "cones_mm": heights} for cut, heights in closure.trimmed.tried]
    return record | {"untrimmed": effort(closure.trimmed.before), "cuts_tried": cuts}


def in_memory(case: cases.Case, closure: Closure) -> Result:
    """The result of a closure that is written nowhere, as `result.read` gives it from a folder."""
    numbers = measures(closure)
    run = effort(closure) | {"warnings": [*cases.warnings(case), *_warnings(case, numbers, closure)]}
    drawn = scene.profiles(closure), scene.stages(closure)
    return Result(_as_cut(case, closure), "", run, numbers, *drawn)


def _as_cut(case, closure):
    """The case with the lengths of cuts that were found, if its cones were cut off."""
    return case if closure.trimmed is None else physical.cut_by(case, closure.trimmed.cut)


def _warnings(case, numbers, closure):
    forces = [force for name in ("suture_forces_N", "suture_forces_final_N") for force in numbers[name] or ()]
    lines = cases.overloaded(case, forces) if forces else []
    if (gap := numbers["largest_gap_mm"] or 0.0) > GAPING:
        lines.append(f"edges gape by up to {gap:.1f} mm; sutures that are closer hold them together")
    if (stretch := numbers["skin_stretch_p99"]) > TORN:
        lines.append(f"skin is stretched {stretch:.1f} times near the wound; it tears before that")
    if crossed := numbers["self_intersection_mm2"]:
        what = "have passed through skin that is too near to it along the skin to be kept from it"
        lines.append(f"{crossed:.3g} mm2 of skin {what}: what is measured there is not what skin would do")
    return lines + doubts(closure.effort)


def commit() -> str | None:
    """Commit of the source tree that the program lies in, or None if it lies in none, or in another project's."""
    here = Path(__file__).parent
    if not shutil.which("git"):
        return None
    ask = ["git", "rev-parse", "--show-prefix", "HEAD"]
    known = subprocess.run(ask, cwd=here, capture_output=True, text=True, check=False)
    prefix, _, head = known.stdout.strip().partition("\n")
    return head if known.returncode == 0 and prefix == f"{here.parent.name}/{here.name}/" else None
