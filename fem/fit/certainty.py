"""How well a fitted law is known, from the derivatives of its stresses; what that takes for granted: README."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import OptimizeResult
from scipy.stats import f, t

from fem.fit.search import DIFFERENCE, Search
from fem.material.laws import Law

CONFIDENCE = 0.95
AT_LIMIT = 1e-3  # of a coordinate: a parameter so close to its limit is there; our choice
HIDDEN = 1e-7  # singular values, relative to the greatest, of combinations that no stress depends on
VAGUE = 1.0  # half-width, of a coordinate or in decades, of an interval that tells nothing; our choice


@dataclass(frozen=True)
class Certainty:
    """What m stresses tell of the k coordinates sought, near those with the least squares.

    The interval of a combination g . z, g (k,), reaches |g spread| either way; with a part in `hidden` it has none.
    """

    search: Search
    z: np.ndarray  # (k,) with the least squares
    spread: np.ndarray  # (k, r)
    hidden: np.ndarray  # (k, k - r) combinations that no stress depends on
    as_good: tuple[tuple[Search, np.ndarray], ...]  # coordinates of other minima that the stresses do not tell from it


def certainty(search: Search, least: OptimizeResult, others: list[tuple[Search, OptimizeResult]], m: int) -> Certainty:
    """Certainty of the least squares of m stresses, other minima of the squares known.

        g . z +- q sqrt(S / (m - k) g . (J^T J)^-1 g),    S the least sum of squares

    with J the derivatives of the differences by z, whose singular values tell which combinations no stress depends on,
    and q Student's quantile for m - k degrees of freedom. Other minima are as good in the joint region of confidence,

        S <= (1 + k / (m - k) q) S_least,    q Fisher's quantile for k and m - k degrees of freedom

    in which are Ogden's alpha and about -2 alpha for a strip. Source: Seber & Wild (1989), ch. 5.
    """
    _, sizes, axes = np.linalg.svd(least.jac, full_matrices=False)
    seen = sizes > HIDDEN * sizes.max()
    k = least.x.size
    size = np.sqrt(2 * least.cost / (m - k)) * t.ppf((1 + CONFIDENCE) / 2, m - k)
    limit = (1 + k / (m - k) * f.ppf(CONFIDENCE, k, m - k)) * least.cost
    as_good = tuple((where, other.x) for where, other in others if other.cost <= limit)
    return Certainty(search, least.x, size * axes[seen].T / sizes[seen], axes[~seen].T, as_good)


def of_parameters(known: Certainty) -> tuple[dict[str, tuple[float, float]], dict[str, str]]:
    """Intervals of the parameters sought, by key, and why a parameter has none."""
    search, z = known.search, known.z
    half = np.linalg.norm(known.spread, axis=1)
    ends = search.values(np.clip(z + np.maximum(half, AT_LIMIT) * [[-1], [1]], *search.limits)).T.tolist()
    intervals = {key: tuple(pair) for key, pair in zip(search.keys, ends, strict=True)}
    vague = (half > VAGUE) | (np.abs(known.hidden) > AT_LIMIT).any(axis=1)
    at_limit = np.abs(z - search.limits).min(axis=0) < AT_LIMIT
    why = {key: "undetermined" for key, so in zip(search.keys, vague, strict=True) if so}
    why |= {key: "at its limit" for key, so in zip(search.keys, at_limit, strict=True) if so}
    for where, other in known.as_good:
        for key, value in zip(where.keys, where.values(other).tolist(), strict=True):
            low, high = intervals[key]
            if not low <= value <= high and not why.get(key, "").startswith("undetermined"):
                why[key] = f"undetermined, {value:.4g} fits as well"
    return {key: pair for key, pair in intervals.items() if key not in why}, why


Numbers = dict[str, float]  # by name


def of_numbers(
    known: Certainty, numbers: Callable[[Law], Numbers]
) -> tuple[Numbers, dict[str, tuple[float, float]], dict[str, str]]:
    """Numbers that follow from the law, their intervals by name, and why one has none.

        log10 |v(z)| = log10 |v| + g . (z - z_0),    g . z as in Certainty

    So a number that is proportional to a modulus is known as well as that one. Source: Seber & Wild (1989), ch. 5.
    """
    law, values = known.search.law, numbers(known.search.law(known.z))
    v = np.array(list(values.values()))
    slopes = []
    for step in DIFFERENCE * np.eye(known.z.size):
        ahead, behind = (list(numbers(law(z)).values()) for z in (known.z + step, known.z - step))
        slopes.append(np.subtract(ahead, behind) / (2 * DIFFERENCE * np.log(10)))
    g = np.divide(slopes, v, out=np.zeros((known.z.size, v.size)), where=v != 0).T  # of stress-free skin, whatever z
    half = np.linalg.norm(g @ known.spread, axis=1)
    vague = (half > VAGUE) | (np.abs(g @ known.hidden) > AT_LIMIT).any(axis=1)
    why = {name: "undetermined" for name, so in zip(values, vague, strict=True) if so}
    for where, z in known.as_good:
        for name, other, reach in zip(values, numbers(where.law(z)).values(), np.maximum(half, AT_LIMIT), strict=True):
            low, high = sorted([values[name] / 10.0**reach, values[name] * 10.0**reach])
            if name not in why and not low <= other <= high:
                why[name] = f"undetermined, {other:.4g} fits as well"
    factor = 10 ** np.minimum(half, VAGUE)
    ends = np.sort([v / factor, v * factor], axis=0).T.tolist()
    return values, {name: tuple(pair) for name, pair in zip(values, ends, strict=True) if name not in why}, why
