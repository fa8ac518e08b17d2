"""From a measurement to a results folder: what is written, that a case takes it, and what is refused."""

import hashlib
import json
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from matplotlib.image import imread
from pytest import approx
from ruamel.yaml import YAML
from specimens import ALONG, SHEET, STRIPS, TRUE, scattered

from fem.case.case import Case, schema
from fem.case.document import parse
from fem.cli import cli
from fem.errors import BadCase
from fem.fit import fit
from fem.fit.tensile import AXES
from fem.material.laws import LAWS

ROOT = Path(__file__).parents[2]
MEASURED = ROOT / "configs" / "measurements" / "invented-skin.csv"
CASE = "name: a\nwound: {outline: {kind: lens, length_mm: 30, width_mm: 10}}\n"


def written(specimen, path):
    """The specimen's states and stresses as a CSV file, with all their digits."""
    rows = ["stretch_along,stretch_across,nominal_stress_along_kPa,nominal_stress_across_kPa"]
    for n, (stretch, free) in enumerate(zip(specimen.stretch.T, specimen.free.T, strict=True)):
        stress = {specimen.axis[m]: specimen.stress[m] for m in np.flatnonzero(specimen.state == n)}
        cells = ["" if free[axis] else repr(float(stretch[axis])) for axis in (0, 1)]
        cells += [repr(float(stress[axis])) if axis in stress else "" for axis in (0, 1)]
        rows.append(",".join(cells))
    path.write_text("\n".join(rows) + "\n")
    return path


@pytest.fixture
def strip(tmp_path, monkeypatch):
    """A strip of Ogden's skin with 2 % scatter, as strip.csv in an empty working folder."""
    monkeypatch.chdir(tmp_path)
    return written(scattered("ogden", ALONG, scatter=0.02), Path("strip.csv"))


def bad(path, kind="ogden", **options):
    """The complaints about a file or the options."""
    with pytest.raises(BadCase) as caught:
        fit.fitted(path, kind, **options)
    return str(caught.value).split("\n")


# What is written ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "stretches"),
    [
        ("neo-hooke", ALONG),
        ("ogden", ALONG),
        pytest.param("gasser-ogden-holzapfel", STRIPS + SHEET, marks=pytest.mark.slow),
    ],
)
def test_block_for_a_case(tmp_path, kind, stretches):
    """fit.yaml, pasted below a wound, is a case with the fitted law, to six digits."""
    path = written(scattered(kind, stretches), tmp_path / "my-skin.csv")
    folder = fit.save(fit.fitted(path, kind, thickness=1.5), tmp_path / "results")
    assert folder == tmp_path / "results" / f"my-skin-{kind}"
    assert sorted(p.name for p in folder.iterdir()) == ["fit.json", "fit.png", "fit.yaml"]
    skin = parse(CASE + (folder / "fit.yaml").read_text(), Case, "a.yaml").skin
    assert skin.thickness_mm == 1.5
    assert skin.law.model_dump() == {"kind": kind} | {key: approx(v, rel=2e-6) for key, v in TRUE[kind].items()}


def test_thickness_that_was_not_given(strip):
    """No thickness is invented: the block has a line that asks for it, and the case does too."""
    block = fit.block(fit.fitted(strip, "ogden"))
    assert "  # thickness_mm:   # needed; was not given with --thickness-mm\n" in block
    with pytest.raises(BadCase, match="skin: missing key 'thickness_mm'"):
        parse(CASE + block, Case, "a.yaml")
    parse(CASE + block.replace("# thickness_mm:", "thickness_mm: 2"), Case, "a.yaml")


def test_numbers(strip):
    """fit.json: the data by its hash, each parameter with its interval, the goodness of the fit."""
    result = fit.fitted(strip, "ogden", held=["exponent = 9"], up_to=1.2)
    numbers = json.loads((fit.save(result) / "fit.json").read_text())
    assert numbers["data"] == {
        "file": "strip.csv",
        "sha256": hashlib.sha256(strip.read_bytes()).hexdigest(),
        "stresses": 6,
        "rows_left_out": 6,
        "up_to_stretch": 1.2,
    }
    assert numbers["law"] == "ogden"
    assert numbers["parameters"]["exponent"] == {"value": 9, "interval": None, "why_none": "held"}
    shear = numbers["parameters"]["shear_kPa"]
    assert shear["interval"][0] < shear["value"] < shear["interval"][1]
    assert 0.9 < numbers["r2"] <= 1
    assert "not a medical device" in numbers["note"]


