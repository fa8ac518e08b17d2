"""YAML text, without aliases and tags, to a validated pydantic model, with file:line:column in every complaint."""

import inspect
import math
import re
import typing
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import islice, takewhile
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeVar

import yaml
from pydantic import BaseModel, ConfigDict, ValidationError

from fem.case.plain import meant, nearest, number_meant, told
from fem.errors import BadCase, BadValue, Key, dotted, present_name

MAX_BYTES = 200_000  # ten times a polygon of 1000 points; our choice
MAX_DEPTH = 20  # of nested lists and mappings; our choice, a case needs 5
MAX_MESSAGES = 100  # of one file; our choice

LEAST, LARGEST = 1e-15, 1e15  # of numbers, our choices: their powers and products are numbers too
NUMBER = re.compile(r"[-+]?(\d+(\.\d*)?|\.\d+)([eE][-+]?\d+)?", re.ASCII)  # in time that grows with the length
WORDS = {"": None, "~": None, "null": None, "true": True, "false": False, ".nan": math.nan, ".inf": math.inf}
WANTED = {  # by pydantic's name of an error
    "float_type": "a number",
    "string_type": "text (a number needs quotes)",
    "tuple_type": "a list",
    "too_short": "{min_length} or more",
    "too_long": "{max_length} at most",
    **dict.fromkeys(("dict_type", "model_type", "model_attributes_type"), "keys and values"),
}
# Former names, still read with a warning -> present ones: keys as `key:`, values as `key: value`, either as they are.
RENAMED = {
    "technique: drawn": "technique: named-points", "kind: drawn": "kind: traced",
    "normal_kPa_per_mm:": "pull_kPa_per_mm:", "bed.normal_kPa_per_mm:": "bed.pull_kPa_per_mm:",
}  # fmt: skip
NONE: Mapping[str, str] = MappingProxyType({})
Model = TypeVar("Model", bound=BaseModel)
Complaints = Sequence[tuple[tuple, str]]  # (place, message); a place is in `Written.marks`, or below one that is


class Block(BaseModel):
    """Keys of a file: all of them known, each of its very type, numbers finite."""

    model_config = ConfigDict(frozen=True, strict=True, extra="forbid", allow_inf_nan=False, validate_default=True)
    INSTEAD: typing.ClassVar[Mapping[str, str]] = NONE  # by a key that is missing what does as well, in words


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
    renamed: Mapping[str, str]  # as RENAMED
    content: Any = None  # dicts, tuples, text, numbers, bools and None
    marks: dict[tuple, tuple[int, int]] = field(default_factory=dict)  # place -> line and column, from 0
    problems: list[tuple[int, int, str]] = field(default_factory=list)  # of the YAML itself: line, column, message


def parse(
    text: str, model: type[Model], source: object, *, folders: Sequence[Path] = (), renamed: Mapping[str, str] = NONE
) -> Model:
    """The pydantic model that a YAML text describes. Raises BadCase with every complaint, or only those about the YAML.

    source   names the text in messages;  renamed  more of RENAMED, of this model
    folders  that hold the files which the text may name; validators find them in their context
    """
    page = written(text, source, renamed)
    try:
        return model.model_validate(page.content, context={"folders": folders})
    except ValidationError as error:
        raise bad(page, complaints(error, model)) from error


def top_keys(text: str) -> set[str]:
    """Names of the keys at the top of a YAML text; none if it cannot be read."""
    keys, depth, wanted = set(), 0, True
    try:
        for event in yaml.parse(text, Loader=yaml.CSafeLoader):
            depth -= isinstance(event, yaml.CollectionEndEvent)
            if depth == 1 and isinstance(event, yaml.NodeEvent):
                if wanted and isinstance(event, yaml.ScalarEvent):
                    keys.add(event.value)
                wanted = not wanted
            if depth == 0 and isinstance(event, yaml.SequenceStartEvent):
                return set()
            depth += isinstance(event, yaml.CollectionStartEvent)
    except (yaml.YAMLError, ValueError):
        return set()
    return keys


def written(text: str, source: object, renamed: Mapping[str, str] = NONE) -> Written:
    """A YAML text, read but not yet held against a model. Raises BadCase if it cannot be read."""
    page = Written(text, source, {**RENAMED, **renamed})
    try:
        events = yaml.parse(text, Loader=yaml.CSafeLoader)
        _, first = islice(events, 2)
        if isinstance(first, yaml.StreamEndEvent):
            raise BadCase(f"{source}: empty")
        page = replace(page, content=_value(next(events), events, (), page))
        _, last = islice(events, 2)
        if not isinstance(last, yaml.StreamEndEvent):
            page.problems.append((*_at(last), "not YAML: but found another document"))
    except BadCase:
        raise
    except yaml.MarkedYAMLError as error:
        mark, words = told(error)
        page.problems[:] = [(mark.line, mark.column, f"not YAML: {words}")]
    except yaml.reader.ReaderError as error:
        before = text.encode()[: error.position].decode(errors="ignore").split("\n")
        page.problems[:] = [(len(before) - 1, len(before[-1]), f"not YAML: {str(error).splitlines()[0]}")]
    except (yaml.YAMLError, ValueError, OverflowError) as error:  # characters and escapes that YAML does not know
        raise BadCase(f"{source}: not YAML: {str(error).splitlines()[0]}") from error
    if page.problems:
        raise bad(page)
    return page


