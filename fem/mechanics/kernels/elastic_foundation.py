"""Elastic foundation below the skin, which lies w above the surface of the body and is pressed by d = rest - w:

    U = 1/2 (pull d^2 + shear |u_tan|^2) + (push - pull) p(d),     w = n . u + 1/2 u . bend u

p is 0 above the bed, and from there the stiffness goes over from pull to push evenly, within a depth s, so that
Newton's method meets no jump:

    p(t) = t^3/(6 s) for 0 < t < s,    t^2/2 - s t/2 + s^2/6 beyond

u is the displacement from uncut skin, n its outward normal, and w the height above the paraboloid that touches the body
there: skin that slides around a limb does not leave its bed. `rest` is the depth to which springs are pressed in uncut
skin: `pressed_by`.
"""

from typing import NamedTuple

import numpy as np

from fem.mechanics.kernels.storage import Stored, scatter
from fem.mechanics.kernels.surface import Points, dot, kernel

GRADUAL = 0.01  # mm, s; our choice: pressed skin lies deeper by half of it


class ElasticFoundation(NamedTuple):
    """Springs below the skin, by element, MPa/mm."""

    push: np.ndarray  # (n_elements,) where the skin is pressed down
    pull: np.ndarray  # (n_elements,) where it is lifted
    shear: np.ndarray  # (n_elements,) against sliding


class Body(NamedTuple):
    """The body below uncut skin, at its integration points."""

    normal: np.ndarray  # (n_elements, n_quad, 3) unit vectors n, outward
    bend: np.ndarray  # (n_elements, n_quad, 3, 3) 1/mm, symmetric, in the tangent plane: -n . x0,ij, positive if convex
    pressure: np.ndarray  # (n_elements, n_quad) MPa, of the uncut skin on what lies below


def pressed_by(pressure: np.ndarray, bed: ElasticFoundation) -> np.ndarray:
    """Depth d (n_elements, n_quad), mm, at which springs bear a pressure (same), MPa: -dU/dw = pressure at w = 0.

    Taut skin on a convex body presses on its bed, which is compressed; on a concave one it pulls, and the bed is drawn
    out. Springs that only push, below skin that was loosened, have lost that pull: d = 0, and the skin lifts at once.
    Of a pressure they keep what is left of d as it lifts.
    """
    push, pull = bed.push[:, None], bed.pull[:, None]
    more, pressed = push - pull, np.maximum(pressure, 0.0)
    root = pull + np.sqrt(np.maximum(pull**2 + 2 * more * pressed / GRADUAL, 0.0))
    d = np.divide(2 * pressed, root, out=np.zeros_like(pressure), where=pressed > 0)
    beyond = np.divide(pressed + more * GRADUAL / 2, push, out=np.zeros_like(pressure), where=d > GRADUAL)
    drawn = np.divide(np.minimum(pressure, 0.0), pull, out=np.zeros_like(pressure), where=(pressure < 0) & (pull > 0))
    return np.where(d > GRADUAL, beyond, d) + drawn


@kernel
def elastic_foundation(
    u: np.ndarray, at: Points, N: np.ndarray, bed: ElasticFoundation, body: Body, rest: np.ndarray,
    r: np.ndarray, to: Stored,
) -> float:  # fmt: skip
    """Energy of springs at displacements u (n, 3), shapes N (n_quad, m); their forces and tangent are added.

    rest  (n_elements, n_quad) mm, d of uncut skin
    """
    nodes, _, weights = at
    n_elements, n_quad = weights.shape
    m = N.shape[1]
    K = np.empty((m, m, 3, 3))
    v, f, lift, k = np.empty(3), np.empty(3), np.empty(3), np.empty((3, 3))
    Pi = 0.0
    for e in range(n_elements):
        K[:] = 0.0
        for q in range(n_quad):
            v[:] = 0.0
            for a in range(m):
                for i in range(3):
                    v[i] += N[q, a] * u[nodes[e, a], i]
            n, bend, weight = body.normal[e, q], body.bend[e, q], weights[e, q]
            up = w = dot(n, v)
            for i in range(3):
                bent = dot(bend[i], v)
                lift[i] = n[i] + bent  # dw/du
                w += 0.5 * v[i] * bent
            d, shear = rest[e, q] - w, weight * bed.shear[e]
            first, second = -weight * bed.pull[e] * d, weight * bed.pull[e]  # dU/dw and d2U/dw2
            Pi -= 0.5 * first * d
            if d > 0:
                more, t = weight * (bed.push[e] - bed.pull[e]), min(d, GRADUAL)
                beyond = d - t
                Pi += more * (t**3 / (6 * GRADUAL) + beyond * (t**2 / GRADUAL + beyond) / 2)
                first -= more * (t**2 / (2 * GRADUAL) + beyond)
                second += more * t / GRADUAL
            for i in range(3):
                f[i] = first * lift[i] + shear * (v[i] - up * n[i])
                Pi += 0.5 * shear * (v[i] - up * n[i]) ** 2
                for j in range(3):
                    k[i, j] = second * lift[i] * lift[j] + first * bend[i, j] - shear * n[i] * n[j]
                k[i, i] += shear
                for a in range(m):
                    r[nodes[e, a], i] += f[i] * N[q, a]
            if to.data.size > 0:
                for a in range(m):
                    for b in range(a, m):
                        both = N[q, a] * N[q, b]
                        for i in range(3):
                            for j in range(3):
                                K[a, b, i, j] += k[i, j] * both
        if to.data.size > 0:
            scatter(K, nodes, e, to)
    return Pi