def test_table(strip):
    """Values with their units and intervals; what was left out is said."""
    lines = fit.table(fit.fitted(strip, "ogden", up_to=1.3, held=["exponent=1:50"])).split("\n")
    assert lines[0] == "strip.csv: ogden, 9 stresses, 3 rows beyond a stretch of 1.3 left out"
    assert lines[1].startswith("  shear_kPa  ") and "95% confidence: " in lines[1]
    assert lines[2].startswith("  exponent   ")
    assert lines[3].startswith("  R2 0.9")


@cache
def example():
    """The fit of the command's example."""
    return fit.fitted(MEASURED, "gasser-ogden-holzapfel")


@pytest.mark.slow
def test_figure():
    """Every stress is a point, the fitted ones are a line through their stretches; directions differ in colour."""
    result = example()
    (axes,) = fit.figure(result).axes
    points, lines = axes.lines[::2], axes.lines[1::2]
    stresses = sorted(y for line in points for y in line.get_ydata())
    assert stresses == sorted(result.measured.stress)
    assert sorted(y for line in lines for y in line.get_ydata()) == sorted(result.fit.stress)
    for dots, line in zip(points, lines, strict=True):
        assert dots.get_xdata().tolist() == sorted(line.get_xdata())
    labels = [entry.get_text() for entry in axes.get_legend().get_texts()]
    assert labels == ["strip 1, along", "strip 2, across", "sheet, along", "sheet, across", "fitted"]
    assert len({line.get_color() for line in lines}) == len(AXES)
    assert axes.get_ylabel() == "nominal stress, kPa"


def test_names_are_not_mathematics(tmp_path):
    """A file's name with signs that a formula begins with is drawn as it is."""
    path = written(scattered("neo-hooke", ALONG), tmp_path / "a$x_{.csv")
    folder = fit.save(fit.fitted(path, "neo-hooke"), tmp_path)
    assert imread(folder / "fit.png").shape[:2] == (900, 1200)


def test_example_reads():
    """The file of the command's example is said to be invented; its law is the one in its comment."""
    assert MEASURED.read_text().startswith("# Invented")
    outcome = example().fit
    true = dict(shear_kPa=12, fibre_kPa=40, stiffening=3, dispersion=0.12, fibre_angle_deg=35)
    for key, value in true.items():
        low, high = outcome.intervals[key]
        assert low / (high / low) < value < high * (high / low)  # the scatter is no longer 95 % likely, but near


# What is left alone -------------------------------------------------------------------------------------------


def test_fit_again(strip):
    """A second fit replaces the first, whole."""
    folder = fit.save(fit.fitted(strip, "ogden"))
    (folder / "left-over.txt").write_text("of the older fit")
    before = (folder / "fit.yaml").read_text()
    assert fit.save(fit.fitted(strip, "ogden")) == folder
    assert sorted(p.name for p in folder.iterdir()) == ["fit.json", "fit.png", "fit.yaml"]
    assert (folder / "fit.yaml").read_text() == before
    assert [p.name for p in folder.parent.iterdir()] == ["strip-ogden"]


def test_something_else_in_the_way(strip):
    """A folder of that name that holds no fit stays."""
    folder = Path("results/strip-ogden")
    folder.mkdir(parents=True)
    (folder / "thesis.txt").write_text("years of work")
    with pytest.raises(FileExistsError, match="is not a results folder"):
        fit.save(fit.fitted(strip, "ogden"))
    assert (folder / "thesis.txt").read_text() == "years of work"


