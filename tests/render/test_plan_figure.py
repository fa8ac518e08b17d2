"""What a case adds to the drawing of its plan: lesion, wound before it was trimmed, its sutures, its tension lines."""

import numpy as np
import shapely
from matplotlib.figure import Figure
from pytest import approx
from small_cases import SMALL, case

from fem.case import physical
from fem.render.plan_figure import case_lines, draw_plan, legend, shown_lines

SUTURED = SMALL.replace("undermine_mm: 6", "undermine_mm: 6, sutures: {kind: interrupted, spacing_mm: 8}")
TRIMMED = SMALL.replace("{kind: lens, length_mm: 30, width_mm: 10}", "{kind: circle, diameter_mm: 20}").replace(
    "undermine_mm: 6", "technique: trimmed, left_mm: 10, right_mm: 10, undermine_mm: 6"
)
PULLED = "taper: {length_mm: 12, spacing_mm: 4, offset_mm: 4}, anchor: {beyond_mm: 2}"


def drawn(sample):
    """Axes 100 mm wide with the plan of a case."""
    axes = Figure(figsize=(5, 5)).add_axes((0, 0, 1, 1))
    axes.set(xlim=(-50, 50), ylim=(-50, 50))
    draw_plan(axes, physical.plan(sample), np.zeros((2, 1)), case=sample)
    return axes


def test_single_sutures():
    """Edges of 32 mm sewn every 8 mm: three sutures and no other links, the middle one first, numbered beside them."""
    sample = case(SUTURED)
    lines = shown_lines(physical.plan(sample), sample)
    assert [line.kind for line in lines].count("suture") == 3 and "sewn" not in {line.kind for line in lines}
    (first, *_) = (line.points for line in lines if line.kind == "suture")
    assert first == approx(np.array([[0, 0], [5, -5]]), abs=1e-9)
    written = {text.get_text(): text.get_position() for text in drawn(sample).texts if text.get_text()}
    assert list(written) == ["1", "2", "3"] and written["1"][1] > 5.5


def test_joined_all_along():
    """Without single sutures some of the points that are sewn are joined, and none is called a suture."""
    kinds = [line.kind for line in shown_lines(physical.plan(case(SMALL)), case(SMALL))]
    assert "sewn" in kinds and "suture" not in kinds
    assert legend([case(SMALL)])["sewn"] == "points sewn together"


def test_lesion_and_what_was_before():
    """A lesion of 6 mm is a disc of that width at its place; a trimmed circle shows the circle of 20 mm it was."""
    sample = case(TRIMMED.replace("20}}", "20}, lesion: {diameter_mm: 6, at_mm: [1, 2]}}"))
    lesion, before = (line.points for line in case_lines(sample))
    assert shapely.Polygon(lesion.T).centroid.coords[0] == approx((1, 2))
    assert np.hypot(*(lesion - [[1], [2]])) == approx(np.full(lesion.shape[1], 3.0))
    assert np.hypot(*before).max() == approx(10, abs=1e-3)
    assert legend([sample]).keys() > {"lesion", "before", "undermined", "lines"}


def test_sutures_beyond_the_tips():
    """Tapering sutures 4 and 8 mm beyond tips at 15 mm, 8 mm long across the axis; others to the bed 2 mm beyond."""
    lines = case_lines(case(SMALL.replace("undermine_mm: 6", f"undermine_mm: 6, {PULLED}")))
    taper = sorted(tuple(line.points[0].round(6)) for line in lines if line.kind == "taper")
    assert taper == [(-23, -23), (-19, -19), (19, 19), (23, 23)]
    assert {tuple(sorted(line.points[1].round(6))) for line in lines if line.kind == "taper"} == {(-4.0, 4.0)}
    anchors = sorted(tuple(line.points[:, 0].round(6) + 0.0) for line in lines if line.kind == "anchor")
    assert anchors == [(-17, 0), (17, 0)]


def test_mark_of_the_tension_lines():
    """The double arrow runs along the lines, here up by 30 degrees; skin as tense either way has none."""
    sample = case(SMALL.replace("across_N_per_m: 5", "across_N_per_m: 5, lines_deg: 30"))
    (arrow,) = (text for text in drawn(sample).texts if not text.get_text())
    along = np.array(arrow.xy) - arrow.xyann
    assert np.degrees(np.arctan2(along[1], along[0])) == approx(30)
    handles = dict(zip(*reversed(drawn(sample).get_legend_handles_labels()), strict=True))
    assert "arrow" in handles["skin tension lines"].get_marker()  # in the key too
    level = case(SMALL.replace("across_N_per_m: 5", "across_N_per_m: 10"))
    assert not drawn(level).texts and "lines" not in legend([level])
