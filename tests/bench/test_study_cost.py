"""What the engine of studies costs, as ratios within one run; nothing here passes or fails by the clock.

    MKL_NUM_THREADS=1 python -m pytest tests/bench/test_study_cost.py -m bench --benchmark-enable -s

To be read on a quiet machine: whatever else runs takes from two workers what it does not take from one.
"""

import time
from functools import partial

import pytest
import standin

from fem import cluster, sweep
from fem.study import engine, evaluator

pytestmark = pytest.mark.bench
LENS = """\
name: lens
base:
  wound: {outline: {kind: lens, length_mm: 60, width_mm: 20}}
  closure: {undermine_mm: 15}
  skin: {site: forearm}
  mesh: {edge_mm: 4, tip_mm: 4, far_mm: 15}
grid:
  skin.law.shear_kPa: [VALUES]
"""


def lenses(folder, count, start):
    """Real closures, alike but for the skin."""
    values = ", ".join(f"{start + 0.1 * i:g}" for i in range(count))
    (folder / "lens.yaml").write_text(LENS.replace("VALUES", values))
    return sweep.cases(sweep.read(folder / "lens.yaml"))


def seconds(folder, workers, count=12):
    """Seconds for real closures on so many workers, which have imported and compiled everything before."""
    with engine(folder / f"on-{workers}", workers=partial(cluster.on_this_machine, workers)) as complete:
        complete(lenses(folder, 2 * workers, 30.0))
        start = time.monotonic()
        complete(lenses(folder, count, 40.0))
        return time.monotonic() - start


def test_two_workers(benchmark, tmp_path):
    """Throughput of two workers over that of one. To be reached: 1.85 on two cores."""
    one, two = benchmark.pedantic(lambda: [seconds(tmp_path, workers) for workers in (1, 2)], rounds=1)
    benchmark.extra_info["ratio"] = one / two
    print(f"\n12 closures: {one:.1f} s on one worker, {two:.1f} s on two; throughput {one / two:.2f} times")
    assert one > 0 < two


def test_overhead(benchmark, tmp_path, monkeypatch):
    """Share of a worker's time between cases that take 5 s of a core. To be reached: below 3 %."""
    (tmp_path / "notes").mkdir()
    monkeypatch.setenv("STANDIN_NOTES", str(tmp_path / "notes"))
    (tmp_path / "study.yaml").write_text(standin.text("busy", range(10, 17)))
    cases = sweep.cases(sweep.read(tmp_path / "study.yaml"))

    def run():
        one = partial(cluster.on_this_machine, 1)
        with evaluator(tmp_path / "into", workers=one, solve=standin.busy) as evaluate:
            evaluate(cases[:2])
            start = time.monotonic()
            rows = evaluate(cases[2:])
            return time.monotonic() - start, sum(row["seconds"] for row in rows)

    whole, work = benchmark.pedantic(run, rounds=1)
    benchmark.extra_info["overhead"] = whole / work - 1
    print(f"\n5 cases: {whole:.2f} s, of which {work:.2f} s at work; overhead {100 * (whole / work - 1):.2f} %")
    assert whole > work
