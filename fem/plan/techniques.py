"""The techniques that a case can name.

Adding one: a function of an outline that returns a Plan and one entry; its keyword arguments are the keys of a case
file, and the docstring's line on each is their description.
"""

from collections.abc import Callable

from fem.plan.flaps import FLAPS
from fem.plan.named_points import named_points
from fem.plan.plan import Plan, side_to_side
from fem.plan.purse_string import purse_string
from fem.plan.trim import trimmed

TECHNIQUES: dict[str, Callable[..., Plan]] = {
    "side-to-side": side_to_side,
    "trimmed": trimmed,
    "purse-string": purse_string,
    **FLAPS,
    "named-points": named_points,
}
