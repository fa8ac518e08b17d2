"""What a results folder gives back, and in what order."""

import io

import numpy as np
import pytest
from small_cases import case, text

from fem.results import result
from fem.results.close import write_numbers
from fem.results.result import Result
from fem.results.scene import read_stages


def test_order():
    """Smallest first; without the number last, in the order given."""
    made = [
        Result(case(text(name, 20)), measures=measures)
        for name, measures in [
            ("a", {}),
            ("b", {"dip_mm": 2.0}),
            ("c", {"dip_mm": 1.0}),
            ("d", {"dip_mm": None}),
        ]
    ]
    assert [r.name for r in result.ordered(made, "dip_mm")] == ["c", "b", "a", "d"]


def test_order_of_heights():
    """A sunk cone is no lower than one that stands."""
    heights = {"sunk": -3.0, "stands": 2.0, "lies": -0.1}
    made = [Result(case(text(name, 20)), measures={"cone_height_mm": height}) for name, height in heights.items()]
    assert [r.name for r in result.ordered(made, "cone_height_mm")] == ["lies", "stands", "sunk"]


def archive(**arrays):
    stream = io.BytesIO()
    np.savez(stream, **arrays)
    return stream.getvalue()


@pytest.mark.parametrize(
    ("measures", "stages", "complaint"),
    [
        ({"cone_height_mm": "<b>high</b>"}, archive(x=[1]), "measures.json: cone_height_mm is no number"),
        ({"cone_height_mm": 1.0}, b"", "damaged, stages.npz: File is not a zip file"),
        ({"cone_height_mm": 1.0}, archive(x=[1])[:-30], "damaged, stages.npz"),
        ({"cone_height_mm": 1.0}, archive(x=[1]), "stages.npz: .*closed"),
    ],
)
def test_folder_that_is_not_what_was_written(tmp_path, measures, stages, complaint):
    """Text in place of a number, or an array file that was cut short or lacks some, is refused with its name."""
    one = case(text("a", 20))
    for name, content in {"profiles.json": b"{}", "stages.npz": stages, "skin.vtu": b"</VTKFile>"}.items():
        (tmp_path / name).write_bytes(content)
    write_numbers(tmp_path, one, measures, {}, keep="fields")
    with pytest.raises(ValueError, match=complaint):
        result.read(tmp_path, one)


@pytest.mark.parametrize(
    ("change", "complaint"),
    [
        ({"elements": np.full((6, 1), 9)}, "a node is out of range"),
        ({"tips": np.array([-1])}, "a node is out of range"),
        ({"x": np.zeros((2, 3, 5))}, "stress_kPa has a shape that does not fit the others"),
        ({"x": np.full((2, 3, 6), np.nan)}, "x holds what is no number"),
        ({"x": np.zeros((2, 3, 6), int)}, "x is no array of that kind"),
        ({"seams": np.zeros(3, int)}, "seams is no array of that kind"),
        ({"seam_of": np.zeros(4, int)}, "seam_of has a shape that does not fit the others"),
        ({"label": np.array([None, {}])}, "Object arrays cannot be loaded"),
    ],
)
def test_stages_that_do_not_fit(tmp_path, change, complaint):
    """Nodes that are not there, shapes that do not go together, numbers that are none: said, not followed."""
    arrays = {
        "closed": np.array([0.0, 1.0]), "label": np.array(["", ""]), "x": np.zeros((2, 3, 6)),
        "stress_kPa": np.zeros((2, 6)), "X": np.zeros((2, 6)), "elements": np.arange(6)[:, None],
        "seams": np.array([[0, 1, 2], [3, 4, 5]]), "seam_of": np.zeros(3, int), "tips": np.array([0]),
        "centre": np.zeros(3), "half_width": 1.0,
    }  # fmt: skip
    path = tmp_path / "stages.npz"
    path.write_bytes(archive(**arrays))
    assert read_stages(path).half_width == 1.0
    path.write_bytes(archive(**arrays | change))
    with pytest.raises(ValueError, match=f"stages.npz: {complaint}"):
        read_stages(path)
