"""What a results folder gives back, and in what order."""

import io

import numpy as np
import pytest
from small_cases import case, text

from fem.results import result
from fem.results.close import write_numbers
from fem.results.result import Result


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
    write_numbers(tmp_path, one, measures, {}, keep="fields")
    for name, content in {"profiles.json": b"{}", "stages.npz": stages, "skin.vtu": b"</VTKFile>"}.items():
        (tmp_path / name).write_bytes(content)
    with pytest.raises(ValueError, match=complaint):
        result.read(tmp_path, one)
