"""Parameters of a law from tension tests: least squares from many starts, and confidence intervals.

Parameters are sought in coordinates z in which 1 is a large step for each: a factor of ten for those without an upper
limit, half of the range for the others. So neither units nor magnitudes matter.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import product

import numpy as np
from scipy.optimize import least_squares
from scipy.optimize.elementwise import find_root
from scipy.stats import f, qmc, t

from fem.case import physical
from fem.case.case import schema
from fem.errors import NotFitted
from fem.fit.tensile import Measured
from fem.material.laws import Law
from fem.material.skin import KPA, tension

CONFIDENCE = 0.95
DECADES = -6.0, 9.0  # in which parameters without an upper limit are sought; our choice, beyond all skin
SPREAD = 3.0  # decades either way in which starts are spread; our choice
TRIES = 4  # to the power of the number of parameters that shape the curve: starts looked at; our choice
POLISHED = 6  # of them, from which the least squares are found, over all ranges; our choice
STEPS = 300  # of the least squares from one start; our choice, ten to fifty are usual
SAME = 1e-3  # relative difference of sums of squares that no data can tell; our choice
TOLERANCE = 1e-10  # of the least squares, relative; our choice, far below any scatter
DIFFERENCE = 1e-6  # of a coordinate, for derivatives: truncation and round-off are both below 1e-9
NARROWEST, WIDEST = np.log(0.005), np.log(200.0)  # of a stress-free direction, log stretch; our choice, beyond all skin
NEAR = 0.02  # log stretch either way of a known one in which the next is sought first; our choice
AT_LIMIT = 1e-3  # of a coordinate: a parameter so close to its limit is there; our choice
HIDDEN = 1e-7  # singular values, relative to the greatest, of combinations that no stress depends on
VAGUE = 1.0  # half-width, of a coordinate, of an interval that tells nothing; our choice


@dataclass(frozen=True)
class Fit:
    """A law fitted to measured stresses. A parameter has an interval, or a reason in `why` that it has none."""

    kind: str
    values: dict[str, float]  # by the keys of a case's skin.law
    intervals: dict[str, tuple[float, float]]  # in which the true value lies with CONFIDENCE
    why: dict[str, str]
    stress: np.ndarray  # (m,) kPa, the law's in the measured states
    r2: float  # 1 - sum of squared differences / that of the measured stresses from their mean
    rms_kPa: float  # root of the mean squared difference


@dataclass(frozen=True)
class Search:
    """k parameters of a law to be found, and the others, which are held."""

    kind: str
    held: dict[str, float]
    keys: tuple[str, ...]  # k
    low: np.ndarray  # (k,) least value
    high: np.ndarray  # (k,) greatest; infinite if there is none

    @property
    def limits(self) -> np.ndarray:
        """Least and greatest coordinates (2, k)."""
        ends = np.array([DECADES, (-1.0, 1.0)]).T
        return np.where(np.isinf(self.high), ends[:, :1], ends[:, 1:])

    def values(self, z: np.ndarray) -> np.ndarray:
        """Those parameters (k,) at z (k,)."""
        limited = np.isfinite(self.high)
        span = np.where(limited, self.high, self.low) - self.low
        return np.where(limited, self.low + span * (z + 1) / 2, 10.0**z)

    def law(self, z: np.ndarray) -> Law:
        """The law at z (k,)."""
        return physical.law({"kind": self.kind, **self.held, **dict(zip(self.keys, self.values(z), strict=True))})


@cache
def ranges(kind: str) -> dict[str, list[tuple[float, float]]]:
    """Ranges (low, high) that each parameter of a law may lie in, by its key; those of the schema of a case."""
    known = {key: about for key, about in schema()["$defs"][kind]["properties"].items() if "const" not in about}
    return {key: [_range(part) for part in about.get("anyOf", [about])] for key, about in known.items()}


def _narrowed(parts, least, greatest):
    """The parts (low, high) of a range that lie between two values."""
    ends = [(max(low, least), min(high, greatest)) for low, high in parts]
    return [(low, high) for low, high in ends if low < high]


def _range(about):
    """Least and greatest number of a JSON Schema; what must be above 0 is at least the smallest float."""
    low = about["minimum"] if "minimum" in about else np.nextafter(about["exclusiveMinimum"], np.inf)
    return low, about.get("maximum", np.inf)


def fit(measured: Measured, kind: str, *, held: dict | None = None, within: dict | None = None) -> Fit:
    """Fit of a law to measured stresses, some of its parameters held at given values.

        sum of (sigma_i(p) - stress_i)^2 -> least

    kind      law, as in LAWS, proportional to its moduli: the parameters whose keys end in _kPa, all together
    held      values by key, each in its range
    within    narrower ranges (low, high) by key; a range in two parts is searched in both

    Raises ValueError if the stresses are too few or all the same, NotFitted.
    """
    held, within = held or {}, within or {}
    known = {
        key: _narrowed(parts, *within.get(key, (-np.inf, np.inf)))
        for key, parts in ranges(kind).items()
        if key not in held
    }
    if measured.stress.size <= len(known):
        raise ValueError(
            f"{measured.stress.size} stresses for {len(known)} parameters ({', '.join(known)}); "
            f"wanted {len(known) + 1} or more, or parameters held"
        )
    if np.ptp(measured.stress) == 0:
        raise ValueError(f"all stresses are {measured.stress[0]:g} kPa, which tells nothing of a law")
    searches = [
        Search(kind, held, tuple(known), *map(np.array, zip(*parts, strict=True))) for parts in product(*known.values())
    ]
    starts = [sorted(_starts(search, measured), key=lambda start: start[0]) for search in searches]
    if not any(starts):
        raise NotFitted(f"no {kind} skin has stresses of these signs: stress must grow with stretch")
    minima = [
        (search, _least_squares(search, z, measured))
        for search, ordered in zip(searches, starts, strict=True)
        for _, z in ordered[: POLISHED // len(searches)]
    ]
    least = min(result.cost for _, result in minima)
    settled = sorted((pair for pair in minima if pair[1].status > 0), key=lambda pair: pair[1].cost)
    if not settled or settled[0][1].cost > (1 + SAME) * least:
        raise NotFitted(f"no least squares after {STEPS} steps; hold a parameter, or take a law with fewer")
    return _fit(*settled[0], settled[1:], measured)


# Stresses of a law ------------------------------------------------------------------------------------------


def stresses(law: Callable, measured: Measured) -> np.ndarray:
    """Stresses (m,) of a law in the measured states, kPa, each nominal or Cauchy as it was measured."""
    return _as_measured(law, stretches(law, measured), measured)


def stretches(law: Callable, measured: Measured, *, near: np.ndarray | None = None) -> np.ndarray:
    """Stretches (2, n) in the measured states; where a direction is free, the one without stress.

    near   (2, n) those of a similar law, about which they are sought first: half the iterations

    Fibres that pull beyond all bounds, as on trial they may, leave none above NARROWEST, which then stands for it.
    """

    def pull(e: np.ndarray, other: np.ndarray, axis: np.ndarray) -> np.ndarray:
        stretch = np.where(np.arange(2)[:, None] == axis, np.exp(e), other)
        return np.where(axis == 0, *tension(law, stretch, h=1.0))

    axis, state = np.nonzero(measured.free)
    other = measured.stretch[1 - axis, state]
    ends = [np.full(other.shape, end) for end in (NARROWEST, WIDEST)]
    stretch = measured.stretch.copy()
    if axis.size:
        if near is not None:
            around = [np.log(near[axis, state]) + way for way in (-NEAR, NEAR)]
            low, high = (pull(end, other, axis) for end in around)
            ends = [np.where((low < 0) & (high > 0), *pair) for pair in zip(around, ends, strict=True)]
        roots = find_root(pull, tuple(ends), args=(other, axis))
        stretch[axis, state] = np.exp(np.where(roots.success, roots.x, NARROWEST))
    return stretch


def _as_measured(law, stretch, measured):
    """Of the stresses at stretches (2, n), those that were measured (m,), kPa."""
    at = measured.axis, measured.state
    return KPA * tension(law, stretch, h=1.0)[at] / np.where(measured.nominal, stretch[at], 1.0)


def slopes(search: Search, z: np.ndarray, stretch: np.ndarray, measured: Measured) -> np.ndarray:
    """Derivatives (m, k) in kPa of the stresses by the coordinates z (k,), free directions kept free of stress.

        ds/dz = s_,z - s_,e f_,z / f_,e,    f(e, z) = 0 the free stress, e the log of the free stretch

    stretch   (2, n) at z, as from `stretches`
    """

    def both(law: Callable, stretch: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return _as_measured(law, stretch, measured), (tension(law, stretch, h=1.0) * measured.free).sum(axis=0)

    def difference(ahead: tuple, behind: tuple) -> list[np.ndarray]:
        return [(a - b) / (2 * DIFFERENCE) for a, b in zip(both(*ahead), both(*behind), strict=True)]

    law, pulled = search.law(z), np.exp(DIFFERENCE * measured.free)
    s_e, f_e = difference((law, stretch * pulled), (law, stretch / pulled))
    per_free = np.divide(1.0, f_e, out=np.zeros_like(f_e), where=measured.free.any(axis=0))[measured.state]
    columns = []
    for step in DIFFERENCE * np.eye(z.size):
        s_z, f_z = difference((search.law(z + step), stretch), (search.law(z - step), stretch))
        columns.append(s_z - s_e * per_free * f_z[measured.state])
    return np.stack(columns, axis=1)


# Least squares ----------------------------------------------------------------------------------------------


def _starts(search, measured):
    """Starts (sum of squared differences, z), spread evenly over the ranges and their decades."""
    decades = np.isinf(search.high)
    moduli = decades & [key.endswith("_kPa") for key in search.keys]
    scalable = moduli.any() and moduli.sum() == sum(key.endswith("_kPa") for key in ranges(search.kind))
    middle = np.where(moduli, np.log10(np.abs(measured.stress).max()), 0.0)
    shaping = moduli.size - scalable
    for point in qmc.Sobol(moduli.size, rng=0).random(TRIES**shaping):
        z = np.where(decades, middle + SPREAD * (2 * point - 1), 2 * point - 1)
        s = stresses(search.law(z), measured)
        factor = s @ measured.stress / (s @ s) if scalable and s.any() else float(not scalable)
        if factor > 0:
            z = np.clip(z + np.log10(factor) * moduli, *search.limits)
            yield ((factor * s - measured.stress) ** 2).sum(), z


def _least_squares(search, z, measured):
    """scipy's result of the least squares from z, differences relative to the measured stresses."""
    size = np.linalg.norm(measured.stress)
    last = None

    @lru_cache(maxsize=2)  # the derivatives are asked for where the stresses have just been
    def at(z: tuple[float, ...]) -> np.ndarray:  # a step of the search changes them little
        nonlocal last
        last = stretches(search.law(np.array(z)), measured, near=last)
        return last

    def differences(z: np.ndarray) -> np.ndarray:
        return (_as_measured(search.law(z), at(tuple(z)), measured) - measured.stress) / size

    def derivatives(z: np.ndarray) -> np.ndarray:
        return slopes(search, z, at(tuple(z)), measured) / size

    exact = dict(ftol=TOLERANCE, xtol=TOLERANCE, gtol=TOLERANCE)
    return least_squares(differences, z, derivatives, bounds=search.limits, max_nfev=STEPS, **exact)


