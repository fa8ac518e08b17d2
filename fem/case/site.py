"""The library of skin sites and bench materials: what a case that names one leaves out, and the ranges of all.

The values stand in `sites.yaml` beside this file, each with its range, its source and how far that is to be trusted.
"""

import textwrap
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from annotated_types import MinLen
from pydantic import BaseModel, ConfigDict, model_validator

from fem.case import document, dotted
from fem.material.laws import LAWS

FIXED = ConfigDict(frozen=True, strict=True, extra="forbid", allow_inf_nan=False)
Words = Annotated[str, MinLen(1)]
RATIO = "skin.tension.along_to_across"  # follows from a case's tension; no key of a case
LIFT = 6.5  # normal stiffness of a bonded fat layer per G/H, see `springs`


# What the file holds --------------------------------------------------------------------------------------


class Value(BaseModel):
    """A value with its range, its source and how far to trust it."""

    model_config = FIXED
    low: float
    typical: float
    high: float
    source: Words
    tag: Literal["read", "from memory", "our choice"]

    @model_validator(mode="after")
    def ordered(self) -> Self:
        """Refuse a typical value outside its range."""
        if not self.low <= self.typical <= self.high:
            raise ValueError(f"wanted low <= typical <= high, got {self.low:g}, {self.typical:g}, {self.high:g}")
        return self


class Law(BaseModel):
    """A law of elasticity and its parameters."""

    model_config = FIXED
    kind: Literal[tuple(LAWS)]  # type: ignore[valid-type]
    parameters: dict[str, Value]


class Tension(BaseModel):
    """Natural tension and its ratio."""

    model_config = FIXED
    along_N_per_m: Value
    across_N_per_m: Value
    along_to_across: Value


class Fat(BaseModel):
    """The fat that the skin lies on."""

    model_config = FIXED
    fat_mm: Value
    fat_shear_kPa: Value


class Site(BaseModel):
    """Skin of one site, or a material; without tension and bed unless given."""

    model_config = FIXED
    about: Words
    thickness_mm: Value
    law: Law
    tension: Tension | None = None
    bed: Fat | None = None


class Library(BaseModel):
    """All of sites.yaml."""

    model_config = FIXED
    papers: dict[str, Words]
    anywhere: Site
    sites: dict[str, Site]
    bench: dict[str, Site]


PATH = Path(__file__).parent / "sites.yaml"
LIBRARY = document.parse(document.read(PATH), Library, PATH)
SITES = LIBRARY.sites | LIBRARY.bench


def values(entry: Site) -> dict[str, Value]:
    """Every value of an entry, by the dotted key that a case has for it."""
    named = {"skin.thickness_mm": entry.thickness_mm}
    named |= {f"skin.law.{key}": value for key, value in entry.law.parameters.items()}
    for block, held in (("skin.tension", entry.tension), ("bed", entry.bed)):
        if held is not None:
            named |= {f"{block}.{key}": value for key, value in held}
    return named


def springs(*, fat_mm: float, fat_shear_kPa: float) -> tuple[float, float]:
    """Stiffness per area of a layer of fat between skin and fascia against lifting and sliding, kPa/mm.

        k_s = G / H,    k_n = 6.5 G / H

    fat_mm          thickness H, mm
    fat_shear_kPa   shear modulus G, kPa

    k_s is simple shear. k_n: fat keeps its volume and sticks to both faces, so there is no single modulus: a long
    wave w cos kx of the skin must squeeze fat sideways, k_n -> 12 G / (k^2 H^3), and a short one deforms only the top,
    k_n -> 2 G k. Between them, for skin that does not stretch along the wave (x = k H),

        k_n = 2 G k (sinh 2x + 2x) / (cosh 2x - 1 - 2x^2),

    which is least, 6.5 G / H, at x = 2.45, a wave of 2.6 H: the wave that skin finds easiest to follow; on 10 mm of
    fat, about the width of a cone. An unconfined layer, 3 G / H, would be too soft; a confined one, infinitely stiff.
    Source: plane incompressible elasticity, solved in the tests; taking the least value is our choice. Twice as much
    acts as fat of half the thickness does against lifting.
    """
    shear = fat_shear_kPa / fat_mm
    return LIFT * shear, shear


# A case and its site --------------------------------------------------------------------------------------


def filled(content: Any) -> Any:
    """The content of a case file, what it leaves out taken from its site; `from_site` lists the keys taken.

    Content without a site, or with `from_site` (written by this program, so nothing is left out), stays as it is.
    For an unknown site the values of no particular one stand in, so its name is the one complaint.
    """
    skin = content.get("skin") if isinstance(content, dict) else None
    if not isinstance(skin, dict) or skin.get("site") is None or "from_site" in content:
        return content
    entry = SITES.get(str(skin["site"]), LIBRARY.anywhere)
    full, taken = content, []
    for key, value in _open(offered(entry), entry.law.kind, content).items():
        if dotted.is_open(full, key):
            full = dotted.put(full, key, value)
            taken.append(key)
    return full | {"from_site": tuple(taken)}


