"""The keys of a study's file: what is varied about a base case, what it may take, and what is asked of the results."""

import math
from dataclasses import replace
from functools import reduce
from operator import or_
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from annotated_types import Ge, MultipleOf
from pydantic import Field, field_validator, model_validator

from fem.case import document, tracing
from fem.case.document import Block
from fem.case.keys import Name, Positive
from fem.errors import BadCase, refuse
from fem.results.quantities import RENAMED
from fem.study.answers import curves, search, sensitivity, uncertainty
from fem.study.answers import map as maps
from fem.study.answers.finding import Kind
from fem.study.spread import MAX_POINTS, Sample
from fem.study.sweep import Study

Values = dict[str, tuple[Any, ...]]
ANSWERS: dict[str, Kind] = {  # by the name that a study's file gives them
    "curves": curves.KIND,
    "map": maps.KIND,
    "sensitivity": sensitivity.KIND,
    "uncertainty": uncertainty.KIND,
    "search": search.KIND,
}
Answer: Any = Annotated[reduce(or_, [kind.block for kind in ANSWERS.values()]), Field(discriminator="kind")]
Whole = Annotated[float, MultipleOf(1), Ge(1)]


class Limits(Block):
    """What a case may take before it is given up and recorded as failed."""

    seconds: Positive = Field(default=3600.0, description="time for one case, s")
    memory_MB: Annotated[float, Ge(500)] | None = Field(
        default=None, description="memory of a worker, MB; an idle one with its libraries takes some 300; no limit"
    )


class Cluster(Block):
    """Workers from the queue of a computing centre, through dask-jobqueue; a job is one worker process a core."""

    kind: Literal["slurm", "pbs", "sge", "lsf"] = Field(description="kind of the queueing system")
    queue: str | None = Field(default=None, description="queue or partition")
    account: str | None = Field(default=None, description="account or project that is charged")
    walltime: Annotated[str, Field(pattern=r"^\d+(:\d\d){1,2}$")] = Field(description="limit of a job as HH:MM:SS")
    cores: Whole = Field(default=1.0, description="of a job, each a single-threaded worker")
    memory_GB: Positive = Field(description="of a job, GB")
    workers: Whole = Field(description="in all jobs together")
    interface: str | None = Field(default=None, description="network interface that the machines share, as ib0")
    before: tuple[str, ...] = Field(default=(), description="lines of shell before a worker starts, as module load")


class Keys(Block):
    """A study: what is varied about a base case, and what is asked of the results."""

    name: Name
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
    def case_or_file(cls, base: Any) -> Any:
        """Refuse what is neither a case nor the name of one."""
        if not isinstance(base, str | dict):
            raise ValueError("wanted the keys of a case, or the name of its file")
        return base

    @field_validator("grid", "zip")
    @classmethod
    def some(cls, lists: Values) -> Values:
        """Refuse empty lists."""
        refuse([((path,), "wanted at least one value") for path, values in lists.items() if not values])
        return lists

    @model_validator(mode="after")
    def possible(self) -> Self:
        """Refuse lists that do not match, a path that is set twice, and more points than can be meant."""
        blocks = {"grid": self.grid, "zip": self.zip, "sample.over": self.sample.over if self.sample else {}}
        lengths = {path: len(values) for path, values in self.zip.items()}
        rows = next(iter(lengths.values()), 1)
        unequal = [(path, n) for path, n in lengths.items() if n != rows]
        problems: list[tuple] = [(("zip", path), f"{n} values, the first list has {rows}") for path, n in unequal]
        seen: dict[str, str] = {}
        for block, path in [(block, path) for block, paths in blocks.items() for path in paths]:
            if path in seen:
                problems.append(((*block.split("."), path), f"also set by {seen[path]}"))
            if path == "name":
                problems.append(((*block.split("."), path), "cases are named by what is in them"))
            seen[path] = block
        count = math.prod(map(len, self.grid.values())) * (self.sample.n if self.sample else 1) * rows
        if count > MAX_POINTS:
            problems.append(((), f"{count:.3g} points; at most {MAX_POINTS}"))
        refuse(problems)
        return self


def read(path: Path | str) -> Study:
    """The study in a YAML file; its cases are not checked yet. Raises errors.BadCase."""
    return parse(document.read(path), path, folder=Path(path).parent)


def parse(text: str, source: object, *, folder: Path) -> Study:
    """The study in a YAML text, which `source` names in messages; as `read`.

    folder   of the files that it names
    """
    keys, page = document.parse(text, Keys, source, renamed=RENAMED), document.written(text, source, RENAMED)
    if isinstance(keys.base, dict):
        return Study(keys, page, replace(page, content=keys.base), inline=True, folder=folder)
    try:
        base_path = tracing.located(keys.base, [folder], kinds=(".yaml", ".yml"))
    except BadCase as error:
        raise document.bad(page, [(("base",), f"base: {error}")]) from error
    base = document.written(document.read(base_path), base_path)
    if not isinstance(base.content, dict):
        raise document.bad(base, [((), "wanted the keys of a case")])
    return Study(keys, page, base, inline=False, folder=folder)
