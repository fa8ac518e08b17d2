"""How numbers are named, printed and ranked."""

import re

import pytest

from fem.closure.measure import MEASURES
from fem.results import quantities
from fem.results.quantities import QUANTITIES, label, numbers, ranks, shown, tabled


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
    assert quantities.split(name)[0] == stem
    assert quantities.unit(name) == unit


def test_measures_are_quantities():
    """Every measure has an entry, those with lists one that stands for their members; no entry is of anything else."""
    stems = {re.sub(r"_\{\}.*", "", name) for name in QUANTITIES}  # cones_{}_at_x_mm: of cones
    assert [stem for stem in stems if not any(measure.startswith(stem) for measure in MEASURES)] == []
    assert [measure for measure in MEASURES if not any(measure.startswith(stem) for stem in stems)] == []
    assert set(quantities.LEADING) <= set(MEASURES)
    assert all(entry.name == name and entry.label and entry.group for name, entry in QUANTITIES.items())


def test_former_names():
    """Read under today's name, with a warning that names it."""
    with pytest.warns(FutureWarning, match="'passed_through_mm2' is called 'self_intersection_mm2' now"):
        assert numbers({"passed_through_mm2": 3.0}) == {"self_intersection_mm2": 3.0}


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("cones_2_reach_mm", "cone 2: reach beyond the tip"),
        ("cones_1_footprint_mm2", "cone 1: footprint"),
        ("push_out_2_mm", "outward travel of tip 2"),
        ("cone_height_mm", "cone height"),
        ("closing_force_after_3_share_left", "held closed, time 3: share left"),
        ("never_heard_of_mm", "never heard of"),
    ],
)
def test_labels(name, words):
    assert label(name) == words


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


def test_in_tables():
    """All digits, but round-off of a length is 0; other units and inputs stay as they are."""
    for name, value, wanted in [
        ("cone_height_mm", -4.3e-16, 0.0),
        ("dip_mm", 1.1e-6, 0.0),
        ("cones_2_height_mm", -1.2345678e-5, -1.2345678e-5),
        ("cone_height_mm", None, None),
        ("energy_mJ", 1e-7, 1e-7),
        ("wound.outline.bow_mm", 1e-7, 1e-7),
    ]:
        assert tabled(name, value) == wanted


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
        ("cone_height_mm", [-3.0, 0.04, 2.0], ["worst", "best", None]),  # a sunk tip is no flat one
        ("cones_2_height_mm", [-3.0, 3.0, 1.0], ["worst", "worst", "best"]),
        ("length_to_width", [3.0, 1.0], [None, None]),
        ("cones_1_at_x_mm", [3.0, 1.0], [None, None]),
    ],
)
def test_ranks(name, values, wanted):
    """The least is best, of heights that nearest to 0; what prints alike ranks alike; some numbers have no rank."""
    assert ranks(name, values) == wanted
