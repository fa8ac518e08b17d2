"""flatseam for notebooks and scripts: cases in, closures, comparisons and studies out.

    import flatseam

    lens = flatseam.case(
        name="lens",
        wound={"outline": {"kind": "lens", "length_mm": 60, "width_mm": 20}},
        closure={"undermine_mm": 15},
        skin={"site": "forearm"},
    )
    closed = flatseam.close(lens)
    print(closed.numbers["closing_force_N"], closed.measures["cone_height_mm"])
    closed.plot("stress").savefig("stress.png")

Keys of a case are those of its file, see `configs/reference.yaml`; mm, N and kPa, with the unit in each name. What is
named here stays as it is from version to version; the package `fem`, which does the work, may change.

For research and teaching; not a medical device, not for decisions about a patient.
"""

from fem import __version__ as __version__
from fem.errors import BadCase, MeshError, NotConverged, StudyStopped, Unguarded
from flatseam.cases import Case, case, read, varied
from flatseam.result import Measure, Result, close, load
from flatseam.several import Comparison, Study, compare, study

__all__ = [
    "BadCase",
    "Case",
    "Comparison",
    "Measure",
    "MeshError",
    "NotConverged",
    "Result",
    "Study",
    "StudyStopped",
    "Unguarded",
    "case",
    "close",
    "compare",
    "load",
    "read",
    "study",
    "varied",
]
