"""Parameters of a law from tension tests: least squares from many starts."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from itertools import product

import numpy as np
from scipy.optimize import least_squares
from scipy.optimize.elementwise import find_root
from scipy.stats import qmc

from fem.errors import NotFitted
from fem.fit.certainty import Certainty, certainty, of_parameters
from fem.fit.search import DIFFERENCE, Search, narrowed, ranges
from fem.fit.tensile import Measured
from fem.material.skin import KPA, tension

SPREAD = 3.0  # decades either way in which starts are spread; our choice
TRIES = 4  # to the power of the number of parameters that shape the curve: starts looked at; our choice
POLISHED = 6  # of them, from which the least squares are found, over all ranges; our choice
STEPS = 300  # of the least squares from one start; our choice, ten to fifty are usual
SAME = 1e-3  # relative difference of sums of squares that no data can tell; our choice
TOLERANCE = 1e-10  # of the least squares, relative; our choice, far below any scatter
NARROWEST, WIDEST = np.log(0.005), np.log(200.0)  # of a stress-free direction, log stretch; our choice, beyond all skin
NEAR = 0.1  # log stretch either way of a known one in which the next one is found by Newton's method; our choice
CLOSE, FEW = 1e-9, 8  # log stretch, of its last step, after which the error is its square; most steps; our choice


@dataclass(frozen=True)
class Fit:
    """A law fitted to measured stresses. A parameter has an interval, or a reason in `why` that it has none."""

    kind: str
    values: dict[str, float]  # by the keys of a case's skin.law
    intervals: dict[str, tuple[float, float]]  # in which the true value lies with CONFIDENCE
    why: dict[str, str]
    known: Certainty
    stress: np.ndarray  # (m,) kPa, the law's in the measured states
    r2: float  # 1 - sum of squared differences / that of the measured stresses from their mean
    rms_kPa: float  # root of the mean squared difference


def fit(measured: Measured, kind: str, *, held: dict | None = None, within: dict | None = None) -> Fit:
    """Fit of a law to measured stresses, some of its parameters held at given values.

        sum of (sigma_i(p) - stress_i)^2 -> least

    kind      law, as in LAWS, proportional to its moduli: the parameters whose keys end in _kPa, all together
    held      values by key, each in its range
    within    narrower ranges (low, high) by key; a range in two parts is searched in both

    Raises ValueError if the stresses are too few or all the same, NotFitted.
    """
    held, within = held or {}, within or {}
    sought = {key: parts for key, parts in ranges(kind).items() if key not in held}
    known = {key: narrowed(parts, *within.get(key, (-np.inf, np.inf))) for key, parts in sought.items()}
    if measured.stress.size <= len(known):
        raise ValueError(
            f"{measured.stress.size} stresses for {len(known)} parameters ({', '.join(known)}); "
            f"wanted {len(known) + 1} or more, or parameters held"
        )
    if np.ptp(measured.stress) == 0:
        raise ValueError(f"all stresses are {measured.stress[0]:g} kPa, which tells nothing of a law")
    ends = [map(np.array, zip(*parts, strict=True)) for parts in product(*known.values())]
    searches = [Search(kind, held, tuple(known), low, high) for low, high in ends]
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

    near   (2, n) those of a similar law, from which they are sought first: a few steps of Newton's method

    Fibres that pull beyond all bounds, as on trial they may, leave none above NARROWEST, which then stands for it.
    """

    def stretched(e: np.ndarray, other: np.ndarray, axis: np.ndarray) -> np.ndarray:
        return np.where(np.arange(2)[:, None] == axis, np.exp(e), other)

    def pull(e: np.ndarray, other: np.ndarray, axis: np.ndarray) -> np.ndarray:
        return np.where(axis == 0, *tension(law, stretched(e, other, axis), h=1.0))

    def step(e: np.ndarray) -> np.ndarray:
        """Of Newton's method; the pull 2 C dpsi/dC changes by 4 (C^2 d2psi/dC^2 + C dpsi/dC) per log stretch."""
        C = stretched(e, other, axis) ** 2
        _, dpsi, ddpsi = law(np.array([*C, 0 * e]))
        pulls, slopes = (2 * C * dpsi[:2], 4 * (C**2 * ddpsi[[0, 1], [0, 1]] + C * dpsi[:2]))
        return np.where(axis == 0, *pulls) / np.where(axis == 0, *slopes)

    axis, state = np.nonzero(measured.free)
    other = measured.stretch[1 - axis, state]
    stretch = measured.stretch.copy()
    roots, left = np.zeros(axis.size), np.ones(axis.size, bool)
    if near is not None and axis.size:
        start = roots = np.log(near[axis, state])
        with np.errstate(all="ignore"):  # a step too far is left to what follows
            for _ in range(FEW):
                d = step(roots)
                roots, left = roots - d, ~((np.abs(d) < CLOSE) & (np.abs(roots - start) < NEAR))
                if not left.any():
                    break
    if left.any():
        ends = tuple(np.full(left.sum(), end) for end in (NARROWEST, WIDEST))
        rest = find_root(pull, ends, args=(other[left], axis[left]))
        roots[left] = np.where(rest.success, rest.x, NARROWEST)
    stretch[axis, state] = np.exp(roots)
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
    stretch = stretches(search.law(least.x), measured)
    if (stretch <= np.exp(NARROWEST)).any():
        raise NotFitted("the law found leaves a free direction no stretch without stress; hold a parameter")
    stress = _as_measured(search.law(least.x), stretch, measured)
    squares = ((stress - measured.stress) ** 2).sum()
    known = certainty(search, least, others, measured.stress.size)
    intervals, why = of_parameters(known)
    why = dict.fromkeys(search.held, "held") | why
    r2 = float(1 - squares / ((measured.stress - measured.stress.mean()) ** 2).sum())
    rms_kPa = float(np.sqrt(squares / measured.stress.size))
    return Fit(search.kind, search.parameters(least.x), intervals, why, known, stress, r2, rms_kPa)
