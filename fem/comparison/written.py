"""A case as its user wrote it: without what the program filled in, so that what is changed has its consequences."""

import json
import re
from collections.abc import Sequence
from contextlib import suppress
from typing import Any

from fem.case import dotted
from fem.case.case import Case
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
        lines = [line for line in str(error).splitlines() if line.startswith(":")]
        raise ValueError("; ".join(re.sub(r"^:\d+:\d+: ", "", line) for line in lines)) from error
