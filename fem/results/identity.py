"""Which solver made a result: what it computes with, whatever its comments say."""

import ast
from functools import cache
from hashlib import sha256
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

FEM = Path(__file__).parents[1]
PACKAGES = "geometry", "plan", "material", "case", "mechanics", "closure"
LIBRARIES = "numpy", "scipy", "numba", "scikit-fem", "gmsh", "shapely", "pypardiso", "mkl", "rslab"


@cache
def solver():
    """SHA-256 of the syntax trees of the solver packages, docstrings left out, and of the numerical libraries."""
    trees = [
        _tree(path.read_text(encoding="utf-8")) for name in PACKAGES for path in sorted((FEM / name).glob("**/*.py"))
    ]
    return sha256("\0".join([*trees, *map(_version, LIBRARIES)]).encode()).hexdigest()


def _tree(source):
    """The syntax tree of a source text without docstrings."""
    tree = ast.parse(source)
    for node in ast.walk(tree):
        if (
            isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef)
            and ast.get_docstring(node, clean=False) is not None
        ):
            del node.body[0]
    return ast.dump(tree)


def _version(library):
    try:
        return f"{library} {version(library)}"
    except PackageNotFoundError:  # one of the two linear solvers
        return f"{library} -"
