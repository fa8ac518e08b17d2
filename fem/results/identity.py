"""Whether a folder holds the result of a case: which solver made it, whether all of it is there and can be read."""

import ast
import io
import json
import zipfile
import zlib
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from hashlib import sha256
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from fem.case import case as cases
from fem.mechanics import linear

FEM = Path(__file__).parents[1]
PACKAGES = "geometry", "plan", "material", "case", "mechanics", "closure"
LIBRARIES = "numpy", "scipy", "numba", "scikit-fem", "gmsh", "shapely"
LINEAR = {"pardiso": ("pypardiso", "mkl"), "rslab": ("rslab",)}
DIGITS = 24  # of an address; our choice, 96 bits: two of a million cases share one with a chance below 1e-17

NUMBERS = "case.yaml", "measures.json", "run.json"
FIELDS = "profiles.json", "stages.npz", "skin.vtu"
PICTURES = tuple(f"pictures/{name}.png" for name in ("height-oblique", "height-above", "stress-above", "plan"))
MAX_BYTES = 100_000_000  # of a file of a result, packed or not; our choice, ten times the largest
ENDS = {".vtu": b"</VTKFile>", ".png": b"IEND"}  # of files, in their last 16 bytes
KEPT = {"measures": NUMBERS, "fields": NUMBERS + FIELDS, "pictures": NUMBERS + FIELDS + PICTURES}


class Kind(StrEnum):
    """What a folder is to a case."""

    COMPLETE = "complete"
    MISSING = "missing"
    OTHER_CASE = "of another case"
    OUT_OF_DATE = "out of date"
    DAMAGED = "damaged"


@dataclass(frozen=True)
class State:
    """That, and why."""

    kind: Kind
    reason: str = ""

    @property
    def complete(self) -> bool:
        """Whether all that is wanted of the result is there."""
        return self.kind is Kind.COMPLETE

    def __str__(self) -> str:
        return ", ".join(filter(None, [self.kind, self.reason]))


def solver(root: Path = FEM) -> str:
    """SHA-256 of what results are computed with: syntax trees of the solver's packages, libraries, linear solver."""
    return _solver(root, linear.name())


@cache
def _solver(root, linear_solver) -> str:
    paths = [path for name in PACKAGES for path in sorted((root / name).glob("**/*.py"))]
    trees = [_tree(path.read_text(encoding="utf-8")) for path in paths]
    libraries = map(_version, (*LIBRARIES, *LINEAR[linear_solver]))
    return sha256("\0".join([*trees, linear_solver, *libraries]).encode()).hexdigest()


def _tree(source) -> str:
    """The syntax tree of a source text without docstrings."""
    tree = ast.parse(source)
    for node in ast.walk(tree):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef) and ast.get_docstring(node, clean=False):
            del node.body[0]
    return ast.dump(tree)


def _version(library) -> str:
    try:
        return f"{library} {version(library)}"
    except PackageNotFoundError:
        return f"{library} -"


def address(case: cases.Case) -> str:
    """Name of a case by its content: digits of a SHA-256 of the resolved case, without its name, and the solver."""
    return sha256(f"{cases.key(case.model_copy(update={'name': '-'}))} {solver()}".encode()).hexdigest()[:DIGITS]


def state(folder: Path | str, case: cases.Case | None = None, *, keep: str = "pictures", restarts: int = 0) -> State:
    """What a folder is to a case, by default that whose result it says it is; `keep`, a key of KEPT, is wanted.

    restarts   random ways that must have been tried
    """
    folder = Path(folder)
    if not folder.exists():
        return State(Kind.MISSING)
    if why := _damage(folder / "run.json"):
        return State(Kind.DAMAGED, why)
    run = json.loads((folder / "run.json").read_text())
    if case is not None and run.get("case") != cases.key(case):
        return State(Kind.OTHER_CASE, "closed from other input")
    if why := outdated(run):
        return State(Kind.OUT_OF_DATE, why)
    if not intact(run):
        return State(Kind.DAMAGED, "run.json is not as it was written")
    if list(KEPT).index(run["keep"]) < list(KEPT).index(keep):
        return State(Kind.MISSING, f"only its {run['keep']} were kept")
    if run.get("restarts", 0) < restarts:
        return State(Kind.MISSING, f"only {run.get('restarts', 0)} restarts were tried")
    why = next(filter(None, (_damage(folder / name, run["files"].get(name)) for name in KEPT[keep])), "")
    return State(Kind.DAMAGED, why) if why else State(Kind.COMPLETE)


def signed(note: dict[str, Any]) -> dict[str, Any]:
    """A note with its own content hash."""
    note = json.loads(json.dumps(note))
    return note | {"seal": _seal(note)}


def intact(note: dict[str, Any]) -> bool:
    """Whether a note is as it was `signed`."""
    return note.get("seal") == _seal(note)


def sealed(folder: Path, run: dict[str, Any]) -> dict[str, Any]:
    """A run.json with the content hashes of the files beside it, and its own, so that they are known to go together."""
    there = [name for name in KEPT["pictures"] if name != "run.json" and (folder / name).is_file()]
    return signed(run | {"files": {name: _hash((folder / name).read_bytes()) for name in there}})


def _seal(run):
    return _hash(json.dumps({key: run[key] for key in run if key != "seal"}, sort_keys=True).encode())


def _hash(content):
    return sha256(content).hexdigest()


def outdated(note: dict[str, Any]) -> str:
    """Why a run.json, a handout.json or the note of a failure is out of date; "" if it is not."""
    return "" if note.get("solver") == solver() else "computed by another solver"


def failure(path: Path) -> dict[str, Any] | None:
    """The note of a failure; None if there is none by this solver that can be read."""
    note = record(path)
    return None if note is None or outdated(note) else note


def record(path: Path) -> dict[str, Any] | None:
    """The content of a JSON file; None if there is none that can be read."""
    return None if _damage(path) else json.loads(path.read_text())


def _damage(path, written=None) -> str:
    """Which file of a result cannot be read, or has not the hash with which it was written, and why; "" if it can."""
    try:
        with open(path, "rb") as stream:
            content = stream.read(MAX_BYTES + 1)
        if len(content) > MAX_BYTES:
            raise ValueError(f"more than {MAX_BYTES} bytes")
        if path.suffix == ".json" and not isinstance(json.loads(content), dict):
            raise ValueError("no JSON object")
        if path.suffix == ".npz":
            packed = zipfile.ZipFile(io.BytesIO(content))
            if sum(part.file_size for part in packed.infolist()) > MAX_BYTES:
                raise ValueError(f"more than {MAX_BYTES} bytes unpacked")
            if broken := packed.testzip():
                raise ValueError(f"{broken} does not read back")
        if written not in (None, _hash(content)):
            raise ValueError("is not what was written with run.json")
        if ENDS.get(path.suffix, b"") not in content[-16:]:
            raise ValueError("is cut short")
    except FileNotFoundError:
        return f"{path.name} is missing"
    except (OSError, ValueError, EOFError, zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError) as error:
        return f"{path.name}: {error}"
    return ""
