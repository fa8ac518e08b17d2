"""Profiles and stages: sections of known surfaces, and states whose gap is known."""

from dataclasses import replace

import numpy as np
import pytest
from pytest import approx
from small_cases import case, text

from fem.closure import closing
from fem.closure.closure import nodal_stress
from fem.closure.measures.scars import line_tension_max, scar_length
from fem.mechanics.triangulation import flat_triangles
from fem.results import scene

RADIUS = 40.0


@pytest.fixture(scope="module")
def closure():
    return closing.closed(case(text("short", 20)))


@pytest.fixture(scope="module")
def walked_coarsely():
    """The same closure, its path walked on triangles of twice the size."""
    with pytest.MonkeyPatch.context() as patched:
        asked = case(text("short", 20))
        patched.setattr(closing, "COARSEN", 3 * closing.patch(asked).X.shape[1] - 1)
        closure = closing.closed(asked)
    assert closure.effort.coarser.coarser is None
    return closure


def raised(closure, height):
    """The closed skin with heights given by a function of the place."""
    return replace(closure, x=np.vstack([closure.x[:2], height(*closure.x[:2])]))


def test_section_of_a_paraboloid(closure):
    """z = 6 - ((x - x0)^2 + y^2) / 50 has the section 6 - s^2 / 50 through its top, a node.

    Flat triangles of side d lie within d^2 / 8 of twice that curvature: 9^2 / 8 / 25 at the rim, less near the wound.
    """
    right = closure.mesh.tips[1]
    x0, y0 = closure.x[:2, right]
    s, z = scene.across_cone(raised(closure, lambda x, y: 6 - ((x - x0) ** 2 + (y - y0) ** 2) / 50), right)
    assert z == approx(6 - s**2 / 50, abs=9**2 / 8 / 25)
    near = np.abs(s) < 5
    assert near.sum() > 5
    assert z[near] == approx(6 - s[near] ** 2 / 50, abs=2.5**2 / 8 / 25)


def test_section_of_a_plane(closure):
    """z = 0.1 y is highest at the zone's end; seen outward from the left tip, left is nearly -y: z falls by 0.1 s.

    To round-off, with the direction outward (c, ~0) that from the right tip, c = -1 but for the mesh.
    """
    left, right = closure.mesh.tips
    s, z = scene.across_cone(raised(closure, lambda x, y: 0.1 * y), left)
    outward = closure.x[:2, left] - closure.x[:2, right]
    assert s.size > 10 and (np.diff(s) > 0).all()
    assert z == approx(np.interp(0, s, z) + 0.1 * outward[0] / np.hypot(*outward) * s, abs=1e-9)


def test_section_crosses_the_seam(closure):
    """In one piece from rim to rim through the middle of the seam, where the two edges only meet."""
    ridge = raised(closure, lambda x, y: np.exp(-((x - 3) ** 2) / 20))
    s, _ = scene.across_cone(ridge, closure.mesh.tips[1])
    place = 3.0  # mm from the middle; the top is a node near it
    half = np.sqrt(RADIUS**2 - place**2)
    assert np.ptp(s) == approx(2 * half, rel=0.03)


def test_along_the_seam(closure):
    """From 0 to the length of the scar, which the chords between nodes hardly shorten; heights are those of nodes."""
    arc, height = scene.along_scar(closure, closure.mesh.seams[0])
    assert arc[0] == 0
    assert arc[-1] == approx(scar_length(closure), rel=1e-3)
    assert height == approx(closure.x[2, closure.mesh.seams[0][0]])


def test_profiles(closure):
    """Plain numbers: one seam, one cone a tip, the greatest height of a cone that of its section."""
    profiles = scene.profiles(closure)
    (seam,) = profiles["seams"]
    at, tension = np.array(seam["tension_at_mm"]), np.array(seam["line_tension_N_per_m"])
    inner = (at > 2) & (at < scar_length(closure) - 2)
    assert tension[inner].max() == approx(line_tension_max(closure))
    assert len(profiles["cones"]) == 2
    assert max(max(cone["height_mm"]) for cone in profiles["cones"]) == approx(closure.x[2].max())
    assert all(type(v) is float for cone in profiles["cones"] for v in cone["across_mm"])


def test_stages(closure):
    """From the gaping wound to the closed one, about a fifth of the way apart."""
    closed = [stage.closed for stage in closure.stages]
    assert (closed[0], closed[-1]) == (0, 1)
    assert np.all((np.diff(closed) > 0) & (np.diff(closed) < 0.4))
    assert closure.stages[0].x is closure.gaping
    assert closure.stages[-1].x is closure.x
    assert closure.stages[-1].stress == approx(nodal_stress(closure))


def test_gap_of_a_stage(closure):
    """The gap between the edges is 1 - closed of the gaping wound's, to round-off."""
    first, second = closure.mesh.seams[0]
    gap = closure.gaping[:, first] - closure.gaping[:, second]
    for stage in closure.stages:
        assert stage.x[:, first] - stage.x[:, second] == approx((1 - stage.closed) * gap, abs=1e-12)


def test_gap_of_a_stage_from_coarser_triangles(walked_coarsely):
    """The same, but for the sag of the coarser triangles' chords: twice 4^2 / 8 R, R = 12.5 mm that of the lens."""
    assert [stage.closed for stage in walked_coarsely.stages][1:-1]
    first, second = walked_coarsely.mesh.seams[0]
    gap = walked_coarsely.gaping[:, first] - walked_coarsely.gaping[:, second]
    for stage in walked_coarsely.stages:
        apart = stage.x[:, first] - stage.x[:, second]
        assert apart == approx((1 - stage.closed) * gap, abs=2 * 4**2 / 8 / 12.5)


def test_stages_are_read_as_written(closure, tmp_path):
    """Quadratic triangles and seams by node number; positions to single precision; nothing that is sewn, no seam."""
    made = scene.stages(closure)
    scene.write_stages(made, tmp_path / "stages.npz")
    stored = scene.read_stages(tmp_path / "stages.npz")
    assert stored.x.shape == (len(closure.stages), 3, closure.mesh.X.shape[1])
    assert stored.x[-1] == approx(closure.x, rel=1e-6, abs=1e-6)
    assert (stored.elements == closure.mesh.elements).all()
    (seam,) = stored.seams
    assert (seam == closure.mesh.seams[0]).all()
    area = 0.5 * np.abs(np.linalg.det(_sides(stored.X, flat_triangles(stored.elements))))
    assert area.sum() == approx(closure.mesh.tri.mapping().detA.sum() / 2, rel=1e-5)
    scene.write_stages(replace(made, seams=()), tmp_path / "stages.npz")
    assert scene.read_stages(tmp_path / "stages.npz").seams == ()


def _sides(X, triangles):
    p = X[:, triangles]
    return np.stack([p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]], axis=-1).transpose(1, 0, 2)
