"""A folder that several processes put in place at once."""

import os
import subprocess
import sys
from contextlib import suppress
from pathlib import Path

import pytest

from fem.results.folder import sweep

HERE = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])}

WRITER = """
import sys
from pathlib import Path
from fem.results.folder import {how}
for turn in range(200):
    with {how}(Path(sys.argv[1])) as draft:
        for name in "abc":
            (draft / name).write_text(sys.argv[2])
"""

PIPES = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
STOPPED = """
import sys
from pathlib import Path
from fem.results.folder import whole
with whole(Path(sys.argv[1])) as draft:
    print("writing", flush=True)
    sys.stdin.readline()
    (draft / "a").write_text("whole")
"""


@pytest.mark.parametrize("how", ["first", "whole"])
def test_many_writers_of_one_folder(tmp_path, how):
    """Four processes put the same folder in place 200 times each: what is there is always of one of them, and whole."""
    words = [sys.executable, "-c", WRITER.format(how=how), str(tmp_path / "one")]
    writers = [subprocess.Popen([*words, str(i)], env=HERE, stderr=subprocess.PIPE, text=True) for i in range(4)]
    seen = set()
    while any(writer.poll() is None for writer in writers):
        with suppress(FileNotFoundError):
            held = os.open(tmp_path / "one", os.O_RDONLY)  # this one, whatever takes its place
            try:
                seen.add("".join(Path(f"/proc/self/fd/{held}/{name}").read_text() for name in "abc"))
            finally:
                os.close(held)
    assert [writer.communicate()[1] for writer in writers] == [""] * 4
    assert [path.name for path in tmp_path.iterdir()] == ["one"]
    assert seen <= {"000", "111", "222", "333"} and (len(seen) == 1 if how == "first" else seen)


def test_drafts_of_the_dead(tmp_path):
    """A draft whose process was killed is swept, here and two folders below; one at work and other hidden files stay.

    The one at work then comes to its end.
    """
    kept = tmp_path / ".notes-of-mine"
    kept.mkdir()
    deep = tmp_path / "study" / "cases"
    words = [sys.executable, "-c", STOPPED, str(tmp_path / "one")]
    for place in (tmp_path / "one", deep / "two"):
        with subprocess.Popen([*words[:-1], str(place)], env=HERE, **PIPES) as killed:
            assert killed.stdout.readline() == b"writing\n"
            killed.kill()
    with subprocess.Popen(words, env=HERE, **PIPES) as at_work:
        at_work.stdout.readline()
        assert len(rooms(tmp_path)) == 3
        sweep(tmp_path)
        assert len(rooms(tmp_path)) == 1 and kept.exists() and deep.exists()
        at_work.communicate(b"go on\n")
    assert rooms(tmp_path) == [] and (tmp_path / "one" / "a").read_text() == "whole"


def rooms(folder):
    return list(folder.rglob(".*.draft"))
