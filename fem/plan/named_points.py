"""Plans drawn by hand, and the flaps of the catalogue: points with names, lines and arcs between them, cut and sewn."""

from collections.abc import Iterable, Sequence
from itertools import permutations
from typing import Annotated, Any

import numpy as np
import shapely
from annotated_types import Len, MaxLen, MinLen

from fem.errors import refuse
from fem.geometry.curve import Outline, Place, chained, polyline, ring, smooth
from fem.geometry.outlines import boundary
from fem.geometry.polygon import coinciding
from fem.plan.plan import Plan, removed_skin

MAX_NAMES = 200  # of points, and in a path; our choice, ten times those of a bilobed flap
ROUND = 1e-6  # of its radius: the points of an arc lie on one circle, half its last digit if given to 0.1 um
CHORDS = 100  # of an arc of an area
FINE, MISSED = 2000, 1e-5  # an arc in so many chords may miss this share of the outline's area; twenty times as much

Name = Annotated[str, Len(1, 12)]
Path = Annotated[tuple[Name, ...], Len(2, MAX_NAMES)]
Paths = Annotated[tuple[Path, ...], MaxLen(MAX_NAMES)]
Rings = Annotated[tuple[Annotated[tuple[Name, ...], Len(3, MAX_NAMES)], ...], MaxLen(MAX_NAMES)]
Words = Iterable[Sequence[str]]


def named_points(
    outline: Outline, *, points_mm: Annotated[dict[Name, Place], MinLen(2), MaxLen(MAX_NAMES)],
    arcs: Rings = (), removed: Rings = (), cuts: Paths = (),
    seams: Annotated[tuple[tuple[Path, Path], ...], Len(1, MAX_NAMES)], open: Paths = (), flaps: Rings = (),
) -> Plan:  # fmt: skip
    """A plan by hand: points with names; paths are lists of names, straight between two unless an arc goes there.

    Skin lies left of the first edge of a seam and right of the second; both are travelled in the same sense. Where
    another cut leaves an edge on the skin's side, the seam ends and the next one starts.

    points_mm  name: [x, y], mm
    arcs       names of points on one circle, in order, less than half a turn from one to the next
    removed    corners of skin that is taken away, in order; the last joins the first by itself
    cuts       paths of incisions, each cut once, also where a flap is sewn back on one side only
    seams      pairs of paths, sewn to each other
    open       paths of edges that are left open, skin on the left
    flaps      corners of skin that is undermined, in order; the last joins the first by itself

    Raises BadValue for names that are no points, and for arcs that are none; ValueError if skin of the outline is left.
    """
    paths: dict[str, Any] = {"arcs": arcs, "removed": removed, "cuts": cuts, "open": open, "flaps": flaps}
    places: dict[tuple, tuple] = {(key, k): names for key, several in paths.items() for k, names in enumerate(several)}
    places |= {("seams", k, side): names for k, pair in enumerate(seams) for side, names in enumerate(pair)}
    refuse([*_misnamed(points_mm, places)] or [*_no_circles(points_mm, arcs)])
    plan = sewn(points_mm, seams=seams, **paths)
    left = boundary(outline).difference(removed_skin(plan, n=FINE)).area if outline.area else 0.0
    if left > MISSED * outline.area:
        raise ValueError(f"{left:.4g} mm2 of the outline are not inside the skin that the plan removes")
    return plan


def sewn(
    points: dict[str, Place], *, seams: Iterable[tuple[Sequence[str], Sequence[str]]], arcs: Words = (),
    removed: Words = (), cuts: Words = (), open: Words = (), flaps: Words = (), pedicle: Sequence[str] = (),
) -> Plan:  # fmt: skip
    """The Plan in terms of named points [x, y], mm; of one-letter names, a word is a path."""
    known = {run: curve for names in arcs for run, curve in _along_arc(points, tuple(names)).items()}

    def path(names):
        return chained(*_pieces(points, known, names))

    def around(names):
        way, back = (_pieces(points, known, [*order, order[0]]) for order in (names, names[::-1]))
        return tuple(way if ring(way, CHORDS).exterior.is_ccw else back)

    def area(names):
        return ring(around(names), CHORDS)

    moved = tuple(map(area, flaps))
    return Plan(
        removed=tuple(map(around, removed)), cuts=tuple(map(path, cuts)),
        seams=tuple((path(first), path(second)) for first, second in seams), open=tuple(map(path, open)),
        undermined=shapely.union_all(moved) if moved else None, flaps=moved, held=area(pedicle) if pedicle else None,
        points=points,
    )  # fmt: skip


def _pieces(points, known, names):
    """Curves along a path: lines, and the longest runs of names that are known as arcs."""
    names, pieces = tuple(names), []
    while len(names) > 1:
        n = next((n for n in range(len(names), 2, -1) if names[:n] in known), 2)
        pieces.append(known.get(names[:n]) or polyline(_places(points, names[:n])))
        names = names[n - 1 :]
    return pieces


def _places(points, names):
    """Where named points lie (2, n), mm."""
    return np.array([points[name] for name in names], float).T


def _along_arc(points, names):
    """The curve of each run of names along an arc through named points, in both senses."""
    centre, R, angle = _circle(_places(points, names))

    def run(start, end):
        return smooth(
            lambda t: centre[:, None] + R * np.array([np.cos(t), np.sin(t)]),
            lambda t: np.sign(end - start) * np.array([-np.sin(t), np.cos(t)]),
            lambda fraction: start + fraction * (end - start),
            float(R * abs(end - start)),
        )

    ends = permutations(range(len(names)), 2)
    return {names[i : j + 1] or names[j : i + 1][::-1]: run(angle[i], angle[j]) for i, j in ends}


def _circle(X):
    """Centre (2,), radius and angles (n,) of points X (2, n) on a circle: 2 (X_i - X_0).c = X_i^2 - X_0^2."""
    A, b = 2 * (X[:, 1:] - X[:, [0]]).T, (X[:, 1:] ** 2).sum(axis=0) - (X[:, 0] ** 2).sum()
    centre = np.linalg.lstsq(A, b, rcond=None)[0]
    x, y = X - centre[:, None]
    return centre, float(np.hypot(x, y).mean()), np.unwrap(np.arctan2(y, x))


def _no_circles(points, arcs):
    """Problems of arcs whose points do not lie along a circle."""
    for k, names in enumerate(arcs):
        X = _places(points, names)
        way = np.diff(X[:, :3], axis=1)
        if abs(np.linalg.det(way)) < ROUND * (way**2).sum():
            yield ("arcs", k), "its first three points lie on one line"
            continue
        centre, R, angle = _circle(X)
        off = np.abs(np.hypot(*(X - centre[:, None])) - R).max()
        if off > ROUND * R:
            yield ("arcs", k), f"its points lie up to {off:.3g} mm off one circle"
        elif len(set(np.sign(np.diff(angle)))) > 1 or abs(angle[-1] - angle[0]) >= 2 * np.pi:
            yield ("arcs", k), "its points are not in order, each less than half a turn from the next"


def _misnamed(points, paths):
    """Problems of points on each other, and of paths (by their places): no points, points that follow themselves."""
    names = list(points)
    for i, j in coinciding(list(points.values())):
        yield ("points_mm", names[j]), f"point {names[j]!r} lies on point {names[i]!r}"
    for at, path in paths.items():
        for i, name in enumerate(path):
            if name not in points:
                yield (*at, i), f"no point {name!r}; points: {', '.join(points)}"
            elif i and name == path[i - 1]:
                yield (*at, i), f"point {name!r} follows itself"
