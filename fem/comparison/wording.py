"""Numbers → sentences, by the templates in the folders `text` of packages.

A macro of a template is a few sentences, each on a line of its own, with their conditions on the numbers. Numbers are
printed as everywhere, and what is compared is compared as printed, so that a reader with the table finds the same.
"""

import re
from collections.abc import Callable, Sequence
from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from markupsafe import Markup, escape

from fem.results.quantities import plus_minus, shown, unit

NOTE = "For research and teaching; not a medical device."  # where the whole caution has no room
DIGITS = 17  # that tell any two numbers apart
CONE = "cone_height_mm"
COUNTS = "no", "one", "two", "three", "four", "five", "six"


@cache
def environment() -> Environment:
    """Templates of all packages: HTML and SVG escape what is put in, and none takes what is missing for empty."""
    made = Environment(
        loader=PackageLoader("fem", "."),
        autoescape=select_autoescape(["html", "svg"]),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters |= {
        "unit": lambda value, name: unitful(name, value),
        "plus_minus": lambda error: plus_minus(error) or "0",
        "printed": lambda value, name: printed(name, value),
        **{function.__name__: function for function in (high, capital, count, together, alike, quoted, breakable)},
    }
    return made


def sentences(template: str, macro: str, *values: Any) -> list[str]:
    """The lines that a macro makes of values; the template "teaching/bench" is in teaching/text/bench.txt."""
    written = getattr(environment().get_template(f"{template.replace('/', '/text/')}.txt").module, macro)(*values)
    return [line for line in str(written).splitlines() if line]


def sentence(template: str, macro: str, *values: Any) -> str:
    """The lines that a macro makes of values, as one."""
    return " ".join(sentences(template, macro, *values))


def unitful(name: str, value: float | None) -> str:
    """A number with its unit, as printed."""
    mark = unit(name)
    return f"{shown(name, value)}{'' if mark == '°' else ' '}{mark}".rstrip()


def high(height: float) -> str:
    """The height of a cone: so high, or so deep where it is sunk."""
    return f"{unitful(CONE, abs(height))} {'high' if printed(CONE, height) >= 0 else 'deep'}"


def printed(name: str, value: float) -> float:
    """A number as it is printed."""
    return float(shown(name, value).replace("−", "-"))


def told_apart(values: Sequence[Any], write: Callable[[Any, int], str], *, digits: int) -> list[str]:
    """Words of each value, write(value, digits): with the fewest digits, from `digits` on, that tell all values apart.

    Values that are alike in all of them are numbered, so that two have the same words only if they are the same.
    """
    different = {repr(value): value for value in values}
    for n in range(digits, DIGITS + 1):
        texts = {key: write(value, n) for key, value in different.items()}
        if len(set(texts.values())) == len(texts):
            break
    else:
        texts = {key: f"{text} (no. {i})" for i, (key, text) in enumerate(texts.items(), start=1)}
    return [texts[repr(value)] for value in values]


def capital(text: str) -> str:
    """A text that begins with a capital letter."""
    return text[:1].upper() + text[1:]


def count(n: int) -> str:
    """A small number in letters."""
    return COUNTS[n] if n < len(COUNTS) else str(n)


def together(parts: Sequence[str]) -> str:
    """Parts joined as "a, b and c"."""
    *first, last = parts
    return f"{', '.join(first)} and {last}" if first else last


def alike(parts: Sequence[str]) -> str:
    """Parts joined, or once if all are the same."""
    return f"each {parts[0]}" if len(parts) > 1 and len(set(parts)) == 1 else together(parts)


def quoted(names: Sequence[str]) -> str:
    """Names of closures in a sentence."""
    return together([f"“{name}”" for name in names])


def breakable(key: str) -> Markup:
    """A dotted key in HTML, where lines may break after its points and underscores."""
    return Markup(re.sub(r"(?<=[._])", "<wbr>", str(escape(key))))
