"""Charts of answers, looked at: what stands where is what was given."""

import numpy as np
from pytest import approx

from fem.comparison import style
from fem.study.answers import curves, map, search, sensitivity, uncertainty
from fem.study.answers.sensitivity import Indices
from fem.study.answers.uncertainty import Scatter

LENGTHS, CONES = [90, 30, 60], [0.5, 4.5, 2.5]  # not in order


def lines(axes):
    """Points (x, y) of every line of a chart, by its label."""
    return {line.get_label().strip(): np.array(line.get_data(), float) for line in axes.get_lines()}


def test_curves():
    """Each series under its own name, its points in order along the axis; a gap and a cross where nothing closed."""
    (axes,) = curves.draw(
        [("undermined 0 mm", LENGTHS, CONES), ("undermined 20 mm", LENGTHS, [np.nan, 4.0, 2.0])],
        measure="cone_height_mm", over="length, mm",
    ).axes  # fmt: skip
    shown = lines(axes)
    assert shown["undermined 0 mm"] == approx(np.array([[30, 60, 90], [4.5, 2.5, 0.5]]))
    assert shown["undermined 20 mm"] == approx(np.array([[30, 60, 90], [4.0, 2.0, np.nan]]), nan_ok=True)
    assert shown["not closed"][0] == approx([90])
    assert axes.get_xlabel() == "length, mm" and axes.get_ylabel().endswith(", mm")
    assert axes.get_ylim()[0] == 0


def test_room_above_a_curve():
    """Numbers that hardly differ: none lies at the frame, where its marker would be cut; nor is round-off a wave.

    The only line of a chart has no name.
    """
    for given, top in [([1.33, 1.32, 1.325], 1.33), ([2.0, -3e-16, 0.0], 2), ([4e-16, -3e-16, 0.0], 1)]:
        (axes,) = curves.draw([(curves.ALL, LENGTHS, given)], measure="cone_height_mm", over="length, mm").axes
        low, high = axes.get_ylim()
        assert low == 0 and 1.03 * top < high < 1.2 * top and axes.get_legend() is None
    (axes,) = curves.draw([(curves.ALL, LENGTHS, [1.0, np.nan, 2.0])], measure="dip_mm", over="length, mm").axes
    assert [text.get_text() for text in axes.get_legend().get_texts()] == [" not closed"]


def test_curve_over_words():
    """Values that are no numbers stand side by side in their order, under their names."""
    (axes,) = curves.draw([("a", ["lens", "rhombus"], [4.0, 2.0])], measure="cone_height_mm", over="outline").axes
    assert lines(axes)["a"] == approx(np.array([[0, 1], [4, 2]]))
    assert [tick.get_text() for tick in axes.get_xticklabels()] == ["lens", "rhombus"]
    assert axes.lines[0].get_linestyle() == "None"  # there is nothing between two words


def test_map_of_a_grid():
    """Three columns of two rows: the value of each cell is that at its middle, and is written there."""
    x, y = [30, 60, 90, 30, 60, 90], [20, 20, 20, 0, 0, 0]
    values = 0.1 * np.array(x) + 0.01 * np.array(y)
    axes, scale = map.draw(x, y, values, measure="cone_height_mm", over=("length", "undermined")).axes
    (cells,) = axes.collections
    corners, heights = cells.get_coordinates(), cells.get_array()
    middles = (corners[:-1, :-1] + corners[1:, 1:]) / 2
    assert np.array(heights) == approx(0.1 * middles[..., 0] + 0.01 * middles[..., 1])
    written = {tuple(word.xy): float(word.get_text()) for word in axes.texts}
    assert written == {(a, b): approx(value, abs=0.05) for a, b, value in zip(x, y, values, strict=True)}
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("length", "undermined")
    assert scale.get_ylabel().endswith(", mm")
    assert min(word.get_size() for word in axes.texts) * 358 / (72 * style.SIZE[0]) > 11  # pixels, on a screen of 390


def test_map_of_many_cells():
    """Numbers of four characters are written into eight columns, not into ten, where they would touch."""
    for columns, written in ((8, 96), (10, 0)):
        x, y = np.meshgrid(np.arange(columns), np.arange(12))
        axes, _ = map.draw(x.ravel(), y.ravel(), np.full(x.size, 10.5), measure="cone_height_mm", over=("a", "b")).axes
        assert len(axes.texts) == written


def test_shares():
    """First-order index and total of each input beside its name, the first input on top."""
    result = Indices(
        first=np.array([0.7, 0.2]), total=np.array([0.8, 0.3]),
        first_interval=np.array([[0.6, 0.1], [0.75, 0.25]]), total_interval=np.array([[0.7, 0.2], [0.9, 0.4]]),
        dropped=0,
    )  # fmt: skip
    (axes,) = sensitivity.draw(["thickness", "fat"], result).axes
    names = {place: tick.get_text() for place, tick in enumerate(axes.get_yticklabels())}
    shown = lines(axes)
    assert shown["alone (first order)"][0] == approx([0.7, 0.2])
    assert shown["with others (total)"][0] == approx([0.8, 0.3])
    assert [names[round(y)] for y in shown["alone (first order)"][1]] == ["thickness", "fat"]
    first = [segment[:, 0] for segment in axes.collections[0].get_segments()]
    assert np.array(first) == approx(np.array([[0.6, 0.75], [0.1, 0.25]]))
    assert axes.get_ylim()[0] > axes.get_ylim()[1]


def test_scatters():
    """Of each design 5 to 95 % thin, the middle half thick, the median marked, beside its name; none if it failed."""
    result = [Scatter(quantiles=np.array([1, 2, 3, 4, 6.0]), known=9, failed=0), None]
    (axes,) = uncertainty.draw(["long", "short"], result, measure="cone_height_mm").axes
    thin, thick = (lines.get_segments()[0] for lines in axes.collections)
    assert thin == approx(np.array([[1, 0], [6, 0]])) and thick == approx(np.array([[2, 0], [4, 0]]))
    (median,) = axes.get_lines()
    assert np.array(median.get_data()).ravel() == approx([3, 0])
    assert [tick.get_text() for tick in axes.get_yticklabels()] == ["long", "short"]


def test_bracketing():
    """What a search evaluated, its limit and its answer stand at their values."""
    (axes,) = search.draw_bracketing(
        LENGTHS, CONES, limit=2.0, measure="cone_height_mm", over="length, mm", answer=67.5
    ).axes  # fmt: skip
    shown = lines(axes)
    assert shown["evaluated"] == approx(np.array([LENGTHS, CONES]))
    assert shown["limit"][1] == approx([2, 2]) and shown["least value found"][0] == approx([67.5, 67.5])


def test_designs_and_their_front():
    """Designs within limits are filled, the others open, the front joins its own; the best is where it is."""
    groups = [("lens", [70, 50, 65, 60], [1, 4, 3, 2], [True, False, True, True])]
    (axes,) = search.draw_trade_off(groups, (60, 2), x="scar_length_mm", y="cone_height_mm").axes
    beyond, within, front, best = (np.array(line.get_data(), float) for line in axes.get_lines())
    assert beyond == approx(np.array([[50], [4]])) and best == approx(np.array([[60], [2]]))
    assert within == approx(np.array([[70, 65, 60], [1, 3, 2]]))
    assert front == approx(np.array([[50, 60, 70], [4, 2, 1]]))
    assert axes.get_lines()[0].get_markerfacecolor() == "none" != axes.get_lines()[1].get_markerfacecolor()
