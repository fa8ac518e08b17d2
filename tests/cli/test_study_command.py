"""`flatseam study`: its table computes nothing and names what is not whole; its words are checked before any work."""

import re
import time
from functools import partial

import pytest
from standin import text

from fem.cli import cli, progress
from fem.results.close import write_numbers
from fem.results.identity import address
from fem.study import keys, sweep


def test_damaged_results_are_named(tmp_path, monkeypatch, capsys):
    """Of two results one lost the end of its measures: its row is no number, and the command says which and why."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "study.yaml").write_text(text("few", [10, 20]))
    both = sweep.cases(keys.read(tmp_path / "study.yaml"))
    for case in both:
        folder = tmp_path / "results" / "few" / "cases" / address(case)
        folder.mkdir(parents=True)
        named = case.model_copy(update={"name": address(case)})
        write = partial(write_numbers, numbers={"cone_height_mm": 3.0}, how={"total_s": 1.0, "unknowns": 100})
        write(folder, case=named)
    (folder / "measures.json").write_text('{"cone_height_mm": 3.')
    with pytest.raises(SystemExit) as end:
        cli.app(["study", "study.yaml", "--table", "select status, cone_height_mm from study order by 1"])
    printed, complaints = capsys.readouterr()
    assert not end.value.code
    assert printed.splitlines() == ["status,cone_height_mm", "damaged,", "done,3.0"]
    assert complaints.count("\n") == 1
    assert f"{address(both[1])}: damaged: " in complaints and "measures.json" in complaints


@pytest.mark.parametrize("word", ["-3", "0", "1.5", "two", "1001", "9" * 5000])
@pytest.mark.parametrize("more", [["--dry-run"], []])
def test_number_of_workers(tmp_path, flatseam, word, more):
    """What is no number of workers is refused with what is allowed, not rounded or taken for the default."""
    (tmp_path / "study.yaml").write_text(text("few", [10, 20]))
    code, out, err = flatseam("study", tmp_path / "study.yaml", "--into", tmp_path, f"--workers={word}", *more)
    assert (code, out) == (2, "")
    words = " ".join(err.replace("│", "").split())
    assert f"got '{word[:40]}', wanted a whole number from 1 to 1000" in words
    assert [path.name for path in tmp_path.iterdir()] == ["study.yaml"]


def test_many_cases_to_check(tmp_path, flatseam, capsys):
    """Checking that takes long says once how long; a study of a few cases says nothing of it."""
    with progress.checking("many", patience=0.01) as watch:
        for done in range(3):
            watch(done=done, of=90_000)
            time.sleep(0.02)
    assert re.fullmatch(r"many: checking 90000 cases first, about \d+ minutes\n", capsys.readouterr().err)
    (tmp_path / "study.yaml").write_text(text("few", [10, 20]))
    code, out, err = flatseam("study", tmp_path / "study.yaml", "--into", tmp_path, "--dry-run")
    assert (code, err) == (0, "") and out.startswith("few: 2 cases, 2 of them to be computed")
