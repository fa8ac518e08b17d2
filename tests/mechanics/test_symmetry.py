"""Triangles of a wound that is its own mirror image are their own mirror image."""

import numpy as np
import pytest
from problems import FINE
from pytest import approx
from scipy.spatial import cKDTree

from fem.geometry.outlines import circle, crescent, lens, lens_with_m, rhombus, square, triangle
from fem.mechanics import mesh as meshing
from fem.mechanics.mesh import mesh
from fem.mechanics.symmetry import LEVEL, UPRIGHT
from fem.mechanics.triangulation import quality
from fem.plan.plan import side_to_side, undermined


def is_image(m, signs):
    """Whether nodes, triangles and what is undermined are where their mirror images are, to round-off."""
    apart, image = cKDTree(m.X.T).query(m.X.T * signs)
    here, there = (np.sort(of[:3], axis=0) for of in (m.elements, image[m.elements]))
    order, other = np.lexsort(here), np.lexsort(there)
    if apart.max() > 1e-9 or (here[:, order] != there[:, other]).any():
        return False
    return (m.undermined[order] == m.undermined[other]).all()


@pytest.mark.parametrize(
    ("outline", "mirrors"),
    [
        (lens(length_mm=60, width_mm=20), {UPRIGHT, LEVEL}),
        (circle(diameter_mm=20), {UPRIGHT, LEVEL}),
        (rhombus(length_mm=60, width_mm=20), {UPRIGHT, LEVEL}),
        (square(side_mm=12), {UPRIGHT, LEVEL}),
        (lens_with_m(length_mm=40, width_mm=14, shorter_mm=5), {LEVEL}),
        (triangle(base_mm=20, height_mm=30), {LEVEL}),
        (crescent(length_mm=60, upper_mm=20, lower_mm=8), {UPRIGHT}),
    ],
    ids=["lens", "circle", "rhombus", "square", "lens-with-m", "triangle", "crescent"],
)
def test_mirrors(outline, mirrors):
    """Those that leave an outline and its undermined zone as they are, and no other; the area is that of the skin."""
    m = mesh(undermined(side_to_side(outline), undermine_mm=15), **FINE)
    assert {signs for signs in (UPRIGHT, LEVEL) if is_image(m, signs)} == mirrors
    n = 4 * int(np.ceil(np.pi / 2 * FINE["radius"] / FINE["far"]))
    patch = n / 2 * FINE["radius"] ** 2 * np.sin(2 * np.pi / n)
    assert m.tri.mapping().detA.sum() / 2 == approx(patch - outline.area, rel=2e-3)  # chords of arcs


def test_no_axis_where_it_leaves_thin_triangles(monkeypatch):
    """A limit above the least angle of the mirrored triangles leads to others, with a larger one."""
    plan = side_to_side(lens_with_m(length_mm=40, width_mm=14, shorter_mm=5))
    halved = mesh(plan, **FINE)
    monkeypatch.setattr(meshing, "HALVED", quality(halved)[0] + 0.1)
    whole = mesh(plan, **FINE)
    assert is_image(halved, LEVEL) and not is_image(whole, LEVEL)
    assert quality(whole)[0] > quality(halved)[0]


def test_corners_are_as_fine_as_tips():
    """A rhombus of 60 x 20 mm: the segments on either side of the corner half way are as short as those at the tips."""
    m = mesh(side_to_side(rhombus(length_mm=60, width_mm=20)), radius=60, edge=3.0, tip=0.5, far=6.0)
    lengths = np.hypot(*np.diff(m.X[:, m.seams[0][0, ::2]]))
    middle = lengths.size // 2
    assert lengths[middle - 1 : middle + 1] == approx([lengths[0], lengths[-1]])
    assert lengths[0] < 0.6 < 2 < lengths.max()
