"""The commands: files and words they refuse, `check` and `mesh`, and the help."""

import json
import re
from pathlib import Path

import meshio
import pytest
from jsonschema import Draft202012Validator
from ruamel.yaml import YAML
from small_cases import SMALL
from terminal import names

import fem
from fem.cli.cli import main

ROOT = Path(__file__).parents[2]
pytestmark = pytest.mark.usefixtures("here")


# Files that are refused ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("command", ["check", "close", "compare", "mesh"])
def test_bad_files(flatseam, here, command):
    """Every complaint about every file, with its place, on stderr; exit code 2; no work on the good file either.

    Only what `check` prints of that is there all the same.
    """
    (here / "one.yaml").write_text(SMALL.replace("thickness_mm", "thicknes_mm"))
    (here / "two.yaml").write_text(SMALL.replace("length_mm: 30", "length_mm: thirty"))
    code, out, err = flatseam(command, "small.yaml", "one.yaml", "two.yaml", "three.yaml")
    assert code == 2 and re.findall(r"^\w+: ", out, re.MULTILINE) == (["small: "] if command == "check" else [])
    heads = [line for line in err.splitlines() if re.match(r"\w+\.yaml:", line)]
    assert len(heads) == 4
    assert heads[0].startswith("one.yaml:4:7: skin: missing key 'thickness_mm'")
    assert heads[1].startswith("one.yaml:4:8: skin: unknown key 'thicknes_mm'; did you mean 'thickness_mm'?")
    assert heads[2] == "two.yaml:2:42: wound.outline.length_mm: got 'thirty', wanted a number"
    assert heads[3] == "three.yaml: No such file or directory"
    assert names(here) == ["held.yaml", "narrow.yaml", "one.yaml", "small.yaml", "two.yaml"]


@pytest.mark.parametrize("command", ["check", "close", "compare", "mesh"])
def test_two_files_with_one_name(flatseam, here, command):
    """Their results would go to one folder."""
    (here / "other.yaml").write_text(SMALL)
    code, out, err = flatseam(command, "small.yaml", "other.yaml")
    assert (code, out) == (2, "")
    assert err == "other.yaml: name: 'small' is also the name of small.yaml; results would mix\n"
    assert names(here) == ["held.yaml", "narrow.yaml", "other.yaml", "small.yaml"]


@pytest.mark.parametrize("command", ["check", "close", "compare"])
@pytest.mark.parametrize(
    ("name", "other"),
    [("comparison.html", "flatseam compare"), ("comparison-figures", "flatseam compare"),
     ("small.failed.json", "small.yaml:1:7")],
)  # fmt: skip
def test_name_of_a_file(flatseam, here, command, name, other):
    """A case whose folder would be where a file is written, by this or another command, is refused before any work."""
    (here / "other.yaml").write_text(SMALL.replace("name: small", f"name: {name}"))
    code, out, err = flatseam(command, "small.yaml", "other.yaml")
    assert (code, out, (here / "results").exists()) == (2, "", False)
    assert err.startswith(f"other.yaml:1:7: {name!r} in the folder of results is also written by {other}; ")


@pytest.mark.parametrize("command", ["close", "mesh"])
@pytest.mark.parametrize("into", ["notes", "notes/below"])
def test_into_a_file(flatseam, here, command, into):
    """Results cannot go into a file, nor below one: exit code 2 and one line."""
    (here / "notes").write_text("kept")
    code, out, err = flatseam(command, "small.yaml", "--into", into)
    assert (code, out) == (2, "")
    assert err.startswith("small: ") and "notes" in err and err.count("\n") == 1
    assert (here / "notes").read_text() == "kept"


@pytest.mark.skipif(not Path("/proc/self").exists(), reason="needs a folder that not even root can write to")
@pytest.mark.parametrize("command", ["close", "mesh"])
@pytest.mark.parametrize("into", ["/proc", "/proc/results"])
def test_into_a_folder_that_cannot_be_written(flatseam, command, into):
    code, out, err = flatseam(command, "small.yaml", "--into", into)
    assert (code, out) == (2, "")
    assert err.startswith("small: ") and "/proc" in err and err.count("\n") == 1


# Check and mesh -----------------------------------------------------------------------------------------------


def test_check(flatseam, here):
    """Geometry of each case, one after the other."""
    (here / "other.yaml").write_text(SMALL.replace("small", "other"))
    code, out, err = flatseam("check", "small.yaml", "other.yaml")
    assert (code, err) == (0, "")
    assert [line for line in out.splitlines() if not line.startswith(" ")] == [
        "small: case, lens, side-to-side",
        "other: case, lens, side-to-side",
    ]
    assert "  length to width   3.000\n" in out


def test_check_forecasts_cones(flatseam):
    """A 3:1 lens: 73.7 degrees at each tip, twice that along the seam, nothing in all; both edges of one length."""
    _, out, _ = flatseam("check", "small.yaml")
    forecast = out[out.index("  seams") :].splitlines()
    assert [" ".join(line.split()) for line in forecast] == [
        "seams first edge, second edge, ratio",
        "1 32.18 mm, 32.18 mm, 1.000",
        "points that meet surplus skin: 360 degrees less those that meet; above 0 a cone may stand, below 0 it dips",
        "1 +73.7 at (-15.0, 0.0)",
        "2 +73.7 at (15.0, 0.0)",
        "-147.5 spread along seam 1",
        "sum 0.0",
        "takes about 1 seconds on one core, 2 200 unknowns, 310 MB",
    ]