def _value(event, events, path, page):
    """What an event and those after it say, of Written's types; the page gains their marks, and problems."""
    at = page.marks[path] = _at(event)
    if isinstance(event, yaml.AliasEvent):
        page.problems.append((*at, f"alias '*{event.anchor}' is not allowed; write the value"))
        return None
    if event.tag is not None:
        page.problems.append((*at, f"tag '{event.tag.replace('tag:yaml.org,2002:', '!!')}' is not allowed"))
    if isinstance(event, yaml.ScalarEvent):
        word = _present(f"{path[-1]}: " if path else "", event, "", page)
        if event.style:  # quoted
            return word
        return _number(word, at, page) if NUMBER.fullmatch(word) else WORDS.get(word, word)
    if len(path) == MAX_DEPTH:
        page.problems.append((*at, f"nested more than {MAX_DEPTH} deep"))
        raise bad(page)
    inside = takewhile(lambda event: not isinstance(event, yaml.CollectionEndEvent), events)
    if isinstance(event, yaml.SequenceStartEvent):
        return tuple(_value(member, events, (*path, i), page) for i, member in enumerate(inside))
    return _mapping(inside, events, path, page)


def _number(word, at, page):
    value = float(word)
    if value and not LEAST <= abs(value) <= LARGEST:
        page.problems.append((*at, f"got {word[:40]}, wanted 0 or a size of {LEAST:g} to {LARGEST:g}"))
    return value


def _mapping(keys, events, path, page):
    """Values by the keys, which are events among all events."""
    content: dict[str, Any] = {}
    for key in keys:
        at = _at(key)
        if not isinstance(key, yaml.ScalarEvent) or key.tag is not None:
            page.problems.append((*at, f"{dotted(path)}wanted a key that is a word"))
            raise bad(page)
        name, value = _present("", key, ":", page), next(events)
        if name in content:
            page.problems.append((*at, f"{dotted(path)}key '{name}' is given twice"))
        content[name] = _value(value, events, (*path, name), page)
        page.marks[*path, Key(name)] = at
        if content[name] is None and value.start_mark.index == value.end_mark.index:  # YAML puts it on the next word
            page.marks[*path, name] = at
    return content


def _at(event):
    return event.start_mark.line, event.start_mark.column


def _present(before, event, after, page):
    """Today's name of a key or value, found with what stands around it or alone."""
    (line, column), name = _at(event), event.value
    for start, end in ((before, after), ("", "")):
        called = present_name(f"{start}{name}{end}", page.renamed, f"{page.source}:{line + 1}:{column + 1}")
        name = called.removeprefix(start).removesuffix(end)
    return name


def bad(page: Written, complaints: Complaints = ()) -> BadCase:
    """The error of a text, with its own problems and complaints about what it says, each with the line and a caret."""
    lines, messages = [*page.text.splitlines(), ""], []
    problems = sorted(page.problems + [(*mark(page, place), message) for place, message in complaints])
    for line, column, message in problems[:MAX_MESSAGES]:
        start = max(0, column - 80)
        shown = lines[line][start : start + 120]
        caret = re.sub(r"[^\t]", " ", shown[: column - start]) + "^"
        messages.append(f"{page.source}:{line + 1}:{column + 1}: {message}\n    {shown}\n    {caret}")
    if len(problems) > MAX_MESSAGES:
        messages.append(f"{page.source}: {len(problems) - MAX_MESSAGES} more")
    return BadCase("\n".join(messages))


def path_of(place: tuple) -> tuple:
    """Path of a complaint's place, which may be that of a key."""
    return tuple(part.name if isinstance(part, Key) else part for part in place)


def mark(page: Written, place: tuple) -> tuple[int, int]:
    """Line and column, from 0, of a place, or of the nearest around it that is in the text."""
    place = place if place in page.marks else path_of(place)
    while place not in page.marks:
        place = place[:-1]
    return page.marks[place]


def complaints(error: ValidationError, root: type[BaseModel]) -> Complaints:
    """[(place, message)] of pydantic's error about the model `root`."""
    return [(place, f"{dotted(place)}{message}") for place, message in _complaints(error, root)]


