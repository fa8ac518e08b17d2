"""Scripts that call `compare` and `study`, which start processes that read the script too."""

import ast
import multiprocessing
import re
import sys
import textwrap
from pathlib import Path
from types import ModuleType

import pytest
from small_cases import SMALL, case

import flatseam
from fem.errors import Unguarded

ROOT = Path(__file__).parents[1]
STUDY = {"name": "few", "base": case(SMALL), "grid": {"closure.undermine_mm": [5, 6]}}
CALLS = {
    "compare": lambda into: flatseam.compare([case(SMALL)], into=into),
    "study": lambda into: flatseam.study(STUDY, into=into, workers=1),
}


@pytest.fixture(params=CALLS)
def call(request):
    return CALLS[request.param]


def test_the_readme_is_a_script():
    """Its block is a whole program, in which both are called below the guard and nowhere else."""
    text = (ROOT / "README.md").read_text()
    block = re.search(r"^    import flatseam\n(?:    .*\n|\n)+", text, re.MULTILINE)
    body = ast.parse(textwrap.dedent(block[0])).body
    guarded = [node for node in body if isinstance(node, ast.If) and ast.unparse(node.test) == "__name__ == '__main__'"]
    below, beside = ("\n".join(map(ast.unparse, nodes)) for nodes in (guarded, [n for n in body if n not in guarded]))
    assert all(f"flatseam.{name}(" in below and f"flatseam.{name}(" not in beside for name in CALLS)


def test_in_a_process_that_reads_the_script(call, tmp_path, monkeypatch):
    """Such a process is told in a sentence, before anything is written."""
    monkeypatch.setattr(multiprocessing.current_process(), "_inheriting", True, raising=False)
    with pytest.raises(Unguarded, match=r'reads the script: call this below if __name__ == "__main__":$'):
        call(tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_processes_that_end_while_they_read_the_script(call, tmp_path, monkeypatch):
    """No case is to blame for it: the error is that of the script, and there is no page which says anything else."""
    script = tmp_path / "script.py"
    script.write_text("raise SystemExit(1)")
    main = ModuleType("__main__")
    main.__file__ = str(script)
    monkeypatch.setitem(sys.modules, "__main__", main)
    with pytest.raises(Unguarded):
        call(tmp_path / "results")
    assert not list(tmp_path.glob("results/**/*.html"))
