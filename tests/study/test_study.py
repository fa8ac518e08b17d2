"""The engine of studies, with real processes: what is published, what is done again, and what ends a case or a study.

Cases are stand-ins (`standin.py`) that take 0.3 s.
"""

import json
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import psutil
import pytest
import standin
from standin import cases_in, starts, workers

from fem.errors import StudyStopped
from fem.results.identity import KEPT, address
from fem.study import study, table
from fem.study.study import engine

STANDIN = Path(standin.__file__)
PATIENCE = 120  # s, on a machine that is busy
HERE = {**os.environ, "PYTHONPATH": os.pathsep.join([str(STANDIN.parent), str(STANDIN.parent.parent)])}


def program(tmp_path, into, count=2):
    """The stand-in's program on a study, in a process of its own."""
    text = [sys.executable, str(STANDIN), str(tmp_path / "study.yaml"), str(into), str(count)]
    return subprocess.Popen(
        text, env=HERE | {"STANDIN_NOTES": os.environ["STANDIN_NOTES"]}, stdout=subprocess.PIPE, text=True
    )


def until(condition):
    """Wait until the condition is true, and give what it gave."""
    end = time.monotonic() + PATIENCE
    while time.monotonic() < end:
        if result := condition():
            return result
        time.sleep(0.02)
    raise TimeoutError("waited too long")


def results(into):
    """Names of the complete results, each with its time of writing."""
    return {path.parent.name: path.stat().st_mtime_ns for path in (into / "cases").glob("[!.]*/run.json")}


def statuses(into, wanted):
    return [table.row(into, address(case))["status"] for case in wanted]


# Faults ---------------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_a_worker_killed(tmp_path, notes):
    """SIGKILL of a worker in the middle of a case: that case is begun once more, the others once, all are done."""
    wanted, options = cases_in(tmp_path, range(10, 18))
    killed = []

    def kill(*, event, **about):
        if event == "case" and not killed:
            ended = results(tmp_path / "into")
            killed.append(until(lambda: [(k, pid) for k, (_, pid) in starts(notes).items() if k not in ended])[0])
            os.kill(killed[0][1], signal.SIGKILL)

    with engine(tmp_path / "into", workers=workers(2), watch=kill, **options) as complete:
        complete(wanted)
    assert statuses(tmp_path / "into", wanted) == ["done"] * 8
    assert {key: count for key, (count, _) in starts(notes).items() if count > 1} == {killed[0][0]: 2}


@pytest.mark.slow
def test_the_main_process_killed(tmp_path, notes):
    """SIGKILL of the main process: its workers end by themselves, and the next run does the rest only."""
    wanted, options = cases_in(tmp_path, range(10, 22))
    main = program(tmp_path, tmp_path / "into")
    until(lambda: len(results(tmp_path / "into")) >= 3)
    children = psutil.Process(main.pid).children(recursive=True)
    main.kill()
    main.wait()
    main.stdout.close()
    _, alive = psutil.wait_procs(children, timeout=20)
    assert len(children) >= 2 and not alive
    before, begun = results(tmp_path / "into"), starts(notes)
    with engine(tmp_path / "into", workers=workers(2), **options) as complete:
        complete(wanted)
    assert statuses(tmp_path / "into", wanted) == ["done"] * 12
    after = results(tmp_path / "into")
    assert 3 <= len(before) < 12 and before.items() <= after.items()
    assert {key: starts(notes)[key] for key in before} == {key: begun[key] for key in before}


