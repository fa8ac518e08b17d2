"""From a case to its results folder: what is written, what is left alone, and the units on the way."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import meshio
import numpy as np
import psutil
import pytest
import small_cases
from matplotlib.image import imread
from pytest import approx
from terminal import content

import fem
from fem.case import case as cases
from fem.case.document import parse
from fem.closure.closing import patch, skin_sheet
from fem.closure.measure import MEASURES
from fem.errors import NotConverged
from fem.mechanics.kernels.elastic_foundation import GRADUAL
from fem.mechanics.sheet import assemble, cauchy_stress
from fem.results.close import close
from fem.results.identity import KEPT, Kind, failure, state
from fem.results.result import read
from fem.verification.problems import flat

SMALL = small_cases.SMALL.replace("width_mm: 10}", "width_mm: 10}, lesion: {diameter_mm: 6}")
HELD = small_cases.HELD.replace("held", "small")


def case(written=SMALL):
    return parse(written, cases.Case, "small.yaml")


def unused(**state):
    pytest.fail("a solve was begun")


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A results folder, three folders deep, and what was said while it was computed."""
    said = []
    folder = close(case(), into=tmp_path_factory.mktemp("deep") / "er" / "results", watch=lambda **s: said.append(s))
    return folder, said


@pytest.fixture
def results(made, tmp_path):
    """A copy of that results folder, alone in its own folder."""
    return Path(shutil.copytree(made[0], tmp_path / "results" / "small"))


# What is written ----------------------------------------------------------------------------------------------


def test_folder(made):
    """Everything named in the README, nothing else, and nothing hidden beside it."""
    folder, _ = made
    assert folder.name == "small"
    assert {path.relative_to(folder).as_posix() for path in content(folder)} == set(KEPT["pictures"])
    assert [p.name for p in folder.parent.iterdir()] == ["small"]


def test_resolved_case(made):
    """case.yaml reads back as the case that was closed."""
    assert cases.read(made[0] / "case.yaml") == case()


def test_measures_are_numbers(made):
    """measures.json has every measure, and no NaN or infinity, which JSON does not know."""

    def refuse(constant):
        pytest.fail(f"{constant} in measures.json")

    numbers = json.loads((made[0] / "measures.json").read_text(), parse_constant=refuse)
    assert list(numbers) == list(MEASURES)
    assert numbers["healthy_removed_mm2"] == approx(numbers["removed_area_mm2"] - 9 * np.pi)


def test_skin_is_the_one_measured(made):
    """skin.vtu holds the closed skin: its highest point is rise_mm, its tips are push_out_mm apart."""
    skin = meshio.read(made[0] / "skin.vtu")
    numbers = json.loads((made[0] / "measures.json").read_text())
    assert skin.points[:, 2].max() == numbers["rise_mm"]
    tips = np.hypot(*(skin.point_data["reference_mm"][:, :2].T - np.array([[15], [0]]))).argmin()
    assert skin.points[tips, 0] - 15 == approx(numbers["push_out_mm"][1])


def test_pictures_can_be_read(made):
    for path in (made[0] / "pictures").iterdir():
        assert imread(path).shape[:2] == (900, 1200)


def test_run(made):
    """run.json says what was run with what, how it went, and that the equilibrium is one."""
    run = json.loads((made[0] / "run.json").read_text())
    mesh = patch(case())
    assert run["case"] == cases.key(case())
    assert run["versions"]["flatseam"] == fem.__version__
    assert {"python", "numpy", "scipy", "numba", "scikit-fem", "gmsh"} < run["versions"].keys()
    assert run["elements"] == mesh.elements.shape[1]
    assert run["unknowns"] == 3 * (mesh.X.shape[1] - mesh.rim.size - mesh.seams[0].shape[1] + 2)  # tips are not sewn
    assert 0 <= run["residual_N"] <= 1e-9 * 0.0999 * 1.5 * 3  # share of E h edge_mm
    assert run["negative_pivots"] == 0
    assert 0 < run["iterations"] <= run["factorisations"]
    assert 0 < run["mesh_s"] + run["assembly_s"] + run["factorisation_s"] <= run["total_s"]
    size = psutil.Process().memory_info().rss / 2**20  # now; the peak was some when the case was closed
    assert size / 4 < run["peak_memory_MB"] < 10 * size and run["patch_radius_mm"] == 40
    assert "not a medical device" in run["note"]


