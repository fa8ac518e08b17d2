"""Parts of the skin that push each other apart: every pair of points that are far from each other along the skin, by

    phi(s) = k/(2 pi) (R/s - 1)^3 / s     per area of either,   s < R apart,   R = reach (r_i + r_j)

Of two sheets that lie at a distance d the energy per area is W(d) = 2 pi int_d^R phi(s) s ds, so they press on each
other with  p(d) = -dW/dd = 2 pi d phi(d) = k (R/d - 1)^3:  nothing at R, without bound at 0.

r is half the thickness, and less beside a cut: no more than the distance to it, so that skin ends where it was cut.
"""

from typing import NamedTuple

import numpy as np

from fem.mechanics.kernels.storage import Stored, scatter
from fem.mechanics.kernels.surface import dot, kernel


class Pairs(NamedTuple):
    """Pairs of points that may push each other, by the pair of elements in which they lie."""

    nodes: np.ndarray  # (n_pairs, 12) of the first element, then of the second
    starts: np.ndarray  # (n_pairs + 1,) where the points of each pair begin
    first: np.ndarray  # (n,) number of the point in the first element
    second: np.ndarray  # (n,) and of that in the second
    shapes: np.ndarray  # (n_points, 6) shape functions of its element at each point
    areas: np.ndarray  # (n_points,) mm2 of uncut skin that a point stands for
    radii: np.ndarray  # (n_points,) mm


@kernel
def spheres(centres: np.ndarray, radii: np.ndarray, reach: float) -> np.ndarray:
    """Pairs (n, 2) of spheres, centres (m, 3) and radii (m,) in mm, that are nearer than `reach` to each other."""
    order = np.argsort(centres[:, 0])
    widest = radii.max()
    near = [(0, 0) for _ in range(0)]
    for a in range(order.size):
        e = order[a]
        for b in range(a + 1, order.size):
            f = order[b]
            if centres[f, 0] - centres[e, 0] > radii[e] + widest + reach:
                break
            within = radii[e] + radii[f] + reach
            apart = 0.0
            for i in range(3):
                apart += (centres[f, i] - centres[e, i]) ** 2
            if apart < within**2:
                near.append((e, f))
    pairs = np.empty((len(near), 2), np.int64)
    for n, (e, f) in enumerate(near):
        pairs[n, 0], pairs[n, 1] = e, f
    return pairs


class Cloud(NamedTuple):
    """Points of some elements, and ways along the skin between these elements' nodes."""

    starts: np.ndarray  # (n_elements + 1,) where the points of each element begin
    X: np.ndarray  # (n_points, 2) mm on the plan
    x: np.ndarray  # (n_points, 3) mm
    radii: np.ndarray  # (n_points,) mm
    widest: float  # mm, the greatest of them
    to_nodes: np.ndarray  # (n_points, 6) mm, on the plan, to the nodes of its element
    known: np.ndarray  # (n_elements, 6) number of each node in `ways`
    ways: np.ndarray  # (m, m) mm, shortest ways along the skin; infinite: longer than asked for


@kernel
def ball(cloud: Cloud, e: int) -> tuple[np.ndarray, float]:
    """Middle (3,) of an element's points, and how far the farthest is, mm."""
    at = cloud.x[cloud.starts[e] : cloud.starts[e + 1]]
    centre, far = np.zeros(3), 0.0
    for p in range(at.shape[0]):
        for i in range(3):
            centre[i] += at[p, i] / at.shape[0]
    for p in range(at.shape[0]):
        away = 0.0
        for i in range(3):
            away += (at[p, i] - centre[i]) ** 2
        far = max(far, away)
    return centre, np.sqrt(far)


