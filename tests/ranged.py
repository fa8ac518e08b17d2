"""Results in slack, typical and tense skin of a forearm, whose cones are as high as a test says."""

from small_cases import case

from fem.results.result import Result

ARM = """\
name: arm
wound: {outline: {kind: lens, length_mm: 30, width_mm: 10}}
closure: {undermine_mm: 6}
skin: {site: forearm}
"""
LENS = "kind: lens, length_mm: 30, width_mm: 10"
NUMBERS = {"scar_length_mm": 30.0, "closing_force_N": 1.0}


def made(name, heights, outline=LENS, site="forearm"):
    """A result and those of its ends, cones so high in slack, typical and tense skin; None is not closed."""
    typical = case(ARM.replace("arm\n", f"{name}\n", 1).replace("forearm", site).replace(LENS, outline))
    slack, own, tense = (
        Result(typical, reason="never met")
        if height is None
        else Result(typical, measures=NUMBERS | {"cone_height_mm": height, "scar_length_mm": 30 + height})
        for height in heights
    )
    return own, {"slack": slack, "tense": tense}