def _fit(search, least, others, measured):
    """Fit from the least squares, the other minima of the squares known."""
    z, m = least.x, measured.stress.size
    stretch = stretches(search.law(z), measured)
    if (stretch <= np.exp(NARROWEST)).any():
        raise NotFitted("the law found leaves a free direction no stretch without stress; hold a parameter")
    stress = _as_measured(search.law(z), stretch, measured)
    squares = ((stress - measured.stress) ** 2).sum()
    values = search.held | dict(zip(search.keys, map(float, search.values(z)), strict=True))
    half, why = _half_widths(search, least, m)
    ends = search.values(np.clip(z + np.maximum(half, AT_LIMIT) * [[-1], [1]], *search.limits)).T.tolist()
    for key, other in _as_good(least, others, m):
        low, high = ends[search.keys.index(key)]
        if not low <= other <= high and not why.get(key, "").startswith("undetermined"):
            why[key] = f"undetermined, {other:.4g} fits as well"
    return Fit(
        kind=search.kind,
        values={key: values[key] for key in ranges(search.kind)},
        intervals={key: tuple(pair) for key, pair in zip(search.keys, ends, strict=True) if key not in why},
        why=dict.fromkeys(search.held, "held") | why,
        stress=stress,
        r2=float(1 - squares / ((measured.stress - measured.stress.mean()) ** 2).sum()),
        rms_kPa=float(np.sqrt(squares / m)),
    )


