"""What a results folder says of its case."""

import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any, cast

from fem.case import case as cases
from fem.case import physical
from fem.geometry.surface import Surface
from fem.results import accuracy, identity, scene
from fem.results.accuracy import Accuracy
from fem.results.quantities import FURTHER, QUANTITIES, magnitude, numbers, pattern, quantity


@dataclass(frozen=True)
class Result:
    """A case and what became of it."""

    case: cases.Case
    reason: str = ""  # why there is no closure; empty if there is one
    run: dict = field(default_factory=dict)  # run.json
    measures: dict = field(default_factory=dict)  # measures.json
    profiles: dict = field(default_factory=dict)  # profiles.json
    stages: scene.Stages = field(default=cast(scene.Stages, None))  # None without a closure
    accuracy: Accuracy = field(default_factory=Accuracy)  # what is known of the errors of numbers

    @property
    def name(self) -> str:
        """Name of the case."""
        return self.case.name

    @property
    def body(self) -> Surface:
        """The surface of the body on which the plan lies."""
        assert self.case.patch, "reading a case fills it in"
        return physical.surface(self.case.patch)

    @cached_property
    def numbers(self) -> dict[str, Any]:
        """All numbers of the measures by name, see `quantities.numbers`."""
        return numbers(self.measures)

    @cached_property
    def stated(self) -> float:
        """How many times as large as stated its errors are, see `accuracy.stated`."""
        return accuracy.stated(self.case)

    def error(self, name: str) -> float:
        """How far a number may be off: as estimated, else as stated of it for the default triangles; else 0."""
        if name in self.accuracy.errors:
            return self.accuracy.errors[name].total
        share, value = quantity(name).error, self.numbers.get(name)
        return self.stated * share * abs(value) if share and value else 0.0


def read(folder: Path | str, case: cases.Case) -> Result:
    """The result in a complete folder; its case has the lengths of cuts that were found.

    Raises OSError, or ValueError if it is not complete, as `identity.state` says, or not what was written there.
    """
    folder = Path(folder)
    if not (state := identity.state(folder, case, keep="fields")).complete:
        raise ValueError(str(state))
    content = {name: json.loads((folder / f"{name}.json").read_text()) for name in ("run", "measures", "profiles")}
    odd = [name for name, value in numbers(content["measures"]).items() if not isinstance(value, float | int | None)]
    if odd:
        raise ValueError(f"measures.json: {odd[0]} is no number")
    if cut := content["measures"].get("trim_cut_mm"):
        case = physical.cut_by(case, cut)
    return Result(case, stages=scene.read_stages(folder / "stages.npz"), accuracy=accuracy.read(folder), **content)


def solved(results: Iterable[Result]) -> list[Result]:
    """Those of the results that have a closure."""
    return [result for result in results if not result.reason]


def names(results: Iterable[Result]) -> list[str]:
    """Names of all numbers that any of the results has: those of leading groups first, then the rest in their order."""
    known = dict.fromkeys(name for result in results for name, v in result.numbers.items() if v is not None)
    places = list(QUANTITIES)
    lead = [name for name in known if quantity(name).group != FURTHER]
    return sorted(lead, key=lambda name: places.index(pattern(name))) + [name for name in known if name not in lead]


def ordered(results: Iterable[Result], name: str) -> list[Result]:
    """The results by a number, smallest `magnitude` first; those without it come last, in the order given."""

    def place(result: Result) -> tuple:
        value = result.numbers.get(name)
        return (1,) if value is None else (0, magnitude(name, value))

    return sorted(results, key=place)
