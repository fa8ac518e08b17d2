"""`flatseam new`: a case to start from, of what was given, asked or usual; and completion of words by the shell."""

import io
import json
import os
import pty
import re
import subprocess
import sys
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator
from ruamel.yaml import YAML
from terminal import names

from fem.case import case as cases
from fem.cli.starting import SCHEMA, plain_outlines

RUN = "from fem.cli.cli import main; main()"


@pytest.fixture(autouse=True)
def empty(tmp_path, monkeypatch):
    """An empty working folder, off a terminal."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.stdin", io.StringIO())
    return tmp_path


def test_usual_case(flatseam, empty):
    """Off a terminal a 3:1 lens on a forearm, undermined by 15 mm, without a warning; the schema beside it takes it."""
    code, out, err = flatseam("new")
    assert (code, err) == (0, "") and out.startswith(f"lens-60x20.yaml: written, with {SCHEMA} for editors")
    case = cases.read("lens-60x20.yaml")
    outline = case.wound.outline
    assert (outline.kind, outline.length_mm, outline.width_mm) == ("lens", 60, 20)
    assert (case.skin.site, case.closure.technique, case.closure.undermine_mm) == ("forearm", "side-to-side", 15)
    first, *lines = Path("lens-60x20.yaml").read_text().splitlines()
    assert first == f"# yaml-language-server: $schema={SCHEMA}" and len(lines) < 20 and max(map(len, lines)) <= 120
    written = YAML(typ="safe").load(Path("lens-60x20.yaml"))
    assert list(Draft202012Validator(json.loads(Path(SCHEMA).read_text())).iter_errors(written)) == []


def test_body_of_the_site(flatseam, empty):
    """A line that is commented out lays the case on the body of its site; a bench material has none."""
    assert flatseam("new", "head", "--site", "scalp")[0] == 0
    text = Path("head.yaml").read_text()
    assert cases.read("head.yaml").patch.surface is None
    Path("head.yaml").write_text(text.replace("# patch", "patch"))
    assert cases.read("head.yaml").patch.surface.kind == "sphere"
    assert flatseam("new", "towel", "--site", "cotton-towel")[0] == 0 and "patch" not in Path("towel.yaml").read_text()


def test_nothing_is_replaced(flatseam, empty):
    """A case or a schema that is there stays as it is; the one is an error, the other a line."""
    Path("mine.yaml").write_text("years of work")
    Path(SCHEMA).write_text("{}")
    for name in ("mine", "mine.yaml"):
        code, out, err = flatseam("new", name)
        assert (code, out) == (2, "") and "mine.yaml is there already" in err
    code, out, err = flatseam("new", "other", "--outline", "circle", "--width-mm", "8")
    assert code == 0 and err.startswith(f"{SCHEMA}: is another one, and stays")
    assert Path("mine.yaml").read_text() == "years of work" and Path(SCHEMA).read_text() == "{}"
    assert cases.read("other.yaml").wound.outline.diameter_mm == 8


@pytest.mark.parametrize("kind", plain_outlines())
def test_outlines(flatseam, kind):
    """Each that a length and a width settle makes a case that is read."""
    code, _, _ = flatseam("new", "it", "--outline", kind)
    assert code == 0 and cases.read("it.yaml").wound.outline.kind == kind


@pytest.mark.parametrize(
    ("options", "complaint"),
    [
        (["--length-mm", "10", "--width-mm", "20"], "width_mm 20 is more than length_mm 10"),
        (["--technique", "rhombic"], "closure"),
        (["--site", "forerm"], "did you mean 'forearm'?"),
        (["../up"], "got '../up'"),
        (["a # b"], "'a # b' is no name for a case"),
        (["--undermine-mm", "nan"], "nan"),
        (["--length-mm", "30,5"], "--length-mm: got '30,5', wanted a number; write 30.5"),
    ],
)
def test_what_does_not_fit(flatseam, empty, options, complaint):
    """Exit code 2 and nothing written."""
    code, out, err = flatseam("new", *options)
    assert (code, out, names(empty)) == (2, "", []) and complaint in err
    assert not (empty.parent / "up.yaml").exists()


def test_asked_on_a_terminal(empty):
    """What is not given is asked, once more if not understood; the end of input leaves nothing behind."""
    said, code = answered(["cheek", "lense", "circle", "8,5", "", "", ""])
    assert code == 0 and "did you mean 'lens'?" in said and "undermined around the wound, mm [15]" in said
    case = cases.read("circle-8.5.yaml")
    assert (case.skin.site, case.wound.outline.diameter_mm) == ("cheek", 8.5)
    before = names(empty)
    said, code = answered(["cheek", "\x04"])
    assert code == 2 and "nothing was written" in said and names(empty) == before


def answered(answers):
    """What a terminal shows of `flatseam new`, whose questions are answered in order, and its exit code."""
    ours, theirs = pty.openpty()
    with subprocess.Popen([sys.executable, "-c", RUN, "new"], stdin=theirs, stdout=theirs, stderr=theirs) as process:
        os.close(theirs)
        said = ""
        for answer in answers:
            while not re.search(r"\]: $", said):
                said += os.read(ours, 4096).decode()
            os.write(ours, f"{answer}\n".encode())
            said += os.read(ours, 4096).decode() + "\n"
        try:
            while more := os.read(ours, 4096).decode():
                said += more
        except OSError:  # the other end is closed
            pass
    os.close(ours)
    return said, process.returncode


def test_completion(flatseam, empty, monkeypatch):
    """The shell's file of completion knows the commands and their options, and is written where the shell looks."""
    for name, value in {"HOME": str(empty), "SHELL": "/bin/bash"}.items():
        monkeypatch.setenv(name, value)
    code, _, _ = flatseam("--install-completion")
    written = (empty / ".local/share/bash-completion/completions/flatseam").read_text()
    assert code == 0 and "compare" in written and "--baseline" in written and "A4" in written
