"""Dotted keys of nested mappings."""

import pytest

from fem.case import dotted

CASE = {"wound": {"outline": {"kind": "lens", "length_mm": 60.0}}, "bed": None, "times": [1, 2]}


def test_flat_and_back():
    """Every value by its key; put one after the other into nothing they make the mapping again."""
    values = dotted.flat(CASE)
    assert values == {"wound.outline.kind": "lens", "wound.outline.length_mm": 60.0, "bed": None, "times": [1, 2]}
    content: dict = {}
    for key, value in values.items():
        content = dotted.put(content, key, value)
    assert content == CASE
    assert all(dotted.get(CASE, key) == value for key, value in values.items())


def test_put_and_without_leave_what_they_are_given():
    """A changed mapping is another one; nothing else in it differs."""
    longer = dotted.put(CASE, "wound.outline.length_mm", 80.0)
    assert dotted.flat(longer) == dotted.flat(CASE) | {"wound.outline.length_mm": 80.0}
    shorter = dotted.without(longer, "wound.outline.length_mm")
    assert shorter["wound"] == {"outline": {"kind": "lens"}}
    assert dotted.get(CASE, "wound.outline.length_mm") == 60.0
    assert dotted.without(CASE, "skin.site") == CASE


def test_through_a_value():
    """What is no block has no keys: nothing is got, put or open there; what is missing is open, also in new blocks."""
    assert dotted.get(CASE, "times.first") is None
    with pytest.raises(ValueError, match="'times' has no keys"):
        dotted.put(CASE, "times.first", 1)
    assert [dotted.is_open(CASE, key) for key in ("times.first", "bed.fat_mm", "bed", "wound.outline.kind")] == [
        False
    ] * 4
    assert dotted.is_open(CASE, "wound.outline.width_mm") and dotted.is_open(CASE, "skin.law.kind")
