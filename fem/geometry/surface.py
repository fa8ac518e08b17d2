"""The surface of the body: the plan, drawn flat, laid on it; what stands above it.

A map takes places X (2, n) of the plan to places (3, n) on the body, the plan's origin to the origin, where the body's
outward normal is z and the plan's axes are x and y. All are geodesic polar maps from there: every straight line through
the plan's origin keeps its length and lies straight on the skin, so a cylinder is mapped without any distortion.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated

import numpy as np
from annotated_types import Ge, Gt, Le
from scipy.spatial import cKDTree

from fem.errors import NotConverged
from fem.geometry.polygon import FileName

Map = Callable[[np.ndarray], np.ndarray]
# Convex positive, concave negative, mm; beyond the limit it is flat, to some nanometres.
Point = tuple[float, float, float]
Radius = Annotated[float, Ge(-1e7), Le(1e7)]
LEAST_RADIUS = 2.0  # mm; our choice, a finger tip has 6 and skin is up to 3 thick
GRID = 97  # samples across the patch; cubic splines between them err by less than 1e-6 of R in a patch as wide as 4 R
BEYOND = 1.05  # of the patch's radius, to which the samples reach
ACCURACY = 1e-11  # of geodesics, relative
STEPS, SAME = 50, 1e-9  # of Newton's method for the foot of a perpendicular, mm; it takes 3 to 5
MOST_DISTORTED = 0.5  # of lengths; our choice, a sphere's patch then reaches 1.9 radii, beyond the half of it
TRIED = 2e-3  # share of a radius to which the greatest is known; the splines of a smaller patch differ by less
OVERLAP = 0.5, 4.0  # of the samples' distance: nearer in space, though as far apart on the plan, the patch meets itself


@dataclass(frozen=True)
class Surface:
    """A surface on which a plan lies; h (n,) are heights above it, mm."""

    at: Callable[..., np.ndarray]  # X (2, n), and orders of derivatives in both -> (3, n) on the surface
    near: Map  # x (3, n) -> X (2, n) from which the foot of the perpendicular is found
    curved: bool = True

    def place(self, X: np.ndarray) -> np.ndarray:
        """Places (3, n) on the surface of places X (2, n) of the plan, mm."""
        return self.at(X)

    def tangents(self, X: np.ndarray) -> np.ndarray:
        """Derivatives (2, 3, n) of the map along the plan's axes."""
        return np.stack([self.at(X, 1), self.at(X, 0, 1)])

    def normal(self, X: np.ndarray) -> np.ndarray:
        """Outward unit normals (3, n) at places X (2, n) of the plan."""
        along, across = self.tangents(X)
        n = np.cross(along, across, axis=0)
        return n / np.linalg.norm(n, axis=0)

    def over(self, x: np.ndarray) -> np.ndarray:
        """Positions x (3, n) as (3, n): the place on the plan of the foot of the perpendicular, and the height.

        Newton's method for the X at which (x - x(X)) . x,i = 0.
        """
        X = self.near(x)
        for _ in range(STEPS):
            a, b = self.tangents(X)
            away = x - self.at(X)
            f, g = (a * away).sum(axis=0), (b * away).sum(axis=0)
            aa, ab, bb = (
                (one * other).sum(axis=0) - (away * self.at(X, *orders)).sum(axis=0)
                for one, other, orders in ((a, a, (2, 0)), (a, b, (1, 1)), (b, b, (0, 2)))
            )
            det = aa * bb - ab**2
            step = np.stack([bb * f - ab * g, aa * g - ab * f]) / det
            X = X + step
            if np.abs(step).max(initial=0.0) <= SAME:
                break
        else:
            raise NotConverged(
                "skin has no one foot on the body, as where it stands higher than a concave body is bent"
            )
        return np.vstack([X, (self.normal(X) * (x - self.at(X))).sum(axis=0)])

    def lifted(self, over: np.ndarray) -> np.ndarray:
        """Positions (3, n) of places on the plan and heights above them (3, n): the inverse of `over`."""
        return self.at(over[:2]) + over[2] * self.normal(over[:2])

    def stretches(self, X: np.ndarray) -> np.ndarray:
        """Lengths (2, n) on the skin per length on the plan at X (2, n), least and greatest of all directions."""
        a, b = self.tangents(X)
        half, det = ((a * a).sum(axis=0) + (b * b).sum(axis=0)) / 2, np.linalg.norm(np.cross(a, b, axis=0), axis=0)
        root = np.sqrt(np.maximum(half**2 - det**2, 0.0))
        greatest = np.sqrt(half + root)
        return np.stack([det / greatest, greatest])


def plane(X: np.ndarray, along: int = 0, across: int = 0) -> np.ndarray:
    """Places (3, n), or derivatives of an order, of a plan laid on a plane."""
    if along + across == 0:
        return np.vstack([X, np.zeros_like(X[0])])
    unit = np.array([along, across, 0.0]) * (along + across == 1)
    return np.tile(unit[:, None], X.shape[1])


