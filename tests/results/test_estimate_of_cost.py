"""What closures take, before any mesh: unknowns held against real meshes."""

from pathlib import Path

import pytest

from fem.case import case as cases
from fem.case.keys import MeshSize
from fem.closure.closing import patch
from fem.results import cost

CONFIGS = Path(__file__).parents[2] / "configs"


@pytest.mark.parametrize(
    ("file", "finer"),
    [("demo/circle-20", 1), ("demo/rhombus-3-1", 2), ("outlines/lens-with-m", 0.5), ("techniques/z-plasty", 1),
     ("techniques/purse-string", 1), ("sutures/one-by-one", 0.7)],
)  # fmt: skip
def test_unknowns(file, finer):
    """Three a node that is free, the rim held and seams sewn: as many as the mesh has, within 15 %, also on others."""
    case = cases.read(CONFIGS / f"{file}.yaml")
    sizes = {name: size / finer for name, size in case.mesh.model_dump().items()}
    case = case.model_copy(update={"mesh": MeshSize(**sizes)})
    mesh = patch(case)
    sewn = mesh.pairs.shape[1] if case.closure.sutures.kind == "running" else 0
    assert cost.unknowns(case) == pytest.approx(3 * (mesh.X.shape[1] - sewn - mesh.rim.size), rel=0.15)


def test_seconds_and_memory():
    """The benchmark's lens, 10611 unknowns: 3.8 s and 414 MB; ten cases take ten times as long, trimmed ones twice."""
    lens, trimmed = (cases.read(CONFIGS / f"{file}.yaml") for file in ("demo/lens-3-1", "techniques/trimmed"))
    one, ten = cost.cost([lens]), cost.cost([lens] * 10)
    assert one.seconds == pytest.approx(3.8 * one.unknowns / 10611, rel=0.01)
    assert one.memory_MB == pytest.approx(414 + 0.0135 * (one.unknowns - 10611), rel=0.03)
    assert (ten.seconds, ten.memory_MB) == (pytest.approx(10 * one.seconds), one.memory_MB)
    assert (cost.closures(lens), cost.closures(trimmed)) == (1, 2)
