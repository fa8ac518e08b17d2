"""Closure → its skin as seen by pyvista in parallel projection, and as a VTU file."""

import os
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

if sys.platform == "linux":  # else VTK looks for a screen
    os.environ.setdefault("VTK_DEFAULT_OPENGL_WINDOW", "vtkEGLRenderWindow")

import numpy as np
import pyvista as pv
from matplotlib.lines import Line2D

from fem.case.physical import KPA
from fem.closure.closure import Closure, nodal_stress
from fem.closure.measures.cones import cone_height, dip
from fem.closure.measures.skin import skin_stress_max
from fem.mechanics.sheet import cauchy_stress
from fem.render.canvas import (
    END,
    INK,
    OPEN,
    SEAM,
    SHAPE,
    TIP,
    VIEW,
    round_number,
)

MARGIN = 1.1  # half-width over the reach of the wound and its undermined zone
TURNED, RAISED = np.radians([-20, 27])  # oblique view: from across the wound to its left, above the level
DEPTH = 0.6  # of the piece seen obliquely, over its width
SUN = np.array([-1.0, -0.6, 1.0])  # where the light comes from
FLATTEST, CALMEST = 1.0, 1.0  # mm, kPa: a smaller range would show round-off as colours
INTERVALS = 8  # contour intervals of a range, at least


def save_vtu(closure: Closure, path: Path) -> None:
    """Write the closed skin as quadratic triangles, with the data of `grid`."""
    grid(closure).save(path)


def height_range(closure: Closure) -> tuple[float, float]:
    """Least and greatest height of the skin, mm, or FLATTEST if that is more."""
    return -dip(closure), max(cone_height(closure), FLATTEST)


def stress_range(closure: Closure) -> tuple[float, float]:
    """From none to the greatest principal stress outside the tip zones, kPa."""
    return 0.0, max(skin_stress_max(closure), CALMEST)


def centre(closure: Closure) -> np.ndarray:
    """Middle (3,) of the wound as cut, mm."""
    edge = closure.mesh.X[:, closure.mesh.edge]
    return np.append((edge.min(axis=1) + edge.max(axis=1)) / 2, 0.0)


def wanted_half_width(closure: Closure) -> float:
    """Half-width in mm of a view that holds the wound and its undermined zone, cut and closed, with a margin.

    Where nothing is loosened, one width of the wound around it counts instead.
    """
    mesh = closure.mesh
    nodes = np.union1d(mesh.elements[:, mesh.undermined], mesh.edge)
    places = np.hstack([mesh.X[:, nodes], closure.x[:2, nodes]])
    reach = np.abs(places - centre(closure)[:2, None]).max(axis=1)
    reach += 0.0 if mesh.undermined.any() else closure.outline.width
    return float(MARGIN * max(reach[0], reach[1] / SHAPE))


def contour_levels(heights: tuple[float, float], z: np.ndarray) -> tuple[float, np.ndarray]:
    """Interval that suits the range `heights`, and its multiples but 0 between the extremes of z, mm."""
    interval = round_number((heights[1] - heights[0]) / INTERVALS)
    k = np.arange(np.ceil(z.min() / interval), np.floor(z.max() / interval) + 1)
    return interval, interval * k[k != 0]


def grid(closure: Closure) -> pv.UnstructuredGrid:
    """The closed skin as a pyvista grid of quadratic triangles.

    At points: positions reference_mm of the uncut skin and fresh_mm of the open wound, displacement_mm from
    the former, height_mm. In cells, as means over the area: stress_max_kPa and stress_min_kPa, the principal
    Cauchy stresses, and stretch_max, from the unstressed state; loose, 0 or 1.
    """
    mesh, weights = closure.mesh, closure.sheet.membrane.weights
    X = np.vstack([mesh.X, np.zeros(mesh.X.shape[1])])
    stress, stretch = cauchy_stress(closure.sheet, closure.x)
    skin = pv.UnstructuredGrid({pv.CellType.QUADRATIC_TRIANGLE: mesh.elements.T}, closure.x.T)
    for name, v in {"reference_mm": X, "fresh_mm": closure.gaping, "displacement_mm": closure.x - X}.items():
        skin.point_data[name] = v.T
    skin.point_data["height_mm"] = closure.x[2]
    for name, v in {
        "stress_max_kPa": KPA * stress[1],
        "stress_min_kPa": KPA * stress[0],
        "stretch_max": stretch,
    }.items():
        skin.cell_data[name] = (weights * v).sum(axis=1) / weights.sum(axis=1)
    skin.cell_data["loose"] = mesh.undermined.astype(np.uint8)
    return skin


