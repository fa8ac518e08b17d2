"""The order of the modules, and what a command must not import."""

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

FEM = Path(__file__).parents[1] / "fem"
ORDER = (  # data flows along it
    "errors geometry plan material case mechanics closure render results comparison fit study verification teaching cli"
).split()
HEAVY = {"gmsh", "meshio", "skfem", "scipy", "numba", "pyvista", "vtk", "matplotlib", "pydantic", "shapely", "numpy"}
HEAVY |= {"jinja2", "duckdb", "PIL", "distributed", "dask", "reportlab", "ezdxf", "trimesh", "av"}


def imported(source):
    """Packages that a source text imports anywhere, inside functions too."""
    names = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        if isinstance(node, ast.ImportFrom):
            assert not node.level, "relative imports are not used"
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    return {name.split(".")[1] for name in names if name.startswith("fem.")}


def test_imports_are_found():
    """Every way of writing an import, one of them inside a function."""
    lines = [
        "import numpy, fem.mechanics.mesh",
        "from fem import plan",
        "def f():",
        "    from fem.case.case import read",
    ]
    assert imported("\n".join(lines)) == {"mechanics", "plan", "case"}


@pytest.mark.parametrize("package", ORDER)
def test_imports_point_backwards(package):
    """A package imports only from itself and from those before it; there is no other."""
    assert {path.stem for path in FEM.iterdir() if not path.stem.startswith("__")} == set(ORDER)
    for path in [*(FEM / package).glob("**/*.py"), *FEM.glob(f"{package}.py")]:
        assert imported(path.read_text()) <= set(ORDER[: ORDER.index(package) + 1]), path


def test_api_is_beside_the_commands():
    """`flatseam` stands on what the commands stand on, not on them; nothing stands on it."""
    for path in (FEM.parent / "flatseam").glob("*.py"):
        assert imported(path.read_text()) <= {*ORDER, "__version__"} - {"cli"}, path
    assert not [
        path for path in FEM.glob("**/*.py") if re.search(r"^\s*(from|import) flatseam", path.read_text(), re.M)
    ]


def test_help_imports_nothing_heavy():
    """`flatseam --help` answers at once because the libraries wait for the command that needs them."""
    work = "from fem.cli.cli import app\nfor words in [], ['close'], ['compare'], ['study'], ['teach']:\n"
    work += "    app([*words, '--help'], result_action='return_value')\nimport sys; print('modules:', *sys.modules)"
    printed = subprocess.run([sys.executable, "-c", work], capture_output=True, text=True, check=True).stdout
    loaded = printed.split("modules: ")[1].split()
    assert "fem.cli.cli" in loaded and printed.count("Usage: ") == 5
    assert not HEAVY & {name.split(".")[0] for name in loaded}


def test_reading_a_case_needs_no_mesh():
    """Reading a case loads none of the libraries that mesh, solve or draw."""
    asked = [sys.executable, "-c", "import fem.case.case, sys; print(*sys.modules)"]
    loaded = subprocess.run(asked, capture_output=True, text=True, check=True).stdout.split()
    assert not {"gmsh", "meshio", "skfem", "numba", "pyvista", "matplotlib"} & {n.split(".")[0] for n in loaded}
