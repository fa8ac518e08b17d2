"""Words for what is often written instead: terms of the trade for keys and kinds, YAML's complaints, decimal commas."""

import re
from collections.abc import Collection, Iterable
from difflib import get_close_matches

from yaml import Mark, MarkedYAMLError

UNITS = {"N_per_m": "N/m", "kPa_per_mm": "kPa/mm", "kPa": "kPa", "mm": "mm", "deg": "degrees", "s": "seconds"}
SYNONYMS = {  # what a key or a word is called here -> what others call it, without units
    "lens": "fusiform elliptical elliptic spindle almond leaf", "circle": "round disc disk", "ellipse": "oval ovoid",
    "rhombus": "diamond", "teardrop": "drop tear", "crescent": "crescentic", "lazy-s": "s-shaped s-plasty sigmoid",
    "lens-with-m": "m-plasty", "slit": "line incision linear", "traced": "outline-file svg photo freehand",
    "side-to-side": "primary direct linear simple edge-to-edge", "trimmed": "dog-ear dog-ears standing-cone",
    "purse-string": "pursestring cerclage", "v-y": "island v-to-y", "a-to-t": "o-t o-to-t a-t",
    "rhombic": "transposition rhomboid", "two-sided-advancement": "bilateral h-plasty", "advancement": "u-plasty",
    "wound": "excision defect", "outline": "shape form excision", "lesion": "tumour tumor mole naevus",
    "undermine_mm": "undermining undermined undermine dissection", "sutures": "stitches stitch",
    "running": "continuous subcuticular intradermal", "interrupted": "single separate simple-interrupted",
    "lines_deg": "rstl langer tension_lines direction orientation", "site": "region location body_site area",
    "tension": "pretension prestress", "bed": "fat subcutis base", "taper": "buried", "closure": "repair technique",
}  # fmt: skip
PLAIN = [  # YAML's words -> plain ones
    ("found a tab character", "a tab; only spaces may be in front of a key or a value"),
    ("cannot start any token", "a tab, or a character with which only a value in quotes may begin"),
    (
        "mapping values are not allowed",
        "a second 'key:' in one value; is it indented as its neighbours, with a space after each colon?",
    ),
    ("expected key|expected '-' indicator", "this line starts in another column than the others of its block"),
    ("could not find expected ':'", "no 'key: value'; a colon, then a space, is missing"),
    ("expected ',' or '([]}])'", "a comma or the {} that closes this is missing"),
    ("unexpected end of stream", "a quotation mark that is not closed"),
]
BEGUN = PLAIN[4:]  # of these the mistake is where YAML began to read it


def told(error: MarkedYAMLError) -> tuple[Mark, str]:
    """Where the mistake in a YAML text is, and what it is, in plain words where they are known."""
    for pattern, words in PLAIN:
        if match := re.search(pattern, str(error.problem)):
            began = (pattern, words) in BEGUN and error.context_mark
            return began or error.problem_mark, words.format(*match.groups())
    return error.problem_mark or error.context_mark, str(error.problem)


def number_meant(value: object, key: str = "") -> str:
    """What to write for a number with a decimal comma, or with its key's unit behind it; nothing for anything else."""
    unit = re.escape(UNITS.get(_ends([key])[key], "-"))
    read = isinstance(value, str) and re.fullmatch(rf"([-+]?\d+([.,]\d+)?)(\s*{unit})?", value, re.ASCII)
    return f"; write {read[1].replace(',', '.')}" if read and ("," in read[1] or read[3]) else ""


def nearest(given: str, known: Collection[str]) -> str | None:
    """The known word that was meant, by its unit, as a synonym, or by its letters."""
    ends = _ends(known)
    if same := [name for name, end in ends.items() if end and f"{given}_".startswith(name.removesuffix(end))]:
        return same[0]
    word = given.lower().removesuffix("_" + (_ends([given])[given] or "none"))
    alike = {word, word.replace("_", "-"), word.replace("-", "_"), word.replace(" ", "-")}
    synonyms = [name for name, others in SYNONYMS.items() if name in known and alike & set(others.split())]
    return next(iter(synonyms or get_close_matches(given, known, n=1)), None)


def meant(given: str, known: Collection[str]) -> str:
    """The question whether another word was meant, with its unit if only that is wrong; nothing if none is near."""
    near = nearest(given, known)
    end = _ends(known)[near] if near else ""
    unit = f", in {UNITS[end]}" if near and end and f"{given}_".startswith(near.removesuffix(end)) else ""
    return f"did you mean {near!r}{unit}? " if near else ""


def _ends(names: Iterable[str]) -> dict[str, str]:
    """The unit that each name ends with, or nothing."""
    return {name: max((u for u in UNITS if name.endswith(f"_{u}")), key=len, default="") for name in names}
