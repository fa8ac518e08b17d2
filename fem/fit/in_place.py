"""Skin in place, from tests of what was excised: there it was longer by its natural stretch, thinner, and taut.

    a_i = 1 / (1 - s_i),    s the retraction: the share of its length in place that skin loses when it is excised
    h = H / (a_1 a_2),      H the thickness of the unloaded specimen

What a law's stress is in place follows from it and the a_i alone.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fem.case.keys import LARGEST_STRETCH, SMALLEST_STRETCH
from fem.fit.certainty import of_numbers
from fem.fit.estimate import Fit
from fem.fit.tensile import AXES, Measured
from fem.material.laws import Law
from fem.material.skin import KPA, N_PER_M, resistance, tension

LEAST, GREATEST = (100 * (1 - 1 / stretch) for stretch in (SMALLEST_STRETCH, LARGEST_STRETCH))  # retraction, percent
DECIMALS = 3  # of a stretch as it is printed and compared; our choice


@dataclass(frozen=True)
class InPlace:
    """What a fit says of the skin before it was excised. A number has an interval, or a reason in `why`."""

    retraction_percent: tuple[float, float]  # along and across the lines
    stretch: np.ndarray  # (2,) natural
    thickness: float  # mm
    values: dict[str, float]  # line tension, stress and tangent modulus both ways, the unit in the name
    intervals: dict[str, tuple[float, float]]
    why: dict[str, str]
    untested: list[tuple[str, float, float | None]]  # direction, stretch, and the last one tested; None if none was
    both_ways: bool  # in some state the specimen was stretched one way, and stretched or held the other


def natural_stretch(retraction_percent: Sequence[float]) -> np.ndarray:
    """Stretch (2,) in place of skin that loses these percents of its length in place along and across the lines."""
    return 1 / (1 - np.array(retraction_percent) / 100)


def in_place(fit: Fit, measured: Measured, *, retraction_percent: tuple[float, float], thickness: float) -> InPlace:
    """What the law fitted to measured states says of skin in place.

    retraction_percent   along and across the lines, LEAST to GREATEST; taken as exact, as is the thickness
    thickness            of the unloaded specimen, mm
    """
    stretch = natural_stretch(retraction_percent)
    h = float(thickness / stretch.prod())
    values, intervals, why = of_numbers(fit.known, lambda law: carried(law, stretch, h=h))
    at_least_held = ((measured.stretch >= 1) & ~measured.free).all(axis=0)
    both_ways = bool((at_least_held & (measured.stretch > 1).any(axis=0)).any())
    untested = _untested(measured, stretch)
    return InPlace(retraction_percent, stretch, h, values, intervals, why, untested, both_ways)


def carried(law: Law, stretch: np.ndarray, *, h: float) -> dict[str, float]:
    """Line tension, stress and tangent modulus of skin as thick as h, mm, at its natural stretch (2,).

        E_i = dsigma_i / de_i, the stress of the other direction kept: 3 mu without stretch

    with Cauchy stress sigma and log stretch e. A force per section in place, as a gauge on skin would take it, grows
    by E_i - sigma_i per strain from there on.
    """
    quantities = {
        "line_tension_{}_N_per_m": N_PER_M * tension(law, stretch, h=h),
        "stress_{}_kPa": KPA * tension(law, stretch, h=1.0),
        "modulus_{}_kPa": KPA * resistance(law, stretch, h=1.0),
    }
    return {name.format(way): float(v) for name, pair in quantities.items() for way, v in zip(AXES, pair, strict=True)}


def _untested(measured, stretch):
    """Directions in which skin in place is stretched further than in any test, or squeezed further."""
    beyond = []
    for axis, a in enumerate(stretch.round(DECIMALS).tolist()):
        tested = np.append(measured.stretch[axis, ~measured.free[axis]], 1.0).round(DECIMALS)
        if not tested.min() <= a <= tested.max():
            nearest = float(tested.max() if a > 1 else tested.min())
            beyond.append((AXES[axis], a, None if measured.free[axis].all() else nearest))
    return beyond
