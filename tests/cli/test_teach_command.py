"""`flatseam teach`: sheets of lessons, neighbours that do not converge, names that would mix."""

import re
import shutil

import pytest
from small_cases import SMALL

from fem.cli.files import read_lessons

pytestmark = pytest.mark.usefixtures("here")

LESSON = """\
title: A lesson
question: Why?
case: small.yaml
compare: [{label: held, case: held.yaml}]
"""
TURNED = LESSON.replace(
    "{label: held, case: held.yaml}", "{name: NAME, label: it, change: {skin.tension.lines_deg: 90}}"
)
PAGE = """\
title: A page
question: Why?
base:
BASE
ratios: [2, 3]
choices: [{name: lens, label: lens, change: {}}]
""".replace("BASE", "\n".join(f"  {line}" for line in SMALL.replace("name: small", "name: other").splitlines()))


def test_teach(flatseam, result, here):
    """A product of a closed case, on the paper asked for."""
    code, printed, complaints = flatseam("teach", "small.yaml", "--only", "template", "--paper", "Letter")
    assert (code, complaints) == (0, "") and "small: handout in results/small/handout" in printed
    assert (here / "results/small/handout/template.pdf").read_bytes().startswith(b"%PDF")


@pytest.mark.slow
def test_teach_with_a_neighbour_that_does_not_converge(flatseam, result, here):
    """The lesson is written, the neighbour told of, and the exit code says that not everything was done.

    A neighbour's folder that holds the result of another case is announced before it is closed again.
    """
    (here / "lesson.yaml").write_text(LESSON)
    shutil.copytree(result, here / "results/held")
    code, printed, complaints = flatseam("teach", "lesson.yaml", "--only", "lesson")
    announced, missing = complaints.splitlines()
    assert announced.startswith("held: of another case") and announced.endswith("; closing again")
    assert code == 3 and "handout in" in printed and missing.startswith("held: not closed, and missing in the sheets: ")
    assert (here / "results/small/handout/lesson.pdf").exists()


@pytest.mark.parametrize(
    ("options", "complaint"),
    [
        (("small.yaml", "--only", "tempalte"), "no 'tempalte'; did you mean 'template'"),
        (("bad.yaml",), "bad.yaml:4:7: case: "),
        (("small.yaml", "lesson.yaml"), "'small' is also the name of small.yaml"),
    ],
)
def test_teach_bad_input(flatseam, here, options, complaint):
    """Words that are not known, a lesson that cannot be read, two lessons on one case: nothing is begun."""
    (here / "lesson.yaml").write_text(LESSON)
    (here / "bad.yaml").write_text("# a lesson\n" + LESSON.replace("small.yaml", "absent.yaml"))
    code, _, complaints = flatseam("teach", *options)
    assert code == 2 and complaint in complaints and not (here / "results").exists()


@pytest.mark.parametrize(
    ("second", "name", "complaint"),
    [
        (TURNED.replace("small.yaml", "other.yaml"), "it", "second.yaml:4:11: 'it' in .* by lesson.yaml:4:11; "),
        (TURNED.replace("small.yaml", "other.yaml"), "other", "second.yaml:3:7: 'other' in .* by lesson.yaml:4:11; "),
        (PAGE, "other.html", "lesson.yaml:4:11: 'other.html' in .* by second.yaml:1:1; "),
        (PAGE.replace("name: other", "name: comparison"), "it", "second.yaml:1:1: 'comparison.html' .*compare; "),
    ],
    ids=["neighbours", "case and neighbour", "page and neighbour", "page and table"],
)
def test_teach_does_not_mix(flatseam, here, second, name, complaint):
    """Two different cases of one name, or a case and a page, in two files of one command: refused, with both places."""
    other = SMALL.replace("name: small", "name: other").replace("length_mm: 30", "length_mm: 28")
    (here / "other.yaml").write_text(other)
    (here / "lesson.yaml").write_text(TURNED.replace("NAME", name))
    (here / "second.yaml").write_text(second.replace("NAME", "it"))
    code, out, err = flatseam("teach", "lesson.yaml", "second.yaml")
    assert (code, out, (here / "results").exists()) == (2, "", False)
    assert re.match(complaint, err) and len(err.splitlines()) == 1


def test_page_does_not_replace_a_comparison(flatseam, here):
    """A page to explore that would be where a comparison of that name is: refused before any work."""
    (here / "page.yaml").write_text(PAGE)
    (here / "results").mkdir()
    for kind in ("html", "csv"):
        (here / "results" / f"other.{kind}").write_text("compared")
    code, out, err = flatseam("teach", "page.yaml")
    assert (code, out, len(list((here / "results").iterdir()))) == (2, "", 2)
    assert err.startswith("results/other.html: is a comparison, which stays; ")


def test_teach_shares_what_is_the_same(flatseam, result, here):
    """A neighbour of two lessons that is the same to the letter has one folder; one that is not needed is no matter."""
    (here / "lesson.yaml").write_text(LESSON)
    (here / "second.yaml").write_text(
        LESSON.replace("case: small.yaml", "case: held.yaml").replace("held, ", "again, ")
    )
    (here / "third.yaml").write_text(TURNED.replace("NAME", "held"))
    assert flatseam("check", "small.yaml", "held.yaml")[0] == 0
    lessons = read_lessons([("lesson", here / name) for name in ("lesson.yaml", "second.yaml")], ())[0]
    assert [lesson.case.name for lesson in lessons] == ["small", "held"]
    (alone,) = read_lessons([("lesson", here / "third.yaml")], ("template",))[0]
    assert alone.case == lessons[0].case
