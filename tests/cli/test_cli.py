"""The commands: exit codes, what is said where, and that interrupted runs leave nothing half done."""

import json
import os
import pty
import re
import shutil
import signal
import subprocess
import sysconfig
import time
from functools import partial
from pathlib import Path

import meshio
import pytest
from jsonschema import Draft202012Validator
from ruamel.yaml import YAML
from small_cases import HELD, SMALL
from terminal import content, names

import fem
from fem.cli.cli import main
from fem.cli.files import read_lessons
from fem.results.identity import KEPT

ROOT = Path(__file__).parents[2]
FLATSEAM = Path(sysconfig.get_path("scripts")) / "flatseam"
NARROW = SMALL.replace("small", "narrow").replace("undermine_mm: 6", "undermine_mm: 0.1")  # of half a segment
PATIENCE = 600  # s; the kernels may have to be compiled first
pytestmark = pytest.mark.usefixtures("here")


@pytest.fixture
def here(tmp_path, monkeypatch):
    """An empty working folder with some case files."""
    for name, written in {"small": SMALL, "held": HELD, "narrow": NARROW}.items():
        (tmp_path / f"{name}.yaml").write_text(written)
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    """`flatseam close small.yaml`, piped, in a process of its own, and the folder in which it ran."""
    folder = tmp_path_factory.mktemp("done")
    (folder / "small.yaml").write_text(SMALL)
    return folder, subprocess.run(
        [FLATSEAM, "close", "small.yaml"], cwd=folder, capture_output=True, text=True, check=False
    )


@pytest.fixture
def result(done, here):
    """The results folder of that run, copied to the working folder."""
    return Path(shutil.copytree(done[0] / "results" / "small", here / "results" / "small"))


# Close --------------------------------------------------------------------------------------------------------


def test_close(done):
    """Exit code 0, the results folder complete, and one line that says what came out and where."""
    folder, ran = done
    numbers = json.loads((folder / "results" / "small" / "measures.json").read_text())
    assert ran.returncode == 0
    assert ran.stdout == (
        f"small: cones {numbers['cone_height_mm']:.1f} mm, closing force {numbers['closing_force_N']:.2f} N, "
        f"scar {numbers['scar_length_mm']:.1f} mm; pictures in results/small/pictures\n"
    )
    assert names(folder / "results") == ["small"]
    assert names(folder / "results" / "small") == sorted({name.split("/")[0] for name in KEPT["pictures"]})


def test_quiet_when_piped(done):
    """No progress, no warnings, no escape codes."""
    assert done[1].stderr == ""
    assert "\x1b" not in done[1].stdout and "\r" not in done[1].stdout


def test_close_again(result, flatseam):
    """A complete result is left as it is, and the line says how to compute it once more."""
    before = content(result)
    code, out, err = flatseam("close", "small.yaml")
    assert (code, err) == (0, "")
    assert out == "small: already in results/small (--again computes it once more)\n"
    assert content(result) == before


def test_not_converged(result, flatseam):
    """Edges that cannot meet: exit code 3, a note of how far it came and no folder.

    The other cases have their turn, and the worst exit code counts: 2 of one that cannot be meshed is less.
    """
    code, out, err = flatseam("close", "held.yaml", "narrow.yaml", "small.yaml")
    assert code == 3
    assert re.match(r"held: not converged: .*forces of .* N are left.* try .*\nnarrow: an undermined zone .*\n$", err)
    assert out.startswith("small: already in")
    assert names(result.parent) == ["held.failed.json", "small"]
    assert 0 < json.loads((result.parent / "held.failed.json").read_text())["reached"]["closed"] < 1


def test_wound_that_cannot_be_meshed(flatseam, here):
    """An undermined zone narrower than half a segment: exit code 2, the reason, nothing written."""
    code, out, err = flatseam("close", "narrow.yaml")
    assert (code, out) == (2, "")
    assert re.match(r"narrow: an undermined zone must be wider than half a segment, and reach 0.9 mm beyond", err)
    assert names(here) == ["held.yaml", "narrow.yaml", "small.yaml"]


@pytest.mark.parametrize("command", ["check", "close", "compare", "mesh"])
def test_bad_files(flatseam, here, command):
    """Every complaint about every file, with its place, on stderr; exit code 2; no work on the good file either."""
    (here / "one.yaml").write_text(SMALL.replace("thickness_mm", "thicknes_mm"))
    (here / "two.yaml").write_text(SMALL.replace("length_mm: 30", "length_mm: thirty"))
    code, out, err = flatseam(command, "small.yaml", "one.yaml", "two.yaml", "three.yaml")
    assert (code, out) == (2, "")
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


