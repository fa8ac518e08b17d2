"""Pictures of a closed wound, and its skin as a file.

pyvista draws the skin in parallel projection; matplotlib sets the flat plan and all words and scales, in mm
of the view, which reaches `half_width` to either side. Cases that are given the same half-width and ranges of
colours can be compared by eye.
"""

import os
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

if sys.platform == "linux":  # else VTK looks for a screen
    os.environ.setdefault("VTK_DEFAULT_OPENGL_WINDOW", "vtkEGLRenderWindow")

import numpy as np
import pyvista as pv
import shapely
from cmcrameri import cm
from matplotlib.cm import ScalarMappable
from matplotlib.colors import Normalize
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import MultipleLocator
from scipy.interpolate import make_interp_spline

from fem.closure.closure import nodal_stress
from fem.closure.measures.cones import TIP_ZONE, cone_height, dip
from fem.closure.measures.stress import skin_stress_max
from fem.geometry.outlines import boundary
from fem.mechanics.edges import pulled_aside
from fem.mechanics.sheet import cauchy_stress
from fem.mechanics.sutures import around
from fem.mechanics.tips import scars, tips
from fem.plan.junctions import junctions
from fem.plan.plan import removed_area, removed_skin

# Our choices, all of looks.
SIZE = np.array([1200, 900])  # pixels of a picture
VIEW = np.array([980, 700])  # pixels of the skin in it
CORNER = np.array([30, 92])  # pixels, where the skin's lower left corner is
SHAPE = VIEW[1] / VIEW[0]
WIDE = SIZE[0] - 2 * CORNER[0]  # pixels of the plan, which needs no colour bar
BAR = np.array([900, 35, 240])  # pixels, where a scale bar starts and how long it may be
MARGIN = 1.1  # half-width over the reach of the wound and its undermined zone
TURNED, RAISED = np.radians([-20, 27])  # oblique view: from across the wound to its left, above the level
DEPTH = 0.6  # of the piece seen obliquely, over its width
SUN = np.array([-1.0, -0.6, 1.0])  # where the light comes from
FLATTEST, CALMEST = 1.0, 1.0  # mm, kPa: a smaller range would show round-off as colours
INTERVALS = 8  # contour intervals of a range, at least
PAIRS = 11  # of sewn points along the first scar in the plan
SLIVER = 1e-3  # mm: gaps between triangles, by round-off, that are no part of the picture
HEIGHTS, STRESSES = cm.lajolla_r, cm.batlow
SHADED: dict[str, Any] = dict(smooth_shading=True, ambient=0.5, diffuse=0.75)
INK, SKIN, LOOSE, TIP, EDGES = "#181818", "#f3e3d3", "#dcc0a4", "#0072b2", ("#009e73", "#cc5500")
FLAP = "#fbf3ea"
SEAMS = ("#cc5500", "#0072b2", "#009e73", "#aa3377", "#e69f00", "#56b4e9", "#5c4033", "#117733", "#882255")
ASIDE, LABEL = 0.009, 0.03  # of the half-width: edges of a plan and their numbers beside the line that is cut
DOT: dict[str, Any] = dict(marker="o", ms=12, color=TIP, mec="white", mew=2)
SEAM, END = Line2D([], [], color=INK, lw=3, label="seam"), Line2D([], [], ls="", label="tip of the wound", **DOT)
OPEN = Line2D([], [], color=INK, lw=3, label="edge left open")


