"""A study: a base case and the values to vary; its points, settings by dotted path, and the case at each."""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import product, takewhile
from operator import eq
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from fem.case import document, dotted
from fem.case.case import MESHES, Case
from fem.case.document import Written
from fem.case.site import on_its_body
from fem.errors import BadCase
from fem.study.spread import distributions, sampled

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
    def name(self) -> str:
        """Name of the study."""
        return self.keys.name


def points(study: Study) -> list[dict[str, Any]]:
    """Settings of every point, in order: all combinations of the grid, the rows of `zip` and the sample's points.

    The grid's first path changes slowest, the sample fastest.
    """
    keys = study.keys
    grid = [dict(zip(keys.grid, values, strict=True)) for values in product(*keys.grid.values())]
    rows = [dict(zip(keys.zip, values, strict=True)) for values in zip(*keys.zip.values(), strict=True)] or [{}]
    sample: list[dict] = [{}]
    if block := keys.sample:
        sample = sampled(distributions(block.over), n=int(block.n), seed=int(block.seed), method=block.method)
    return [a | b | c for a, b, c in product(grid, rows, sample)]


def case_at(study: Study, settings: dict[str, Any]) -> Case:
    """The case at a point, called after the study. Raises errors.BadCase that names setting and place."""
    case, complaints = _checked(study, settings)
    if complaints:
        raise _bad(study, {complaint: (about, 1) for complaint, about in complaints})
    return case


def cases(study: Study, *, watch: Callable[..., None] = lambda **progress: None) -> list[Case]:
    """The case at every point. Raises errors.BadCase with the complaints about all, each once.

    watch   called with how many are `done`, `of` how many, for each takes 15 ms
    """
    good: list[Case] = []
    bad: dict = {}
    every = points(study)
    for done, settings in enumerate(every):
        watch(done=done, of=len(every))
        case, complaints = _checked(study, settings)
        good.append(case)
        for complaint, about in complaints:
            first, count = bad.get(complaint, (about, 0))
            bad[complaint] = first, count + 1
        if len(bad) >= document.MAX_MESSAGES:
            break
    if bad:
        raise _bad(study, bad)
    return good


def _bad(study, complaints):
    """BadCase of {(whether it is in the base's file, place, message): (settings in words, how many points)}."""
    pages: dict = {True: [], False: []}
    for (in_base, place, message), (about, count) in complaints.items():
        more = f" (and at {count - 1} more points)" if about and count > 1 else ""
        pages[in_base].append((place, f"{about}{message}{more}"))
    written = [(study.base, pages[True]), (study.page, pages[False])]
    return BadCase("\n".join(str(document.bad(page, problems)) for page, problems in written if problems))


def _checked(study, settings):
    """The case at a point or None, and [((whether it is in the base's file, place, message), settings in words)]."""
    content = dict(study.base.content, name=study.name)
    try:
        for path in sorted(settings, key=lambda path: path.count(".")):  # a block before what is inside it
            content = on_its_body(content) if path.startswith("patch.surface.") else content
            content = dotted.put(content, path, settings[path])
    except ValueError as error:
        return None, [((False, _place(study, path, settings[path]), f"{path}: {error}"), "")]
    case, complaints = _validated(study, content)
    return case, [_located(study, settings, place, message) for place, message in complaints]


def _validated(study, content):
    """The case of a content or None, and complaints (place, message)."""
    try:
        return Case.model_validate(content, context={"folders": (study.folder, MESHES)}), []
    except ValidationError as error:
        return None, document.complaints(error, Case)


def _located(study, settings, place, message):
    """A complaint about a case, at the setting that it concerns, or in the base if it does not depend on settings."""
    path = document.path_of(place)
    inside = {s: tuple(s.split(".")) for s in settings}
    above = [s for s, at in inside.items() if at == path[: len(at)]]
    base = dict(study.base.content, name=study.name)
    if not settings or (not above and (place, message) in _validated(study, base)[1]):
        return (not study.inline, (*(["base"] if study.inline else []), *place), message), ""
    shared = {s: len(list(takewhile(bool, map(eq, at, path)))) for s, at in inside.items()}  # first words of both
    about = max(above or inside, key=lambda s: (shared[s], len(inside[s])))
    below = [s for s, at in inside.items() if path == at[: len(path)]]
    which = ", ".join(f"{s} = {shown(settings[s])}" for s in above or below or settings)
    here = _place(study, about, settings[about])
    return (False, (*here, *place[len(inside[about]) :]), message), f"with {which}: "


def _place(study, path, value):
    """Place in the study's file of a setting's value."""
    keys = study.keys
    for block, lists in {"grid": keys.grid, "zip": keys.zip}.items():
        if path in lists:
            where = [i for i, given in enumerate(lists[path]) if given is value or given == value]
            return (block, path, *where[:1])
    return ("sample", "over", path) if keys.sample and path in keys.sample.over else ()


def shown(value: Any) -> str:
    """A setting's value in few words."""
    if isinstance(value, dict):
        text = "{" + ", ".join(f"{key}: {shown(inside)}" for key, inside in value.items()) + "}"
    elif isinstance(value, tuple):
        text = "[" + ", ".join(map(shown, value)) + "]"
    else:
        text = f"{value:g}" if isinstance(value, float) else str(value)
    return text if len(text) <= 60 else text[:57] + "..."
