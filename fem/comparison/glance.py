"""What the numbers of closures say at first glance: who has the most and the least, as sentences."""

from collections.abc import Callable, Sequence
from itertools import combinations

from fem.comparison.alike import alike, orders
from fem.comparison.spread import ENDS, NO_SPREAD, Spread
from fem.comparison.wording import sentences
from fem.results.quantities import label, magnitude, off, shown
from fem.results.result import Result

NAMES = "cone_height_mm", "scar_length_mm", "line_tension_mid_N_per_m", "removed_area_mm2"
End = Callable[..., float]  # max or min
Apart = tuple[str, list[str], float]  # a skin, names of closures, their number there


def lines(done: Sequence[Result], spread: Spread = NO_SPREAD) -> list[str]:
    """What the numbers say at first glance, as sentences."""
    extremes: dict[str, list[tuple]] = {}
    same: dict[str, tuple] = {}
    level: list[str] = []
    for name in NAMES:
        known = [result for result in done if result.numbers.get(name) is not None]  # not sewn: no scar
        ends = [_first(name, known, end) for end in (max, min)] if known else []
        if len({off(name, end.numbers[name]) for end in ends}) > 1:
            if alike(name, ends[0], ends[1], spread):
                level.append(label(name))
            else:
                extremes[name] = [_those(name, known, end, spread) for end in (max, min)]
        elif all(further := [apart(name, known, end, spread) for end in (max, min)]):
            same[name] = ends[0].numbers[name], *further
    return sentences("comparison/reading", "glance", extremes, same, level)


def _first(name, results, end):
    return end(results, key=lambda one: magnitude(name, one.numbers[name]))


def _those(name, known, end: End, spread):
    """Names of those that print the greatest or least of a number, it, names of further ones that are alike with it,
    and what tells the former `apart`."""
    first = _first(name, known, end)
    value = first.numbers[name]
    same = [result for result in known if shown(name, result.numbers[name]) == shown(name, value)]
    further = [r.name for r in known if r not in same and alike(name, first, r, spread)]
    return [result.name for result in same], value, further, apart(name, same, end, spread)


def apart(name: str, same: Sequence[Result], end: End, spread: Spread) -> Apart | None:
    """Of closures that print a number alike those with the greatest or least of it in the first skin that tells any two
    of them apart; None if all are alike, or one has no number there."""
    different = [orders(name, a, b, spread) for a, b in combinations(same, 2) if not alike(name, a, b, spread)]
    for skin in ENDS:
        there = [(result.name, spread.get(result.name, {}).get(skin)) for result in same]
        numbers = {called: at.numbers[name] for called, at in there if at and at.numbers.get(name) is not None}
        if len(numbers) == len(same) and any(order.get(skin) for order in different):
            value = end(numbers.values(), key=lambda number: magnitude(name, number))
            return skin, [called for called, n in numbers.items() if shown(name, n) == shown(name, value)], value
    return None
