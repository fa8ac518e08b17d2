"""What a study is asked, as blocks of its file: one model a kind of answer, all of them in ANSWERS.

How each is answered stands in `finding` and `optimum`, under the same names.
"""

import re
from functools import reduce
from operator import or_
from typing import Annotated, Any, Literal

from annotated_types import Ge, Gt, Le, MultipleOf
from pydantic import BaseModel, Field, field_validator, model_validator

from fem.case.document import hint
from fem.case.keys import STRICT
from fem.errors import BadValue
from fem.results.result import OTHERS, WORDS, split
from fem.study.spread import Distribution, Sample

MOST_ROWS = 2**16  # of a sample; our choice, weeks of solving
OTHER_MEASURES = ("passed_through_mm2",)  # that no list of `result` names
Seed = Annotated[float, MultipleOf(1), Ge(0)]


def known(measure):
    """Whether a name is that of a number in measures.json, as `result.numbers` names them."""
    starts = [start.replace("_{}", r"_\d+") for start in OTHERS]
    return measure in (*WORDS, *OTHER_MEASURES) or any(re.match(start, split(measure)[0]) for start in starts)


def _measure(name):
    if not known(name):
        raise ValueError(f"got '{name}'{hint(name, tuple(WORDS))}")
    return name


def _measures(names):
    if not names:
        raise ValueError("wanted at least one measure")
    _refuse_unknown(enumerate(names))
    return names


def _refuse_unknown(named):
    """Raise BadValue for the names (place, name) that are no measure's."""
    problems = [((at,), f"got '{name}'{hint(name, tuple(WORDS))}") for at, name in named if not known(name)]
    if problems:
        raise BadValue(problems)


def _power(n):
    if n < 8 or int(n) & (int(n) - 1):
        raise ValueError(f"got {n:g}, wanted a power of two from 8 on: 8, 16, 32, ...")
    return n


class Curves(BaseModel):
    """Measures over an input of the study's own cases, a chart each."""

    model_config = STRICT
    kind: Literal["curves"]
    measures: tuple[str, ...] = Field(description="names of numbers in measures.json; a chart each")
    over: str = Field(description="along the axis: dotted path of an input that the study varies, or a measure")
    by: str | None = Field(default=None, description="dotted path of a second such input, a line each value")

    _known = field_validator("measures")(_measures)


class Map(BaseModel):
    """A measure over two inputs of the study's own cases, as colours."""

    model_config = STRICT
    kind: Literal["map"]
    measure: str = Field(description="name of a number in measures.json")
    over: tuple[str, str] = Field(description="dotted paths of two inputs that the study varies: across, upwards")

    _known = field_validator("measure")(_measure)


class Sensitivity(BaseModel):
    """How much of each measure's variance comes from which input: Sobol indices."""

    model_config = STRICT
    kind: Literal["sensitivity"]
    measures: tuple[str, ...] = Field(description="names of numbers in measures.json")
    inputs: dict[str, Distribution] | None = Field(  # type: ignore[valid-type]
        default=None,
        description="range [low, high] or distribution by dotted path; else all that the base takes from its site",
    )
    n: Annotated[float, MultipleOf(1), Le(MOST_ROWS)] = Field(
        default=64.0, description="rows of the design, a power of two; it takes n times (inputs + 2) cases"
    )
    seed: Seed = Field(default=0.0, description="the same seed gives the same points")

    _known = field_validator("measures")(_measures)
    _power = field_validator("n")(_power)
    _as_blocks = field_validator("inputs", mode="before")(lambda inputs: Sample.as_distributions(inputs))
    _ordered = field_validator("inputs")(lambda inputs: inputs if inputs is None else Sample.in_order(inputs))


