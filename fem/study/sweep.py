"""A study: a base case and the values to vary, read from YAML; its points, and the case at each, all checked.

Settings are values by dotted path, as {"wound.outline.length_mm": 60.0}.
"""

import math
from dataclasses import dataclass, replace
from itertools import product, takewhile
from pathlib import Path
from typing import Annotated, Any, Literal

from annotated_types import Ge, MultipleOf
from pydantic import BaseModel, Field, ValidationError, field_validator, model_validator

from fem.case import document, tracing
from fem.case.case import MESHES, Case
from fem.case.document import Written
from fem.case.keys import STRICT, Positive
from fem.errors import BadCase, BadValue
from fem.study.answer import Answer
from fem.study.spread import MAX_POINTS, Sample, sampled

Whole = Annotated[float, MultipleOf(1), Ge(1)]


# The keys of a study --------------------------------------------------------------------------------------

Values = dict[str, tuple[Any, ...]]


class Limits(BaseModel):
    """What a case may take before it is given up and recorded as failed."""

    model_config = STRICT
    seconds: Positive = Field(default=3600.0, description="time for one case, s")
    memory_MB: Annotated[float, Ge(500)] | None = Field(
        default=None, description="memory of a worker, MB; an idle one with its libraries takes some 300; no limit"
    )


class Cluster(BaseModel):
    """Workers from the queue of a computing centre, through dask-jobqueue; a job is one worker process a core."""

    model_config = STRICT
    kind: Literal["slurm", "pbs", "sge", "lsf"] = Field(description="kind of the queueing system")
    queue: str | None = Field(default=None, description="queue or partition")
    account: str | None = Field(default=None, description="account or project that is charged")
    walltime: Annotated[str, Field(pattern=r"^\d+(:\d\d){1,2}$")] = Field(description="limit of a job as HH:MM:SS")
    cores: Whole = Field(default=1.0, description="of a job, each a single-threaded worker")
    memory_GB: Positive = Field(description="of a job, GB")
    workers: Whole = Field(description="in all jobs together")
    interface: str | None = Field(default=None, description="network interface that the machines share, as ib0")
    before: tuple[str, ...] = Field(default=(), description="lines of shell before a worker starts, as module load")


class Keys(BaseModel):
    """A study: what is varied about a base case, and what is asked of the results."""

    model_config = STRICT
    name: str = Field(
        pattern=r"^[A-Za-z0-9_-][A-Za-z0-9_.-]{0,79}$",
        description="name of the results folder: letters, digits, - _ . but no . in front, at most 80",
    )
    base: Any = Field(description="the case that is varied: its keys, or the name of its file in the study's folder")
    grid: Values = Field(default={}, description="lists of values by dotted path; all combinations are taken")
    zip: Values = Field(default={}, description="lists of equal lengths by dotted path, taken side by side")
    sample: Sample | None = Field(default=None, description="points spread over ranges or distributions")
    keep: Literal["measures", "fields", "pictures"] = Field(
        default="measures", description="of each result: numbers; also the skin and stages; also pictures"
    )
    limits: Limits = Field(default=Limits(), description="what a case may take")
    cluster: Cluster | None = Field(default=None, description="a queue to submit to; else the cores of this machine")
    answers: tuple[Answer, ...] = Field(  # type: ignore[valid-type]
        default=(), description="what is asked of the results"
    )

    @field_validator("base")
    @classmethod
    def case_or_file(cls, base):
        """Refuse what is neither a case nor the name of one."""
        if not isinstance(base, str | dict):
            raise ValueError("wanted the keys of a case, or the name of its file")
        return base

    @field_validator("grid", "zip")
    @classmethod
    def some(cls, lists):
        """Refuse empty lists."""
        empty = [((path,), "wanted at least one value") for path, values in lists.items() if not values]
        if empty:
            raise BadValue(empty)
        return lists

    @field_validator("zip")
    @classmethod
    def equal_lengths(cls, lists):
        """Refuse lists that do not match."""
        lengths = {path: len(values) for path, values in lists.items()}
        first = next(iter(lengths.values()), 0)
        wrong = [((p,), f"{n} values, the first list has {first}") for p, n in lengths.items() if n != first]
        if wrong:
            raise BadValue(wrong)
        return lists

    @model_validator(mode="after")
    def possible(self):
        """Refuse a path that is set twice, and more points than can be meant."""
        blocks = {"grid": self.grid, "zip": self.zip, "sample.over": self.sample.over if self.sample else {}}
        seen: dict[str, str] = {}
        problems = []
        for block, paths in blocks.items():
            for path in paths:
                if path in seen:
                    problems.append(((*block.split("."), path), f"also set by {seen[path]}"))
                if path == "name":
                    problems.append(((*block.split("."), path), "cases are named by what is in them"))
                seen[path] = block
        count = math.prod(map(len, self.grid.values())) * (self.sample.n if self.sample else 1)
        count *= len(next(iter(self.zip.values()), (0,)))
        if count > MAX_POINTS:
            problems.append(((), f"{count:.3g} points; at most {MAX_POINTS}"))
        if problems:
            raise BadValue(problems)
        return self


