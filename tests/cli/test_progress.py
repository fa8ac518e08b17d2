"""What is told while work goes on: in which stage it is, how much is done of how much, and how long it still takes."""

import re
import time

import pytest

from fem.cli import progress
from fem.errors import NotConverged, at_stage, stages, within


def test_stage_of_the_solver():
    """A suture by its number; a wound closed to 40 %, then closed and not yet at rest: no full bar."""
    assert (progress.said("closing", 0.4), progress.solving("closing", 0.4)) == ("40 % closed", {"done": 0.4, "of": 1})
    assert progress.said("closing", 1.0) == "closed, coming to rest"
    assert progress.solving("closing", 1.0)["of"] is progress.solving("gaping wound", 1.0)["of"] is None
    with at_stage("closing"), at_stage("suture 3 of 7"):
        assert progress.said("closing", 1.0) == "suture 3 of 7"
        assert progress.solving("closing", 1.0) == {"done": 2, "of": 7}
    assert stages() == ()


def test_stages_end_with_an_error():
    """What fails within a stage names it, and the work is in no stage any more."""
    with pytest.raises(NotConverged, match="closing: no rest"):
        with at_stage("closing"):
            raise NotConverged("no rest")
    assert stages() == ()


def test_runs():
    """A wound that gapes once more begins another run, as on finer triangles or where cones are cut off."""
    run = progress.runs()
    said = [run(stage) for stage in ("gaping wound", "gaping wound", "closing", "closing", "gaping wound", "closing")]
    assert said == ["", "", "", "", "run 2: ", "run 2: "]
    with at_stage("closing"), at_stage("pressed flat"), at_stage("suture 1 of 3"):
        assert progress.said("closing", 1.0) == "pressed flat, suture 1 of 3"
    with within("coarser triangles"):
        assert progress.said("gaping wound", 1.0) == "coarser triangles, gaping wound"
        with at_stage("closing"), within("led up"):
            assert progress.said("closing", 0.4) == "coarser triangles, 40 % closed"


def test_time_left():
    """One of six in a second leaves five; of none or all done nothing is said."""
    words = progress.pace()
    time.sleep(1.0)
    assert (words(0, 6), words(6, 6)) == ("0 of 6", "6 of 6")
    assert re.fullmatch(r"1 of 6, [56] seconds left", words(1, 6))


def test_piped(capsys):
    """A line now and then, here at once, and not a second within the time."""
    with progress.bar("lens", seldom=0.0) as update:
        update(state="suture 3 of 7")
    with progress.bar("lens", seldom=60.0) as update:
        update(state="suture 4 of 7")
    assert capsys.readouterr().err == "lens: suture 3 of 7\n"
