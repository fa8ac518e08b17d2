"""A search through the real solver, held against a grid around what it finds."""

from pathlib import Path

import numpy as np
import pytest

from fem.case import case as cases
from fem.closure.closing import closed
from fem.closure.measure import measures
from fem.results.identity import address
from fem.results.quantities import numbers
from fem.study import keys, report
from fem.study.sweep import case_at

STUDY = Path(__file__).parents[3] / "configs" / "studies" / "least-length-slack.yaml"
LENGTH = "wound.outline.length_mm"
AROUND = np.array([-3.0, -1.0, 1.0, 3.0])  # mm


@pytest.mark.slow
def test_least_length_in_slack_skin():
    """The least length of a lens 20 mm wide at which cones fall under 4 mm in slack forearm skin (triangles of 3 mm).

    A grid about it confirms that shorter lenses exceed 4 mm and longer ones do not. Triangles change with the length,
    so that heights of lenses closer than the grid's 2 mm need not fall one by one.
    """
    study, solved = keys.read(STUDY), {}

    def evaluate(wanted):
        for case in wanted:
            key = address(case)
            if key not in solved:
                solved[key] = {"status": "done"} | cases.inputs(case) | numbers(measures(closed(case)))
        return [solved[address(case)] for case in wanted]

    report.check(study)
    (finding,) = report.findings(study, evaluate)
    rows = finding.tables[0].rows
    assert len(rows) == len(solved) < 12
    lengths = {float(row[0].split()[0]): row[2] for row in rows}
    result = min(length for length, limits in lengths.items() if limits == "kept")
    below = max(length for length, limits in lengths.items() if limits == "exceeded")
    assert 0 < result - below <= 0.5
    assert f"at most 4.0 mm is {result:g} mm" in finding.sentences[0]
    around = evaluate([case_at(study, {LENGTH: result + step}) for step in AROUND])
    heights = np.array([row["cone_height_mm"] for row in around])
    assert ((heights <= 4) == (AROUND > 0)).all()
    assert (np.diff(heights) < 0).all()
    at = evaluate([case_at(study, {LENGTH: result})])[0]["cone_height_mm"]
    assert 3.9 < at <= 4
