"""The triangulated patch of skin around a wound: quadratic triangles, seam nodes matched by arc length."""

from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from itertools import pairwise
from types import MappingProxyType

import gmsh
import numpy as np
import shapely
import skfem
from scipy.spatial import cKDTree

from fem.errors import MeshError
from fem.geometry.curve import turn
from fem.mechanics import symmetry
from fem.mechanics.edges import CORNER, GROWTH, SAME, SWELL, Marks, edge_points, graded, pulled_aside, skin_on_left
from fem.mechanics.triangulation import Mesh, facets_between, from_triangulation, quality
from fem.plan.junctions import groups
from fem.plan.plan import Plan

# Our choices.
ON_EDGE = 0.3  # of edge: the zone's border nearer than this to the wound is on it; half of it leaves thinner triangles
# OPENED: of tip, how far both edges of a cut are pulled aside while triangles are drawn, or as far as a bent one bulges
# beyond its chords, which may not cross those of the other side; 0.1 bends triangles.
OPENED = 0.02
SEEN = 8  # vertices of the wound's edge among which a border finds its end; our choice, both sides of a cut and more
LEAST_ANGLE = 2.0  # degrees, of any triangle; our choice; of 150 random wounds one had 1e-16, no other less than 13

HALVED = 10.0  # degrees: an axis that leaves smaller angles, as it halves a narrow flap, is not drawn

OPTIONS = {
    "General.Terminal": 0,
    "General.NumThreads": 1,
    "Mesh.Algorithm": 6,  # frontal Delaunay: the best angles of those that follow a size field
    "Mesh.MeshSizeFromPoints": 0,
    "Mesh.MeshSizeExtendFromBoundary": 0,
    "Mesh.Smoothing": 10,  # passes; 1 lets the smallest angle drop by a degree or two
}


def mesh(
    plan: Plan, *, radius: float, edge: float, tip: float, far: float, marks: Marks = MappingProxyType({}),
    growth: float = GROWTH,
) -> Mesh:  # fmt: skip
    """Mesh of the disc of the given radius about the origin, without the skin that the plan removes.

    radius, edge, tip, far   mm: of the disc, and of segments along the wound, at the ends of seams, and far away
    growth                   of sizes per mm; in proportion SWELL

    Raises MeshError where prescribed edges meet without a common end, where the wound or its undermined zone
    reaches the rim, where gmsh leaves out a prescribed edge, or where an angle is too small. How sizes grow: README.
    """
    placed, bulge = edge_points(plan, edge=edge, tip=tip, marks=marks, growth=growth)
    pulled = pulled_aside(plan, placed, by=max(OPENED * tip, bulge)) if plan.cuts else placed
    drawn = partial(_drawn, plan, placed, pulled, radius=radius, edge=edge, far=far, growth=growth)
    if signs := _mirrors(pulled, _zone(plan)):
        with suppress(MeshError):
            made = drawn(signs)
            if quality(made)[0] > HALVED:
                return made
    made = drawn(())
    smallest, (x, y) = quality(made)
    if smallest < LEAST_ANGLE:
        raise MeshError(f"a triangle near ({x:.4g}, {y:.4g}) mm has {smallest:.2g} degrees, wanted {LEAST_ANGLE:g}")
    return made


def _zone(plan):
    return shapely.Polygon() if plan.undermined is None else plan.undermined


def _drawn(plan, placed, pulled, signs, *, radius, edge, far, growth):
    """The mesh of a plan with given points along its edges, as drawn and as pulled aside; its own image in mirrors."""
    zone, wound = _zone(plan), _wound(pulled, skin_on_left(plan))
    size = _grading(wound, zone, edge=edge, far=far, growth=growth)
    borders = _borders(zone, wound, symmetry.part(signs), size=size.at_border, on_edge=ON_EDGE * edge)
    rim = _rim(radius, far, around=shapely.union(wound, zone))

    points, chains = _numbered([*pulled, *symmetry.images(borders, signs), rim])
    cut, rim = chains[: len(placed)], chains[-1]
    edges = _edges(chains)
    faces = [face for face in _faces(points, edges) if not wound.contains(face.representative_point())]
    p, t, undermined = _symmetric(points, edges, faces, zone, signs, cut=_edges(cut), size=size)
    tri = skfem.MeshTri(p, t, sort_t=False)
    check_cover(tri, edges, outer=_edges([*cut, rim]), area=sum(face.area for face in faces))
    for chain, x in zip(cut, placed, strict=True):
        p[:, chain] = x
    tri = skfem.MeshTri(p, t, sort_t=False)
    sewn = 2 * len(plan.seams)
    pairs = [np.array(cut[i : i + 2]) for i in range(0, sewn, 2)]
    return from_triangulation(tri, pairs, rim_vertices=rim, undermined=undermined, open_edges=cut[sewn:])