FLAT = Surface(plane, lambda x: x[:2], curved=False)


def sampled(places: np.ndarray, reach: float) -> Surface:
    """Surface through places (3, m, m), of the plan's x, y = -reach ... reach mm, evenly spaced: bicubic splines."""
    from scipy.interpolate import RectBivariateSpline  # here, for checking a case on a flat patch needs none of it

    s = np.linspace(-reach, reach, places.shape[1])
    splines = [RectBivariateSpline(s, s, component) for component in places]
    tree, X = cKDTree(places.reshape(3, -1).T), np.stack(np.meshgrid(s, s, indexing="ij")).reshape(2, -1)

    def at(X: np.ndarray, along: int = 0, across: int = 0) -> np.ndarray:
        return np.stack([spline.ev(*X, dx=along, dy=across) for spline in splines])

    return Surface(at, lambda x: X[:, tree.query(x.T)[1]])


def laid(on: Map, radius: float) -> Surface:
    """The surface of a map, on a patch of a radius, mm. Raises TooWide as `check`."""
    if on is plane:
        return FLAT
    reach = BEYOND * radius
    s = np.linspace(-reach, reach, GRID)
    X = np.stack(np.meshgrid(s, s, indexing="ij")).reshape(2, -1)
    surface = sampled(on(X).reshape(3, GRID, GRID), reach)
    check(surface, radius)
    return surface


def within(radius: float, n: int = GRID) -> np.ndarray:
    """Places (2, m) evenly spaced in the disc of a radius, mm."""
    X = np.stack(np.meshgrid(*2 * [np.linspace(-radius, radius, n)])).reshape(2, -1)
    return X[:, np.hypot(*X) <= radius]


class TooWide(ValueError):
    """A body does not carry a patch, but a smaller one."""

    def __init__(self, why: str, most: float) -> None:
        super().__init__(f"{why}; wanted radius_mm {most:g} or less")
        self.most = most  # mm, greatest radius that it does carry


def check(surface: Surface, radius: float) -> None:
    """Raise TooWide if the plan, a disc of a radius, mm, is stretched or squeezed too far, or meets itself."""
    if (distorted := _distorted(surface, radius)) or _meets_itself(surface, radius):
        why = f"distorts lengths by more than {100 * MOST_DISTORTED:g} %" if distorted else "wraps onto itself"
        raise TooWide(f"a patch with radius_mm {radius:g} {why} there", _most(surface, radius))


def _distorted(surface, radius):
    """Whether any length in the disc of a radius, mm, is stretched or squeezed too far."""
    return (np.abs(surface.stretches(within(radius)) - 1) > MOST_DISTORTED).any()


def _meets_itself(surface, radius):
    """Whether places of the disc of a radius, mm, that are apart on the plan lie in one place."""
    X, apart = within(radius), 2 * radius / (GRID - 1)
    pairs = cKDTree(surface.place(X).T).query_pairs(OVERLAP[0] * apart, output_type="ndarray").T
    return (np.hypot(*(X[:, pairs[0]] - X[:, pairs[1]])) > OVERLAP[1] * apart).any()


def _most(surface, radius):
    """Greatest radius below one that is too wide, mm, that is not, three digits: by bisection."""
    low, high = 0.0, radius
    while high - low > TRIED * high:
        middle = (low + high) / 2
        wide = _distorted(surface, middle) or _meets_itself(surface, middle)
        low, high = (low, middle) if wide else (middle, high)
    digits = 2 - int(np.floor(np.log10(high)))
    return float(np.floor((1 - TRIED) * low * 10**digits) / 10**digits)


def distortion(surface: Surface, radius: float) -> float:
    """Greatest distortion of any length in the disc of a radius, mm: its share, 0 on a flat or a developable one."""
    return float(np.abs(surface.stretches(within(radius)) - 1).max()) if surface.curved else 0.0


def _curvature(radius, key):
    """1/mm. Raises ValueError if the radius is too small to carry skin."""
    if not abs(radius) >= LEAST_RADIUS:
        raise ValueError(
            f"{key} {radius:g}: wanted {LEAST_RADIUS:g} mm or more, or if concave -{LEAST_RADIUS:g} or less"
        )
    return 1 / radius


def _turned(on: Map, angle: float) -> Map:
    """The map whose x axis lies at an angle to the plan's, rad."""
    c, s = np.cos(angle), np.sin(angle)
    turn = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
    return lambda X: turn @ on(turn[:2, :2].T @ X)


def flat() -> Map:
    """No body below: skin in a plane."""
    return plane


def cylinder(*, radius_mm: Radius, axis_rad: float = 0.0) -> Map:
    """A limb: bent one way, without any distortion.

    radius_mm  radius, mm; negative: concave
    axis_deg   of its axis, degrees counter-clockwise from x
    """
    _curvature(radius_mm, "radius_mm")

    def on(X: np.ndarray) -> np.ndarray:
        angle = X[1] / radius_mm
        return np.stack([X[0], radius_mm * np.sin(angle), -2 * radius_mm * np.sin(angle / 2) ** 2])

    return _turned(on, axis_rad)


