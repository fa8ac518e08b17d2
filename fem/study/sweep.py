"""A study: a base case and the values to vary; its points, and the case at each, all checked.

Settings are values by dotted path, as {"wound.outline.length_mm": 60.0}.
"""

from dataclasses import dataclass
from itertools import product, takewhile
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from fem.case import document
from fem.case.case import MESHES, Case
from fem.case.document import Written
from fem.errors import BadCase
from fem.study.spread import sampled

if TYPE_CHECKING:
    from fem.study.keys import Keys


@dataclass(frozen=True)
class Study:
    """A study as it was read."""

    keys: "Keys"
    page: Written  # the study's file
    base: Written  # the base case: a file of its own, or the block in the study's
    inline: bool  # whether it is that block
    folder: Path  # of the study's file

    @property
    def name(self):
        """Name of the study."""
        return self.keys.name


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
