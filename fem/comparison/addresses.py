"""Names below a folder of results are addresses: whoever writes there, and what would be overwritten by something else.

A case's results are in a folder of its name, so two different cases must not share a name; the same case may be asked
for twice. Files that a command writes beside such folders are addresses too.
"""

from collections.abc import Iterable
from typing import Any, NamedTuple

from fem.case import case as cases

COMPARISON = "comparison"  # what is compared is called so unless it has another name


def tables(name: str = COMPARISON) -> tuple[str, ...]:
    """Files of a comparison beside the folders of cases: page and tables."""
    return tuple(f"{name}.{kind}" for kind in ("html", "csv", "parquet"))


def figures(name: str = COMPARISON) -> str:
    """Folder of its figures for print."""
    return f"{name}-figures"


class Address(NamedTuple):
    """A file or folder below the folder of results."""

    name: str
    content: str  # key of the case whose results it holds; of other files, who writes them
    source: Any  # who asks for it


def results_of(case: cases.Case, source: Any) -> tuple[Address, Address]:
    """The folder of a case's results, and the note of why there is none."""
    key = cases.key(case)
    return Address(case.name, key, source), Address(f"{case.name}.failed.json", key, source)


def clashes(addresses: Iterable[Address]) -> list[tuple[Address, Address]]:
    """(later, first) of those that have a name but not what is in it in common, once for two sources."""
    first: dict[str, Address] = {}
    pairs = [(address, first.setdefault(address.name, address)) for address in addresses]
    different = {(str(a.source), str(b.source)): (a, b) for a, b in reversed(pairs) if a.content != b.content}
    return list(different.values())[::-1]
