"""Names of results as addresses, and words that tell values apart."""

import pytest
from small_cases import case, text

from fem.comparison.addresses import Address, clashes, results_of
from fem.comparison.compare import solve_missing
from fem.comparison.wording import told_apart


def test_clashes():
    """Two cases of one name, and a case named like another's note of a failure; the same case twice is none."""
    small, longer, note = case(text("small", 20)), case(text("small", 21)), case(text("small.failed.json", 20))
    every = [(small, "a"), (small, "b"), (longer, "c"), (note, "d"), (case(text("other", 20)), "e")]
    found = clashes([Address("page.html", "page.html", "p"), *(a for c, s in every for a in results_of(c, s))])
    assert [(later.name, later.source, first.source) for later, first in found] == [
        ("small", "c", "a"), ("small.failed.json", "d", "a"),
    ]  # fmt: skip


def test_nothing_is_solved_into_one_folder(tmp_path):
    """Two different cases of one name are refused by whatever solves them, not only by the commands."""
    with pytest.raises(ValueError, match="'small' is written for small and, with other content, for small; one of"):
        solve_missing([case(text("small", 20)), case(text("small", 21))], into=tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_told_apart():
    """As few digits as tell values apart; what they do not tell apart is numbered, once a value."""
    write = lambda value, digits: f"{value:.{digits}g} mm"  # noqa: E731
    assert told_apart([2.6, 1 / 3, 2.6], write, digits=2) == ["2.6 mm", "0.33 mm", "2.6 mm"]
    assert told_apart([2.6001, 2.6004], write, digits=3) == ["2.6001 mm", "2.6004 mm"]
    assert told_apart([1.0, 2.0, 1.0], lambda value, digits: "x", digits=3) == ["x (no. 1)", "x (no. 2)", "x (no. 1)"]
    assert told_apart([], write, digits=3) == []