def check_cover(tri: skfem.MeshTri, edges: np.ndarray, *, outer: np.ndarray, area: float) -> None:
    """Raise MeshError unless facets join all `edges`, only `outer` ones are free, and triangles cover the area, mm2.

    edges, outer   (2, m) pairs of vertices; those of triangles run counter-clockwise
    """
    facets_between(tri, edges)
    extra = np.setdiff1d(tri.boundary_facets(), facets_between(tri, outer))
    areas = tri.mapping().detA / 2
    unused = tri.nvertices - np.unique(tri.t).size
    if extra.size or areas.min() <= 0 or unused:
        raise MeshError(
            f"bad triangulation: {extra.size} free edges inside the patch, "
            f"{(areas <= 0).sum()} inverted triangles, {unused} unused vertices"
        )
    if not np.isclose(areas.sum(), area, rtol=1e-9, atol=0):
        raise MeshError(f"the triangles cover {areas.sum():.6f} mm2 of {area:.6f} mm2")


def _wound(edges, skin_left):
    """Area enclosed by edges (2, k + 1): what is removed, and cuts as far as pulled open; no island of skin."""
    points, chains = _numbered(edges) if edges else (None, [])
    lines = [shapely.LineString(points[:, chain].T) for chain in chains]
    for line in lines:
        if not line.is_simple:
            raise MeshError("the removed skin's edge crosses itself")
    ways = [line if left else shapely.reverse(line) for line, left in zip(lines, skin_left, strict=True)]
    skin = {tuple(map(tuple, step)) for way in ways for step in pairwise(way.coords)}
    enclosed = [shapely.orient_polygons(part) for part in shapely.get_parts(shapely.polygonize(lines))]
    area = shapely.union_all([part for part in enclosed if not skin.issuperset(pairwise(part.exterior.coords))])
    if area.is_empty and lines:
        raise MeshError("the edges of the wound enclose nothing; one is missing, or its skin is on the other side")
    return area


def _mirrors(lines, zone):
    """Mirrors, as in `symmetry`, that leave lines (2, k + 1) and the zone as they are."""
    if not lines:
        return []
    points, chains = _numbered(lines)
    return symmetry.mirrors(points, _edges(chains), zone)


@dataclass(frozen=True)
class _Grading:
    """Sizes of triangles by their distance from the wound, mm: within the undermined zone and beyond, and far away."""

    edge: float
    at_border: float
    far: float
    reach: float  # of the zone
    growth: float  # per mm, beyond it

    @property
    def formula(self) -> str:
        """For gmsh, in F1, the distance."""
        slow = (self.at_border - self.edge) / self.reach if self.reach else 0.0
        within = f"{self.edge:.12f} + {slow:.12f} * F1"
        beyond = f"{self.at_border:.12f} + {self.growth:.12f} * (F1 - {self.reach:.12f})"
        return f"Min({self.far:.12f}, Max({within}, {beyond}))"

    def at(self, places: np.ndarray, cut: shapely.MultiLineString) -> np.ndarray:
        """At places (2, n), near the edges of the wound; their own lengths count as in `_set_size`."""
        points, lines = shapely.points(places.T), shapely.get_parts(cut)
        apart = shapely.distance(points[:, None], lines)
        near = (shapely.length(lines) + self.growth * apart).min(axis=1)
        within = np.interp(apart.min(axis=1), [0.0, self.reach or 1.0], [self.edge, self.at_border])
        beyond = self.at_border + self.growth * (apart.min(axis=1) - self.reach)
        return np.minimum(np.minimum(self.far, np.maximum(within, beyond)), near)


def _grading(wound, zone, *, edge, far, growth):
    """How sizes grow around a wound with an undermined zone."""
    reach = max(shapely.distance(shapely.points(shapely.get_coordinates(zone)), wound), default=0.0)
    swell = 1 + (SWELL - 1) * growth / GROWTH
    return _Grading(edge, min(far, swell * edge, edge + growth * reach), far, reach, growth)


