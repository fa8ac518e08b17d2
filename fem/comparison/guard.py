"""Scripts that start processes: each of these imports the script, and must not start further ones while it does."""

import multiprocessing
from multiprocessing.synchronize import Event

from fem.comparison.stopping import heed_parent
from fem.errors import Unguarded


def check() -> None:
    """Raise Unguarded in a process that is about to import the script of the one that started it."""
    if getattr(multiprocessing.current_process(), "_inheriting", False):  # as long as multiprocessing prepares it
        raise Unguarded


def begin(begun: Event) -> None:
    """Begin a process of a pool, which has imported the script by now, and tell that it did."""
    begun.set()
    heed_parent()