def _complaints(error, root):
    wrong: list = []
    for number, part in enumerate(error.errors(include_url=False)):
        located, about = _located(part["loc"], root), part.get("ctx", {})
        if part["type"] == "too_short" and len(part["input"]) >= about["min_length"]:
            continue  # pydantic does not count members that are wrong, of which it complains too
        if isinstance(cause := about.get("error"), BadValue):
            wrong += [((*located[0], *below), message) for below, message in cause.problems]
        elif number < MAX_MESSAGES:
            wrong.append(_complaint(part, *located))
        else:  # it is only counted, and looking for near words takes long
            wrong.append((located[0], part["msg"]))
        if part["type"].startswith("union_tag") and number < MAX_MESSAGES:
            wrong += [((*located[0], *below), message) for below, message in _beside(part, located[2])]
    return wrong


def _beside(error, variants):
    """Complaints about a block whose tag is missing or wrong: as the variant that was meant, or keys that none has."""
    tag, block = error["ctx"]["discriminator"].strip("'"), error["input"]
    near = nearest(block[tag], variants) if isinstance(block.get(tag), str) else None
    if near is None:
        known = {key for model in variants.values() for key in model.model_fields}
        unknown = [key for key in block if key not in known]
        return [((Key(key),), f"unknown key '{key}'{_near(key, known)}") for key in unknown[:MAX_MESSAGES]]
    try:
        variants[near].model_validate({**block, tag: near})
    except ValidationError as wrong:
        return _complaints(wrong, variants[near])
    return []


def _near(key, known):
    """The question what a key is to be, without all that may be."""
    return f"; {meant(key, sorted(known)).rstrip()}".rstrip("; ")


def _complaint(error, path, model, variants):
    """(place, what is wrong there) of one of pydantic's errors, located as by `_located`."""
    kind, value, about = error["type"], error["input"], error.get("ctx", {})
    around, last = path[:-1], path[-1] if path else None
    if kind == "value_error":
        return path, str(about["error"])
    if kind == "extra_forbidden":
        decimals = "if these are decimals, write a point before them; " if str(last).isdecimal() else ""
        return (*around, Key(str(last))), f"unknown key '{last}'; {decimals}{hint(last, model.model_fields)[2:]}"
    if kind == "missing" and isinstance(last, int):
        return around, f"value number {last + 1} is missing"
    if kind == "missing":
        needed = ", ".join(name for name, field in model.model_fields.items() if field.is_required())
        return around, f"missing key '{last}'; needed: {needed}{getattr(model, 'INSTEAD', NONE).get(str(last), '')}"
    if kind == "union_tag_not_found":
        return path, f"missing key {about['discriminator']}; allowed: {', '.join(variants)}"
    if kind == "union_tag_invalid":
        tag = about["discriminator"].strip("'")
        path, value = (*path, tag), value[tag]
    if kind in ("union_tag_invalid", "literal_error"):
        known = re.findall(r"'([^']*)'", about.get("expected_tags") or about["expected"])
        return path, f"got {_shown(value)}{hint(str(value), known)}"
    if kind == "string_pattern_mismatch":
        return path, f"got {_shown(value)}, wanted the {model.model_fields[last].description}"
    got = f"{about['actual_length']} values" if "actual_length" in about else _shown(value)
    wanted = f"wanted {WANTED[kind].format(**about)}" if kind in WANTED else error["msg"]
    meaning = number_meant(value, str(last)) if kind == "float_type" else ""
    return path, f"got {got}, {wanted.replace('Input should be', 'wanted')}{meaning}"


def _located(loc, root):
    """Path in the file of one of pydantic's locations, the model that holds its last key, and that key's models by tag.

    pydantic puts the name of a union's variant after the union's key; the file has no such level.
    """
    path, model = [], root
    variants: dict = {}
    for i, part in enumerate(loc):
        if part in variants:
            model, variants = variants[part], {}
            continue
        path.append(part)
        if part in model.model_fields:  # else a member of a list, or a word that the file chooses: of the types before
            variants = {_tag(held): held for held in _models(model.model_fields[part].annotation)}
            if len(variants) == 1 and i + 1 < len(loc):
                (model,), variants = variants.values(), {}
    return tuple(path), model, variants


def _models(annotation):
    """The models in a type, those of the members of lists and mappings included."""
    if inspect.isclass(annotation) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for part in typing.get_args(annotation) for model in _models(part)]


def _tag(model):
    """What pydantic calls a model that is a variant of a union: the only word that one of its keys may be."""
    choices = (typing.get_args(field.annotation) for field in model.model_fields.values())
    return next((words[0] for words in choices if len(words) == 1 and isinstance(words[0], str)), model.__name__)


def hint(given: Any, known: Iterable[str]) -> str:
    """The nearest of the known words, with its unit if only that is wrong, and all of them."""
    known = tuple(known)
    return f"; {meant(str(given), known)}allowed: {', '.join(known)}"


def _shown(value):
    """A value as it was written in the file, at most 40 characters; lists and mappings by name only."""
    if isinstance(value, dict | tuple):
        return "keys and values" if isinstance(value, dict) else "a list"
    if value is None or isinstance(value, bool):
        return {None: "nothing", True: "true", False: "false"}[value]
    return repr(value).removesuffix(".0")[:40]
