"""The 1:1 template: a case's plan as lines to cut along and places to sew, in mm."""

from collections.abc import Sequence
from dataclasses import replace
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
from fem.render.plan_figure import plan_lines
from fem.teaching.drawing import Drawing, Stroke, Text, extent, joined

MARK = 5.0  # mm between the marks of a running suture, about; common practice is a few mm
CHORDS = 200  # a curve
TICK, SIZE, NAMED = 1.8, 2.5, 3.0  # mm: a suture's mark, letters of its number and of a tip's angle
ROOM = 0.4, 1.4, 2.6, 4.0, 6.0, 8.5, 11.5  # mm from a mark or ring to its words, where there is room
CUT = 3  # times as bad as to cover another line
CROSSED = 5.0  # mm of a covered line that are as bad as a line between a mark and its words
LED = 2.0  # mm: words farther away are led to by a line
ASIDE = 0.0, 0.5, -0.5, 1.0, -1.0, 1.5, -1.5  # rad, by which they are turned away from the mark to find room
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
    drawn, tension = joined(outlines(plan), hatching(plan), axis(plan, outline)), case.skin.tension
    drawn = joined(drawn, tips(plan, drawn))
    made = joined(drawn, sutures(plan, places(case), drawn) if plan.thread is None else purse(plan, drawn))
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


def purse(plan: Plan, drawn: Drawing) -> Drawing:
    """A mark into the skin at each station of the thread around the open edges, and its number beyond."""
    around, count = chained(*plan.open), cast(Around, plan.thread).stations
    marks = [(str(k + 1), *station(around, (k + 0.5) / count, 1, ())) for k in range(int(count))]
    return _numbered(marks, "thread", obstacles(plan, drawn))


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


def sutures(plan: Plan, at: Sequence[tuple[int, float]], drawn: Drawing) -> Drawing:
    """A mark into the skin on both edges at each suture, and its number beyond, clear of what is drawn already."""
    wedges = [wedge for m in junctions.junctions(plan) for wedge in zip(m.places.T, m.ways, m.angles, strict=True)]
    marks = [
        (str(number), *station(curve, fraction, side, wedges))
        for number, (seam, fraction) in enumerate(at, start=1)
        for curve, side in zip(plan.seams[seam], (1, -1), strict=True)
    ]
    return _numbered(marks, "suture", obstacles(plan, drawn))


def obstacles(plan: Plan, drawn: Drawing) -> list[shapely.Geometry]:
    """What words must not cover: lines and words of a drawing, and skin that is taken away."""
    lines = [s for s in drawn.strokes if s.style != "removed"]
    rings = [np.hstack([s.points, s.points[:, :1]]) if s.closed else s.points for s in lines]
    boxes = [shapely.box(*extent(Drawing((), (text,))).T.ravel()) for text in drawn.texts]
    cuts = [s.points for s in lines if s.style == "cut"] * CUT  # which words must not break
    return [removed_skin(plan), *boxes, *(shapely.LineString(ring.T) for ring in [*rings, *cuts])]


def _numbered(marks, style, taken) -> Drawing:
    """Marks, each a number, a place (2,) and the way into the skin (2,); numbers stand where they cover nothing."""
    strokes = [np.stack([x, x + TICK * into], axis=1) for _, x, into in marks]
    taken = [*taken, *(shapely.LineString(line.T) for line in strokes)]
    texts, leads = [], []
    for name, x, into in marks:
        text, lead = _with_room(Text(name, (0, 0), SIZE, "middle"), x + TICK * into, into, taken)
        taken.append(shapely.box(*extent(Drawing((), (text,))).T.ravel()))
        texts.append(text)
        leads += [Stroke(lead, "lead")] if np.hypot(*np.diff(lead)) > LED else []
    return Drawing((*(Stroke(line, style) for line in strokes), *leads), tuple(texts))


def _with_room(text, start, way, taken):
    """A text beside a place (2,), and the line (2, 2) that leads to it: the first of all tries that covers least."""
    (left, right), (bottom, top) = extent(Drawing((), (text,)))
    half, sunk = np.array([(right - left) / 2, (top - bottom) / 2]), (top + bottom) / 2
    near = [other for other in taken if other.distance(shapely.Point(start)) < ROOM[-1] + 2 * half.max()]
    best = np.inf, text, np.zeros((2, 2))
    for room, angle in product(ROOM, ASIDE):
        there = turned(way, angle)
        lead = np.stack([start, start + room * there], axis=1)
        middle = lead[:, 1] + there * (half @ np.abs(there))
        box, line = shapely.box(*(middle - half), *(middle + half)), shapely.LineString((start + 0.1 * there, middle))
        covered = sum(box.intersection(other).length for other in near if box.intersects(other))
        covered += CROSSED * sum(line.intersects(other) for other in near)
        if covered < best[0] - 1e-9:
            best = covered, replace(text, at=(float(middle[0]), float(middle[1] - sunk))), lead
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


def tips(plan: Plan, drawn: Drawing) -> Drawing:
    """A ring where both edges of a seam end in one place, with the angle that is taken out of the skin there."""
    strokes, texts, taken = [], [], obstacles(plan, drawn)
    turn = np.linspace(0, 2 * np.pi, 33)[:-1]
    around = np.array([np.cos(turn), np.sin(turn)])
    for met in junctions.junctions(plan):
        if met.places.shape[1] > 1 or not met.closed or met.deficit < LEAST_DEFICIT:
            continue
        x, away = met.places[:, 0], _unit(met.ways[0])
        ring = Stroke(x[:, None] + RING * around, "tip", closed=True)
        taken.append(shapely.Polygon(ring.points.T))
        words = Text(f"tip {np.degrees(met.deficit):.0f}°", (0, 0), NAMED, "middle")
        text, lead = min(
            (_with_room(words, x + 1.1 * RING * turned(away, by), turned(away, by), taken) for by in (0.0, 0.8, -0.8)),
            key=lambda placed: np.hypot(*np.diff(placed[1]))[0],
        )
        taken.append(shapely.box(*extent(Drawing((), (text,))).T.ravel()))
        strokes += [ring, *([Stroke(lead, "lead")] if np.hypot(*np.diff(lead)) > LED else [])]
        texts.append(text)
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
