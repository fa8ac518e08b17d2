"""The cone of a tip as a paper model: a disc with the tip's deficit cut out of it as a wedge; derivation: README."""

from collections.abc import Iterable
from dataclasses import dataclass
from math import asin, cos, degrees, pi, sin, tan
from textwrap import wrap

import numpy as np

from fem.case import physical
from fem.closure.measures.cones import CONE_LEVEL
from fem.comparison.wording import sentence, sentences
from fem.plan import junctions
from fem.results.result import Result
from fem.teaching.drawing import Drawing, Stroke, Text, extent, joined, moved
from fem.teaching.template import LEAST_DEFICIT

RADIUS = 45.0  # mm of the disc; our choice, hands can still fold it
TAB = 9.0  # mm, how far the tab to be glued reaches beyond the edge
ALIKE = 1e-6  # rad, by which deficits of the same cone may differ
LINE, COLUMNS, SIZE = 5.0, 88, 3.0  # of the words below: mm between lines, letters in a line, mm


@dataclass(frozen=True)
class Cone:
    """A cone made of a flat disc."""

    deficit: float  # rad, of the wedge that is cut out
    radius: float  # mm, of the disc, and of the side of the cone

    @property
    def half_angle(self) -> float:
        """alpha between the axis and the side, rad: sin alpha = 1 - deficit / 2 pi."""
        return asin(1 - self.deficit / (2 * pi))

    @property
    def height(self) -> float:
        """From the level of the rim to the top, mm."""
        return self.radius * cos(self.half_angle)

    @property
    def base_radius(self) -> float:
        """Of the rim, mm."""
        return self.radius * sin(self.half_angle)


@dataclass(frozen=True)
class Tip:
    """A place where a cone is to be expected, and what was computed there."""

    at: tuple[float, float]  # mm, in the plan
    deficit: float  # rad
    height: float | None  # mm, of the computed cone; None if none was measured there


def tips(result: Result) -> list[Tip]:
    """The places of a closed case where angles of skin add up to less than 2 pi, with the cone that was computed."""
    X, nodes, cones = result.stages.X, result.stages.tips, result.measures["cones"]
    expected = []
    for met in junctions.junctions(physical.plan(result.case)):
        if not met.closed or met.deficit < LEAST_DEFICIT:
            continue
        away = np.hypot(*(X[:, nodes, None] - met.places[:, None])).min(axis=1)
        near = int(away.argmin()) if away.size else -1
        measured = near >= 0 and away[near] < 0.01 and near < len(cones)
        height = cones[near]["height_mm"] if measured else None
        x, y = met.places[:, 0].tolist()
        expected.append(Tip((x, y), met.deficit, height))
    return expected


def standing(result: Result) -> list[Tip]:
    """The tips of a closed case without those where no cone was computed, which need no paper model."""
    return [tip for tip in tips(result) if tip.height is None or abs(tip.height) >= CONE_LEVEL]


def why_none(result: Result) -> str:
    """Why a closed case has no paper cone; "" if it has one."""
    return "" if standing(result) else sentence("teaching/paper", "no_cone", len(tips(result)), CONE_LEVEL)


def of_one_kind(tips: Iterable[Tip]) -> list[list[Tip]]:
    """The tips by their deficits, greatest first: one paper model serves each list."""
    groups: list[list[Tip]] = []
    for tip in sorted(tips, key=lambda tip: (-round(tip.deficit / ALIKE), tip.at)):
        if groups and abs(groups[-1][0].deficit - tip.deficit) < ALIKE:
            groups[-1].append(tip)
        else:
            groups.append([tip])
    return groups


def pattern(cone: Cone, heights: Iterable[float] = ()) -> Drawing:
    """The flat disc without its wedge about the origin, the wedge below; a tab along one edge; rings of heights, mm.

    A ring is drawn where the paper cone is as high as it says, if that is on the disc.
    """
    start = -pi / 2 + cone.deficit / 2
    turn = start + np.linspace(0, 2 * pi - cone.deficit, 241)
    rim = cone.radius * np.array([np.cos(turn), np.sin(turn)])
    edge, along = rim[:, 0], rim[:, 0] / cone.radius
    side = np.array([along[1], -along[0]])  # into the wedge
    reach = min(TAB, 0.9 * 0.35 * cone.radius * tan(min(cone.deficit, 1.0)))  # not across a narrow wedge
    tab = np.stack([0.25 * edge, 0.35 * edge + reach * side, 0.85 * edge + reach * side, edge], axis=1)
    glued = Stroke(np.stack([np.zeros(2), edge], axis=1), "fold")
    outer = Stroke(np.hstack([np.zeros((2, 1)), 0.25 * edge[:, None], tab[:, 1:3], rim]), "cut", closed=True)
    middle = 0.6 * edge + 0.45 * reach * side
    texts = [Text("glue", (float(middle[0]), float(middle[1]) - 1), 2.8, "middle")]
    rings = []
    for height in sorted({round(h, 3) for h in heights}):
        r = height / cos(cone.half_angle)
        if 0 < r < cone.radius:
            rings.append(Stroke(r / cone.radius * rim, "ring"))
            texts.append(Text(f"computed skin: {height:.1f} mm high", (0.0, r + 1.2), 2.8, "middle"))
    return Drawing((outer, glued, *rings), tuple(texts))


def sheet(result: Result) -> Drawing | None:
    """All paper models of a closed case, one below the other with its words; None if there is no cone."""
    parts, below = [], 0.0
    for group in of_one_kind(standing(result)):
        cone = Cone(group[0].deficit, RADIUS)
        heights = [tip.height for tip in group if tip.height is not None]
        lines = [line for text in instructions(cone, group) for line in wrap(text, COLUMNS)]
        model = pattern(cone, heights)
        low = extent(model)[1, 0]
        texts = tuple(Text(line, (-80.0, low - 8 - LINE * k), SIZE) for k, line in enumerate(lines))
        parts.append(moved(joined(model, Drawing((), texts)), (0.0, below)))
        below += low - RADIUS - 18 - LINE * len(lines)
    return joined(*parts) if parts else None


def instructions(cone: Cone, group: list[Tip]) -> list[str]:
    """What to do with a paper model, and how high the computed cones are."""
    known = [tip.height for tip in group if tip.height is not None]
    angles = degrees(cone.deficit), 360 - degrees(cone.deficit), sin(cone.half_angle)
    return sentences("teaching/paper", "cone", cone, len(group), *angles, known)
