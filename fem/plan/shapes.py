"""Shapes of wounds that flaps ask for: which an outline has, and its corners."""

from math import hypot, pi

import numpy as np

from fem.geometry.curve import Outline
from fem.geometry.outlines import boundary

EXACT = 1e-9  # share by which an outline may miss the shape that a flap asks for


def box(outline: Outline) -> tuple[np.ndarray, ...]:
    """Corners of the box around an outline, counter-clockwise from the upper left. Raises ValueError if it has none."""
    if not outline.width:
        raise ValueError("a slit is no wound to cover; wanted an outline that takes skin")
    left, low, right, high = boundary(outline).bounds
    return tuple(np.array([x, y]) for x, y in [(left, high), (left, low), (right, low), (right, high)])


def triangle(outline: Outline) -> tuple[np.ndarray, ...]:
    """Corners of a triangle: its right end, then the upper and the lower other one. Raises ValueError if it is none."""
    upper, lower = (edge.point(np.array([0.0, *edge.corners, 1.0])) for edge in (outline.upper, outline.lower))
    around = np.hstack([upper[:, :0:-1], lower[:, :-1]])  # counter-clockwise from the right end
    before, after = around - np.roll(around, 1, axis=1), np.roll(around, -1, axis=1) - around
    bend = before[0] * after[1] - before[1] * after[0]
    corners = around[:, np.abs(bend) > EXACT * outline.length**2]
    sides = np.hypot(*(corners - np.roll(corners, 1, axis=1))).sum()
    straight = abs(sides - outline.upper.length - outline.lower.length) <= EXACT * outline.length
    if corners.shape[1] != 3 or not straight or (corners[:, 0] != around[:, 0]).any():
        raise ValueError(
            "wanted an outline of kind triangle, or a polygon with three corners, one of them its right end"
        )
    return tuple(corners.T)


def is_circle(outline: Outline) -> bool:
    """Whether the outline is a circle."""
    around = outline.upper.length + outline.lower.length
    return (
        abs(outline.length - outline.width) <= EXACT * outline.length
        and abs(around - pi * outline.length) <= EXACT * outline.length
        and abs(outline.area - pi / 4 * outline.length**2) <= EXACT * outline.area
    )


def is_rhombus(outline: Outline) -> bool:
    """Whether the outline has the sides and the area of a rhombus."""
    sides = 2 * hypot(outline.length, outline.width)
    around = outline.upper.length + outline.lower.length
    halved = abs(outline.area - outline.length * outline.width / 2) <= EXACT * outline.area
    return halved and abs(around - sides) <= EXACT * outline.length
