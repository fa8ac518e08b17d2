"""The library of skin sites and bench materials, `sites.yaml`: what a case that names one leaves out; ranges of all."""

from pathlib import Path
from typing import Annotated, Any, Literal, Self

from annotated_types import MinLen
from pydantic import model_validator

from fem.case import document, dotted
from fem.case.document import Block
from fem.material.laws import LAWS

Words = Annotated[str, MinLen(1)]
RATIO = "skin.tension.along_to_across"  # follows from a case's tension; no key of a case
LIFT = 6.5  # normal stiffness of a bonded fat layer per G/H, see `springs`


class Value(Block):
    """A value with its range, its source and how far to trust it."""

    low: float
    typical: float
    high: float
    source: Words
    tag: Literal["read", "from memory", "our choice"]

    @model_validator(mode="after")
    def ordered(self) -> Self:
        if not self.low <= self.typical <= self.high:
            raise ValueError(f"wanted low <= typical <= high, got {self.low:g}, {self.typical:g}, {self.high:g}")
        return self


class Law(Block):
    """A law of elasticity and its parameters."""

    kind: Literal[tuple(LAWS)]  # type: ignore[valid-type]
    parameters: dict[str, Value]


class Site(Block):
    """Skin of one site, or a material; without tension and the fat of a bed unless given."""

    about: Words
    thickness_mm: Value
    law: Law
    tension: dict[str, Value] | None = None
    bed: dict[str, Value] | None = None


class Library(Block):
    """All of sites.yaml."""

    papers: dict[str, Words]
    anywhere: Site
    sites: dict[str, Site]
    bench: dict[str, Site]


PATH = Path(__file__).parent / "sites.yaml"
LIBRARY = document.parse(document.read(PATH), Library, PATH)
SITES = LIBRARY.sites | LIBRARY.bench


def values(entry: Site) -> dict[str, Value]:
    """Every value of an entry, by the dotted key that a case has for it."""
    skin = {"thickness_mm": entry.thickness_mm, "law": entry.law.parameters, "tension": entry.tension or {}}
    return dotted.flat({"skin": skin, "bed": entry.bed or {}})


def springs(*, fat_mm: float, fat_shear_kPa: float) -> tuple[float, float]:
    """Stiffness of fat against lifting, 6.5 G / H, and sliding, G / H, kPa/mm; derivation: README."""
    shear = fat_shear_kPa / fat_mm
    return LIFT * shear, shear


def filled(content: Any) -> Any:
    """The content of a case file, what it leaves out taken from its site; `from_site` lists the keys taken.

    Content without a site, or with `from_site` (written by this program, so nothing is left out), stays as it is.
    For an unknown site the values of no particular one stand in, so its name is the one complaint.
    """
    name = dotted.get(content, "skin.site")
    if name is None or "from_site" in content:
        return content
    entry, taken = SITES.get(str(name), LIBRARY.anywhere), []
    settled = _settled(content, entry)
    for key, value in offered(entry).items():
        if not key.startswith(settled) and dotted.is_open(content, key):
            content = dotted.put(content, key, value)
            taken.append(key)
    return content | {"from_site": tuple(taken)}


def offered(entry: Site) -> dict[str, str | float]:
    """What an entry fills in: kind of law and typical values, by the dotted keys of a case."""
    return {"skin.law.kind": entry.law.kind} | {k: v.typical for k, v in values(entry).items() if k != RATIO}


def _settled(content, entry):
    """Blocks to which a site adds nothing: a law of another kind, a tension by stretches, a bed of two springs."""
    given = {key for key, value in dotted.flat(content).items() if value is not None}
    blocks = {
        "skin.law.": dotted.get(content, "skin.law.kind") not in (None, entry.law.kind),
        "skin.tension.": given & {"skin.tension.along_stretch", "skin.tension.across_stretch"},
        "bed.": given >= {"bed.normal_kPa_per_mm", "bed.shear_kPa_per_mm"},
    }
    return tuple(block for block, settled in blocks.items() if settled)


def warnings(content: dict[str, Any]) -> list[str]:
    """What is unusual about the resolved content of a case, a line each: values outside the ranges of its site."""
    given, name = dotted.flat(content), content["skin"]["site"]
    entry, where = (SITES[name], name) if name else (LIBRARY.anywhere, "skin of any site")
    if (across := given["skin.tension.across_N_per_m"]) > 0:
        given[RATIO] = given["skin.tension.along_N_per_m"] / across
    known = {key: value for key, value in values(entry).items() if given.get(key) is not None}
    if given["skin.law.kind"] != entry.law.kind:
        known = {key: value for key, value in known.items() if not key.startswith("skin.law.")}
    return [
        f"{key} {given[key]:g} is outside {value.low:g} to {value.high:g} of {where} ({value.tag}: {value.source})"
        for key, value in known.items()
        if not value.low <= given[key] <= value.high
    ] + [
        f"{key} {given[key]:g} is said to be from {name}, where it is {known[key].typical:g}"
        for key in content["from_site"] or ()
        if key in known and given[key] != known[key].typical
    ]
