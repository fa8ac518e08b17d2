"""The page of a study: what was asked of it, answered; one HTML file made with the means of the comparison page."""

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from fem.case import case as cases
from fem.case.document import bad, hint
from fem.comparison.html import notes, rendered
from fem.comparison.wording import sentence, told_apart
from fem.errors import BadCase
from fem.results.folder import write_whole
from fem.study import gallery
from fem.study.answers.finding import Finding, asking, case_or_reason, first_complaint
from fem.study.answers.naming import name, value
from fem.study.keys import ANSWERS
from fem.study.sweep import Study, case_at, points

MOST_VALUES = 12  # of an input that are listed; our choice
MOST_COMPARED = 1000  # cases that are looked at for what they have in common, 15 ms each; our choice


def check(study: Study) -> None:
    """Refuse answers that cannot be given, before anything is solved. Raises BadCase."""
    inputs, problems = varied(study), []
    for i, block in enumerate(study.keys.answers):
        kind = ANSWERS[block.kind]
        missing = [(key, path) for key, path in kind.varied(block) if path not in inputs]
        problems += [((i, key), f"'{path}' is not varied{hint(path, tuple(inputs))}") for key, path in missing]
        try:
            trials = [case_or_reason(study, settings) for settings in kind.trials(block, study)]
        except BadCase as error:
            problems.append(((i, "kind"), first_complaint(error)))
            continue
        if trials and all(isinstance(case, str) for case in trials):
            problems.append(((i, "kind"), f"no case can be made of it: {trials[0]}"))
    if problems:
        raise bad(study.page, [(("answers", *place), f"answers[{place[0]}]: {text}") for place, text in problems])


def varied(study: Study) -> list[str]:
    """Dotted paths of the inputs that a study varies."""
    keys = study.keys
    return [*keys.grid, *keys.zip, *(keys.sample.over if keys.sample else ())]


def inputs(study: Study) -> tuple[str, ...]:
    """Those, and the further inputs that its answers vary."""
    tried = [ANSWERS[block.kind].trials(block, study) for block in study.keys.answers]
    return tuple(dict.fromkeys([*varied(study), *(path for trials in tried for point in trials for path in point)]))


def counts(study: Study) -> list[tuple[str, int]]:
    """How many cases each answer asks for beside the study's own, at most, by its place and kind."""
    blocks = enumerate(study.keys.answers, start=1)
    return [(f"{i}, {block.kind}", ANSWERS[block.kind].count(block, study)) for i, block in blocks]


def findings(study: Study, evaluate: Callable) -> list[Finding]:
    """Every answer of a study, in order; `evaluate` as study.Evaluate."""
    ask = asking(study, evaluate)
    return [ANSWERS[block.kind].finding(block, study, ask) for block in study.keys.answers]


def html(study: Study, answers: list[Finding], shown: dict[str, Any]) -> str:
    """The page as text; `shown` as of `gallery.pictured`, with `pages` of all cases."""
    base, following = _base(study)
    kinds = [(ANSWERS[block.kind], block) for block in study.keys.answers]
    measures = {measure for kind, block in kinds for measure in kind.measures(block)}
    return rendered(
        "study/report.html", title=f"Study {study.name}", study=study, findings=answers, count=len(points(study)),
        varied=[(name(path), path, _listed(study, path)) for path in varied(study)], base=base, following=following,
        **shown, notes=notes(measures),
        sources=dict.fromkeys(source for kind, block in kinds for source in kind.sources(block)),
    )  # fmt: skip


def _base(study):
    """Values that all cases have in common, by dotted path, and where they came from; and paths whose values differ.

    Of more than MOST_COMPARED cases so many are looked at, spread evenly.
    """
    every, paths = points(study), varied(study)
    looked_at = [case_at(study, settings) for settings in every[:: -(-len(every) // MOST_COMPARED)]]
    first, *others = [cases.inputs(case) for case in looked_at]
    free = [path for path in first if not any(path == above or path.startswith(f"{above}.") for above in paths)]
    common = [path for path in free if all(path in other and other[path] == first[path] for other in others)]
    rows = [(path, value(path, first[path]), _source(path, looked_at)) for path in common]
    differing = [path for path in free if path not in common]
    return rows, sentence("study/shared", "following", differing) if differing else ""


def _source(path, every):
    """Where a value that all cases have came from in words; nothing if not all took it from their site."""
    if not all(path in (case.from_site or ()) for case in every):
        return ""
    return sentence("study/shared", "source", list(dict.fromkeys(str(case.skin.site) for case in every)))


def _listed(study, path):
    """The values of an input that a study varies, in words."""
    given = [settings[path] for settings in points(study)]
    texts = list(dict.fromkeys(told_apart(given, partial(value, path), digits=4)))
    if len(texts) <= MOST_VALUES:
        return ", ".join(texts)
    ends = [value(path, min(given)), value(path, max(given))] if all(isinstance(x, float) for x in given) else []
    return sentence("study/shared", "listed", texts, ends)


def write(study: Study, evaluate: Callable, into: Path) -> Path:
    """Path of study.html in a folder, all answers found and written there."""
    path, answers = into / "study.html", findings(study, evaluate)
    shown = gallery.pictured(gallery.chosen(study, answers, evaluate), evaluate, into)
    shown["pages"] = gallery.pages(study, into)
    write_whole(path, html(study, answers, shown))
    return path
