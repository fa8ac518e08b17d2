"""Closures whose skin lies where a test lays it."""

from functools import partial

import numpy as np
import skfem

from fem.closure.closure import Closure
from fem.geometry.outlines import lens
from fem.material.laws import neo_hooke
from fem.mechanics.sheet import sheet
from fem.plan.plan import side_to_side
from fem.verification.problems import bending_as, flat

MU, H = 0.03, 1.5  # MPa, mm
LAW = partial(neo_hooke, shear_MPa=MU)
LENS = lens(length_mm=40, width_mm=12)


def closure(mesh, x=None, *, gaping=None, outline=LENS, lesion_area=0.0, stretch=(1.0, 1.0)):
    """Closure with nodes at x (3, n), of skin without bed that hardly resists bending."""
    skin = bending_as(sheet(mesh, law=LAW, h=H, stretch=stretch), 1e-9)
    x = flat(mesh) if x is None else x
    gaping = flat(mesh) if gaping is None else gaping
    return Closure(
        outline=outline, plan=side_to_side(outline), lesion_area=lesion_area, mesh=mesh, sheet=skin, gaping=gaping, x=x
    )


def squares(*, length, width, side):
    """Triangulation of halved squares, its centre at the origin; vertices counter-clockwise."""
    x, y = (np.linspace(-size / 2, size / 2, round(size / side) + 1) for size in (length, width))
    tri = skfem.MeshTri.init_tensor(x, y)
    return skfem.MeshTri(tri.p, np.where(tri.mapping().detA.ravel() > 0, tri.t, tri.t[[0, 2, 1]]), sort_t=False)
