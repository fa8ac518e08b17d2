"""The best design: the least value of one input that keeps limits, or the least of a measure over several inputs.

What is evaluated is given; here a point is one number or a mapping of inputs to values, and NaN is a failed solve.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import product

import numpy as np
from scipy.optimize import NonlinearConstraint, minimize
from scipy.optimize.elementwise import find_root
from scipy.stats import qmc

MOST = 11  # solves of a search over one input; our choice
NEXT = 0.9  # of the tolerance, to make sure of a bracket; our choice
FIRST_STEP, LAST_STEP = 0.2, 5e-4  # of a local search, shares of each input's range; our choice
GAIN = 1e-3  # share by which a local search must improve to be begun again; our choice
BAD = 10.0  # stands for a failed solve in a local search, in units of the goal and of the limits; our choice
EXPLORED = 1 / 3  # of the budget goes to points all over the ranges; our choice


# One input ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Least:
    """What is known of the least value that keeps the limits."""

    value: float | None  # the least evaluated one that keeps them, all above it doing so as far as evaluated
    too_low: float | None  # the greatest evaluated one below it that does not; None if the range starts at value
    excess: dict[float, float]  # by how much every value evaluated exceeds the limits, 0 or less if not
    why: str  # "found", "everywhere", "nowhere", "end failed", "budget" or "failed between"


def least(excess: Callable, low: float, high: float, *, tolerance: float, budget: int = MOST) -> Least:
    """The least value between two ends that keeps the limits, to a tolerance: a bracket that shrinks about it.

    excess     values (k,) -> by how much each exceeds the limits, 0 or less if it keeps them, NaN if it failed
    tolerance  the value found exceeds one that breaks the limits by no more
    budget     of evaluations

    The ends must differ in keeping them, `low` breaking them. If limits are kept and broken several times, one of the
    crossings is found. A failed value between is left aside, and the bracket cut elsewhere. Source of the bracketing:
    Chandrupatla (1997), as in scipy.
    """
    evaluated: dict[float, float] = {}
    digits = math.ceil(-math.log10(tolerance)) + 1  # values are rounded to a tenth to a hundredth of the tolerance

    def at(values: np.ndarray) -> np.ndarray:
        near = [float(v) if v in (low, high) else round(float(v), digits) for v in np.ravel(values)]
        fresh = [v for v in dict.fromkeys(near) if v not in evaluated]
        evaluated.update(zip(fresh, map(float, excess(fresh)), strict=True) if fresh else ())
        return np.array([evaluated[v] for v in near]).reshape(np.shape(values))

    first, last = at(np.array([low, high]))
    if np.isnan([first, last]).any():
        return Least(None, None, evaluated, "end failed")
    if last > 0:
        return Least(None, None, evaluated, "nowhere")
    if first <= 0:
        return Least(low, None, evaluated, "everywhere")
    while True:
        a, b = bracket(evaluated)
        left = budget - len(evaluated)
        if b - a <= tolerance:
            return Least(b, a, evaluated, "found")
        if left <= 0:
            return Least(b, a, evaluated, "failed between" if any(a < x < b for x in evaluated) else "budget")
        limits = {"xatol": tolerance, "xrtol": 0, "fatol": 0, "frtol": 0}
        find_root(at, (a, b), tolerances=limits, maxiter=left)
        a, b = bracket(evaluated)
        if b - a > tolerance and len(evaluated) < budget:  # it stopped at a failure, or very near the limit
            at(np.array([_between(evaluated, a, b, tolerance)]))


def _between(evaluated, a, b, tolerance):
    """Where to look next: amid the widest gap between failures, or close to the end that all but meets the limit."""
    known = np.array(sorted(x for x in evaluated if a <= x <= b))
    if known.size > 2:
        widest = np.diff(known).argmax()
        return known[widest : widest + 2].mean()
    return a + NEXT * tolerance if abs(evaluated[a]) <= abs(evaluated[b]) else b - NEXT * tolerance


def bracket(evaluated: dict[float, float]) -> tuple[float, float]:
    """The least value that keeps the limits, and before it the greatest that does not."""
    b = min(x for x, excess in evaluated.items() if excess <= 0)
    return max(x for x, excess in evaluated.items() if x < b and excess > 0), b


# Several inputs -----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Trial:
    """A point that was evaluated."""

    point: dict
    goal: float  # NaN if a solve failed
    excess: tuple[float, ...]  # over each limit, as a share of it or of 1; 0 or less if kept

    @property
    def kept(self) -> bool:
        """Whether it is known to keep every limit."""
        return bool(np.isfinite(self.goal)) and all(excess <= 0 for excess in self.excess)

    @property
    def worst(self) -> float:
        """Its greatest excess; infinite if a solve failed."""
        return float(max(self.excess, default=0.0)) if np.isfinite(self.goal) else np.inf


def trials(judge: Callable, ranges: dict, choices: dict, *, budget: int, seed: int) -> list[Trial]:
    """Everything evaluated while looking for the least goal within the limits; `best` tells the answer.

    judge    points -> rows of numbers (k, 1 + limits): the goal and the excess over each limit, NaN if it failed
    ranges   input -> (low, high)
    choices  input -> its possible values
    budget   of points

    Every combination of the choices is searched alike: points of Sobol's all over the ranges, then from the best of
    them a local search that asks for no derivatives (COBYLA, Powell 1994, as in scipy) and takes failures for bad
    points; it is begun again from its end until that gains nothing, for it may get stuck in a corner.
    """
    combinations = [dict(zip(choices, values, strict=True)) for values in product(*choices.values())]
    share = max(1, budget // len(combinations))
    count, spread_out = max(1, int(EXPLORED * share)), np.zeros((1, 0))
    if ranges:  # points (count, d) of the unit cube
        spread_out = qmc.Sobol(len(ranges), rng=seed).random_base2(int(np.ceil(np.log2(count))))[:count]
    starts = [_point(unit, ranges, chosen) for chosen in combinations for unit in spread_out]
    done = _judged(judge, starts)
    if ranges:
        for k, chosen in enumerate(combinations):
            begun = done[k * len(spread_out) : (k + 1) * len(spread_out)]
            done += _nearby(judge, ranges, chosen, begun, budget=share - len(spread_out))
    return done


def best(done: list[Trial]) -> Trial | None:
    """The trial with the least goal of those that keep all limits; None if none does."""
    return min((trial for trial in done if trial.kept), key=lambda trial: trial.goal, default=None)


def _point(unit, ranges, chosen):
    inside = zip(unit, ranges.items(), strict=True)
    return chosen | {name: float(low + u * (high - low)) for u, (name, (low, high)) in inside}


def _judged(judge, points):
    rows = np.asarray(judge(points), float)
    return [Trial(point, float(row[0]), tuple(map(float, row[1:]))) for point, row in zip(points, rows, strict=True)]


def _nearby(judge, ranges, chosen, begun, *, budget):
    """Trials of local searches from the most promising of `own`; from the next if that led to none within limits."""
    spent: list[Trial] = []
    for start in sorted(begun, key=_promise):
        if not np.isfinite(start.goal) or len(spent) >= budget or best(spent):
            break
        spent += _improved(judge, ranges, chosen, start, budget=budget - len(spent))
    return spent


def _improved(judge, ranges, chosen, start, *, budget):
    """Trials of local searches, each from the best of the one before, as long as they find better."""
    spent: list[Trial] = []
    while len(spent) < budget:
        spent += _descent(judge, ranges, chosen, start, budget=budget - len(spent))
        better = min([start, *spent], key=_promise)
        (_, before), (_, after) = _promise(start), _promise(better)
        if better.kept == start.kept and before - after <= GAIN * abs(before):
            break
        start = better
    return spent


def _promise(trial):
    """Sorts trials: by goal those within limits, then by their excess the others, then failures.

    The second of both is what a local search improves.
    """
    return not trial.kept, trial.goal if trial.kept else trial.worst


def _descent(judge, ranges, chosen, start, *, budget):
    lows, widths = np.array([(low, high - low) for low, high in ranges.values()]).T
    x0 = (np.array([start.point[name] for name in ranges]) - lows) / widths
    size = max(abs(start.goal), 1e-9)
    known = {tuple(x0): start}
    finite = partial(np.nan_to_num, nan=BAD)

    def at(x: np.ndarray) -> Trial:
        unit = tuple(np.clip(x, 0, 1))
        if unit not in known and len(known) > budget:  # scipy's own limit has a least value
            return start
        if unit not in known:
            known[unit] = _judged(judge, [_point(unit, ranges, chosen)])[0]
        return known[unit]

    minimize(
        lambda x: finite(at(x).goal / size), x0, method="COBYLA", bounds=[(0, 1)] * len(ranges),
        constraints=[NonlinearConstraint(lambda x: finite(at(x).excess), -np.inf, 0)] if start.excess else (),
        options={"maxiter": max(budget, len(ranges) + 2), "rhobeg": FIRST_STEP, "tol": LAST_STEP},
    )  # fmt: skip
    return list(known.values())[1:]


# What is gained, and what it costs ----------------------------------------------------------------------------


def front(x: Sequence[float] | np.ndarray, y: Sequence[float] | np.ndarray) -> list[int]:
    """Places of the points of which no other has both less or equal x and less or equal y, by x; NaN never counts."""
    x, y = np.asarray(x, float), np.asarray(y, float)
    order = [i for i in np.lexsort((y, x)) if np.isfinite(x[i] + y[i])]
    lowest: np.ndarray = np.minimum.accumulate(y[order])
    return [i for k, i in enumerate(order) if k == 0 or y[i] < lowest[k - 1]]
