"""Closure → figure of its plan: what is removed, undermined, sewn and left open, on the skin as it lay."""

import numpy as np
import shapely
from scipy.interpolate import make_interp_spline

from fem.geometry.outlines import boundary
from fem.mechanics.edges import pulled_aside
from fem.mechanics.sutures import around
from fem.mechanics.tips import scars, tips
from fem.plan.junctions import junctions
from fem.plan.plan import removed_area, removed_skin
from fem.render.canvas import (
    DOT,
    EDGES,
    FLAP,
    INK,
    LOOSE,
    SEAMS,
    SKIN,
    TIP,
    WIDE,
    framed,
    key,
    scale_bar,
)
from fem.render.projection import (
    centre,
)

PAIRS = 11  # of sewn points along the first scar in the plan
SLIVER = 1e-3  # mm: gaps between triangles, by round-off, that are no part of the picture
ASIDE, LABEL = 0.009, 0.03  # of the half-width: edges of a plan and their numbers beside the line that is cut


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