# Reading --------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Study:
    """A study as it was read."""

    keys: Keys
    page: Written  # the study's file
    base: Written  # the base case: a file of its own, or the block in the study's
    inline: bool  # whether it is that block
    folder: Path  # of the study's file

    @property
    def name(self):
        """Name of the study."""
        return self.keys.name


def read(path) -> Study:
    """The study in a YAML file; its cases are not checked yet. Raises errors.BadCase."""
    path = Path(path)
    text = document.read(path)
    keys, page = document.parse(text, Keys, path), document.written(text, path)
    if isinstance(keys.base, dict):
        return Study(keys, page, replace(page, content=keys.base), inline=True, folder=path.parent)
    try:
        found = tracing.found(keys.base, [path.parent], kinds=(".yaml", ".yml"))
    except BadCase as error:
        raise document.bad(page, [(("base",), f"base: {error}")]) from error
    base = document.written(document.read(found), found)
    if base.problems or not isinstance(base.content, dict):
        raise document.bad(base, [] if base.problems else [((), "wanted the keys of a case")])
    return Study(keys, page, base, inline=False, folder=path.parent)


# Points ---------------------------------------------------------------------------------------------------


def points(study) -> list[dict[str, Any]]:
    """Settings of every point, in order: all combinations of the grid, the rows of `zip` and the sample's points.

    The grid's first path changes slowest, the sample fastest.
    """
    keys = study.keys
    grid = [dict(zip(keys.grid, values, strict=True)) for values in product(*keys.grid.values())]
    rows = [dict(zip(keys.zip, values, strict=True)) for values in zip(*keys.zip.values(), strict=True)] or [{}]
    drawn = sampled(keys.sample) if keys.sample else [{}]
    return [a | b | c for a, b, c in product(grid, rows, drawn)]


# Cases ----------------------------------------------------------------------------------------------------


def case_at(study, settings) -> Case:
    """The case at a point, called after the study. Raises errors.BadCase that names setting and place."""
    case, found = _checked(study, settings)
    if found:
        raise _bad(study, {complaint: (told, 1) for complaint, told in found})
    return case


def cases(study) -> list[Case]:
    """The case at every point. Raises errors.BadCase with the complaints about all, each once."""
    good: list[Case] = []
    bad: dict = {}
    for settings in points(study):
        case, found = _checked(study, settings)
        good.append(case)
        for complaint, told in found:
            first, count = bad.get(complaint, (told, 0))
            bad[complaint] = first, count + 1
        if len(bad) >= document.MAX_MESSAGES:
            break
    if bad:
        raise _bad(study, bad)
    return good