def sphere(*, radius_mm: Radius) -> Map:
    """A scalp: bent alike in all directions.

    radius_mm  radius, mm; negative: concave
    """
    _curvature(radius_mm, "radius_mm")

    def on(X: np.ndarray) -> np.ndarray:
        angle = np.hypot(*X) / radius_mm
        return np.vstack([X * np.sinc(angle / np.pi), -2 * radius_mm * np.sin(angle / 2) ** 2])

    return on


def ellipsoid(*, radius_along_mm: Radius, radius_across_mm: Radius, axis_rad: float = 0.0) -> Map:
    """Bent both ways to the same side, as a cheek or a breast; its third half axis is the root of both radii.

    radius_along_mm   principal radius along the axis at the plan's origin, mm; both negative: concave
    radius_across_mm  the same across, mm
    axis_deg          of the axis, degrees counter-clockwise from x
    """
    along, across = _curvature(radius_along_mm, "radius_along_mm"), _curvature(radius_across_mm, "radius_across_mm")
    if along * across < 0:
        raise ValueError("wanted two radii of the same sign; one of each makes a saddle")
    return _turned(_quadric(along, across, np.sign(along) * np.sqrt(along * across)), axis_rad)


def saddle(*, radius_along_mm: Radius, radius_across_mm: Radius, axis_rad: float = 0.0) -> Map:
    """Bent both ways to different sides, as the waist or the bridge of a nose: a hyperbolic paraboloid.

    radius_along_mm   principal radius along the axis at the plan's origin, mm; convex positive, concave negative
    radius_across_mm  the same across, of the other sign, mm
    axis_deg          of the axis, degrees counter-clockwise from x
    """
    along, across = _curvature(radius_along_mm, "radius_along_mm"), _curvature(radius_across_mm, "radius_across_mm")
    if along * across > 0:
        raise ValueError("wanted one positive and one negative radius; two of the same sign make an ellipsoid")
    return _turned(_quadric(along, across, 0.0), axis_rad)


def _quadric(along, across, upward):
    """Map of the quadric  x . A x + 2 z = 0,  A = diag of principal curvatures at the origin and a third, 1/mm.

    A geodesic turns along the normal g = A x + e_z alone, and stays:  x'' = -(x' . A x') g / |g|^2.
    """
    from scipy.integrate import solve_ivp  # here, as in `sampled`

    A = np.array([along, across, upward])[:, None]

    def on(X: np.ndarray) -> np.ndarray:
        def moved(_: float, state: np.ndarray) -> np.ndarray:
            x, v = state.reshape(2, 3, -1)
            g = A * x + [[0.0], [0.0], [1.0]]
            return np.stack([v, -(A * v * v).sum(axis=0) / (g * g).sum(axis=0) * g]).ravel()

        start = np.stack([np.zeros((3, X.shape[1])), np.vstack([X, 0 * X[0]])])
        scale = ACCURACY * np.abs(X).max(initial=1.0)
        end = solve_ivp(moved, (0.0, 1.0), start.ravel(), method="DOP853", rtol=ACCURACY, atol=scale, t_eval=[1.0])
        return end.y.reshape(2, 3, -1)[0]

    return on


def file(
    *, file: FileName | None = None, at_mm: Point | None = None, along: Point | None = None,
    places_mm: tuple[Point, ...] | None = None, reach_mm: Annotated[float, Gt(0)] | None = None,
    mapped_from: FileName | None = None,
) -> Map:  # fmt: skip
    """A body of triangles, their corners counter-clockwise seen from outside, as from a scanner.

    file         PLY, STL or OBJ file, in mm; read in place of places_mm
    at_mm        place [x, y, z] in the file that is the plan's origin, mm; the nearest on the surface is taken
    along        direction [x, y, z] in the file of the plan's x axis, along the skin
    places_mm    written by the program: places [x, y, z] on the body of an even grid of the plan, mm
    reach_mm     written by the program: half the side of that grid, mm
    mapped_from  written by the program: the file that places_mm came from
    """
    if file is not None and None in (at_mm, along):
        raise ValueError("needed beside file: at_mm and along")
    if places_mm is None or reach_mm is None:
        raise ValueError("needed: file, at_mm and along")
    n = round(len(places_mm) ** 0.5)
    if n < 4 or n * n != len(places_mm):
        raise ValueError(f"places_mm are {len(places_mm)}, wanted those of a square grid")
    return sampled(np.reshape(places_mm, (n, n, 3)).transpose(2, 0, 1), reach_mm).place


KINDS = flat, cylinder, sphere, ellipsoid, saddle, file
SURFACES = {kind.__name__: kind for kind in KINDS}
