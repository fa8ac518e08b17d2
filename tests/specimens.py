"""Tension tests of invented skin: states of a specimen, and the stresses of a law in them with scatter."""

from dataclasses import replace

import numpy as np

from fem.case import physical
from fem.fit.estimate import stresses
from fem.fit.tensile import AXES, Measured

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


def csv(path, specimen, *, start=(1.0, 1.0), quantity="nominal_stress"):
    """A CSV file of the specimen, 4 mm wide and 2 mm thick unloaded, whose stretches count from those of `start`.

    Nominal stresses become forces, and these what is asked for: nominal stress per section at the start, Cauchy's.
    """
    name = "force_{}_N" if quantity == "force" else quantity + "_{}_kPa"
    rows = [",".join([*map("stretch_{}".format, AXES), *map(name.format, AXES)])]
    cells = [["" if free else repr(float(a)) for a, free in zip(*pair, strict=True)]
             for pair in zip((specimen.stretch.T / start), specimen.free.T, strict=True)]  # fmt: skip
    cells = [[*pair, "", ""] for pair in cells]
    for n, axis, P in zip(specimen.state, specimen.axis, specimen.stress, strict=True):
        a, (along, other) = specimen.stretch[axis, n], (start[axis], start[1 - axis])
        F, section = 1e-3 * P * 4 * 2, (4 * other) * (2 / (along * other))  # N; mm2, width times thickness at the start
        value = {"force": F, "nominal_stress": 1e3 * F / section, "cauchy_stress": 1e3 * F * a / 8}[quantity]
        cells[n][2 + axis] = repr(float(value))
    path.write_text("\n".join([*rows, *map(",".join, cells)]) + "\n")
    return path