def _borders(zone, wound, part, *, size, on_edge):
    """Points (2, k + 1) along each border of the zone in a part of the plane, ended at the wound's edge where near."""
    outside = shapely.intersection(zone.boundary.difference(wound.buffer(on_edge)), part)
    lines = [line for line in shapely.get_parts(shapely.line_merge(outside)) if line.length > size / 2]
    if not zone.is_empty and not lines and zone.difference(wound.buffer(on_edge)).is_empty:
        raise MeshError(
            f"an undermined zone must be wider than half a segment, and reach {on_edge:.3g} mm beyond the wound"
        )
    borders = [_border(line, size) for line in lines]
    for border in (border for border, line in zip(borders, lines, strict=True) if not line.is_closed):
        for end in (0, -1):
            if shapely.distance(shapely.Point(border[:, end]), wound) < 2 * on_edge:  # or it ends on an axis
                border[:, end] = _in_sight(border[:, end], wound)
    return borders


def _in_sight(place, wound):
    """The vertex (2,) of the wound nearest to a place (2,) that is seen from there, or the nearest if none is."""
    vertices = shapely.get_coordinates(wound)
    near = vertices[cKDTree(vertices).query(place, k=min(SEEN, len(vertices)))[1]]
    lines = shapely.linestrings([[place, vertex] for vertex in near])
    seen = shapely.get_type_id(shapely.intersection(lines, wound.boundary)) == shapely.GeometryType.POINT
    return near[seen.argmax()]


def _border(line, size):
    """Points (2, k + 1) of chords of about a size along a line, open or closed; corners stay, one of two near."""
    step = np.diff(shapely.get_coordinates(line).T)
    turned = turn(np.roll(step, 1, axis=1), step)  # at the start of each step; that at the line's is a knot anyhow
    at = np.append(0.0, np.cumsum(np.hypot(*step)))[:-1]
    knots, near = [0.0], size / 2 / line.length
    for corner in at[abs(turned) > CORNER] / line.length:
        if knots[-1] + near < corner < 1 - near:
            knots.append(float(corner))
    knots.append(1.0)
    s = graded(knots, lambda s: np.full_like(s, size / line.length))
    chords = shapely.get_coordinates(shapely.line_interpolate_point(line, s, normalized=True)).T
    if line.is_closed:
        chords[:, -1] = chords[:, 0]
    return chords


def _rim(radius, far, *, around):
    """Points (2, k + 1) of a closed polygon in the circle of the given radius, no side longer than `far`."""
    n = 4 * max(3, int(np.ceil(np.pi / 2 * radius / far)))  # symmetric, as the wound may be
    angle = 2 * np.pi * np.append(np.arange(n), 0) / n
    rim = radius * np.array([np.cos(angle), np.sin(angle)])
    if not shapely.Polygon(rim.T).contains_properly(around):
        raise MeshError(
            f"the wound or its undermined zone reaches the rim of the patch, {radius:g} mm from "
            "the origin; give the patch a larger radius"
        )
    return rim


def _numbered(lines):
    """Distinct points (2, n) of lines (2, k + 1), and each line as point numbers."""
    x = np.hstack(lines)
    pairs = cKDTree(x.T).query_pairs(SAME, output_type="ndarray").T
    number = groups(x.shape[1], pairs)
    first = np.unique(number, return_index=True)[1]
    return x[:, first], np.split(number, np.cumsum([line.shape[1] for line in lines])[:-1])


def _edges(chains):
    """Distinct pairs (2, m), smaller number first, of consecutive points of chains of point numbers."""
    pairs = np.hstack([[chain[:-1], chain[1:]] for chain in chains])
    return np.unique(np.sort(pairs, axis=0), axis=1)


def _faces(points, edges):
    """Polygons, counter-clockwise, into which edges (2, m) divide the patch; MeshError where they cross."""
    segments = shapely.linestrings(points.T[edges.T])
    drawing = shapely.multilinestrings(segments)
    if not drawing.is_simple:
        met = shapely.get_coordinates(shapely.node(drawing)).T
        distance, _ = cKDTree(points.T).query(met.T)
        x, y = met[:, distance.argmax()]
        raise MeshError(
            f"edges of the wound, its undermined zone or the rim cross near ({x:.4g}, {y:.4g}) mm; "
            "an undermined zone must be wider than half a segment"
        )
    return [shapely.orient_polygons(face) for face in shapely.get_parts(shapely.polygonize(segments))]


