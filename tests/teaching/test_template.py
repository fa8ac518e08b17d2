"""The 1:1 template: sutures where they are sewn, tips, axis, lines and zones where the plan has them."""

from pathlib import Path

import numpy as np
import pytest
import shapely
from pytest import approx
from small_cases import case, text

from fem.case import case as cases
from fem.case import physical
from fem.render.plan_figure import points_along
from fem.teaching import template as made
from fem.teaching.drawing import LETTER, Drawing, check_bar, extent, key

CONFIGS = Path(__file__).parents[2] / "configs"
WIDE = text("lens", 60).replace("width_mm: 10", "width_mm: 20").replace("radius_mm: 40", "radius_mm: 90")


def strokes(drawing, style):
    return [s.points for s in drawing.strokes if s.style == style]


def test_running_suture():
    """A running suture on edges of 64.35 mm: 13 spaces of about 5 mm, so 12 marks, numbered from left to right."""
    sample = case(WIDE)
    at = made.places(sample)
    assert [fraction for _, fraction in at] == approx(np.arange(1, 13) / 13)
    drawing = made.sutures(physical.plan(sample), at, Drawing())
    assert [w.text for w in drawing.texts] == [str(k) for k in range(1, 13) for _ in "ab"]
    assert len(drawing.strokes) == 24


def test_interrupted_sutures():
    """Sutures tied by halves: the first number is in the middle, and both edges have the same number at the same place.

    The lens is symmetric, so both marks of a number have the same x and opposite y.
    """
    sample = case(WIDE.replace("{undermine_mm: 6}", "{sutures: {kind: interrupted, spacing_mm: 8, order: halves}}"))
    marks = strokes(made.sutures(physical.plan(sample), made.places(sample), Drawing()), "suture")
    upper, lower = np.array(marks[::2]), np.array(marks[1::2])
    assert len(upper) == 7 and upper[0, 0, 0] == approx(0, abs=1e-9)
    assert upper[:, 0] == approx(lower[:, 0], abs=1e-9) and upper[:, 1] == approx(-lower[:, 1], abs=1e-9)


@pytest.mark.parametrize("name", [p.stem for p in sorted((CONFIGS / "techniques").glob("*.yaml"))])
def test_marks_are_on_both_edges(name):
    """In every technique a suture's marks start on the edges of its seam, at the same fraction, and lead into skin.

    Into skin: not into what is taken away, nor across a cut.
    """
    sample = cases.read(CONFIGS / "techniques" / f"{name}.yaml")
    plan, at = physical.plan(sample), made.places(sample)
    marks = strokes(made.sutures(plan, at, Drawing()), "suture")
    assert len(marks) == 2 * len(at) and (len(at) > 0 or plan.thread is not None)
    cut = shapely.union_all(
        [made.opened(plan).buffer(-1e-3), *(shapely.LineString(points_along(c, made.CHORDS + 1).T) for c in plan.cuts)]
    )
    for k, (seam, fraction) in enumerate(at):
        for mark, curve in zip(marks[2 * k : 2 * k + 2], plan.seams[seam], strict=True):
            assert mark[:, 0] == approx(curve.point(np.array([fraction]))[:, 0], abs=1e-9)
            inner = shapely.LineString(np.stack([mark @ [0.95, 0.05], mark[:, 1]]))
            assert not cut.intersects(inner)


def test_numbers_have_room():
    """Numbers of a rhombic flap, where four edges meet in one corner, do not cover each other."""
    sample = cases.read(CONFIGS / "techniques" / "rhombic.yaml")
    phrase = made.sutures(physical.plan(sample), made.places(sample), Drawing()).texts
    boxes = []
    for w in phrase:
        (x, y), half = w.at, LETTER * made.SIZE * len(w.text) / 2
        boxes.append(shapely.box(x - half, y, x + half, y + 0.72 * made.SIZE))
    i, j = shapely.STRtree(boxes).query(boxes, "intersects")
    assert [(phrase[a].text, phrase[b].text) for a, b in zip(i, j, strict=True) if a < b] == []


@pytest.mark.parametrize(
    "name", ["demo/circle-20", "demo/lens-2-1", "demo/rhombus-3-1", "outlines/lens-with-m", "outlines/teardrop"]
)
def test_words_stand_clear(name):
    """No word lies on a cut, on the border of the undermined skin or in the skin that is cut out."""
    sample = cases.read(CONFIGS / f"{name}.yaml")
    drawing = made.template(sample)
    lines = [line.T for style in ("cut", "undermined") for line in strokes(drawing, style)]
    boxes = [extent(Drawing((), (w,))) for w in drawing.texts]
    words = shapely.union_all([shapely.box(*box.T.ravel()) for box in boxes]).buffer(-0.2)  # their width is estimated
    drawn = shapely.union_all([shapely.LineString(line) for line in lines])
    assert words.intersection(made.removed_skin(physical.plan(sample))).area == approx(0, abs=1e-6)
    assert words.intersection(drawn).length == approx(0, abs=1e-6)


