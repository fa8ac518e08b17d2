"""The sheet as a shell: what no layer does, and that it bends as it is stretched."""

from functools import partial

import numpy as np
import pytest

from fem.errors import NotConverged
from fem.material.laws import ogden
from fem.mechanics import solve
from fem.mechanics.constraints import independent
from fem.mechanics.sheet import assemble, sheet
from fem.verification.plates import bending_energy
from fem.verification.problems import rubber, strip, unsewn


def test_no_layer_turns_inside_out():
    """Bent so that 2 z/R > 1 a sheet has infinite energy, and no search starts there; a little less bent it has one."""
    m, h = strip(0, 4, width=1, side=0.25), 2.0
    skin = sheet(m, law=rubber(0.1), h=h)
    for bend, allowed in ((1.6, True), (1.9, False)):
        R = h / bend
        rolled = np.array([R * np.sin(m.X[0] / R), m.X[1], R * (1 - np.cos(m.X[0] / R))])
        assert np.isfinite(assemble(skin, rolled)[0]) == allowed
    with pytest.raises(NotConverged, match="bent further than its thickness allows"):
        free = unsewn(m)
        solve.newton(solve.problem(skin, free), independent(free, rolled, 1.0), load=0 * rolled, tol=1e-9)


def test_skin_bends_as_it_is_stretched():
    """Taut along x it is several times stiffer against bending along x than across, and than slack skin."""
    law = partial(ogden, shear_MPa=0.01, exponent=9.0)
    along, across, slack = (
        bending_energy(law, stretch, 0.05, lines=lines)
        for stretch, lines in (((1.3, 1.0), 0.0), ((1.3, 1.0), np.pi / 2), ((1.0, 1.0), 0.0))
    )
    assert along > 2 * across
    assert along > 3 * slack
