"""Lesson files: what they may say, the neighbours that come of them, and complaints with line and column."""

from pathlib import Path

import pytest
from pytest import approx
from small_cases import case, text

from fem.case import case as cases
from fem.errors import BadCase
from fem.teaching import lesson

LESSONS = sorted((Path(__file__).parents[2] / "configs" / "lessons").glob("*.yaml"))
FILE = """\
title: A title
question: A question?
case: small.yaml
lengths: [0.5, 2]
compare:
  - name: across
    label: across the lines
    change: {skin.tension.lines_deg: 90}
notes: [one note]
"""


@pytest.fixture
def here(tmp_path):
    (tmp_path / "small.yaml").write_text(text("small", 20))
    return tmp_path


def read(here, written):
    (here / "lesson.yaml").write_text(written)
    return lesson.read(here / "lesson.yaml")


def test_lesson(here):
    """Neighbours: half as long, twice as long, and with the lines turned; all else is the case's."""
    made = read(here, FILE)
    assert made.case == case(text("small", 20))
    named = dict(lesson.neighbours(made))
    assert list(named) == ["0.5 times as long", "2 times as long", "across the lines"]
    assert [sample.wound.outline.length_mm for sample in named.values()] == [10, 40, 20]
    assert named["across the lines"].skin.tension.lines_deg == 90
    assert {sample.wound.outline.width_mm for sample in named.values()} == {10}
    assert len({sample.name for sample in named.values()} | {"small"}) == 4


def test_lengths_that_nearly_agree(here):
    """Neighbours 2.001 and 2.004 times as long have names and labels of their own, with the digits that this takes."""
    near = lesson.neighbours(read(here, FILE.replace("0.5, 2", "2, 2.001, 2.004")))[:3]
    assert [label for label, _ in near] == ["2 times as long", "2.001 times as long", "2.004 times as long"]
    assert [case.name for _, case in near] == ["small-length-200", "small-length-200.1", "small-length-200.4"]


def test_name_of_a_neighbour():
    """A length that the case itself is named after is no neighbour: it would be written over it."""
    long = "x" * 60
    assert [c.name for _, c in lesson.neighbours(lesson.of_case(case(text(f"{long}-length-75", 20))))] == [
        f"{long}-length-133.333", f"{long}-length-166.667",
    ]  # fmt: skip


def test_the_same_case_twice(here):
    """A neighbour that is the lesson's case, to the letter, may have its results."""
    named = lesson.neighbours(read(here, FILE[: FILE.index("compare")] + "compare: [{label: same, case: small.yaml}]"))
    assert named[-1] == ("same", case(text("small", 20)))


def test_computed_in_the_same_way(here):
    """Triangles keep their sizes, and the patch its margin: 40 mm around a reach of 16 mm, so 50 mm around 26 mm."""
    made = read(here, FILE)
    named = dict(lesson.neighbours(made))
    assert {sample.mesh for sample in named.values()} == {made.case.mesh}
    assert named["2 times as long"].patch.radius_mm == approx(50, abs=0.01)
    assert named["across the lines"].patch.radius_mm == approx(40, abs=0.01)


def test_trimmed():
    """A plain trimmed closure is compared with the same wound left as it is, whatever says how its cones are cut."""
    cut = "{technique: trimmed, left: angled, left_deg: 50, right: none, under_mm: 2, undermine_mm: 6}"
    sample = case(text("cut", 20).replace("{undermine_mm: 6}", cut))
    ((label, other),) = lesson.neighbours(lesson.of_case(sample))
    assert (label, other.name) == ("not trimmed", "cut-not-trimmed")
    assert other.closure == case(text("plain", 20)).closure and other.wound == sample.wound
    assert other.mesh == sample.mesh


def test_plain_case():
    """A case alone is compared with one three quarters as long and one a third longer; a circle with two lenses."""
    made = lesson.of_case(case(text("small", 20)))
    assert [sample.wound.outline.length_mm for _, sample in lesson.neighbours(made)] == approx([15, 80 / 3])
    round_ = lesson.of_case(case(text("r", 1).replace("lens, length_mm: 1, width_mm: 10", "circle, diameter_mm: 10")))
    result = [sample.wound.outline for _, sample in lesson.neighbours(round_)]
    assert [(o.kind, o.length_mm, o.width_mm) for o in result] == [
        ("lens", approx(40 / 3), 10),
        ("lens", approx(50 / 3), 10),
    ]
    assert [label for label, _ in lesson.neighbours(round_)] == [
        "lens, 1.33 times as long", "lens, 1.67 times as long",
    ]  # fmt: skip
    assert "what would a shorter or a longer wound change?" in made.question
    assert "what would a lens as wide as the circle change?" in round_.question


def test_question_of_what_is_compared():
    """A lens hardly longer than wide has two longer neighbours, and is asked about these."""
    made = lesson.of_case(case(text("small", 12)))
    assert all(factor > 1 for factor in made.lengths) and made.question.endswith("what would a longer wound change?")


def test_without_length():
    """A square has no length to change, so a plain one has no neighbours; asked for by a lesson, it is refused."""
    square = text("s", 1).replace("lens, length_mm: 1, width_mm: 10", "square, side_mm: 10")
    assert lesson.neighbours(lesson.of_case(case(square))) == []
    assert lesson.of_case(case(square)).question == "How high do the cones stand, and what does the scar cost?"
    with pytest.raises(ValueError, match="square has no length_mm"):
        lesson.with_length(case(square), 2)


