"""The order of the modules, and what a command must not import."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

from fem.close import SOLVER

FEM = Path(__file__).parent.parent / "fem"
ORDER = (  # data flows along it
    "curve ring outline skin document plan trim purse sketch flap technique ledger edge tracing folder site case "
    "tensile estimate fit mesh kernels thread sheet sew linear solve crossing measure suture trial picture scene "
    "result chart page close compare drawing template cone vector cutter paper block typeset solid frame film lesson "
    "explore sentence trade leaflet bench handout spread sensitivity search answer graph sweep task "
    "cluster table study finding trend uncertain optimum report cli"
).split()
HEAVY = {"gmsh", "meshio", "skfem", "scipy", "numba", "pyvista", "vtk", "matplotlib", "pydantic", "shapely", "numpy"}
HEAVY |= {"jinja2", "duckdb", "PIL", "distributed", "dask", "reportlab", "ezdxf", "trimesh", "av"}


def imported(source):
    """Modules of the package that a source text imports anywhere, those inside functions included."""
    names = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        if isinstance(node, ast.ImportFrom):
            origin = "fem." * node.level + (f"{node.module}." if node.module else "")
            names |= {origin + alias.name for alias in node.names}
    return {name.split(".")[1] for name in names if name.startswith("fem.")}


def test_every_module_has_a_place():
    """A module that is not in the order could import anything."""
    assert {path.stem for path in FEM.glob("*.py")} == {"__init__", *ORDER}


def test_imports_are_found():
    """Every way of writing an import, one of them inside a function."""
    lines = ["import fem, numpy, fem.mesh", "from fem import sew, case as cases", "from . import plan, skin"]
    lines += ["from .linear import solver", "def f():", "    from fem.solve import newton"]
    assert imported("\n".join(lines)) == {"mesh", "sew", "case", "plan", "skin", "linear", "solve"}


@pytest.mark.parametrize("module", ORDER)
def test_imports_point_backwards(module):
    """A module imports only from modules before it."""
    assert imported((FEM / f"{module}.py").read_text()) <= set(ORDER[: ORDER.index(module)])


@pytest.mark.parametrize(
    "work",
    [
        "import fem.cli",
        "from fem.cli import app; app(['--help'], result_action='return_value')",
        "from fem.cli import app; app(['close', '--help'], result_action='return_value')",
        "from fem.cli import app; app(['compare', '--help'], result_action='return_value')",
        "from fem.cli import app; app(['study', '--help'], result_action='return_value')",
        "from fem.cli import app; app(['teach', '--help'], result_action='return_value')",
    ],
)
def test_help_imports_nothing_heavy(work):
    """`flatseam --help` answers at once because the libraries wait for the command that needs them."""
    asked = [sys.executable, "-c", f"{work}\nimport sys; print('modules:', *sys.modules)"]
    printed = subprocess.run(asked, capture_output=True, text=True, check=True).stdout
    loaded = printed.split("modules: ")[1].split()
    assert "fem.cli" in loaded
    assert not HEAVY & {name.split(".")[0] for name in loaded}


def test_reading_a_case_needs_no_mesh():
    """Reading a case loads none of the libraries that mesh, solve or draw."""
    asked = [sys.executable, "-c", "import fem.case, sys; print(*sys.modules)"]
    loaded = subprocess.run(asked, capture_output=True, text=True, check=True).stdout.split()
    assert not {"gmsh", "meshio", "skfem", "numba", "pyvista", "matplotlib"} & {n.split(".")[0] for n in loaded}


def test_what_a_result_rests_on():
    """SOLVER names every module that `close` imports, but those whose part ends with the resolved case, and drawing."""
    before_the_case, afterwards = {"document", "tracing", "site"}, {"folder", "picture", "scene"}
    reached, todo = set(), {"close"}
    while todo:
        reached |= todo
        todo = set().union(*(imported((FEM / f"{name}.py").read_text()) for name in todo - afterwards)) - reached
    assert set(SOLVER) == reached - before_the_case - afterwards
