"""`flatseam study` on real wounds, on coarse triangles: its numbers, what is kept, its log and its table in SQL."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
import standin

from fem.cli import cli
from fem.closure.closing import closed
from fem.closure.measure import measures
from fem.results.identity import KEPT, address
from fem.results.quantities import numbers, tabled
from fem.study import keys, sweep, table

STANDIN = Path(standin.__file__)
HERE = {**os.environ, "PYTHONPATH": os.pathsep.join([str(STANDIN.parent), str(STANDIN.parent.parent)])}

REAL = """\
name: real
base:
  wound: {outline: {kind: lens, length_mm: 20, width_mm: 10}}
  skin: {thickness_mm: 1.5, law: {kind: neo-hooke, shear_kPa: 33.3}, tension: {along_N_per_m: 2, across_N_per_m: 1}}
  bed: {pull_kPa_per_mm: 1, shear_kPa_per_mm: 0.1}
  patch: {radius_mm: 40}
  mesh: {edge_mm: 2, tip_mm: 2, far_mm: 9}
zip:
  wound.outline.length_mm: [20, 24, 30]   # cones of the second still stand: of flat skin their places are round-off
  closure: [{undermine_mm: 6}, {undermine_mm: 6}, {}]
  bed.pull_kPa_per_mm: [1, 1, 1e5]   # the last does not let go of the skin: its edges cannot meet
  bed.shear_kPa_per_mm: [0.1, 0.1, 1e5]
  patch.radius_mm: [40, 40, 24]
  mesh.edge_mm: [2, 2, 3]    # on finer triangles that takes ten times as long to tell
  mesh.tip_mm: [2, 2, 3]
keep: KEEP
"""


def results(into):
    """Names of the complete results, each with its time of writing."""
    return {path.parent.name: path.stat().st_mtime_ns for path in (into / "cases").glob("[!.]*/run.json")}


def study_command(here, *text):
    """`flatseam study` in a folder, in a process of its own, on one worker: to start one takes longer than a case."""
    ran = [sys.executable, "-c", "from fem.cli.cli import main; main()", "study", *text, "--workers", "1"]
    return subprocess.run(ran, cwd=here, env=HERE, capture_output=True, text=True, check=False, timeout=600)


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    """`flatseam study real.yaml` in a folder of its own."""
    here = tmp_path_factory.mktemp("done")
    (here / "real.yaml").write_text(REAL.replace("KEEP", "measures"))
    return here, study_command(here, "real.yaml")


@pytest.fixture
def here(done, monkeypatch, capsys):
    """The folder of that run, and a function that runs `flatseam study` in this process: code, stdout, stderr."""

    def run(*text):
        with pytest.raises(SystemExit) as end:
            cli.app(["study", *text])
        return end.value.code or 0, *capsys.readouterr()

    monkeypatch.chdir(done[0])
    return done[0], run


def real(here):
    return sweep.cases(keys.read(here / "real.yaml"))


@pytest.mark.slow
def test_numbers_are_those_of_a_closure(done):
    """The table has the inputs and measures that closing each case here gives, every digit; round-off in mm is 0."""
    here, ran = done
    assert ran.stdout == "real: 3 cases, 2 done, 1 not converged; results/real/study.parquet\n"
    assert ran.returncode == 3
    columns, rows = table.selected(here / "results/real/study.parquet", "select * from study where status = 'done'")
    result = [dict(zip(columns, row, strict=True)) for row in rows]
    for case, row in zip(real(here), result, strict=False):
        written = json.loads((here / "results/real/cases" / address(case) / "measures.json").read_text())
        expected = {name: tabled(name, value) for name, value in numbers(written).items() if value is not None}
        assert {name: row[name] for name in expected} == expected
        again = numbers(measures(closed(case)))
        assert {name: row[name] for name in expected} == pytest.approx(
            {name: tabled(name, again[name]) for name in expected}, rel=1e-6, abs=1e-9
        )
        assert row["wound.outline.length_mm"] == case.wound.outline.length_mm
        assert row["skin.law.kind"] == "neo-hooke" and row["key"] == address(case)


def test_only_what_is_asked_is_kept(done):
    """Folders hold case, measures and run and no more, and beside them is the reason of the case that failed."""
    here, _ = done
    kept = {
        path.name: {p.name for p in path.iterdir()} for path in (here / "results/real/cases").iterdir() if path.is_dir()
    }
    good, other, held = map(address, real(here))
    assert kept == {good: set(KEPT["measures"]), other: set(KEPT["measures"])}
    record = json.loads((here / f"results/real/cases/{held}.failed.json").read_text())
    assert record["failure"] == "not converged" and "forces of" in record["reason"]
    assert 0 < record["reached"]["closed"] <= 1 and record["inputs"]["bed.shear_kPa_per_mm"] == 1e5


def test_a_study_that_is_done_is_read(done, here):
    """Run once more, nothing is computed, no worker is started, and the answer is the same."""
    (here, run), (_, ran) = here, done
    before, lines = results(here / "results/real"), (here / "results/real/study.jsonl").read_text().splitlines()
    assert run("real.yaml") == (3, ran.stdout, "")
    assert results(here / "results/real") == before
    added = (here / "results/real/study.jsonl").read_text().splitlines()[len(lines) :]
    assert [json.loads(line)["event"] for line in added] == ["start", "end"]
    assert run("real.yaml", "--dry-run") == (0, "real: 3 cases, 0 of them to be computed\n", "")


def test_log(done):
    """A line an event, with rate and time left, and the dashboard's address, which is on this machine only."""
    here, ran = done
    events = [json.loads(line) for line in (here / "results/real/study.jsonl").read_text().splitlines()][:6]
    assert [e["event"] for e in events] == ["start", "workers", "case", "case", "case", "end"]
    assert events[1]["dashboard"].startswith("http://127.0.0.1:") and events[1]["dashboard"] in ran.stderr
    assert events[3]["left_s"] > 0 == events[4]["left_s"] and [e["done"] for e in events[2:5]] == [1, 2, 3]


