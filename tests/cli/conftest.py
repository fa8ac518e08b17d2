"""What tests of commands share."""

import shutil
import subprocess
from pathlib import Path

import pytest
from small_cases import HELD, SMALL
from terminal import FLATSEAM

NARROW = SMALL.replace("small", "narrow").replace("undermine_mm: 6", "undermine_mm: 0.1")  # of half a segment


@pytest.fixture
def here(tmp_path, monkeypatch):
    """An empty working folder with some case files."""
    for name, written in {"small": SMALL, "held": HELD, "narrow": NARROW}.items():
        (tmp_path / f"{name}.yaml").write_text(written)
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture(scope="session")
def done(tmp_path_factory):
    """`flatseam close small.yaml`, piped, in a process of its own, and the folder in which it ran."""
    folder = tmp_path_factory.mktemp("done")
    (folder / "small.yaml").write_text(SMALL)
    return folder, subprocess.run(
        [FLATSEAM, "close", "small.yaml"], cwd=folder, capture_output=True, text=True, check=False
    )


@pytest.fixture
def result(done, here):
    """The results folder of that run, copied to the working folder."""
    return Path(shutil.copytree(done[0] / "results" / "small", here / "results" / "small"))
