"""Which closures lie flat from slack to tense skin, and where that is not what the trade sees: sentences."""

from collections.abc import Mapping, Sequence

from fem.case import case as cases
from fem.case.site import LIBRARY, SITES
from fem.comparison.spread import AS_GIVEN, ENDS, Spread, stretches
from fem.comparison.spread import ranged as of_its_site
from fem.comparison.wording import printed, sentence
from fem.results.quantities import magnitude
from fem.results.result import Result

LEVEL = 1.0  # mm of cone, up or down, below which skin is said to lie flat; our choice: what a fingertip may just feel
WIDE = 15.0  # mm of a blunt wound that practitioners see pucker; our choice: a punch of a few mm does lie flat
BLUNT = 1.5  # times as long as wide, at most: a blunt wound, as a circle is; our choice
LONG = 3.0  # times as long as wide: the trade's rule for a wound that lies flat (common practice)
CONE = "cone_height_mm"
ORDER = "slack", AS_GIVEN, "tense"
Skins = Mapping[str, Result]  # of a closure: slack, as given, tense


def lines(named: Sequence[tuple[str, Result]], spread: Spread) -> list[str]:
    """What closures (label, Result) say side by side: which lie flat in which skin, whose skin that is, and doubts."""
    return [*lying(named, spread), *skins(named, spread), *doubts(named, spread)]


def lying(named: Sequence[tuple[str, Result]], spread: Spread) -> list[str]:
    """Which closures lie flat in which skin."""
    known, said = ranged(named, spread), []
    for skin, word in zip(ORDER, words(middle(known)), strict=True):
        level = [(label, flat(skins[skin])) for label, skins in known]
        said.append((word, [label for label, lies in level if lies], [label for label, lies in level if lies is None]))
    some = len(known) < sum(not result.reason for _, result in named)
    return [sentence("comparison/spread", "flat", LEVEL, said, len(known), some)] if known else []


def skins(named: Sequence[tuple[str, Result]], spread: Spread) -> list[str]:
    """How far slack and tense skin of each site are stretched."""
    sites = dict.fromkeys(str(at[AS_GIVEN].case.skin.site) for _, at in ranged(named, spread))
    ends = {site: [stretches(site, end).values() for end in ENDS.values()] for site in sites}
    return [sentence("comparison/spread", "skins", site, list(zip(*pair, strict=True))) for site, pair in ends.items()]


def doubts(named: Sequence[tuple[str, Result]], spread: Spread) -> list[str]:
    """What the trade does not see of closures (label, Result), in their own skin and, where known, slack and tense."""
    sites: dict[str, list] = {}  # "" where the case gives the tension
    for label, result in named:
        if not result.reason and result.case.skin.site not in LIBRARY.bench:
            site = str(result.case.skin.site) if of_its_site(result.case) else ""
            sites.setdefault(site, []).append((label, in_order(result, spread)))
    return [line for site, closures in sites.items() for line in _doubts(closures, site)]


def ranged(named: Sequence[tuple[str, Result]], spread: Spread) -> list[tuple[str, dict[str, Result]]]:
    """The closures (label, results in slack, its own and tense skin) of which these are known."""
    return [(label, in_order(result, spread)) for label, result in named if spread.get(result.name)]


def middle(known: Sequence[tuple[str, Skins]]) -> str:
    """What the skin between slack and tense is called: typical, unless its age is given for any closure."""
    return "typical" if all(skins[AS_GIVEN].case.skin.age_years is None for _, skins in known) else "the given"


def words(middle: str) -> tuple[str, ...]:
    """What the skins of ORDER are called."""
    return "slack", middle, "tense"


def in_order(result: Result, spread: Spread) -> dict[str, Result]:
    """A closure's results in slack, its own and tense skin, as far as there are any."""
    known = {**spread.get(result.name, {}), AS_GIVEN: result}
    return {skin: known[skin] for skin in ORDER if skin in known}


def flat(result: Result) -> bool | None:
    """Whether a closure lies flat, as printed; None if there is no closure or no number."""
    height = result.numbers.get(CONE)
    return None if height is None else lies_flat(height)


def lies_flat(height: float) -> bool:
    """Whether a cone, mm, as printed neither stands nor is sunk by LEVEL."""
    return magnitude(CONE, printed(CONE, height)) < LEVEL


def _doubts(known: Sequence[tuple[str, Skins]], site: str) -> list[str]:
    """Sentences on what the trade does not see: blunt wounds that lie flat, long ones that do not in their own skin."""
    named = middle(known) if site else "the given"
    trust = (SITES[site].tension or {})["along_N_per_m"].tag if site else ""
    wide = [skins for _, skins in known if _blunt(skins[AS_GIVEN].case)]
    lying = {skin: [at for at in wide if skin in at and flat(at[skin])] for skin in ORDER}
    flat_in = [word for skin, word in zip(ORDER, words(named), strict=True) if lying[skin]]
    kinds = {at[AS_GIVEN].case.wound.outline.kind for members in lying.values() for at in members}
    up = [label for label, skins in known if _ratio(skins[AS_GIVEN].case) >= LONG and flat(skins[AS_GIVEN]) is False]
    return [
        *([sentence("comparison/spread", "doubt_blunt", site, flat_in, kinds == {"circle"}, trust)] if flat_in else []),
        *([sentence("comparison/spread", "doubt_long", site, up, named, trust)] if up and site else []),
    ]


def _blunt(case):
    """Whether a wound that is sewn from side to side is about as long as wide, and so large that it should pucker."""
    size = cases.geometry(case)
    return 0 < _ratio(case) <= BLUNT and min(size["length_mm"], size["width_mm"]) >= WIDE


def _ratio(case):
    """Length to width of a wound that is sewn from side to side; 0 for any other one."""
    return (case.closure.technique == "side-to-side" and cases.geometry(case)["length_to_width"]) or 0.0
