"""Settings of all tests."""

import os

from browser import chromium, opened  # noqa: F401  fixtures
from hypothesis import settings
from terminal import flatseam  # noqa: F401

os.environ.setdefault("MKL_NUM_THREADS", "1")  # tests run side by side, a thread each
# How long an example takes says more of the machine than of the code.
settings.register_profile("patient", deadline=None)
settings.load_profile("patient")
