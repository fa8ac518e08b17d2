"""A new case file: what was not given is asked on a terminal, or taken as usual; beside it a schema for editors."""

import json
import sys
import textwrap
from collections.abc import Callable, Collection
from inspect import getfullargspec
from itertools import count
from pathlib import Path
from typing import Annotated, Any, TypeVar

from cyclopts import Parameter

from fem.cli.files import fail, known, length
from fem.errors import BadCase

WIDTH, RATIO = 20.0, 3.0  # of the usual wound, mm, and its length per width
LENGTHS = {"length_mm": "length", "height_mm": "length", "width_mm": "width", "diameter_mm": "width"}
LENGTHS |= {"side_mm": "width", "base_mm": "width"}  # keys of outlines, and which of the two lengths each is
FIRST = {"slit": "z-plasty"}  # technique of an outline that is not closed side to side
SCHEMA = "flatseam.schema.json"  # beside the case, so that editors find it without a network
Length = Annotated[float | None, Parameter(converter=length)]
Answer = TypeVar("Answer")


def new(
    name: Annotated[str | None, Parameter(help="of the case, its file and the folder of its results")] = None,
    /,
    *,
    site: str | None = None,
    outline: str | None = None,
    length_mm: Length = None,
    width_mm: Length = None,
    technique: str | None = None,
    undermine_mm: Length = None,
) -> None:
    """Write a short case file to start from; nothing that is there is replaced.

    On a terminal, what is not given is asked; elsewhere it is a lens three times as long as wide, on a forearm. Beside
    the case lies a schema, by which editors complete keys and explain them.

    Example: flatseam new my-lens --length-mm 45 --width-mm 15

    Parameters
    ----------
    site
        Whose skin, as flatseam sites prints them.
    outline
        Shape of what is cut out: lens, circle, rhombus and others.
    length_mm
        From tip to tip; three times the width if left out.
    width_mm
        Greatest width, or the diameter.
    technique
        How it is closed: side-to-side, rhombic and others.
    undermine_mm
        How far skin is undermined around the wound; as is usual at the site if left out.
    """
    given = {"site": site, "outline": outline, "length": length_mm, "width": width_mm, "technique": technique}
    path, *schema = start(name, given | {"undermining": undermine_mm})
    print(f"{path}: written{f', with {schema[0]} for editors' if schema else ''}; next: flatseam close {path}")


def start(name: str | None, given: dict[str, Any]) -> list[Path]:
    """Paths written: a case file in this folder, and the schema if there is none. Ends the program if one is there.

    given   site, outline, length, width, technique, undermining; None where nothing is given
    """
    from fem.case import case as cases
    from fem.case.document import parse
    from fem.comparison.wording import sentences

    name = name and name.removesuffix(".yaml")  # the file is as good a name
    _free(name or "")
    answers = _answers(given)
    if name is None:
        sizes = "x".join(f"{value:g}" for value in answers["lengths"].values())
        name = _name(f"{answers['outline']}-{sizes}")
    path = Path(f"{name}.yaml")
    text = "\n".join(sentences("cli/start", "case", name, answers, SCHEMA)) + "\n"
    try:
        case = parse(text, cases.Case, path)
        if case.name != name:
            fail(f"flatseam new: {name!r} is no name for a case; letters, digits, - _ . are allowed")
        with open(path, "x", encoding="utf-8") as stream:
            stream.write(text)
    except BadCase as error:
        fail(f"flatseam new: these do not fit, and nothing was written\n{error}")
    except OSError as error:
        fail(f"flatseam new: {error}")
    for line in cases.warnings(case):
        print(f"{path}: warning: {line}", file=sys.stderr)
    return [path, *_schema(json.dumps(cases.schema(), indent=2) + "\n")]


def _free(name):
    """End the program if a case of this name is in this folder."""
    if Path(f"{name}.yaml").exists():
        fail(f"flatseam new: {name}.yaml is there already and stays as it is; give another name: flatseam new NAME")


def _schema(text):
    """The schema's path if it was written; what is there stays, and is told of if it is another."""
    path = Path(SCHEMA)
    if not path.exists():
        path.write_text(text, encoding="utf-8")
        return [path]
    if path.read_text(encoding="utf-8", errors="replace") != text:
        print(f"{path}: is another one, and stays; to renew it: flatseam check --schema > {SCHEMA}", file=sys.stderr)
    return []


