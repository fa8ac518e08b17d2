"""A lesson: a question, the case that answers it, and the neighbours that it is compared with; read from YAML."""

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Annotated, Any, Self, cast

from annotated_types import Gt, Le
from pydantic import BeforeValidator, Field, ValidationInfo, model_validator

from fem.case import case as cases
from fem.case import dotted, physical
from fem.case.case import Case
from fem.case.document import Block, parse, top_keys
from fem.case.document import read as read_text
from fem.case.keys import Patch
from fem.comparison.addresses import clashes, results_of
from fem.comparison.wording import told_apart
from fem.comparison.written import as_written, parsed
from fem.errors import dotted as called
from fem.errors import refuse
from fem.plan.plan import reach
from fem.plan.trim import ENDS

MOST = 40  # lengths, and as many other neighbours, a closure each; our choice
LENGTHS = 0.75, 4 / 3, 5 / 3  # of a plain case's wound; the first two that can be cut are compared; our choice
KEPT = {"mesh", "name", "from_site"}  # by `changed`: neighbours are computed in the same way
RENAMED = {"words:": "label:"}  # keys whose former names are still read in this version
TRIMMED = "The cones of a closed wound are cut off. What does that change, and what does it cost?"
CUT = *ENDS, "under"  # how the keys begin that say how cones are cut off
PLAIN = "How high do the cones stand, what does the scar cost, and what would {} change?"
ALONE = "How high do the cones stand, and what does the scar cost?"

Factor = Annotated[float, Gt(0), Le(10)]
Text = Annotated[str, Field(min_length=1, max_length=600)]


def from_file(case: Any, info: ValidationInfo) -> Any:
    """The case of a path within the folders of the lesson; anything else as it is."""
    if not isinstance(case, str):
        return case
    for folder in (info.context or {}).get("folders", ())[:1]:
        path = (Path(folder) / case).resolve()
        if path.is_relative_to(Path(folder).resolve()):
            return cases.read(path)
    raise ValueError(f"{case!r} is not inside the folder of the lesson")


class Neighbour(Block):
    """A closure to compare with: the lesson's case with some keys changed, or another case."""

    label: Text = Field(description="what it is, in a few words")
    name: str | None = Field(default=None, description="of the changed case, and of its results folder")
    change: dict[str, Any] | None = Field(
        default=None, description="dotted keys of the lesson's case, as wound.outline.length_mm, and their values"
    )
    case: Annotated[Case | None, BeforeValidator(from_file)] = Field(
        default=None, description="instead: another case, or the path of its file"
    )

    @model_validator(mode="after")
    def one_of_both(self) -> Self:
        """Refuse neither, or both."""
        if (self.name is None, self.change is None) != (self.case is not None,) * 2:
            raise ValueError("needed: name and change, or case instead of both")
        return self


class Order(Block):
    """What the closures of a lesson are put in order by, instead of their scars."""

    key: str = Field(description="dotted key of a case whose value is a number, as closure.undermine_mm")
    label: Text = Field(description="how a sentence on it begins, as: the farther skin is undermined")


class Lesson(Block):
    """A lesson file."""

    title: Text = Field(description="of the sheet")
    question: Text = Field(description="that the sheet answers")
    case: Annotated[Case, BeforeValidator(from_file)] = Field(description="of the lesson, or the path of its file")
    label: Text = Field(default="this wound", description="what the case is, in a few words")
    lengths: tuple[Factor, ...] = Field(
        default=(), max_length=MOST, description="neighbours whose wounds are so many times as long"
    )
    compare: tuple[Neighbour, ...] = Field(default=(), max_length=MOST, description="other neighbours")
    order: Order | None = Field(default=None, description="of the closures; by their scars if left out")
    notes: tuple[Text, ...] = Field(default=(), description="for the teacher, printed on the sheet")

    @model_validator(mode="after")
    def possible(self) -> Self:
        """Refuse lengths that the wound cannot have, changes of which no case comes, and an order by no number.

        Refuse too what two closures have in common by which they are told apart: the name of their results, the label.
        """
        lengths = {("lengths", i): factor for i, factor in enumerate(self.lengths)}
        others = {("compare", i, "change"): neighbour for i, neighbour in enumerate(self.compare)}
        refuse(impossible(partial(with_length, self.case), lengths) + impossible(partial(_made, self.case), others))
        labels, cases = zip((self.label, self.case), *neighbours(self), strict=True)
        refuse(_mixed(self, labels, cases))
        if self.order:
            refuse(impossible(lambda key: [value(case, key) for case in cases], {("order",): self.order.key}))
        return self


def places(lesson: Lesson) -> list[tuple]:
    """Where a lesson's file names its case, and each of its neighbours, in their order."""
    kinds = ("lengths", lesson.lengths), ("compare", lesson.compare)
    return [("case",), *((kind, i) for kind, members in kinds for i in range(len(members)))]