def test_sql(here):
    """A query is answered as CSV when piped; one that fails says why, with exit code 2."""
    folder, run = here
    query = 'select "patch.radius_mm" as r, count(*) as n from study group by r order by r'
    assert run("real.yaml", "--table", query) == (0, "r,n\n24.0,1\n40.0,2\n", "")
    code, _, err = run("real.yaml", "--table", "select cone from study")
    assert code == 2 and "cone_height_mm" in err
    (folder / "other.yaml").write_text(REAL.replace("name: real", "name: other").replace("KEEP", "measures"))
    code, _, err = run("other.yaml", "--table", query)
    assert code == 2 and "no results in results/other" in err


@pytest.mark.slow
def test_keep_more(done):
    """Asked to keep fields, the study computes again what has none; the comparison can read what it keeps."""
    here, _ = done
    (here / "real.yaml").write_text(REAL.replace("KEEP", "fields"))
    assert study_command(here, "real.yaml").returncode == 3
    good = real(here)[0]
    kept = {path.name for path in (here / "results/real/cases" / address(good)).iterdir()}
    assert kept == set(KEPT["fields"])


@pytest.mark.slow
def test_cases_are_called_by_what_is_varied(tmp_path):
    """Kept with pictures, a case of a study has a page of its own, headed by its inputs and not by its address."""
    one = REAL.replace("[20, 24, 30]", "[20]").replace(
        "[{undermine_mm: 6}, {undermine_mm: 6}, {}]", "[{undermine_mm: 6}]"
    )
    (tmp_path / "real.yaml").write_text(one.split("  bed.pull")[0] + "keep: pictures\n")
    assert study_command(tmp_path, "real.yaml").returncode == 0
    (page,) = tmp_path.glob("results/real/cases/*/index.html")
    assert "<h1>Length of the wound 20 mm, closure technique side-to-side, undermine 6 mm</h1>" in page.read_text()
