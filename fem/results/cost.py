"""What closures will take, before any mesh: unknowns from the sizes of triangles, seconds and memory from unknowns.

Constants are measured. TRIANGLES is the median over the 33 cases of `configs`, whose meshes have 0.89 to 1.12 times as
many; SECONDS, FASTER and the memory are of `tests/bench/test_cost.py` on one core of a cloud machine; SUTURE and SEARCH
of `configs/sutures` and `configs/techniques`. Seconds are good within a factor of two where the first way ends at rest.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from fem.case import physical
from fem.case.case import Case
from fem.mechanics.edges import GROWTH, SWELL, edge_points
from fem.plan.plan import held, opened

TRIANGLES = 1.36  # per those of equal sides and the size wanted: real ones are smaller, most where sizes grow
NODES = 1.98  # free nodes of a quadratic mesh per triangle, after sewing
RINGS = 40  # of equal distance from the wound, in which triangles are counted
FASTER = 1.06  # exponent of seconds with unknowns
SECONDS = 3.8 / 10611**FASTER  # of a lens that is undermined, its edges joined all along
SUTURE = 0.4  # of a closure, for each suture that is tied by itself; 0.1 to 0.7 as skin is taut or slack
SEARCH = 5  # closures, until cones are cut just low enough
IDLE_MB, MB = 277.0, 0.0135  # of the program with its libraries, and per unknown
PICTURES = 3.0  # s, to draw a result's pictures
LONGER = 2.0  # times a closure takes a job on average, if errors are estimated: 3 in three skins, and once about 5
SAMPLE = 10  # of many cases, that stand for all; our choice, 50 ms each


@dataclass(frozen=True)
class Cost:
    """What cases take."""

    unknowns: float  # of the largest
    seconds: float  # of all, one after the other on one core
    memory_MB: float  # of a process with the largest


def cost(cases: Sequence[Case]) -> Cost:
    """About what cases take, going by SAMPLE of them, spread evenly."""
    sample = cases[:: max(1, math.ceil(len(cases) / SAMPLE))]
    sizes = [unknowns(case) for case in sample]
    each = [closures(case) * SECONDS * size**FASTER for case, size in zip(sample, sizes, strict=True)]
    return Cost(max(sizes), sum(each) / len(sample) * len(cases), IDLE_MB + MB * max(sizes))


def unknowns(case: Case) -> float:
    """About how many unknowns the mesh of a case has.

        3 NODES TRIANGLES int dA / (sqrt(3)/4 s^2)

    with s the size of triangles that `mechanics.mesh` wants so far from the wound, or as near to a segment of its edge.
    """
    size, plan, sutures = case.mesh, physical.plan(case), case.closure.sutures
    assert case.patch and size.edge_mm and size.tip_mm and size.far_mm, "reading a case fills in what it leaves out"
    marks = {} if sutures.kind == "running" else held(plan, physical.tying(plan, sutures), bite=sutures.bite_mm)
    placed, _ = edge_points(plan, edge=size.edge_mm, tip=size.tip_mm, marks=marks)
    segments = np.hypot(*np.hstack([np.diff(x) for x in placed]))
    wound, edge, far = opened(plan), size.edge_mm, size.far_mm
    farthest = case.patch.radius_mm + np.hypot(*shapely.get_coordinates(wound).T).max()
    distance = np.append(0.0, np.geomspace(edge / 8, farthest, RINGS))
    patch = shapely.Point(0, 0).buffer(case.patch.radius_mm)
    area = np.diff(shapely.area(shapely.intersection(shapely.buffer(wound, distance), patch)))
    d = (distance[:-1] + distance[1:]) / 2

    zone = shapely.get_coordinates(plan.undermined)
    reach = shapely.distance(shapely.points(zone), wound).max(initial=0.0)
    at_border = min(far, SWELL * edge, edge + GROWTH * reach)
    within = edge + (at_border - edge) / max(reach, edge) * d
    wanted = np.minimum(far, np.maximum(within, at_border + GROWTH * (d - reach)))
    s = np.minimum(wanted[:, None], segments + GROWTH * d[:, None])
    per_area = (segments / s**2).sum(axis=1) / segments.sum()
    return float(3 * NODES * TRIANGLES * (area * per_area).sum() / (np.sqrt(3) / 4))


def closures(case: Case) -> float:
    """How many plain closures of its size a case takes as long as."""
    plan, closure = physical.plan(case), case.closure
    tied = len(physical.tying(plan, closure.sutures)) if closure.sutures.kind == "interrupted" else 0
    tips = 2 * len(plan.seams[:1])  # each with its taper and its anchor
    taper = round(closure.taper.length_mm / closure.taper.spacing_mm) if closure.taper else 0
    again = 0 if closure.technique != "trimmed" else 1 if closure.under_mm is None else SEARCH
    return (1 + again) * (1 + SUTURE * (tied + tips * (taper + (closure.anchor is not None))))
