"""Which closures lie flat from slack to tense skin, and where that is not what the trade sees: sentences."""

from collections.abc import Mapping, Sequence

from fem.case import case as cases
from fem.case.case import Case
from fem.case.site import SITES, STRETCHES
from fem.comparison.spread import AS_GIVEN, ENDS, Spread, stretches
from fem.comparison.wording import printed, sentence
from fem.results.quantities import magnitude
from fem.results.result import Result

LEVEL = 1.0  # mm of cone, up or down, below which skin is said to lie flat; our choice: what a fingertip may just feel
WIDE = 15.0  # mm of a circle that practitioners see pucker; our choice: a punch of a few mm does lie flat
LONG = 3.0  # times as long as wide: the trade's rule for a wound that lies flat (common practice)
CONE = "cone_height_mm"
ORDER = "slack", AS_GIVEN, "tense"
Skins = Mapping[str, Result]  # of a closure: slack, as given, tense


def lines(named: Sequence[tuple[str, Result]], spread: Spread) -> list[str]:
    """What closures (label, Result) say side by side: which lie flat in which skin, whose skin that is, and doubts."""
    known = [(label, in_order(result, spread)) for label, result in named if spread.get(result.name)]
    if not known:
        return []
    own = middle([skins for _, skins in known])
    sites = list(dict.fromkeys(str(skins[AS_GIVEN].case.skin.site) for _, skins in known))
    said = [(word, *_sorted(known, skin)) for skin, word in zip(ORDER, words(own), strict=True)]
    some = len(known) < sum(not result.reason for _, result in named)
    return [
        sentence("comparison/spread", "flat", LEVEL, said, len(known), some),
        *(sentence("comparison/spread", "skins", site, _ends(site)) for site in sites),
        *(line for site in sites for line in doubts(_of(site, known), site, own)),
    ]


def middle(known: Sequence[Skins]) -> str:
    """What the skin between slack and tense is called: typical, unless its age is given for any closure."""
    return "typical" if all(skins[AS_GIVEN].case.skin.age_years is None for skins in known) else "the given"


def words(middle: str) -> tuple[str, ...]:
    """What the skins of ORDER are called."""
    return "slack", middle, "tense"


def in_order(result: Result, spread: Spread) -> dict[str, Result]:
    """A closure's results in slack, its own and tense skin."""
    ends = spread[result.name]
    return {"slack": ends["slack"], AS_GIVEN: result, "tense": ends["tense"]}


def flat(result: Result) -> bool | None:
    """Whether a closure lies flat, as printed; None if there is no closure or no number."""
    height = result.numbers.get(CONE)
    return None if height is None else lies_flat(height)


def lies_flat(height: float) -> bool:
    """Whether a cone, mm, as printed neither stands nor is sunk by LEVEL."""
    return magnitude(CONE, printed(CONE, height)) < LEVEL


def doubts(known: Sequence[tuple[str, Skins]], site: str, middle: str) -> list[str]:
    """Sentences on what the trade does not see: circles that lie flat, long lenses that do not in a case's own skin."""
    tension = (SITES[site].tension or {})["along_N_per_m"]
    skins = [word for skin, word in zip(ORDER, words(middle), strict=True) if _circle(known, skin)]
    up = [label for label, closed in known if _long(closed[AS_GIVEN].case) and flat(closed[AS_GIVEN]) is False]
    made = [("circle", skins)] * bool(skins) + [("lens", up)] * bool(up)
    return [sentence("comparison/spread", f"doubt_{kind}", site, about, middle, tension.tag) for kind, about in made]


def _sorted(known, skin):
    """Labels of closures that lie flat in a skin, and of those that are not known there."""
    level = [(label, flat(skins[skin])) for label, skins in known]
    return [label for label, lies in level if lies], [label for label, lies in level if lies is None]


def _ends(site):
    low, high = (stretches(site, end) for end in ENDS.values())
    return [(low[key], high[key]) for key in STRETCHES]


def _of(site, known):
    return [(label, skins) for label, skins in known if skins[AS_GIVEN].case.skin.site == site]


def _circle(known, skin):
    return any(_wide(at[skin].case) and flat(at[skin]) for _, at in known)


def _wide(case: Case) -> bool:
    outline = case.wound.outline
    return _plain(case) and outline.kind == "circle" and outline.diameter_mm >= WIDE


def _long(case: Case) -> bool:
    return _plain(case) and (cases.geometry(case)["length_to_width"] or 0.0) >= LONG


def _plain(case):
    return case.closure.technique == "side-to-side"