def test_tips_and_axis():
    """A lens: a ring and the angle at each tip, 73.74 degrees; the axis reaches 8 mm beyond both."""
    sample = case(WIDE)
    drawing = made.template(sample)
    rings = strokes(drawing, "tip")
    assert sorted(ring.mean(axis=1)[0] for ring in rings) == approx([-30, 30])
    assert [w.text for w in drawing.texts if w.text.startswith("tip")] == ["tip 74°", "tip 74°"]
    (axis,) = strokes(drawing, "axis")
    assert axis == approx(np.array([[-38, 38], [0, 0]]), abs=1e-9)


@pytest.mark.parametrize("angle", [0, 30, 90, -45])
def test_lines(angle):
    """The arrow runs along the skin tension lines, and does not touch the wound."""
    sample = case(WIDE.replace("across_N_per_m: 1", f"across_N_per_m: 1, lines_deg: {angle}"))
    drawing = made.template(sample)
    (arrow,) = strokes(drawing, "lines")
    way = np.diff(arrow, axis=1)[:, 0]
    assert np.degrees(np.arctan2(way[1], way[0])) == approx(angle)
    assert arrow[1].min() > max(ring[1].max() for ring in strokes(drawing, "undermined"))


def test_no_lines():
    """Skin under the same tension every way has no lines, and neither has skin without tension."""
    for tension in ("along_N_per_m: 2, across_N_per_m: 2", "along_N_per_m: 0, across_N_per_m: 0"):
        drawing = made.template(case(WIDE.replace("along_N_per_m: 2, across_N_per_m: 1", tension)))
        assert not strokes(drawing, "lines") and not any("tension" in w.text for w in drawing.texts)


def test_zones():
    """What is undermined reaches 6 mm beyond the lens; hatching covers what is taken away, and no more."""
    sample = case(WIDE)
    drawing = made.template(sample)
    (zone,) = strokes(drawing, "undermined")
    assert np.ptp(zone, axis=1) == approx((72, 32), abs=0.05)
    removed = made.removed_skin(physical.plan(sample))
    hatch = shapely.multilinestrings([line.T for line in strokes(drawing, "removed")])
    assert hatch.difference(removed.buffer(1e-6)).length == approx(0, abs=1e-6)
    assert hatch.buffer(made.HATCH).intersection(removed).area > 0.99 * removed.area


def test_open_edges_and_flaps():
    """V-Y: a flap, a part that stays on its bed; every kind of line drawn is explained in the key, and no other."""
    drawing = made.template(cases.read(CONFIGS / "techniques" / "v-y.yaml"))
    assert strokes(drawing, "flap") and strokes(drawing, "held")
    phrase = [w.text for w in key(drawing).texts]
    assert "stays on its bed" in phrase and "edge that stays open" not in phrase and "fold here" not in phrase


def test_bar():
    """The bar is 100 mm long, with a tick every 10 mm."""
    bar = check_bar()
    level, *ticks = bar.strokes
    assert np.ptp(level.points, axis=1) == approx((100, 0))
    assert [t.points[0, 0] for t in ticks] == approx(range(0, 101, 10))
    assert "100 %" in bar.texts[0].text and extent(bar)[0, 0] <= 0


def test_purse_string():
    """A circle of 20 mm: 13 stations, evenly around it from half a step on; the edge that stays open beside it."""
    sample = cases.read(CONFIGS / "techniques" / "purse-string.yaml")
    drawing = made.template(sample)
    places = np.array([mark[:, 0] for mark in strokes(drawing, "thread")]).T
    assert np.hypot(*places) == approx(10)
    turn = np.unwrap(np.arctan2(*places[::-1]))
    assert np.diff(turn) == approx(-2 * np.pi / 13, abs=1e-4) and turn[0] == approx(np.pi - np.pi / 13, abs=1e-4)
    ends = np.array([mark[:, 1] for mark in strokes(drawing, "thread")]).T
    assert np.hypot(*ends) == approx(10 + made.TICK, abs=1e-3)
    assert all(np.hypot(*line) == approx(10 + made.BESIDE, abs=0.01) for line in strokes(drawing, "open"))
    assert [w.text for w in drawing.texts if w.text.isdigit()] == [str(k) for k in range(1, 14)]
