"""What a lesson, a page to explore or a study is, and about what it takes, in lines of text."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fem.case.case import Case
    from fem.results.cost import Cost


def takes(cost: "Cost") -> str:
    """A cost in words, two digits of each number."""
    return f"{time(cost)} on one core, {size(cost)}"


def time(cost: "Cost") -> str:
    """The time of a cost in words, two digits."""
    from fem.cli.printing import span

    return span(float(f"{cost.seconds:.2g}"))


def size(cost: "Cost") -> str:
    """Unknowns and memory of a cost in words, two digits of each."""
    unknowns, memory = (f"{float(f'{value:.2g}'):,.0f}".replace(",", " ") for value in (cost.unknowns, cost.memory_MB))
    return f"{unknowns} unknowns, {memory} MB"


def lines(kind: str, content: Any) -> list[str]:
    """What is in a file of a kind of `files.READERS` that is no case."""
    return {"lesson": _lesson, "page to explore": _page, "study": _study}[kind](content)


def _lesson(lesson):
    from fem.teaching.lesson import neighbours

    others = neighbours(lesson)
    named = [f"  {label}: {case.name}, {_short(case)}" for label, case in [(lesson.label, lesson.case), *others]]
    cases = _with_skins([lesson.case, *(case for _, case in others)])
    return [f"{lesson.title}: lesson on {lesson.case.name}, compared with {len(others)}", *named, _in_all(cases)]


def _page(page):
    from fem.teaching.explore import places, steps

    stops = ", ".join(f"{stop:g}" for stop in places(page))
    at = f"{page.slider.label} {stops} {page.slider.unit}".rstrip() if page.slider else f"{stops} to 1"
    named = [f"  {choice.label}: {at}" for choice in page.choices]
    return [f"{page.title}: page to explore on {page.base.name}", *named, _in_all([step.case for step in steps(page)])]


def _study(read):
    from fem.study.report import counts, varied

    study, cases = read
    answers = [f"  answer {name}: {f'at most {n}' if n else 'no'} further cases" for name, n in counts(study)]
    inputs = [f"  varies {path}" for path in varied(study)]
    return [f"{study.name}: study of {len(cases)} case{'s' * (len(cases) > 1)}", *inputs, _in_all(cases), *answers]


def _with_skins(cases: "Sequence[Case]") -> "list[Case]":
    """The cases, and those in slack and tense skin of their sites."""
    from fem.case.case import Case
    from fem.comparison.spread import variants

    return [every for case in cases for every in (case, *variants(case).values()) if isinstance(every, Case)]


def _in_all(cases: "Sequence[Case]") -> str:
    from fem.results.cost import cost

    whole = cost(cases)
    if len(cases) == 1:
        return f"  1 closure: about {takes(whole)}"
    return f"  {len(cases)} closures: about {time(whole)} in all on one core; the largest has {size(whole)}"


def _short(case: "Case") -> str:
    return f"{case.wound.outline.kind}, {case.closure.technique}"
