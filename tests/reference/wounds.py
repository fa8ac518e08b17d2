"""The wounds that `shell.py` closes: what is cut from which sheet, and its mesh. All inputs stand here."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from math import atan2, cos, radians, sin

import netgen.meshing
import netgen.occ as occ
import ngsolve as ng
import numpy as np
from ngsolve import IfPos, InnerProduct, Trace

PATCH = 60.0  # radius, mm
FREED = 15.0  # width of the ring around the wound that has no bed, mm
NORMAL, TANGENTIAL = 1e-3, 1e-4  # springs kn, ks beyond, N/mm3
SHEAR = 0.1 / 3  # mu of neo-Hooke, MPa
FAR = 6.0  # length of triangles at the rim, mm
GROWTH = 1.3  # from a length along paired edges to the next
ORDER = 3  # of positions and of the mesh's edges


def neo_hooke(C, *, mu):
    """Energy per volume, MPa, of an incompressible sheet in plane stress."""
    return mu / 2 * (Trace(C) + 1 / ng.Det(C) - 3)


def fibres(C, *, mu, k1, k2, kappa, angle):
    """The same with two families of dispersed fibres at +-angle to x, rad, that carry no compression."""
    I1 = Trace(C) + 1 / ng.Det(C)
    psi = mu / 2 * (I1 - 3)
    for m in (ng.CF((cos(angle), sin(angle))), ng.CF((cos(angle), -sin(angle)))):
        e = kappa * (I1 - 3) + (1 - 3 * kappa) * (InnerProduct(m, C * m) - 1)
        psi += IfPos(e, k1 / (2 * k2) * (ng.exp(k2 * e**2) - 1), 0)
    return psi


NEO_HOOKE = partial(neo_hooke, mu=SHEAR)


@dataclass(frozen=True)
class Problem:
    """A wound and its sheet; lengths in mm."""

    removed: Callable[[], occ.Face]  # what is cut out, about the origin, tips on the x axis
    length: float  # from tip to tip
    thickness: float = 2.0  # t
    psi: Callable = NEO_HOOKE
    stretch: tuple[float, float] = (1.0, 1.0)  # g
    limb: float | None = None  # radius R of the cylinder
    rise: float | None = None  # of the upper edge, an arc, if the lower one is straight; else both are alike


def between_arcs(length, above, below):
    """Skin between two circular arcs from tip to tip, or straight edges, with these heights in the middle."""
    left, right = (occ.Pnt(side * length / 2, 0, 0) for side in (-1, 1))
    edges = [occ.ArcOfCircle(left, occ.Pnt(0, y, 0), right) if y else occ.Segment(left, right) for y in (below, above)]
    return occ.Face(occ.Wire(edges))


def rhombus(length, width):
    """Four equal straight edges."""
    corners = [occ.Pnt(x, y, 0) for x, y in ((length / 2, 0), (0, width / 2), (-length / 2, 0), (0, -width / 2))]
    return occ.Face(occ.Wire([occ.Segment(*ends) for ends in zip(corners, corners[1:] + corners[:1], strict=True)]))


def ellipse(length, width):
    """An ellipse."""
    return occ.WorkPlane().Ellipse(length / 2, width / 2).Face()


LENS = partial(between_arcs, 60, 10, -10)
FIBRES = partial(fibres, mu=0.02, k1=0.03, k2=3.0, kappa=0.15, angle=radians(40))
PROBLEMS = {
    "lens": Problem(LENS, length=60),
    "circle": Problem(partial(between_arcs, 20, 10, -10), length=20),
    "rhombus": Problem(partial(rhombus, 60, 20), length=60),
    "ellipse": Problem(partial(ellipse, 40, 20), length=40),
    "unequal": Problem(partial(between_arcs, 50, 18, 0), length=50, rise=18),
    "taut": Problem(partial(between_arcs, 40, 10, -10), length=40, psi=FIBRES, stretch=(1.04, 1.015)),
    "limb": Problem(LENS, length=60, limb=100),
}


def mesh(problem, edge, tip):
    """Curved mesh of what is modelled; materials `free` and `held`, edges `seam`, `ahead`, `side` and `rim`."""
    wound, paired = problem.removed(), problem.rise is not None
    wound.edges.name = "seam"
    ring = occ.Face(wound.wires[0].Offset(wound, FREED, "arc", False).wires[0])
    disc = occ.WorkPlane().Circle(0, 0, PATCH).Face()
    disc.edges.name = "rim"
    part = occ.WorkPlane().MoveTo(0, -PATCH if paired else 0).Rectangle(PATCH, (1 + paired) * PATCH).Face()
    part.edges.name = "ahead"
    part.edges.Min(occ.X).name = "side"
    free = (ring - wound) * part
    held = disc * part - free - wound
    free.faces.name, held.faces.name = "free", "held"
    sheet = occ.Glue([free, held])
    for line in sheet.edges:
        if line.name == "seam":
            line.maxh = edge
            if paired:
                line.partition = partition(line, edge, tip)
    for point in sheet.vertices:
        if abs(point.p.x - problem.length / 2) + abs(point.p.y) < 1e-6:
            point.maxh = tip
    generated = occ.OCCGeometry(sheet, dim=2).GenerateMesh(maxh=FAR, grading=0.2)
    if paired:
        pair(generated, problem)
    return ng.Mesh(generated).Curve(ORDER)


def partition(line, edge, tip):
    """Fractions of an edge of the wound between its triangles, which grow from `tip` at the tip to `edge`."""
    sizes, left = [], 30.0  # mm, about half an edge; of both the same fractions
    while left > 0:
        sizes.append(min(edge, tip * GROWTH ** len(sizes)))
        left -= sizes[-1]
    at = np.cumsum(sizes)[:-1] / sum(sizes)
    return sorted(at if line.start.x > line.end.x else 1 - at)


def pair(generated, problem):
    """Name vertices of the lower edge after those of the upper one at the same share of its length."""
    seam = {
        p.nr for line in generated.Elements1D() if generated.GetBCName(line.index - 1) == "seam" for p in line.points
    }
    place = {nr: np.array(generated.Points()[nr].p[:2]) for nr in seam}
    lower = {nr: p[0] for nr, p in place.items() if abs(p[1]) < 1e-6}
    for nr in seam - set(lower):
        share = place[nr] + meeting(problem, *place[nr])
        partner = min(lower, key=lambda other: abs(lower[other] - share[0]))
        assert abs(lower[partner] - share[0]) < 1e-3
        generated.AddPointIdentification(nr, partner, 1, netgen.meshing.IdentificationType.PERIODIC)


def meeting(problem, x, y, *, arctan2=np.arctan2):
    """Way, on the plan, of a place on the upper edge to where it meets the lower one or its mirror image, the axis."""
    if problem.rise is None:
        return 0, -y
    half, rise = problem.length / 2, problem.rise
    below = (half**2 - rise**2) / (2 * rise)  # where the arc has its centre
    return half * arctan2(x, y + below) / atan2(half, below) - x, -y


def laid(radius, x, y, *, sin=np.sin, cos=np.cos):
    """Place of uncut skin on the limb, or none, over a place on the plan."""
    return (x, y, 0 * y) if radius is None else (x, radius * sin(y / radius), radius * (cos(y / radius) - 1))
