"""How forces fall with time."""

import numpy as np
from numpy.typing import ArrayLike


def left_after(t: ArrayLike, *, shares: ArrayLike, times: ArrayLike) -> np.ndarray:
    """Share g of every force and stress that is left at times t of skin that was deformed at t = 0 and is then held.

        g(t) = 1 - sum of g_i (1 - exp(-t / tau_i))

    t        s, any shape
    shares   g_i (k,), with a sum below 1
    times    tau_i (k,), s

    One factor serves sheet and bed alike because the whole energy relaxes, membrane, bending, springs and contact: with
    Pi its elastic value, nodes that move as x(s) carry r(t) = integral of g(t - s) d/ds [dPi/dx(x(s))] ds. A wound that
    is closed quickly against every tau_i and then held has x = const for s > 0, so r(t) = g(t) dPi/dx(x). Where nothing
    holds the skin dPi/dx = 0, then and ever after: the shape stays in equilibrium, stable as it was since g > 0, and
    skin that the bed pushes is pushed on. What does hold it, sutures, rim and bed, carries g times its first force.

    This takes natural tension for as young as the closure. In life it has long relaxed and stays, so that part of the
    closing force which it makes up does not fall.
    Source: quasi-linear viscoelasticity, Fung (1993), ch. 7.
    """
    t = np.asarray(t)[..., None]
    return 1 - (np.asarray(shares) * -np.expm1(-t / np.asarray(times))).sum(axis=-1)