def test_something_else_in_the_way(flatseam, here):
    """A folder of the case's name that holds something else is not replaced by results."""
    (here / "small").mkdir()
    (here / "small" / "thesis.txt").write_text("years of work")
    code, _, err = flatseam("close", "small.yaml", "--into", ".", "--again")
    assert code == 2
    assert err == "small: small is not a results folder and will not be replaced; move it out of the way\n"
    assert names(here / "small") == ["thesis.txt"]


# Interrupted --------------------------------------------------------------------------------------------------


def started(*options, stderr=subprocess.PIPE):
    """The command in a process of its own, which heeds Ctrl-C even if the tests run in the background."""
    heed = partial(signal.signal, signal.SIGINT, signal.SIG_DFL)
    return subprocess.Popen([FLATSEAM, *options], stdout=subprocess.PIPE, stderr=stderr, preexec_fn=heed)


def wait_for_draft(process, into):
    """Wait until results are being written beside their place; fail if the process ends before."""
    end = time.monotonic() + PATIENCE
    while not any(into.glob(".small-*/draft/stages.npz")):
        assert process.poll() is None and time.monotonic() < end
        time.sleep(0.005)


def test_killed_while_solving(here):
    """On a terminal a bar tells how far the wound is closed; a process killed then leaves nothing at all."""
    terminal, end = pty.openpty()
    process = started("close", "small.yaml", stderr=end)
    os.close(end)
    seen = b""
    while not re.search(rb"closing, +\d+ % closed, iteration \d+, ", seen):
        seen += os.read(terminal, 10_000)  # raises OSError if the process ends before
    process.kill()
    assert process.wait() == -signal.SIGKILL
    process.stdout.close()
    os.close(terminal)
    assert names(here) == ["held.yaml", "narrow.yaml", "small.yaml"]


def test_killed_while_writing(result):
    """A run killed half way through its files leaves the older result as it was, and no second one."""
    before = content(result)
    process = started("close", "small.yaml", "--again")
    wait_for_draft(process, result.parent)
    process.kill()
    process.communicate()
    assert process.returncode == -signal.SIGKILL
    assert content(result) == before
    assert [name for name in names(result.parent) if not name.startswith(".")] == ["small"]


def test_interrupted_while_writing(here):
    """Ctrl-C: exit code 130, a line on what is kept and how to go on, no folder, no draft of one."""
    process = started("close", "small.yaml")
    wait_for_draft(process, here / "results")
    process.send_signal(signal.SIGINT)
    out, err = process.communicate()
    assert (process.returncode, out) == (130, b"")
    assert err.startswith(b"flatseam: interrupted; results that are complete are kept, and the same command goes on")
    assert err.count(b"\n") == 1
    assert names(here / "results") == []


# Check and mesh -----------------------------------------------------------------------------------------------


def test_check(flatseam):
    """Geometry of each case, one after the other."""
    code, out, err = flatseam("check", "small.yaml", "held.yaml")
    assert (code, err) == (0, "")
    assert [line for line in out.splitlines() if not line.startswith(" ")] == [
        "small: lens, side-to-side",
        "held: lens, side-to-side",
    ]
    assert "  length to width   3.000\n" in out


def test_check_forecasts_cones(flatseam):
    """A 3:1 lens: 73.7 degrees at each tip, twice that along the seam, nothing in all; both edges of one length."""
    _, out, _ = flatseam("check", "small.yaml")
    forecast = out[out.index("  seams") :].splitlines()
    assert [" ".join(line.split()) for line in forecast] == [
        "seams first edge, second edge, ratio",
        "1 32.18 mm, 32.18 mm, 1.000",
        "points that meet angle deficit, degrees; above 0 a cone may stand, below 0 the skin dips or saddles",
        "1 +73.7 at (-15.0, 0.0)",
        "2 +73.7 at (15.0, 0.0)",
        "-147.5 spread along seam 1",
        "sum 0.0",
    ]


