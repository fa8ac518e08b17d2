"""Processes that are asked to end, by Ctrl-C or by the system: they clean up first."""

import ctypes
import os
import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from fem.errors import Stopped

NUMBERS = signal.SIGINT, signal.SIGTERM
LOOK = 0.05  # s; our choice


def heed(*, next_time: signal.Handlers) -> list[Stopped]:
    """Raise Stopped in the main thread when one of the signals NUMBERS comes, unless it is ignored, as after `nohup`.

    next_time   what comes of a second one, while cleaning up: SIG_IGN, or SIG_DFL, which ends the process at once

    Gives a list that takes what was raised, for a library may turn it into an error of its own, as vtk does on import.
    """
    raised: list[Stopped] = []
    heeded = [number for number in NUMBERS if signal.getsignal(number) is not signal.SIG_IGN]

    def handle(handler: Any) -> None:
        for number in heeded:
            signal.signal(number, handler)

    def stop(number: int, _: object) -> None:
        raised.append(Stopped(128 + number))
        handle(next_time)
        raise raised[-1]

    def again(lost: Any) -> None:
        """Send the signal once more if Stopped was lost in a function that a library called back, as numba does."""
        if lost.exc_type is not Stopped:
            return sys.__unraisablehook__(lost)
        handle(stop)
        threading.Timer(0.01, os.kill, (os.getpid(), lost.exc_value.code - 128)).start()

    sys.unraisablehook = again
    handle(stop)
    return raised


@contextmanager
def heeding() -> Iterator[list[Stopped]]:
    """Heed signals for a while, as `heed` does; what was set before is set again after it."""
    before = {number: signal.getsignal(number) for number in NUMBERS}
    over = threading.Event()
    try:
        raised = heed(next_time=signal.SIG_DFL)
        watching = threading.Thread(target=_keep, args=(over, raised), daemon=True)
        watching.start()
        yield raised
    finally:
        over.set()
        watching.join()
        sys.unraisablehook = sys.__unraisablehook__
        for number, handler in before.items():
            signal.signal(number, handler)


def _keep(over, raised):
    """Set in C, again and again, what hears SIGTERM: gmsh takes it away whenever it starts, in the midst of a call."""
    ctypes.pythonapi.PyOS_getsig.restype = ctypes.c_void_p
    handler = ctypes.c_void_p(ctypes.pythonapi.PyOS_getsig(signal.SIGTERM))
    while not (over.wait(LOOK) or raised):
        ctypes.pythonapi.PyOS_setsig(signal.SIGTERM, handler)


def heed_parent() -> None:
    """Make this process, one of a pool, clean up and end when interrupted, and end when its parent is gone."""

    def follow(parent: Any) -> None:
        parent.join()
        os._exit(1)

    from multiprocessing import parent_process  # takes a while, in which no signal is heard

    signal.signal(signal.SIGINT, lambda *_: os._exit(128 + signal.SIGINT))  # nothing is begun yet
    signal.pthread_sigmask(signal.SIG_UNBLOCK, [signal.SIGINT])
    heed(next_time=signal.SIG_IGN)
    threading.Thread(target=follow, args=(parent_process(),), daemon=True).start()


@contextmanager
def held_back(number: signal.Signals) -> Iterator[None]:
    """Keep a signal from this thread for a while, and from processes that are started meanwhile until they allow it."""
    signal.pthread_sigmask(signal.SIG_BLOCK, [number])
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_UNBLOCK, [number])
