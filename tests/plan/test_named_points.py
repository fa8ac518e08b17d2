"""Plans by hand: named points, paths along lines and arcs, and complaints at the line where a name stands."""

from pathlib import Path

import numpy as np
import pytest
from pytest import approx

from fem.case import case as cases
from fem.case import physical
from fem.case.document import parse
from fem.errors import BadCase, BadValue
from fem.geometry.outlines import circle, slit
from fem.plan.named_points import named_points

CONFIGS = Path(__file__).parents[2] / "configs" / "techniques"
S = np.linspace(0, 1, 33)
SQUARE = {"A": (-5.0, -5.0), "B": (5.0, -5.0), "C": (5.0, 5.0), "D": (-5.0, 5.0)}


def places(curves):
    return np.array([curve.point(S) for curve in curves])


def test_z_plasty_by_hand():
    """The Z-plasty of configs/techniques/named-points.yaml is the catalogue's with its default sizes."""
    by_hand, catalogue = (physical.plan(cases.read(CONFIGS / name)) for name in ("named-points.yaml", "z-plasty.yaml"))
    for one, other in zip(by_hand.seams, catalogue.seams, strict=True):
        assert places(one) == approx(places(other), abs=1e-9)
    assert places(by_hand.cuts) == approx(places(catalogue.cuts), abs=1e-9)
    assert by_hand.removed == catalogue.removed == ()
    assert by_hand.undermined.symmetric_difference(catalogue.undermined).area == approx(0, abs=1e-6)


def test_case_by_hand_reads_back():
    """What a result's case.yaml says of it is the same case."""
    case = cases.read(CONFIGS / "named-points.yaml")
    assert cases.key(parse(cases.text(case), cases.Case, "again")) == cases.key(case)


def test_circle_by_hand():
    """A circle of two arcs: paths along its points follow it, both ways."""
    points = {"L": (-10, 0), "T": (0, 10), "R": (10, 0), "B": (0, -10)}
    outline = circle(diameter_mm=20)
    plan = named_points(
        outline,
        points_mm=points,
        arcs=(("L", "T", "R"), ("R", "B", "L")),
        removed=(("L", "B", "R", "T"),),
        seams=((("L", "T", "R"), ("L", "B", "R")),),
    )
    above, below = plan.seams[0]
    assert above.length == below.length == approx(10 * np.pi)
    assert places([above])[0] == approx(outline.upper.point(S), abs=1e-12)


def test_outline_left():
    """The plan must take all of the outline."""
    points = {"L": (-10, 0), "T": (0, 10), "R": (10, 0)}
    with pytest.raises(ValueError, match=r"mm2 of the outline are not inside the skin that the plan removes"):
        named_points(
            circle(diameter_mm=20),
            points_mm=points,
            removed=(("L", "R", "T"),),
            seams=((("L", "T"), ("L", "R")),),
        )


@pytest.mark.parametrize("arc, words", [
    (("A", "B", "M"), "its first three points lie on one line"),
    (("A", "B", "C", "N"), "its points lie up to 0.449 mm off one circle"),
    (("A", "C", "B", "D"), "its points are not in order"),
])  # fmt: skip
def test_no_arc(arc, words):
    points = SQUARE | {"M": (0.0, -5.0), "N": (0.0, 5 * np.sqrt(2) + 1.0)}
    with pytest.raises(BadValue, match=words):
        named_points(slit(length_mm=5), points_mm=points, arcs=(arc,), seams=((("A", "B"), ("A", "B")),))


def test_complaints_at_their_lines():
    """Two names that are no points, and a point that lies on another: each at its own place."""
    written = (CONFIGS / "named-points.yaml").read_text()
    written = written.replace("C: [10, 0]", "C: [-10, 0]").replace("[[C, D], [C, B]]", "[[C, E], [C, B]]")
    written = written.replace("cuts: [[A, B, C, D]]", "cuts: [[A, B, F, D]]")
    lines = {word: next(i for i, line in enumerate(written.splitlines(), 1) if word in line) for word in (
        "C: [-10, 0]", "[[C, E]", "[[A, B, F",
    )}  # fmt: skip
    with pytest.raises(BadCase) as caught:
        parse(written, cases.Case, "a.yaml")
    found = [line for line in str(caught.value).splitlines() if line.startswith("a.yaml")]
    assert found == [
        f"a.yaml:{lines['C: [-10, 0]']}:8: closure.points_mm.C: point 'C' lies on point 'B'",
        f"a.yaml:{lines['[[A, B, F']}:17: closure.cuts[0][2]: no point 'F'; points: A, B, C, D",
        f"a.yaml:{lines['[[C, E]']}:12: closure.seams[0][0][1]: no point 'E'; points: A, B, C, D",
    ]


@pytest.mark.parametrize("was, becomes, words", [
    ("A: [0, 17.32050807568877]", "A: [0]", r"closure.points_mm.A: value number 2 is missing"),
    ("cuts: [[A, B, C, D]]", "cuts: [[A]]", r"closure.cuts\[0\]: got 1 values, wanted 2 or more"),
    ("[[C, D], [C, B]]", "[[C, D]]", r"closure.seams\[0\]: value number 2 is missing"),
    ("[[C, D], [C, B]]", "[[C, 7], [C, B]]", r"closure.seams\[0\]\[0\]\[1\]: got 7, wanted text"),
    ("- [[B, A], [B, C]]", "- [[B, C], [B, A]]", r"closure: the edge from .* skin on its left, is"),
    ("cuts: [[A, B, C, D]]", "cutz: [[A, B, C, D]]", r"unknown key 'cutz'; did you mean 'cuts'"),
])  # fmt: skip
def test_bad_drawings(was, becomes, words):
    written = (CONFIGS / "named-points.yaml").read_text()
    assert was in written
    with pytest.raises(BadCase, match=words):
        parse(written.replace(was, becomes), cases.Case, "a.yaml")
