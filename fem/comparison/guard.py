"""Scripts that start processes: each of these imports the script, and must not start further ones while it does."""

import multiprocessing

from fem.errors import Unguarded


def check() -> None:
    """Raise Unguarded in a process that is about to import the script of the one that started it."""
    if getattr(multiprocessing.current_process(), "_inheriting", False):  # as long as multiprocessing prepares it
        raise Unguarded
