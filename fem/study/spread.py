"""Distributions of inputs, and points that are spread over them."""

import math
from collections.abc import Callable, Iterable, Sequence
from typing import Annotated, Any, Literal

import numpy as np
import scipy  # whose statistics take a while to load: workers, which only solve, go without
from annotated_types import Ge, Le, MultipleOf
from pydantic import AfterValidator, BeforeValidator, Field, ValidationInfo, field_validator

from fem.case.document import Block
from fem.case.keys import Positive, variants
from fem.errors import refuse

Law = Any  # a frozen distribution of scipy.stats
MAX_POINTS = 1_000_000  # our choice: ten times a study of some weeks on a hundred machines
OPEN = 1e-12  # a sample keeps this far from the ends of a distribution without bounds; our choice


def uniform(*, low: float, high: float) -> Law:
    """Evenly between two values.

    low    least value
    high   greatest value
    """
    return scipy.stats.uniform(low, high - low)


def log_uniform(*, low: Positive, high: Positive) -> Law:
    """Evenly between the logarithms of two values.

    low    least value
    high   greatest value
    """
    return scipy.stats.loguniform(low, high)


def triangular(*, low: float, typical: float, high: float) -> Law:
    """Most often near a typical value, never beyond two others.

    low      least value
    typical  most frequent value
    high     greatest value
    """
    return scipy.stats.triang((typical - low) / (high - low), low, high - low)


def normal(*, mean: float, sd: Positive) -> Law:
    """Gauss's.

    mean   mean
    sd     standard deviation
    """
    return scipy.stats.norm(mean, sd)


def lognormal(*, median: Positive, sigma: Positive) -> Law:
    """One whose logarithm is normal.

    median   median
    sigma    standard deviation of the natural logarithm
    """
    return scipy.stats.lognorm(sigma, scale=median)


KINDS = uniform, log_uniform, triangular, normal, lognormal
DISTRIBUTIONS: dict[str, Callable] = {kind.__name__.replace("_", "-"): kind for kind in KINDS}
Distribution = variants(DISTRIBUTIONS, "distribution")


def as_distributions(over: Any) -> Any:
    """Inputs by dotted path, ranges [low, high] among them as uniform distributions."""
    if not isinstance(over, dict):
        return over
    ranges = {path: value for path, value in over.items() if isinstance(value, tuple)}
    refuse([((path,), "wanted [low, high]") for path, value in ranges.items() if len(value) != 2])
    as_blocks = {p: {"distribution": "uniform", "low": low, "high": high} for p, (low, high) in ranges.items()}
    return {**over, **as_blocks}


def in_order(over: dict[str, Any]) -> dict[str, Any]:
    """Refuse no inputs, or bounds that leave nothing between them."""
    if not over:
        raise ValueError("wanted at least one path")
    problems = []
    for path, block in over.items():
        bounds = [value for value in block.model_dump().values() if isinstance(value, float)]
        if hasattr(block, "low") and (bounds != sorted(bounds) or block.low == block.high):
            problems.append(((path,), "wanted low < high, and what is typical between them"))
    refuse(problems)
    return over


Distributions = Annotated[
    dict[str, Distribution],  # type: ignore[valid-type]
    BeforeValidator(as_distributions),
    AfterValidator(in_order),
]


class Sample(Block):
    """Points spread over ranges or distributions."""

    method: Literal["sobol", "latin-hypercube"] = Field(default="sobol", description="how points are spread")
    n: Annotated[float, MultipleOf(1), Ge(1), Le(MAX_POINTS)] = Field(
        description="number of points; of sobol, a power of two"
    )
    seed: Annotated[float, MultipleOf(1), Ge(0)] = Field(default=0.0, description="the same seed gives the same points")
    over: Distributions = Field(description="range [low, high] or distribution by dotted path")

    @field_validator("n")
    @classmethod
    def balanced(cls, n: float, info: ValidationInfo) -> float:
        """Refuse a number of Sobol points that leaves them out of balance."""
        if info.data.get("method") == "sobol" and n != 2 ** round(math.log2(n)):
            raise ValueError(f"got {n:g}, wanted a power of two with method sobol: 2, 4, 8, ...")
        return n


def sample(laws: Sequence[Law], *, n: int, seed: int, method: str = "sobol") -> np.ndarray:
    """Values (d, n) of inputs by their laws at scrambled points: "sobol", n a power of 2, or "latin-hypercube"."""
    kinds = {"sobol": scipy.stats.qmc.Sobol, "latin-hypercube": scipy.stats.qmc.LatinHypercube}
    unit = np.clip(kinds[method](len(laws), rng=seed).random(n).T, OPEN, 1 - OPEN)
    return np.stack([law.ppf(u) for law, u in zip(laws, unit, strict=True)])


def settings_at(paths: Iterable[str], points: np.ndarray) -> list[dict[str, float]]:
    """Settings of points (d, n)."""
    return [dict(zip(paths, map(float, point), strict=True)) for point in points.T]


def sampled(laws: dict[str, Law], **options: Any) -> list[dict[str, float]]:
    """Settings of the points of a sample; options as those of `sample`."""
    return settings_at(laws, sample(list(laws.values()), **options))


def distributions(blocks: dict[str, Any]) -> dict[str, Law]:
    """Distributions of scipy's that blocks of `sample.over` describe, by dotted path."""
    keys = {path: block.model_dump(exclude={"distribution"}) for path, block in blocks.items()}
    return {path: DISTRIBUTIONS[block.distribution](**keys[path]) for path, block in blocks.items()}
