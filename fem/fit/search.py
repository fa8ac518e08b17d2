"""What is sought: the parameters of a law, their ranges, and the coordinates in which they are sought.

In the coordinates z, 1 is a large step for each parameter: a factor of ten for those without an upper limit, half of
the range for the others. So neither units nor magnitudes matter.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np

from fem.case import physical
from fem.case.case import schema
from fem.material.laws import Law

DECADES = -6.0, 9.0  # in which parameters without an upper limit are sought; our choice, beyond all skin
DIFFERENCE = 1e-6  # of a coordinate, for derivatives: truncation and round-off are both below 1e-9


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
        """The parameters sought (k,) at z (k,)."""
        limited = np.isfinite(self.high)
        span = np.where(limited, self.high, self.low) - self.low
        return np.where(limited, self.low + span * (z + 1) / 2, 10.0**z)

    def parameters(self, z: np.ndarray) -> dict[str, float]:
        """All parameters at z (k,), in the order of the law."""
        values = self.held | dict(zip(self.keys, map(float, self.values(z)), strict=True))
        return {key: values[key] for key in ranges(self.kind)}

    def law(self, z: np.ndarray) -> Law:
        """The law at z (k,)."""
        return physical.law({"kind": self.kind, **self.parameters(z)})


@cache
def ranges(kind: str) -> dict[str, list[tuple[float, float]]]:
    """Ranges (low, high) that each parameter of a law may lie in, by its key; those of the schema of a case."""
    known = {key: about for key, about in schema()["$defs"][kind]["properties"].items() if "const" not in about}
    parts = {key: about.get("anyOf", [about]) for key, about in known.items()}
    smallest = np.nextafter(0.0, np.inf)  # of what must be above 0, all that has no minimum
    return {key: [(p.get("minimum", smallest), p.get("maximum", np.inf)) for p in of] for key, of in parts.items()}


def narrowed(parts: list[tuple[float, float]], least: float, greatest: float) -> list[tuple[float, float]]:
    """The parts (low, high) of a range that lie between two values."""
    ends = [(max(low, least), min(high, greatest)) for low, high in parts]
    return [(low, high) for low, high in ends if low < high]
