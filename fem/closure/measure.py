"""The numbers asked of a closed wound: each a function of a Closure, here listed; its unit ends its name.

Lists, one entry a tip, run from left to right, then from below. Stress has no limit at corners of the plan, nor line
tension at the ends of scars, so their measures leave out TIP_ZONE there; those of stress that nothing is left for, in a
wound of a few mm, are None. The greatest values, last in the list, still depend on the triangles.
"""

from collections.abc import Callable
from typing import Any

from fem.closure.closure import Closure
from fem.closure.measures import cones, scars, skin
from fem.geometry.outlines import facts
from fem.plan.plan import removed_area

MEASURES = {
    "cone_height_mm": cones.cone_height,
    "cones": cones.cones,
    "rise_mm": cones.rise,
    "dip_mm": cones.dip,
    "seam_depth_mm": scars.seam_depth,
    "contour_mm": scars.contour,
    "seam_wave_mm": lambda closure: scars.seam_waves(closure)[0],
    "seam_wave_length_mm": lambda closure: scars.seam_waves(closure)[1],
    "scar_length_mm": scars.scar_length,
    "scar_chord_mm": scars.scar_chord,
    "push_out_mm": scars.push_out,
    "gape_length_mm": lambda closure: scars.gape(closure)[0],
    "gape_width_mm": lambda closure: scars.gape(closure)[1],
    "gape_axis_deg": lambda closure: scars.gape(closure)[2],
    "closing_force_N": scars.closing_force,
    "closing_force_after": scars.closing_force_after,
    "line_tension_mid_N_per_m": scars.line_tension_mid,
    "trim_cut_mm": lambda closure: closure.trimmed and list(closure.trimmed.cut),
    "trim_cones_before_mm": lambda of: of.trimmed and [cone["height_mm"] for cone in cones.cones(of.trimmed.before)],
    "trim_scar_added_mm": lambda closure: added_by_trimming(closure, scars.scar_length),
    "trim_skin_removed_mm2": lambda closure: added_by_trimming(closure, lambda of: removed_area(of.plan)),
    "suture_forces_N": lambda closure: scars.suture_forces(closure, "edges", when_tied=True),
    "suture_forces_final_N": lambda closure: scars.suture_forces(closure, "edges"),
    "purse_force_N": lambda closure: next(iter(scars.suture_forces(closure, "purse") or ()), None),
    "open_area_mm2": scars.open_area,
    "taper_forces_N": lambda closure: scars.suture_forces(closure, "taper"),
    "anchor_forces_N": lambda closure: scars.suture_forces(closure, "anchor"),
    "largest_gap_mm": scars.largest_gap,
    "skin_stress_p99_kPa": skin.skin_stress_p99,
    "skin_stretch_p99": skin.skin_stretch_p99,
    "skin_stress_corner_kPa": skin.skin_stress_corner,
    "compressed_area_mm2": skin.compressed_area,
    "contact_area_mm2": skin.contact_area,
    "contact_pressure_max_kPa": skin.contact_pressure_max,
    "self_intersection_mm2": skin.self_intersection,
    "removed_area_mm2": lambda closure: removed_area(closure.plan),
    "healthy_removed_mm2": lambda closure: removed_area(closure.plan) - closure.lesion_area,
    "tip_angles_deg": lambda closure: facts(closure.outline)["tip_angles_deg"],
    "length_to_width": lambda closure: facts(closure.outline)["length_to_width"],
    "strain_energy_mJ": skin.strain_energy,
    "line_tension_max_N_per_m": scars.line_tension_max,
    "skin_stress_max_kPa": skin.skin_stress_max,
    "skin_stretch_max": skin.skin_stretch_max,
}


def measures(closure: Closure) -> dict[str, Any]:
    """All MEASURES of a closure by name, as plain numbers and lists."""
    return {name: measure(closure) for name, measure in MEASURES.items()}


def added_by_trimming(closure: Closure, measure: Callable[[Closure], Any]) -> Any:
    """What cutting the cones off has added to a measure; None if they are left."""
    return closure.trimmed and measure(closure) - measure(closure.trimmed.before)
