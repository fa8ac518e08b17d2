"""The checks of the book on coarse triangles, what is made of them, and that one that fails is told."""

import pytest
from pytest import approx

from fem.verification import book, page
from fem.verification.check import KINDS, QUICK, Check, Row, Series, outcome

SLOW = {  # take more than some seconds on coarse triangles too
    "inglis", "fibre-hole", "thin-ellipse", "pull-out", "semi-cylinder", "edge-tension", "perfect-cone", "purse-string",
    "orders", "default-mesh", "default-patch", "small-closure",
}  # fmt: skip
EVERY = [pytest.param(of, marks=[pytest.mark.slow] * (of.name in SLOW), id=of.name) for of in book.CHECKS]


@pytest.mark.parametrize("check", EVERY)
def test_check(check):
    """All its numbers are within their tolerance of what is known."""
    of = outcome(check, QUICK)
    assert not of.reason
    assert not [one for one in of.found if not one.good] and of.good


def test_every_check_says_what_it_is():
    """A name of its own, a problem in a sentence, a source, one of the kinds; most are against the outside."""
    assert len(set(book.NAMES)) == len(book.NAMES)
    for check in book.CHECKS:
        assert check.problem.endswith("."), check.name
        assert check.source and check.kind in KINDS
    assert sum(check.kind == "code" for check in book.CHECKS) >= 30


def test_errors_and_tolerances():
    """9.9 for 10 is off by 1 %; beside 0 a scale says of what; what has no tolerance is a finding."""
    assert Row("a", 10, 9.9, "mm", 0.011).good and not Row("a", 10, 9.9, "mm", 0.009).good
    assert Row("a", 0, 0.02, "mm", 0.01, 4.0).error == approx(0.005)
    assert Row("a", 10, 5).good and page.verdict(Row("a", 10, 5)) == "finding"
    assert not Row("a", 10, float("nan"), "", 0.1).good


@pytest.mark.parametrize("limit", [3.0, None])
def test_observed_order(limit):
    """3 + h^2 at h = 4, 2 and 1 is of order 2, by its limit and without."""
    series = Series("a", (4, 2, 1), (19, 7, 4), 1.9, limit)
    assert series.order == approx(2) and series.errors == approx((16 / 3, 4 / 3, 1 / 3)) and series.good
    assert not Series("a", (4, 2, 1), (19, 7, 4), 2.1, limit).good
    assert not Series("a", (4, 2, 1), (19, 7, 9), 0.0).good  # away from where it led


def failing(_):
    """One and one make three."""
    yield Row("sum", 3, 1 + 1, "", 1e-3)


def ending(_):
    """No answer: this ends."""
    raise ValueError("no rest <b>was</b> found")


@pytest.fixture
def wrong(monkeypatch):
    """A book of two checks that cannot be met."""
    checks = tuple(Check(run.__name__, run.__name__, "code", "nobody", run) for run in (failing, ending))
    monkeypatch.setattr(book, "CHECKS", checks)
    monkeypatch.setattr(book, "NAMES", tuple(check.name for check in checks))


def test_what_fails_is_told(wrong, flatseam, tmp_path, monkeypatch):
    """Exit code 1, in the table and on the page; a reason is escaped. What others measured is asked for."""
    monkeypatch.chdir(tmp_path)
    code, printed, _ = flatseam("verify", "--quick")
    assert code == 1 and printed.count("beyond") == 2
    assert "not within it, or without an answer: failing and ending" in printed
    written = (tmp_path / "results" / "verification-quick.html").read_text()
    assert "One and one make three" in written and "&lt;b&gt;was&lt;/b&gt;" in written and "<b>was" not in written
    assert "33 %" in written and "flatseam validate makes them" in written
    assert not (tmp_path / "tests").exists()


def test_source_tree(wrong, flatseam, tmp_path, monkeypatch):
    """At full resolution tests/VERIFICATION.md is written where it is; the words around the numbers are the page's."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "tests").mkdir()
    (tmp_path / "tests" / "VERIFICATION.md").write_text("before")
    assert flatseam("verify")[0] == 1
    written = (tmp_path / "tests" / "VERIFICATION.md").read_text()
    assert "| sum | 3 | 2 |  | 33 % | 0.1 % | beyond |" in written and "sceptical reviewer" in written


def test_named_checks(flatseam, tmp_path, monkeypatch):
    """Those that are named are run, their numbers printed, and nothing is written; one that is not there is told."""
    monkeypatch.chdir(tmp_path)
    code, printed, _ = flatseam("verify", "rubber-strip", "--quick")
    assert code == 0 and "stress at a = 1.1" in printed and "within" in printed
    code, _, error = flatseam("verify", "rubber-stripe")
    assert code == 2 and "did you mean 'rubber-strip'" in error
    assert not list(tmp_path.iterdir())