@pytest.mark.slow
def test_failures_do_not_stop_a_study(tmp_path, notes):
    """Each way in which a case can go wrong is recorded with its reason, and all good cases are done.

    On one worker, so that good cases wait behind bad ones on it when it is lost.
    """
    expected = {
        10: (None, None),
        1: ("worker lost", "3 workers were lost while at it"),
        11: (None, None),
        2: ("memory", r"its worker took [6-9]\d\d MB, more than its limit of 600 MB"),
        3: ("time", "not done after 4 s, its limit, and not to be stopped"),
        4: ("error", "ZeroDivisionError: division by zero"),
        5: ("not converged", "forces of 1.0e[+]00 N are left"),
        7: ("time", "not done after 4 s, its limit"),
        12: (None, None),
    }
    wanted, options = cases_in(tmp_path, expected, "limits: {seconds: 4, memory_MB: 600}\n")
    with engine(tmp_path / "into", workers=workers(1), **options) as evaluate:
        rows = list(evaluate(wanted))
    for row, (failure, reason) in zip(rows, expected.values(), strict=True):
        assert row["status"] == ("failed" if failure else "done") and row["failure"] == failure
        assert row["reason"] is None if reason is None else re.fullmatch(reason, row["reason"])
    assert [row["closure.undermine_mm"] for row in rows] == list(expected)
    assert starts(notes)[rows[1]["key"]][0] == 3
    assert {starts(notes)[row["key"]][0] for i, row in enumerate(rows) if i != 1} == {1}


@pytest.mark.slow
def test_a_process_whose_threads_are_all_held_up(tmp_path, notes):
    """A case that lets no other thread run is ended by an alarm of the system, three times, and recorded."""
    wanted, options = cases_in(tmp_path, [6, 10], "limits: {seconds: 1}\n")
    with engine(tmp_path / "into", workers=workers(1), **options) as evaluate:
        assert [row["failure"] for row in evaluate(wanted)] == ["worker lost", None]


@pytest.mark.slow
def test_retry(tmp_path, notes):
    """A failure stays as it is, until it is tried again on request."""
    wanted, options = cases_in(tmp_path, [8, 10])
    for retry, expected in [(False, ["failed", "done"]), (False, ["failed", "done"]), (True, ["done", "done"])]:
        with engine(tmp_path / "into", workers=workers(1), retry=retry, **options) as evaluate:
            assert [row["status"] for row in evaluate(wanted)] == expected
            assert [row["status"] for row in evaluate(wanted)] == expected
        (notes / "mended").touch()
    assert [starts(notes)[address(case)][0] for case in wanted] == [2, 1]


@pytest.mark.slow
def test_two_at_once(tmp_path, notes):
    """Two runs of one study at the same time both end well, and every result is whole."""
    wanted, _ = cases_in(tmp_path, range(10, 22))
    both = [program(tmp_path, tmp_path / "into", 1) for _ in range(2)]
    for run in both:
        run.communicate(timeout=PATIENCE)
    assert [run.returncode for run in both] == [0, 0]
    assert len(set(pid for _, pid in starts(notes).values())) == 2 or len(starts(notes)) == 12
    for case in wanted:
        at = tmp_path / "into/cases" / address(case)
        assert {path.name for path in at.iterdir()} == set(KEPT["measures"])
        assert json.loads((at / "measures.json").read_text())["cone_height_mm"] == case.closure.undermine_mm / 3
    assert not list((tmp_path / "into/cases").glob(".*")) + list((tmp_path / "into/cases").glob("*.begun"))


FULL = """
set -e
mount -t tmpfs -o size=120k tmpfs "$1"
"$2" "$3" "$4" "$1" 1 || echo "code $?"
for f in "$1"/cases/[!.]*/; do [ ! -d "$f" ] || echo "kept $(ls "$f" | tr '\\n' ' ')"; done
"""


