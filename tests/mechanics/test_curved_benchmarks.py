"""Curved shells under point loads against published tables: Sze, Liu & Lo (2004), sections 3.4, 3.5 and 3.7.

Each is whole, not an eighth or a quarter, for nodes are held altogether or not at all; a bed that bears less than 1e-4
of the loads keeps it in place.
"""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import skfem
from problems import NO_NODES, plate, springs, unsewn
from pytest import approx

from fem.geometry.surface import Surface, cylinder, sphere
from fem.mechanics import solve
from fem.mechanics.constraints import constraints, independent, positions
from fem.mechanics.sheet import sheet
from fem.mechanics.triangulation import from_triangulation


def closed(p, t):
    """Triangles on points (2, n), counter-clockwise."""
    tri = skfem.MeshTri(p, t, sort_t=False)
    clockwise = tri.mapping().detA.ravel() < 0
    return skfem.MeshTri(p, np.where(clockwise, t[[0, 2, 1]], t), sort_t=False)


def tube(R, length, *, around, along):
    """Closed cylinder about the x axis, sewn along its lower line; its mesh and its sewing."""
    s = np.linspace(-np.pi * R, np.pi * R, around + 1)
    tri = skfem.MeshTri.init_tensor(np.linspace(0, length, along + 1), s)
    tri = closed(tri.p, tri.t)
    low, high = (np.flatnonzero(abs(tri.p[1] - end) < 1e-9) for end in (s[0], s[-1]))
    low, high = low[np.argsort(tri.p[0, low])], high[np.argsort(tri.p[0, high])]
    m = from_triangulation(tri, [np.array([low, high])])
    return replace(m, surface=Surface(cylinder(radius_mm=R), lambda x: x[:2]))


def bowl(R, hole, *, around, along):
    """Half a sphere, its pole up, with a hole of so many rad around it."""
    r = R * np.linspace(hole, np.pi / 2, along + 1)
    angle = 2 * np.pi * np.arange(around) / around
    p = np.hstack([radius * np.array([np.cos(angle), np.sin(angle)]) for radius in r])
    i, j = (part.ravel() for part in np.meshgrid(np.arange(along), np.arange(around), indexing="ij"))
    a, b = around * i + j, around * i + (j + 1) % around
    even = (i + j) % 2 == 0
    first = np.where(even, [a, a + around, b], [a, a + around, b + around])
    second = np.where(even, [b, a + around, b + around], [a, b + around, b])
    m = from_triangulation(closed(p, np.hstack([first, second])), [])
    return replace(m, surface=Surface(sphere(radius_mm=R), lambda x: x[:2]))


def pulled(m, *, E, poisson, h, forces, shares, held=NO_NODES, soft=0.0):
    """Displacements (3, n_forces) of the nodes nearest to places under forces at them, {place: N}, at shares of all."""
    law = plate(E, poisson=poisson)
    skin = sheet(m, law=law, h=h, foundation=springs(m, normal=soft, shear=soft))
    sewing = constraints(m.x0, m.pairs, held) if m.seams else unsewn(m, held)
    shell = solve.problem(skin, sewing)
    load, nodes = np.zeros_like(m.x0), []
    for place, force in forces:
        nodes.append(int(np.linalg.norm(m.x0 - np.array(place)[:, None], axis=0).argmin()))
        load[:, nodes[-1]] += force
    q, found = independent(sewing, m.x0, 1.0), []
    for share in shares:
        q = solve.newton(shell, q, load=share * load, tol=1e-6 * np.abs(load).max(), max_iter=200)
        found.append((positions(sewing, q, 1.0) - m.x0)[:, nodes])
    return np.array(found)
