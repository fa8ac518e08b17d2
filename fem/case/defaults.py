"""Patch and triangles where a case leaves them open, and what they may be."""

import math

import numpy as np

from fem.case import physical
from fem.case.keys import Bed, MeshSize, Skin
from fem.geometry.curve import Outline
from fem.material.skin import stiffness
from fem.plan.plan import Plan, reach

# Patch radius where none is given; our choices. Doubling the radius of the demo's circle and lens moves no measure
# by more than 1 %.
DECAYS = 3.0  # decay lengths of the bed's shear beyond the wound and its undermined zone
ALONE = 10.0  # reaches of the wound and its undermined zone, if no bed holds the skin before that
# Triangles where no size is given; our choices. Sizes of 0.7 times that move cone and force of the demo's 3:1 lens
# by less than 1 %.
SEGMENTS_ACROSS, SEGMENTS_ALONG, RINGS = 20, 80, 15  # edge_mm in the width or in the length, far_mm in the radius
TIP = 0.8  # tip_mm per edge_mm
MIN_SEGMENTS = 4  # an edge; our choice, fewer do not show its curve
MAX_SEGMENTS = 2000  # an edge; our choice, ten times the finest that was of use
MAX_RINGS = 300  # patch radius per far_mm; our choice, some 300 000 vertices


def radius(zone: float, skin: Skin, bed: Bed | None) -> float:
    """Radius of the patch where the case gives none, mm.

    The wound and its undermined zone reach `zone` mm. Beyond, shear springs k_s below the skin let in-plane
    displacements decay over sqrt(E h / k_s), with E h the resistance of the skin under its natural tension to more
    stretch, in the stiffer direction; without springs they fall with the square of the distance.
    """
    law, h, (_, shear) = physical.law(skin.law), skin.thickness_mm, physical.springs(bed)
    compliance = np.linalg.inv(stiffness(law, physical.prestretch(skin.tension, skin.law, h=h), h=h))  # mm/N
    decay = math.sqrt(1 / compliance.diagonal().min() / shear) if shear else math.inf
    return float(f"{min(zone + DECAYS * decay, ALONE * zone):.4g}")


def sizes(mesh: MeshSize, outline: Outline, plan: Plan, radius: float) -> MeshSize:
    """The sizes of triangles, those that the case leaves open filled in, mm; a slit's length counts as its width.

    Raises ValueError if they are too large for the plan's edges or the skin around, or make too many triangles.
    """
    lengths = [edge.length for edges in (*plan.seams, plan.open) for edge in edges]  # of all edges, sewn or open
    shortest, longest, room = min(lengths), max(lengths), radius - reach(plan)
    wanted = max((outline.width or outline.length) / SEGMENTS_ACROSS, outline.length / SEGMENTS_ALONG)
    edge = mesh.edge_mm or min(wanted, shortest / MIN_SEGMENTS)
    tip, far = mesh.tip_mm or TIP * edge, mesh.far_mm or max(edge, radius / RINGS)
    if shortest < MIN_SEGMENTS * edge:
        limit = f"edge_mm of {shortest / MIN_SEGMENTS:.3g} or less"
        raise ValueError(f"an edge of {shortest:.4g} mm needs {MIN_SEGMENTS} segments: {limit}, got {edge:g}")
    if longest > MAX_SEGMENTS * tip:
        limit = f"tip_mm of {longest / MAX_SEGMENTS:.3g} or more"
        raise ValueError(f"an edge of {longest:.4g} mm takes at most {MAX_SEGMENTS} segments: {limit}, got {tip:g}")
    if radius > MAX_RINGS * far:
        limit = f"far_mm of {radius / MAX_RINGS:.3g} or more"
        raise ValueError(f"a patch of radius {radius:.4g} mm needs {limit}, got {far:g}")
    if far > room:
        where = "from the outline or undermined zone to the rim"
        raise ValueError(f"far_mm {far:g} is more than the {room:.3g} mm {where}")
    return MeshSize(edge_mm=edge, tip_mm=tip, far_mm=far)
