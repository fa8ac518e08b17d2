"""Where a drawing is its own mirror image: a part of it is triangulated, and the rest is that part's image."""

from collections.abc import Callable, Sequence

import numpy as np
import shapely
from scipy.spatial import cKDTree

from fem.mechanics.edges import SAME, graded

UPRIGHT, LEVEL = (-1, 1), (1, -1)  # signs of x and y in a mirror image, left to right and up to down
SHARE = 1e-6  # of its area by which a zone may miss its image; our choice, its arcs are drawn by chords
BEYOND = 1e4  # mm, farther than any patch


def mirrors(points: np.ndarray, edges: np.ndarray, zone: shapely.Geometry) -> list[tuple[int, int]]:
    """Those of UPRIGHT and LEVEL that leave points (2, n), edges (2, m) between them and a zone as they are.

    Not those whose axis an edge crosses between its points.
    """
    tree, found = cKDTree(points.T), []
    known = set(map(tuple, np.sort(edges, axis=0).T.tolist()))
    for signs in (UPRIGHT, LEVEL):
        apart, image = tree.query(points.T * signs)
        side = _side(points, signs)
        crossing = (side[edges].prod(axis=0) < 0).any()
        same = apart.max(initial=0.0) < SAME and known == set(map(tuple, np.sort(image[edges], axis=0).T.tolist()))
        other = shapely.transform(zone, lambda xy, signs=signs: xy * signs)
        if same and not crossing and zone.symmetric_difference(other).area <= SHARE * zone.area:
            found.append(signs)
    return found


def part(signs: Sequence[tuple[int, int]]) -> shapely.Polygon:
    """What is on the near side of the axes, right and above: the half or quarter that is triangulated."""
    left = 0.0 if UPRIGHT in signs else -BEYOND
    below = 0.0 if LEVEL in signs else -BEYOND
    return shapely.box(left, below, BEYOND, BEYOND)


def images(lines: Sequence[np.ndarray], signs: Sequence[tuple[int, int]]) -> list[np.ndarray]:
    """Lines (2, k + 1) and their mirror images; ends near an axis are put on it, so that they meet."""
    every = [np.where(abs(line) < SAME, 0.0, line) for line in lines]
    for sign in signs:
        every += [line * np.array(sign)[:, None] for line in every]
    return every


def drawing(
    points: np.ndarray, edges: np.ndarray, signs: Sequence[tuple[int, int]]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Points (2, n) and edges (2, m) of the part, and edges (2, k) along its axes, which images share."""
    near = np.all([_side(points, sign) >= 0 for sign in signs], axis=0)
    kept, number = points[:, near].copy(), np.cumsum(near) - 1
    if len(signs) == 2 and not (abs(kept).max(axis=0) < SAME).any():
        kept = np.hstack([kept, np.zeros((2, 1))])
    inner = number[edges[:, near[edges].all(axis=0)]]
    known, along = set(map(tuple, np.sort(inner, axis=0).T.tolist())), []
    for sign in signs:
        across = int(np.argmin(sign))
        on = np.flatnonzero(_side(kept, sign) == 0)
        kept[across, on] = 0.0
        on = on[kept[1 - across, on].argsort()]
        along += [pair for pair in zip(on[:-1].tolist(), on[1:].tolist(), strict=True)]
    free = [pair for pair in map(tuple, map(sorted, along)) if pair not in known]
    return kept, inner, np.array(free, int).reshape(-1, 2).T


def divided(
    points: np.ndarray, edges: np.ndarray, size: Callable[[np.ndarray], np.ndarray]
) -> tuple[np.ndarray, np.ndarray]:
    """Points (2, n), those given first, and edges (2, m) that divide edges as a size, mm of places (2, k), asks."""
    every, chains = [points], [np.zeros((2, 0), int)]
    for first, last in edges.T:
        start, way = points[:, [first]], np.diff(points[:, [first, last]], axis=1)

        def share(s: np.ndarray, start: np.ndarray = start, way: np.ndarray = way) -> np.ndarray:
            return size(start + s * way) / np.hypot(*way)

        s = graded([0.0, 1.0], share)[1:-1]
        chain = np.concatenate([[first], sum(x.shape[1] for x in every) + np.arange(s.size), [last]])
        every.append(start + s * way)
        chains.append(np.array([chain[:-1], chain[1:]]))
    return np.hstack(every), np.hstack(chains)


def whole(
    p: np.ndarray, t: np.ndarray, signs: Sequence[tuple[int, int]], points: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Vertices (2, n), the given points first, and triangles (3, m) of a part and its images, one after the other."""
    for sign in signs:
        on = _side(p, sign) == 0
        image = np.where(on, np.arange(on.size), on.size + np.cumsum(~on) - 1)
        p = np.hstack([p, p[:, ~on] * np.array(sign)[:, None]])
        t = np.hstack([t, image[t][[0, 2, 1]]])
    given = cKDTree(p.T).query(points.T)[1]
    order = np.append(given, np.setdiff1d(t, given))  # and not the point where axes cross, if no skin is there
    place = np.full(p.shape[1], -1)
    place[order] = np.arange(order.size)
    p = np.ascontiguousarray(p[:, order])
    p[:, : given.size] = points
    return p, np.ascontiguousarray(place[t])


def _side(points, signs):
    """-1, 0 or 1 of each point: beyond, on and before the axis of a mirror."""
    x = points[int(np.argmin(signs))]
    return np.where(abs(x) < SAME, 0.0, np.sign(x))