@pytest.mark.parametrize(
    ("options", "warning"),
    [
        (["check", "small.yaml"], "small.yaml:2:25: warning: 'kind: drawn' is called 'kind: traced' now\n"),
        (["compare", "narrow.yaml", "--sort", "passed_through_mm2"],
         "flatseam compare --sort: warning: 'passed_through_mm2' is called 'self_intersection_mm2' now\n"),
    ],
)  # fmt: skip
def test_former_names(here, monkeypatch, capsys, options, warning):
    """What is still read under its former name is warned of in the format of all warnings, once, and then read."""
    traced = SMALL.replace("kind: lens, length_mm: 30, width_mm: 10", "kind: drawn")
    (here / "small.yaml").write_text(traced)
    monkeypatch.setattr("sys.argv", ["flatseam", *options])
    with pytest.raises(SystemExit):
        main()
    stderr = capsys.readouterr().err
    assert stderr.startswith(warning) and stderr.count("warning") == 1
    assert "needed: either file or points_mm" in stderr or "no 'self_intersection_mm2'" in stderr


def test_check_nothing(flatseam):
    """Without a file there is nothing that could be right."""
    assert flatseam("check") == (2, "", "flatseam check: name at least one file, or --schema\n")


def test_schema(flatseam):
    """The JSON Schema takes the case that shows every key, and not one with a key too many."""
    code, out, err = flatseam("check", "--schema")
    assert (code, err) == (0, "")
    schema = json.loads(out)
    Draft202012Validator.check_schema(schema)
    reference = YAML(typ="safe").load((ROOT / "configs" / "reference.yaml").read_text())
    valid = Draft202012Validator(schema)
    assert list(valid.iter_errors(reference)) == []
    assert [error.message for error in valid.iter_errors(reference | {"colour": "red"})] == [
        "Additional properties are not allowed ('colour' was unexpected)"
    ]


def test_mesh(flatseam, here):
    """Both files hold the triangles that the line counts, in a folder that is made for them."""
    code, out, err = flatseam("mesh", "small.yaml", "--into", "deep/er")
    assert (code, err) == (0, "")
    line = re.fullmatch(r"small: (\d+) triangles, (\d+) nodes, smallest angle [\d.]+ degrees; (.*) and (.*)\n", out)
    assert line.groups()[2:] == ("deep/er/small.vtu", "deep/er/small.msh")
    assert names(here / "deep" / "er") == ["small.msh", "small.vtu"]
    for name in ("small.msh", "small.vtu"):
        mesh = meshio.read(here / "deep" / "er" / name)
        assert len(mesh.cells_dict["triangle6"]) == int(line[1])
        assert len(mesh.points) == int(line[2])


def test_wound_that_cannot_be_drawn_as_a_mesh(flatseam, here):
    code, out, err = flatseam("mesh", "narrow.yaml")
    assert (code, out) == (2, "")
    assert "wider than half a segment" in err
    assert "meshes" not in names(here)


# The command line ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("options", "hint"),
    [
        (["close", "small.yaml", "--agian"], "--again"),
        (["chekc", "small.yaml"], "check"),
        (["close", "small.yaml", "--into"], "--into requires an argument"),
        (["close"], "FILES"),
        (["mesh"], "FILES"),
        (["check", "--schema=perhaps"], "perhaps"),
    ],
)
def test_bad_words(flatseam, here, options, hint):
    """Exit code 2, and a hint on stderr."""
    code, out, err = flatseam(*options)
    assert (code, out) == (2, "")
    assert hint in err
    assert names(here) == ["held.yaml", "narrow.yaml", "small.yaml"]


@pytest.mark.parametrize("command", ["check", "close", "compare", "fit", "mesh"])
def test_help(flatseam, command):
    """The help of each command has an example that names files of this project."""
    code, out, err = flatseam(command, "--help")
    assert (code, err) == (0, "")
    example = re.search(r"Example: flatseam (\w+) (.*)", out)
    assert example[1] == command
    named = [word for word in example[2].split() if "/" in word]
    assert named and all((ROOT / word).exists() for word in named)


def test_help_of_all(flatseam):
    """The commands, and the caution."""
    code, out, _ = flatseam("--help")
    assert code == 0
    commands = re.findall(r"^│ (\w+) ", out, re.MULTILINE)
    assert commands == [
        "check",
        "close",
        "compare",
        "fit",
        "mesh",
        "new",
        "sites",
        "study",
        "teach",
        "validate",
        "verify",
    ]
    assert "not a medical device" in " ".join(out.split())


def test_help_is_not_taken_for_markup(flatseam):
    """Every sentence of the help arrives whole, and no option has a word against it that is of no use."""
    assert "page to explore, results/CASE.html, from many" in " ".join(flatseam("teach", "--help")[1].split())
    options = [
        line for command in ("close", "compare", "fit", "teach") for line in flatseam(command, "--help")[1].split()
    ]
    assert [word for word in options if word.startswith(("--no-", "--empty-"))] == ["--no-spread"]
    assert "each gets a folder of its name for its results" in " ".join(flatseam("close", "--help")[1].split())


def test_version(flatseam):
    assert flatseam("--version") == (0, f"{fem.__version__}\n", "")