def _mixed(lesson, labels, cases):
    """Problems (place, message) with closures that share the name of their results, or a label, with another."""
    where = places(lesson)
    addresses = (address for place, case in zip(where, cases, strict=True) for address in results_of(case, place))
    problems: list[tuple] = [
        (later.source, f"the results would go into {later.name!r}, as those of {called(first.source)[:-2]} do")
        for later, first in clashes(addresses)
    ]
    for i, label in enumerate(labels):
        if (before := labels.index(label)) < i:
            problems.append((where[i], f"{label!r} is also the label of {called(where[before])[:-2]}"))
    return problems


def read(path: Path | str) -> Lesson:
    """The lesson in a YAML file, or that of a case file; files that it names lie in its folder. Raises BadCase."""
    text = read_text(path)
    if {"title", "question"} & top_keys(text):
        return parse(text, Lesson, path, folders=(Path(path).parent, cases.MESHES), renamed=RENAMED)
    return of_case(cases.read(path))


def of_case(case: Case) -> Lesson:
    """The lesson of a plain case: compared with the first two of LENGTHS that its wound can have.

    A trimmed closure is compared with the same wound left as it is.
    """
    if case.closure.technique == "trimmed":
        cuts = [key for key in case.closure.model_dump(exclude_none=True) if key.split("_")[0] in CUT]
        change = {"closure.technique": "side-to-side"} | {f"closure.{key}": None for key in cuts}
        left = Neighbour(label="not trimmed", name=f"{case.name[:60]}-not-trimmed", change=change)
        return Lesson(title=case.name, question=TRIMMED, case=case, label="trimmed", compare=(left,))
    fitting = [factor for factor in LENGTHS if not impossible(partial(with_length, case), {(): factor})]
    return Lesson(title=case.name, question=_question(case, fitting[:2]), case=case, lengths=tuple(fitting[:2]))


def _question(case, factors):
    """What is asked of a plain case that is compared with wounds so many times as long."""
    ways = {"a shorter": any(factor < 1 for factor in factors), "a longer": any(factor > 1 for factor in factors)}
    other = " or ".join(way for way, holds in ways.items() if holds)
    if case.wound.outline.kind == "circle" and factors:
        return PLAIN.format("a lens as wide as the circle")
    return PLAIN.format(f"{other} wound") if other else ALONE


def neighbours(lesson: Lesson) -> list[tuple[str, Case]]:
    """Label and case of all that a lesson's case is compared with: itself so many times as long, then those named."""
    shape = "lens, " if lesson.case.wound.outline.kind == "circle" else ""
    labels = told_apart(lesson.lengths, lambda factor, digits: f"{shape}{factor:.{digits}g} times as long", digits=3)
    longer = [(label, with_length(lesson.case, factor)) for label, factor in zip(labels, lesson.lengths, strict=True)]
    return longer + [(neighbour.label, _made(lesson.case, neighbour)) for neighbour in lesson.compare]


def _made(case, neighbour):
    """The case of a neighbour: its own, or the lesson's with its changes."""
    return neighbour.case or changed(case, neighbour.name, neighbour.change)


def value(case: Case, key: str) -> float:
    """The number under a dotted key of a case. Raises ValueError if there is none."""
    number = dotted.get(case.model_dump(), key)
    if not isinstance(number, float | int):
        raise ValueError(f"{key} is no number in the case {case.name}")
    return number


def with_length(case: Case, factor: float) -> Case:
    """The case with a wound so many times as long, of the same width; a circle becomes a lens.

    Raises ValueError if it cannot be.
    """
    outline = case.wound.outline
    name = f"{case.name[:60]}-length-{100 * factor:g}"
    if name == case.name:
        raise ValueError(f"its results would go into {name!r}, as those of the case itself do")
    if outline.kind == "circle":
        longer = {"kind": "lens", "length_mm": factor * outline.diameter_mm, "width_mm": outline.diameter_mm}
        return changed(case, name, {"wound.outline": longer})
    if not hasattr(outline, "length_mm"):
        raise ValueError(f"an outline of the kind {outline.kind} has no length_mm")
    return changed(case, name, {"wound.outline.length_mm": factor * outline.length_mm})


def changed(case: Case, name: str, change: dict[str, Any]) -> Case:
    """The case under another name with the values of some dotted keys changed.

    Triangles keep their sizes, and the patch, if it is not changed, the width of its margin around the wound and its
    undermined zone. What the site filled in is filled in anew.

    Raises ValueError if that is no case.
    """
    kept = KEPT & {key.split(".")[0] for key in change}
    if kept:
        raise ValueError(f"{kept.pop()} cannot be changed: neighbours are computed in the same way")
    content = as_written(case)
    for key, value in change.items():
        content = dotted.without(content, key) if value is None else dotted.put(content, key, value)
    first = parsed({"name": name, **content})
    margin = cast(Patch, case.patch).radius_mm - reach(physical.plan(case))
    patch = {"radius_mm": reach(physical.plan(first)) + margin, **content.pop("patch", {})}
    return parsed({"name": name, **content, "patch": patch, "mesh": case.mesh.model_dump()})


def impossible(make: Callable, values: dict[tuple, Any]) -> list[tuple]:
    """Problems (place, message) with those of the values by place that nothing can be made of."""
    problems = []
    for place, value in values.items():
        try:
            make(value)
        except ValueError as error:
            problems.append((place, str(error)))
    return problems
