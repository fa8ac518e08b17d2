"""How forces fall with time."""

import numpy as np
from numpy.typing import ArrayLike


def left_after(t: ArrayLike, *, shares: ArrayLike, times: ArrayLike) -> np.ndarray:
    """Share g of every force and stress that is left at times t of skin that was deformed at t = 0 and is then held.

        g(t) = 1 - sum of g_i (1 - exp(-t / tau_i))

    t        s, any shape
    shares   g_i (k,), with a sum below 1
    times    tau_i (k,), s

    One factor serves sheet and bed alike because the whole energy Pi relaxes: nodes that move as x(s) carry the
    integral of g(t - s) d/ds [dPi/dx(x(s))] ds. Closed quickly against every tau_i and then held, they carry
    r(t) = g(t) dPi/dx(x): where nothing holds the skin it stays in equilibrium, and what does, sutures, rim and bed,
    carries g times its first force. In life natural tension has long relaxed and stays, so the part of the closing
    force that it makes up does not fall.
    Source: quasi-linear viscoelasticity, Fung (1993), ch. 7.
    """
    t = np.asarray(t)[..., None]
    return 1 - (np.asarray(shares) * -np.expm1(-t / np.asarray(times))).sum(axis=-1)