@pytest.mark.slow
def test_full_disk(tmp_path, notes):
    """On a disk of 120 kB the study stops with a message, and every folder that was published is complete."""
    cases_in(tmp_path, range(10, 40), "keep: measures\n")
    (tmp_path / "small").mkdir()
    text = ["unshare", "--user", "--map-root-user", "--mount", "sh", "-c", FULL, "sh", tmp_path / "small"]
    text += [sys.executable, STANDIN, tmp_path / "study.yaml"]
    probe = subprocess.run([*text[:4], "true"], check=False, capture_output=True)
    if probe.returncode:
        pytest.skip("needs a small file system of its own, which this machine does not let be mounted")
    env = HERE | {"STANDIN_NOTES": str(notes)}
    ran = subprocess.run(list(map(str, text)), env=env, capture_output=True, text=True, timeout=PATIENCE, check=False)
    assert "code 1" in ran.stdout.splitlines(), ran.stderr
    assert re.search("stopped: .*small: no space is left: make room .*; complete results are kept", ran.stderr)
    kept = [line.split()[1:] for line in ran.stdout.splitlines() if line.startswith("kept")]
    assert 1 <= len(kept) <= 29 and all(set(names) == set(KEPT["measures"]) for names in kept)


def test_nowhere_to_write(tmp_path, notes):
    """A file in the folder's place: the study stops and says so."""
    wanted, options = cases_in(tmp_path, [10])
    (tmp_path / "into").touch()
    with pytest.raises(StudyStopped, match="into"), engine(tmp_path / "into", **options) as complete:
        complete(wanted)


def test_in_the_results_of_a_case(tmp_path, notes):
    """A study named like a case that is closed: refused, for the case's next result would replace the study's."""
    (tmp_path / "results").mkdir()
    (tmp_path / "results" / "run.json").write_text("{}")
    with pytest.raises(StudyStopped, match="results: holds the results of a case; a study needs a name of its own"):
        with engine(tmp_path / "results"):
            pass
    assert [path.name for path in (tmp_path / "results").iterdir()] == ["run.json"]


# The table ------------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_table_of_a_mixed_folder(tmp_path, notes):
    """Rows of what is done, failed and missing; all numbers are numbers; nothing but the table can be read."""
    wanted, options = cases_in(tmp_path, [10, 4, 11])
    with engine(tmp_path / "into", workers=workers(1), **options) as complete:
        complete(wanted[:2])
    path = table.write_table(tmp_path / "into", list(map(address, wanted)))
    heading, *lines = path.with_suffix(".csv").read_text().splitlines()
    assert heading.startswith("key,status") and [line.split(",")[1] for line in lines] == ["done", "failed", "missing"]
    query = 'select status, failure, "closure.undermine_mm" u, cone_height_mm c, push_out_2_mm p, dip_mm d from study'
    assert table.selected(path, query)[1] == [
        ("done", None, 10.0, 10 / 3, 2.0, None),
        ("failed", "error", 4.0, None, None, None),
        ("missing", None, None, None, None, None),
    ]
    assert len(list(table.rows(tmp_path / "into"))) == 2
    for query in (
        f"select * from '{path}'",
        f"copy study to '{tmp_path / 'x.csv'}'",
        "select * from read_text('/etc/hosts')",
        "set enable_external_access = true",
        "selct 1",
        "delete from study",
        "drop table study",
        "select 1; select 2",
    ):
        with pytest.raises(ValueError, match=r"Error|this reads only; wanted one select"):
            table.selected(path, query)
    assert not (tmp_path / "x.csv").exists()


def test_estimate(tmp_path, notes):
    """Without results it goes by the benchmark; with some, by theirs: 0.3 s at 1000 unknowns, as unknowns^1.06."""
    wanted, options = cases_in(tmp_path, [10, 11])
    count, seconds, source = study.estimate(tmp_path / "into", wanted)
    assert count == 2 and source == "the benchmark in tests/MEASURED.md"
    with engine(tmp_path / "into", workers=workers(1), **options) as complete:
        complete(wanted[:1])
    count, fewer, source = study.estimate(tmp_path / "into", wanted)
    assert count == 1 and source == "1 earlier results"
    assert fewer / seconds == pytest.approx(0.5 * (0.3 / 1000**1.06) / (3.8 / 10611**1.06), rel=0.05)
