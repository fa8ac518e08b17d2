"""Distributions of inputs, and points that are spread over them."""

import math
from collections.abc import Callable
from typing import Annotated, Literal

from annotated_types import Ge, Le, MultipleOf
from pydantic import BaseModel, Field, field_validator

from fem.case.keys import STRICT, Positive, variants
from fem.errors import BadValue

MAX_POINTS = 1_000_000  # our choice: ten times a study of some weeks on a hundred machines
OPEN = 1e-12  # a sample keeps this far from the ends of a distribution without bounds; our choice


def uniform(*, low: float, high: float):
    """Evenly between two values.

    low    least value
    high   greatest value
    """
    from scipy import stats

    return stats.uniform(low, high - low)


def log_uniform(*, low: Positive, high: Positive):
    """Evenly between the logarithms of two values.

    low    least value
    high   greatest value
    """
    from scipy import stats

    return stats.loguniform(low, high)


def triangular(*, low: float, typical: float, high: float):
    """Most often near a typical value, never beyond two others.

    low      least value
    typical  most frequent value
    high     greatest value
    """
    from scipy import stats

    return stats.triang((typical - low) / (high - low), low, high - low)


def normal(*, mean: float, sd: Positive):
    """Gauss's.

    mean   mean
    sd     standard deviation
    """
    from scipy import stats

    return stats.norm(mean, sd)


def lognormal(*, median: Positive, sigma: Positive):
    """One whose logarithm is normal.

    median   median
    sigma    standard deviation of the natural logarithm
    """
    from scipy import stats

    return stats.lognorm(sigma, scale=median)


DISTRIBUTIONS: dict[str, Callable] = {
    "uniform": uniform,
    "log-uniform": log_uniform,
    "triangular": triangular,
    "normal": normal,
    "lognormal": lognormal,
}


Distribution = variants(DISTRIBUTIONS, "distribution")


class Sample(BaseModel):
    """Points spread over ranges or distributions."""

    model_config = STRICT
    method: Literal["sobol", "latin-hypercube"] = Field(default="sobol", description="how points are spread")
    n: Annotated[float, MultipleOf(1), Ge(1), Le(MAX_POINTS)] = Field(
        description="number of points; of sobol, a power of two"
    )
    seed: Annotated[float, MultipleOf(1), Ge(0)] = Field(default=0.0, description="the same seed gives the same points")
    over: dict[str, Distribution] = Field(  # type: ignore[valid-type]
        description="range [low, high] or distribution by dotted path"
    )

    @field_validator("n")
    @classmethod
    def balanced(cls, n, info):
        """Refuse a number of Sobol points that leaves them out of balance."""
        if info.data.get("method") == "sobol" and n != 2 ** round(math.log2(n)):
            raise ValueError(f"got {n:g}, wanted a power of two with method sobol: 2, 4, 8, ...")
        return n

    @field_validator("over", mode="before")
    @classmethod
    def as_distributions(cls, over):
        """The ranges as uniform distributions."""
        if not isinstance(over, dict):
            return over
        ranges = {path: value for path, value in over.items() if isinstance(value, tuple)}
        wrong = [path for path, value in ranges.items() if len(value) != 2]
        if wrong:
            raise BadValue([((path,), "wanted [low, high]") for path in wrong])
        as_blocks = {p: {"distribution": "uniform", "low": low, "high": high} for p, (low, high) in ranges.items()}
        return {**over, **as_blocks}

    @field_validator("over")
    @classmethod
    def in_order(cls, over):
        """Refuse none, or bounds that leave nothing between them."""
        if not over:
            raise ValueError("wanted at least one path")
        problems = []
        for path, chosen in over.items():
            bounds = [value for value in chosen.model_dump().values() if isinstance(value, float)]
            if hasattr(chosen, "low") and (bounds != sorted(bounds) or chosen.low == chosen.high):
                problems.append(((path,), "wanted low < high, and what is typical between them"))
        if problems:
            raise BadValue(problems)
        return over


def sampled(sample) -> list[dict[str, float]]:
    """Settings of a sample's points."""
    import numpy as np
    from scipy.stats import qmc

    kinds = {"sobol": qmc.Sobol, "latin-hypercube": qmc.LatinHypercube}
    spread = kinds[sample.method](len(sample.over), rng=int(sample.seed)).random(int(sample.n))
    spread = np.clip(spread, OPEN, 1 - OPEN)
    columns = [distribution(one).ppf(u) for one, u in zip(sample.over.values(), spread.T, strict=True)]
    return [dict(zip(sample.over, map(float, row), strict=True)) for row in zip(*columns, strict=True)]


def distribution(chosen):
    """The scipy.stats distribution that a block of `sample.over` describes."""
    return DISTRIBUTIONS[chosen.distribution](**chosen.model_dump(exclude={"distribution"}))
