"""The 1:1 template: a case's plan as lines to cut along and places to sew, in mm."""

from collections.abc import Sequence
from itertools import product
from math import cos, pi, radians, sin
from typing import cast

import numpy as np
import shapely

from fem.case import physical
from fem.case.case import Case
from fem.case.keys import Tension
from fem.geometry.curve import Curve, Outline, chained, turned
from fem.plan import junctions
from fem.plan.junctions import SAME
from fem.plan.plan import Around, Plan, opened, removed_skin, stitches
from fem.render.plan_figure import plan_lines, points_along
from fem.teaching.drawing import LETTER, Drawing, Stroke, Text, extent, joined

MARK = 5.0  # mm between the marks of a running suture, about; common practice is a few mm
CHORDS = 200  # a curve
TICK, SIZE = 1.8, 2.3  # mm, length of a suture's mark and size of its number
NUMBERED = 3.3, 4.5, 5.7  # mm from the edge to the middle of its number, where there is room
ASIDE = 0.0, 0.6, -0.6, 1.1, -1.1  # rad, by which it is turned away from the mark to find room
AREAS = {"removed": "cut", "undermined": "undermined", "island": "undermined", "flap": "flap", "held": "held"}  # styles
HATCH = 3.0  # mm between lines
BEYOND = 8.0  # mm that the axis reaches beyond the wound
ARROW = 24.0  # mm, of the direction of the lines
BESIDE = 1.2  # mm from a cut to the line that says it stays open
RING = 1.5  # mm, radius of the mark around a tip
LEAST_DEFICIT = radians(1)  # of a tip that is labelled; our choice, no cone is seen below


def template(case: Case) -> Drawing:
    """The plan of a case: cuts, sutures, tips, axis, skin tension lines and undermined zone."""
    plan, outline = physical.plan(case), physical.excised(case)
    parts = [outlines(plan), hatching(plan), sutures(plan, places(case)), axis(plan, outline), tips(plan)]
    parts += [] if plan.thread is None else [purse(plan)]
    made, tension = joined(*parts), case.skin.tension
    if tension.along_N_per_m == tension.across_N_per_m:  # skin without lines
        return made
    return joined(made, lines(tension, extent(made)))


def places(case: Case) -> list[tuple[int, float]]:
    """Seam and fraction of each suture in order of sewing; of a running one, marks about MARK apart along each seam."""
    if case.closure.sutures.kind == "interrupted":
        return physical.tying(physical.plan(case), case.closure.sutures)
    return stitches(physical.plan(case), spacing=MARK, order="along")


def outlines(plan: Plan) -> Drawing:
    """Edges of removed skin, incisions, edges that stay open, beside them in the skin, and borders of all zones."""
    strokes = []
    for line in plan_lines(plan, n=CHORDS + 1, aside=BESIDE):
        if line.kind in ("cut", "open"):
            strokes.append(Stroke(line.points, line.kind))
        elif line.kind in AREAS:
            strokes.append(Stroke(line.points[:, :-1], AREAS[line.kind], closed=True))
    return Drawing(tuple(strokes))


def purse(plan: Plan) -> Drawing:
    """A mark into the skin at each station of the thread around the open edges, and its number beyond."""
    around, count = chained(*plan.open), cast(Around, plan.thread).stations
    marks = [(str(k + 1), *station(around, (k + 0.5) / count, 1, ())) for k in range(int(count))]
    return _numbered(marks, "thread", [around])


def hatching(plan: Plan) -> Drawing:
    """Slanted lines over the removed skin."""
    skin = removed_skin(plan)
    if skin.is_empty:
        return Drawing()
    left, bottom, right, top = skin.bounds
    high = top - bottom
    at = np.arange(left - high + HATCH / 2, right, HATCH)
    slants = shapely.multilinestrings([[(x, bottom), (x + high, top)] for x in at])
    inside = shapely.get_parts(shapely.intersection(slants, skin))
    return Drawing(tuple(Stroke(shapely.get_coordinates(line).T, "removed") for line in inside if line.length))


def sutures(plan: Plan, at: Sequence[tuple[int, float]]) -> Drawing:
    """A mark into the skin on both edges at each suture, and its number beyond."""
    wedges = [wedge for m in junctions.junctions(plan) for wedge in zip(m.places.T, m.ways, m.angles, strict=True)]
    marks = [
        (str(number), *station(curve, fraction, side, wedges))
        for number, (seam, fraction) in enumerate(at, start=1)
        for curve, side in zip(plan.seams[seam], (1, -1), strict=True)
    ]
    return _numbered(marks, "suture", [curve for seam in plan.seams for curve in seam])