def _symmetric(points, edges, faces, zone, signs, *, cut, size):
    """Vertices (2, n), the given points first, triangles (3, m), and whether each is undermined.

    Where mirrors leave all as it is, the triangles do so too.
    """
    kept, drawn = points, edges
    if signs:
        skin = shapely.union_all(faces)
        kept, drawn, axes = symmetry.drawing(points, edges, signs)
        place = cKDTree(kept.T).query(points.T, distance_upper_bound=SAME)[1]
        cut = place[cut]
        cut = cut[:, (cut < kept.shape[1]).all(axis=0)]
        lines = shapely.multilinestrings(shapely.linestrings(kept.T[cut.T]))
        axes = axes[:, shapely.contains_xy(skin, *kept[:, axes].mean(axis=1))]
        kept, axes = symmetry.divided(kept, axes, partial(size.at, cut=lines))
        drawn = np.hstack([drawn, axes])
        faces = [face for face in _faces(kept, drawn) if skin.contains(face.representative_point())]
    p, t, face_of = _triangles(kept, drawn, faces, cut=cut, size=size)
    undermined = np.array([zone.intersection(face).area > face.area / 2 for face in faces])[face_of]
    if signs:
        p, t = symmetry.whole(p, t, signs, points)
    return p, t, np.tile(undermined, 2 ** len(signs))


def _triangles(points, edges, faces, *, cut, size):
    """Vertices (2, n), the given points first, triangles (3, m) and the face of each, sized as in `_set_size`."""
    gmsh.initialize(["-nopopup"], readConfigFiles=False, interruptible=False)
    try:
        for name, value in OPTIONS.items():
            gmsh.option.setNumber(name, value)
        lines = _draw(points, edges, faces)
        _set_size(cut=[lines[i, j] for i, j in cut.T.tolist()], size=size)
        gmsh.model.mesh.generate(2)
        tags, xyz, _ = gmsh.model.mesh.getNodes()
        numbers = [gmsh.model.mesh.getElementsByType(2, face + 1)[1] for face in range(len(faces))]
    finally:
        gmsh.finalize()
    order = np.argsort(tags)
    t = np.searchsorted(tags, np.concatenate(numbers), sorter=order)
    face_of = np.repeat(np.arange(len(faces)), [len(n) // 3 for n in numbers])
    return xyz.reshape(-1, 3)[order, :2].T.copy(), t.reshape(-1, 3).T.copy(), face_of


def _draw(points, edges, faces):
    """Hand points, edges and faces to gmsh; return its signed number of each edge, {(i, j): line}."""
    geo, lines = gmsh.model.geo, {}
    for i, (x, y) in enumerate(points.T, start=1):
        geo.addPoint(x, y, 0, tag=i)
    for line, (i, j) in enumerate(edges.T.tolist(), start=1):
        geo.addLine(i + 1, j + 1, tag=line)
        geo.mesh.setTransfiniteCurve(line, 2)
        lines[i, j], lines[j, i] = line, -line
    number = {xy: i for i, xy in enumerate(map(tuple, points.T.tolist()))}
    for tag, face in enumerate(faces, start=1):
        loops = [[number[xy] for xy in ring.coords] for ring in (face.exterior, *face.interiors)]
        geo.addPlaneSurface([geo.addCurveLoop([lines[pair] for pair in pairwise(loop)]) for loop in loops], tag=tag)
    geo.synchronize()
    return lines


def _set_size(*, cut, size):
    """Make gmsh's triangle size the smaller of a grading's, F1 away from cut edges, and growth from their length."""
    field = gmsh.model.mesh.field
    for tag, kind in enumerate(["Distance", "MathEval", "Extend", "Min"], start=1):
        field.add(kind, tag)
    field.setNumbers(1, "CurvesList", cut)
    field.setString(2, "F", size.formula)
    field.setNumbers(3, "CurvesList", cut)
    field.setNumber(3, "SizeMax", 1e3)
    field.setNumber(3, "DistMax", 1e3 / size.growth)
    field.setNumbers(4, "FieldsList", [2, 3])
    field.setAsBackgroundMesh(4)
