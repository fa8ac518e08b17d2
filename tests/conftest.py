"""Settings of all tests."""

import os

from browser import chromium, opened  # noqa: F401  fixtures
from hypothesis import settings
from terminal import flatseam  # noqa: F401

os.environ.setdefault("MKL_NUM_THREADS", "1")  # tests run side by side, a thread each
# How long an example takes says more of the machine than of the code.
settings.register_profile("patient", deadline=None)
settings.load_profile("patient")

# Files that take longest, longest first: begun last, one of them would keep one core at work while the other waits.
LONGEST = """\
test_study test_closure test_catalogue test_estimate test_compare test_sutures test_skin_in_place test_handout
test_least_length test_checks test_ending test_film test_trim test_page test_purse_string test_real_study
test_laws_in_skin test_report test_fit test_close_command test_close test_law_derivatives test_picture test_workers
""".split()


def pytest_configure(config):
    config.option.loadscopereorder = False  # else xdist orders files by their number of tests


def pytest_collection_modifyitems(items):
    rank = {name: k for k, name in enumerate(LONGEST)}
    items.sort(key=lambda item: rank.get(item.path.stem, len(rank)))
