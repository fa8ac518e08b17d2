"""The body in a PLY, STL or OBJ file of triangles → places on it by a geodesic polar map; the file is not trusted."""

from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from fem.case import tracing
from fem.errors import BadCase

MAX_BYTES = 50_000_000  # our choice, a million triangles
FARTHEST = 1e5  # mm from the file's origin; our choice, a body scanned in a room
SAMPLES = 33  # a side of the map; our choice, some 4 mm apart
STEPS = 64  # of a geodesic; our choice, it errs by a share of (length / radius / STEPS)^2
NEAR = 10.0  # mm: the place that is named may be as far from the skin; our choice
ON_EDGE = 1e-9  # share of a triangle's height
ASKEW = 0.1  # of its length, what a direction has along the skin at least; our choice
RAYS, AROUND = 96, 4  # geodesics, and how many of them are repeated where splines go round; our choices
MERGED = 6  # decimals of mm to which points are the same
# What the readers raise on what is none of their files; they have no error of their own for all of it.
BROKEN = (
    AssertionError,
    AttributeError,
    TypeError,
    ValueError,
    IndexError,
    KeyError,
    OverflowError,
    MemoryError,
    OSError,
)
Nearest = Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]]


def places(
    name: str, folders: Sequence[Path], *, at: Sequence[float], along: Sequence[float], reach: float
) -> np.ndarray:
    """Places (3, SAMPLES, SAMPLES), mm, on the surface in a file, of the plan's x, y = -reach ... reach, evenly spaced.

    at, along  (3,) in the file: a place on the skin, which is the plan's origin, and the direction of the plan's x axis

    The plan's origin is the origin here, and x, y, z are the plan's axes and the outward normal. Raises BadCase.
    """
    path = tracing.located(name, folders, kinds=READERS)
    points, triangles = _sheet(path, *_read(path))
    return _mapped(points, triangles, np.array(at, float), np.array(along, float), reach, path)


def _read(path):
    """Points (n, 3) and triangles (m, 3) of a file."""
    if path.stat().st_size > MAX_BYTES:
        raise BadCase(f"{path}: larger than {MAX_BYTES // 1_000_000} MB")
    if path.suffix.lower() == ".ply" and b"end_header" not in path.read_bytes()[:100_000]:
        raise BadCase(f"{path}: not a PLY file: its header has no end")  # for which the reader would look for ever
    import meshio

    try:
        known = getattr(meshio, path.suffix.lower()[1:]).read(str(path))
        cells = [np.asarray(block.data, int) for block in known.cells if block.type == "triangle"]
        if len(cells) < len(known.cells) or not cells:
            raise BadCase(f"{path}: wanted triangles and nothing else")
        points, triangles = np.asarray(known.points, float), np.vstack(cells)
        if points.shape[1:] != (3,) or not (np.abs(points) <= FARTHEST).all():  # nor if one is no number
            raise BadCase(f"{path}: wanted points within {FARTHEST:g} mm of the origin, in mm")
        if triangles.min() < 0 or triangles.max() >= len(points):
            raise BadCase(f"{path}: a triangle has a corner that is not there")
    except (*BROKEN, meshio.ReadError) as error:
        if isinstance(error, BadCase):
            raise
        raise BadCase(f"{path}: cannot be read: {str(error).splitlines()[0] if str(error) else 'broken'}") from error
    return points, triangles


READERS = ".ply", ".stl", ".obj"


def _sheet(path, points, triangles):
    """The same with each point once, checked to be one sheet whose triangles all face one way, outward if closed."""
    points, number = np.unique(points.round(MERGED), axis=0, return_inverse=True)
    triangles = number.reshape(-1)[triangles]
    a, b, c = triangles.T
    triangles = triangles[(a != b) & (b != c) & (c != a)]
    n, edges = len(points), np.vstack([triangles[:, pair] for pair in ([0, 1], [1, 2], [2, 0])])
    _, count = np.unique(np.sort(edges, axis=1) @ [n, 1], return_counts=True)
    if (count > 2).any():
        raise BadCase(f"{path}: not a single sheet: {(count > 2).sum()} edges belong to three triangles or more")
    if len(np.unique(edges @ [n, 1])) < len(edges):
        raise BadCase(f"{path}: normals are flipped: some triangles beside each other face opposite ways")
    joined = coo_array((np.ones(len(edges)), tuple(edges.T)), shape=(n, n))
    pieces = len(np.unique(connected_components(joined, directed=False)[1][triangles]))
    if pieces != 1:
        raise BadCase(f"{path}: not a single sheet: {pieces} pieces")
    a, b, c = points[triangles].transpose(1, 0, 2)
    if (count == 2).all() and (a * np.cross(b, c)).sum() < 0:
        raise BadCase(f"{path}: normals are flipped: they point into the body, whose corners run clockwise")
    return points, triangles


