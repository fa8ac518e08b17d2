"""How the numbers of a comparison are named, printed, ranked and ordered."""

import io

import numpy as np
import pytest
from comparison import case, text

from fem.closure.measure import MEASURES
from fem.results import result
from fem.results.close import write_numbers
from fem.results.result import Result, numbers, ranks, shown


def test_names_of_numbers():
    """Members of lists are numbered before the unit; a place has an x and a y."""
    measures = {
        "cone_height_mm": 2.5,
        "cones": [{"at_mm": [1.0, 2.0], "height_mm": 2.5}],
        "push_out_mm": [3.0, 4.0],
        "line_tension_max_N_per_m": None,
    }
    assert numbers(measures) == {
        "cone_height_mm": 2.5,
        "cones_1_at_x_mm": 1.0,
        "cones_1_at_y_mm": 2.0,
        "cones_1_height_mm": 2.5,
        "push_out_1_mm": 3.0,
        "push_out_2_mm": 4.0,
        "line_tension_max_N_per_m": None,
    }


@pytest.mark.parametrize(
    ("name", "stem", "unit"),
    [
        ("line_tension_max_N_per_m", "line_tension_max", "N/m"),
        ("closing_force_N", "closing_force", "N"),
        ("removed_area_mm2", "removed_area", "mm²"),
        ("skin_stretch_max", "skin_stretch_max", ""),
        ("tip_angles_1_deg", "tip_angles_1", "°"),
    ],
)
def test_units(name, stem, unit):
    assert result.split(name)[0] == stem
    assert result.unit(name) == unit


def test_every_leading_number_is_a_measure():
    """A word for a measure that does not exist would never be shown."""
    assert set(result.WORDS) <= set(MEASURES)
    assert result.WORDS.keys() >= result.NEITHER


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("cones_2_reach_mm", "cone 2: reach beyond the tip"),
        ("cones_1_footprint_mm2", "cone 1: footprint"),
        ("push_out_2_mm", "push-out of tip 2"),
        ("cone_height_mm", "cone height"),
        ("never_heard_of_mm", "never heard of"),
    ],
)
def test_labels(name, words):
    assert result.label(name) == words


@pytest.mark.parametrize(
    ("name", "value", "text"),
    [
        ("cone_height_mm", 6.1356, "6.1"),
        ("cone_height_mm", -1e-9, "0.0"),
        ("cone_height_mm", -0.26, "−0.3"),
        ("closing_force_N", 1.709, "1.71"),
        ("removed_area_mm2", 1080.4, "1080"),
        ("skin_stretch_max", 1.7, "1.70"),
        ("line_tension_max_N_per_m", None, "–"),
    ],
)
def test_printed(name, value, text):
    """A fixed number of decimals for each unit; a minus as it is set in print, and none before zero."""
    assert shown(name, value) == text


def test_printed_with_sign():
    """Differences have their sign, but one that rounds to nothing."""
    assert [shown("cone_height_mm", v, sign="+") for v in (1.25, -1.25, 0.01, -0.01)] == ["+1.2", "−1.2", "0.0", "0.0"]


@pytest.mark.parametrize(
    ("name", "values", "wanted"),
    [
        ("cone_height_mm", [3.0, 1.0, 2.0], ["worst", "best", None]),
        ("cone_height_mm", [3.0, 1.04, 0.96], ["worst", "best", "best"]),  # both are printed 1.0
        ("cone_height_mm", [1.04, 0.96], [None, None]),
        ("cone_height_mm", [3.0, None, 2.0], ["worst", None, "best"]),
        ("cone_height_mm", [3.0], [None]),
        ("cone_height_mm", [None, None], [None, None]),
        ("length_to_width", [3.0, 1.0], [None, None]),
        ("cones_1_at_x_mm", [3.0, 1.0], [None, None]),
    ],
)
def test_ranks(name, values, wanted):
    """The least is best; what cannot be told apart in print ranks alike; some numbers have no rank."""
    assert ranks(name, values) == wanted


def test_order():
    """Smallest first; without the number last, in the order given."""
    made = [
        Result(case(text(name, 20)), measures=measures)
        for name, measures in [
            ("a", {}),
            ("b", {"dip_mm": 2.0}),
            ("c", {"dip_mm": 1.0}),
            ("d", {"dip_mm": None}),
        ]
    ]
    assert [r.name for r in result.ordered(made, "dip_mm")] == ["c", "b", "a", "d"]


def archive(**arrays):
    stream = io.BytesIO()
    np.savez(stream, **arrays)
    return stream.getvalue()


@pytest.mark.parametrize(
    ("measures", "stages", "complaint"),
    [
        ({"cone_height_mm": "<b>high</b>"}, archive(x=[1]), "measures.json: cone_height_mm is no number"),
        ({"cone_height_mm": 1.0}, b"", "damaged, stages.npz: File is not a zip file"),
        ({"cone_height_mm": 1.0}, archive(x=[1])[:-30], "damaged, stages.npz"),
        ({"cone_height_mm": 1.0}, archive(x=[1]), "stages.npz: .*closed"),
    ],
)
def test_folder_that_is_not_what_was_written(tmp_path, measures, stages, complaint):
    """Text in place of a number, or an array file that was cut short or lacks some, is refused with its name."""
    one = case(text("a", 20))
    write_numbers(tmp_path, one, measures, {}, keep="fields")
    for name, content in {"profiles.json": b"{}", "stages.npz": stages, "skin.vtu": b"</VTKFile>"}.items():
        (tmp_path / name).write_bytes(content)
    with pytest.raises(ValueError, match=complaint):
        result.read(tmp_path, one)
