"""Workers of a study: how many cases they hold, where they listen, clusters that run or are queued for."""

from contextlib import contextmanager

import psutil
import pytest
import standin
from standin import cases_in, text

from fem.case import case as cases
from fem.errors import StudyStopped
from fem.study import cluster, keys, study, task
from fem.study.study import engine


@pytest.mark.slow
def test_few_at_a_time_and_only_on_this_machine(tmp_path, notes):
    """No more cases are submitted than two a thread, and everything listens on the loopback address."""
    wanted, options = cases_in(tmp_path, range(10, 22))
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


@pytest.mark.slow
def test_a_cluster_that_is_running(tmp_path, notes, monkeypatch):
    """By its address, or the file that its scheduler wrote; one that is not there is said so."""
    wanted, options = cases_in(tmp_path, [10, 11])
    with cluster.on_this_machine(1) as client:
        client.write_scheduler_file(str(tmp_path / "scheduler.json"))
        for case, chosen in zip(
            wanted, [{"address": client.scheduler.address}, {"file": tmp_path / "scheduler.json"}], strict=True
        ):
            with engine(tmp_path / "into", workers=cluster.chosen(None, **chosen), **options) as evaluate:
                assert next(evaluate([case]))["status"] == "done"
    monkeypatch.setattr(cluster, "PATIENCE", "2s")
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
    wanted, _ = cases_in(tmp_path, [10])
    order = task.Order(str(tmp_path / "into"), "measures", 10.0, None, standin.solve)
    with pytest.raises(task.OtherVersion):
        task.solved("0" * 24, cases.text(wanted[0]), order)
