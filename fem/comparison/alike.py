"""Which closures are alike in a number: within the numerical error, or, apart from that, within what is not known.

What is not known is the skin, the same for both: two designs are not alike because the number of each is spread over
slack to tense skin, but if which of them has more turns round on the way, or if they are alike in every skin.
"""

from collections.abc import Sequence

from fem.comparison.spread import AS_GIVEN, RANGED, Spread
from fem.results.quantities import magnitude, off
from fem.results.result import Result


def alike(name: str, a: Result, b: Result, spread: Spread) -> bool:
    """Whether two closures are alike in a number that both have: in every skin, or more and less by turns."""
    return more(name, a, b, spread) == 0


def more(name: str, a: Result, b: Result, spread: Spread) -> int:
    """1 if the first has more in some skin and less in none, -1 if less and more in none; else 0: they are alike.

    A number that is not shown in other skins, which is none of RANGED, is alike if it is in their own.
    """
    known = orders(name, a, b, spread)
    ways = set(known.values()) - {0}
    return ways.pop() if len(ways) == 1 and (known[AS_GIVEN] or name in RANGED) else 0


def orders(name: str, a: Result, b: Result, spread: Spread) -> dict[str, int]:
    """Of two closures `order` in their own skin and in those of which both are known."""
    one, other = ({AS_GIVEN: r, **spread.get(r.name, {})} for r in (a, b))
    return {skin: order(name, one[skin], other[skin]) for skin in one if skin in other}


def order(name: str, a: Result, b: Result) -> int:
    """1 if the first has more in one skin, -1 if less; 0 if that is within both errors, not printed, or not known."""
    one, other = a.numbers.get(name), b.numbers.get(name)
    if one is None or other is None or off(name, one) == off(name, other):
        return 0
    apart = float(magnitude(name, one) - magnitude(name, other))
    return 0 if abs(apart) <= a.error(name) + b.error(name) else 1 if apart > 0 else -1


def ways(name: str, results: Sequence[Result], spread: Spread) -> list[dict[int, int]]:
    """For each closure `more` by the places of those that have a number too, itself among them, if it has that."""
    known = [i for i, result in enumerate(results) if result.numbers.get(name) is not None]
    return [
        {j: more(name, result, results[j], spread) if i != j else 0 for j in known} if i in known else {}
        for i, result in enumerate(results)
    ]
