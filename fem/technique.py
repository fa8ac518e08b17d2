"""The techniques that a case can name.

Adding one: a function of an outline that returns a Plan and one entry; its keyword arguments are the keys of a case
file, and the docstring's line on each is their description.
"""

from collections.abc import Callable

from fem.flap import FLAPS
from fem.plan import Plan, side_to_side
from fem.purse import purse_string
from fem.sketch import drawn
from fem.trim import trimmed

TECHNIQUES: dict[str, Callable[..., Plan]] = {
    "side-to-side": side_to_side,
    "trimmed": trimmed,
    "purse-string": purse_string,
    **FLAPS,
    "drawn": drawn,
}
