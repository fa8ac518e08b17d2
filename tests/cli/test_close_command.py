"""`flatseam close`: what is said and written, and that interrupted runs leave nothing half done."""

import json
import os
import pty
import re
import resource
import signal
import subprocess
import time
from functools import partial

import pytest
from small_cases import SMALL
from terminal import FLATSEAM, content, names

from fem.results.identity import KEPT
from fem.results.quantities import plus_minus, shown

PATIENCE = 600  # s; the kernels may have to be compiled first
pytestmark = pytest.mark.usefixtures("here")


# Close --------------------------------------------------------------------------------------------------------


def test_close(done):
    """Exit code 0, the results folder complete, and one line that says what came out and where."""
    folder, ran = done
    numbers = json.loads((folder / "results" / "small" / "measures.json").read_text())
    assert ran.returncode == 0
    assert ran.stdout == (
        f"small: cones {shown('cone_height_mm', numbers['cone_height_mm'])} mm, "
        f"closing force {numbers['closing_force_N']:.2f} N, "
        f"scar {numbers['scar_length_mm']:.1f} mm; results/small/index.html\n"
    )
    assert names(folder / "results") == ["small"]
    wanted = {name.split("/")[0] for name in KEPT["pictures"]} | {"index.html"}
    assert names(folder / "results" / "small") == sorted(wanted)


def test_quiet_when_piped(done):
    """No progress, no warnings, no escape codes; but where it takes long, as kernels do that are compiled first."""
    patience = r"small: (compiling the kernels first|.*, iteration \d+, )"
    assert [line for line in done[1].stderr.splitlines() if not re.match(patience, line)] == []
    assert "\x1b" not in done[1].stdout and "\r" not in done[1].stdout


def test_close_again(result, flatseam):
    """A complete result is left as it is, and the line says how to compute it once more."""
    before = content(result)
    code, out, err = flatseam("close", "small.yaml")
    assert (code, err) == (0, "")
    assert out == "small: already in results/small (--again computes it once more)\n"
    assert content(result) == before


def test_what_is_grave(flatseam, here):
    """One suture of thread 8-0, which holds 0.69 N, amid 30 mm of taut skin: the line says all three, stderr why."""
    pulled = SMALL.replace("along_N_per_m: 10, across_N_per_m: 5", "along_N_per_m: 10, across_N_per_m: 30")
    sutures = "sutures: {kind: interrupted, spacing_mm: 15, thread_size: 8-0}"
    (here / "small.yaml").write_text(pulled.replace("undermine_mm: 6", f"undermine_mm: 6, {sutures}"))
    code, out, err = flatseam("close", "small.yaml")
    number = r"[\d.]+"
    grave = rf"a suture carries {number} N, edges gape by up to {number} mm, skin is stretched {number} times"
    assert code == 0 and re.search(rf"; but {grave} near the wound\n$", out)
    for line in ("the knot-pull strength of absorbable 8-0", "sutures that are closer hold", "it tears before that"):
        assert re.search(f"^small: warning: .*{line}", err, re.MULTILINE)


def test_not_converged(result, flatseam):
    """Skin that does not come to rest: exit code 3, a note of how far it came and no folder.

    The other cases have their turn, and the worst exit code counts: 2 of one that cannot be meshed is less.
    """
    code, out, err = flatseam("close", "held.yaml", "narrow.yaml", "small.yaml")
    assert code == 3
    reason = r"closing: .*forces of .* N are left.* \(round-off: .*\)"
    assert re.match(rf"held.yaml: warning: .*\nheld: not converged: {reason}\nnarrow: an undermined zone .*\n$", err)
    assert out.startswith("small: already in")
    assert names(result.parent) == ["held.failed.json", "small"]
    assert json.loads((result.parent / "held.failed.json").read_text())["reached"]["closed"] == 1


def test_wound_that_cannot_be_meshed(flatseam, here):
    """An undermined zone narrower than half a segment: exit code 2, the reason, nothing written."""
    code, out, err = flatseam("close", "narrow.yaml")
    assert (code, out) == (2, "")
    assert re.match(r"narrow: an undermined zone must be wider than half a segment, and reach 0.9 mm beyond", err)
    assert names(here) == ["held.yaml", "narrow.yaml", "small.yaml"]


def test_something_else_in_the_way(flatseam, here):
    """A folder of the case's name that holds something else is not replaced by results."""
    (here / "small").mkdir()
    (here / "small" / "thesis.txt").write_text("years of work")
    code, _, err = flatseam("close", "small.yaml", "--into", ".", "--again")
    assert code == 2
    assert err == "small: small is not a results folder and will not be replaced; move it out of the way\n"
    assert names(here / "small") == ["thesis.txt"]


@pytest.mark.slow
def test_error(result, flatseam):
    """On a finished case --error adds errors and writes the page anew, no more; a second time it only prints them.

    A file that is damaged is told of, and made again when asked for.
    """
    before = content(result)
    code, out, err = flatseam("close", "small.yaml", "--error")
    after, path = content(result), result / "errors.json"
    assert (code, err) == (0, "") and {name for name in after if after[name] != before.get(name)} == {
        path,
        result / "index.html",
    }
    row = next(line for line in out.splitlines() if "closing force, N" in line)
    error = json.loads(path.read_text())["errors"]["closing_force_N"]
    assert plus_minus(error["mesh"] + error["patch"]) in row and error["how"] in row
    assert ">± " in (result / "index.html").read_text()
    code, out, _ = flatseam("close", "small.yaml", "--error")
    assert code == 0 and out.startswith("small: already in") and row in out and content(result) == after
    path.write_text(path.read_text()[:-9])
    code, out, err = flatseam("close", "small.yaml")
    assert code == 0 and "errors.json is damaged and not used" in err


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


@pytest.mark.slow
def test_killed_while_solving(here):
    """On a terminal a bar tells how far the wound is closed; a process killed then leaves nothing at all."""
    terminal, end = pty.openpty()
    process = started("close", "small.yaml", stderr=end)
    os.close(end)
    seen = b""
    while not re.search(rb"\d+ % closed, iteration \d+, ", seen):
        seen += os.read(terminal, 10_000)  # raises OSError if the process ends before
    process.kill()
    assert process.wait() == -signal.SIGKILL
    process.stdout.close()
    os.close(terminal)
    assert names(here) == ["held.yaml", "narrow.yaml", "small.yaml"]


@pytest.mark.slow
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


@pytest.mark.slow
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


@pytest.mark.slow
@pytest.mark.parametrize("kilobytes", [1, 130])  # the second is too little for skin.vtu alone
def test_no_room(here, kilobytes):
    """Where no file may be larger, as on a full disk: words, exit code 2, nothing is left, whatever library writes."""
    limit = partial(resource.setrlimit, resource.RLIMIT_FSIZE, (1000 * kilobytes,) * 2)
    words = [FLATSEAM, "close", "small.yaml"]
    ended = subprocess.run(words, capture_output=True, text=True, preexec_fn=limit, check=False)
    assert (ended.returncode, ended.stdout, ended.stderr) == (2, "", "small: [Errno 27] File too large\n")
    assert names(here / "results") == []