def _bad(study, found):
    """BadCase of {(whether it is in the base's file, place, message): (settings in words, how many points)}."""
    pages: dict = {True: [], False: []}
    for (in_base, place, message), (told, count) in found.items():
        more = f" (and at {count - 1} more points)" if told and count > 1 else ""
        pages[in_base].append((place, f"{told}{message}{more}"))
    written = [(study.base, pages[True]), (study.page, pages[False])]
    return BadCase("\n".join(str(document.bad(page, complaints)) for page, complaints in written if complaints))


def _checked(study, settings):
    """The case at a point or None, and [((whether it is in the base's file, place, message), settings in words)]."""
    content = dict(study.base.content, name=study.name)
    try:
        for path in sorted(settings, key=lambda path: path.count(".")):  # a block before what is inside it
            content = _with(content, path.split("."), settings[path])
        return Case.model_validate(content, context={"folders": (study.folder, MESHES)}), []
    except _NoBlock as error:
        return None, [((False, _place(study, path, settings[path]), f"{path}: {error}"), "")]
    except ValidationError as error:
        complaints = document.complaints(error, Case)
        return None, [_located(study, settings, place, message) for place, message in complaints]


class _NoBlock(ValueError):
    """A path that leads through a value."""


def _with(content, path, value):
    """The content, the value at a path replaced; blocks on the way are made if they are missing."""
    first, *rest = path
    inside = content.get(first)
    if not rest:
        return {**content, first: value}
    if inside is not None and not isinstance(inside, dict):
        raise _NoBlock(f"'{first}' has no keys, so none can be set")
    return {**content, first: _with(inside or {}, rest, value)}


def _located(study, settings, place, message):
    """A complaint about a case, at the setting that it concerns, or in the base if it does not depend on settings."""
    path = document.path_of(place)
    inside = {s: tuple(s.split(".")) for s in settings}
    above = [s for s, at in inside.items() if at == path[: len(at)]]
    if not settings or (not above and (place, message) in _of_base(study)):
        return (not study.inline, _moved(place, 0, ("base",) if study.inline else ()), message), ""
    about = max(above or inside, key=lambda s: (_shared(inside[s], path), len(inside[s])))
    below = [s for s, at in inside.items() if path == at[: len(path)]]
    told = ", ".join(f"{s} = {shown(settings[s])}" for s in above or below or settings)
    here = _place(study, about, settings[about])
    return (False, _moved(place, len(inside[about]), here), message), f"with {told}: "


def _moved(place, count, to):
    """A complaint's place in a case, below `to` instead of below its first `count` words."""
    if document.path_of(place) == place:
        return (*to, *place[count:])
    around, name, _ = place
    return ((*to, *around[count:]), name, "key") if len(around) >= count else to


def _of_base(study):
    """Complaints (place, message) about the base alone."""
    try:
        Case.model_validate(dict(study.base.content, name=study.name), context={"folders": (study.folder, MESHES)})
    except ValidationError as error:
        return document.complaints(error, Case)
    return []


def _shared(at, path):
    """How many first words two paths have in common."""
    return sum(1 for _ in takewhile(lambda pair: pair[0] == pair[1], zip(at, path, strict=False)))


def _place(study, path, value):
    """Place in the study's file of a setting's value."""
    keys = study.keys
    for block, lists in (("grid", keys.grid), ("zip", keys.zip)):
        if path in lists:
            where = [i for i, one in enumerate(lists[path]) if one is value or one == value]
            return (block, path, *where[:1])
    return ("sample", "over", path) if keys.sample and path in keys.sample.over else ()


def shown(value):
    """A setting's value in few words."""
    if isinstance(value, dict):
        words = "{" + ", ".join(f"{key}: {shown(inside)}" for key, inside in value.items()) + "}"
    elif isinstance(value, tuple):
        words = "[" + ", ".join(map(shown, value)) + "]"
    else:
        words = f"{value:g}" if isinstance(value, float) else str(value)
    return words if len(words) <= 60 else words[:57] + "..."
