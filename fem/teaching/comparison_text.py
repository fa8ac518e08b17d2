"""What closures (label, Result) say side by side, compared as printed, and questions: values for `comparison.txt`."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from fem.comparison import flat
from fem.comparison.glance import apart
from fem.comparison.spread import NO_SPREAD, Spread
from fem.comparison.wording import printed, sentence, sentences, unitful
from fem.results.quantities import magnitude
from fem.results.result import Result
from fem.teaching import sentence as alone
from fem.teaching.cone import tips

MONEY = "cone_height_mm", "scar_length_mm"  # what is traded for what
Closures = Sequence[tuple[str, Result]]
Question = tuple[str, str]  # and its answer


@dataclass(frozen=True)
class By:
    """What closures are put in order by."""

    phrase: str  # "the longer the scar"
    value: Callable[[Result], float | None]
    against: tuple[str, str]  # measure that is weighed against the cones, and a phrase for the least of it


def _scar(result):
    length = result.measures["scar_length_mm"]
    return length and printed("scar_length_mm", length)


SCAR = By("the longer the scar", _scar, ("scar_length_mm", "shortest scar"))


def ordered(named: Closures, by: By) -> list[tuple[str, Result]]:
    """Those that are closed and have what they are put in order by, in that order."""
    known = [(by.value(result), label, result) for label, result in named if not result.reason]
    placed = [(value, label, result) for value, label, result in known if value is not None]
    return [(label, result) for _, label, result in sorted(placed, key=lambda closure: closure[0])]


def unordered(named: Closures, by: By) -> list[tuple[str, Result]]:
    """Those that are closed, but have no such value: without a scar."""
    return [(label, result) for label, result in named if not result.reason and by.value(result) is None]


def others(named: Closures, by: By) -> list[str]:
    """Why some closures cannot be compared."""
    left = [(label, *alone.say("left_open", result)) for label, result in unordered(named, by)]
    failed = [(label, result.reason.rstrip(".")) for label, result in named if result.reason]
    lines = sentences("teaching/comparison", "others", left, failed)
    return lines if len(ordered(named, by)) > 1 else [*lines, sentence("teaching/comparison", "nothing", lines)]


def trade_off(named: Closures, by: By = SCAR) -> list[str]:
    """What is bought and what is paid from one closure to the next."""
    order = ordered(named, by)
    if len(order) < 2:
        return []
    lines = [trend(order, by, "cone_height_mm", "cones", "lower", "higher")]
    if all(alone.even(result) for _, result in order):
        lines.append(trend(order, by, "line_tension_mid_N_per_m", "pull in the middle", "weaker", "stronger"))
    if by is not SCAR:
        lines.append(trend(order, by, "closing_force_N", "force to close", "smaller", "greater"))
        lines.append(trend(order, by, "scar_length_mm", "scar", "shorter", "longer"))
    if differ(order, "removed_area_mm2"):
        lines.append(trend(order, by, "removed_area_mm2", "skin taken away", "less", "more"))
    return [*lines, *bodies(order), *(prices(order) if by is SCAR else [])]


def bodies(order: Closures) -> list[str]:
    """What a body changes: of each closure on a curved one and its like on a flat one, if there is any."""
    lines = []
    for label, bent in order:
        likes = ((name, other) for name, other in order if bent.body.curved and not other.body.curved)
        like = next(((name, other) for name, other in likes if _alike(bent.case, other.case)), None)
        if like is not None:
            lines.append(sentence("teaching/comparison", "body", label, bent.measures, like[0], like[1].measures))
    return lines


def _alike(one, other):
    """Whether two cases differ in the body and in what is computed of it alone."""
    return all(getattr(one, part) == getattr(other, part) for part in ("wound", "closure", "skin", "bed"))


def differ(order: Closures, name: str) -> bool:
    """Whether closures differ in a number as ranked."""
    return len({_ranked(name, result) for _, result in order}) > 1


def _ranked(name, result):
    """A number as it is printed and ranked."""
    return magnitude(name, printed(name, result.numbers[name]))


def trend(order: Closures, by: By, name: str, what: str, less: str, more: str) -> str:
    """How a number goes from one closure to the next."""
    values = [result.numbers[name] for _, result in order]
    listed = [(label, unitful(name, value)) for (label, _), value in zip(order, values, strict=True)]
    steps = [_ranked(name, b) - _ranked(name, a) for (_, a), (_, b) in pairwise(order)]
    keys = [by.value(result) for _, result in order]
    course = ""
    if not any(steps):
        course = "alike"
    elif len(set(keys)) == len(keys) and (max(steps) < 0 or min(steps) > 0):
        course = less if steps[0] < 0 else more
    ends = zip((less, more), extremes(order, name), strict=True)
    return sentence("teaching/comparison", "trend", what, by.phrase, course, listed, *ends)


def extremes(order: Closures, name: str) -> tuple[list[str], list[str]]:
    """Labels of the closures with the least and of those with the greatest of a number, as ranked."""
    values = [_ranked(name, result) for _, result in order]
    low, high = (
        [label for (label, _), value in zip(order, values, strict=True) if value == end]
        for end in (min(values), max(values))
    )
    return low, high


def prices(order: Closures) -> list[str]:
    """What each step on the same body costs that lowers the cones for a longer scar."""
    steps = [(a, b) for a, b in pairwise(order) if _surface(a) == _surface(b)]
    return [line for line in (price(*pair) for pair in steps) if line]


def _surface(closure):
    return closure[1].case.patch.surface


def price(before: tuple[str, Result], after: tuple[str, Result]) -> str:
    """How much scar each millimetre of cone costs from one closure to another; "" if the scar buys none."""
    gain, cost = (round(_ranked(name, after[1]) - _ranked(name, before[1]), 1) for name in MONEY)
    return sentence("teaching/comparison", "price", before[0], after[0], gain, cost)


def questions(result: Result, named: Closures, by: By = SCAR, spread: Spread = NO_SPREAD) -> list[Question]:
    """The first three questions that the numbers answer; `named` are all closures of the lesson, the result's too."""
    order, of = ordered(named, by), alone.values(result)
    possible = [
        ask("tips", [*alone.surplus(result), *alone.say("cones", result)]) if tips(result) else None,
        ask_flat([*order, *unordered(named, by)], by, spread),
        ask_best(order, by, spread),
        ask("prices", prices(order) if by is SCAR else []),
        *(ask(what, of) for what in ("sutures", "scar", "open", "taken", "gape")),
    ]
    return [question for question in possible if question][:3]


