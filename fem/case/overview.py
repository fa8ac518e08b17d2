"""What is known of a case before any mesh: its geometry, where cones are to be expected, and what is unusual."""

import math
from collections.abc import Iterable
from typing import Any

import shapely

from fem.case import physical, site
from fem.case.case import Case
from fem.case.keys import KNOT_PULL
from fem.geometry.outlines import facts
from fem.material.bending import BENDING_POISSON, bending_stiffness, buckling_tension
from fem.material.laws import young_modulus
from fem.plan import junctions
from fem.plan.plan import removed_area, removed_skin
from fem.plan.trim import lengths


def geometry(case: Case) -> dict[str, Any]:
    """What is known of a case before any mesh, by the names of the measures."""
    known = facts(physical.excised(case))
    lesion, plan = case.wound.lesion, physical.plan(case)
    known["removed_area_mm2"] = removed_area(plan)
    if lesion is not None:
        known["healthy_removed_mm2"] = known["removed_area_mm2"] - math.pi / 4 * lesion.diameter_mm**2
    zone = shapely.Polygon() if plan.undermined is None else plan.undermined
    known["undermined_area_mm2"] = zone.difference(removed_skin(plan)).area
    known["pretension_N_per_m"] = [case.skin.tension.along_N_per_m, case.skin.tension.across_N_per_m]
    skin = case.skin
    known["prestretch"] = physical.prestretch(skin.tension, skin.law, h=skin.thickness_mm).tolist()
    known["patch_radius_mm"] = case.patch and case.patch.radius_mm
    return known


def report(case: Case) -> str:
    """The geometry of a case, how its edges match and where cones are to be expected, as lines of text."""
    rows = [f"{case.name}: {case.wound.outline.kind}, {case.closure.technique}"]
    for name, value in geometry(case).items():
        words, unit = _without_unit(name)
        values = ", ".join(
            f"{v:.2f}" if unit else f"{v:.3f}" for v in (value if isinstance(value, list) else [value]) if v is not None
        )
        rows.append(f"  {words.replace('_', ' '):<18}{values or 'none'} {unit if values else ''}".rstrip())
    if case.closure.technique == "trimmed":
        cut = ", ".join(
            f"{length:.2f}" for length in lengths(physical.outline(case.wound.outline), case.closure.model_dump())
        )
        rows.append(f"  {'cut beyond tips':<18}{cut} mm" + (" at most" if case.closure.under_mm else ""))
    if left := physical.forces_left(case):
        shares = ", ".join(f"{100 * share:.0f} % after {t:g} s" for t, share in left.items())
        rows.append(f"  {'force left':<18}{shares}")
    return "\n".join([*rows, *_forecast(physical.plan(case))])


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


def _without_unit(name):
    """The words of a measure's name, and its unit as it is written."""
    known = {"_mm": "mm", "_mm2": "mm2", "_deg": "deg", "_N_per_m": "N/m"}
    ending = next((ending for ending in known if name.endswith(ending)), "")
    return name.removesuffix(ending), known.get(ending, "")


def warnings(case: Case) -> list[str]:
    """What is unusual about a case: values outside the ranges of its site, or of any skin; skin that may buckle."""
    return [*site.warnings(case.model_dump()), *_buckling(case)]


def _buckling(case):
    """One warning if skin is squeezed by its natural tension so much that it may not lie flat even uncut."""
    squeezed = -min(case.skin.tension.along_N_per_m, case.skin.tension.across_N_per_m)
    h, modulus = case.skin.thickness_mm, young_modulus(physical.law(case.skin.law))
    flat = physical.N_PER_M * buckling_tension(
        D=bending_stiffness(modulus, h=h, poisson=BENDING_POISSON),
        poisson=BENDING_POISSON,
        lift=physical.springs(case.bed)[0],
        radius=case.patch.radius_mm,
    )
    if squeezed <= flat:
        return []
    return [
        f"skin.tension squeezes the skin by {squeezed:.3g} N/m; even uncut it buckles at about {flat:.3g} N/m, "
        "so cones and dips may be its own"
    ]


def overloaded(case: Case, forces: Iterable[float]) -> list[str]:
    """A line if one of the forces (n,), N, on sutures between edges is more than the stated thread's knot holds."""
    size = getattr(case.closure.sutures, "thread_size", None)
    if size is None or max(forces) <= KNOT_PULL[size]:
        return []
    return [
        f"a suture carries {max(forces):.2f} N; the knot-pull strength of absorbable {size} is {KNOT_PULL[size]:g} N "
        "(USP <881>, from memory)"
    ]