def _numbered(marks, style, edges) -> Drawing:
    """Marks, each a number, a place (2,) and the way into the skin (2,); numbers stand where they cover nothing."""
    strokes = [np.stack([x, x + TICK * into], axis=1) for _, x, into in marks]
    taken = [shapely.LineString(line.T) for line in (*strokes, *(points_along(edge, CHORDS + 1) for edge in edges))]
    placed = []
    for text, x, into in marks:
        middle, box = _with_room(text, x, into, taken)
        taken.append(box)
        placed.append(Text(text, (float(middle[0]), float(middle[1] - 0.36 * SIZE)), SIZE, "middle"))
    return Drawing(tuple(Stroke(line, style) for line in strokes), tuple(placed))


def _with_room(text, x, into, taken):
    """Middle (2,) and box of a number beside a place on an edge: the first of all tries that covers least."""
    half = LETTER * SIZE * len(text) / 2, 0.4 * SIZE
    best = (np.inf, x, None)
    for distance, angle in product(NUMBERED, ASIDE):
        middle = x + distance * turned(into, angle)
        box = shapely.box(*(middle - half), *(middle + half))
        covered = sum(box.intersection(other).length for other in taken if box.intersects(other))
        if covered < best[0]:
            best = covered, middle, box
    return best[1:]


def station(
    curve: Curve, fraction: float, side: int, wedges: Sequence[tuple[np.ndarray, float, float]]
) -> tuple[np.ndarray, np.ndarray]:
    """A place (2,) on a curve and the unit vector (2,) from there into the skin on its left, or right for a side of -1.

    wedges  (place (2,), direction of the middle, angle) of each wedge of skin where edges end: the mark of a suture in
            a corner halves the corner
    """
    at = np.array([fraction])
    x = curve.point(at)[:, 0]
    along = np.arctan2(*(curve.tangent(at, -1) + curve.tangent(at, 1))[::-1, 0])
    if 0 < fraction < 1:
        return x, _unit(along + side * pi / 2)
    inward, turn = (along, side) if fraction == 0 else (along + pi, -side)
    here = [(way, angle) for place, way, angle in wedges if np.hypot(*(place - x)) < SAME]
    misses = [abs(np.angle(np.exp(1j * (inward + turn * angle / 2 - way)))) for way, angle in here]
    return x, _unit(here[int(np.argmin(misses))][0])


def _unit(angle):
    return np.array([cos(angle), sin(angle)])


def axis(plan: Plan, outline: Outline) -> Drawing:
    """The long axis of the outline, from one side of all cuts to the other."""
    start, end = outline.lower.point(np.array([0.0, 1.0])).T
    along = (end - start) / np.linalg.norm(end - start)
    at = along @ (shapely.get_coordinates(opened(plan)).T - start[:, None])
    ends = [start + s * along for s in (at.min() - BEYOND, at.max() + BEYOND)]
    return Drawing((Stroke(np.stack(ends, axis=1), "axis"),))


def tips(plan: Plan) -> Drawing:
    """A ring where both edges of a seam end in one place, with the angle of skin that is missing there."""
    strokes, texts = [], []
    turn = np.linspace(0, 2 * np.pi, 33)[:-1]
    around = np.array([np.cos(turn), np.sin(turn)])
    for met in junctions.junctions(plan):
        if met.places.shape[1] > 1 or not met.closed or met.deficit < LEAST_DEFICIT:
            continue
        x = met.places[:, 0]
        strokes.append(Stroke(x[:, None] + RING * around, "tip", closed=True))
        away = x + 4.5 * np.array([cos(met.ways[0]), sin(met.ways[0])])
        anchor = "end" if away[0] < x[0] - 1 else "start" if away[0] > x[0] + 1 else "middle"
        texts.append(Text(f"tip {np.degrees(met.deficit):.0f}°", (float(away[0]), float(away[1] + 1.2)), 3.0, anchor))
    return Drawing(tuple(strokes), tuple(texts))


def lines(tension: Tension, within: np.ndarray) -> Drawing:
    """A double arrow along the skin tension lines, above everything in an extent (2, 2)."""
    turn = physical.lines(tension)
    along = np.array([cos(turn), sin(turn)])
    middle = np.array([within[0].mean(), within[1, 1] + 4 + ARROW / 2 * abs(along[1])])
    ends = [middle - ARROW / 2 * along, middle + ARROW / 2 * along]
    heads = []
    for end, way in zip(ends, (along, -along), strict=True):
        side = np.array([-way[1], way[0]])
        heads.append(Stroke(np.stack([end + 3 * way + side, end, end + 3 * way - side], axis=1), "arrow"))
    label = Text("skin tension lines", (float(within[0].mean() + ARROW / 2 + 2), float(middle[1] - 1)), 3.0)
    return Drawing((Stroke(np.stack(ends, axis=1), "lines"), *heads), (label,))
