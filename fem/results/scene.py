"""What a comparison draws of a closure: heights and tensions along lines."""

import numpy as np
import shapely

from fem.case.physical import N_PER_M
from fem.closure.closure import Closure
from fem.closure.measures.forces import line_tension
from fem.mechanics.triangulation import flat_triangles


def profiles(closure: Closure) -> dict[str, list[dict[str, list[float]]]]:
    """Heights along the scars and across the cones, line tension along the scars, as plain lists.

    seams   one a scar: `arc_mm`, `height_mm` at the nodes, and `line_tension_N_per_m` at `tension_at_mm`, the middles
            of the segments; lengths along the closed seam
    cones   one a tip: `across_mm`, from the highest point, and `height_mm`
    """
    seams = []
    for scar in closure.mesh.scars:
        arc, height = along_scar(closure, scar)
        tension, at = line_tension(closure, scar)
        seams.append(_lists(arc_mm=arc, height_mm=height, tension_at_mm=at, line_tension_N_per_m=N_PER_M * tension))
    cones = [_lists(across_mm=s, height_mm=z) for s, z in (across_cone(closure, tip) for tip in closure.mesh.tips)]
    return {"seams": seams, "cones": cones}


def _lists(**arrays):
    return {name: np.asarray(values, float).tolist() for name, values in arrays.items()}


def along_scar(closure: Closure, scar: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Length along a closed scar (m,) and height (m,) at its nodes, mm.

    Nodes half way along a quadratic edge count as points of it: the chords between are shorter than the curve by less
    than the square of its bend.
    """
    p = closure.x[:, scar[0]]
    return np.append(0.0, np.cumsum(np.linalg.norm(np.diff(p, axis=1), axis=0))), p[2]


def across_cone(closure: Closure, tip: int) -> tuple[np.ndarray, np.ndarray]:
    """Section across the cone at a tip: places (m,) from its highest point and heights (m,), mm.

    The plane is upright, through the highest point of the skin that is nearer to this tip than to the others, and
    square to the axis of the closed wound; places count to the left of the direction outward. Triangles of
    the quadratic ones are cut as flat ones.
    """
    x, ends = closure.x, closure.mesh.tips
    distance = np.linalg.norm(closure.mesh.X[:, ends, None] - closure.mesh.X[:, None], axis=0)
    nearer = np.flatnonzero(ends[distance.argmin(axis=0)] == tip)
    top = x[:, nearer[x[2, nearer].argmax()]]
    away = closure.mesh.outward(x)[:, ends == tip][:, 0]
    beyond = away @ (x[:2] - top[:2, None])
    left = np.array([-away[1], away[0]]) @ (x[:2] - top[:2, None])
    cut = _cut(flat_triangles(closure.mesh.elements), beyond, left, x[2])
    lines = shapely.line_merge(shapely.multilinestrings(cut))
    piece = min(shapely.get_parts(lines), key=lambda line: line.distance(shapely.Point(0, top[2])))
    s, z = shapely.get_coordinates(piece).T
    return (s, z) if s[0] < s[-1] else (s[::-1], z[::-1])


def _cut(triangles, level, *values):
    """Segments (n, 2, k) along which flat triangles (3, m) cross level = 0, by k values given at the nodes.

    A point on an edge is worked out from its lower end, so that neighbours agree on it to the last bit, across seams
    too.
    """
    above = level > 0
    crossed = triangles[:, above[triangles].any(axis=0) & ~above[triangles].all(axis=0)]
    ends = np.stack([crossed, np.roll(crossed, -1, axis=0)])  # end, edge, triangle
    below, over = np.where(above[ends[0]], ends[::-1], ends)
    cut = (~above[below] & above[over]).T  # two of the three edges of each triangle
    a, b = below.T[cut].reshape(-1, 2), over.T[cut].reshape(-1, 2)
    share = level[a] / (level[a] - level[b])
    return np.stack([v[a] + share * (v[b] - v[a]) for v in values], axis=-1)