def plain_outlines() -> dict[str, list[str]]:
    """Keys of each outline that a length and a width settle, by its kind."""
    from fem.geometry.outlines import OUTLINES

    needed = {}
    for kind, function in OUTLINES.items():
        spec = getfullargspec(function)
        needed[kind] = [name for name in spec.kwonlyargs if name not in (spec.kwonlydefaults or {})]
    return {kind: keys for kind, keys in needed.items() if keys and set(keys) <= set(LENGTHS)}


def _answers(given):
    """What the case is to say, each asked for or as usual."""
    from fem.case.site import SITES, undermining
    from fem.plan.techniques import TECHNIQUES

    outlines = plain_outlines()
    techniques = [name for name in TECHNIQUES if name != "named-points"]
    site = _word("site", given["site"], SITES, "forearm")
    kind = _word("outline", given["outline"], outlines, "lens")
    lengths = _lengths(outlines[kind], given["length"], given["width"])
    technique = _word("technique", given["technique"], techniques, FIRST.get(kind, "side-to-side"))
    usual, on_bench = undermining(SITES[site]), not SITES[site].bed
    by = _number("undermined around the wound, mm", given["undermining"], 0.0 if on_bench else usual.typical)
    return {
        "site": site, "outline": kind, "lengths": lengths, "technique": technique, "undermining": by,
        "on_bench": on_bench, "body": SITES[site].body, "usual": usual, "outlines": list(outlines),
        "techniques": techniques,
    }  # fmt: skip


def _lengths(keys, length, width):
    """Values of an outline's keys, of which there are one or two."""
    wanted = {LENGTHS[key] for key in keys}
    if "width" in wanted:
        width = _number("width, mm", width, WIDTH if length is None else length / RATIO)
    if "length" in wanted:
        length = _number("length, mm", length, RATIO * width if "width" in wanted else WIDTH)
    return {key: {"length": length, "width": width}[LENGTHS[key]] for key in keys}


# Questions ----------------------------------------------------------------------------------------------------


def _asking():
    return sys.stdin.isatty() and sys.stdout.isatty()


def _asked(what: str, usual: Answer, understood: Callable[[str], Answer]) -> Answer:
    """The answer on a terminal, or the usual one; asked again where `understood` raises ValueError."""
    while True:
        try:
            answer = input(f"{what} [{usual:g}]: " if isinstance(usual, float) else f"{what} [{usual}]: ").strip()
        except EOFError:
            print()
            fail("flatseam new: no more answers, so nothing was written")
        try:
            return understood(answer) if answer else usual
        except ValueError as error:
            print(f"  {error}")


def _word(what: str, given: str | None, allowed: Collection[str], usual: str) -> str:
    from fem.case.document import hint

    def understood(answer: str) -> str:
        if answer in allowed:
            return answer
        raise ValueError(f"no {answer!r}{hint(answer, list(allowed))}")

    if given is not None:
        known(f"new --{what}", [given], allowed)
        return given
    if not _asking():
        return usual
    print(textwrap.fill(f"{what}: {', '.join(allowed)}", 78, subsequent_indent="  ", break_on_hyphens=False))
    return _asked(what, usual, understood)


def _number(what: str, given: float | None, usual: float) -> float:
    def understood(answer: str) -> float:
        try:
            return float(answer.replace(",", ".").removesuffix("mm"))
        except ValueError:
            raise ValueError(f"{answer!r} is no number; in mm, as 42.5") from None

    return given if given is not None else _asked(what, usual, understood) if _asking() else usual


def _name(usual: str) -> str:
    """A name for the case: asked, with one that is free as usual; off a terminal the usual one, if it is free."""

    def understood(answer: str) -> str:
        if Path(f"{answer}.yaml").exists():
            raise ValueError(f"{answer}.yaml is there already, and stays as it is")
        return answer

    if _asking():
        free = (name for k in count(1) if not Path(f"{(name := usual if k == 1 else f'{usual}-{k}')}.yaml").exists())
        return _asked("name", next(free), understood)
    _free(usual)
    return usual
