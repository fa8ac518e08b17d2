"""What matters most, and how far a measure is spread: samples of uncertain inputs, Sobol indices, pairs of designs.

Inputs vary independently of each other. A value that is not known, since its case has no closure, is NaN.
"""

from dataclasses import dataclass

import numpy as np
from scipy.stats import binomtest, bootstrap, qmc, sobol_indices

from fem.study.spread import OPEN

LEVEL = 0.95  # of all intervals
RESAMPLES = 999  # of the bootstrap, scipy's own default
FEWEST = 8  # complete rows or pairs below which nothing is said; our choice
SHARES = 0.05, 0.25, 0.5, 0.75, 0.95  # of the sample below each quantile of a Scatter; our choice
CONSTANT = 1e-9  # share of its size by which a measure varies at least; our choice, above round-off


@dataclass(frozen=True)
class Indices:
    """Shares of a measure's variance, an entry each input; intervals (2, d) of LEVEL."""

    first: np.ndarray  # what the input explains alone
    total: np.ndarray  # what would be left if all others were known
    first_interval: np.ndarray
    total_interval: np.ndarray
    dropped: int  # of the n rows of the design


@dataclass(frozen=True)
class Scatter:
    """How a measure is spread over a sample."""

    quantiles: np.ndarray  # at SHARES
    known: int
    failed: int


@dataclass(frozen=True)
class Chance:
    """How often one design has less of a measure than another under the same inputs."""

    share: float
    low: float  # ends of its interval of LEVEL
    high: float
    pairs: int  # in which both are known
    ties: int  # of them, in which both are equal


def sample(laws, *, n, seed):
    """Values (d, n) of inputs, each with its distribution of scipy's: scrambled points of Sobol's, n a power of 2."""
    unit = np.clip(qmc.Sobol(len(laws), rng=seed).random(n).T, OPEN, 1 - OPEN)
    return np.stack([law.ppf(u) for law, u in zip(laws, unit, strict=True)])


def design(laws, *, n, seed):
    """Values (d, n (d + 2)) of the inputs at which a measure must be known for its indices.

    Two samples A and B (d, n), then for each input A with that input's values from B. Source: Saltelli et al. (2010).
    """
    d = len(laws)
    A, B = np.split(sample([*laws, *laws], n=n, seed=seed), 2)
    mixed = np.repeat(A[None], d, axis=0)
    mixed[np.arange(d), np.arange(d)] = B
    return np.hstack([A, B, *mixed])


def indices(values, *, n, seed):
    """Indices from the values (n (d + 2),) of a measure at a design; None if nothing can be said of it.

    A row of the design, that is a point of A, the same of B and the d between them, is dropped whole if any of its
    values is missing. None if fewer than FEWEST are left, or if the measure does not vary.
    """
    rows = np.reshape(values, (-1, n))
    whole = np.isfinite(rows).all(axis=0)
    if whole.sum() < FEWEST or np.ptp(rows[:, whole]) <= CONSTANT * np.abs(rows[:, whole]).max():
        return None
    # scipy wants n to be a power of 2: rows that are dropped take the mean, which adds nothing to any sum.
    mean = rows[:2, whole].mean()
    f_A, f_B, f_AB = (np.where(whole, part, mean) for part in (rows[:1], rows[1:2], rows[2:, None]))
    found = sobol_indices(func={"f_A": f_A, "f_B": f_B, "f_AB": f_AB}, n=n)
    f_A, f_B, f_AB = (part[..., whole] - mean for part in (f_A, f_B, f_AB))
    intervals = bootstrap(  # scipy's own for these indices takes no seed
        [np.arange(whole.sum())],
        lambda drawn: np.concatenate(first_and_total(f_A[:, drawn], f_B[:, drawn], f_AB[..., drawn])),
        n_resamples=RESAMPLES, confidence_level=LEVEL, method="percentile", rng=seed,
    ).confidence_interval  # fmt: skip
    first, total = np.stack(intervals, axis=1)
    alone, with_all = (np.atleast_1d(order) for order in (found.first_order, found.total_order))  # scipy squeezes
    return Indices(alone, with_all, first, total, int((~whole).sum()))


def first_and_total(f_A, f_B, f_AB):
    """First-order and total indices (s, d) from centred values f_A, f_B (s, n) and f_AB (d, s, n).

        S_i = mean(f_B (f_AB_i - f_A)) / var,    T_i = mean((f_A - f_AB_i)^2) / 2 var

    Source: Saltelli et al. (2010), table 2 (b) and (f), as scipy has them.
    """
    variance = np.var([f_A, f_B], axis=(0, -1))
    first = (f_B * (f_AB - f_A)).mean(axis=-1) / variance
    total = ((f_A - f_AB) ** 2).mean(axis=-1) / (2 * variance)
    return first.T, total.T


def scatter(values):
    """Scatter of the values (n,) of a measure; None if fewer than FEWEST are known."""
    known = np.asarray(values)[np.isfinite(values)]
    if known.size < FEWEST:
        return None
    return Scatter(np.quantile(known, SHARES), known.size, len(values) - known.size)


def lower(ours, theirs):
    """Chance that the first of two measures (n,) under the same inputs is lower; None if too few pairs are known.

    The interval is Wilson's (1927), for independent draws; points of Sobol's lie more evenly, so it is a little wide.
    """
    ours, theirs = np.asarray(ours), np.asarray(theirs)
    both = np.isfinite(ours) & np.isfinite(theirs)
    if both.sum() < FEWEST:
        return None
    less, pairs = int((ours[both] < theirs[both]).sum()), int(both.sum())
    interval = binomtest(less, pairs).proportion_ci(LEVEL, method="wilson")
    return Chance(less / pairs, interval.low, interval.high, pairs, int((ours[both] == theirs[both]).sum()))
