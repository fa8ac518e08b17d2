"""What is possible in a case, but hardly meant, is warned of."""

import pytest
from case_files import GOOD

from fem.case import case as cases
from fem.case.document import parse


@pytest.mark.parametrize(
    ("old", "new", "warning"),
    [
        ("length_mm: 60, width_mm: 20", "length_mm: 420, width_mm: 42", "wound.outline is 42 cm long; are its"),
        ("length_mm: 60, width_mm: 20", "length_mm: 1.8, width_mm: 0.6", "wound.outline is 1.8 mm long; are its"),
        ("radius_mm: 120", "radius_mm: 2500", "patch.radius_mm 2500 is skin 5 m across; is it in mm?"),
        ("kind: lens", "kind: ellipse", "as the trade cuts it, is a lens"),
        ("width_mm: 20", "width_mm: 58", "expected to stretch skin beside the seam 1.7 times, more than 1.6"),
    ],
)
def test_hardly_meant(old, new, warning):
    """One warning each; none of the case as it was, 60 by 20 mm in a patch of 120 mm.

    The last: 58 mm, half to each side, in skin that its bed holds over sqrt(E h / k) = 40.8 mm: 1.71 times, and 1.007
    times as it is.
    """
    written = "\n".join(line for line in GOOD.splitlines() if "lesion" not in line and "mesh" not in line) + "\n"
    written = written.replace("undermine_mm: 15", "undermine_mm: 0")
    written = written.replace("radius_mm: 120", "radius_mm: 300") if "420" in new else written
    before, after = (parse(text, cases.Case, "a.yaml") for text in (written, written.replace(old, new)))
    assert not any(warning in line for line in cases.warnings(before))
    assert len([line for line in cases.warnings(after) if warning in line]) == 1
