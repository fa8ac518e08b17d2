"""The closed skin as a body to be printed in 3D: skin of its thickness on a solid base, as STL and 3MF, in mm."""

from dataclasses import dataclass
from pathlib import Path
from typing import cast

import numpy as np
import shapely
import trimesh
from matplotlib.textpath import TextPath
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from fem.closure.measures.skin import self_intersections
from fem.comparison.wording import NOTE, sentences
from fem.errors import NotPrintable
from fem.mechanics.triangulation import flat_triangles
from fem.render.canvas import SHAPE
from fem.results.result import Result

# Our choices. PLATE: what lies below the deepest skin; half of it bends when it is taken off the printer.
PLATE = 3.0  # mm
LETTERS, RAISED = 4.0, 0.8  # mm: height of capitals, which a nozzle of 0.4 mm still draws; how far they stand out
STRIP = 2 * LETTERS  # mm: depth of the ledge in front that bears them
OVERLAP = 0.5  # mm: how far ledge and letters reach into what they stand on
STEEPEST = 0.5  # least cosine between a vertex's normal and its triangles' that is made up for


@dataclass(frozen=True)
class Print:
    """Bodies in mm, the base's bottom at height 0; the label is part of the base."""

    whole: trimesh.Trimesh  # skin and base in one
    skin: trimesh.Trimesh  # the skin alone: it lies on the base all over
    base: trimesh.Trimesh
    label: str  # on the label
    area: float  # mm2, of the skin's middle surface
    crossed: int  # pairs of triangles of the whole that pass through each other
    overhang: float  # share of the skin's upper side that looks downward


def printed(result: Result, *, exaggeration: float = 1.0) -> Print:
    """Print of a closed skin: the piece of it that the pictures from above show.

    exaggeration   of heights, which the label states; the skin's thickness stays as it is

    Raises NotPrintable if a body has an open edge, or one of its edges crosses itself seen from above.
    """
    x, triangles = welded(result)
    if exaggeration != 1:
        x = result.body.lifted(result.body.over(x) * [[1], [1], [exaggeration]])
    x = x - result.stages.centre[:, None]
    half = result.case.skin.thickness_mm / 2
    away = normals(x, triangles)
    upper, under = x + half * away, x - half * away
    bottom = under[2].min() - PLATE
    piece = result.stages.half_width * np.array([1.0, SHAPE])
    box = trimesh.creation.box(bounds=[[*-piece, bottom - 1], [*piece, upper[2].max() + 1]])
    text = label(result.name, exaggeration)
    tag = _tag(text, piece, bottom)
    blocks = (_cut(body(surface, triangles, bottom), box) for surface in (upper, under))
    whole, base = (_closed(trimesh.boolean.union([block, *tag], engine="manifold")) for block in blocks)
    skin = _cut(_layer(upper, under, triangles), box)
    for lifted in (whole, base, skin):
        lifted.apply_translation([0, 0, -bottom])
    top = trimesh.Trimesh(upper.T, triangles.T, process=False)
    crossed = self_intersections(whole.vertices.T, whole.faces.T, np.arange(len(whole.vertices))).shape[1]
    overhang = float(top.area_faces[top.face_normals[:, 2] < 0].sum() / top.area)
    inward = np.vstack([np.eye(3)[:2], -np.eye(3)[:2]])
    middle = trimesh.Trimesh(x.T, triangles.T, process=False).slice_plane(-np.tile(piece, 2)[:, None] * inward, inward)
    return Print(whole, skin, base, text, float(middle.area), crossed, overhang)


def label(name: str, exaggeration: float) -> str:
    """What is written on the base."""
    return f"{name}   1:1" + (f"   heights x{exaggeration:g}" if exaggeration != 1 else "")


def description(made: Print, result: Result, exaggeration: float) -> list[str]:
    """What a print is, as lines of text: sizes, volumes, and what to look out for."""
    volumes = made.skin.volume, made.base.volume
    gap = result.numbers.get("largest_gap_mm")
    values = made, made.whole.extents.tolist(), volumes, result.case.skin.thickness_mm, exaggeration, gap
    return [*sentences("teaching/paper", "solid", *values), NOTE]


