"""Which closures are alike in a number: within the numerical error, or, apart from that, within what is not known.

What is not known is the skin, the same for both: two designs are not alike because the number of each is spread over
slack to tense skin, but if which of them has more turns round on the way.
"""

from collections.abc import Sequence

from fem.comparison.spread import Spread
from fem.results.quantities import magnitude, off
from fem.results.result import Result


def alike(name: str, a: Result, b: Result, spread: Spread) -> bool:
    """Whether two closures are alike in a number that both have: in their own skin, or more and less by turns."""
    own = order(name, a, b)
    ends = spread.get(a.name, {}), spread.get(b.name, {})
    return own == 0 or -own in {order(name, *(at[skin] for at in ends)) for skin in ends[0] if skin in ends[1]}


def order(name: str, a: Result, b: Result) -> int:
    """1 if the first has more in one skin, -1 if less; 0 if that is within both errors, not printed, or not known."""
    one, other = a.numbers.get(name), b.numbers.get(name)
    if one is None or other is None or off(name, one) == off(name, other):
        return 0
    apart = float(magnitude(name, one) - magnitude(name, other))
    return 0 if abs(apart) <= a.error(name) + b.error(name) else 1 if apart > 0 else -1


def pairs(name: str, results: Sequence[Result], spread: Spread) -> list[set[int]]:
    """For each closure the places of those that it is alike with in a number, itself among them, if it has that."""
    known = [i for i, result in enumerate(results) if result.numbers.get(name) is not None]
    return [
        {j for j in known if i == j or alike(name, result, results[j], spread)} if i in known else set()
        for i, result in enumerate(results)
    ]
