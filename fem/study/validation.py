"""What was observed on skin beside what the library's skins give: a closure a wound, site and skin, and a table."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from itertools import product
from pathlib import Path
from typing import Annotated, Literal

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
LENS = {"wound.outline": {"kind": "lens", "length_mm": 60, "width_mm": 20}}
CIRCLE = {"wound.outline": {"kind": "circle", "diameter_mm": 20}}
BOUND = {"closure.undermine_mm": 0}
WOUNDS: dict[str, dict] = {  # settings of a case, by dotted key
    "circle": CIRCLE,
    "lens 2": LENS | {"wound.outline.length_mm": 40},
    "lens 3": LENS,
    "lens 4": LENS | {"wound.outline.length_mm": 80},
    "circle bound": CIRCLE | BOUND,
    "lens bound": LENS | BOUND,
    "lens across": LENS | {"skin.tension.lines_deg": 90},
    "lens by halves": LENS | {"closure.sutures": {"kind": "interrupted", "spacing_mm": 15}},  # three of them
}
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


def _fresh(known, name, whole):
    return 100 * (known.number("circle bound", name) / whole - 1)


def _fresh_area(known):
    length, width = (1 + _fresh(known, f"gape_{way}_mm", 20.0) / 100 for way in ("length", "width"))
    return 100 * (length * width - 1)


def _wrinkling(known):
    """Shortening across the lines, %, at which uncut skin, held along them, wrinkles on its bed: `buckling_tension`."""
    skin, (lift, _) = known.case.skin, physical.springs(known.case.bed)
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
    "fresh_area_percent": _fresh_area,
    "fresh_along_percent": lambda known: _fresh(known, "gape_length_mm", 20.0),
    "fresh_across_percent": lambda known: _fresh(known, "gape_width_mm", 20.0),
    "cone_circle_mm": lambda known: abs(known.number("circle", "cone_height_mm")),
    "cone_lens_2_mm": lambda known: abs(known.number("lens 2", "cone_height_mm")),
    "cone_lens_3_mm": lambda known: abs(known.number("lens 3", "cone_height_mm")),
    "cone_lens_4_mm": lambda known: abs(known.number("lens 4", "cone_height_mm")),
    "first_suture_N": lambda known: known.number("lens by halves", "suture_forces_1_N"),
    "halves_N": lambda known: sum(known.number("lens by halves", f"suture_forces_{k}_N") for k in (2, 3)) / 2,
    "closing_force_N": lambda known: known.number("lens bound", "closing_force_N"),
    "undermining_percent": lambda known: 100 * (_mid(known, "lens 3") / _mid(known, "lens bound") - 1),
    "across_to_along": lambda known: (
        known.number("lens across", "closing_force_N") / known.number("lens 3", "closing_force_N")
    ),
    "tension_along_N_per_m": lambda known: known.case.skin.tension.along_N_per_m,
    "stress_along_kPa": lambda known: known.case.skin.tension.along_N_per_m / known.case.skin.thickness_mm,
    "young_along_kPa": lambda known: known.young_kPa[0],
    "young_across_kPa": lambda known: known.young_kPa[1],
    "wrinkling_percent": _wrinkling,
}


def _mid(known, wound):
    return known.number(wound, "line_tension_mid_N_per_m")


FACTS = document.parse(document.read(PATH), Facts, PATH).facts


def cases() -> dict[tuple[str, str, str], Case]:
    """The cases to be closed by (site, skin, wound)."""
    every = product(SITES, SKINS, WOUNDS)
    return {(site, skin, wound): case(site, skin, WOUNDS[wound]) for site, skin, wound in every}


def case(site: str, skin: str, settings: dict) -> Case:
    """A wound, undermined unless it says otherwise, in one of SKINS of a site."""
    content: dict = {"name": "validation", "closure": {"undermine_mm": UNDERMINED}, "skin": {"site": site}}
    for key, value in ((stretches(site, ENDS[skin]) if skin in ENDS else {}) | settings).items():
        content = dotted.put(content, key, value)
    return document.parse(json.dumps(content), Case, "validation")


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
    return {site: _lines(site, {key: (case, rows[key]) for key, case in wanted.items()}) for site in SITES}


def _lines(site, closures):
    """Lines of a site from closures (case, row) by site, skin and wound."""
    skins = []
    for skin in SKINS:
        of = {wound: closures[site, skin, wound] for wound in WOUNDS}
        skins.append(Known(of["lens 3"][0], {wound: row for wound, (_, row) in of.items()}))
    return [Line(f, tuple(float(VALUES[f.value](skin)) for skin in skins)) for f in FACTS if site in f.sites]