# The skin -----------------------------------------------------------------------------------------------------


def welded(result: Result) -> tuple[np.ndarray, np.ndarray]:
    """Positions (3, n), mm, and flat triangles (3, m) of the closed skin, both edges of each seam made one.

    Where sutures leave a slight gap, both edges take the middle between them.
    """
    stages = result.stages
    x, pairs = stages.x[-1], stages.pairs
    joints = coo_array((np.ones(pairs.shape[1]), tuple(pairs)), shape=(x.shape[1],) * 2)
    count, number = connected_components(joints, directed=False)
    together = np.bincount(number, minlength=count)
    places = np.array([np.bincount(number, row, minlength=count) / together for row in x])
    triangles = number[flat_triangles(stages.elements)]
    used, triangles = np.unique(triangles, return_inverse=True)
    return places[:, used], triangles.reshape(3, -1)


def normals(x: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """Vectors (3, n) at the vertices of a surface: moved along them by h, its triangles move by h on average.

    They point along the mean of the triangles' normals, weighted by the angle that each takes up at the vertex, and
    are the longer, the more those differ.
    """
    surface = trimesh.Trimesh(x.T, triangles.T, process=False)
    unit, angles, nodes = surface.vertex_normals, surface.face_angles, surface.faces.ravel()
    cosine = angles * (unit[surface.faces] * surface.face_normals[:, None]).sum(axis=2)
    mean = np.bincount(nodes, cosine.ravel()) / np.bincount(nodes, angles.ravel())
    return (unit / np.maximum(mean, STEEPEST)[:, None]).T


# Bodies -------------------------------------------------------------------------------------------------------


def body(x: np.ndarray, triangles: np.ndarray, bottom: float) -> trimesh.Trimesh:
    """Body between a surface and the level `bottom`, with walls straight down from the surface's rim.

    x           (3, n) mm
    triangles   (3, m) vertices, counter-clockwise seen from outside

    A hole in the surface goes through to the bottom. Raises NotPrintable if the rim crosses itself seen from above.
    """
    start, end = rim(triangles)
    nodes = np.unique(start)
    floor = np.full(x.shape[1], -1)
    floor[nodes] = x.shape[1] + np.arange(nodes.size)
    below = np.vstack([x[:2, nodes], np.full(nodes.size, bottom)])
    walls = [[end, start, floor[start]], [end, floor[start], floor[end]]]
    floors = _floor(x, start, end)
    faces = np.hstack([triangles, *map(np.array, walls), floor[floors]])
    return _closed(trimesh.Trimesh(np.hstack([x, below]).T, faces.T, process=False))


def _layer(upper, under, triangles):
    """Body between the two sides of a sheet."""
    n = upper.shape[1]
    start, end = rim(triangles)
    walls = [[end, start, n + start], [end, n + start, n + end]]
    faces = np.hstack([triangles, n + triangles[::-1], *map(np.array, walls)])
    return _closed(trimesh.Trimesh(np.hstack([upper, under]).T, faces.T, process=False))


def rim(triangles: np.ndarray) -> np.ndarray:
    """Edges (2, k) of triangles that have none on their other side, in the triangles' sense."""
    edges = np.hstack([triangles[[0, 1]], triangles[[1, 2]], triangles[[2, 0]]])
    count = triangles.max() + 1
    ways, back = edges[0] * count + edges[1], edges[1] * count + edges[0]
    return edges[:, ~np.isin(ways, back)]


def _floor(x, start, end):
    """Triangles (3, k), clockwise from above, between the rings that the edges from `start` to `end` make."""
    borders = sorted((shapely.Polygon(x[:2, ring].T) for ring in rings(start, end)), key=lambda ring: -ring.area)
    plate = shapely.Polygon(borders[0].exterior, [ring.exterior for ring in borders[1:]])
    if not plate.is_valid:
        raise NotPrintable("the rim of the closed skin crosses itself seen from above")
    pieces = shapely.get_coordinates(shapely.constrained_delaunay_triangles(plate)).reshape(-1, 4, 2)[:, :3]
    number = {tuple(place): node for place, node in zip(x[:2, start].T.tolist(), start.tolist(), strict=True)}
    floors = np.array([[number[tuple(place)] for place in piece] for piece in pieces.tolist()]).T
    u, v = pieces[:, 1] - pieces[:, 0], pieces[:, 2] - pieces[:, 0]
    left = u[:, 0] * v[:, 1] > u[:, 1] * v[:, 0]
    return np.where(left, floors[::-1], floors)


def rings(start: np.ndarray, end: np.ndarray) -> list[list[int]]:
    """Nodes of each closed chain of edges, in order. Raises NotPrintable where two chains touch."""
    follower = dict(zip(start.tolist(), end.tolist(), strict=True))
    if len(follower) < start.size:
        raise NotPrintable("edges that are left open touch each other")
    chains = []
    while follower:
        ring = [next(iter(follower))]
        while ring[-1] in follower:
            ring.append(follower.pop(ring[-1]))
        chains.append(ring[:-1])
    return chains


def _closed(body):
    """The body, or NotPrintable if it has an open edge or is inside out."""
    if not (body.is_watertight and body.is_winding_consistent and body.volume > 0):
        raise NotPrintable("the closed skin makes no body without open edges")
    return body


def _cut(body, box):
    return _closed(trimesh.boolean.intersection([body, box], engine="manifold"))


# The label ----------------------------------------------------------------------------------------------------


def _tag(text, piece, bottom):
    """The ledge in front of the base, and the letters on it."""
    front, top = -piece[1], bottom + PLATE
    ledge = trimesh.creation.box(bounds=[[-piece[0], front - STRIP, bottom], [piece[0], front + OVERLAP, top]])
    outlines = lettering(text, LETTERS)
    shrink = min(1.0, 1.9 * piece[0] / np.ptp(outlines.bounds[::2]))
    outlines = shapely.affinity.scale(outlines, shrink, shrink, origin=(0, 0))
    outlines = shapely.affinity.translate(outlines, -0.95 * piece[0], front - (STRIP + LETTERS * shrink) / 2)
    parts, lifted = shapely.get_parts(outlines), trimesh.transformations.translation_matrix([0, 0, top - OVERLAP])
    letters = [trimesh.creation.extrude_polygon(p, RAISED + OVERLAP, lifted, engine="manifold") for p in parts]
    return [ledge, *letters]


def lettering(text: str, height: float) -> shapely.Geometry:
    """Outlines of a text whose capitals are `height` mm high, from the origin to the right."""
    scale = height / np.ptp(TextPath((0, 0), "H", size=100).vertices[:, 1])
    curves = TextPath((0, 0), text.replace("$", r"\$"), size=100 * scale).to_polygons()
    shape = shapely.Polygon()
    for curve in curves:  # a hole in a letter is drawn over it
        shape = shape.symmetric_difference(shapely.Polygon(curve).buffer(0))
    return shape


# Files --------------------------------------------------------------------------------------------------------


def write_stl(made: Print, path: Path) -> None:
    """Write skin and base as one body, binary STL; its header says the unit and the label."""
    content = bytearray(cast(bytes, made.whole.export(file_type="stl")))
    content[:80] = f"mm; {made.label}".encode("ascii", "replace")[:80].ljust(80)
    path.write_bytes(content)


def write_3mf(made: Print, path: Path) -> None:
    """Write skin and base as two bodies, for two colours, in mm."""
    scene = trimesh.Scene()
    for name, solid in (("skin", made.skin), ("base", made.base)):
        scene.add_geometry(solid, geom_name=f"{name}, {made.label}", node_name=name)
    path.write_bytes(scene.export(file_type="3mf"))
