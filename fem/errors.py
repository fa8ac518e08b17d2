"""Every exception of the program."""


class BadCase(ValueError):
    """A file that cannot be used; its text is every message, in the order of the file."""


class BadValue(ValueError):
    """Complaints about places within one value: (path below it, message) each."""

    def __init__(self, problems):
        super().__init__("; ".join(f"{dotted(at)}{message}" for at, message in problems))
        self.problems = problems


def dotted(path):
    """A path as `wound.outline.points_mm[0][1]: `, or nothing for the whole file."""
    joined = "".join(f"[{part}]" if isinstance(part, int) else f".{part}" for part in path)
    return f"{joined[1:]}: " if joined else ""


class SingularMatrix(ArithmeticError):
    """The matrix could not be factored."""


class NotConverged(ArithmeticError):
    """No stable equilibrium was found; the message says how far the path came and what to try."""


class MeshError(ValueError):
    """The plan cannot be meshed as it is drawn."""


class NotFitted(Exception):
    """No parameters were found; its text says why and what to try."""


class StudyStopped(RuntimeError):
    """The study cannot go on; the message says why and what is kept."""


class NotPrintable(ValueError):
    """The closed skin makes no solid body."""


class OutOfTime(RuntimeError):
    """A case took longer than its limit."""


class OtherVersion(RuntimeError):
    """A worker runs another version of the program."""


class NoCluster(RuntimeError):
    """No scheduler answers."""