def test_error_while_writing(strip, monkeypatch):
    """An error half way leaves the older fit as it was, and nothing beside it."""
    result = fit.fitted(strip, "ogden")
    folder = fit.save(result)
    before = {p: p.read_bytes() for p in folder.iterdir()}
    monkeypatch.setattr(fit, "numbers", lambda result: {"r2": float("nan")})  # which JSON does not know
    with pytest.raises(ValueError, match="not JSON compliant"):
        fit.save(result)
    assert {p: p.read_bytes() for p in folder.iterdir()} == before
    assert [p.name for p in folder.parent.iterdir()] == ["strip-ogden"]


# Bad input ----------------------------------------------------------------------------------------------------

KINDS = "allowed: neo-hooke, ogden, gasser-ogden-holzapfel"


@pytest.mark.parametrize(
    ("kind", "options", "messages"),
    [
        ("ogdn", {}, [f"--law: got 'ogdn'; did you mean 'ogden'? {KINDS}"]),
        ("ogden", {"thickness": 0.0}, ["--thickness-mm: got 0, wanted a finite number above 0"]),
        ("ogden", {"thickness": float("nan")}, ["--thickness-mm: got nan, wanted a finite number above 0"]),
        ("ogden", {"width": 4.0}, ["--width-mm: needs --thickness-mm as well, for the cross-section"]),
        ("ogden", {"up_to": -1.0}, ["--up-to-stretch: got -1, wanted a finite number above 0"]),
        ("ogden", {"held": ["exponnt=9"]}, [
            "--hold: got 'exponnt=9', wanted a parameter of ogden as key=value; did you mean 'exponent'? "
            "allowed: shear_kPa, exponent"]),
        ("ogden", {"held": ["exponent"]}, ["--hold: exponent: got '', wanted a number, or two in order as 1:50"]),
        ("ogden", {"held": ["exponent=0.5"]}, ["--hold: exponent: got 0.5, wanted -50 to -1, or 1 to 50"]),
        ("ogden", {"held": ["shear_kPa=0"]}, ["--hold: shear_kPa: got 0, wanted above 0"]),
        ("ogden", {"held": ["shear_kPa=1e999"]}, [
            "--hold: shear_kPa: got '1e999', wanted a number, or two in order as 1:50"]),
        ("ogden", {"held": ["exponent=9:9"]}, [
            "--hold: exponent: got '9:9', wanted a number, or two in order as 1:50"]),
        ("ogden", {"held": ["exponent=-5:5"]}, ["--hold: exponent: got -5:5, wanted -50 to -1, or 1 to 50"]),
        ("ogden", {"held": ["exponent=9", "exponent=8"]}, ["--hold: exponent is given twice"]),
        ("neo-hooke", {"held": ["shear_kPa=9"]}, ["--hold: every parameter is held, nothing is left to fit"]),
        ("ogdn", {"thickness": -1.0, "up_to": 0.0}, [
            f"--law: got 'ogdn'; did you mean 'ogden'? {KINDS}",
            "--thickness-mm: got -1, wanted a finite number above 0",
            "--up-to-stretch: got 0, wanted a finite number above 0"]),
        ("ogden", {"up_to": 1.06}, [
            "strip.csv: 2 stresses for 2 parameters (shear_kPa, exponent); wanted 3 or more, or parameters held; "
            "10 rows beyond a stretch of 1.06 were left out"]),
        ("ogden", {"up_to": 1.001}, [
            "strip.csv: 0 stresses for 2 parameters (shear_kPa, exponent); wanted 3 or more, or parameters held; "
            "12 rows beyond a stretch of 1.001 were left out"]),
    ],
)  # fmt: skip
def test_bad_options(strip, kind, options, messages):
    """What was given and what is allowed, all at once."""
    assert bad(strip, kind, **options) == messages


def test_forces(tmp_path):
    """Forces on 4 mm times 1.5 mm are nominal stresses."""
    stress = written(scattered("neo-hooke", ALONG), tmp_path / "stress.csv")
    rows = stress.read_text().replace("nominal_stress_along_kPa", "force_along_N").split("\n")
    forces = [rows[0].removesuffix(",nominal_stress_across_kPa").replace(",stretch_across", "")]
    forces += [f"{a},{float(s) * 1e-3 * 6!r}" for a, _, s, _ in (row.split(",") for row in rows[1:-1])]
    path = tmp_path / "force.csv"
    path.write_text("\n".join(forces))
    outcome = fit.fitted(path, "neo-hooke", width=4.0, thickness=1.5).fit
    assert outcome.values["shear_kPa"] == approx(TRUE["neo-hooke"]["shear_kPa"], rel=1e-9)
    assert bad(path, "neo-hooke") == [f"{path}:1: forces need --width-mm and --thickness-mm of the specimen"]


