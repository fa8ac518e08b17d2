"""YAML text to a validated pydantic model, with file:line:column in every complaint.

Only what a hand-written file needs is read: mappings, lists, text, numbers, true, false and null. Aliases and
tags are refused, so a small file cannot grow in memory or name a Python class.
"""

import inspect
import math
import re
import typing
import warnings
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from ruamel.yaml import YAML, MappingNode, ScalarNode
from ruamel.yaml.error import MarkedYAMLError, YAMLError

from fem.errors import BadCase, BadValue, dotted

MAX_BYTES = 200_000  # ten times a polygon of 1000 points; our choice
MAX_DEPTH = 20  # of nested lists and mappings; our choice, a case needs 5
MAX_MESSAGES = 100  # of one file; our choice

NUMBER = re.compile(r"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?", re.ASCII)
WORDS = {
    "": None,
    "~": None,
    "null": None,
    "true": True,
    "false": False,
    ".nan": math.nan,
    ".inf": math.inf,
    "+.inf": math.inf,
    "-.inf": -math.inf,
}
UNITS = {"N_per_m": "N/m", "kPa_per_mm": "kPa/mm", "kPa": "kPa", "mm": "mm", "deg": "degrees", "s": "seconds"}
WANTED = {  # by pydantic's name of an error
    "float_type": "a number",
    "string_type": "text (a number needs quotes)",
    "tuple_type": "a list",
    "dict_type": "keys and values",
    "model_type": "keys and values",
    "model_attributes_type": "keys and values",
}
# (former, present) names of keys, and of values as `key: value`; the former are still read, with a FutureWarning.
RENAMED = (("technique: drawn", "technique: named-points"), ("kind: drawn", "kind: traced"))
Model = TypeVar("Model", bound=BaseModel)
Renamed = Sequence[tuple[str, str]]  # as RENAMED
Complaints = list[tuple[tuple, str]]  # (place, message); a place is a key of `Written.marks`, or below
LINE_END = re.compile(r"\r\n|[\n\r\x85\u2028\u2029]")


def read(path: str | Path, *, limit: int = MAX_BYTES) -> str:
    """The text of a file, at most `limit` bytes of UTF-8. Raises BadCase."""
    try:
        with open(path, "rb") as stream:
            content = stream.read(limit + 1)
        if len(content) > limit:
            raise BadCase(f"{path}: more than {limit} bytes")
        return content.decode("utf-8-sig")
    except OSError as error:
        raise BadCase(f"{path}: {error.strerror}") from error
    except UnicodeDecodeError as error:
        raise BadCase(f"{path}: not text in UTF-8 (byte {error.start + 1})") from error


@dataclass(frozen=True)
class Written:
    """A YAML text, what it says and where."""

    text: str
    source: object  # its name in messages
    content: Any  # dicts, tuples, text, numbers, bools and None
    marks: dict  # path -> (line, column) of the value, and (path, name, "key") -> that of a key
    problems: list  # (line, column, message) that did not hinder reading


def parse(
    text: str, model: type[Model], source: object, *, folders: Sequence[Path] = (), renamed: Renamed = ()
) -> Model:
    """The pydantic model that a YAML text describes; `source` names the text in messages.

    folders  that hold the files which the text may name; validators find them in their context
    renamed  more of RENAMED, of this model

    Raises BadCase with every complaint, or with those about the YAML itself if there are any.
    """
    page = written(text, source, renamed)
    wrong: Complaints = []
    try:
        parsed = model.model_validate(page.content, context={"folders": folders})
    except ValidationError as error:
        wrong = complaints(error, model)
    if page.problems or wrong:
        raise bad(page, wrong)
    return parsed


def top_keys(text: str, source: object) -> set[str]:
    """Names of the keys at the top of a YAML text, whatever else is wrong with it. Raises BadCase if it is no YAML."""
    content = written(text, source).content
    return set(content) if isinstance(content, dict) else set()


def written(text: str, source: object, renamed: Renamed = ()) -> Written:
    """A YAML text, read but not yet held against a model. Raises BadCase if it cannot be read."""
    marks: dict = {}
    problems: list = []
    try:
        unsafe = _unsafe(text)
        node = None if unsafe else YAML(typ="safe", pure=True).compose(text)
    except MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        raise _bad(text, source, [(mark.line, mark.column, f"not YAML: {error.problem}")]) from error
    except (YAMLError, ValueError, OverflowError) as error:  # characters and escapes that YAML does not know
        raise BadCase(f"{source}: not YAML: {str(error).splitlines()[0]}") from error
    if unsafe:
        raise _bad(text, source, unsafe)
    if node is None:
        raise BadCase(f"{source}: empty")
    for former, present in (*RENAMED, *renamed):
        if _rename(node, former, present):
            what = former if ":" in former else f"the key {former!r}"
            warnings.warn(f"{source}: {what} is called {present!r} now", FutureWarning, stacklevel=3)
    return Written(text, source, _plain(node, (), marks, problems), marks, problems)


