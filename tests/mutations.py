"""Faults put into copies of the program one at a time, and whether the quick test that is named for each catches it.

    python tests/mutations.py [WORD ...]        all, or those whose names hold one of the words

A fault is a piece of text replaced by another. Exit code 1 if one survives, or if its text is not there any more.
Those in compiled kernels take a minute more each.
"""

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).parents[1]
COPIED = "fem", "tests", "configs", "pyproject.toml"
SLOWEST = 600  # s of a test


class Mutation(NamedTuple):
    """A fault."""

    name: str
    path: str  # below fem/
    old: str  # there once
    new: str
    test: str  # below tests/, that catches it


SHEET = "mechanics/test_sheet.py"
CHECKS = "verification/test_checks.py::test_check"
MUTATIONS = (
    Mutation("sign in bending", "mechanics/sheet.py", "= REACH / height", "= -REACH / height",
             f"{CHECKS}[interior-penalty]"),
    Mutation("penalty dropped", "mechanics/sheet.py", "stiffness += PENALTY *", "stiffness += 0 *",
             f"{CHECKS}[interior-penalty]"),
    Mutation("bending of seams dropped", "mechanics/sheet.py", "in () if hinged else zip(", "in () if True else zip(",
             f"{SHEET}::test_seam_is_as_stiff_as_uncut_skin"),
    Mutation("along and across swapped", "case/physical.py",
             "np.array([tension.along_N_per_m, tension.across_N_per_m])",
             "np.array([tension.across_N_per_m, tension.along_N_per_m])",
             "case/test_natural_stretch.py::test_stretch_tension_and_law_agree"),
    Mutation("lines turned the other way", "mechanics/sheet.py", "[[c, -s], [s, c]]", "[[c, s], [-s, c]]",
             "material/test_skin.py::test_direction_of_the_lines"),
    Mutation("tension halved", "case/physical.py", "1e-3 * np.array([tension.along", "0.5e-3 * np.array([tension.along",
             "case/test_natural_stretch.py::test_stretch_tension_and_law_agree"),
    Mutation("seam pair shifted", "mechanics/triangulation.py", "int), *self.seams])",
             "int), *(np.stack([a, np.append(b[:1], b[:-1])]) for a, b in self.seams)])",
             "mechanics/test_mesh.py::test_seam_nodes_face_each_other"),
    Mutation("bias left in at the end", "mechanics/solve.py",
             "q = newton(problem, q, tol=problem.tol, max_iter=max_iter)",
             "q = newton(problem, q, tol=problem.tol, max_iter=max_iter, load=problem.perturbation)",
             "results/test_close.py::test_run"),
    Mutation("regularisation left in at the end", "mechanics/solve.py",
             "q = newton(problem, q, tol=problem.tol, max_iter=max_iter)",
             "q = newton(problem, q, tol=problem.tol, max_iter=max_iter, regularisation=PATH_REGULARISATION)",
             "results/test_close.py::test_run"),
    Mutation("springs swapped", "case/physical.py",
             "return 1e-3 * bed.push_kPa_per_mm, 1e-3 * bed.pull_kPa_per_mm,",
             "return 1e-3 * bed.pull_kPa_per_mm, 1e-3 * bed.push_kPa_per_mm,",
             "closure/test_branches.py::test_a_circle_on_its_bed_may_rise_or_sink"),
    Mutation("undermined skin still tied", "closure/closing.py", "np.where(undermined, 0.0,", "np.where(False, 0.0,",
             "closure/test_branches.py::test_undermined_skin_that_puckers_is_not_stable_flat"),
    Mutation("state of most energy kept", "closure/branches.py", "if energy < lowest -", "if energy > lowest +",
             "closure/test_branches.py::test_skin_at_the_threshold_of_buckling"),
    Mutation("thread half as stiff", "mechanics/sutures.py", "STIFF * skin, wanted", "STIFF / 2 * skin, wanted",
             "mechanics/test_sutures.py::test_sutures_are_stiffer_than_skin"),
    Mutation("suture half as stiff", "mechanics/sutures.py", "[column], STIFF * skin", "[column], STIFF / 2 * skin",
             "mechanics/test_sutures.py::test_sutures_are_stiffer_than_skin"),
    Mutation("nominal for Cauchy stress", "material/skin.py", "2 * h * (C * law", "2 * h * (np.sqrt(C) * law",
             f"{CHECKS}[rubber-sheet]"),
    Mutation("nominal for Cauchy stress in what is measured", "mechanics/sheet.py", "+ 2 * s12 * C[2]) / 2",
             "+ 2 * s12 * C[2]) / 2 / np.sqrt(C[0])", f"{CHECKS}[principal-stress]"),
    Mutation("scar as long as one edge", "closure/measures/scars.py", "@ weight).mean(axis=0)", "@ weight)[0]",
             "closure/test_seams.py::test_seams_that_carry_on_are_one_scar"),
    Mutation("fibres that push", "material/laws.py", "taut = np.where(E > 0, E, 0.0)", "taut = E",
             "material/test_laws.py::test_fibres_carry_no_compression"),
    Mutation("gap closed at once", "mechanics/constraints.py",
             "+ (1 - closed) * constraints.gap", "+ 0 * constraints.gap",
             "mechanics/test_constraints.py::test_gap_closes_evenly"),
    Mutation("jump of slope of the other side", "mechanics/kernels/shell.py", "nu[1, 0] * v[2, i] + nu[1, 1] * v[3, i]",
             "nu[1, 0] * v[0, i] + nu[1, 1] * v[1, i]", f"{SHEET}::test_forces_and_tangent_against_differences"),
    Mutation("bed that pulls as hard as it pushes", "mechanics/kernels/elastic_foundation.py", "if v[2] < 0:",
             "if v[2] != 0:", f"{SHEET}::test_contact_only_pushes"),
)  # fmt: skip