# The command --------------------------------------------------------------------------------------------------


def test_command(strip, flatseam):
    """Exit code 0, the table, and where the skin of a case is, which `flatseam check` takes."""
    code, out, err = flatseam("fit", "strip.csv", "--law", "ogden", "--thickness-mm", "1.5", "--into", "fits")
    assert (code, err) == (0, "")
    assert out.startswith("strip.csv: ogden, 12 stresses\n")
    assert out.endswith("  fits/strip-ogden/fit.yaml: the skin of a case; fit.png, fit.json\n")
    Path("a.yaml").write_text(CASE + Path("fits/strip-ogden/fit.yaml").read_text())
    code, out, err = flatseam("check", "a.yaml")
    assert code == 0 and out.startswith("a: case, lens")


def test_two_held(strip, flatseam):
    """--hold may be repeated; of a range, the rest is not looked at."""
    options = ["--law", "gasser-ogden-holzapfel", "--hold", "dispersion=0.1", "--hold", "fibre_angle_deg=45"]
    code, out, _ = flatseam("fit", "strip.csv", *options)
    assert code == 0
    assert sum(line.endswith("held") for line in out.split("\n")) == 2
    code, out, _ = flatseam("fit", "strip.csv", "--law", "ogden", "--hold", "exponent=1:50")
    assert code == 0
    assert out.count("95% confidence") == 2


@pytest.mark.parametrize(
    ("options", "code", "complaints"),
    [
        (["strip.csv", "--law", "hooke"], 2, "--law: got 'hooke'; did you mean 'neo-hooke'?"),
        (["none.csv", "--law", "ogden"], 2, "none.csv: No such file or directory\n"),
        (["strip.csv"], 2, "--law"),
        (["strip.csv", "--law", "ogden", "--up-to-stretch", "x"], 2, "x"),
        (["strip.csv", "--law", "ogden", "--into", "strip.csv"], 2, "strip.csv is not a folder\n"),
        (["wrong.csv", "--law", "ogden"], 2, "wrong.csv:1: unknown column 'strain'"),
        (["pushes.csv", "--law", "ogden"], 3, "pushes.csv: not fitted: no ogden skin has stresses of these signs"),
    ],
)
def test_refused(strip, flatseam, options, code, complaints):
    """Exit code 2 for bad input, 3 if no law follows the data; nothing is written."""
    Path("wrong.csv").write_text("strain,nominal_stress_along_kPa\n1,1\n")
    Path("pushes.csv").write_text("stretch_along,nominal_stress_along_kPa\n1.1,-1\n1.2,-2\n1.3,-3\n")
    ended, out, err = flatseam("fit", *options)
    assert (ended, out) == (code, "")
    assert complaints in err
    assert sorted(p.name for p in Path().iterdir()) == ["pushes.csv", "strip.csv", "wrong.csv"]


def test_every_law_can_be_named():
    """The help names every law; the schema of a case has the ranges of each."""
    assert all(kind in cli.fit.__doc__ for kind in LAWS)
    assert set(LAWS) <= set(schema()["$defs"])


def test_readme_names_the_command():
    """The README's example names files of this project."""
    line = next(line for line in (ROOT / "README.md").read_text().split("\n") if "flatseam fit configs" in line)
    assert (ROOT / line.split("flatseam fit ")[1].split()[0]).is_file()


def test_yaml_is_plain(strip):
    """fit.yaml is YAML for any reader."""
    block = YAML(typ="safe").load(fit.block(fit.fitted(strip, "ogden", thickness=2.0)))
    assert block["skin"]["thickness_mm"] == 2 and block["skin"]["law"]["kind"] == "ogden"
