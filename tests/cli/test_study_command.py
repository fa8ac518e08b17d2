"""`flatseam study --table` computes nothing, and names what is not whole."""

from functools import partial

import pytest
from standin import text

from fem.cli import cli
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
