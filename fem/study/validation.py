"""What was observed on skin beside what the library's skins give: a closure a wound, site and skin, and a table."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from itertools import product
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from annotated_types import MinLen
from scipy.optimize import brentq

from fem.case import document, dotted, physical
from fem.case.case import Case
from fem.case.document import Block
from fem.case.site import LIBRARY, Words
from fem.comparison.spread import ENDS, stretches
from fem.material.skin import KPA, bending_stiffness, buckling_tension, resistance, tension
from fem.study.study import Evaluate
from fem.study.table import Row

PATH = Path(__file__).parent / "validation.yaml"
SITES = tuple(LIBRARY.sites)
SKINS = "slack", "typical", "tense"  # of a site
UNDERMINED = 15.0  # mm
LEAST = 1e-3  # number that is told from 0; our choice
WIDEST = 0.5  # shortening at which the search for wrinkles ends; our choice


class Fact(Block):
    """What was observed, and what a miss of it points to."""

    value: Words  # a function of VALUES
    about: Words
    low: float | None = None
    high: float | None = None
    sites: Annotated[tuple[str, ...], MinLen(1)] = SITES
    source: Words
    tag: Literal["read", "from memory", "our choice", "common practice"]
    missing: Words


class Facts(Block):
    """All of validation.yaml."""

    wounds: dict[str, dict[str, Any]]
    facts: tuple[Fact, ...]


@dataclass(frozen=True)
class Known:
    """A skin, and what became of its wounds."""

    case: Case  # in that skin
    rows: dict[str, Row]  # by wound, as far as it was closed

    def number(self, wound: str, name: str) -> float:
        """A measure of a wound, NaN if it has none."""
        value = self.rows.get(wound, {}).get(name)
        return np.nan if value is None else value

    @property
    def stretch(self) -> np.ndarray:
        """Natural stretch (2,) along and across the lines."""
        return physical.prestretch(self.case.skin.tension, self.case.skin.law, h=self.case.skin.thickness_mm)

    @property
    def young_kPa(self) -> np.ndarray:
        """Young's moduli (2,) in place along and across the lines."""
        h = self.case.skin.thickness_mm
        return KPA * resistance(physical.law(self.case.skin.law), self.stretch, h=h) / h


def _fresh(known, *ways):
    """How much a fresh wound, a circle of 20 mm that is not undermined, grows one way or both, percent."""
    return 100 * (np.prod([known.number("circle bound", f"gape_{way}_mm") / 20.0 for way in ways]) - 1)


def _ratio(known, name, wound, other):
    return known.number(wound, name) / known.number(other, name)


def _wrinkling(known):
    """Shortening across the lines, %, at which uncut skin, held along them, wrinkles on its bed: `buckling_tension`."""
    skin, (_, lift, _) = known.case.skin, physical.springs(known.case.bed)
    law, h, (along, across) = physical.law(skin.law), skin.thickness_mm, known.stretch

    def excess(short: float) -> float:
        stretch, thickness = np.array([along, across * (1 - short)]), h / (1 - short)
        D = bending_stiffness(law, stretch, h=thickness)[1, 1]
        bears = buckling_tension(D=D, lift=lift, radius=known.case.patch.radius_mm)  # type: ignore[union-attr]
        return tension(law, stretch, h=thickness)[1] + bears

    return 100 * brentq(excess, 0.0, WIDEST) if excess(0.0) > 0 > excess(WIDEST) else np.nan


