"""The engine of studies, with real processes: what is published, what is done again, and what ends a case or a study.

Most cases are stand-ins (`standin.py`) that take 0.3 s; the first test closes real wounds on coarse triangles.
"""

import json
import os
import re
import signal
import subprocess
import sys
import time
from contextlib import contextmanager, suppress
from functools import partial
from pathlib import Path

import psutil
import pytest
import standin
from standin import starts, text

from fem.case import case as cases
from fem.cli import cli
from fem.closure.closing import closed
from fem.closure.measure import measures
from fem.errors import StudyStopped
from fem.results.identity import KEPT, address
from fem.results.quantities import numbers
from fem.study import cluster, keys, study, sweep, table, task
from fem.study.study import engine, evaluator

STANDIN = Path(standin.__file__)
PATIENCE = 120  # s, on a machine that is busy
HERE = {**os.environ, "PYTHONPATH": os.pathsep.join([str(STANDIN.parent), str(STANDIN.parent.parent)])}


@pytest.fixture
def notes(tmp_path, monkeypatch):
    """The folder in which stand-ins note what they begin."""
    (tmp_path / "notes").mkdir()
    monkeypatch.setenv("STANDIN_NOTES", str(tmp_path / "notes"))
    return tmp_path / "notes"


def asked(tmp_path, values, more=""):
    """The cases of a study over `closure.undermine_mm`, and its limits."""
    (tmp_path / "study.yaml").write_text(text("stand-in", values, more))
    read = keys.read(tmp_path / "study.yaml")
    return sweep.cases(read), {"limits": read.keys.limits, "solve": standin.solve}


def workers(count):
    return partial(cluster.on_this_machine, count)


def program(tmp_path, into, count=2):
    """The stand-in's program on a study, in a process of its own."""
    words = [sys.executable, str(STANDIN), str(tmp_path / "study.yaml"), str(into), str(count)]
    return subprocess.Popen(
        words, env=HERE | {"STANDIN_NOTES": os.environ["STANDIN_NOTES"]}, stdout=subprocess.PIPE, text=True
    )


def until(condition):
    """Wait until the condition is true, and give what it gave."""
    end = time.monotonic() + PATIENCE
    while time.monotonic() < end:
        if found := condition():
            return found
        time.sleep(0.02)
    raise TimeoutError("waited too long")


def results(into):
    """Names of the complete results, each with its time of writing."""
    return {path.parent.name: path.stat().st_mtime_ns for path in (into / "cases").glob("[!.]*/run.json")}


def statuses(into, wanted):
    return [table.row(into, address(case))["status"] for case in wanted]


# Real closures --------------------------------------------------------------------------------------------

REAL = """\
name: real
base:
  wound: {outline: {kind: lens, length_mm: 20, width_mm: 10}}
  skin: {thickness_mm: 1.5, law: {kind: neo-hooke, shear_kPa: 33.3}, tension: {along_N_per_m: 2, across_N_per_m: 1}}
  bed: {normal_kPa_per_mm: 1, shear_kPa_per_mm: 0.1}
  patch: {radius_mm: 40}
  mesh: {edge_mm: 2, tip_mm: 2, far_mm: 9}
zip:
  wound.outline.length_mm: [20, 30, 30]
  closure: [{undermine_mm: 6}, {undermine_mm: 6}, {}]
  bed.normal_kPa_per_mm: [1, 1, 1e5]   # the last does not let go of the skin: its edges cannot meet
  bed.shear_kPa_per_mm: [0.1, 0.1, 1e5]
  patch.radius_mm: [40, 40, 24]
keep: KEEP
"""


def flatseam(here, *words):
    """`flatseam study` in a folder, in a process of its own."""
    ran = [sys.executable, "-c", "from fem.cli.cli import main; main()", "study", *words]
    return subprocess.run(ran, cwd=here, env=HERE, capture_output=True, text=True, check=False, timeout=600)


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    """`flatseam study real.yaml` in a folder of its own."""
    here = tmp_path_factory.mktemp("done")
    (here / "real.yaml").write_text(REAL.replace("KEEP", "measures"))
    return here, flatseam(here, "real.yaml")