def test_commit(tmp_path):
    """The commit is that of the source tree that the program lies in; without one, or in another project's, nothing."""
    shutil.copytree(Path(fem.__file__).parent, tmp_path / "a/fem", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copytree(tmp_path / "a/fem", tmp_path / "b/libraries/fem")
    git = ["git", "-c", "user.name=a", "-c", "user.email=a@b", "-c", "init.defaultBranch=main"]
    for tree in ("a", "b"):
        for words in (["init", "-q"], ["commit", "-q", "--allow-empty", "-m", "first"]):
            subprocess.run([*git, *words], cwd=tmp_path / tree, check=True)
    head = subprocess.run(["git", "rev-parse", "HEAD"], cwd=tmp_path / "a", capture_output=True, text=True, check=True)
    ask = [sys.executable, "-c", "from fem.results import close; print(close.commit())"]
    for folder, wanted in {"a": head.stdout.strip(), "b/libraries": "None"}.items():
        env = os.environ | {"PYTHONPATH": str(tmp_path / folder)}
        ran = subprocess.run(ask, env=env, cwd=tmp_path, capture_output=True, text=True, check=True)
        assert ran.stdout.strip() == wanted
    assert len(head.stdout.strip()) == 40


def test_progress(made):
    """The watch hears of the gaping wound, then of closing from 0 to 1, then that there are pictures to draw."""
    *said, last = made[1]
    assert last == {"stage": "numbers and pictures"}
    stages = [state["stage"] for state in said]
    assert stages == sorted(stages, key=["gaping wound", "closing"].index)
    closing = [state["closed"] for state in said if state["stage"] == "closing"]
    assert (closing[0], closing[-1]) == (0.0, 1.0)
    assert said[-1]["residual"] <= 1e-9 * 0.0999 * 1.5 * 3


# What is left alone -------------------------------------------------------------------------------------------


def test_not_computed_twice(results):
    """A complete result of the very same case stays as it is, to the byte and the nanosecond."""
    before = content(results)
    assert close(case(), into=results.parent, watch=unused) == results
    assert content(results) == before


def test_other_case_of_that_name(results):
    """Another thickness: the folder is replaced whole, and an older note of a failure goes."""
    (results / "left-over.txt").write_text("of the older result")
    (results.parent / "small.failed.json").write_text("{}")
    other = case(SMALL.replace("thickness_mm: 1.5", "thickness_mm: 1.6"))
    assert state(results, other).kind == Kind.OTHER_CASE
    close(other, into=results.parent)
    assert cases.read(results / "case.yaml") == other
    assert state(results, other).complete and state(results, case()).kind == Kind.OTHER_CASE
    assert not (results / "left-over.txt").exists()
    assert [p.name for p in results.parent.iterdir()] == ["small"]


def test_again(results):
    """The same case once more: new files, and the same closure up to what the solver leaves over."""
    before = content(results)
    close(case(), into=results.parent, again=True)
    after = content(results)
    assert before.keys() == after.keys()
    assert all(before[path][1] < after[path][1] for path in before)
    first, second = (json.loads(files[results / "measures.json"][0]) for files in (before, after))
    for name in ("scar_length_mm", "closing_force_N", "skin_stress_max_kPa", "strain_energy_mJ"):
        assert second[name] == approx(first[name], rel=1e-8)


@pytest.mark.parametrize("name", KEPT["pictures"])
@pytest.mark.parametrize("rest", [None, 0, 100])
def test_damaged(results, name, rest):
    """A file that is gone, or was cut short as by a full disk, is named; the result counts as damaged, not missing."""
    assert state(results, case()).complete
    path = results / name
    begin = path.read_bytes()[:rest]
    path.unlink()
    if rest is not None:
        path.write_bytes(begin)
    if path.suffix != ".yaml" or rest is None:  # the case is not read from there
        assert state(results, case()).kind == Kind.DAMAGED
        assert path.name in str(state(results, case()))


@pytest.mark.parametrize("change", [{"solver": "of old"}, None])
def test_out_of_date(results, change):
    """The result of another solver, or of a version that did not note its solver, is out of date, and not shown."""
    run = json.loads((results / "run.json").read_text())
    del run["solver"]
    (results / "run.json").write_text(json.dumps(run | (change or {})))
    assert str(state(results, case())) == "out of date, computed by another solver"
    with pytest.raises(ValueError, match="out of date, computed by another solver"):
        read(results, case())


def test_something_else_in_the_way(tmp_path):
    """A folder, a file or a link of the case's name that is no result is refused before any work, and stays."""
    folder = tmp_path / "small"
    folder.mkdir()
    (folder / "thesis.txt").write_text("years of work")
    with pytest.raises(FileExistsError, match=r"small is not a results folder and will not be replaced"):
        close(case(), into=tmp_path, again=True, watch=unused)
    assert (folder / "thesis.txt").read_text() == "years of work"
    folder.rename(tmp_path / "moved")
    folder.symlink_to(tmp_path / "moved")
    with pytest.raises(FileExistsError):
        close(case(), into=tmp_path, watch=unused)
    folder.unlink()
    folder.write_text("a file")
    with pytest.raises(FileExistsError):
        close(case(), into=tmp_path, watch=unused)


@pytest.mark.parametrize("below", ["", "deeper/still"])
def test_file_instead_of_a_folder(tmp_path, below):
    """Results cannot go into a file, nor below one: refused before any work."""
    (tmp_path / "notes").write_text("")
    with pytest.raises(NotADirectoryError, match="notes is not a folder"):
        close(case(), into=tmp_path / "notes" / below, watch=unused)


@pytest.mark.skipif(not Path("/proc/self").exists(), reason="needs a folder that not even root can write to")
def test_folder_that_cannot_be_written():
    with pytest.raises(OSError, match="/proc"):
        close(case(), into="/proc", watch=unused)


def test_no_equilibrium(results):
    """Skin that does not come to rest: a note of how far it came, beside an older result that is not touched."""
    before = content(results)
    with pytest.raises(NotConverged) as caught:
        close(case(HELD), into=results.parent)
    assert content(results) == before
    assert {p.name for p in results.parent.iterdir()} == {"small", "small.failed.json"}
    note = json.loads((results.parent / "small.failed.json").read_text())
    assert note["case"] == cases.key(case(HELD)) and failure(results.parent / "small.failed.json") == note
    assert note["reason"] == str(caught.value)
    assert note["reached"]["stage"] == "closing"
    assert note["reached"]["closed"] == 1
    assert note["reached"]["residual"] > 0


# Units --------------------------------------------------------------------------------------------------------


def test_uncut_skin_is_under_its_tension():
    """10 N/m along the lines, 5 across, at 30 degrees: principal stresses are those over 1.5 mm; no force inside."""
    turned = case(SMALL.replace("across_N_per_m: 5", "across_N_per_m: 5, lines_deg: 30"))
    mesh = patch(turned)
    skin = skin_sheet(turned, mesh)
    stress, _ = cauchy_stress(skin, flat(mesh))
    shape = stress.shape[1:]
    assert 1e3 * stress[1] == approx(np.full(shape, 10 / 1.5))
    assert 1e3 * stress[0] == approx(np.full(shape, 5 / 1.5))
    inside = np.setdiff1d(np.arange(mesh.X.shape[1]), [*mesh.rim, *mesh.seams[0].ravel()])
    assert assemble(skin, flat(mesh))[1][:, inside] == approx(0, abs=1e-12)


def test_lines():
    """Tension of 10 N/m along lines at 90 degrees pulls along y: sum of y f_y = T A (virtual work of a stretch)."""
    turned = case(SMALL.replace("across_N_per_m: 5", "across_N_per_m: 5, lines_deg: 90"))
    mesh = patch(turned)
    skin = skin_sheet(turned, mesh)
    forces = assemble(skin, flat(mesh))[1]
    assert (mesh.X * forces[:2]).sum(axis=1) == approx(1e-3 * np.array([5, 10]) * skin.area.weights.sum())


@pytest.mark.parametrize("up", [0.2, -0.2])
def test_bed(up):
    """1 kPa/mm, 1e-3 MPa/mm, holds skin that is moved up, 17.1 that is pressed; undermined, it is only pushed up.

    Confined fat of nu = 0.49 is 0.51/(1.49 0.02) = 17.11 times as stiff as free one; pressed skin is held as half of
    GRADUAL less deep.
    """
    mesh = patch(case())
    skin = skin_sheet(case(), mesh)
    forces = assemble(skin, flat(mesh) + np.array([[0.0], [0.0], [up]]))[1]
    area = skin.area.weights.sum(axis=1)
    push = 0.51 / (1.49 * 0.02)
    pressed = 0.0 if up > 0 else -0.2 + GRADUAL / 2
    wanted = 1e-3 * (up + (push - 1) * pressed) * area[~mesh.undermined].sum()
    wanted += 1e-3 * push * pressed * area[mesh.undermined].sum()
    assert 0 < mesh.undermined.sum() < mesh.undermined.size
    assert forces[2].sum() == approx(wanted)


def test_bed_against_sliding():
    """0.1 kPa/mm against sliding, where the skin is not undermined."""
    mesh = patch(case())
    skin = skin_sheet(case(), mesh)
    forces = assemble(skin, flat(mesh) + np.array([[0.3], [0.0], [0.0]]))[1]
    assert forces[0].sum() == approx(1e-4 * 0.3 * skin.area.weights[~mesh.undermined].sum())


def test_bending_stiffness():
    """D = E h^3 / 12 (1 - nu^2) with E = 3 mu = 99.9 kPa, nu = 1/2; the seam of a hinge carries no moment."""
    slack = SMALL.replace("along_N_per_m: 10, across_N_per_m: 5", "along_N_per_m: 0, across_N_per_m: 0")
    mesh = patch(case(slack))
    skin = skin_sheet(case(slack), mesh)
    assert skin.D[0, 0] == approx(0.0999 * 1.5**3 / 9)
    assert len(skin.edges) == 3  # between triangles, free, of the seam
    assert len(skin_sheet(case(slack.replace("undermine_mm: 6", "seam: hinge")), mesh).edges) == 2