class Uncertainty(BaseModel):
    """How measures of one or several designs are spread over uncertain inputs, the same sample for all."""

    model_config = STRICT
    kind: Literal["uncertainty"]
    designs: dict[str, dict[str, Any]] = Field(description="settings by dotted path for each design, by its name")
    measures: tuple[str, ...] = Field(description="names of numbers in measures.json")
    inputs: dict[str, Distribution] | None = Field(  # type: ignore[valid-type]
        default=None, description="as those of a sensitivity"
    )
    n: Annotated[float, MultipleOf(1), Le(MOST_ROWS)] = Field(
        default=64.0, description="points of the sample, a power of two; it takes n cases a design"
    )
    seed: Seed = Field(default=0.0, description="the same seed gives the same points")

    _known = field_validator("measures")(_measures)
    _power = field_validator("n")(_power)
    _as_blocks = field_validator("inputs", mode="before")(lambda inputs: Sample.as_distributions(inputs))
    _ordered = field_validator("inputs")(lambda inputs: inputs if inputs is None else Sample.in_order(inputs))

    @field_validator("designs")
    @classmethod
    def some(cls, designs):
        """Refuse none."""
        if not designs:
            raise ValueError("wanted at least one design, and the settings that make it")
        return designs


class Search(BaseModel):
    """The best design: the least of an input or a measure within limits."""

    model_config = STRICT
    kind: Literal["search"]
    least: str = Field(description="what is to be least: a measure, or the one dotted path that is searched over")
    limits: dict[str, float] = Field(description="greatest value that each of these measures may have")
    over: dict[str, tuple[Any, ...]] = Field(
        description="by dotted path: [low, high] of a number, or a list of what may be chosen"
    )
    skins: Literal["typical", "worst"] | tuple[dict[str, Any], ...] = Field(
        default="typical",
        description="the base's skin; the worst of its site's ranges; or a list of settings: all must keep the limits",
    )
    budget: Annotated[float, MultipleOf(1), Ge(3), Le(10_000)] | None = Field(
        default=None, description="of designs evaluated; default 11 over one input, 40 a combination of choices else"
    )
    tolerance: Annotated[float, Gt(0)] | None = Field(
        default=None, description="of the least value of an input, in its unit; default a 200th of its range"
    )
    seed: Seed = Field(default=0.0, description="the same seed gives the same first points")

    @field_validator("limits")
    @classmethod
    def of_measures(cls, limits):
        """Refuse limits of what is no measure."""
        _refuse_unknown((name, name) for name in limits)
        return limits

    @field_validator("over")
    @classmethod
    def some(cls, over):
        """Refuse nothing to search over, and ranges that do not rise."""
        problems = [((p,), "wanted low < high") for p, v in over.items() if is_range(v) and not v[0] < v[1]]
        problems += [((p,), "wanted [low, high] or a list of choices") for p, v in over.items() if not v]
        if problems or not over:
            raise BadValue(problems or [((), "wanted at least one dotted path")])
        return over

    @field_validator("skins")
    @classmethod
    def some_skin(cls, skins):
        """Refuse an empty list."""
        if not skins:
            raise ValueError("wanted at least one skin")
        return skins

    @model_validator(mode="after")
    def possible(self):
        """Refuse what cannot be least."""
        if not known(self.least) and list(self.over) != [self.least]:
            raise BadValue([(("least",), f"'{self.least}' is no measure, and not all that `over` holds")])
        if self.least in self.over and not (is_range(self.over[self.least]) and self.limits):
            raise BadValue([(("least",), f"over '{self.least}' a range [low, high] and a limit are needed")])
        return self


def is_range(values):
    """Whether values of a search are the ends of a range, and not choices."""
    return len(values) == 2 and all(isinstance(value, float) for value in values)


ANSWERS = {"curves": Curves, "map": Map, "sensitivity": Sensitivity, "uncertainty": Uncertainty, "search": Search}
Answer = Annotated[reduce(or_, ANSWERS.values()), Field(discriminator="kind")]  # type: ignore[valid-type]


def problems(answers, varied):
    """Complaints (place, message) about answers that ask for inputs which a study does not vary.

    varied   dotted paths that it does vary
    """
    found = []
    for i, asked in enumerate(answers):
        if not isinstance(asked, Curves | Map):
            continue
        over = asked.over if isinstance(asked, Map) else (asked.over,)
        for key, path in [*(("over", p) for p in over), *([("by", asked.by)] if getattr(asked, "by", None) else [])]:
            if path not in varied and (isinstance(asked, Map) or key == "by" or not known(path)):
                found.append(((i, key), f"'{path}' is not varied{hint(path, tuple(varied))}"))
    return found
