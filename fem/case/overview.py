"""What is known of a case before any mesh: its geometry, where cones are to be expected, and what is unusual."""

import math
from collections.abc import Iterable
from typing import Any, cast

from fem.case import physical, site
from fem.case.case import Case
from fem.case.keys import KNOT_PULL, Patch
from fem.geometry.outlines import facts
from fem.material.laws import young_modulus
from fem.material.skin import BENDING_POISSON, bending_stiffness, buckling_tension
from fem.plan.plan import removed_area, removed_skin


def geometry(case: Case) -> dict[str, Any]:
    """What is known of a case before any mesh, by the names of the measures where they are measures too."""
    known, plan = facts(physical.excised(case)), physical.plan(case)
    skin, lesion, zone = case.skin, case.wound.lesion, plan.undermined
    known["removed_area_mm2"] = removed_area(plan)
    if lesion is not None:
        known["healthy_removed_mm2"] = known["removed_area_mm2"] - math.pi / 4 * lesion.diameter_mm**2
    known["undermined_area_mm2"] = 0.0 if zone is None else zone.difference(removed_skin(plan)).area
    known["pretension_N_per_m"] = [skin.tension.along_N_per_m, skin.tension.across_N_per_m]
    known["prestretch"] = physical.prestretch(skin.tension, skin.law, h=skin.thickness_mm).tolist()
    known["patch_radius_mm"] = case.patch and case.patch.radius_mm
    return known


def warnings(case: Case) -> list[str]:
    """What is unusual about a case: values outside the ranges of its site, or of any skin; skin that may buckle."""
    squeezed = -min(case.skin.tension.along_N_per_m, case.skin.tension.across_N_per_m)
    modulus = young_modulus(physical.law(case.skin.law))
    flat = 1e3 * buckling_tension(
        D=bending_stiffness(modulus, h=case.skin.thickness_mm, poisson=BENDING_POISSON),
        poisson=BENDING_POISSON,
        lift=physical.springs(case.bed)[0],
        radius=cast(Patch, case.patch).radius_mm,
    )
    buckles = (
        f"skin.tension squeezes the skin by {squeezed:.3g} N/m; even uncut it buckles at about {flat:.3g} N/m, "
        "so cones and dips may be its own"
    )
    return site.warnings(case.model_dump()) + ([buckles] if squeezed > flat else [])


def overloaded(case: Case, forces: Iterable[float]) -> list[str]:
    """A line if one of the forces (n,), N, on sutures between edges is more than the stated thread's knot holds."""
    size = getattr(case.closure.sutures, "thread_size", None)
    if size is None or max(forces) <= KNOT_PULL[size]:
        return []
    strength = f"the knot-pull strength of absorbable {size} is {KNOT_PULL[size]:g} N (USP <881>, from memory)"
    return [f"a suture carries {max(forces):.2f} N; {strength}"]
