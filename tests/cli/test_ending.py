"""How the program ends when what it prints cannot be written: in words, with an exit code, without a traceback."""

import os
import signal
import subprocess
import sys
import sysconfig
import time
from contextlib import suppress
from functools import partial
from pathlib import Path

import pytest
from small_cases import SMALL

import fem
from fem.cli.ending import ended as ending

FLATSEAM = Path(sysconfig.get_path("scripts")) / "flatseam"
SAID = "flatseam: what is printed cannot be written: "
MORE = (pytest.param(options, marks=pytest.mark.slow) for options in (["sites", "forearm"], ["check", "--schema"]))
COMMANDS = (["check", "small.yaml"], ["sites"], *MORE)


@pytest.fixture
def run(tmp_path):
    """A function that runs a command in a process of its own, with a stdout of its own and what else is given."""
    (tmp_path / "small.yaml").write_text(SMALL)

    def ran(*options, stdout, **more):
        return subprocess.run(
            [FLATSEAM, *options], cwd=tmp_path, stdout=stdout, stderr=subprocess.PIPE, text=True, check=False, **more
        )

    return ran


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a file that is always full")
@pytest.mark.parametrize("options", COMMANDS, ids=" ".join)
@pytest.mark.parametrize("buffered", ["", "1"])
def test_full_output(run, options, buffered):
    """Exit code 2, whether letters are written at once or at the end."""
    with open("/dev/full", "w") as full:
        ended = run(*options, stdout=full, env=os.environ | {"PYTHONUNBUFFERED": buffered})
    assert (ended.returncode, ended.stderr) == (2, f"{SAID}No space left on device\n")


@pytest.mark.parametrize("options", COMMANDS, ids=" ".join)
def test_nobody_reads(run, options):
    """As after `flatseam ... | head -1`: the exit code of a broken pipe, and nothing said of it."""
    end, start = os.pipe()
    os.close(end)
    ended = run(*options, stdout=start)
    os.close(start)
    assert (ended.returncode, ended.stderr) == (128 + signal.SIGPIPE, "")


def test_closed_output(run):
    """Nothing to write to from the start: exit code 2, not a success that nobody sees."""
    ended = run("check", "small.yaml", stdout=None, preexec_fn=partial(os.close, 1))
    assert (ended.returncode, ended.stderr) == (2, f"{SAID}Bad file descriptor\n")


def test_full_complaints(run, tmp_path):
    """No place for complaints: the exit code says what they would."""
    ended = subprocess.run(f"{FLATSEAM} check none.yaml 2>&-", shell=True, cwd=tmp_path, check=False)
    assert ended.returncode == 2


@pytest.mark.parametrize(
    "settings", [{"PYTHONIOENCODING": "ascii"}, {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}]
)
def test_output_of_plain_letters(run, settings):
    """What an output cannot write is written in letters that it can: square millimetres, degrees."""
    ended = run("check", "small.yaml", stdout=subprocess.PIPE, env=os.environ | settings)
    assert (ended.returncode, ended.stderr) == (0, "")
    assert "removed area      204.38 mm2\n" in ended.stdout and "73.74, 73.74 deg\n" in ended.stdout


