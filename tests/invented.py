"""A stand-in for the solver: rows of invented closures by formulas, for tests of what a study is asked."""

from fem.case import case as cases
from fem.results.identity import address
from fem.results.quantities import numbers

WRITTEN = """\
name: invented
base:
  wound: {outline: {kind: lens, length_mm: 60, width_mm: 20}}
  closure: {undermine_mm: 15}
  skin: {site: back}
  mesh: {edge_mm: 2, tip_mm: 2, far_mm: 20}
"""


def cone(case):
    """Height of an invented cone, mm: 7 - 0.08 length, less with tension along the lines, more with thickness.

    None is lower than 0.
    """
    skin, outline = case.skin, case.wound.outline
    flatter = 1.5 if outline.kind == "rhombus" else 0.0
    lower = 0.02 * (skin.tension.along_N_per_m - 40) + 0.01 * (case.closure.undermine_mm - 15)
    return max(0.0, 7 - 0.08 * outline.length_mm - lower + 0.3 * (skin.thickness_mm - 2.6) - flatter)


def row(case):
    """The row of an invented closure; beyond 100 mm there is none, with a nasty reason."""
    plain = {"key": address(case), "failure": None, "reason": None, "seconds": 0.0} | cases.inputs(case)
    outline = case.wound.outline
    if outline.length_mm > 100:
        return plain | {"status": "failed", "failure": "not converged", "reason": "too long <img src=x>"}
    measures = {
        "cone_height_mm": cone(case),
        "scar_length_mm": 1.1 * outline.length_mm + (4 if outline.kind == "rhombus" else 0),
        "line_tension_mid_N_per_m": 62 - 0.5 * case.closure.undermine_mm + 0.1 * outline.length_mm,
        "push_out_mm": [outline.length_mm / 40] * 2,
        "length_to_width": outline.length_mm / outline.width_mm,
    }
    return plain | {"status": "done"} | numbers(measures)


class Evaluate:
    """study.Evaluate through the formulas; remembers what it was asked, in batches."""

    def __init__(self):
        self.batches = []

    def __call__(self, asked, *, keep="measures"):
        """Rows of cases."""
        self.batches.append([address(case) for case in asked])
        return [row(case) for case in asked]

    @property
    def solves(self):
        """How many different cases were asked for."""
        return len({key for batch in self.batches for key in batch})


def written(answers, extra=""):
    """A study file that asks something."""
    return f"{WRITTEN}{extra}answers:\n{answers}"