def bad(page: Written, complaints: Complaints) -> BadCase:
    """The error of a text, with its own problems and complaints (place, message) about what it says."""
    return _bad(
        page.text, page.source, page.problems + [(*_mark(page, place), message) for place, message in complaints]
    )


def path_of(place: tuple) -> tuple:
    """Path of a complaint's place, which may be that of a key."""
    return (*place[0], place[1]) if place and isinstance(place[0], tuple) else place


def _mark(page, place):
    """Line and column of a place, or of the nearest around it that is in the text."""
    if place not in page.marks:
        place = path_of(place)
    while place not in page.marks:
        place = place[:-1]
    return page.marks[place]


def _unsafe(text):
    """Problems (line, column, message) of a YAML text that must not be composed."""
    problems, depth = [], 0
    for event in YAML(typ="safe", pure=True).parse(text):
        kind, at = type(event).__name__, (event.start_mark.line, event.start_mark.column)
        depth += kind.endswith(("MappingStartEvent", "SequenceStartEvent"))
        depth -= kind.endswith(("MappingEndEvent", "SequenceEndEvent"))
        if kind == "AliasEvent":
            problems.append((*at, f"alias '*{event.anchor}' is not allowed; write the value"))
        elif getattr(event, "tag", None) is not None:
            tag = event.tag.replace("tag:yaml.org,2002:", "!!")
            problems.append((*at, f"tag '{tag}' is not allowed"))
        if depth > MAX_DEPTH:
            return [*problems, (*at, f"nested more than {MAX_DEPTH} deep")]
    return problems


def _rename(node, former, present):
    """Whether anything in a YAML node had its former name; it now has the present one."""
    if isinstance(node, ScalarNode):
        return False
    if not isinstance(node, MappingNode):
        return any([_rename(item, former, present) for item in node.value])
    key, _, value = former.partition(": ")
    found = [pair for pair in node.value if pair[0].value == key and value in ("", pair[1].value)]
    for pair in found:
        pair[0].value, _, changed = present.partition(": ")
        pair[1].value = changed or pair[1].value
    return any([_rename(held, former, present) for _, held in node.value]) or bool(found)


def _plain(node, path, marks, problems):
    """A YAML node as dict, tuple, text, number, bool or None; no other YAML type exists here.

    marks      gains path -> (line, column) of the value, and (path, name, "key") -> that of a key
    problems   gains repeated keys and keys that are not words
    """
    marks[path] = (node.start_mark.line, node.start_mark.column)
    if isinstance(node, ScalarNode):
        if node.style is not None or (node.value not in WORDS and not NUMBER.fullmatch(node.value)):
            return node.value
        return WORDS[node.value] if node.value in WORDS else float(node.value)
    if not isinstance(node, MappingNode):
        return tuple(_plain(item, (*path, i), marks, problems) for i, item in enumerate(node.value))
    content: dict[str, Any] = {}
    for name, value in node.value:
        at = (name.start_mark.line, name.start_mark.column)
        if not isinstance(name, ScalarNode):
            problems.append((*at, f"{dotted(path)}wanted a key that is a word"))
        elif name.value in content:
            problems.append((*at, f"{dotted(path)}key '{name.value}' is given twice"))
        else:
            marks[path, name.value, "key"] = at
            content[name.value] = _plain(value, (*path, name.value), marks, problems)
            if value.start_mark.index == value.end_mark.index:  # nothing there; YAML puts it on the next word
                marks[*path, name.value] = at
    return content


def complaints(error: ValidationError, root: type[BaseModel]) -> Complaints:
    """[(place, message)] of pydantic's error about the model `root`; a place is a key of `Written.marks`, or below."""
    return [complaint for e in error.errors(include_url=False) for complaint in _complaints(e, root)]


def _complaints(error, root):
    """[(place, message)] of one of pydantic's errors about the model `root`."""
    about = error.get("ctx", {}).get("error")
    if not isinstance(about, BadValue):
        return [_complaint(error, root)]
    path, _ = _located(error["loc"], root)
    places = [((*path, *at), message) for at, message in about.problems]
    return [(place, f"{dotted(place)}{message}") for place, message in places]


