"""Cases: from a file, from text, from keys and values, or from another case."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from fem.case.case import MESHES, Case
from fem.case.case import read as read_case
from fem.case.document import parse
from fem.comparison import written


def read(path: str | Path) -> Case:
    """The case in a YAML file. Raises BadCase, with file, line and what is allowed."""
    return read_case(path)


def case(text: str | None = None, /, **keys: Any) -> Case:
    """A case from YAML text, or from its keys; checked as a file is, what it leaves out filled in from its site.

        flatseam.case(name="lens", wound={"outline": {"kind": "lens", "length_mm": 60, "width_mm": 20}},
                      skin={"site": "forearm"})

    Values are numbers, text, lists and mappings; numpy's are taken too. Files that are named lie in this folder.

    Raises BadCase with every complaint, and what is allowed.
    """
    if text is None:
        return written.of_values(keys)
    if keys:
        raise TypeError(f"wanted a text or keys, not both; got a text and {', '.join(keys)}")
    return parse(text, Case, "case", folders=(Path(), MESHES))


def varied(case: Case, name: str, changes: Mapping[str, Any]) -> Case:
    """A case with other values by dotted key, by a name of its own; what followed from the old ones follows anew.

        flatseam.varied(lens, "longer", {"wound.outline.length_mm": 80})

    Raises BadCase.
    """
    return written.varied(case, name, changes)
