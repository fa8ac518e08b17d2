"""The library of skin sites and bench materials, `sites.yaml`: what a case that names one leaves out; ranges of all."""

from math import isclose
from pathlib import Path
from typing import Annotated, Any, Literal, Self

import numpy as np
from annotated_types import MinLen
from pydantic import model_validator

from fem.case import document, dotted, physical
from fem.case.document import Block
from fem.material.laws import LAWS

Words = Annotated[str, MinLen(1)]
WAYS = "along", "across"
STRETCHES = [f"skin.tension.{way}_stretch" for way in WAYS]  # natural stretch, as keys of a case
TENSIONS = [f"skin.tension.{way}_N_per_m" for way in WAYS]
MODULUS = "skin.law.shear_kPa"  # which follows, of a law that has no other
AS_SITE = "site"  # a surface of the patch that is that of the site
NEAR = 1e-4  # relative; our choice: a stretch that is kept as a tension is as good as the same


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


class Body(Block):
    """How a site is curved, typically."""

    kind: Literal["cylinder", "sphere"]
    radius_mm: Value


class Site(Block):
    """Skin of one site, or a material; without natural stretch, tension and the fat of a bed unless given."""

    about: Words
    body: Body | None = None
    thickness_mm: Value
    law: Law | None = None  # that of the library
    young_kPa: Value | None = None  # that a test measured, to be held against the law's
    stretch: dict[str, Value] | None = None
    tension: dict[str, Value] | None = None
    bed: dict[str, Value] | None = None
    undermine_mm: Value | None = None  # that of the library


class Library(Block):
    """All of sites.yaml."""

    papers: dict[str, Words]
    law: Law
    age: dict[str, Value]
    fat: dict[str, Value]
    undermine_mm: Value
    anywhere: Site
    sites: dict[str, Site]
    bench: dict[str, Site]


PATH = Path(__file__).parent / "sites.yaml"
LIBRARY = document.parse(document.read(PATH), Library, PATH)
SITES = LIBRARY.sites | LIBRARY.bench


def law(entry: Site) -> Law:
    """The law of an entry, its own or the library's."""
    return entry.law or LIBRARY.law


def undermining(entry: Site) -> Value:
    """How far skin of an entry is usually undermined beside a wound, mm: its own or the library's."""
    return entry.undermine_mm or LIBRARY.undermine_mm


def values(entry: Site) -> dict[str, Value]:
    """Every value of an entry, by the dotted key that a case has for it."""
    tension = {f"{way}_stretch": value for way, value in (entry.stretch or {}).items()} | (entry.tension or {})
    skin = {"thickness_mm": entry.thickness_mm, "law": law(entry).parameters, "tension": tension}
    return dotted.flat({"skin": skin, "bed": fat(entry)})


def fat(entry: Site) -> dict[str, Value]:
    """What a case's `bed` takes from an entry and all fat; nothing without a bed."""
    return entry.bed | LIBRARY.fat if entry.bed else {}


def springs(*, fat_mm: float, fat_shear_kPa: float, fat_poisson: float) -> tuple[float, float, float]:
    """Stiffness of fat against pressing, confined, lifting, E / H, and sliding, G / H, kPa/mm; reasons: README."""
    shear = fat_shear_kPa / fat_mm
    pull = 2 * (1 + fat_poisson) * shear
    return confined(fat_poisson) * pull, pull, shear


def confined(poisson: float) -> float:
    """Stiffness of a layer that cannot give way sideways per that of one that can: modulus over Young's modulus."""
    return (1 - poisson) / ((1 + poisson) * (1 - 2 * poisson))


def filled(content: Any) -> Any:
    """The content of a case file, what it leaves out taken from its site; `from_site` lists the keys taken.

    A `surface: site` of its patch is replaced by the typical body, as if it had been written.

    Content without a site, or with `from_site` (written by this program, so nothing is left out), stays as it is.
    For an unknown site the values of no particular one stand in, so its name is the one complaint.
    """
    content = on_its_body(content)
    name = dotted.get(content, "skin.site")
    if name is None or "from_site" in content:
        return content
    entry, taken = SITES.get(str(name), LIBRARY.anywhere), []
    for offered in (_typical, _following):
        settled = _settled(content, entry)
        for key, value in offered(content, entry).items():
            if not key.startswith(settled) and dotted.is_open(content, key):
                content = dotted.put(content, key, value)
                taken.append(key)
    return content | {"from_site": tuple(taken)}


def on_its_body(content: Any) -> Any:
    """The content of a case file, a `surface: site` of its patch replaced by the site's typical body."""
    entry = SITES.get(str(dotted.get(content, "skin.site")))
    if dotted.get(content, "patch.surface") != AS_SITE or entry is None or entry.body is None:
        return content
    body = {"kind": entry.body.kind, "radius_mm": entry.body.radius_mm.typical}
    return dotted.put(content, "patch.surface", body)


