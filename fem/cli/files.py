"""Files and words from the command line, read before any work; complaints, which end the program with exit code 2."""

import sys
from collections.abc import Callable, Collection, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from fem.errors import BadCase, MeshError, NotConverged

if TYPE_CHECKING:
    from fem.case.case import Case
    from fem.study.sweep import Study
    from fem.teaching.explore import Exploration
    from fem.teaching.lesson import Lesson

BAD_INPUT, NO_CONVERGENCE = 2, 3


def read(files: Iterable[Path]) -> "list[Case]":
    """Cases in the files, all read before any work; ends the program with every message if one is bad."""
    from fem.case import case as cases

    return read_each(files, cases.read, lambda case: case)


def read_lessons(files: Iterable[Path]) -> "list[Lesson]":
    """Lessons in the files, those of plain cases too; as `read`."""
    from fem.teaching import lesson as lessons

    return read_each(files, lessons.read, lambda lesson: lesson.case)


def read_explorations(files: Iterable[Path]) -> "dict[Path, Exploration]":
    """Explorations by their paths, of the files that hold one; as `read`. What is no YAML is left to others."""
    from fem.teaching import explore

    paths = [path for path in files if explore.is_exploration(path)]
    return dict(zip(paths, read_each(paths, explore.read, lambda exploration: exploration.base), strict=True))


def read_study(file: Path) -> "tuple[Study, list[Case]]":
    """The study in a file and its cases, its answers checked too; as `read`."""
    from fem.study import keys, report, sweep

    try:
        study = keys.read(file)
        cases = sweep.cases(study)
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
