"""The error of a number: formulas on exact sequences, what is kept, and that it holds against far finer triangles."""

import json
import shutil

import pytest
from small_cases import case, result_of

from fem.closure.closing import closed
from fem.closure.measure import measures
from fem.results import accuracy, identity
from fem.results.accuracy import mesh_part, patch_part
from fem.results.quantities import numbers, plus_minus
from fem.study.table import row

COARSE = """\
name: coarse
wound: {outline: {kind: lens, length_mm: 16, width_mm: 10}}
closure: {undermine_mm: 6}
skin: {thickness_mm: 1.5, law: {kind: neo-hooke, shear_kPa: 33.3}}
bed: {pull_kPa_per_mm: 1, shear_kPa_per_mm: 0.1}
patch: {radius_mm: 40}
mesh: {edge_mm: 1.5, tip_mm: 1.5, far_mm: 9}
"""

# Formulas -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("order", "ratios"), [(2.0, (1.4, 1.4)), (1.0, (1.5, 1.3)), (0.7, (1.3, 1.6))])
def test_order_seen(order, ratios):
    """Values 5 + 0.3 h^p on sizes h of 1/s, 1 and r: the error of the middle one is 0.3, told as 1.25 times that."""
    finer, coarser = ((5 + 0.3 * h**order, ratio) for h, ratio in ((1 / ratios[0], ratios[0]), (ratios[1], ratios[1])))
    assert mesh_part(5.3, finer=finer, coarser=coarser) == (pytest.approx(1.25 * 0.3), f"Richardson, order {order:.1f}")


def test_order_too_high():
    """Values that come nearer faster than such triangles can: 1.25 times from the least to the greatest."""
    error, how = mesh_part(5.0, finer=(4.99, 1.4), coarser=(5.2, 1.4))
    assert (error, how) == (pytest.approx(1.25 * 0.21), "order above 2: range of three")


@pytest.mark.parametrize("coarser", [4.7, 5.05])
def test_no_order(coarser):
    """Up and down again, or ever farther away: twice the difference to the finer triangles."""
    error, how = mesh_part(5.0, finer=(4.9, 1.4), coarser=(coarser, 1.4))
    assert (error, how) == (pytest.approx(0.2), "no order: difference doubled")


def test_two_meshes():
    """5 + 0.3 h^2 on two sizes only: three times its error of 0.3, whichever the other one is."""
    for which, h in (("finer", 1 / 1.4), ("coarser", 1.4)):
        error, how = mesh_part(5.3, **{which: (5 + 0.3 * h**2, 1.4)})
        assert (error, how) == (pytest.approx(0.9), f"{which} triangles only")


def test_same_on_all():
    """What follows from the plan alone has no error."""
    error, how = mesh_part(204.0, finer=(204.0 + 1e-12, 1.4), coarser=(204.0, 1.4))
    assert error < 1e-9 and how == "the same on all triangles"


def test_patch():
    """7 + 2/R: the error 2/R is exact from a patch of any other width; of 7 + 2/R^2 it is 1.5 times that at twice R."""
    assert patch_part(7 + 2 / 40, 7 + 2 / 60, 1.5) == pytest.approx(2 / 40)
    assert patch_part(7 + 2 / 40**2, 7 + 2 / 80**2, 2.0) == pytest.approx(1.5 * 2 / 40**2)


@pytest.mark.parametrize(
    ("error", "words"),
    [(0.0123, "± 0.012"), (0.00996, "± 0.010"), (127.0, "± 130"), (5.04, "± 5.0"), (1e-9, ""), (None, "")],
)
def test_two_digits(error, words):
    """Two digits, whatever the size; nothing of round-off."""
    assert plus_minus(error) == words


# What is kept -------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    """The folder of a small coarse case with its errors."""
    into = tmp_path_factory.mktemp("kept")
    result_of(case(COARSE), into)
    accuracy.add(into / "coarse", case(COARSE))
    return into / "coarse"


@pytest.fixture
def folder(kept, tmp_path):
    return shutil.copytree(kept, tmp_path / "coarse")


def test_what_is_kept(kept):
    """Three runs with all their numbers; an error for each number that has a limit, mesh and patch apart."""
    note, known = (json.loads((kept / name).read_text()) for name in (accuracy.FILE, "measures.json"))
    assert [(round(run["triangles"], 2), run["patch"]) for run in note["runs"]] == [(0.71, 1), (1.41, 1), (1, 2)]
    found, known = accuracy.read(kept).errors, {k: v for k, v in numbers(known).items() if v is not None}
    assert {name for name in known if name not in found} == {
        "line_tension_max_N_per_m",
        "skin_stress_max_kPa",
        "skin_stretch_max",
    }
    wider = note["runs"][2]["numbers"]["closing_force_N"]
    assert found["closing_force_N"].patch == pytest.approx(2 * abs(wider - known["closing_force_N"]))
    assert found["removed_area_mm2"].total < 1e-6 < found["closing_force_N"].mesh
    assert accuracy.complete(kept) and accuracy.read(kept).note == ""