def surface(closure: Closure) -> pv.PolyData:
    """The closed skin as flat triangles, 16 for a quadratic one, with height_mm and stress_kPa at points."""
    skin = pv.UnstructuredGrid({pv.CellType.QUADRATIC_TRIANGLE: closure.mesh.elements.T}, closure.x.T)
    skin.point_data["height_mm"] = closure.x[2]
    skin.point_data["stress_kPa"] = nodal_stress(closure)
    return skin.extract_surface(
        algorithm="dataset_surface", nonlinear_subdivision=2, pass_pointid=False, pass_cellid=False
    )


@dataclass(frozen=True)
class View:
    """Parallel projection."""

    centre: np.ndarray  # (3,) mm, in the middle of the picture
    half_width: float  # mm
    right: np.ndarray  # (3,) unit vector
    up: np.ndarray  # (3,) unit vector

    @property
    def towards(self) -> np.ndarray:
        """Unit vector (3,) to the eye."""
        return np.cross(self.right, self.up)


def view(centre: np.ndarray, half_width: float, *, turned: float = 0.0, raised: float = np.pi / 2) -> View:
    """View with the eye `raised` above the level and `turned` counter-clockwise from looking along y, rad."""
    right = np.array([np.cos(turned), np.sin(turned), 0.0])
    level = np.array([right[1], -right[0], 0.0])
    towards = np.cos(raised) * level + np.sin(raised) * np.array([0.0, 0.0, 1.0])
    return View(centre, half_width, right, np.cross(towards, right))


def oblique(skin: pv.PolyData, middle: np.ndarray, half_width: float) -> tuple[View, pv.PolyData]:
    """Oblique view, and the piece of the skin in it: `half_width` to either side of the middle, DEPTH of that across.

    middle  (3,) mm
    """
    half = half_width * np.array([1.0, DEPTH, 0.0])
    for axis in np.eye(3)[:2]:
        for side in (axis, -axis):
            skin = skin.clip(side, origin=middle + side * half)
    width = half[:2] @ [np.cos(TURNED), -np.sin(TURNED)]
    return view(middle, width, turned=TURNED, raised=RAISED), skin


def projected(view: View, points: np.ndarray) -> np.ndarray:
    """Places (2, n) in mm on the picture, from its middle, of points (3, n)."""
    return np.stack([view.right, view.up]) @ (points - view.centre[:, None])


def marks(closure: Closure) -> tuple[list[np.ndarray], np.ndarray]:
    """Lines (3, k) of the closed seams and open edges, points (3, m) of the tips, mm, to be drawn on the skin."""
    lines = [first for first, _ in closure.mesh.seams] + list(closure.mesh.open)
    return [closure.x[:, line] for line in lines], closure.x[:, closure.mesh.tips]


def meanings(closure: Closure) -> list[Line2D]:
    """What the marks mean, for the key."""
    return [SEAM] * bool(closure.mesh.seams) + [OPEN] * bool(closure.mesh.open) + [END] * bool(closure.mesh.tips.size)


def rendered(
    view: View, skin: pv.PolyData, seams: Iterable[np.ndarray], ends: np.ndarray, contours: pv.PolyData, **looks: Any
) -> np.ndarray:
    """Image (VIEW[1], VIEW[0], 3) of the skin with its seams, the tips of the wound and contour lines, if any.

    seams   lines, each (3, k);  ends  tips (3, m)
    looks   how pyvista draws the skin

    What is drawn on the skin is moved towards the eye, so that the skin does not hide it; in a parallel
    projection it stays where it is.
    """
    nearer = 0.02 * view.half_width * view.towards
    plotter = pv.Plotter(off_screen=True, window_size=VIEW.tolist(), lighting="none")
    plotter.set_background("white")
    plotter.enable_anti_aliasing("ssaa")  # draws at twice the size: widths are in half pixels
    plotter.add_light(pv.Light(position=view.centre + SUN, focal_point=view.centre, light_type="scene light"))
    plotter.add_mesh(skin, show_scalar_bar=False, **looks)
    if contours.n_points:
        contours = contours.translate(nearer / 2)
        plotter.add_mesh(contours, color=INK, line_width=3, lighting=False, show_scalar_bar=False)
    for step, colour, width in [(1.0, "white", 16), (1.2, INK, 8)]:
        for seam in seams:
            line = pv.lines_from_points(seam.T + step * nearer)
            plotter.add_mesh(line, color=colour, line_width=width, lighting=False)
    for step, colour, width in [(1.4, "white", 40), (2.4, TIP, 34)] if ends.size else []:
        disc = dict(color=colour, point_size=width, render_points_as_spheres=True, lighting=False)
        plotter.add_mesh(pv.PolyData(ends.T + step * nearer), **disc)
    plotter.camera.parallel_projection = True
    plotter.camera.parallel_scale = view.half_width * SHAPE
    plotter.camera.focal_point = view.centre
    plotter.camera.position = view.centre + 10 * view.half_width * view.towards
    plotter.camera.up = view.up
    plotter.reset_camera_clipping_range()
    image = plotter.screenshot(return_img=True)
    plotter.close()
    return image
