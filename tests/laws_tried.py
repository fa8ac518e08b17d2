"""Some laws of every kind, and the strains at which they are tried."""

from functools import partial
from math import radians

import numpy as np
import pytest
from hypothesis import strategies as st

from fem.material.laws import LAWS, gasser_ogden_holzapfel

MU = 0.01  # MPa
OGDEN = dict(shear_MPa=MU, exponent=9)
FIBRES = dict(shear_MPa=MU, fibre_MPa=0.05, stiffening=10, dispersion=0.15, fibre_angle_rad=radians(40))
VARIANTS = {  # of every law, some
    "neo-hooke": ("neo-hooke", dict(shear_MPa=MU)),
    "ogden": ("ogden", OGDEN),
    "ogden-26": ("ogden", OGDEN | dict(exponent=26)),
    "ogden-negative": ("ogden", OGDEN | dict(exponent=-3)),
    "fibres": ("gasser-ogden-holzapfel", FIBRES),
    "fibres-along": ("gasser-ogden-holzapfel", FIBRES | dict(dispersion=0, fibre_angle_rad=0)),
    "fibres-across": ("gasser-ogden-holzapfel", FIBRES | dict(fibre_angle_rad=np.pi / 2)),
    "fibres-all-ways": ("gasser-ogden-holzapfel", FIBRES | dict(dispersion=1 / 3)),
}
every_law = pytest.mark.parametrize("variant", VARIANTS)
stretches = st.floats(0.75, 1.35)
angles = st.floats(-np.pi, np.pi)


def law_of(variant):
    """One of the laws with its parameters given."""
    kind, keys = VARIANTS[variant]
    return partial(LAWS[kind], **keys)


def fibres(**changes):
    """The law with fibres, some parameters changed."""
    return partial(gasser_ogden_holzapfel, **(FIBRES | changes))


def rotation(angle):
    """Rotation (2, 2) in the plane."""
    return np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])


def right_cauchy_green(F):
    """C11, C22, C12 of F (2, 2)."""
    C = F.T @ F
    return np.array([C[0, 0], C[1, 1], C[0, 1]])


def stretched(first, second, angle):
    """C11, C22, C12 of principal stretches, the first one at an angle to the lines."""
    return right_cauchy_green(np.diag([first, second]) @ rotation(angle).T)