def copied(folder: Path) -> None:
    """Copy the program and its tests, compiled kernels and times of files too."""
    for name in COPIED:
        (shutil.copytree if (ROOT / name).is_dir() else shutil.copy2)(ROOT / name, folder / name)


def ended(tests: list[str], folder: Path) -> subprocess.CompletedProcess[str]:
    """A run of quick tests of the copy."""
    words = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", "-m", "not slow and not bench"]
    env = os.environ | {"PYTHONPATH": os.pathsep.join([str(folder), str(folder / "tests" / "closure")])}
    tests = [f"tests/{test}" for test in tests]
    return subprocess.run([*words, *tests], cwd=folder, env=env, capture_output=True, text=True, timeout=SLOWEST)


def outcome(mutation: Mutation, folder: Path) -> str:
    """`caught`, `survived`, or why neither, of a fault in the copy, which is as it was afterwards."""
    path = folder / "fem" / mutation.path
    text, times = path.read_text(), path.stat()
    if text.count(mutation.old) != 1:
        return f"its text is there {text.count(mutation.old)} times"
    path.write_text(text.replace(mutation.old, mutation.new))
    try:
        return {0: "SURVIVED", 1: "caught"}.get(ended([mutation.test], folder).returncode, "no test ran")
    finally:
        path.write_text(text)
        os.utime(path, ns=(times.st_atime_ns, times.st_mtime_ns))


def main(words: list[str]) -> int:
    """Try the faults that are asked for and print a line on each; 1 if not all are caught, by tests that pass else."""
    wanted = [mutation for mutation in MUTATIONS if not words or any(word in mutation.name for word in words)]
    with tempfile.TemporaryDirectory() as room:
        copied(Path(room))
        without = ended(sorted({mutation.test for mutation in wanted}), Path(room))
        if without.returncode:
            print(without.stdout, "the tests fail without any fault", sep="\n")
            return 1
        found = []
        for mutation in wanted:
            found.append(outcome(mutation, Path(room)))
            print(f"{found[-1]:10} {mutation.name:48} {mutation.test}", flush=True)
    return int(set(found) != {"caught"})


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
