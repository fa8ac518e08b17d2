"""Answers to what a study is asked: charts as SVG, tables of words and plain sentences, each made from numbers.

An answer is a function of its block, the study and `ask`, which gives a row for each settings: its status, failure,
reason, inputs and measures, as in `table`. What no case could be made of is a failed row.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from matplotlib import rc_context

from fem.case import case as cases
from fem.case import site
from fem.comparison import chart
from fem.errors import BadCase
from fem.results.result import label, shown, split, unit
from fem.study.sweep import case_at
from fem.study.sweep import shown as in_words

ALONG, ACROSS = "skin.tension.along_N_per_m", "skin.tension.across_N_per_m"
NAMES = {  # of inputs that are often varied; others are called by their block and key
    "wound.outline": "outline",
    "wound.outline.kind": "outline",
    "wound.outline.length_mm": "length of the wound",
    "wound.outline.width_mm": "width of the wound",
    "closure.technique": "technique",
    "closure.undermine_mm": "undermining",
    "skin.site": "site",
    "skin.thickness_mm": "thickness of the skin",
    "skin.law.shear_kPa": "shear modulus of the skin",
    ALONG: "tension along the lines",
    ACROSS: "tension across the lines",
    site.RATIO: "ratio of tensions",
    "skin.tension.lines_deg": "direction of the lines",
    "bed.fat_mm": "thickness of the fat",
    "bed.fat_shear_kPa": "shear modulus of the fat",
}
Ask = Callable[[list[dict]], list[dict]]


@dataclass(frozen=True)
class Drawn:
    """A chart, and what it shows in words."""

    svg: str
    words: str


@dataclass(frozen=True)
class Table:
    """Rows of words below their headings."""

    caption: str
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Finding:
    """An answer."""

    title: str
    said: tuple[str, ...] = ()
    charts: tuple[Drawn, ...] = ()
    tables: tuple[Table, ...] = ()
    notes: tuple[str, ...] = ()  # how it was found, what it rests on


# Asking -------------------------------------------------------------------------------------------------------


def asking(study, evaluate) -> Ask:
    """A function that gives a row for each settings of a study's base, evaluated all at once."""

    def ask(wanted):
        made = [made_case(study, settings) for settings in wanted]
        rows = iter(evaluate([one for one in made if isinstance(one, cases.Case)]))
        refused = {"status": "failed", "failure": "no case"}
        return [next(rows) if isinstance(one, cases.Case) else refused | {"reason": one} for one in made]

    return ask


def made_case(study, settings):
    """The case at settings, or the reason why there is none."""
    try:
        return case_at(study, with_tensions(study, settings))
    except BadCase as error:
        return first_complaint(error)


def first_complaint(error):
    """What a BadCase says first, without its place in a file."""
    return re.sub(r"^.*?:\d+:\d+: ", "", str(error).splitlines()[0])


def with_tensions(study, settings):
    """Settings with the tension across the lines instead of the ratio of tensions, which is no key of a case."""
    if site.RATIO not in settings:
        return settings
    rest = {path: value for path, value in settings.items() if path != site.RATIO}
    along = settings[ALONG] if ALONG in settings else case_at(study, rest).skin.tension.along_N_per_m
    return rest | {ACROSS: along / settings[site.RATIO]}


def values(rows, measure):
    """A measure (n,) in rows, NaN where it is not known."""
    return np.array([np.nan if row.get(measure) is None else row[measure] for row in rows], float)


def drawing(draw, told, /, *args, **options) -> Drawn:
    """A chart of `graph`, drawn in the style of all charts."""
    with rc_context(chart.STYLE):  # type: ignore[arg-type]
        return Drawn(chart.svg(draw(*args, **options)), told)


# Words --------------------------------------------------------------------------------------------------------


def sentence(words):
    """Words that begin with a capital letter."""
    return words[:1].upper() + words[1:]


def name(path):
    """An input or a measure in words: of an input not in NAMES the last block of its path and its key, without unit."""
    if "." not in path:
        return _one_phrase(label(path))
    *_, block, key = path.split(".")
    return NAMES.get(path, f"{block} {split(key)[0].replace('_', ' ')}")


def _one_phrase(words):
    """A label whose afterthoughts, behind a comma or semicolon, are in brackets."""
    first, *rest = re.split(r"[,;] ", words, maxsplit=1)
    return f"{first} ({rest[0]})" if rest else first


def unit_of(path):
    """The unit of an input as it is written; those of measures are among them."""
    return "kPa/mm" if path.endswith("_kPa_per_mm") else unit(path)


def value(path, given):
    """A value of an input as it is printed, with its unit."""
    if isinstance(given, dict):  # a block: what it is comes first, as {kind: lens, ...}
        return in_words(given)
    words = f"{given:.4g}" if isinstance(given, float) else in_words(given)
    return f"{words} {unit_of(path)}".strip() if isinstance(given, float) else words


def measured(measure, number):
    """A measure's number as it is printed, with its unit."""
    return shown(measure, None) if np.isnan(number) else f"{shown(measure, number)} {unit(measure)}".strip()


def heading(path):
    """An input or a measure in words, with its unit."""
    return f"{name(path)}, {unit_of(path)}" if unit_of(path) else name(path)


def settings_in_words(settings):
    """Settings in one line."""
    return ", ".join(f"{name(path)} {value(path, given)}" for path, given in settings.items()) or "as in the base"


def failures(rows):
    """A sentence on the rows that have no result, none if all have."""
    lost = [row for row in rows if row["status"] != "done"]
    if not lost:
        return ()
    kinds = [row.get("failure") or "not known why" for row in lost]
    counts = ", ".join(f"{kind}: {kinds.count(kind)}" for kind in dict.fromkeys(kinds))
    return (f"{len(lost)} of {len(rows)} cases have no closure ({counts}); the first: {lost[0].get('reason')}",)