def save_pictures(closure, folder, *, title, heights=None, stresses=None, half_width=None):
    """Paths of the four pictures written into the folder, which is made if need be.

    title       first words in each picture
    heights     range of the colours of height, mm
    stresses    range of the colours of stress, kPa
    half_width  of the view, mm

    By default ranges and view follow the closure.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    heights = height_range(closure) if heights is None else heights
    stresses = stress_range(closure) if stresses is None else stresses
    half_width = wanted_half_width(closure) if half_width is None else half_width
    skin = surface(closure)
    figures = {
        "height-oblique.png": height_oblique(closure, skin, title, heights, half_width),
        "height-above.png": height_above(closure, skin, title, heights, half_width),
        "stress-above.png": stress_above(closure, skin, title, stresses, half_width),
        "plan.png": plan(closure, title, half_width),
    }
    for name, figure in figures.items():
        figure.savefig(folder / name, dpi=100)
    return [folder / name for name in figures]


def save_vtu(closure, path):
    """Write the closed skin as quadratic triangles, with the data of `grid`."""
    grid(closure).save(path)


# What is drawn ----------------------------------------------------------------------------------------------


def height_range(closure):
    """Least and greatest height of the skin, mm, or FLATTEST if that is more."""
    return -dip(closure), max(cone_height(closure), FLATTEST)


def stress_range(closure):
    """From none to the greatest principal stress outside the tip zones, kPa."""
    return 0.0, max(skin_stress_max(closure), CALMEST)


def centre(closure):
    """Middle (3,) of the wound as cut, mm."""
    edge = closure.mesh.X[:, closure.mesh.edge]
    return np.append((edge.min(axis=1) + edge.max(axis=1)) / 2, 0.0)


def wanted_half_width(closure):
    """Half-width in mm of a view that holds the wound and its undermined zone, cut and closed, with a margin.

    Where nothing is loosened, one width of the wound around it counts instead.
    """
    mesh = closure.mesh
    nodes = np.union1d(mesh.elements[:, mesh.undermined], mesh.edge)
    places = np.hstack([mesh.X[:, nodes], closure.x[:2, nodes]])
    reach = np.abs(places - centre(closure)[:2, None]).max(axis=1)
    reach += 0.0 if mesh.undermined.any() else closure.outline.width
    return float(MARGIN * max(reach[0], reach[1] / SHAPE))


def round_number(limit):
    """The greatest of 1, 2, 5 times a power of ten that is not above `limit`."""
    ten = 10.0 ** np.floor(np.log10(limit))
    return float(max(step for step in (ten, 2 * ten, 5 * ten) if step <= limit))


def contour_levels(heights, z):
    """Interval that suits the range `heights`, and its multiples but 0 between the extremes of z, mm."""
    interval = round_number((heights[1] - heights[0]) / INTERVALS)
    k = np.arange(np.ceil(z.min() / interval), np.floor(z.max() / interval) + 1)
    return interval, interval * k[k != 0]


def grid(closure):
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
        "stress_max_kPa": 1e3 * stress[1],
        "stress_min_kPa": 1e3 * stress[0],
        "stretch_max": stretch,
    }.items():
        skin.cell_data[name] = (weights * v).sum(axis=1) / weights.sum(axis=1)
    skin.cell_data["loose"] = mesh.undermined.astype(np.uint8)
    return skin


def surface(closure):
    """The closed skin as flat triangles, 16 for a quadratic one, with height_mm and stress_kPa at points."""
    skin = pv.UnstructuredGrid({pv.CellType.QUADRATIC_TRIANGLE: closure.mesh.elements.T}, closure.x.T)
    skin.point_data["height_mm"] = closure.x[2]
    skin.point_data["stress_kPa"] = nodal_stress(closure)
    return skin.extract_surface(
        algorithm="dataset_surface", nonlinear_subdivision=2, pass_pointid=False, pass_cellid=False
    )


# Views ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class View:
    """Parallel projection."""

    centre: np.ndarray  # (3,) mm, in the middle of the picture
    half_width: float  # mm
    right: np.ndarray  # (3,) unit vector
    up: np.ndarray  # (3,) unit vector

    @property
    def towards(self):
        """Unit vector (3,) to the eye."""
        return np.cross(self.right, self.up)


def view(centre, half_width, *, turned=0.0, raised=np.pi / 2):
    """View with the eye `raised` above the level and `turned` counter-clockwise from looking along y, rad."""
    right = np.array([np.cos(turned), np.sin(turned), 0.0])
    level = np.array([right[1], -right[0], 0.0])
    towards = np.cos(raised) * level + np.sin(raised) * np.array([0.0, 0.0, 1.0])
    return View(centre, half_width, right, np.cross(towards, right))


def oblique(skin, middle, half_width):
    """Oblique view, and the piece of the skin in it: `half_width` to either side of the middle, DEPTH of that across.

    middle  (3,) mm
    """
    half = half_width * np.array([1.0, DEPTH, 0.0])
    for axis in np.eye(3)[:2]:
        for side in (axis, -axis):
            skin = skin.clip(side, origin=middle + side * half)
    width = half[:2] @ [np.cos(TURNED), -np.sin(TURNED)]
    return view(middle, width, turned=TURNED, raised=RAISED), skin


def projected(view, points):
    """Places (2, n) in mm on the picture, from its middle, of points (3, n)."""
    return np.stack([view.right, view.up]) @ (points - view.centre[:, None])


def marks(closure):
    """Lines (3, k) of the closed seams and open edges, points (3, m) of the tips, mm, to be drawn on the skin."""
    lines = [first for first, _ in closure.mesh.seams] + list(closure.mesh.open)
    return [closure.x[:, line] for line in lines], closure.x[:, tips(closure)]


def meanings(closure):
    """What the marks mean, for the key."""
    return [SEAM] * bool(closure.mesh.seams) + [OPEN] * bool(closure.mesh.open) + [END] * bool(tips(closure).size)


def rendered(view, skin, seams, ends, contours, **looks):
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


# Figures ----------------------------------------------------------------------------------------------------


def height_oblique(closure, skin, title, heights, half_width):
    """Figure of the skin seen obliquely: `half_width` to either side of the wound, DEPTH of that across."""
    seen, skin = oblique(skin, centre(closure), half_width)
    figure, axes = _heights(closure, skin, seen, title, heights, "obliquely, true to scale", **SHADED)
    length, corner = round_number(half_width / 3), centre(closure) - half_width * np.array([1.0, DEPTH, 0.0])
    for leg in np.eye(3):
        axes.plot(*projected(seen, np.stack([corner, corner + length * leg], axis=1)), color=INK, lw=4)
    x, y = projected(seen, corner[:, None])[:, 0]
    axes.text(x, y - 0.02 * half_width, f"each bar {length:g} mm", size=16, va="top")
    return figure


def height_above(closure, skin, title, heights, half_width):
    """Figure of the height of the closed skin from above."""
    seen = view(centre(closure), half_width)
    figure, axes = _heights(closure, skin, seen, title, heights, "from above", lighting=False)
    _number(axes, closure, seen)
    scale_bar(axes)
    return figure


def _number(axes, closure, seen):
    """Write the numbers of a plan with named points where those points have met."""
    for number, junction in enumerate(junctions(closure.plan) if closure.plan.points else [], start=1):
        if junction.seam < 0:
            continue
        first = closure.mesh.seams[junction.seam][0]
        s = np.append(0.0, np.cumsum(np.hypot(*np.diff(closure.mesh.X[:, first]))))
        node = first[np.abs(s / s[-1] - junction.fraction).argmin()]
        x, y = projected(seen, closure.x[:, [node]])[:, 0]
        box = dict(boxstyle="circle,pad=0.15", fc="white", ec=INK)
        axes.text(x, y, number, size=12, weight="bold", color=INK, ha="center", va="center", bbox=box)


def _heights(closure, skin, seen, title, heights, how, **looks):
    """Figure and axes of a view of the skin in the colours of its height, with contour lines."""
    interval, levels = contour_levels(heights, skin["height_mm"])
    contours = skin.contour(levels, scalars="height_mm") if levels.size else pv.PolyData()
    image = rendered(seen, skin, *marks(closure), contours, scalars="height_mm", cmap=HEIGHTS, clim=heights, **looks)
    figure, axes = framed(
        seen.half_width,
        f"{title}: {'cones' if tips(closure).size else 'folds'} {cone_height(closure):.1f} mm high",
        f"Height of the closed skin above its level, seen {how}",
    )
    axes.imshow(image, extent=(*axes.get_xlim(), *axes.get_ylim()))
    bar = colour_bar(figure, HEIGHTS, heights, skin["height_mm"], "height\nmm")
    bar.set_ticks(MultipleLocator(2 * interval))
    bar.ax.hlines(levels, 0, 1, color=INK, lw=1)
    key(figure, [*meanings(closure), Line2D([], [], color=INK, lw=1, label=f"contour line every {interval:g} mm")])
    return figure, axes


def stress_above(closure, skin, title, stresses, half_width):
    """Figure of the greatest principal Cauchy stress in the closed skin from above."""
    image = rendered(
        view(centre(closure), half_width), skin, *marks(closure), pv.PolyData(),
        scalars="stress_kPa", cmap=STRESSES, clim=stresses, lighting=False,
    )  # fmt: skip
    figure, axes = framed(
        half_width,
        f"{title}: stress up to {skin_stress_max(closure):.0f} kPa",
        "Greatest principal stress in the closed skin, seen from above; "
        f"the number leaves out {TIP_ZONE:g} mm around the ends of seams",
    )
    axes.imshow(image, extent=(*axes.get_xlim(), *axes.get_ylim()))
    colour_bar(figure, STRESSES, stresses, skin["stress_kPa"], "stress\nkPa")
    key(figure, meanings(closure))
    scale_bar(axes)
    return figure


def plan(closure, title, half_width):
    """Figure of the flat plan: what is cut out, what is loosened, and which points are sewn to each other."""
    if closure.plan.points:
        return _named_plan(closure, title, half_width)
    outline, middle = closure.outline, centre(closure)[:2, None]
    angles = " and ".join(dict.fromkeys(f"{angle:.0f}°" for angle in np.degrees(outline.tip_angles)))
    told, thread = f"angle of the wound at its tips {angles}", closure.plan.thread
    if thread is not None:
        told = f"the thread through {thread.stations} stations is drawn to a length of {thread.drawn_to:.3g} mm"
    figure, axes = framed(
        half_width,
        f"{title}: {outline.length:.3g} × {outline.width:.3g} mm cut out",
        f"Flat plan, before the cut; {told}",
        width=WIDE,
    )
    _draw_skin(axes, closure, middle)
    wound = shapely.get_coordinates(boundary(outline)).T - middle
    axes.fill(*wound, fc="white", ec=INK, label="skin cut out")
    if closure.trimmed is not None:
        before = shapely.get_coordinates(boundary(closure.trimmed.before.outline)).T - middle
        axes.plot(*before, color=INK, ls=":", lw=2, label="wound before it was trimmed")
    _draw_edges(axes, closure, middle)
    key(figure, axes.get_legend_handles_labels()[0])
    scale_bar(axes)
    return figure


def _named_plan(closure, title, half_width):
    """Figure of a plan that was drawn with named points: what is cut, which edges are sewn, which points meet."""
    drawing, middle, area = closure.plan, centre(closure)[:2, None], removed_area(closure.plan)
    figure, axes = framed(
        half_width,
        f"{title}: " + (f"{area:.0f} mm² cut out" if drawing.removed else "no skin cut out"),
        "Flat plan, before the cut; edges of one colour are sewn to each other, points of one number meet",
        width=WIDE,
    )
    _draw_skin(axes, closure, middle)
    for k, flap in enumerate(drawing.flaps):
        axes.fill(*(shapely.get_coordinates(flap).T - middle), fc=FLAP, label=None if k else "flap")
    if drawing.held is not None:
        held = shapely.get_coordinates(drawing.held).T - middle
        axes.fill(*held, fc=SKIN, ec=INK, ls="--", label="stays on its bed")
    for k, part in enumerate(shapely.get_parts(removed_skin(drawing))):
        axes.fill(*(shapely.get_coordinates(part).T - middle), fc="white", ec=INK, label=None if k else "skin cut out")
    for curve in (*drawing.cuts, *(curve for chain in drawing.removed for curve in chain)):
        axes.plot(*(_drawn(curve) - middle), color=INK, lw=1)
    axes.plot([], color=INK, lw=1, label="cut")
    edges = [curve for seam in drawing.seams for curve in seam]
    lines = pulled_aside(drawing, [_drawn(curve) for curve in (*edges, *drawing.open)], by=ASIDE * half_width)
    for k, line in enumerate(lines):
        is_open = k >= len(edges)
        look = dict(color=INK, ls=":") if is_open else dict(color=SEAMS[k // 2 % len(SEAMS)])
        axes.plot(*(line - middle), lw=3, label="edge left open" if k == len(edges) else None, **look)
    for number, junction in enumerate(junctions(drawing), start=1):
        away = LABEL * half_width / np.maximum(0.4, np.sin(np.minimum(junction.angles, np.pi) / 2))
        beside = junction.places + away * np.array([np.cos(junction.ways), np.sin(junction.ways)])
        for x, y in (beside - middle).T:
            axes.text(x, y, number, size=14, weight="bold", color=INK, ha="center", va="center")
    key(figure, axes.get_legend_handles_labels()[0])
    scale_bar(axes)
    return figure


def _drawn(curve):
    return curve.point(np.union1d(np.linspace(0, 1, 400), curve.corners))


def _draw_skin(axes, closure, middle):
    """Draw the uncut skin and the zone in which it is loosened."""
    mesh = closure.mesh
    axes.set_facecolor(SKIN)
    if mesh.undermined.any():
        zone = shapely.union_all(shapely.polygons((mesh.tri.p - middle)[:, mesh.tri.t[:, mesh.undermined]].T))
        zone = zone.buffer(SLIVER, join_style="mitre").buffer(-SLIVER, join_style="mitre")
        for k, part in enumerate(shapely.get_parts(zone)):
            axes.fill(*part.exterior.xy, fc=LOOSE, ec=INK, ls="--", label=None if k else "loosened from its bed")
            for hole in part.interiors:
                axes.fill(*hole.xy, fc=SKIN, ec=INK, ls="--")


def _draw_edges(axes, closure, middle):
    """Draw both edges of the wound, some of the points on them that are sewn together, and the tips."""
    outline = closure.outline
    if closure.plan.thread is not None:
        _draw_thread(axes, closure, middle)
        return
    for edge, colour, name in [(outline.upper, EDGES[0], "upper edge"), (outline.lower, EDGES[1], "lower edge")]:
        axes.plot(*(_drawn(edge) - middle), color=colour, lw=4, label=name)
    seams = scars(closure)
    lengths = [np.hypot(*np.diff(closure.mesh.X[:, first])).sum() for first, _ in seams]
    for seam, length in zip(seams, lengths, strict=True):
        n = max(1, round((PAIRS + 1) * length / lengths[0]) - 1)
        pairs = _sewn_points(closure.mesh.X[:, seam], n) - middle[..., None]  # (2, edge, n)
        axes.plot(*pairs, color=INK, lw=1, marker="o", ms=5)
    axes.plot([], color=INK, lw=1, label="points sewn together")
    axes.plot(*(closure.mesh.X[:, tips(closure)] - middle), ls="", label="tip of the wound", **DOT)


def _draw_thread(axes, closure, middle):
    """Draw the thread around an open wound, its stations numbered."""
    thread = around(closure.mesh, closure.plan.thread)
    ring = closure.mesh.X[:, thread.nodes] @ thread.W.T - middle
    axes.plot(*ring, color=TIP, lw=2, ls="--", marker="o", ms=7, label="thread and its stations")
    for number, (x, y) in enumerate(ring[:, :-1].T, start=1):
        away = 1 + LABEL * np.ptp(axes.get_xlim()) / max(np.hypot(x, y), 1.0)
        axes.text(away * x, away * y, number, size=14, weight="bold", color=INK, ha="center", va="center")


def _sewn_points(edges, n):
    """Places (2, edge, n + 2) of points that are sewn together, evenly spaced along the first edge, ends included.

    edges  (2, edge, node)  places of nodes, matched
    """
    s = np.append(0, np.cumsum(np.hypot(*np.diff(edges[:, 0]))))
    return make_interp_spline(s, edges, k=1, axis=2)(np.linspace(0, s[-1], n + 2))


# Words and scales -------------------------------------------------------------------------------------------


def framed(half_width, title, words, *, width=VIEW[0]):
    """Figure with a title and words below it, and its axes in mm of the view, `width` pixels wide."""
    figure = Figure(figsize=SIZE / 100, dpi=100)
    left = CORNER[0] / SIZE[0]
    first = figure.text(left, 0.955, title, size=22, weight="bold", va="center", color=INK)
    while first.get_window_extent().width > WIDE:
        first.set_size(first.get_size() - 1)
    figure.text(left, 0.913, words, size=14, va="center", color=INK)
    axes = figure.add_axes((*CORNER / SIZE, width / SIZE[0], VIEW[1] / SIZE[1]))
    reach = half_width * np.array([width / VIEW[0], SHAPE])
    axes.set(xlim=(-reach[0], reach[0]), ylim=(-reach[1], reach[1]), xticks=[], yticks=[])
    axes.spines[:].set_visible(False)
    return figure, axes


def key(figure, handles):
    """Draw what lines and marks mean, in the lower left, beside the scale bar."""
    figure.legend(
        handles=handles, loc="center left", bbox_to_anchor=(CORNER[0] / SIZE[0], 0.05),
        ncols=4 if len(handles) < 5 else 3, columnspacing=1.5, fontsize=14, frameon=False, borderaxespad=0, borderpad=0,
    )  # fmt: skip


def scale_bar(axes):
    """Draw a bar of a round number of mm, below the axes to the right; return that number."""
    per_pixel = np.ptp(axes.get_xlim()) / axes.bbox.width
    length = round_number(BAR[2] * per_pixel)
    x, y = (BAR[:2] - CORNER) * per_pixel + np.array([axes.get_xlim()[0], axes.get_ylim()[0]])
    axes.plot([x, x + length], [y, y], color=INK, lw=5, solid_capstyle="butt", clip_on=False)
    axes.text(x + length / 2, y + 8 * per_pixel, f"{length:g} mm", size=16, ha="center")
    return length


def colour_bar(figure, colours, ends, values, words):
    """Draw the scale of the colours between `ends`, pointed where values lie visibly beyond."""
    unseen = 0.01 * (ends[1] - ends[0])
    below, above = values.min() < ends[0] - unseen, values.max() > ends[1] + unseen
    extend = ("both" if below else "max") if above else ("min" if below else "neither")
    axes = figure.add_axes((1045 / SIZE[0], 0.12, 0.025, 0.66))
    bar = figure.colorbar(ScalarMappable(Normalize(*ends), colours), cax=axes, extend=extend)
    axes.tick_params(labelsize=14)
    figure.text(1045 / SIZE[0], 0.82, words, size=16, va="bottom")
    return bar