@kernel
def listed(near: np.ndarray, cloud: Cloud, reach: float, slack: float, along: float) -> np.ndarray:
    """Rows (n, 3), of pairs `near` (n_near, 2) of elements and their points: a pair's number and both points' numbers.

    Those not farther apart than `reach` times the sum of their radii and a slack, mm, and not nearer to each other
    along the skin than `along` times that sum.
    """
    found = [(0, 0, 0) for _ in range(0)]
    for n in range(near.shape[0]):
        e, f = near[n, 0], near[n, 1]
        closest = np.inf
        for a in range(6):
            for b in range(6):
                closest = min(closest, cloud.ways[cloud.known[e, a], cloud.known[f, b]])
        centre, around = ball(cloud, f)
        for p in range(cloud.starts[e], cloud.starts[e + 1]):
            outside = 0.0
            for i in range(3):
                outside += (cloud.x[p, i] - centre[i]) ** 2
            if outside > (around + 2 * reach * cloud.widest + slack) ** 2:
                continue
            for q in range(cloud.starts[f], cloud.starts[f + 1]):
                far = 0.0
                for i in range(3):
                    far += (cloud.x[p, i] - cloud.x[q, i]) ** 2
                size, way = cloud.radii[p] + cloud.radii[q], np.inf
                if far >= (reach * size + slack) ** 2:
                    continue
                if closest < along * size:
                    way = np.sqrt((cloud.X[p, 0] - cloud.X[q, 0]) ** 2 + (cloud.X[p, 1] - cloud.X[q, 1]) ** 2)
                    for a in range(6):
                        for b in range(6):
                            on = cloud.ways[cloud.known[e, a], cloud.known[f, b]]
                            way = min(way, cloud.to_nodes[p, a] + on + cloud.to_nodes[q, b])
                if way >= along * size:
                    found.append((n, p, q))
    rows = np.empty((len(found), 3), np.int64)
    for k, (n, p, q) in enumerate(found):
        rows[k, 0], rows[k, 1], rows[k, 2] = n, p, q
    return rows


@kernel
def apart(x: np.ndarray, pairs: Pairs, n: int, p: int, d: np.ndarray) -> float:
    """Distance of the points of pair p, which lie in pair n of elements; fills d (3,), from the second to the first."""
    N, M = pairs.shapes[pairs.first[p]], pairs.shapes[pairs.second[p]]
    d[:] = 0.0
    for a in range(6):
        one, other = pairs.nodes[n, a], pairs.nodes[n, 6 + a]
        for i in range(3):
            d[i] += N[a] * x[one, i] - M[a] * x[other, i]
    return np.sqrt(dot(d, d))


@kernel
def nearest(x: np.ndarray, pairs: Pairs) -> float:
    """Least distance of the points of any pair at x (n, 3), in the sum of their radii; infinite if there is none."""
    d, least = np.empty(3), np.inf
    for n in range(pairs.nodes.shape[0]):
        for p in range(pairs.starts[n], pairs.starts[n + 1]):
            size = pairs.radii[pairs.first[p]] + pairs.radii[pairs.second[p]]
            least = min(least, apart(x, pairs, n, p, d) / size)
    return least


@kernel
def step_kept_apart(x: np.ndarray, step: np.ndarray, pairs: Pairs, share: float) -> float:
    """Part of a step (n, 3) from x, at most 1, on which no pair moves by more than a share of its distance."""
    d, way, part = np.empty(3), np.empty(3), 1.0
    for n in range(pairs.nodes.shape[0]):
        for p in range(pairs.starts[n], pairs.starts[n + 1]):
            size, moved = apart(x, pairs, n, p, d), apart(step, pairs, n, p, way)
            if part * moved > share * size:
                part = share * size / moved
    return part


@kernel
def self_contact(
    x: np.ndarray, pairs: Pairs, reach: float, stiffness: float, r: np.ndarray, pressed: np.ndarray, to: Stored
) -> float:
    """Energy of contact at x (n, 3); forces and tangent are added, what pushes points to pressed (n_points, 3), MPa."""
    K, c, d = np.empty((12, 12, 3, 3)), np.empty(12), np.empty(3)
    k, Pi = stiffness / (2 * np.pi), 0.0
    for n in range(pairs.nodes.shape[0]):
        K[:] = 0.0
        for p in range(pairs.starts[n], pairs.starts[n + 1]):
            one, other, s = pairs.first[p], pairs.second[p], apart(x, pairs, n, p, d)
            left = reach * (pairs.radii[one] + pairs.radii[other]) - s
            if left <= 0:
                continue
            weight = k * pairs.areas[one] * pairs.areas[other]
            Pi += weight * left**3 / s**4
            slope = -weight * left**2 * (3 / s**4 + 4 * left / s**5)
            bend = weight * left * (6 / s**4 + left * (24 / s**5 + 20 * left / s**6))
            for a in range(6):
                c[a], c[6 + a] = pairs.shapes[one, a], -pairs.shapes[other, a]
            for i in range(3):
                push = slope * d[i] / s
                pressed[one, i] -= push / pairs.areas[one]
                pressed[other, i] += push / pairs.areas[other]
                for a in range(12):
                    r[pairs.nodes[n, a], i] += c[a] * push
            if to.data.size > 0:
                for i in range(3):
                    for j in range(3):
                        M = (bend - slope / s) * d[i] * d[j] / s**2
                        if i == j:
                            M += slope / s
                        for a in range(12):
                            for b in range(a, 12):
                                K[a, b, i, j] += c[a] * c[b] * M
        if to.data.size > 0:
            scatter(K, pairs.nodes, n, to)
    return Pi
