"""Settings of all tests."""

from hypothesis import settings

# How long an example takes says more of the machine than of the code.
settings.register_profile("patient", deadline=None)
settings.load_profile("patient")