def _complaint(error, root):
    """(place, message) of one of pydantic's errors about the model `root`."""
    path, model = _located(error["loc"], root)
    kind, value, about = error["type"], error["input"], error.get("ctx", {})
    parent, last = path[:-1], path[-1] if path else None
    if kind == "extra_forbidden":
        message = f"{dotted(parent)}unknown key '{last}'{hint(last, model.model_fields)}"
        return (parent, last, "key"), message
    if kind == "missing" and isinstance(last, int):
        return parent, f"{dotted(parent)}value number {last + 1} is missing"
    if kind == "missing":
        needed = ", ".join(name for name, field in model.model_fields.items() if field.is_required())
        return parent, f"{dotted(parent)}missing key '{last}'; needed: {needed}"
    if kind == "union_tag_not_found":
        allowed = ", ".join(_variants(model, path))
        return path, f"{dotted(path)}missing key {about['discriminator']}; allowed: {allowed}"
    if kind == "union_tag_invalid":
        tag = about["discriminator"].strip("'")
        path, value = (*path, tag), value[tag]
    if kind in ("union_tag_invalid", "literal_error"):
        known = re.findall(r"'([^']*)'", about.get("expected_tags") or about["expected"])
        return path, f"{dotted(path)}got {_shown(value)}{hint(str(value), known)}"
    if kind == "value_error":
        return path, f"{dotted(path)}{about['error']}"
    return path, f"{dotted(path)}got {_shown(value)}, {_wanted(error, model, last)}"


def _wanted(error, model, last):
    """What should have stood where one of pydantic's errors is."""
    if error["type"] == "string_pattern_mismatch":
        return f"wanted the {model.model_fields[last].description}"
    if error["type"] in WANTED:
        return f"wanted {WANTED[error['type']]}"
    if error["type"] == "too_long":
        return f"wanted {error['ctx']['max_length']} values"
    return error["msg"].replace("Input should be", "wanted")


def _located(loc, root):
    """Path in the file of one of pydantic's locations, and the model that holds its last key.

    pydantic puts the name of a union's variant after the union's key; the file has no such level.
    """
    path, model = [], root
    variants: dict = {}
    for i, part in enumerate(loc):
        if part in variants:
            model, variants = variants[part], {}
            continue
        path.append(part)
        if part not in model.model_fields:  # a member of a list, or a word that the file chooses: of the types before
            continue
        variants = _variants(model, path)
        if len(variants) == 1 and i + 1 < len(loc):
            (model,), variants = variants.values(), {}
    return tuple(path), model


def _variants(model, path):
    """The models that a value may have by their tags; the last word of its path that is a key of `model` names it."""
    key = next(part for part in reversed(path) if part in model.model_fields)
    return {_tag(t): t for t in _models(model.model_fields[key].annotation)}


def _models(annotation):
    """The models in a type, those of the members of lists and mappings included."""
    if inspect.isclass(annotation) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for part in typing.get_args(annotation) for model in _models(part)]


def _tag(model):
    """What pydantic calls a model that is a variant of a union: the only value that one of its keys may have."""
    for field in model.model_fields.values():
        if typing.get_origin(field.annotation) is typing.Literal and len(typing.get_args(field.annotation)) == 1:
            return typing.get_args(field.annotation)[0]
    return model.__name__


def hint(given: Any, known: Iterable[str]) -> str:
    """The nearest of the known words, with its unit if only that is wrong, and all of them."""
    ends = {name: max((u for u in UNITS if name.endswith(f"_{u}")), key=len, default="") for name in known}
    same = [name for name, end in ends.items() if end and f"{given}_".startswith(name.removesuffix(end))]
    near = same or get_close_matches(given, known, n=1)
    unit = f", in {UNITS[ends[same[0]]]}" if same else ""
    return f"; {f'did you mean {near[0]!r}{unit}? ' if near else ''}allowed: {', '.join(known)}"


def _shown(value):
    """A value as it was written in the file, at most 40 characters; lists and mappings by name only."""
    if isinstance(value, dict | tuple):
        return "keys and values" if isinstance(value, dict) else "a list"
    if value is None or isinstance(value, bool):
        return {None: "nothing", True: "true", False: "false"}[value]
    return repr(value).removesuffix(".0")[:40]


def _bad(text, source, problems):
    """BadCase from (line, column, message), each with the line and a caret below the place."""
    lines = LINE_END.split(text)
    messages = []
    for line, column, message in sorted(problems)[:MAX_MESSAGES]:
        start = max(0, column - 80)
        shown = lines[line][start : start + 120]
        caret = re.sub(r"[^\t]", " ", shown[: column - start]) + "^"
        messages.append(f"{source}:{line + 1}:{column + 1}: {message}\n    {shown}\n    {caret}")
    if len(problems) > MAX_MESSAGES:
        messages.append(f"{source}: {len(problems) - MAX_MESSAGES} more")
    return BadCase("\n".join(messages))
