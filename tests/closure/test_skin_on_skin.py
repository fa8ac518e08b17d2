"""A purse-string drawn to a quarter, whose folds meet; invented."""

from pathlib import Path

import numpy as np
import pytest
from pytest import approx

from fem.case import case as cases
from fem.case.document import parse
from fem.closure.closing import closed
from fem.closure.closure import nodal_stress
from fem.closure.measure import measures
from fem.mechanics.sheet import assemble
from fem.render.picture import stress_above
from fem.render.projection import ranges, surface

PURSE = Path(__file__).parents[2] / "configs" / "techniques" / "purse-string.yaml"


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