def _nearest(points, triangles, path) -> Nearest:
    """Places (k, 3) -> nearest places on the surface and its normals there, which are even between the points.

    Raises BadCase where the surface ends.
    """
    closest = _closest(points, triangles)
    a, b, c = (points[triangles[:, k]] for k in range(3))
    face, normals = np.cross(b - a, c - a), np.zeros_like(points)
    for k in range(3):
        np.add.at(normals, triangles[:, k], face)
    edges = np.vstack([triangles[:, pair] for pair in ([1, 2], [2, 0], [0, 1])])  # opposite each corner
    _, inverse, count = np.unique(np.sort(edges, axis=1) @ [len(points), 1], return_inverse=True, return_counts=True)
    ends = (count[inverse.ravel()] == 1).reshape(3, -1).T  # (m, 3)

    def found(p: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        x, triangle = closest(p)
        u, v, w = (b - a)[triangle], (c - a)[triangle], x - a[triangle]
        n = face[triangle]
        area = (n * n).sum(axis=1)
        second, third = (np.cross(w, v) * n).sum(axis=1) / area, (np.cross(u, w) * n).sum(axis=1) / area
        lam = np.stack([1 - second - third, second, third], axis=1)
        if (outside := ((lam < ON_EDGE) & ends[triangle]).any(axis=1)).any():
            where = ", ".join(f"{value:.4g}" for value in x[outside.argmax()])
            raise BadCase(f"{path}: the surface ends, or has a hole, within the patch, at ({where}) mm")
        n = np.einsum("pc,pci->pi", lam, normals[triangles[triangle]])
        return x, n / np.linalg.norm(n, axis=1)[:, None]

    return found


def _closest(points, triangles):
    """Places (k, 3) -> nearest places on the triangles (k, 3), and in which (k,)."""
    from vtkmodules.util.numpy_support import numpy_to_vtk, numpy_to_vtkIdTypeArray
    from vtkmodules.vtkCommonCore import mutable, vtkPoints
    from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkPolyData, vtkStaticCellLocator

    places, cells, body, locator = vtkPoints(), vtkCellArray(), vtkPolyData(), vtkStaticCellLocator()
    places.SetData(numpy_to_vtk(points, deep=True))
    cells.SetData(3, numpy_to_vtkIdTypeArray(triangles.ravel().astype(np.int64), deep=True))
    body.SetPoints(places)
    body.SetPolys(cells)
    locator.SetDataSet(body)
    locator.BuildLocator()

    def closest(p):
        x, triangle = np.empty_like(p), np.empty(len(p), int)
        at, (number, part, distance) = [0.0] * 3, map(mutable, (0, 0, 0.0))
        for k, place in enumerate(p):
            locator.FindClosestPoint(place, at, number, part, distance)  # type: ignore[call-overload]
            x[k], triangle[k] = at, number
        return x, triangle

    return closest


def _mapped(points, triangles, at, along, reach, path):
    """Places (3, SAMPLES, SAMPLES) along geodesics to all sides, of which each turns along the normal alone.

    Half a step leads to the normal that the whole is taken square to; the way is turned as the normal turns.
    """
    nearest = _nearest(points, triangles, path)
    (origin,), (up,) = nearest(at[None])
    if np.linalg.norm(origin - at) > NEAR:
        raise BadCase(
            f"{path}: at_mm is {np.linalg.norm(origin - at):.3g} mm from the surface, wanted at most {NEAR:g}"
        )
    x_axis = along - (along @ up) * up
    if not np.linalg.norm(x_axis) > ASKEW * np.linalg.norm(along):
        raise BadCase(f"{path}: along points out of the surface at at_mm; wanted a direction along the skin")
    x_axis /= np.linalg.norm(x_axis)
    axes = np.stack([x_axis, np.cross(up, x_axis), up])
    angle, radius = 2 * np.pi * np.arange(RAYS) / RAYS, np.sqrt(2) * reach
    p, n = np.tile(origin, (RAYS, 1)), np.tile(up, (RAYS, 1))
    step = radius / STEPS * np.stack([np.cos(angle), np.sin(angle)], axis=1) @ axes[:2]
    rays = [p]
    for _ in range(STEPS):
        _, half = nearest(p + step / 2)
        p, there = nearest(p + _along(step, n, half))
        step, n = _along(step, n, there), there
        rays.append(p)
    from scipy.interpolate import RectBivariateSpline  # here, as in `geometry.surface`

    s = np.linspace(-reach, reach, SAMPLES)
    x, y = np.stack(np.meshgrid(s, s, indexing="ij"))
    around = np.linspace(-AROUND, RAYS + AROUND, RAYS + 2 * AROUND + 1)
    turns = np.array(rays)[:, np.arange(-AROUND, RAYS + AROUND + 1) % RAYS]
    distance = np.linspace(0, radius, STEPS + 1)
    splines = (RectBivariateSpline(distance, around, turns[..., k] - origin[k]) for k in range(3))
    turn = np.arctan2(y, x) % (2 * np.pi) * RAYS / (2 * np.pi)
    return np.einsum("ij,jkl->ikl", axes, np.stack([spline.ev(np.hypot(x, y), turn) for spline in splines]))


def _along(v, n, other):
    """Vectors v (k, 3) in planes square to n turned into those square to others, by the least rotation."""
    across = ((v * other).sum(axis=1) / (1 + (n * other).sum(axis=1)))[:, None]
    return v - across * (n + other)
