"""A purse-string drawn to a quarter and cones held down to the bed, whose folds meet; invented."""

from pathlib import Path

import numpy as np
import pytest
from pytest import approx

from fem.case import case as cases
from fem.case.document import parse
from fem.closure.closing import closed
from fem.closure.closure import nodal_stress
from fem.closure.measure import measures
from fem.mechanics.quadratic import interpolated
from fem.mechanics.sheet import assemble
from fem.render.picture import stress_above
from fem.render.projection import ranges, surface

PURSE = Path(__file__).parents[2] / "configs" / "techniques" / "purse-string.yaml"


HELD_DOWN = """\
name: held-down
wound: {outline: {kind: circle, diameter_mm: 14}}
closure: {technique: side-to-side, undermine_mm: 12, anchor: {beyond_mm: 4}}
skin: {thickness_mm: 1, law: {kind: neo-hooke, shear_kPa: 15}}
bed: {pull_kPa_per_mm: 0.3, shear_kPa_per_mm: 0.03}
patch: {radius_mm: 40}
mesh: {edge_mm: 2, tip_mm: 2, far_mm: 15}
"""


@pytest.fixture(scope="module")
def gathered():
    """The purse-string of `configs/techniques`, its thread drawn to a quarter instead of half."""
    written = PURSE.read_text()
    assert "thread_mm: 30" in written
    return closed(parse(written.replace("thread_mm: 30", "thread_mm: 16"), cases.Case, "quarter"))


@pytest.mark.slow
def test_folds_meet_and_do_not_pass(gathered):
    """Stable, its folds press each other, none lies in another, and the middle stays open."""
    found = measures(gathered)
    assert gathered.effort.negative_pivots == 0
    assert gathered.effort.residual_N < 1e-8
    assert found["self_intersection_mm2"] == 0
    assert 5 < found["contact_area_mm2"] < 100
    assert found["contact_pressure_max_kPa"] > 1
    assert 5 < found["open_area_mm2"] < 60


@pytest.mark.slow
def test_equilibrium_is_that_of_skin_and_contact(gathered):
    """Skin, bed and contact balance each other but where the thread and the rim hold; without contact they do not."""
    mesh = gathered.mesh
    free = np.setdiff1d(np.arange(mesh.X.shape[1]), np.append(mesh.edge, mesh.rim))
    assert gathered.assembled[1][:, free] == approx(0, abs=1e-8)
    assert np.abs(assemble(gathered.sheet, gathered.x)[1][:, free]).max() > 1e-3


@pytest.mark.slow
def test_picture_shows_where_skin_lies_on_skin(gathered):
    """The key of the picture of stress names it; dots lie within the folds."""
    skin = surface(gathered.x, gathered.mesh.elements, gathered.mesh.surface, stress_kPa=nodal_stress(gathered))
    figure = stress_above(gathered, skin, "quarter", ranges(gathered))
    assert "skin on skin" in [text.get_text() for text in figure.legends[0].get_texts()]
    (dots,) = [line for line in figure.axes[0].lines if line.get_label() == "skin on skin"]
    assert 0 < np.hypot(*dots.get_data()).max() < 15


@pytest.mark.slow
def test_cones_held_down_fold_over():
    """Cones of 4 mm, drawn down to the bed 4 mm beyond the tips, snap through, fold over and lie on themselves."""
    closure = closed(parse(HELD_DOWN, cases.Case, "held-down"))
    found = measures(closure)
    assert closure.effort.negative_pivots == 0 and closure.effort.residual_N < 1e-8
    assert found["self_intersection_mm2"] == 0
    assert 1 < found["contact_area_mm2"] < 20 and found["contact_pressure_max_kPa"] > 0.5
    beyond = closure.mesh.X[:, closure.mesh.tips] + 4 * closure.mesh.outward(closure.mesh.X)
    height = interpolated(closure.mesh, closure.x, beyond)[2]
    assert height == approx(0, abs=0.3)  # it is the mean over a bite that is held; its middle sags
    assert closure.x[2].max() > 2  # beside it the skin stands