def offered(entry: Site) -> dict[str, str | float]:
    """What an entry fills in: kind of law and typical values, by the dotted keys of a case."""
    typical = {key: value.typical for key, value in values(entry).items() if key != RATIO}
    return {"skin.law.kind": entry.law.kind} | typical


def _open(wanted, kind, content):
    """Of the wanted keys, no law beside another kind, no tension beside stretches, no fat below two springs."""
    chosen, bed, tension = content["skin"].get("law"), content.get("bed"), content["skin"].get("tension")
    settled = []
    if isinstance(chosen, dict) and chosen.get("kind", kind) != kind:
        settled.append("skin.law.")
    if isinstance(bed, dict) and {"normal_kPa_per_mm", "shear_kPa_per_mm"} <= bed.keys():
        settled.append("bed.")
    if isinstance(tension, dict) and {"along_stretch", "across_stretch"} & tension.keys():
        settled.append("skin.tension.")
    return {key: value for key, value in wanted.items() if not key.startswith(tuple(settled))}


def warnings(content: dict[str, Any]) -> list[str]:
    """What is unusual about the resolved content of a case, a line each: values outside the ranges of its site."""
    name = content["skin"]["site"]
    entry, where = (SITES[name], name) if name else (LIBRARY.anywhere, "skin of any site")
    given, known = _given(content), values(entry)
    if content["skin"]["law"]["kind"] != entry.law.kind:
        known = {key: value for key, value in known.items() if not key.startswith("skin.law.")}
    lines = [
        f"{key} {given[key]:g} is outside {value.low:g} to {value.high:g} of {where} ({value.tag}: {value.source})"
        for key, value in known.items()
        if key in given and not value.low <= given[key] <= value.high
    ]
    lines += [
        f"{key} {given[key]:g} is said to be from {name}, where it is {known[key].typical:g}"
        for key in content["from_site"] or ()
        if key in known and key in given and given[key] != known[key].typical
    ]
    return lines


def _given(content):
    """Numbers of a case's skin and bed by dotted key, and the ratio of its tensions."""
    skin, bed = content["skin"], content["bed"] or {}
    blocks = {"skin": skin, "skin.law": skin["law"], "skin.tension": skin["tension"], "bed": bed}
    given = {
        f"{block}.{key}": value for block, held in blocks.items() for key, value in held.items()
        if isinstance(value, float)
    }  # fmt: skip
    along, across = given["skin.tension.along_N_per_m"], given["skin.tension.across_N_per_m"]
    return given | ({RATIO: along / across} if across > 0 else {})


# The library to read --------------------------------------------------------------------------------------

HEADINGS = "site", "skin mm", "law", "parameters", "along N/m", "across N/m", "ratio", "fat mm", "fat shear kPa"


def rows() -> list[tuple[str, ...]]:
    """Typical values of all sites and bench materials, a row of words each under HEADINGS."""
    table = []
    for name, entry in SITES.items():
        law = ", ".join(f"{key} {value.typical:g}" for key, value in entry.law.parameters.items())
        rest = [getattr(entry.tension, key, None) for key in Tension.model_fields]
        rest += [getattr(entry.bed, key, None) for key in Fat.model_fields]
        cells = ["-" if value is None else f"{value.typical:g}" for value in rest]
        table.append((name, f"{entry.thickness_mm.typical:g}", entry.law.kind, law, *cells))
    return table


def report(name: str, *, width: int) -> str:
    """One entry as text: each value, its range, its tag and its source, wrapped to `width` columns."""
    entry = SITES[name]
    known = values(entry)
    size = max(map(len, known))
    lines = [*textwrap.wrap(f"{name}: {entry.about}", width), f"  {'skin.law.kind':<{size}}  {entry.law.kind}"]
    for key, value in known.items():
        spread = f"{value.low:g} to {value.high:g}"
        lines.append(f"  {key:<{size}}  {value.typical:<7g}{spread:<16}{value.tag}")
        lines += textwrap.wrap(value.source, width, initial_indent=" " * 6, subsequent_indent=" " * 6)
    if entry.bed is not None:
        fat = {key: value.typical for key, value in entry.bed}
        normal, shear = springs(**fat)
        lines += [f"  bed from this fat: normal {normal:.3g} kPa/mm, shear {shear:.3g} kPa/mm"]
    told = " ".join(value.source for value in known.values())
    cited = [f"{paper}: {full}" for paper, full in LIBRARY.papers.items() if paper in told]
    for line in ["", "Papers", *cited] if cited else []:
        lines += textwrap.wrap(line, width, initial_indent="  ", subsequent_indent="      ") or [""]
    return "\n".join(lines)
