"""Skin as seen by pyvista in parallel projection, and as a VTU file."""

import os
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

if sys.platform == "linux":  # else VTK looks for a screen
    os.environ.setdefault("VTK_DEFAULT_OPENGL_WINDOW", "vtkEGLRenderWindow")

import numpy as np
import pyvista as pv
from vtkmodules.vtkIOXML import vtkXMLUnstructuredGridWriter

from fem.closure.closure import Closure
from fem.closure.measures.skin import skin_stress_max
from fem.geometry.surface import Surface, within
from fem.material.skin import KPA
from fem.render.canvas import COLOURS, HEIGHT_ENDS, INK, SHAPE, TIP, VIEW, Range, round_number

MARGIN = 1.1  # half-width over the reach of the wound and its undermined zone
TURNED, RAISED = np.radians([-20, 27])  # oblique view: from across the wound to its left, above the level
BENT = 1.6  # of a half-width: how far around a body, which is bent away, the piece in a view may reach
DEPTH = float(SHAPE)  # of the piece seen obliquely, over its width: as much as is seen from above, so all of a cone
SUN = np.array([-1.0, -0.6, 1.0])  # where the light comes from
FLATTEST, CALMEST = 1.0, 1.0  # mm, kPa: a smaller range would show round-off as colours
INTERVALS = 8  # contour intervals of a range, at least


def save_vtu(closure: Closure, path: Path) -> None:
    """Write the closed skin as quadratic triangles, with the arrays that results/README.md explains."""
    mesh = closure.mesh
    skin = _quadratic(closure.x, mesh.elements)
    skin.point_data.update({"reference_mm": mesh.x0.T, "gaping_mm": closure.gaping.T})
    skin.point_data.update({"displacement_mm": (closure.x - mesh.x0).T, "height_mm": closure.over[2]})
    skin.cell_data.update(means(closure))
    skin.cell_data["undermined"] = mesh.undermined.astype(np.uint8)
    writer = vtkXMLUnstructuredGridWriter()
    writer.SetInputData(skin)
    writer.SetDataModeToBinary()
    writer.WriteToOutputStringOn()  # for what writes files there ends the process on a full disk
    writer.Write()
    path.write_text(writer.GetOutputString())


def means(closure: Closure) -> dict[str, np.ndarray]:
    """Principal stresses, kPa, and greatest stretch from the unstressed state, each (m,) means over the elements."""
    (least, greatest), stretch = closure.stress
    fields = {"stress_max_kPa": KPA * greatest, "stress_min_kPa": KPA * least, "stretch_max": stretch}
    return {name: np.average(v, axis=1, weights=closure.sheet.area.weights) for name, v in fields.items()}


def surface(x: np.ndarray, elements: np.ndarray, body: Surface, **values: np.ndarray) -> pv.PolyData:
    """Skin with nodes at x (3, n): 16 flat triangles an element (6, m), height_mm above the body, `values` (n,)."""
    skin = _quadratic(x, elements)
    skin.point_data.update({"height_mm": body.over(x)[2]} | values)
    how = dict(algorithm="dataset_surface", nonlinear_subdivision=2, pass_pointid=False, pass_cellid=False)
    return skin.extract_surface(**how)


def _quadratic(x, elements):
    return pv.UnstructuredGrid({pv.CellType.QUADRATIC_TRIANGLE: elements.T}, x.T)


@dataclass(frozen=True)
class Ranges:
    """What pictures share that are compared by eye."""

    half_width: float  # mm, of the view
    heights: Range  # mm, at the ends of the colours: those of all pictures, see canvas.HEIGHT_ENDS
    stresses: Range  # kPa, at the ends of the colours


def ranges(closure: Closure) -> Ranges:
    """The ranges that suit a closure: stress from none to the greatest outside the tip zones."""
    return Ranges(wanted_half_width(closure), HEIGHT_ENDS, (0.0, max(skin_stress_max(closure), CALMEST)))


def centre(closure: Closure) -> np.ndarray:
    """Middle (3,) of the wound as cut, mm."""
    edge = closure.mesh.X[:, closure.mesh.edge]
    return np.append((edge.min(axis=1) + edge.max(axis=1)) / 2, 0.0)


def wanted_half_width(closure: Closure) -> float:
    """Half-width in mm of a view of the wound, cut and closed, and what is undermined, or else a width around it."""
    mesh = closure.mesh
    nodes = np.union1d(mesh.elements[:, mesh.undermined], mesh.edge)
    places = np.hstack([mesh.X[:, nodes], closure.x[:2, nodes]])
    reach = np.abs(places - centre(closure)[:2, None]).max(axis=1)
    reach += 0.0 if mesh.undermined.any() else closure.outline.width
    return float(MARGIN * max(reach[0], reach[1] / SHAPE))


