"""The book as a page and as Markdown."""

import platform
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import fem
from fem.comparison.html import rendered
from fem.comparison.wording import environment, sentence, sentences
from fem.results.folder import write_whole
from fem.study.validation import FACTS, Line
from fem.verification import charts, validity
from fem.verification.check import FULL, KINDS, Outcome, Row, Series

TEXT = "verification/book"
SMALL = 1e-4  # below it a share is not told in per cent


def number(value: float) -> str:
    """A number of a check."""
    return "0" if value == 0 else f"{value:.5g}".replace("-", "−")


def portion(value: float | None) -> str:
    """An error or a tolerance."""
    if value is None:
        return "–"
    if 0 < value < SMALL:
        return f"{value:.1e}".replace("-", "−")
    return f"{100 * value:.0f} %" if value >= 1 else f"{100 * value:.2g} %" if value else "0"


def span(least: float, greatest: float) -> str:
    """From one number to another, or the one that both are."""
    ends = [f"{end:.3g}".replace("-", "−") for end in (least, greatest)]
    return " to ".join(dict.fromkeys(ends))


def verdict(of: Row | Series | Outcome) -> str:
    """In a word."""
    if isinstance(of, Row) and of.tolerance is None:
        return "finding"
    if isinstance(of, Outcome) and of.good and of.nearest is None and not of.series:
        return "finding"
    return "within" if of.good else "beyond"


def summary(outcome: Outcome) -> tuple[str, ...]:
    """A line of a table: title, name, error nearest to its tolerance, that, orders, seconds, verdict."""
    near = outcome.nearest
    orders = ", ".join(f"{series.order:.1f}" for series in outcome.series)
    error = outcome.reason or (portion(near.error) if near else "–")
    limit = portion(near.tolerance) if near else "–"
    return (
        outcome.check.title,
        outcome.check.name,
        error,
        limit,
        orders or "–",
        f"{outcome.seconds:.1f}",
        verdict(outcome),
    )


HEADINGS = "check", "name", "error", "tolerance", "observed order", "CPU s", "verdict"


COLUMNS = "number", "expected", "obtained", "unit", "error", "tolerance", "verdict"


def lines(outcome: Outcome) -> list[tuple[str, ...]]:
    """Lines of a table of a check's numbers, in words under COLUMNS."""
    numbers: list[tuple[str, ...]] = []
    for of in outcome.rows:
        values = number(of.expected), number(of.obtained), of.unit, portion(of.error), portion(of.tolerance)
        numbers.append((of.what, *values, verdict(of)))
    for one in outcome.series:
        what = f"{one.what}, order on finer triangles"
        error = portion(one.errors[-1])
        numbers.append((what, f"at least {number(one.least)}", f"{one.order:.2f}", "", error, "–", verdict(one)))
    return numbers


def result(outcomes: Sequence[Outcome], fine: int) -> str:
    """How many checks, and which failed."""
    failed = [of.check.name for of in outcomes if not of.good]
    held = sum(isinstance(one, Series) or one.tolerance is not None for of in outcomes for one in of.found)
    return sentence(TEXT, "result", len(outcomes), held, failed, fine != FULL)


def about(outcomes: Sequence[Outcome], fine: int, table: dict[str, list[Line]]) -> dict[str, Any]:
    """What both the page and the Markdown tell."""
    parts = [(name, *words, [of for of in outcomes if of.check.kind == name]) for name, words in KINDS.items()]
    observed = validity.observed(table)
    return {
        "outcomes": outcomes,
        "full": fine == FULL,
        "result": result(outcomes, fine),
        "columns": COLUMNS,
        "parts": [(name, title, asked, sentence(TEXT, "kind", name), of) for name, title, asked, of in parts if of],
        "headings": HEADINGS,
        "seconds": sum(of.seconds for of in outcomes),
        "machine": f"{platform.machine()}, Python {platform.python_version()}",
        "observed": observed,
        "facts": FACTS,
        "validation": sentence(TEXT, "validation", bool(observed)),
        "say": lambda name, *values: sentence("study/validation", name, *values),
        **{name: sentences(TEXT, name) for name in ("context", "unverified", "sceptic", "bed")},
        **{function.__name__: function for function in (portion, span, summary, lines)},
    }


def html(outcomes: Sequence[Outcome], fine: int, table: dict[str, list[Line]]) -> str:
    """The page as text."""
    values = about(outcomes, fine, table)
    two_sided = [of for of in values["observed"] if of.shares]
    chart = charts.misses([of.fact.about for of in two_sided], [of.shares for of in two_sided]) if two_sided else None
    series = [(of, one, charts.orders(one)) for of in outcomes for one in of.series]
    shown = charts.overview(outcomes) if any(of.nearest for of in outcomes) else None
    return rendered(
        "verification/book.html", title="The verification book", overview=shown, series=series, misses=chart, **values
    )


def markdown(outcomes: Sequence[Outcome], fine: int, table: dict[str, list[Line]]) -> str:
    """The same as Markdown, without charts."""
    values = about(outcomes, fine, table)
    return environment().get_template("verification/book.txt").render(values, version=fem.__version__)


def write(text: str, path: Path) -> None:
    """Write the page, or the Markdown, whole or not at all."""
    path.parent.mkdir(parents=True, exist_ok=True)
    write_whole(path, text)
