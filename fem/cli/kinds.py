"""The kinds of files, told by their keys; which of them a command takes, in folders too."""

import sys
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from fem.cli.files import TAUGHT, fail, read_cases
from fem.errors import BadCase

if TYPE_CHECKING:
    from fem.case.case import Case

KINDS = {  # keys at the top of a file that only this kind has, of those after it; more than one; a command for it
    "page to explore": ({"ratios", "choices"}, "pages to explore", "teach"),
    "lesson": ({"title", "question"}, "lessons", "teach"),
    "study": ({"base", "grid", "zip", "sample", "answers"}, "studies", "study"),
    "case": ({"name", "wound", "skin"}, "cases", "close"),
}


def kind_of(path: Path) -> str | None:
    """The kind of a file, one of KINDS; None if its keys tell nothing or it cannot be read."""
    from fem.case import document

    try:
        keys = document.top_keys(document.read(path))
    except BadCase:
        return None
    return next((kind for kind, (only, _, _) in KINDS.items() if only & keys), None)


def sorted_out(command: str, paths: Iterable[Path], *taken: str) -> list[tuple[str, Path]]:
    """(kind, file) of what a command takes: files, and of folders those files that are of its kinds.

    Of a folder's lessons and pages to explore beside cases, only they are taught, for cases are what they are made of.
    A file that is of no kind is taken for one of the first. Ends the program for one of another kind, or a folder
    without any.
    """
    files: list[tuple[str, Path]] = []
    bad: list[str] = []
    for path in paths:
        inside = sorted(path.glob("*.yaml")) if path.is_dir() else [path]
        every = [(kind_of(file) or taken[0], file) for file in inside]
        fitting = [(kind, file) for kind, file in every if kind in taken]
        if path.is_dir() and command == "teach":
            fitting = [(kind, file) for kind, file in fitting if kind in TAUGHT] or fitting
        if not fitting:
            bad += [_misplaced(command, kind, file, taken) for kind, file in every] or [_empty(path)]
        elif left := [f"{file.name} ({kind})" for kind, file in every if (kind, file) not in fitting]:
            print(f"{path}: left out: {', '.join(left)}", file=sys.stderr)
        files += fitting
    if bad:
        fail("\n".join(bad))
    return files


def cases_in(command: str, paths: Iterable[Path], comparison: str = "comparison") -> "list[Case]":
    """The cases in files and folders; as `read_cases` and `sorted_out`."""
    return read_cases([file for _, file in sorted_out(command, paths, "case")], comparison)


def _misplaced(command, kind, file, taken):
    *first, last = (KINDS[name][1] for name in taken)
    wanted = f"{', '.join(first)} and {last}" if first else last
    return f"{file}: is a {kind}; flatseam {command} takes {wanted}, flatseam {KINDS[kind][2]} takes this"


def _empty(folder):
    below = sorted(path.name for path in folder.iterdir() if path.is_dir() and any(path.glob("*.yaml")))
    more = f", but in {', '.join(below)} below it" if below else ""
    return f"{folder}: no .yaml file in this folder{more}"
