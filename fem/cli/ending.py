"""How the program ends when it is asked to, or when what it prints cannot be written: in a line on stderr.

Exit code 130 after Ctrl-C, 143 if the system ended it, 2 if output is full; 141, and not a word, if nobody reads on, as
after `head`.
"""

import codecs
import errno
import os
import signal
import sys
from collections.abc import Callable
from contextlib import suppress
from typing import Any, NoReturn

from fem.comparison.stopping import heeding

BAD_INPUT = 2  # the exit code
# Letters in which an output that knows no other can say the same.
PLAIN = {"²": "2", "³": "3", "°": "deg", "×": "x", "−": "-", "–": "-", "★": "*", "▽": "v", "π": "pi", "µ": "u"}
KEPT = "results that are complete are kept, and the same command{without} goes on from there"


def main() -> NoReturn:
    """Run the command line, signals being heard while it is imported."""

    def command() -> None:
        from fem.cli.cli import run

        run(sys.argv[1:])

    sys.exit(ended(command))


def ended(command: Callable[[], Any]) -> Any:
    """Exit code of a command, which may exit by itself."""
    with suppress(AttributeError):  # a closed stream is None, and what stands in for one may be anything
        codecs.register_error("plain", _plain)
        sys.stdout.reconfigure(errors="plain")  # type: ignore[union-attr]
    try:
        if sys.stdout is None:
            raise OSError(errno.EBADF, os.strerror(errno.EBADF))
        with heeding() as raised:
            code = _code(command, raised)
            sys.stdout.flush()
    except OSError as error:
        code = BAD_INPUT if error.errno != errno.EPIPE else 128 + signal.SIGPIPE
        if error.errno != errno.EPIPE:
            _say(str(error) if error.filename else f"what is printed cannot be written: {error.strerror}")
        if sys.stdout is not None:  # what was not written goes nowhere, for Python tries once more at its end
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return code


def _code(command, raised):
    code: Any = 0
    try:
        command()
    except SystemExit as end:  # Stopped is one
        if raised:  # what was cut short may complain as it is taken apart, and says nothing to the reader
            sys.unraisablehook = lambda unraisable: None
        code = end.code
    except Exception:
        if not raised:
            raise
        code = 1
    if not (raised and code):
        return code
    again = ", without --again," if "--again" in sys.argv else ""
    why = "interrupted" if raised[-1].code == 128 + signal.SIGINT else "ended by the system"
    _say(f"{why}; {KEPT.format(without=again)}")
    return raised[-1].code


def _say(line):
    with suppress(OSError, AttributeError):  # if stderr is closed or full too, nobody is left to be told
        print(f"flatseam: {line}", file=sys.stderr, flush=True)


def _plain(error):
    """Words for the letters that an output cannot write, for `codecs`."""
    letters = error.object[error.start : error.end]
    return "".join(PLAIN.get(c) or c.encode("ascii", "backslashreplace").decode() for c in letters), error.end
