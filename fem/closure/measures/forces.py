"""Forces across the scars of a closed wound and in its sutures, and the energy stored in its skin."""

import numpy as np

from fem.case.physical import N_PER_M
from fem.closure.closure import Closure
from fem.closure.measures.cones import TIP_ZONE
from fem.closure.measures.scars import segment_lengths, total
from fem.mechanics.sheet import assemble


def seam_force(closure: Closure, scar: np.ndarray) -> np.ndarray:
    """Force (k,) in N across each segment of a scar, positive where the edges pull apart; its two end nodes left out.

    The nodal force that holds the first edge against its skin, on the left, level and across the seam; a vertex's goes
    to its two segments by their lengths.
    """
    first, _ = scar
    p = closure.x[:2, first]
    along = np.gradient(p, axis=1)
    across = np.stack([-along[1], along[0]]) / np.hypot(*along)
    pull = -(across * closure.forces[:2, first]).sum(axis=0)
    length = segment_lengths(closure, scar)
    share = length[:-1] / (length[:-1] + length[1:])  # of an inner vertex to the segment before it
    force = pull[1::2].copy()
    force[:-1] += share * pull[2:-1:2]
    force[1:] += (1 - share) * pull[2:-1:2]
    return force


def closing_force(closure: Closure) -> float | None:
    """Sum over all scars of the force across them, N, without the two end nodes of each; None if there is no scar."""
    return total(seam_force(closure, scar).sum() for scar in closure.mesh.scars)


def closing_force_after(closure: Closure) -> list[dict[str, float]] | None:
    """Closing force at the times asked for since closure, and the share left of every force; None if none was."""
    force = closing_force(closure)
    if closure.left is None or force is None:
        return None
    return [{"time_s": t, "closing_force_N": share * force, "share_left": share} for t, share in closure.left.items()]


def line_tension(closure: Closure, scar: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Force across each segment of a scar per closed length (k,), N/mm, and how far its middle is along it (k,), mm."""
    length = segment_lengths(closure, scar)
    return seam_force(closure, scar) / length, np.cumsum(length) - length / 2


def line_tension_max(closure: Closure) -> float | None:
    """Greatest line tension of any scar outside the tip zones, N/m, or None if none is longer than they are."""
    greatest = -np.inf
    for scar in closure.mesh.scars:
        tension, at = line_tension(closure, scar)
        inner = (at > TIP_ZONE) & (at < segment_lengths(closure, scar).sum() - TIP_ZONE)
        greatest = tension[inner].max(initial=greatest)
    return float(N_PER_M * greatest) if np.isfinite(greatest) else None


def line_tension_mid(closure: Closure) -> float | None:
    """Line tension half way along the first scar, that between the rest of both edges, N/m; None if there is none."""
    if not closure.mesh.seams:
        return None
    first = closure.mesh.scars[0]
    tension, at = line_tension(closure, first)
    return float(N_PER_M * np.interp(segment_lengths(closure, first).sum() / 2, at, tension))


def strain_energy(closure: Closure) -> float:
    """Energy of the closed skin and its bed, mJ (N mm), above that of the same skin uncut."""
    return float(closure.energy - assemble(closure.sheet, closure.mesh.flat)[0])


def suture_forces(closure: Closure, kind: str, *, when_tied: bool = False) -> list[float] | None:
    """Tensions, N, of the sutures of a kind as tied, when all are or each as soon as it was; None if there are none."""
    sutures = closure.sutures
    if sutures is None or kind not in sutures.kinds:
        return None
    forces = sutures.when_tied if when_tied else sutures.at_end
    return [float(force) for force, of in zip(forces, sutures.kinds, strict=True) if of == kind]