def fillable(entry: Site) -> set[str]:
    """The dotted keys of a case that an entry may fill."""
    return {"skin.law.kind", MODULUS, *TENSIONS, *values(entry)}


def natural_stretch(entry: Site, *, age: float | None = None) -> np.ndarray:
    """Typical stretch (2,) of an entry's skin in place along and across the lines; without an age, that of all.

    Source of its change with age, which moves both alike: Kerns 2008, see sites.yaml.
    """
    typical = np.array([entry.stretch[way].typical if entry.stretch else 1.0 for way in WAYS])
    if age is None:
        return typical
    known, shrinkage = LIBRARY.age, 1 - 1 / typical
    left = 1 - known["percent_a_year"].typical / 100 * (age - known["mean"].typical) / shrinkage[0]
    return 1 / (1 - shrinkage * max(left, 0.0))


def _typical(content, entry):
    """Kind of law and typical values by dotted key, but for tension, which follows from the stretch."""
    rest = {key: value.typical for key, value in values(entry).items() if key not in TENSIONS}
    return {"skin.law.kind": law(entry).kind} | rest


def _following(content, entry):
    """What follows from typical stretch and tension: the modulus of a law that has one; tension, at the case's age."""
    law, h, age = (dotted.get(content, f"skin.{key}") for key in ("law", "thickness_mm", "age_years"))
    if not entry.stretch or not isinstance(law, dict):
        return {}
    moduli = [key for key in law if key.endswith("_kPa")]
    modulus, carried = 1.0, [0.0, 0.0]  # these stand in where something is bad, which shall be the one complaint
    try:
        with np.errstate(all="ignore"):  # parameters are not checked yet
            chosen = physical.law({"shear_kPa": 1.0} | law)
            typical, _ = physical.pretension_N_per_m(chosen, natural_stretch(entry), h=h)
            carried = physical.pretension_N_per_m(chosen, natural_stretch(entry, age=age), h=h)
        if not moduli and typical > 0:
            modulus = float(f"{entry.tension['along_N_per_m'].typical / typical:.7g}")
    except KeyError:  # something is missing
        return {}
    except (TypeError, ValueError, ArithmeticError):
        pass
    tensions = {key: modulus * tension for key, tension in zip(TENSIONS, carried, strict=True)}
    return tensions if moduli else {MODULUS: modulus} | tensions


def _settled(content, entry):
    """Beginnings of keys that a site does not fill: of another law, tension where stretch is given, all springs."""
    given = {key for key, value in dotted.flat(content).items() if value is not None}
    other = dotted.get(content, "skin.law.kind") not in (None, law(entry).kind)
    keys = [f"skin.law.{name}" for name in law(entry).parameters if other]
    keys += TENSIONS if given & set(STRETCHES) else STRETCHES
    return (*keys, *(["bed."] if given >= {"bed.pull_kPa_per_mm", "bed.shear_kPa_per_mm"} else []))


def warnings(content: dict[str, Any], stretch: np.ndarray) -> list[str]:
    """What is unusual about a resolved case's content and skin's `stretch` (2,): outside the ranges of its site."""
    name, taken = content["skin"]["site"], set(content["from_site"] or ())
    entry, where = (SITES[name], name) if name else (LIBRARY.anywhere, "skin of any site")
    given = dotted.flat(content) | dict(zip(STRETCHES, stretch.tolist(), strict=True))
    other = given["skin.law.kind"] != law(entry).kind
    skip = (*(["skin.law."] if other else []), *(TENSIONS if name else []))  # the stretch says it for both
    known = {k: v for k, v in values(entry).items() if given.get(k) is not None and not k.startswith(skip)}
    aged, stretched = natural_stretch(entry, age=given["skin.age_years"]), taken >= set(TENSIONS)
    typical = _typical(content, entry) | dict(zip(STRETCHES, aged.tolist(), strict=True))
    idle = given["skin.age_years"] is not None and not stretched
    return [
        *["skin.age_years changes nothing, for tension or stretch is given"] * idle,
        *(
            f"{key} {given[key]:.4g} is outside {held.low:g} to {held.high:g} of {where} ({held.tag}: {held.source})"
            for key, held in known.items()
            if not held.low <= given[key] <= held.high
        ),
        *(
            f"{key} {given[key]:g} is said to be from {name}, where it is {typical[key]:g}"
            for key in known
            if (key in taken or (stretched and key in STRETCHES))
            and not isclose(given[key], typical[key], rel_tol=NEAR)
        ),
    ]
