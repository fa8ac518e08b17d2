"""Results → the keyframes of a closure: states of the skin in their order, and what is said of each."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from fem.case import physical
from fem.comparison.wording import capital, sentence, sentences
from fem.plan.plan import removed_area
from fem.render.plan_figure import plan_lines
from fem.results.result import Result

UNCUT, CUT, OPEN, CLOSED = -2.0, -1.0, 0.0, 1.0  # places of keyframes in time; in between, the share that is closed
BETWEEN = "Between two states: drawn for the eye, not computed."
ON_THE_WAY = "On the way, for the eye only: a slight upward push and stiffer bending guide the skin."
PASSING = " Flaps pass each other."


@dataclass(frozen=True)
class Keyframe:
    """A state of the skin, and what is said of it."""

    of: Result  # whose nodes these are
    x: np.ndarray  # (3, n) mm
    at: float  # UNCUT, CUT, the share closed, or more for what is done after
    title: str
    caption: str
    tied: int = 0  # sutures of the wound's edges that are tied
    kept: bool = True  # False: drawn between two states
    marked: tuple[np.ndarray, ...] = ()  # lines (3, k) on the skin along which it will be cut, mm


def keyframes(result: Result, before: Result | None = None) -> list[Keyframe]:
    """The keyframes of a closure: uncut, cut, the kept stages from the gaping wound to the closed one, in order.

    before   of a trimmed closure: its result before the cones were cut off, which comes first
    """
    if before is not None:
        return [*keyframes(before), *_trimmed(result, keyframes(before)[-1])]
    stages, drawing = result.stages, physical.plan(result.case)
    uncut = result.body.place(stages.X)
    plan, cut = (sentence("teaching/timeline", caption, removed_area(drawing)) for caption in ("plan", "cut"))
    tension = result.case.skin.tension
    pulled = max(tension.along_N_per_m, tension.across_N_per_m) > 0
    gape = sentence("teaching/timeline", "gape", result.measures, pulled)
    return [
        Keyframe(result, uncut, UNCUT, "Uncut skin", plan),
        Keyframe(result, uncut, CUT, "Cut", cut),
        Keyframe(result, stages.x[0], OPEN, "The wound gapes", gape),
        *(_stage(result, k) for k in range(1, len(stages.closed))),
    ]


def _stage(result, k):
    """The keyframe of a stage after the gaping wound."""
    stages, measured = result.stages, result.numbers
    x, at, label = stages.x[k], float(stages.closed[k]), str(stages.label[k])
    title = capital(label) or (done(result) if at >= CLOSED else sentence("teaching/timeline", "stage", at))
    count = len(stitched(result))
    if tie := re.match(r"suture (\d+) of", label):
        pull = sentence("teaching/timeline", "pull", measured, int(tie[1]), count)
        return Keyframe(result, x, at, title, pull, min(int(tie[1]), count))
    if at < CLOSED:
        return Keyframe(result, x, at, title, ON_THE_WAY + (PASSING if physical.plan(result.case).cuts else ""))
    return Keyframe(result, x, at, title, ending(measured), count)


def done(result: Result) -> str:
    """What the last state is called."""
    return "Closed" if result.stages.seams else "Drawn together, left open"


def _trimmed(result, closed):
    """The untrimmed closed wound with the cuts that will trim it, and the trimmed one."""
    lines = tuple(np.array([moved(closed, place) for place in line.T]).T for line in _cuts(result))
    at, count = result.measures, len(stitched(result))
    marked = sentence("teaching/timeline", "marked", at["trim_skin_removed_mm2"])
    caption = sentence("teaching/timeline", "trimmed", ending(at), at["trim_scar_added_mm"])
    return [
        replace(closed, at=CLOSED + 1, title="Cones to be cut off", caption=marked, marked=lines),
        Keyframe(result, result.stages.x[-1], CLOSED + 2, "Trimmed and closed again", caption, count),
    ]


def stitched(result: Result) -> list[tuple[int, float]]:
    """Seam and fraction of the sutures of the wound's edges that are tied one by one, in order."""
    sutures = result.case.closure.sutures
    return physical.tying(physical.plan(result.case), sutures) if sutures.kind == "interrupted" else []


def ending(at: dict) -> str:
    """What is said of the last state, of its measures by name those that it has."""
    parts = sentences("teaching/timeline", "ending", at, at.get("scar_length_mm") is not None)
    return f"{capital(', '.join(parts))}."


def between(before: Keyframe, after: Keyframe, share: float) -> Keyframe:
    """The keyframe a share of the way from one to the next; the skin moves straight."""
    x = (1 - share) * before.x + share * after.x
    at = (1 - share) * before.at + share * after.at
    return Keyframe(before.of, x, at, f"{before.title} →", BETWEEN, before.tied, kept=False)


def keyframe_at(made: Sequence[Keyframe], at: float) -> Keyframe:
    """The keyframe of a closure at a place in time, kept or drawn between two that are; the last one ever after."""
    for before, after in pairwise(made):
        if before.at <= at < after.at:
            share = (at - before.at) / (after.at - before.at)
            return between(before, after, share) if share and before.of is after.of else before
    return made[-1]


def cut_lines(result: Result) -> list[np.ndarray]:
    """Lines (3, k) of all that will be cut, on uncut skin."""
    return [result.body.place(line) for line in _cuts(result)]


def _cuts(result):
    """The same lines (2, k) on the plan."""
    return [line.points for line in plan_lines(physical.plan(result.case), n=200) if line.kind in ("cut", "removed")]


def moved(keyframe: Keyframe, place: np.ndarray) -> np.ndarray:
    """Where (3,) a place (2,) of the uncut skin has moved to."""
    triangles = keyframe.of.stages.elements[:3]
    a, b, c = keyframe.of.stages.X[:, triangles].transpose(1, 0, 2)
    u, v, w = b - a, c - a, place[:, None] - a
    area = u[0] * v[1] - u[1] * v[0]
    shares = np.array([(w[0] * v[1] - w[1] * v[0]) / area, (u[0] * w[1] - u[1] * w[0]) / area])
    shares = np.vstack([1 - shares.sum(axis=0), shares])
    inside = shares.min(axis=0).argmax()
    return keyframe.x[:, triangles[:, inside]] @ shares[:, inside]
