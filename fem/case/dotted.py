"""Values of a nested mapping by dotted key, as wound.outline.length_mm."""

from typing import Any


def flat(content: dict, *, before: str = "") -> dict[str, Any]:
    """All values by dotted key; lists are values."""
    values: dict[str, Any] = {}
    for key, value in content.items():
        values |= flat(value, before=f"{before}{key}.") if isinstance(value, dict) else {f"{before}{key}": value}
    return values


def get(content: Any, key: str) -> Any:
    """The value of a key, a block among them; None if there is none."""
    for part in key.split("."):
        content = content.get(part) if isinstance(content, dict) else None
    return content


def is_open(content: Any, key: str) -> bool:
    """Whether a key could be added: it is not there, and what is on the way to it has keys."""
    first, _, rest = key.partition(".")
    return isinstance(content, dict) and (first not in content or (bool(rest) and is_open(content[first], rest)))


def put(content: dict, key: str, value: Any) -> dict:
    """The content with a key's value replaced, missing blocks made; ValueError if the key leads through a value."""
    first, _, rest = key.partition(".")
    if not rest:
        return {**content, first: value}
    inside = content.get(first)
    if inside is not None and not isinstance(inside, dict):
        raise ValueError(f"'{first}' has no keys, so none can be set")
    return {**content, first: put(inside or {}, rest, value)}


def without(content: dict, key: str) -> dict:
    """The content without a key."""
    first, _, rest = key.partition(".")
    if rest and isinstance(content.get(first), dict):
        return {**content, first: without(content[first], rest)}
    return {name: value for name, value in content.items() if name != first or rest}
