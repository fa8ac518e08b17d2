"""Which solver made a result, and what a folder without pictures is to a case."""

import json
import shutil
import zipfile

import pytest
from small_cases import case, text

from fem.results import identity
from fem.results.close import write_numbers
from fem.results.identity import FEM, MAX_BYTES, Kind, failure, solver, state

A, B = case(text("a", 30)), case(text("a", 31))


@pytest.fixture
def source(tmp_path):
    """Makes copies of the solver's packages, each with the text of a file changed."""

    def copy(name, path="closure/closing.py", change=lambda text: text):
        for package in identity.PACKAGES:
            shutil.copytree(FEM / package, tmp_path / name / package, ignore=shutil.ignore_patterns("__pycache__"))
        file = tmp_path / name / path
        file.write_text(change(file.read_text()))
        return tmp_path / name

    return copy


@pytest.fixture
def folder(tmp_path):
    """The numbers of a result."""
    (tmp_path / "a").mkdir()
    write_numbers(tmp_path / "a", A, {"cone_height_mm": 1.0}, {"total_s": 1.0})
    return tmp_path / "a"


def test_comments_do_not_count(source):
    """The same solver with more comments, another docstring or other white space."""
    first = solver(source("first"))
    assert first == solver()
    changed = lambda text: "# more\n" + text.replace('"""', '"""More. ', 1).replace(" = ", " =  ")  # noqa: E731
    assert solver(source("all of them", change=changed)) == first


def test_constants_count(source):
    """Another number anywhere, or another file, is another solver."""
    path = "mechanics/edges.py"
    changed = solver(source("number", path, lambda text: text.replace("SAME = 1e-6", "SAME = 2e-6")))
    more = source("more")
    (more / "closure/more.py").write_text("")
    assert len({solver(), changed, solver(more)}) == 3


def test_libraries_count(source, tmp_path, monkeypatch):
    """Another version of a numerical library is another solver, and so is another linear solver."""
    monkeypatch.setenv("FLATSEAM_SOLVER", "pardiso")
    first = solver(source("first"))
    monkeypatch.setenv("FLATSEAM_SOLVER", "rslab")
    assert solver(tmp_path / "first") != first
    monkeypatch.setenv("FLATSEAM_SOLVER", "pardiso")
    (tmp_path / "scipy-99.dist-info").mkdir()
    (tmp_path / "scipy-99.dist-info/METADATA").write_text("Metadata-Version: 2.1\nName: scipy\nVersion: 99\n")
    monkeypatch.syspath_prepend(tmp_path)
    assert solver(source("second")) != first


def test_states_of_a_folder(folder):
    """Complete for the case it was written for, of another one for any other, and without what was not kept."""
    assert state(folder, A, keep="measures").complete and state(folder, keep="measures").complete
    assert state(folder, B, keep="measures").kind == Kind.OTHER_CASE
    assert str(state(folder, A, keep="fields")) == "missing, only its measures were kept"
    assert state(folder.parent / "b", A).kind == Kind.MISSING


@pytest.mark.parametrize(
    ("content", "complaint"),
    [
        ("", "damaged, run.json: Expecting value"),
        ('{"case": "33', "damaged, run.json: Unterminated string"),
        ("[]", "damaged, run.json: no JSON object"),
        ("[" * 100_000, "damaged, run.json: maximum recursion depth"),
        ("{}", "of another case"),
    ],
)
def test_run_that_cannot_be_read(folder, content, complaint):
    """It is said which file is damaged, and why."""
    (folder / "run.json").write_text(content)
    assert str(state(folder, A, keep="measures")).startswith(complaint)


def test_files_that_do_not_go_together(folder, tmp_path):
    """Measures of another result, or numbers changed by hand, are no result of this case."""
    (tmp_path / "b").mkdir()
    write_numbers(tmp_path / "b", B, {"cone_height_mm": 2.0}, {"total_s": 1.0})
    shutil.copy(tmp_path / "b" / "measures.json", folder)
    said = str(state(folder, A, keep="measures"))
    assert said == "damaged, measures.json: is not what was written with run.json"
    run = json.loads((folder / "run.json").read_text())
    (folder / "run.json").write_text(json.dumps(run | {"total_s": 2.0}))
    assert str(state(folder, A, keep="measures")) == "damaged, run.json is not as it was written"


def test_files_too_large(folder):
    """What would fill the memory is refused unread: a file beyond the limit, and one that unpacks to more."""
    run = json.loads((folder / "run.json").read_text()) | {"keep": "fields"}
    for name in ("profiles.json", "skin.vtu"):
        (folder / name).write_bytes(b"{}</VTKFile>"[: 2 if name[0] == "p" else None])
    with zipfile.ZipFile(folder / "stages.npz", "w", zipfile.ZIP_DEFLATED, compresslevel=1) as packed:
        for k in range(11):
            packed.writestr(f"{k}.npy", bytes(MAX_BYTES // 10))
    (folder / "run.json").write_text(json.dumps(identity.sealed(folder, run)))
    assert str(state(folder, A, keep="fields")) == f"damaged, stages.npz: more than {MAX_BYTES} bytes unpacked"
    with open(folder / "measures.json", "wb") as stream:
        stream.truncate(MAX_BYTES + 1)  # takes no room
    assert str(state(folder, A, keep="measures")) == f"damaged, measures.json: more than {MAX_BYTES} bytes"


def test_failure(tmp_path):
    """The note of a failure counts if this solver made it and it can be read."""
    path = tmp_path / "a.failed.json"
    assert failure(path) is None
    path.write_text(json.dumps({"solver": solver(), "reason": "why"}))
    assert failure(path) == {"solver": solver(), "reason": "why"}
    for other in (json.dumps({"solver": "another", "reason": "why"}), '{"reason": "why"}', '{"solv'):
        path.write_text(other)
        assert failure(path) is None
