"""What tests of studies share."""

import pytest


@pytest.fixture
def notes(tmp_path, monkeypatch):
    """The folder in which stand-ins note what they begin."""
    (tmp_path / "notes").mkdir()
    monkeypatch.setenv("STANDIN_NOTES", str(tmp_path / "notes"))
    return tmp_path / "notes"
