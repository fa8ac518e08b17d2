"""What is known of a case before any mesh: its geometry, where cones are to be expected, and what is unusual."""

import math
from collections.abc import Iterable
from typing import Any, cast

from fem.case import physical, site
from fem.case.case import Case
from fem.case.keys import KNOT_PULL, Patch
from fem.geometry.outlines import facts
from fem.material.bending import BENDING_POISSON, bending_stiffness, buckling_tension
from fem.material.laws import young_modulus
from fem.plan import junctions
from fem.plan.plan import removed_area, removed_skin
from fem.plan.trim import lengths

UNITS = {"_mm": "mm", "_mm2": "mm2", "_deg": "deg", "_N_per_m": "N/m", "": ""}  # as names end -> as they are written


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


def report(case: Case) -> str:
    """The geometry of a case, how its edges match and where cones are to be expected, as lines of text."""
    rows = [f"{case.name}: {case.wound.outline.kind}, {case.closure.technique}"]
    rows += [_row(name, value) for name, value in geometry(case).items()]
    if case.closure.technique == "trimmed":
        cut = lengths(physical.outline(case.wound.outline), case.closure.model_dump())
        rows.append(_row("cut_beyond_tips_mm", list(cut)) + (" at most" if case.closure.under_mm else ""))
    if left := physical.forces_left(case):
        shares = ", ".join(f"{100 * share:.0f} % after {t:g} s" for t, share in left.items())
        rows.append(f"  {'force left':<18}{shares}")
    return "\n".join([*rows, *_forecast(physical.plan(case))])


def _row(name, value):
    """A line on a number or a list of them; its name ends in the unit."""
    end = next(end for end in UNITS if name.endswith(end))
    numbers = [number for number in (value if isinstance(value, list) else [value]) if number is not None]
    values = [f"{number:.2f}" if end else f"{number:.3f}" for number in numbers]
    shown = f"{', '.join(values)} {UNITS[end]}" if values else "none"
    return f"  {name.removesuffix(end).replace('_', ' '):<18}{shown}".rstrip()


def _forecast(plan):
    """How the edges of each seam match, and the angle deficits where points meet, as lines of text."""
    rows = ["  seams             first edge, second edge, ratio"]
    for k, (seam, ratio) in enumerate(zip(plan.seams, junctions.ratios(plan), strict=True), start=1):
        rows.append(f"    {k:<16}{seam[0].length:.2f} mm, {seam[1].length:.2f} mm, {ratio:.3f}")
    rows.append(
        "  points that meet  angle deficit, degrees; above 0 a cone may stand, below 0 the skin dips or saddles"
    )
    met, along = junctions.junctions(plan), junctions.spread(plan)
    for k, junction in enumerate(met, start=1):
        places = " = ".join(f"({x + 0.0:.1f}, {y + 0.0:.1f})" for x, y in junction.places.T.round(1))
        ending = "" if junction.closed else ", the end of an open edge"
        rows.append(f"    {k:<16}{_signed(junction.deficit)}  at {places}{ending}")
    for k, deficit in enumerate(along, start=1):
        if abs(deficit) > junctions.SUM:
            rows.append(f"    {'':<16}{_signed(deficit)}  spread along seam {k}")
    total = sum(m.deficit for m in met) + along.sum()
    return [*rows, f"    {'sum':<16}{_signed(total)}"]


def _signed(angle):
    """An angle in degrees with its sign; 0 without one."""
    return f"{round(math.degrees(angle), 1) + 0.0:>+7.1f}".replace("+0.0", " 0.0")


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
