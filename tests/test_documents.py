"""What the documents name exists: files, and functions in them."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
DOCUMENTS = [
    ROOT / name for name in ("DEVELOPERS.md", "README.md", "SOURCES.md", "tests/MEASURED.md", "tests/VERIFICATION.md")
]
DOCUMENTS += sorted(ROOT.glob("fem/*/README.md"))
FOLDERS = ROOT, ROOT / "fem", ROOT / "tests"
PATH = re.compile(r"`([\w.-]+(?:/[\w.-]*)+|\w+\.py)(?:: (\w+))?`")  # of a file, then a function in it
PRODUCTS = "results/", "handout/", "cases/", "frames/", "pictures/", "untrimmed/", "skins/"  # what commands write


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_what_is_named_exists(document):
    """Paths below the root, `fem`, `tests` or the document's own folder; in `a/b.py: f`, f is defined there."""
    for path, name in PATH.findall(document.read_text()):
        if path.startswith(PRODUCTS):
            continue
        found = [folder / path for folder in (*FOLDERS, document.parent) if (folder / path).exists()]
        assert found, path
        assert not name or re.search(rf"^(def |class )?{name}\b", found[0].read_text(), re.M), (path, name)


def test_named_tables_exist():
    """Dictionaries in capitals that DEVELOPERS.md names are at the top of a module."""
    modules = [path.read_text() for folder in ("fem", "tests") for path in (ROOT / folder).glob("**/*.py")]
    names = set(re.findall(r"`([A-Z]+)`", (ROOT / "DEVELOPERS.md").read_text())) - {
        "X",
        "F",
        "C",
        "J",
        "G",
        "P",
        "K",
        "D",
    }
    assert names > {"OUTLINES", "LAWS"}
    for name in names:
        assert any(re.search(rf"^{name}\b", text, re.M) for text in modules), name


def test_developers_are_not_tired():
    """DEVELOPERS.md stays readable in one go: 10 kB."""
    assert (ROOT / "DEVELOPERS.md").stat().st_size <= 10_000
