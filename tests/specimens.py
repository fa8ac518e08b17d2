"""Tension tests of invented skin: states of a specimen, and the stresses of a law in them with scatter."""

from dataclasses import replace

import numpy as np

from fem.case import physical
from fem.fit.estimate import stresses
from fem.fit.tensile import Measured

GRID = np.linspace(1.02, 1.4, 12)
ALONG = [(a, None) for a in GRID]  # a strip cut along the lines; None: not measured, free of stress
STRIPS = [*ALONG, *((None, a) for a in GRID)]
SHEET = [*((a, a) for a in GRID), *((a, 1.0) for a in GRID), *((1.0, a) for a in GRID)]
TRUE = {
    "neo-hooke": dict(shear_kPa=30.0),
    "ogden": dict(shear_kPa=20.0, exponent=9.0),
    "gasser-ogden-holzapfel": dict(
        shear_kPa=10.0, fibre_kPa=50.0, stiffening=2.0, dispersion=0.15, fibre_angle_deg=40.0
    ),
}


def states(stretches, *, nominal=True):
    """A specimen in states (along, across), every direction that has a stretch measured, with stresses of 0."""
    known = [(n, axis) for n, pair in enumerate(stretches) for axis in (0, 1) if pair[axis] is not None]
    state, axis = np.array(known).T
    return Measured(
        stretch=np.array([[1.0 if pair[axis] is None else pair[axis] for pair in stretches] for axis in (0, 1)]),
        free=np.array([[pair[axis] is None for pair in stretches] for axis in (0, 1)]),
        label=np.full(len(stretches), ""),
        state=state,
        axis=axis,
        nominal=np.full(state.size, nominal),
        stress=np.zeros(state.size),
    )


def law(kind, **changes):
    """One of the laws, with the parameters of TRUE but for the changes."""
    return physical.law({"kind": kind} | TRUE[kind] | changes)


def scattered(kind, stretches, *, scatter=0.0, seed=0, nominal=True):
    """A specimen of that law whose stresses are normally scattered by a share of the greatest."""
    specimen = states(stretches, nominal=nominal)
    s = stresses(law(kind), specimen)
    noise = np.random.default_rng(seed).normal(size=s.size)
    return replace(specimen, stress=s + scatter * np.abs(s).max() * noise)