def test_in_the_table_of_a_study(kept, tmp_path):
    """A result among those of a study: a column for each error, named as in a comparison's table."""
    shutil.copytree(kept, tmp_path / "cases" / "coarse")
    errors = accuracy.read(kept).errors
    assert row(tmp_path, "coarse")["closing_force_error_N"] == errors["closing_force_N"].total


def test_damaged(folder):
    """A digit changed, or half of the file: told, and not used."""
    path = folder / accuracy.FILE
    written = path.read_text()
    for damaged in (written.replace('"patch": 2.0', '"patch": 3.0'), written[: len(written) // 2]):
        path.write_text(damaged)
        found = accuracy.read(folder)
        assert found.errors == {} and "is damaged and not used" in found.note and not accuracy.complete(folder)


@pytest.mark.parametrize("changed", [{"solver": "an older one"}, {"measures": "others"}])
def test_out_of_date(folder, changed):
    """Errors of another solver's numbers, or of other numbers of this one: told, and not used."""
    note = json.loads((folder / accuracy.FILE).read_text())
    (folder / accuracy.FILE).write_text(json.dumps(identity.signed(note | changed)))
    found = accuracy.read(folder)
    assert found.errors == {} and "is out of date and not used" in found.note


@pytest.mark.parametrize("odd", [-1, "much", None, float("nan")])
def test_no_number(folder, odd):
    """A file that was sealed with what is no error is not used either."""
    note = json.loads((folder / accuracy.FILE).read_text())
    note["errors"]["closing_force_N"]["mesh"] = odd
    (folder / accuracy.FILE).write_text(json.dumps(identity.signed(note)))
    assert "is damaged" in accuracy.read(folder).note


def test_larger_triangles():
    """What is stated of the default triangles is more on triangles twice as large, and no less on smaller ones."""
    usual = case(COARSE[: COARSE.index("mesh:")])
    sizes = usual.mesh.model_dump()
    twice, half = (
        case(COARSE[: COARSE.index("mesh:")] + f"mesh: {json.dumps({k: t * v for k, v in sizes.items()})}\n")
        for t in (2, 0.5)
    )
    assert accuracy.stated(usual) == accuracy.stated(half) == 1
    assert 1.5 < accuracy.stated(twice) <= 4


# Whether it holds ---------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_holds_against_finer_triangles(kept):
    """Errors on triangles of 1.5 mm cover what less than half of that changes in cones, force, tension, scar, energy.

    And say more than nothing: each is less than a fifth of its number.
    """
    found, errors = numbers(json.loads((kept / "measures.json").read_text())), accuracy.read(kept).errors
    fine = numbers(measures(closed(case(COARSE), size=0.45)))
    for name in ("cone_height_mm", "closing_force_N", "line_tension_mid_N_per_m", "scar_length_mm", "strain_energy_mJ"):
        assert 0 < abs(found[name] - fine[name]) <= errors[name].mesh < abs(found[name]) / 5, name


FEWER = COARSE.replace("edge_mm: 1.5, tip_mm: 1.5", "edge_mm: 2.5, tip_mm: 2.5")
CURVED = FEWER.replace("patch: {radius_mm: 40}", "patch: {radius_mm: 36, surface: {kind: sphere, radius_mm: 24}}")
TIED = FEWER.replace("undermine_mm: 6", "undermine_mm: 6, sutures: {kind: interrupted, spacing_mm: 6}")


@pytest.mark.slow
def test_on_a_body_and_with_sutures():
    """A patch of 36 mm on a ball of 24 mm can be 1.25 times as wide, not 1.5; forces of single sutures have errors."""
    for sample, times, name in ((CURVED, 1.25, "seam_depth_mm"), (TIED, 2.0, "suture_forces_final_1_N")):
        closure = closed(case(sample))
        known = numbers(measures(closure))
        made = accuracy.estimate(case(sample), known, closure.effort.elements)
        assert [run["patch"] for run in made["runs"]] == [1, 1, times]
        assert all("numbers" in run for run in made["runs"])
        assert 0 < made["errors"][name]["mesh"] < abs(known[name])