VALUES: dict[str, Callable[[Known], float]] = {
    "shrinkage_along_percent": lambda known: 100 * (1 - 1 / known.stretch[0]),
    "shrinkage_across_percent": lambda known: 100 * (1 - 1 / known.stretch[1]),
    "shrinkage_area_percent": lambda known: 100 * (1 - 1 / known.stretch.prod()),
    "fresh_area_percent": lambda known: _fresh(known, "length", "width"),
    "fresh_along_percent": lambda known: _fresh(known, "length"),
    "fresh_across_percent": lambda known: _fresh(known, "width"),
    "cone_circle_mm": lambda known: abs(known.number("circle", "cone_height_mm")),
    "cone_lens_2_mm": lambda known: abs(known.number("lens 2", "cone_height_mm")),
    "cone_lens_3_mm": lambda known: abs(known.number("lens 3", "cone_height_mm")),
    "cone_lens_4_mm": lambda known: abs(known.number("lens 4", "cone_height_mm")),
    "first_suture_N": lambda known: known.number("lens by halves", "suture_forces_1_N"),
    "halves_N": lambda known: sum(known.number("lens by halves", f"suture_forces_{k}_N") for k in (2, 3)) / 2,
    "closing_force_N": lambda known: known.number("lens bound", "closing_force_N"),
    "undermining_percent": lambda known: 100 * (_ratio(known, "line_tension_mid_N_per_m", "lens 3", "lens bound") - 1),
    "across_to_along": lambda known: _ratio(known, "closing_force_N", "lens across", "lens 3"),
    "tension_along_N_per_m": lambda known: known.case.skin.tension.along_N_per_m,
    "stress_along_kPa": lambda known: known.case.skin.tension.along_N_per_m / known.case.skin.thickness_mm,
    "young_along_kPa": lambda known: known.young_kPa[0],
    "young_across_kPa": lambda known: known.young_kPa[1],
    "wrinkling_percent": _wrinkling,
}


PAGE = document.parse(document.read(PATH), Facts, PATH)
WOUNDS, FACTS = PAGE.wounds, PAGE.facts


@cache
def cases() -> dict[tuple[str, str, str], Case]:
    """The cases to be closed by (site, skin, wound)."""
    every = product(SITES, SKINS, WOUNDS)
    return {(site, skin, wound): case(site, skin, WOUNDS[wound]) for site, skin, wound in every}


def case(site: str, skin: str, settings: dict) -> Case:
    """A wound, undermined unless it says otherwise, in one of SKINS of a site."""
    content: dict = {"name": "validation", "closure": {"undermine_mm": UNDERMINED}, "skin": {"site": site}}
    for key, value in ((stretches(site, ENDS[skin]) if skin in ENDS else {}) | settings).items():
        content = dotted.put(content, key, value)
    return Case.model_validate(content)


def printed(value: float) -> float:
    """A number as the table has it: three digits, and 0 below a thousandth."""
    return float(f"{value:.3g}") if abs(value) >= LEAST else 0.0 * value


@dataclass(frozen=True)
class Line:
    """A fact beside what the skins of a site give."""

    fact: Fact
    values: tuple[float, ...]  # by SKINS; NaN where there is no closure

    @property
    def miss(self) -> float:
        """How far typical skin is outside of what was observed, negative below; 0 inside, NaN if nothing is known."""
        typical, low, high = printed(self.values[SKINS.index("typical")]), self.fact.low, self.fact.high
        if np.isnan(typical) or (low is None and high is None):
            return np.nan
        below = 0.0 if low is None else min(typical - low, 0.0)
        return below + (0.0 if high is None else max(typical - high, 0.0))


def table(evaluate: Evaluate) -> dict[str, list[Line]]:
    """Lines by site, of facts in the order of validation.yaml, from the closures that `evaluate` completes."""
    wanted = cases()
    rows = dict(zip(wanted, evaluate(wanted.values()), strict=True))
    lines = {}
    for site in SITES:
        skins = [Known(wanted[site, s, "lens 3"], {wound: rows[site, s, wound] for wound in WOUNDS}) for s in SKINS]
        known = {fact: tuple(float(VALUES[fact.value](skin)) for skin in skins) for fact in FACTS if site in fact.sites}
        lines[site] = [Line(fact, values) for fact, values in known.items()]
    return lines