def _half_widths(search, least, m):
    """Half-widths (k,) of the intervals of z, and by key why a parameter has none; m stresses.

        z_j +- q sqrt(S / (m - k) [(J^T J)^-1]_jj),    S the least sum of squares

    with J the derivatives of the differences by z, whose singular values tell which combinations no stress depends on,
    and q Student's quantile for m - k degrees of freedom; what that takes for granted: README. Source: Seber & Wild
    (1989), ch. 5.
    """
    _, sizes, axes = np.linalg.svd(least.jac, full_matrices=False)
    seen = sizes > HIDDEN * sizes.max()
    degrees = m - least.x.size
    spread = np.sqrt(2 * least.cost / degrees) * t.ppf((1 + CONFIDENCE) / 2, degrees)
    half = spread * np.linalg.norm(axes[seen] / sizes[seen, None], axis=0)
    vague = (half > VAGUE) | (np.abs(axes[~seen]) > AT_LIMIT).any(axis=0)
    at_limit = np.abs(least.x - search.limits).min(axis=0) < AT_LIMIT
    why = {key: "undetermined" for key, so in zip(search.keys, vague, strict=True) if so}
    return half, why | {key: "at its limit" for key, so in zip(search.keys, at_limit, strict=True) if so}


def _as_good(least, others, m):
    """Parameters (key, value) of the other minima that the m stresses do not tell from the least one.

    They lie in the joint region of confidence, S <= (1 + k / (m - k) q) S_least, q Fisher's quantile for k and m - k
    degrees of freedom. So do Ogden's alpha and about -2 alpha for a strip. Source: Seber & Wild (1989), ch. 5.
    """
    k = least.x.size
    limit = (1 + k / (m - k) * f.ppf(CONFIDENCE, k, m - k)) * least.cost
    for search, other in others:
        if other.cost <= limit:
            yield from zip(search.keys, map(float, search.values(other.x)), strict=True)