@pytest.fixture
def here(done, monkeypatch, capsys):
    """The folder of that run, and a function that runs `flatseam study` in this process: code, stdout, stderr."""

    def run(*words):
        with pytest.raises(SystemExit) as end:
            cli.app(["study", *words])
        return end.value.code or 0, *capsys.readouterr()

    monkeypatch.chdir(done[0])
    return done[0], run


def real(here):
    return sweep.cases(keys.read(here / "real.yaml"))


def test_numbers_are_those_of_a_closure(done):
    """The table has the inputs and, with every digit, the measures that closing each case here gives."""
    here, ran = done
    assert ran.stdout == "real: 3 cases, 2 done, 1 not converged; results/real/study.parquet\n"
    assert ran.returncode == 3
    columns, rows = table.selected(here / "results/real/study.parquet", "select * from study where status = 'done'")
    found = [dict(zip(columns, row, strict=True)) for row in rows]
    for case, row in zip(real(here), found, strict=False):
        written = json.loads((here / "results/real/cases" / address(case) / "measures.json").read_text())
        expected = {name: value for name, value in numbers(written).items() if value is not None}
        assert {name: row[name] for name in expected} == expected
        again = numbers(measures(closed(case)))
        assert {name: row[name] for name in expected} == pytest.approx(
            {name: again[name] for name in expected}, rel=1e-6, abs=1e-9
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
    told = json.loads((here / f"results/real/cases/{held}.failed.json").read_text())
    assert told["failure"] == "not converged" and "forces of" in told["reason"]
    assert 0 < told["reached"]["closed"] < 1 and told["inputs"]["bed.shear_kPa_per_mm"] == 1e5


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


def test_keep_more(done):
    """Asked to keep fields, the study computes again what has none; the comparison can read what it keeps."""
    here, _ = done
    (here / "real.yaml").write_text(REAL.replace("KEEP", "fields"))
    assert flatseam(here, "real.yaml").returncode == 3
    good = real(here)[0]
    kept = {path.name for path in (here / "results/real/cases" / address(good)).iterdir()}
    assert kept == set(KEPT["fields"])


# Faults ---------------------------------------------------------------------------------------------------


def test_a_worker_killed(tmp_path, notes):
    """SIGKILL of a worker in the middle of a case: that case is begun once more, the others once, all are done."""
    wanted, options = asked(tmp_path, range(10, 18))
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


def test_the_main_process_killed(tmp_path, notes):
    """SIGKILL of the main process: its workers end by themselves, and the next run does the rest only."""
    wanted, options = asked(tmp_path, range(10, 22))
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
    wanted, options = asked(tmp_path, expected, "limits: {seconds: 4, memory_MB: 600}\n")
    with evaluator(tmp_path / "into", workers=workers(1), **options) as evaluate:
        rows = evaluate(wanted)
    for row, (failure, reason) in zip(rows, expected.values(), strict=True):
        assert row["status"] == ("failed" if failure else "done") and row["failure"] == failure
        assert row["reason"] is None if reason is None else re.fullmatch(reason, row["reason"])
    assert [row["closure.undermine_mm"] for row in rows] == list(expected)
    assert starts(notes)[rows[1]["key"]][0] == 3
    assert {starts(notes)[row["key"]][0] for i, row in enumerate(rows) if i != 1} == {1}


@pytest.mark.slow
def test_a_process_whose_threads_are_all_held_up(tmp_path, notes):
    """A case that lets no other thread run is ended by an alarm of the system, three times, and recorded."""
    wanted, options = asked(tmp_path, [6, 10], "limits: {seconds: 1}\n")
    with evaluator(tmp_path / "into", workers=workers(1), **options) as evaluate:
        assert [row["failure"] for row in evaluate(wanted)] == ["worker lost", None]


def test_retry(tmp_path, notes):
    """A failure stays as it is, until it is tried again on request."""
    wanted, options = asked(tmp_path, [8, 10])
    for retry, expected in [(False, ["failed", "done"]), (False, ["failed", "done"]), (True, ["done", "done"])]:
        with evaluator(tmp_path / "into", workers=workers(1), retry=retry, **options) as evaluate:
            assert [row["status"] for row in evaluate(wanted)] == expected
            assert [row["status"] for row in evaluate(wanted)] == expected
        (notes / "mended").touch()
    assert [starts(notes)[address(case)][0] for case in wanted] == [2, 1]


def test_two_at_once(tmp_path, notes):
    """Two runs of one study at the same time both end well, and every result is whole."""
    wanted, _ = asked(tmp_path, range(10, 22))
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
"$2" "$3" "$4" "$1" 2 || echo "code $?"
for f in "$1"/cases/[!.]*/; do [ ! -d "$f" ] || echo "kept $(ls "$f" | tr '\\n' ' ')"; done
"""


@pytest.mark.parametrize("keep, least", [("measures", 1), ("fields", 0)])
def test_full_disk(tmp_path, notes, keep, least):
    """On a disk of 120 kB the study stops with a message, and every folder that was published is complete.

    With fields none is begun: the library that writes them does not survive a full disk.
    """
    asked(tmp_path, range(10, 40), f"keep: {keep}\n")
    (tmp_path / "small").mkdir()
    words = ["unshare", "--user", "--map-root-user", "--mount", "sh", "-c", FULL, "sh", tmp_path / "small"]
    words += [sys.executable, STANDIN, tmp_path / "study.yaml"]
    probe = subprocess.run([*words[:4], "true"], check=False, capture_output=True)
    if probe.returncode:
        pytest.skip("needs a small file system of its own, which this machine does not let be mounted")
    env = HERE | {"STANDIN_NOTES": str(notes)}
    ran = subprocess.run(list(map(str, words)), env=env, capture_output=True, text=True, timeout=PATIENCE, check=False)
    assert "code 1" in ran.stdout.splitlines(), ran.stderr
    assert re.search("stopped: .*small: no space is left: make room .*; complete results are kept", ran.stderr)
    kept = [line.split()[1:] for line in ran.stdout.splitlines() if line.startswith("kept")]
    assert least <= len(kept) <= 29 * least and all(set(names) == set(KEPT["measures"]) for names in kept)


def test_nowhere_to_write(tmp_path, notes):
    """A file in the folder's place: the study stops and says so."""
    wanted, options = asked(tmp_path, [10])
    (tmp_path / "into").touch()
    with pytest.raises(StudyStopped, match="into"), engine(tmp_path / "into", **options) as complete:
        complete(wanted)


# Workers --------------------------------------------------------------------------------------------------


def test_few_at_a_time_and_only_on_this_machine(tmp_path, notes):
    """No more cases are submitted than two a thread, and everything listens on the loopback address."""
    wanted, options = asked(tmp_path, range(10, 22))
    clients, submitted, listening = [], [], set()

    @contextmanager
    def two():
        with cluster.on_this_machine(2) as client:
            clients.append(client)
            yield client

    def look(*, event, **about):
        if event == "case":
            submitted.append(len(clients[0].futures))
            me = psutil.Process()
            for process in (me, *me.children(recursive=True)):
                open_ = process.net_connections(kind="inet")
                listening.update(c.laddr.ip for c in open_ if c.status == psutil.CONN_LISTEN)

    with engine(tmp_path / "into", workers=two, watch=look, **options) as complete:
        complete(wanted)
    assert 2 <= max(submitted) <= study.AHEAD * 2
    assert listening == {"127.0.0.1"}


def test_a_cluster_that_is_running(tmp_path, notes):
    """By its address, or the file that its scheduler wrote; one that is not there is said so."""
    wanted, options = asked(tmp_path, [10, 11])
    with cluster.on_this_machine(1) as client:
        client.write_scheduler_file(str(tmp_path / "scheduler.json"))
        for case, chosen in zip(
            wanted, [{"address": client.scheduler.address}, {"file": tmp_path / "scheduler.json"}], strict=True
        ):
            with evaluator(tmp_path / "into", workers=cluster.chosen(None, **chosen), **options) as evaluate:
                assert evaluate([case])[0]["status"] == "done"
    gone = cluster.chosen(None, address="tcp://127.0.0.1:9")
    with pytest.raises(StudyStopped, match=r"no scheduler at tcp://127\.0\.0\.1:9"):
        with engine(tmp_path / "other", workers=gone, **options) as complete:
            complete(wanted)


def test_job_script(tmp_path):
    """What is submitted to a queue asks for what the study's file says."""
    more = """\
cluster:
  {kind: slurm, queue: short, account: skin, walltime: "02:30:00", cores: 4, memory_GB: 8, workers: 12, interface: lo,
   before: [module load python]}
"""
    (tmp_path / "study.yaml").write_text(text("queued", [10], more))
    block = keys.read(tmp_path / "study.yaml").keys.cluster
    with cluster.batch(block) as queue:
        lines = queue.job_script().splitlines()
    for line in ["-p short", "-A skin", "--cpus-per-task=4", "--mem=8G", "-t 02:30:00"]:
        assert f"#SBATCH {line}" in lines
    assert {"module load python", "export MKL_NUM_THREADS=1"} <= set(lines)
    assert "--nworkers 4" in lines[-1] and "--nthreads 1" in lines[-1]
    assert cluster.count(None, block) == 12 and cluster.count(3, block) == 3


def test_a_worker_of_another_version(tmp_path, notes):
    """A worker that would name a case differently does not publish under the name asked for."""
    wanted, _ = asked(tmp_path, [10])
    order = task.Order(str(tmp_path / "into"), "measures", 10.0, None, standin.solve)
    with pytest.raises(task.OtherVersion):
        task.solved("0" * 24, cases.text(wanted[0]), order)


# The table ------------------------------------------------------------------------------------------------


def test_table_of_a_mixed_folder(tmp_path, notes):
    """Rows of what is done, failed and missing; all numbers are numbers; nothing but the table can be read."""
    wanted, options = asked(tmp_path, [10, 4, 11])
    with engine(tmp_path / "into", workers=workers(1), **options) as complete:
        complete(wanted[:2])
    path = table.write_table(tmp_path / "into", list(map(address, wanted)))
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
    ):
        with pytest.raises(ValueError, match="Error"):
            table.selected(path, query)
    assert not (tmp_path / "x.csv").exists()


def test_estimate(tmp_path, notes):
    """Without results it goes by the benchmark; with some, by theirs: 0.3 s at 1000 unknowns, as unknowns^0.84."""
    wanted, options = asked(tmp_path, [10, 11])
    count, seconds, source = study.estimate(tmp_path / "into", wanted)
    assert count == 2 and source == "the benchmark in tests/VERIFICATION.md"
    with engine(tmp_path / "into", workers=workers(1), **options) as complete:
        complete(wanted[:1])
    count, fewer, source = study.estimate(tmp_path / "into", wanted)
    assert count == 1 and source == "1 earlier results"
    assert fewer / seconds == pytest.approx(0.5 * (0.3 / 1000**0.84) / (24.3 / 11307**0.84), rel=0.05)


# Folders that many write ----------------------------------------------------------------------------------

WRITER = """
import sys
from pathlib import Path
from fem.results.folder import {how}
for turn in range(200):
    with {how}(Path(sys.argv[1])) as draft:
        for name in "abc":
            (draft / name).write_text(sys.argv[2])
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
