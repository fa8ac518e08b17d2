"""A sewn mesh keeps the angle balance of a closed hole."""

import numpy as np
import pytest
import skfem
from hypothesis import given, settings
from hypothesis import strategies as st
from problems import COARSE, EVERY_KIND, FINE
from pytest import approx

from fem.geometry.outlines import polygon
from fem.mechanics.constraints import constraints
from fem.mechanics.mesh import mesh
from fem.mechanics.triangulation import corner_angles, from_triangulation
from fem.plan.plan import side_to_side
from fem.verification.sewing import deficits

# A hole sewn shut, lengths kept, the skin around it flat: the deficits sum to zero (Gauss-Bonnet).


def test_deficit_of_a_sewn_wedge():
    """A sector of 300 degrees whose straight sides are sewn has a deficit of 60 degrees at its centre."""
    turn = np.radians(np.linspace(0, 300, 11))
    ring = np.array([np.cos(turn), np.sin(turn)])
    inner, outer = 1 + np.arange(11), 12 + np.arange(11)
    fan = [np.zeros(10, int), inner[:-1], inner[1:]]
    quads = [[inner[:-1], outer[:-1], outer[1:]], [inner[:-1], outer[1:], inner[1:]]]
    tri = skfem.MeshTri(np.hstack([np.zeros((2, 1)), ring, 2 * ring]), np.hstack([fan, *quads]))
    m = from_triangulation(tri, [np.array([[0, 1, 12], [0, 11, 22]])], rim_vertices=outer)
    assert deficits(m)[0] == approx(np.radians(60), abs=1e-12)
    assert deficits(m)[1] == approx(0, abs=1e-12)
    assert np.hypot(*m.X[:, m.seams[0]]) == approx(np.array([[0, 0.5, 1, 1.5, 2]] * 2), abs=1e-12)
    assert m.rim.size == 11 + 10
    assert not m.undermined.any()


@settings(max_examples=4, deadline=None)
@given(st.lists(st.floats(8, 20), min_size=5, max_size=9))
def test_any_star_shaped_polygon(radii):
    """Corners on rays from the origin: deficits sum to zero, the triangles cover all but the polygon."""
    rays = 2 * np.pi * np.arange(len(radii)) / len(radii)
    outline = polygon(points_mm=[(r * np.cos(a), r * np.sin(a)) for r, a in zip(radii, rays, strict=True)])
    m = mesh(side_to_side(outline), **COARSE)
    n = 4 * int(np.ceil(np.pi / 2 * 60 / 9))
    patch = n * 60**2 / 2 * np.sin(2 * np.pi / n)
    assert deficits(m).sum() == approx(0, abs=1e-9)
    assert m.tri.mapping().detA.sum() / 2 == approx(patch - outline.area, rel=1e-9)


def sewn_deficits(m):
    """2 pi minus the angle sum at each place inside the sewn patch (n,), rad, and its vertices that are sewn."""
    pairs = np.hstack(m.seams)
    sewn = constraints(np.vstack([m.X, 0 * m.X[:1]]), pairs, np.zeros(0, int)).free[: m.tri.nvertices]
    around = np.bincount(sewn[m.tri.t.ravel()], corner_angles(m.tri).ravel(), minlength=sewn.max() + 1)
    inside = np.setdiff1d(sewn, sewn[m.rim[m.rim < m.tri.nvertices]])
    return 2 * np.pi - around[inside], [np.flatnonzero(sewn == place) for place in inside]


@pytest.mark.parametrize("surplus", ["shared", "right"])
@pytest.mark.parametrize("kind", EVERY_KIND)
def test_deficits_of_every_outline(kind, surplus):
    """Sewn shut, the skin is a disc again: deficits sum to zero; at the tips they are the tip angles but for chords.

    A chord takes half the turn of an edge over its length on either side: half a segment, up to 1.25 x 1.6 mm, over R.
    """
    outline = EVERY_KIND[kind]
    m = mesh(side_to_side(outline, surplus=surplus), **FINE)
    found, vertices = sewn_deficits(m)
    assert found.sum() == approx(0, abs=1e-9)
    ends = np.hstack([seam[:, [0, -1]] for seam in m.seams])
    tips = ends[0, ends[0] == ends[1]]
    at_tips = [deficit for deficit, nodes in zip(found, vertices, strict=True) if nodes[0] in tips]
    radius = {"ellipse": 10**2 / 30, "traced": (9 - 4) ** 2 / (25 - 16)}.get(kind, 10)  # at the blunter end of the egg
    assert sorted(at_tips) == approx(sorted(outline.tip_angles), abs=2 * (1.25 * 1.6 / 2) / radius)


def test_fork_of_an_m():
    """Three vertices meet in the fork; their angles exceed a full turn by that of the flap and what both edges turn.

    The flap's angle is that of the tips; an arc of radius R turns by the mean of the segments before and after, over R.
    """
    outline = EVERY_KIND["lens-with-m"]
    m = mesh(side_to_side(outline), **FINE)
    found, vertices = sewn_deficits(m)
    (deficit,) = (deficit for deficit, nodes in zip(found, vertices, strict=True) if nodes.size == 3)
    before, after = m.X[:, m.seams[0][0, [-3, -1]]], m.X[:, m.seams[1][0, [0, 2]]]
    segments = [np.hypot(*np.diff(points)[:, 0]) for points in (before, after)]
    assert deficit == approx(-outline.tip_angles[1] - 2 * np.mean(segments) / 50, rel=1e-3)
