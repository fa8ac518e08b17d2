"""A closed case: its numbers with units, its fields as arrays, its pictures."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from markupsafe import Markup

from fem.case import case as cases
from fem.case.case import Case
from fem.closure.closing import closed
from fem.comparison import case_page, page
from fem.comparison.wording import NOTE
from fem.mechanics.triangulation import flat_triangles
from fem.results import accuracy
from fem.results import close as closing
from fem.results.quantities import FURTHER, LEADING, label, plus_minus, quantity, shown, unit
from fem.results.result import Result as Held
from fem.results.result import names
from fem.results.result import read as read_result

if TYPE_CHECKING:
    from matplotlib.figure import Figure
    from pyvista import PolyData

Watch = Callable[..., None]


def _unwatched(**state: Any) -> None:
    pass


class Measure(NamedTuple):
    """A number of a closure."""

    label: str  # what it is
    value: float | None  # None: not there in this case
    unit: str  # "mm", "N/m", ...; empty of a ratio
    text: str  # the value as pages print it
    error: float | None = None  # numerical, if it was estimated
    how: str = ""  # that was

    def __str__(self) -> str:
        return " ".join(filter(None, [f"{self.label}:", self.text, plus_minus(self.error), self.unit]))


@dataclass(frozen=True, repr=False)
class Result:
    """A case and its closure. Nodes are n, flat triangles t, stages of closing s; positions and heights in mm.

    x and y are those of the case: along the wound and across it, z is up, 0 the level of uncut skin, or on a curved
    body that of its place at the origin.
    """

    _held: Held  # may change from version to version, unlike what has no underscore
    folder: Path | None = None  # of its files; None if it is in memory only
    _stretch: np.ndarray | None = None  # (m,) of quadratic triangles, if in memory only

    @property
    def case(self) -> Case:
        """The case, all that it left out filled in."""
        return self._held.case

    @property
    def name(self) -> str:
        """Name of the case."""
        return self._held.name

    @property
    def numbers(self) -> dict[str, float | None]:
        """All numbers by name, the unit at its end, as `cone_height_mm`; members of lists numbered."""
        return self._held.numbers

    @cached_property
    def measures(self) -> dict[str, Measure]:
        """The same with label, unit and text as printed; those that are asked for first come first."""
        return {name: self._measure(name) for name in names([self._held])}

    def _measure(self, name: str) -> Measure:
        value, error = self.numbers[name], self._held.accuracy.errors.get(name)
        estimated = (error.total, error.how) if error else (None, "")
        return Measure(label(name), value, unit(name), shown(name, value), *estimated)

    @property
    def warnings(self) -> list[str]:
        """What is unusual about the case or its closure."""
        return list(self._held.run["warnings"])

    # Fields -------------------------------------------------------------------------------------------------------

    @property
    def positions(self) -> np.ndarray:
        """Places (3, n) of the nodes in the closed skin at rest, mm."""
        return self._held.stages.x[-1]

    @property
    def gaping(self) -> np.ndarray:
        """Places (3, n) of the nodes in the cut, open wound at rest, mm."""
        return self._held.stages.x[0]

    @property
    def uncut(self) -> np.ndarray:
        """Places (2, n) of the nodes in the uncut skin, on the plan, mm."""
        return self._held.stages.X

    @property
    def triangles(self) -> np.ndarray:
        """Nodes (3, t) of the flat triangles of the skin; of matplotlib, `tripcolor(x, y, triangles.T, heights)`."""
        return flat_triangles(self._held.stages.elements)

    @property
    def heights(self) -> np.ndarray:
        """Heights (n,) of the nodes in the closed skin above the body, along its normals, mm."""
        return self._held.body.over(self.positions)[2]

    @property
    def stress(self) -> np.ndarray:
        """Greatest principal Cauchy stress (n,) at the nodes of the closed skin, kPa."""
        return self._held.stages.stress_kPa[-1]

    @cached_property
    def stretch(self) -> np.ndarray:
        """Greatest principal stretch (t,) of each triangle of the closed skin, from the unstressed state.

        One number for the four flat triangles of a quadratic one: its mean over the area.
        """
        means = self._stretch
        if means is None:
            import pyvista

            means = np.asarray(pyvista.read(f"{self.folder}/skin.vtu").cell_data["stretch_max"])
        return np.tile(means, self.triangles.shape[1] // means.size)

    @property
    def seams(self) -> list[dict[str, np.ndarray]]:
        """Of each scar: at its nodes `arc_mm` along it and `height_mm`, each (2 j + 1,); of its segments their middles
        `tension_at_mm` and `line_tension_N_per_m`, each (j,)."""
        return _arrays(self._held.profiles["seams"])

    @property
    def cones(self) -> list[dict[str, np.ndarray]]:
        """Of each tip: `across_mm` (k,) from the top of the cone, square to the wound, and `height_mm` (k,) there."""
        return _arrays(self._held.profiles["cones"])

    # Pictures -----------------------------------------------------------------------------------------------------

    def plot(self, what: str = "height") -> "Figure":
        """A matplotlib figure of the height, the stress or the plan; of the heights "along" the scar or the "tension"
        there; of the heights "across" the cones. Raises ValueError for another word."""
        from flatseam import plots

        return plots.plot(self._held, what)

    def skin(self) -> "PolyData":
        """The closed skin for pyvista, with `height_mm` and `stress_kPa` at its points: `skin().plot()` turns it."""
        from fem.comparison.chart import skin

        return skin(self._held)

    def __repr__(self) -> str:
        where = f" in {self.folder}" if self.folder else ""
        first = [str(self.measures[name]) for name in LEADING[:3] if name in self.measures]
        return f"<{self.name}, closed{where}: {'; '.join(first)}>"

    def _repr_html_(self) -> str:
        return table_html([self._held], page.table([self._held]), self.warnings)


def close(
    case: Case, *, into: str | Path | None = None, again: bool = False, restarts: int = 0, error: bool = False,
    watch: Watch = _unwatched,
) -> Result:  # fmt: skip
    """The closure of a case, from some seconds to minutes; the first on a machine compiles for a minute before.

    into       folder of results, in which <name>/ gets the files and pictures that `flatseam close` writes, and what is
               there already is not computed again; None: nothing is written
    again      compute it even if it is there
    restarts   random ways to close it too, which may lead to a state of less energy
    error      estimate the numerical error of each number too, as `measures` then have it; takes five closures or more
    watch      called now and then with `stage`, and on the way with `closed`, 0 to 1, and `residual`, N

    Raises MeshError; NotConverged if no stable equilibrium was found; OSError if results cannot be written.
    """
    if into is None:
        from fem.render.projection import means

        closure = closed(case, restarts=restarts, watch=watch)
        held = closing.in_memory(case, closure)
        if error:
            held = replace(held, accuracy=accuracy.of(case, closure, restarts=restarts, watch=watch))
        return Result(held, _stretch=means(closure)["stretch_max"])
    return load(case_page.close(case, into=into, again=again, restarts=restarts, watch=watch, error=error))


def load(folder: str | Path) -> Result:
    """The result in a folder, as `results/lens`. Raises OSError, BadCase or ValueError if it is not whole."""
    folder = Path(folder)
    return Result(read_result(folder, cases.read(folder / "case.yaml")), folder)


def table_html(results: Sequence[Held], rows: Iterable[dict[str, Any]], warnings: Sequence[str] = ()) -> str:
    """The leading rows of a table of measures, a column a case, as HTML in which all names are escaped."""
    head = Markup("").join(Markup("<th>{}</th>").format(result.name) for result in results)
    body = Markup("").join(
        Markup("<tr><th style='text-align: left'>{}</th>{}<td style='text-align: left'>{}</td></tr>").format(
            row["label"],
            Markup("").join(Markup("<td>{}</td>").format(_cell(cell)) for cell in row["cells"]),
            row["unit"],
        )
        for row in rows
        if quantity(row["name"]).group != FURTHER
    )  # fmt: skip
    unusual = Markup("").join(Markup("<li>{}</li>").format(line) for line in warnings)
    return Markup(
        "<table><thead><tr><th></th>{}<th></th></tr></thead><tbody>{}</tbody></table><ul>{}</ul><p>{}</p>"
    ).format(head, body, unusual, NOTE)


def _cell(cell):
    return " ".join(filter(None, [cell["text"], cell["error"]]))


def _arrays(profiles):
    return [{name: np.array(values) for name, values in line.items()} for line in profiles]
