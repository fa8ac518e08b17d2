"""Valid and damaged files of every kind: taken as valid or refused in words. Three hundred of them: `damaged.py`."""

import pytest
from damaged import KINDS, fault, files, read
from hypothesis import HealthCheck, given, settings


@pytest.mark.parametrize("name", [name for name, kind in KINDS.items() if kind.reader])
def test_valid(tmp_path, name):
    """What damages start from is taken as valid."""
    for content in KINDS[name].valid:
        assert read(name, content.encode(), tmp_path) == (0, "")


@settings(max_examples=60, derandomize=True, suppress_health_check=HealthCheck)
@given(file=files())
def test_damaged(tmp_path_factory, file):
    """Exit code 2 with the name of the file and a place in it, or valid; no other error leaves the program."""
    name, content = file
    assert fault(name, *read(name, content, tmp_path_factory.mktemp("a"))) == ""
