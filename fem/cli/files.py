"""Files and words from the command line, read before any work; complaints, which end the program with exit code 2."""

import sys
from collections.abc import Callable, Collection, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from fem.errors import BadCase, MeshError, NotConverged

if TYPE_CHECKING:
    from fem.case.case import Case
    from fem.study.sweep import Study
    from fem.teaching.explore import Exploration
    from fem.teaching.lesson import Lesson

BAD_INPUT, NO_CONVERGENCE = 2, 3
MOST_WORKERS = 1000  # of one machine; our choice, a process each


def read(files: Sequence[Path]) -> "list[Case]":
    """Cases in the files, all read before any work; ends the program with every message if one is bad."""
    from fem.case import case as cases

    good = read_each(files, cases.read, lambda case: case)
    unmixed((path, [(("name",), case)], ()) for path, case in zip(files, good, strict=True))
    return good


def read_lessons(files: Iterable[Path], only: Collection[str]) -> "tuple[list[Lesson], list[Exploration]]":
    """Lessons in the files, those of plain cases too, and explorations; as `read`.

    only   products that are wanted, if not all: some need no neighbours
    """
    from fem.teaching import explore, handout
    from fem.teaching import lesson as lessons

    paths: dict[bool, list[Path]] = {True: [], False: []}
    for path in files:
        paths[explore.is_exploration(path)].append(path)  # what is no YAML is told of as a lesson
    pages = read_each(paths[True], explore.read, lambda exploration: exploration.base)
    good = read_each(paths[False], lessons.read, lambda lesson: lesson.case)
    sources: list[tuple] = []
    for path, page in zip(paths[True], pages, strict=True):
        closures: Iterable = [(("choices", step.choice), step.case) for step in explore.steps(page)]
        sources.append((path, closures, [explore.page_name(page)]))
    for path, lesson in zip(paths[False], good, strict=True):
        cases = [lesson.case, *(case for _, case in handout.needed(lesson, only))]
        sources.append((path, zip(lessons.places(lesson), cases, strict=False), ()))
    unmixed(sources)
    return good, pages


def read_study(file: Path) -> "tuple[Study, list[Case]]":
    """The study in a file and its cases, its answers checked too; as `read`."""
    from fem.case.document import bad
    from fem.cli import progress
    from fem.comparison.addresses import FIGURES, TABLES
    from fem.study import keys, report, sweep

    try:
        study = keys.read(file)
        if study.name in (*TABLES, FIGURES):
            raise bad(study.page, [(("name",), f"name: {study.name!r} is what flatseam compare writes")])
        with progress.checking(study.name) as watch:
            cases = sweep.cases(study, watch=watch)
        report.check(study)
    except BadCase as error:
        fail(str(error))
    return study, cases


def read_each(files: Iterable[Path], reader: Callable, case_of: Callable) -> list[Any]:
    """What a reader finds in the files; ends the program with every message if one is bad."""
    from fem.case import case as cases

    good: list[Any] = []
    bad: list[str] = []
    seen: dict[str, Path] = {}
    for path in files:
        try:
            content = reader(path)
        except BadCase as error:
            bad.append(str(error))
            continue
        case = case_of(content)
        if case.name in seen:
            bad.append(f"{path}: name: {case.name!r} is also the name of {seen[case.name]}; results would mix")
        seen[case.name] = path
        for line in cases.warnings(case):
            print(f"{path}: warning: {line}", file=sys.stderr)
        good.append(content)
    if bad:
        fail("\n".join(bad))
    return good


def unmixed(sources: "Iterable[tuple[Path, Iterable[tuple[tuple, Case]], Iterable[str]]]") -> None:
    """End the program if what it would write in the folder of results is of two contents, naming both places.

    sources   of each file its path, (place in it, case) of what is closed, and names of files that are written beside
    """
    from fem.comparison.addresses import FIGURES, TABLES, Address, clashes, results_of

    addresses = [Address(name, name, "flatseam compare") for name in (*TABLES, FIGURES)]
    for path, closures, beside in sources:
        addresses += [Address(name, str(path), (path, ())) for name in beside]
        addresses += [address for place, case in closures for address in results_of(case, (path, place))]
    bad = [
        f"{_at(later.source)}: {later.name!r} in the folder of results is also written by {_at(first.source)}; "
        "it would be replaced by something else, so one of them needs another name"
        for later, first in clashes(addresses)
    ]
    if bad:
        fail("\n".join(bad))


def _at(source):
    """A source in words: file, line and column of a place in a file, or the text that it is."""
    from fem.case import document

    if isinstance(source, str):
        return source
    path, place = source
    line, column = document.mark(document.written(document.read(path), path), place)
    return f"{path}:{line + 1}:{column + 1}"


def in_folders(paths: Iterable[Path]) -> list[Path]:
    """The files among the paths, and in place of a folder its case files by name; ends the program if it has none."""
    files: list[Path] = []
    for path in paths:
        inside = sorted(path.glob("*.yaml")) if path.is_dir() else [path]
        if not inside:
            fail(f"{path}: no .yaml file in this folder")
        files += inside
    return files


def known(where: str, given: Iterable[str], allowed: Collection[str]) -> None:
    """End the program if a word is not one of those allowed."""
    from fem.case.document import hint

    for word in given:
        if word not in allowed:
            fail(f"flatseam {where}: no {word!r}{hint(word, list(allowed))}")


def exit_code(error: Exception) -> int:
    """Exit code that an error of closing a case asks for."""
    return BAD_INPUT if isinstance(error, MeshError | OSError) else NO_CONVERGENCE


def complaint(name: str, error: Exception) -> str:
    """One line on a case that was not closed."""
    return f"{name}: {'not converged: ' if isinstance(error, NotConverged) else ''}{error}"


def worker_count(_: Any, tokens: Sequence[Any]) -> int:
    """A number of workers from a word of the command line. Raises ValueError with what is allowed."""
    word = tokens[0].value
    if not (word.isdecimal() and word.isascii() and len(word) < 10 and 1 <= int(word) <= MOST_WORKERS):
        raise ValueError(f"got {word[:40]!r}, wanted a whole number from 1 to {MOST_WORKERS}")
    return int(word)


def needed(where: str, *libraries: str) -> None:
    """End the program if a library of the extra `study` is not installed."""
    from importlib.util import find_spec

    lacking = [name for name in libraries if find_spec(name) is None]
    if lacking:
        fail(f"{where}: needs {' and '.join(lacking)}: pip install 'flatseam[study]', or '.[study]' in the source tree")


def fail(message: str) -> NoReturn:
    """End the program for bad input."""
    print(message, file=sys.stderr)
    sys.exit(BAD_INPUT)
