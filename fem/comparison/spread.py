"""A case in the slackest and the tensest skin of its site: as if it gave the least and the greatest natural stretch.

Only where the site gave the tension: other skin has no range here. The law, the thickness and the bed stay, the patch
and triangles are by default as that skin asks. Results lie in the case's own folder, skins/slack and skins/tense.
"""

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path

from fem.case import dotted
from fem.case.case import Case
from fem.case.site import SITES, STRETCHES, TENSIONS, WAYS, natural_stretch
from fem.closure.closing import closed
from fem.comparison.written import parsed, without_defaults
from fem.results import identity
from fem.results.close import write
from fem.results.folder import refuse_unusable, whole
from fem.results.quantities import numbers
from fem.results.result import Result

ENDS = {"slack": "low", "tense": "high"}  # skins beside the case's own, and their end of the range of natural stretch
AS_GIVEN = "as given"  # what the case's own skin is called beside them
FOLDER = "skins"
RANGED = (  # numbers that are given in all three skins
    "cone_height_mm", "scar_length_mm", "closing_force_N", "line_tension_mid_N_per_m", "skin_stress_p99_kPa",
)  # fmt: skip
Spread = Mapping[str, Mapping[str, Result]]  # by name of the case, by skin; without what has no range
NO_SPREAD: Spread = {}


def stretches(site: str, end: str) -> dict[str, float]:
    """Natural stretch along and across the lines at one end of a site's range, as keys of a case."""
    known = SITES[site].stretch or {}
    return {key: getattr(known[way], end) for key, way in zip(STRETCHES, WAYS, strict=True)}


def ranged(case: Case) -> bool:
    """Whether the case's tension is that of its site, and at its age within the range, which then is the case's."""
    if not set(TENSIONS) <= set(case.from_site or ()):
        return False
    entry, age = SITES[str(case.skin.site)], case.skin.age_years
    low, high = (list(stretches(str(case.skin.site), end).values()) for end in ENDS.values())
    return all(a <= own <= b for a, own, b in zip(low, natural_stretch(entry, age=age), high, strict=True))


def variants(case: Case) -> dict[str, Case | ValueError]:
    """The case in the skins of ENDS, by their names, or why it cannot be; nothing if it is not `ranged`."""
    made: dict[str, Case | ValueError] = {}
    for skin, end in ENDS.items() if ranged(case) else ():
        content = dotted.without(without_defaults(case), "skin.age_years")  # the stretch says what age would
        for key, stretch in stretches(str(case.skin.site), end).items():
            content = dotted.put(content, key, stretch)
        try:
            made[skin] = parsed(content)
        except ValueError as error:
            made[skin] = error
    return made


def place(name: str, skin: str) -> str:
    """Where the result of a case's variant is, below the folder of results."""
    return f"{name}/{FOLDER}/{skin}"


def complete(folder: Path, variant: Case) -> bool:
    """Whether a folder holds the numbers of a variant."""
    return identity.state(folder, variant, keep="measures").complete


def close(variant: Case, folder: Path, *, again: bool = False) -> None:
    """Write the numbers of a variant into its folder, whole or not at all, unless they are there. Raises as `close`."""
    if not again and complete(folder, variant):
        return
    refuse_unusable(folder, mark="run.json")
    closure = closed(variant)
    with whole(folder) as draft:
        write(draft, variant, closure, keep="measures")


def read(cases: Iterable[Case], results: Sequence[Result], errors: dict[str, Exception], *, into: Path | str) -> Spread:
    """The results of all variants of cases that are closed, or why there are none; unreadable ones join `errors`.

    results   of the cases, whose own may have lengths of cuts that a variant must find for itself
    """
    closed = {result.name for result in results if not result.reason}
    ends: dict[str, dict[str, Result]] = {}
    for case in cases:
        for skin, variant in (variants(case) if case.name in closed else {}).items():
            known = case if isinstance(variant, ValueError) else variant
            ends.setdefault(case.name, {})[skin] = outcome(known, place(case.name, skin), errors, into, _numbers)
    return ends


def outcome(case: Case, where: str, errors: dict[str, Exception], into: Path | str, reader: Callable) -> Result:
    """What a reader finds of a case in its folder, or the reason why there is nothing; that joins `errors`."""
    folder = Path(into) / where
    if where not in errors:
        try:
            return reader(folder, case)
        except (OSError, ValueError) as error:
            errors[where] = OSError(f"{folder} cannot be read: {error}; --again writes it anew")
    return Result(case, reason=str(errors[where]))


def _numbers(folder, variant):
    if not (state := identity.state(folder, variant, keep="measures")).complete:
        raise ValueError(str(state))
    run, measures = (json.loads((folder / f"{name}.json").read_text()) for name in ("run", "measures"))
    if odd := [name for name, value in numbers(measures).items() if not isinstance(value, float | int | None)]:
        raise ValueError(f"measures.json: {odd[0]} is no number")
    return Result(variant, run=run, measures=measures)