def test_site_is_filled_anew():
    """Another site brings its own values, and `bed: null` stays null."""
    written = "name: a\nwound: {outline: {kind: lens, length_mm: 60, width_mm: 20}}\nskin: {site: forearm}\n"
    scalp = lesson.changed(case(written), "b", {"skin.site": "scalp"})
    direct = case(written.replace("forearm", "scalp"))
    assert scalp.skin == direct.skin and scalp.bed == direct.bed and scalp.skin != case(written).skin
    bare = lesson.changed(case(written + "bed: null\n"), "b", {"wound.outline.length_mm": 50})
    assert bare.bed is None and bare.skin == case(written).skin
    pad = lesson.changed(case(written), "b", {"skin.site": "silicone-pad"})
    assert pad.bed is None and pad.skin.tension.along_N_per_m == 0


@pytest.mark.parametrize(
    ("written", "complaint"),
    [
        (FILE.replace("lengths", "length"), "lesson.yaml:4:1: unknown key 'length'; did you mean 'lengths'"),
        (FILE.replace("title: A title\n", ""), "lesson.yaml:1:1: missing key 'title'"),
        (FILE.replace("0.5", "0.1"), "lesson.yaml:4:11: lengths[0]: wound.outline: width_mm 10 is more than"),
        (FILE.replace("0.5", "-1"), "lesson.yaml:4:11: lengths[0]: got -1"),
        (
            FILE.replace("lines_deg: 90", "lines_deg: 900"),
            "lesson.yaml:8:13: compare[0].change: skin.tension.lines_deg",
        ),
        (FILE.replace("lines_deg", "line_deg"), "unknown key 'line_deg'; did you mean 'lines_deg'"),
        (FILE.replace("skin.tension.lines_deg", "mesh.edge_mm"), "mesh cannot be changed"),
        (FILE.replace("skin.tension.lines_deg", "name.x"), "name cannot be changed"),
        (FILE.replace("name: across\n    ", ""), "lesson.yaml:6:5: compare[0]: needed: name and change"),
        (
            FILE.replace("name: across", "name: small"),
            "lesson.yaml:6:5: compare[0]: the results would go into 'small', as those of case do",
        ),
        (FILE.replace("name: across", "name: small-length-200"), "into 'small-length-200', as those of lengths[1] do"),
        (FILE.replace("name: across", "name: small.failed.json"), "into 'small.failed.json', as those of case do"),
        (FILE.replace("0.5, 2", "2, 2.0000001"), "lesson.yaml:4:14: lengths[1]: the results would go into"),
        (FILE.replace("0.5, 2", "2, 2"), "lengths[1]: '2 times as long' is also the label of lengths[0]"),
        (FILE.replace("across the lines", "this wound"), "compare[0]: 'this wound' is also the label of case"),
        (FILE.replace("0.5, 2", ", ".join(["2"] * 2_000)), "lesson.yaml:4:10: lengths: got 2000 values, wanted 40"),
        (FILE.replace("small.yaml", "absent.yaml"), "lesson.yaml:3:7: case: "),
        (FILE.replace("small.yaml", "../small.yaml"), "not inside the folder"),
        (FILE.replace("small.yaml", "/etc/passwd"), "not inside the folder"),
        (FILE.replace("small.yaml", "{name: x}"), "lesson.yaml:3:7: case: missing key 'wound'"),
    ],
)
def test_complaints(here, written, complaint):
    """Each mistake is told with the file, line and column, and what is allowed."""
    with pytest.raises(BadCase) as error:
        read(here, written)
    assert complaint in str(error.value)


def test_bad_case_file(here):
    """A mistake in the file of the case is told with its own line and column."""
    (here / "small.yaml").write_text(text("small", 20).replace("undermine_mm", "undermined_mm"))
    with pytest.raises(BadCase, match=r"lesson\.yaml:3:7: case: .*small\.yaml:3:11: closure: unknown key"):
        read(here, FILE)


@pytest.mark.parametrize("path", LESSONS, ids=lambda p: p.stem)
def test_lessons_of_our_own(path):
    """Each can be read, has two neighbours or more, names that no other lesson uses, and a title of its own."""
    made = lesson.read(path)
    assert len(lesson.neighbours(made)) >= 2 and made.question.endswith("?")


@pytest.mark.slow
def test_lessons_do_not_mix():
    """No two of our lessons would write into the same results folder, and there are five or more."""
    every = [lesson.read(path) for path in LESSONS]
    names = [sample.name for made in every for sample in (made.case, *(case for _, case in lesson.neighbours(made)))]
    assert len(LESSONS) >= 5 and len(set(names)) == len(names)
    assert len({made.title for made in every}) == len(every)
    assert all(cases.warnings(made.case) == [] for made in every)


def test_former_key(here):
    """What is called `label` was called `words`: still read, at its place in complaints too, with a warning."""
    (here / "lesson.yaml").write_text(FILE.replace("label:", "words:"))
    with pytest.warns(FutureWarning, match="lesson.yaml:7:5: warning: 'words:' is called 'label:' now"):
        made = lesson.read(here / "lesson.yaml")
    assert [label for label, _ in lesson.neighbours(made)][-1] == "across the lines"
    (here / "lesson.yaml").write_text(FILE.replace("label: across the lines", "words: 3"))
    with pytest.warns(FutureWarning), pytest.raises(BadCase, match=r":7:12: compare\[0\].label: got 3, wanted text"):
        lesson.read(here / "lesson.yaml")
