"""The program as it is used: a fixture that runs a command in this process, and what is in a folder."""

import sysconfig
from pathlib import Path

import pytest

from fem.cli import cli

FLATSEAM = Path(sysconfig.get_path("scripts")) / "flatseam"


@pytest.fixture
def flatseam(capsys):
    """A function that runs a command in this process: exit code, stdout, stderr."""

    def run(*options):
        with pytest.raises(SystemExit) as end:
            cli.app([str(option) for option in options])
        return end.value.code, *capsys.readouterr()

    return run


def names(folder):
    """Names of what is in a folder, sorted."""
    return sorted(path.name for path in folder.iterdir())


def content(folder):
    """Every file in a folder, with its bytes and the time it was written."""
    return {p: (p.read_bytes(), p.stat().st_mtime_ns) for p in sorted(folder.rglob("*")) if p.is_file()}
