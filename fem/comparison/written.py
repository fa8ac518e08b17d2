"""A case as its user wrote it: without what the program filled in, so that what is changed has its consequences."""

import json
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np

from fem.case import dotted
from fem.case.case import MESHES, Case
from fem.case.document import parse
from fem.case.site import SITES, springs
from fem.errors import BadCase

SPRINGS = "push_kPa_per_mm", "pull_kPa_per_mm", "shear_kPa_per_mm"  # of a bed, which follow from its fat
# Of a case: a later one may follow from those before.
DEFAULTS = "mesh.tip_mm", "mesh.far_mm", "mesh.edge_mm", "patch.radius_mm", "patch"


def as_written(case: Case) -> dict[str, Any]:
    """Content of a case without what its site filled in or what followed from that, its name and triangles.

    Of its patch there is the body's surface.
    """
    content = case.model_dump(mode="json", exclude_none=True, exclude={"name", "from_site", "mesh"})
    content = dotted.without(content, "patch.radius_mm" if case.patch and case.patch.surface else "patch")
    for key in case.from_site or ():
        content = dotted.without(content, key)
    bed = case.bed
    if bed is not None and bed.fat_mm is not None and bed.fat_shear_kPa is not None:
        of_fat = springs(fat_mm=bed.fat_mm, fat_shear_kPa=bed.fat_shear_kPa, fat_poisson=bed.fat_poisson)
        for name, stiffness in zip(SPRINGS, of_fat, strict=True):
            if getattr(bed, name) == stiffness:
                del content["bed"][name]
        if not content["bed"]:
            del content["bed"]
    if bed is None and case.skin.site and SITES[case.skin.site].bed is not None:
        content["bed"] = None  # done without, although the site has one
    return content


def without_defaults(case: Case, keys: Sequence[str] = DEFAULTS) -> dict[str, Any]:
    """Content as of `as_written`, with the name, and patch and triangles as far as the case has not its defaults."""
    sizes = case.model_dump(mode="json", exclude_none=True, include={"patch", "mesh"})
    content = {"name": case.name, **as_written(case), **sizes}
    for key in keys:
        fewer = dotted.without(content, key)
        with suppress(ValueError):  # what is left does not go together
            content = fewer if parsed(fewer) == case else content
    return content


def parsed(content: dict[str, Any]) -> Case:
    """The case of plain values. Raises ValueError with its complaints in one line."""
    try:
        return parse(json.dumps(content, indent=0), Case, "")
    except BadCase as error:
        raise ValueError("; ".join(complaints(error))) from error


def of_values(content: dict[str, Any]) -> Case:
    """The case of keys and values as a program has them; files that it names lie in this folder or in MESHES.

    Raises BadCase, a complaint a line, each with the key that it is about.
    """
    try:
        return parse(as_text(content), Case, "", folders=(Path(), MESHES))
    except BadCase as error:
        raise BadCase("\n".join(f"case: {line}" for line in complaints(error))) from error


def varied(case: Case, name: str, changes: Mapping[str, Any]) -> Case:
    """The case by another name, with other values by dotted key, and what follows from those. Raises as `of_values`."""
    content = without_defaults(case)
    for key, value in changes.items():
        try:
            content = dotted.put(content, key, value)
        except ValueError as error:
            raise BadCase(f"case: {key}: {error}") from error
    return of_values({**content, "name": name})


def as_text(content: Mapping[str, Any]) -> str:
    """Keys and values of a program as text that is YAML too; numpy's are taken as well, and cases as written."""
    return json.dumps(content, indent=0, default=_plain)


def _plain(value):
    if isinstance(value, Case):
        return without_defaults(value)
    if isinstance(value, Mapping):
        return dict(value)
    if isinstance(value, Path):
        return str(value)
    if isinstance(value, np.ndarray | np.generic):
        return value.tolist()
    raise TypeError(f"{value!r} cannot be a value of a case")


def complaints(error: BadCase) -> list[str]:
    """The complaints about a text without a name, without their places in it."""
    return [line.split(": ", 1)[1] for line in str(error).splitlines() if line.startswith(":")]
