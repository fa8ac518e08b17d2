"""Time to read, check and describe a case; nothing here passes or fails by the clock.

MKL_NUM_THREADS=1 python -m pytest tests/bench/test_case_cost.py -m bench --benchmark-enable -s
"""

from pathlib import Path

import pytest

from fem.case import physical
from fem.case.case import read
from fem.cli.printing import report

pytestmark = pytest.mark.bench
TECHNIQUES = Path(__file__).parents[2] / "configs" / "techniques"


def fresh(path):
    """The report of a case, with nothing kept from one read before."""
    physical._plan.cache_clear()
    physical.prestretch.cache_clear()
    return report(read(path))


def test_report_of_a_two_sided_advancement(benchmark):
    """Nine seams of straight edges, the plan with the most of them; to be reached: 40 ms."""
    assert "seams" in benchmark(fresh, TECHNIQUES / "two-sided-advancement.yaml")
    if benchmark.enabled:
        print(f"\nread, checked and described in {1e3 * benchmark.stats.stats.min:.0f} ms")
