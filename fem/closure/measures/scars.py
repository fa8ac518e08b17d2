"""Scars and edges: lengths along and between the ends of a wound, gaps and the area left open."""

from collections.abc import Iterable

import numpy as np
import shapely

from fem.closure.closure import Closure


def total(parts: Iterable[float]) -> float | None:
    """Sum of some numbers; None if there is none."""
    known = list(parts)
    return float(sum(known)) if known else None


def segment_lengths(closure: Closure, scar: np.ndarray) -> np.ndarray:
    """Lengths (k,) in mm of a closed scar's segments, each a parabola through three nodes."""
    p = closure.x[:, scar[0]]
    first, middle, last = p[:, :-1:2], p[:, 1::2], p[:, 2::2]
    at, weight = np.polynomial.legendre.leggauss(4)
    velocity = (last - first)[..., None] / 2 + (first - 2 * middle + last)[..., None] * at
    return np.linalg.norm(velocity, axis=0) @ weight


def scar_length(closure: Closure) -> float | None:
    """Length of all closed seams along the skin, mm; None if there is none."""
    return total(segment_lengths(closure, scar).sum() for scar in closure.mesh.scars)


def scar_chord(closure: Closure) -> float | None:
    """Distance between the ends of the closed wound, mm, at an M half way between its tips; None without two tips."""
    along = closure.mesh.axis(closure.x)
    return None if along is None else float(np.linalg.norm(along))


def push_out(closure: Closure) -> list[float]:
    """How far each tip travels outward, along the axis of the wound as drawn and level, mm."""
    moved = (closure.x[:2] - closure.mesh.X)[:, closure.mesh.tips]
    return (closure.mesh.outward(closure.mesh.X) * moved).sum(axis=0).tolist()


def gape(closure: Closure) -> tuple[float, float, float]:
    """Greatest extent of the gaping wound, its extent across that, mm, and the direction of the first, degrees.

    Counter-clockwise from the axis of the wound, or from x if it has none, above -90 and up to 90.
    """
    along = closure.mesh.axis(closure.mesh.X)
    along = np.array([1.0, 0.0]) if along is None else along
    edge = closure.gaping[:2, closure.mesh.edge]
    hull = shapely.get_coordinates(shapely.MultiPoint(edge.T).convex_hull).T
    between = hull[:, :, None] - hull[:, None]
    i, j = np.unravel_index(np.hypot(*between).argmax(), between.shape[1:])
    long = between[:, i, j]
    across = np.array([-long[1], long[0]]) / np.hypot(*long)
    turn = np.arctan2(along[0] * long[1] - along[1] * long[0], along @ long)
    return float(np.hypot(*long)), float(np.ptp(across @ edge)), float(90 - (90 - np.degrees(turn)) % 180)


def largest_gap(closure: Closure) -> float | None:
    """Greatest distance between places that should meet on both edges of a closed seam, mm; None if there is none."""
    first, second = closure.mesh.pairs
    gaps = np.linalg.norm(closure.x[:, first] - closure.x[:, second], axis=0)
    return float(gaps.max()) if gaps.size else None


def open_area(closure: Closure) -> float | None:
    """Area, mm2, seen from above, inside the edges that are left open; None if there are none."""
    rings = (closure.x[:2, edge[::-1]] for edge in closure.mesh.open)  # or their pieces: the sum is the same
    return total((x[:-1] * y[1:] - y[:-1] * x[1:]).sum() / 2 for x, y in rings)
