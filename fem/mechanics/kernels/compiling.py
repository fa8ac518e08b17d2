"""How kernels are compiled, and stored for the next process."""

from collections.abc import Callable
from pathlib import Path

from numba import njit

FAST = {"contract", "reassoc", "nsz", "arcp"}  # leaves NaN and infinity as they are
CHANGED = max(source.stat().st_mtime for source in Path(__file__).parent.glob("*.py"))


def kernel(function: Callable) -> Callable:
    """The function, to be compiled when it is first called, or read if it is stored.

    numba looks for changes in the function's own file only: what was stored before any file here changed is dropped.
    """
    dispatcher = njit(cache=True, fastmath=FAST, error_model="numpy")(function)
    for index in _stored(dispatcher):
        if index.stat().st_mtime < CHANGED:
            index.unlink(missing_ok=True)
    return dispatcher


def compiled() -> bool:
    """Whether the kernels of these very files are stored on this machine."""
    from fem.mechanics.kernels.membrane import membrane

    return bool(_stored(membrane))


def _stored(dispatcher):
    """The index files that numba wrote for a function."""
    function = dispatcher.py_func
    name = f"{Path(function.__code__.co_filename).stem}.{function.__name__}-*.nbi"
    return list(Path(dispatcher.stats.cache_path).glob(name))