@pytest.mark.parametrize(
    ("options", "warning"),
    [
        (["check", "small.yaml"], "small.yaml:2:25: warning: 'kind: drawn' is called 'kind: traced' now\n"),
        (["compare", "held.yaml", "--sort", "passed_through_mm2"],
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
    assert flatseam("check") == (2, "", "flatseam check: name at least one case file, or --schema\n")


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
    assert commands == ["check", "close", "compare", "fit", "mesh", "sites", "study", "teach"]
    assert "not a medical device" in " ".join(out.split())


def test_help_is_not_taken_for_markup(flatseam):
    """Every sentence of the help arrives whole."""
    assert "each gets a folder of its name for its results" in " ".join(flatseam("close", "--help")[1].split())


def test_version(flatseam):
    assert flatseam("--version") == (0, f"{fem.__version__}\n", "")


# Teaching -----------------------------------------------------------------------------------------------------

LESSON = """\
title: A lesson
question: Why?
case: small.yaml
compare: [{label: held, case: held.yaml}]
"""
TURNED = LESSON.replace(
    "{label: held, case: held.yaml}", "{name: NAME, label: it, change: {skin.tension.lines_deg: 90}}"
)
PAGE = """\
title: A page
question: Why?
base:
BASE
ratios: [2, 3]
choices: [{name: lens, label: lens, change: {}}]
""".replace("BASE", "\n".join(f"  {line}" for line in SMALL.replace("name: small", "name: other").splitlines()))


def test_teach(flatseam, result, here):
    """A product of a closed case, on the paper asked for."""
    code, printed, complaints = flatseam("teach", "small.yaml", "--only", "template", "--paper", "Letter")
    assert (code, complaints) == (0, "") and "small: handout in results/small/handout" in printed
    assert (here / "results/small/handout/template.pdf").read_bytes().startswith(b"%PDF")


def test_teach_with_a_neighbour_that_does_not_converge(flatseam, result, here):
    """The lesson is written, the neighbour told of, and the exit code says that not everything was done.

    A neighbour's folder that holds the result of another case is announced before it is closed again.
    """
    (here / "lesson.yaml").write_text(LESSON)
    shutil.copytree(result, here / "results/held")
    code, printed, complaints = flatseam("teach", "lesson.yaml", "--only", "lesson")
    announced, missing = complaints.splitlines()
    assert announced.startswith("held: of another case") and announced.endswith("; closing again")
    assert code == 3 and "handout in" in printed and missing.startswith("held: not closed, and missing in the sheets: ")
    assert (here / "results/small/handout/lesson.pdf").exists()


@pytest.mark.parametrize(
    ("options", "complaint"),
    [
        (("small.yaml", "--only", "tempalte"), "no 'tempalte'; did you mean 'template'"),
        (("bad.yaml",), "bad.yaml:4:7: case: "),
        (("small.yaml", "lesson.yaml"), "'small' is also the name of small.yaml"),
    ],
)
def test_teach_bad_input(flatseam, here, options, complaint):
    """Words that are not known, a lesson that cannot be read, two lessons on one case: nothing is begun."""
    (here / "lesson.yaml").write_text(LESSON)
    (here / "bad.yaml").write_text("# a lesson\n" + LESSON.replace("small.yaml", "absent.yaml"))
    code, _, complaints = flatseam("teach", *options)
    assert code == 2 and complaint in complaints and not (here / "results").exists()


@pytest.mark.parametrize(
    ("second", "name", "complaint"),
    [
        (TURNED.replace("small.yaml", "other.yaml"), "it", "second.yaml:4:11: 'it' in .* by lesson.yaml:4:11; "),
        (TURNED.replace("small.yaml", "other.yaml"), "other", "second.yaml:3:7: 'other' in .* by lesson.yaml:4:11; "),
        (PAGE, "other.html", "lesson.yaml:4:11: 'other.html' in .* by second.yaml:1:1; "),
        (PAGE.replace("name: other", "name: comparison"), "it", "second.yaml:1:1: 'comparison.html' .*compare; "),
    ],
    ids=["neighbours", "case and neighbour", "page and neighbour", "page and table"],
)
def test_teach_does_not_mix(flatseam, here, second, name, complaint):
    """Two different cases of one name, or a case and a page, in two files of one command: refused, with both places."""
    other = SMALL.replace("name: small", "name: other").replace("length_mm: 30", "length_mm: 28")
    (here / "other.yaml").write_text(other)
    (here / "lesson.yaml").write_text(TURNED.replace("NAME", name))
    (here / "second.yaml").write_text(second.replace("NAME", "it"))
    code, out, err = flatseam("teach", "lesson.yaml", "second.yaml")
    assert (code, out, (here / "results").exists()) == (2, "", False)
    assert re.match(complaint, err) and len(err.splitlines()) == 1


def test_teach_shares_what_is_the_same(flatseam, result, here):
    """A neighbour of two lessons that is the same to the letter has one folder; one that is not needed is no matter."""
    (here / "lesson.yaml").write_text(LESSON)
    (here / "second.yaml").write_text(
        LESSON.replace("case: small.yaml", "case: held.yaml").replace("held, ", "again, ")
    )
    (here / "third.yaml").write_text(TURNED.replace("NAME", "held"))
    assert flatseam("check", "small.yaml", "held.yaml")[0] == 0
    lessons = read_lessons([here / "lesson.yaml", here / "second.yaml"], ())[0]
    assert [lesson.case.name for lesson in lessons] == ["small", "held"]
    (alone,) = read_lessons([here / "third.yaml"], ("template",))[0]
    assert alone.case == lessons[0].case