def contour_levels(z: np.ndarray) -> tuple[float, np.ndarray]:
    """Interval that suits heights z, and its multiples but 0 between their extremes, mm."""
    interval = round_number(max(float(np.ptp(z)), FLATTEST) / INTERVALS)
    k = np.arange(np.ceil(z.min() / interval), np.floor(z.max() / interval) + 1)
    return interval, interval * k[k != 0]


@dataclass(frozen=True)
class View:
    """Parallel projection, the eye turned counter-clockwise from looking along y, and raised above the level."""

    centre: np.ndarray  # (3,) mm, in the middle of the picture
    half_width: float  # mm
    turned: float = 0.0  # rad
    raised: float = np.pi / 2  # rad

    @property
    def directions(self) -> np.ndarray:
        """Unit vectors (3, 3): to the right, up, and to the eye."""
        right = np.array([np.cos(self.turned), np.sin(self.turned), 0.0])
        towards = np.array([np.cos(self.raised) * right[1], -np.cos(self.raised) * right[0], np.sin(self.raised)])
        return np.stack([right, np.cross(towards, right), towards])


def halfway(body: Surface, middle: np.ndarray, half_width: float) -> np.ndarray:
    """The middle (3,) of a view, half way down to the lowest place of the body in it, mm: on a flat one it stays."""
    if not body.curved:
        return middle
    x = body.place(middle[:2, None] + within(BENT * half_width))
    seen = (np.abs(x[:2] - middle[:2, None]) <= half_width * np.array([[1.0], [DEPTH]])).all(axis=0)
    return middle + np.array([0.0, 0.0, (x[2, seen].min() + x[2, seen].max()) / 2 - middle[2]])


def oblique(skin: pv.PolyData, middle: np.ndarray, half_width: float, body: Surface) -> tuple[View, pv.PolyData]:
    """Oblique view, and the skin in it: `half_width` to either side of the middle (3,), mm, DEPTH of that across."""
    half = half_width * np.array([1.0, DEPTH, 0.0])
    for side in np.diag(half)[:2]:
        skin = skin.clip(side, origin=middle + side).clip(-side, origin=middle - side)
    width = half[:2] @ [np.cos(TURNED), -np.sin(TURNED)]
    return View(halfway(body, middle, half_width), width, TURNED, RAISED), skin


def projected(view: View, points: np.ndarray) -> np.ndarray:
    """Places (2, n) in mm on the picture, from its middle, of points (3, n)."""
    return view.directions[:2] @ (points - view.centre[:, None])


def rendered(
    view: View, skin: pv.PolyData, seams: Iterable[np.ndarray], ends: np.ndarray, scalars: str, limits: Range, *,
    contours: Sequence[float] | np.ndarray = (), finer: int = 1, **looks: Any,
) -> np.ndarray:  # fmt: skip
    """Image (VIEW[1], VIEW[0], 3) of the skin with its seams, the tips of the wound and contour lines, if any.

    Or so many times finer, which looks the same at the same size.

    seams     lines, each (3, k);  ends  tips (3, m)
    scalars   key of COLOURS, in which the skin is drawn;  limits  values at the ends of the colours
    contours  levels of `scalars`;  looks  how else pyvista draws the skin
    """
    _, up, towards = view.directions
    nearer = 0.02 * view.half_width * towards  # of what is drawn on the skin, which would hide it
    plotter = pv.Plotter(off_screen=True, window_size=(finer * VIEW).tolist(), lighting="none")
    plotter.set_background("white")
    plotter.enable_anti_aliasing("ssaa")  # draws at twice the size: widths are in half pixels
    plotter.add_light(pv.Light(position=view.centre + SUN, focal_point=view.centre, light_type="scene light"))
    plotter.add_mesh(skin, scalars=scalars, cmap=COLOURS[scalars], clim=limits, show_scalar_bar=False, **looks)
    if len(contours) and (lines := skin.contour(contours, scalars=scalars)).n_points:
        plotter.add_mesh(
            lines.translate(nearer / 2), color=INK, line_width=3 * finer, lighting=False, show_scalar_bar=False
        )
    for step, colour, width in [(1.0, "white", 16), (1.2, INK, 8)]:
        for seam in seams:
            line = pv.lines_from_points(seam.T + step * nearer)
            plotter.add_mesh(line, color=colour, line_width=width * finer, lighting=False)
    for step, colour, width in [(1.4, "white", 40), (2.4, TIP, 34)] if ends.size else []:
        disc = dict(color=colour, point_size=width * finer, render_points_as_spheres=True, lighting=False)
        plotter.add_mesh(pv.PolyData(ends.T + step * nearer), **disc)
    camera, plotter.camera.parallel_projection = plotter.camera, True
    camera.parallel_scale, camera.focal_point, camera.up = view.half_width * SHAPE, view.centre, up
    camera.position = view.centre + 10 * view.half_width * towards
    plotter.reset_camera_clipping_range()
    image = plotter.screenshot(return_img=True)
    plotter.close()
    return image