def ask(what: str, *values: Any) -> Question | None:
    """A question of `text/comparison.txt` on values; None if they do not answer it."""
    lines = sentences("teaching/comparison", what, *values)
    return (lines[0], lines[1]) if lines else None


def ask_flat(named: Closures, by: By, spread: Spread) -> Question | None:
    """Which closures lie flat in whose skin, and which of them has the shortest scar; None without a range."""
    known = flat.ranged(named, spread)
    if len(known) < 2:
        return None
    first = []
    for skin, word in zip(flat.ORDER, flat.words(flat.middle(known)), strict=True):
        lying = ordered([(label, skins[skin]) for label, skins in known if flat.flat(skins[skin])], SCAR)
        first.append((word, [label for label, r in lying if SCAR.value(r) == SCAR.value(lying[0][1])]))
    return ask("flat", flat.LEVEL, flat.lying(named, spread)[0], by is SCAR, first)


def ask_best(order: Closures, by: By = SCAR, spread: Spread = NO_SPREAD) -> Question | None:
    """Which closure has the lowest cones and the least of what is weighed against them; None for one alone.

    Of cones that are as low, also which are lowest in slack or tense skin.
    """
    if len(order) < 2:
        return None
    name, least = by.against
    low, best = extremes(order, "cone_height_mm")[0], extremes(order, name)[0]
    both = [label for label in low if label in best]
    return ask("best", least, low, best, both, differ(order, "cone_height_mm"), _lowest(order, low, spread))


def _lowest(order, low, spread):
    """Of closures with cones as low the first skin that tells them apart, labels of the lowest there, and height."""
    labels = {result.name: label for label, result in order if label in low}
    further = apart("cone_height_mm", [result for label, result in order if label in low], min, spread)
    return further and (further[0], [labels[name] for name in further[1]], further[2])
