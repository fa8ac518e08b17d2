"""Files of every kind and folders of them: what `check` says of each, what other commands take and what they refuse."""

from pathlib import Path

import pytest
from small_cases import SMALL
from standin import text

ROOT = Path(__file__).parents[2]
KINDS = {
    "case.yaml": SMALL,
    "lesson.yaml": "title: A lesson\nquestion: Why?\ncase: case.yaml\nlengths: [1.25]\n",
    "page.yaml": "title: A page\nquestion: Why?\nbase:\n  "
    + SMALL.replace("name: small", "name: page").replace("\n", "\n  ").rstrip()
    + "\nratios: [2, 3]\nchoices: [{name: lens, label: lens, change: {}}]\n",
    "study.yaml": text("few", [10, 20]),
}


@pytest.fixture
def mixed(tmp_path, monkeypatch):
    """A working folder with a file of each kind; a lesson's case beside it."""
    monkeypatch.chdir(tmp_path)
    for name, written in KINDS.items():
        Path(name).write_text(written)
    Path("empty").mkdir()
    return tmp_path


def test_check_takes_every_kind(flatseam, mixed):
    """A folder with a case, a lesson on it, a page and a study: each is named, with its closures and what they take."""
    code, out, err = flatseam("check", ".")
    assert (code, err) == (0, "")
    assert [line for line in out.splitlines() if not line.startswith(" ")] == [
        "small: case, lens, side-to-side",
        "A lesson: lesson on small, compared with 1",
        "A page: page to explore on page",
        "few: study of 2 cases",
    ]
    assert "\n  lens: 2, 3 to 1\n" in out
    assert out.count("  2 closures: about ") == out.count(" in all on one core; the largest has ") == 3
    assert " unknowns, 310 MB" in out


def test_check_tells_the_stops_of_a_slider(flatseam, mixed):
    """What is slid if it is not the length, and where it stops."""
    slider = "slider: {key: closure.undermine_mm, label: undermined by, unit: mm, values: [3, 6]}"
    Path("page.yaml").write_text(KINDS["page.yaml"].replace("ratios: [2, 3]", slider))
    code, out, _ = flatseam("check", "page.yaml")
    assert code == 0 and "\n  lens: undermined by 3, 6 mm\n" in out


def test_check_tells_of_all_kinds_what_is_wrong(flatseam, mixed):
    """Mistakes in a lesson and in a study are both told, not only those in the first file."""
    Path("lesson.yaml").write_text(KINDS["lesson.yaml"].replace("[1.25]", "[0]"))
    Path("study.yaml").write_text(KINDS["study.yaml"].replace("name: few", "name: f/w"))
    code, out, err = flatseam("check", "study.yaml", "lesson.yaml")
    heads = [line for line in err.splitlines() if not line.startswith(" ")]
    assert (code, out) == (2, "") and [head.split(":")[0] for head in heads] == ["study.yaml", "lesson.yaml"]


@pytest.mark.parametrize(
    ("command", "file", "complaint"),
    [
        ("close", "lesson.yaml", "is a lesson; flatseam close takes cases, flatseam teach takes this"),
        ("compare", "study.yaml", "is a study; flatseam compare takes cases, flatseam study takes this"),
        ("study", "case.yaml", "is a case; flatseam study takes studies, flatseam close takes this"),
        ("mesh", "page.yaml", "is a page to explore; flatseam mesh takes cases, flatseam teach takes this"),
        ("teach", "study.yaml", "is a study; flatseam teach takes cases, lessons and pages to explore, "
         "flatseam study takes this"),
        ("close", "empty", "no .yaml file in this folder"),
        ("close", "..", "no .yaml file in this folder, but in "),
        ("study", "absent.yaml", "No such file or directory"),
    ],
)  # fmt: skip
def test_wrong_kind(flatseam, mixed, command, file, complaint):
    """A file of another kind, or a folder without files, is told so in a line; nothing is written."""
    code, out, err = flatseam(command, file)
    assert (code, out, (mixed / "results").exists()) == (2, "", False)
    assert err.startswith(f"{file}: {complaint}") and err.count("\n") == 1


def test_folders(flatseam, mixed):
    """Of a folder `mesh` takes the case and says what it leaves out; `teach` the lesson, not its case once more."""
    code, out, err = flatseam("mesh", ".")
    assert code == 0 and out.startswith("small: ") and out.count("\n") == 1
    assert err == ".: left out: lesson.yaml (lesson), page.yaml (page to explore), study.yaml (study)\n"
    Path("page.yaml").unlink()
    Path("study.yaml").unlink()
    code, out, err = flatseam("teach", ".", "--only", "template", "--into", "case.yaml")
    assert code == 2 and err.startswith(".: left out: case.yaml (case)\nsmall: case.yaml is not a folder")
