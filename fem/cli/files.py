"""Files and words from the command line, read before any work; complaints, which end the program with exit code 2."""

import sys
from collections.abc import Callable, Collection, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

from cyclopts import Parameter

from fem.cli.ending import BAD_INPUT
from fem.errors import BadCase, MeshError, NotConverged

if TYPE_CHECKING:
    from fem.case.case import Case
    from fem.study.sweep import Study
    from fem.teaching.explore import Exploration
    from fem.teaching.lesson import Lesson

NO_CONVERGENCE = 3  # the exit code
Into = Annotated[Path, Parameter(help="folder that takes the results")]
MOST_WORKERS = 1000  # of one machine; our choice, a process each


def read_cases(files: Sequence[Path], comparison: str = "comparison") -> "list[Case]":
    """Cases in the files, all read before any work; ends the program with every message if one is bad."""
    good = [case for case, _ in read_each([("case", path) for path in files])]
    unmixed(map(_of_case, files, good), comparison)
    return good


def read_lessons(
    files: "Sequence[tuple[str, Path]]", only: Collection[str]
) -> "tuple[list[Lesson], list[Exploration]]":
    """Lessons in the files (kind, path), those of plain cases too, and explorations; as `read_cases`.

    only   products that are wanted, if not all: some need no neighbours
    """
    files = [("lesson" if kind == "case" else kind, path) for kind, path in files]
    good = [content for content, _ in read_each(files)]
    _unmixed_lessons(files, good, only)
    lessons, pages = ([content for content, (kind, _) in zip(good, files, strict=True) if kind == k] for k in TAUGHT)
    return lessons, pages


def read_any(files: "Sequence[tuple[str, Path]]", tell: Callable[[str, Any], None]) -> list[Any]:
    """What is in files (kind, path): a case, a lesson, an exploration, or a study and its cases; as `read_cases`.

    tell   as of `read_each`
    """
    good = [content for content, _ in read_each(files, tell)]
    both = list(zip(files, good, strict=True))
    unmixed(_of_case(path, case) for (kind, path), case in both if kind == "case")
    lessons = [((kind, path), content) for (kind, path), content in both if kind in TAUGHT]
    _unmixed_lessons([file for file, _ in lessons], [content for _, content in lessons], ())
    return good


def read_study(file: Path) -> "tuple[Study, list[Case]]":
    """The study in a file and its cases, its answers checked too; as `read_cases`."""
    return read_each([("study", file)])[0][0]


def read_each(
    files: Iterable[tuple[str, Path]], tell: Callable[[str, Any], None] = lambda kind, content: None
) -> list[tuple[Any, "Case"]]:
    """(content, a case of it) of each file (kind, path); ends the program with every message if one is bad.

    Two of a kind whose cases, or studies, share a name are refused.

    tell   called with kind and content of those that are good before the program ends
    """
    from fem.case import case as cases

    good: list[Any] = []
    fine: dict[tuple[str, str], Any] = {}
    bad: list[str] = []
    seen: dict[tuple[str, str], Path] = {}
    for kind, path in files:
        try:
            content, case = READERS[kind](path)
        except BadCase as error:
            bad.append(str(error))
            continue
        if (kind, case.name) in seen:
            before = seen[kind, case.name]
            bad.append(f"{path}: name: {case.name!r} is also the name of {before}; results would mix")
        fine[kind, case.name] = None if (kind, case.name) in seen else content
        seen[kind, case.name] = path
        for line in cases.warnings(case):
            print(f"{path}: warning: {line}", file=sys.stderr)
        good.append((content, case))
    if bad:
        for (kind, _), content in fine.items():
            if content is not None:
                tell(kind, content)
        fail("\n".join(bad))
    return good


def _case(path):
    from fem.case import case as cases

    return (cases.read(path),) * 2


def _lesson(path):
    from fem.teaching import lesson as lessons

    lesson = lessons.read(path)
    return lesson, lesson.case


def _page(path):
    from fem.teaching import explore

    page = explore.read(path)
    return page, page.base


def _study(path):
    from fem.cli import progress
    from fem.study import keys, whole

    study = keys.read(path)
    with progress.checking(study.name) as watch:
        cases = whole.checked(study, watch=watch)
    return (study, cases), cases[0]


READERS: dict[str, Callable] = {"case": _case, "lesson": _lesson, "page to explore": _page, "study": _study}
TAUGHT = "lesson", "page to explore"


def _of_case(path, case):
    """What `unmixed` takes, of a file with a case."""
    return path, [(("name",), case)], ()


def _unmixed_lessons(files, contents, only):
    """End the program as `unmixed` does, for lessons and explorations in files (kind, path)."""
    if not files:
        return
    from fem.teaching import explore, handout
    from fem.teaching import lesson as lessons

    sources: list[tuple] = []
    for (kind, path), content in zip(files, contents, strict=True):
        if kind == "lesson":
            cases = [content.case, *(case for _, case in handout.needed(content, only))]
            sources.append((path, zip(lessons.places(content), cases, strict=False), ()))
        else:
            steps = explore.steps(content)
            closures = [(("choices", step.choice), step.case) for step in steps]
            sources.append((path, closures, [explore.page_name(content)]))
    unmixed(sorted(sources, key=lambda source: not source[2]))


def unmixed(
    sources: "Iterable[tuple[Path, Iterable[tuple[tuple, Case]], Iterable[str]]]", comparison: str = "comparison"
) -> None:
    """End the program if what it would write in the folder of results is of two contents, naming both places.

    sources     of each file its path, (place in it, case) of what is closed, and names of files that are written beside
    comparison  name of what is compared
    """
    from fem.comparison.addresses import COMPARISON, Address, clashes, figures, results_of, tables

    written = [file for name in (COMPARISON, comparison) for file in (*tables(name), figures(name))]
    addresses = [Address(name, name, "flatseam compare") for name in written]
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


def file_name(_: Any, name: str) -> None:
    """Refuse, by ValueError, what is no name of a file or of a case."""
    from pydantic import TypeAdapter

    from fem.case.keys import Name

    try:
        TypeAdapter(Name).validate_python(name)
    except ValueError:
        raise ValueError(f"got {name[:80]!r}, wanted letters, digits, - _ . but no . in front, at most 80") from None


def worker_count(_: Any, tokens: Sequence[Any]) -> int:
    """A number of workers from a word of the command line. Raises ValueError with what is allowed."""
    word = tokens[0].value
    if not (word.isdecimal() and word.isascii() and len(word) < 10 and 1 <= int(word) <= MOST_WORKERS):
        raise ValueError(f"got {word[:40]!r}, wanted a whole number from 1 to {MOST_WORKERS}")
    return int(word)


def length(_: Any, tokens: Sequence[Any]) -> float:
    """A length, mm, from a word of the command line. Raises ValueError with what to write."""
    word = tokens[0].value
    try:
        return float(word)
    except ValueError:
        from fem.case.plain import number_meant

        raise ValueError(f"got {word[:40]!r}, wanted a number{number_meant(word, 'length_mm')}") from None


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