@pytest.mark.parametrize("made", [ImportError("no module named so"), SystemExit(2)])
@pytest.mark.parametrize(("number", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_stopped_in_a_library(capsys, number, code, made):
    """A library that makes an error of its own of a signal, as vtk does while it is imported, hides it from nobody."""

    def command():
        try:
            os.kill(os.getpid(), number)
            time.sleep(10)
        except SystemExit:
            raise made from None

    assert ending(command) == code
    assert capsys.readouterr().err.count("the same command") == 1


def test_stopped_too_late(capsys):
    """What was done to its end although a signal was lost in a library is a success."""

    def command():
        with suppress(SystemExit):
            os.kill(os.getpid(), signal.SIGINT)
            time.sleep(10)

    assert (ending(command), capsys.readouterr().err) == (0, "")


@pytest.mark.parametrize(("number", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
@pytest.mark.parametrize("library", ["cyclopts", "numba"])
def test_stopped_while_imported(tmp_path, number, code, library):
    """A signal while the command line, or what solves, is still being imported: its word and exit code."""
    (tmp_path / "small.yaml").write_text(SMALL)
    (tmp_path / f"{library}.py").write_text(f"import os, time\nos.kill(os.getpid(), {number:d})\ntime.sleep(10)\n")
    words = [sys.executable, "-c", "from fem.cli.ending import main; main()", "close", "small.yaml"]
    path = os.pathsep.join([str(tmp_path), str(Path(fem.__file__).parents[1])])
    ended = subprocess.run(
        words, cwd=tmp_path, env=os.environ | {"PYTHONPATH": path}, capture_output=True, text=True, check=False,
        preexec_fn=partial(signal.signal, signal.SIGINT, signal.SIG_DFL),
    )  # fmt: skip
    assert (ended.returncode, ended.stderr.count("\n")) == (code, 1)
    assert "the same command goes on from there" in ended.stderr


MESHING = """
import os, signal, time
import gmsh
from fem.comparison.stopping import LOOK, heeding
with heeding():
    gmsh.initialize(readConfigFiles=False, interruptible=False)
    time.sleep(4 * LOOK)
    os.kill(os.getpid(), signal.SIGTERM)
    time.sleep(10)
"""


def test_heard_although_gmsh_has_begun():
    """gmsh takes the handler of SIGTERM away when it starts; that is undone while it works, not when it has ended."""
    assert subprocess.run([sys.executable, "-c", MESHING], check=False).returncode == 143


@pytest.mark.slow
@pytest.mark.parametrize(("number", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_stopped(tmp_path, number, code):
    """A signal while a wound is being closed, after it was meshed: its exit code, and a line on how to go on."""
    fine = SMALL.replace("edge_mm: 3, tip_mm: 3", "edge_mm: 0.3, tip_mm: 0.25")
    (tmp_path / "fine.yaml").write_text(fine)
    heed = partial(signal.signal, signal.SIGINT, signal.SIG_DFL)
    with subprocess.Popen(
        [FLATSEAM, "close", "fine.yaml", "--again"],
        cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, preexec_fn=heed,
    ) as process:  # fmt: skip
        while int(Path(f"/proc/{process.pid}/stat").read_text().rsplit(")")[-1].split()[11]) < 8 * os.sysconf(
            "SC_CLK_TCK"
        ):
            assert process.poll() is None
            time.sleep(0.05)
        process.send_signal(number)
        out, err = process.communicate(timeout=60)
    assert (process.returncode, out) == (code, "")
    assert err.startswith("flatseam: ") and err.count("\n") == 1
    assert "results that are complete are kept, and the same command, without --again, goes on from there" in err
    assert [path.name for path in tmp_path.iterdir()] == ["fine.yaml"]


@pytest.mark.slow
@pytest.mark.parametrize(("number", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_stopped_study(tmp_path, number, code):
    """A signal to a study whose workers are at work: its exit code and one line more, nothing of what leaks, soon.

    What a worker is at is not waited for, which Dask does for 4 s.
    """
    base = "\n".join(f"  {line}" for line in SMALL.replace("tip_mm: 3", "tip_mm: 0.4").splitlines()[1:])
    (tmp_path / "study.yaml").write_text(f"name: some\nbase:\n{base}\ngrid: {{mesh.edge_mm: [0.4, 0.5, 0.6]}}\n")
    heed = partial(signal.signal, signal.SIGINT, signal.SIG_DFL)
    with subprocess.Popen(
        [FLATSEAM, "study", "study.yaml", "--workers", "1"],
        cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, preexec_fn=heed,
    ) as process:  # fmt: skip
        assert "1 worker, watch them at" in process.stderr.readline()
        while not any(tmp_path.glob("results/some/cases/*.begun")):
            time.sleep(0.05)
        time.sleep(1.0)  # into the closure
        start = time.monotonic()
        process.send_signal(number)
        out, err = process.communicate(timeout=60)
        assert time.monotonic() - start < 4
    assert (process.returncode, out, err.count("\n")) == (code, "", 1)
    assert err.startswith("flatseam: ") and "the same command goes on from there" in err
