"""A case: one closure to compute, read from YAML and checked before any work.

The models of outlines, techniques and laws are made from the functions in their dictionaries.
"""

import hashlib
import inspect
import io
import json
import math
import re
from functools import partial, reduce
from operator import or_
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Any, Literal, get_type_hints

import numpy as np
import shapely
from annotated_types import Ge, Gt, Le, Lt, MultipleOf
from pydantic import BaseModel, ConfigDict, Field, ValidationInfo, create_model, field_validator, model_validator
from ruamel.yaml import YAML

from fem.case import document, tracing
from fem.case import site as library
from fem.geometry.curve import Length, Outline, Place
from fem.geometry.outlines import OUTLINES, boundary, facts
from fem.geometry.polygon import traced
from fem.material.skin import (
    BENDING_POISSON,
    LAWS,
    bending_stiffness,
    buckling_tension,
    left_after,
    natural_stretch,
    stiffness,
    tension,
    young_modulus,
)
from fem.plan import junctions
from fem.plan.plan import Distance, Plan, opened, removed_area, removed_skin, stitches, undermined
from fem.plan.techniques import TECHNIQUES
from fem.plan.trim import ENDS, extended, lengths

# Patch radius where none is given; our choices. Doubling the radius of the demo's circle and lens moves no measure
# by more than 1 %.
DECAYS = 3.0  # decay lengths of the bed's shear beyond the wound and its loosened zone
ALONE = 10.0  # reaches of the wound and its loosened zone, if no bed holds the skin before that
# Triangles where no size is given; our choices. Sizes of 0.7 times that move cone and force of the demo's 3:1 lens
# by less than 1 %.
SEGMENTS_ACROSS, SEGMENTS_ALONG, RINGS = 20, 80, 15  # edge_mm in the width or in the length, far_mm in the radius
TIP = 0.8  # tip_mm per edge_mm
# Natural stretch, our choices: skin tears below 2, and one that is pulled one way only narrows by its root.
SMALLEST_STRETCH, LARGEST_STRETCH = 0.4, 5.0
MAX_TERMS, MAX_TIMES = 2, 100  # of a relaxation; our choices: two figures settle no more terms
# Share and time constant (s) of human scalp at fixed displacement: Lear 2019 measured 44 % less force after 300 s, 65 %
# less after 1800 s, and names 270 s; the share then follows from the later figure, 0.65 / (1 - exp(-1800/270)).
SCALP = 0.65, 270.0
MIN_SEGMENTS = 4  # an edge; our choice, fewer do not show its curve
MAX_SEGMENTS = 2000  # an edge; our choice, ten times the finest that was of use
MAX_RINGS = 300  # patch radius per far_mm; our choice, some 300 000 vertices
MESHES = Path("meshes")  # of the folder that the program runs in: holds outlines that came from outside
INSIDE = 1e-6  # share of the outline's length: a lesion may touch the outline, which is drawn with chords

# Least mean knot-pull strength of synthetic absorbable sutures by size, N: USP <881>, from memory.
KNOT_PULL = {
    "8-0": 0.69, "7-0": 1.37, "6-0": 2.45, "5-0": 6.67, "4-0": 9.32, "3-0": 17.4, "2-0": 26.3, "0": 38.2, "1": 49.8,
    "2": 62.3,
}  # fmt: skip

STRICT = ConfigDict(frozen=True, strict=True, extra="forbid", allow_inf_nan=False, validate_default=True)
Positive = Annotated[float, Gt(0)]
NotNegative = Annotated[float, Ge(0)]


# The keys of a case ---------------------------------------------------------------------------------------


def variants(functions, tag, common=MappingProxyType({})):
    """The type of a block that names one of the functions under `tag` and gives its keyword arguments and common keys.

    An argument without annotation is a positive number; its description is its line in the docstring.
    """
    models = []
    for name, function in functions.items():
        keys: dict[str, Any] = {tag: (Literal[name], ...)} | _keys(function) | dict(common)
        words = (inspect.getdoc(function) or "").split("\n")[0]
        models.append(create_model(name, __config__=STRICT, __doc__=words, **keys))
    return Annotated[reduce(or_, models), Field(discriminator=tag)] if len(models) > 1 else models[0]


def _keys(function):
    """The keyword arguments of a function as keys of a case: type and field by name."""
    hints = get_type_hints(function, include_extras=True)
    words = inspect.getdoc(function) or ""
    keys = {}
    for key, parameter in inspect.signature(function).parameters.items():
        if parameter.kind is parameter.KEYWORD_ONLY:
            meaning = re.search(rf"^ *{key} {{2,}}(.+)$", words, re.MULTILINE)
            start = ... if parameter.default is parameter.empty else parameter.default
            keys[key] = (hints.get(key, Positive), Field(start, description=meaning and meaning[1]))
    return keys


class Lesion(BaseModel):
    """The round lesion that must come out, with a margin."""

    model_config = STRICT
    diameter_mm: Length = Field(description="diameter of the lesion, mm")
    margin_mm: Distance = Field(default=0.0, description="healthy skin to take around it, mm")
    at_mm: Place = Field(default=(0.0, 0.0), description="its middle [x, y], mm; the origin if left out")


class Wound(BaseModel):
    """What is cut out."""

    model_config = STRICT
    outline: variants(OUTLINES, "kind") = Field(description="edge of the removed skin")  # type: ignore[valid-type]
    lesion: Lesion | None = Field(default=None, description="must lie inside the outline with its margin")

    @field_validator("outline")
    @classmethod
    def without_file(cls, outline, info: ValidationInfo):
        """The outline, the points of its file filled in, so that the case no longer needs the file."""
        if outline.kind != "drawn" or outline.file is None or outline.points_mm is not None:
            return outline
        points = tracing.points(outline.file, (info.context or {}).get("folders", ()))
        upper, lower = traced(points, outline.ends_mm, outline.tolerance_mm)
        around = np.hstack([lower[:, :-1], upper[:, :0:-1]]).T.tolist()
        known = {"points_mm": _places(around), "ends_mm": _places(lower[:, [0, -1]].T.tolist())}
        return outline.model_copy(update={"file": None, "traced_from": outline.file, **known})

    @field_validator("outline")
    @classmethod
    def possible(cls, outline):
        """Refuse an outline that cannot be drawn."""
        drawn(outline)
        return outline

    @field_validator("lesion")
    @classmethod
    def inside(cls, lesion, info: ValidationInfo):
        """Refuse a lesion that reaches out of the outline with its margin."""
        if lesion is not None and "outline" in info.data:
            outline = drawn(info.data["outline"])
            if not outline.width:
                raise ValueError("a slit takes no skin, so no lesion is inside")
            excised = boundary(outline)
            middle, (x, y) = shapely.Point(lesion.at_mm), lesion.at_mm
            room = excised.exterior.distance(middle) if excised.contains(middle) else 0.0
            wanted = lesion.diameter_mm / 2 + lesion.margin_mm
            if wanted > room + INSIDE * outline.length:
                place = "the origin" if x == y == 0 else f"({x:g}, {y:g})"
                reach = f"lesion and margin reach {wanted:g} mm from {place}"
                raise ValueError(f"{reach}, the outline leaves {room:.4g} mm")
        return lesion


class Running(BaseModel):
    """Edges joined all along by a running suture."""

    model_config = STRICT
    kind: Literal["running"] = Field(default="running", description="running: edges joined all along")


class Interrupted(BaseModel):
    """Edges joined by sutures that are tied one by one."""

    model_config = STRICT
    kind: Literal["interrupted"]
    spacing_mm: Annotated[float, Ge(1), Le(100)] = Field(default=5.0, description="between sutures, mm, about")
    bite_mm: Annotated[float, Ge(0.5), Le(20)] = Field(
        default=3.0, description="length of edge that a suture holds, mm"
    )
    order: Literal["halves", "along"] = Field(
        default="halves",
        description="of tying; halves: the middle first, then the middle of each half; along: in a row",
    )
    numbers: tuple[Annotated[float, MultipleOf(1)], ...] | None = Field(
        default=None, description="instead: the sutures, 1 the first from the left, in the order in which they are tied"
    )
    thread_size: Literal[tuple(KNOT_PULL)] | None = Field(  # type: ignore[valid-type]
        default=None, description="USP size of an absorbable thread; its knot-pull strength is held against the forces"
    )


class Taper(BaseModel):
    """Buried sutures beyond each tip that draw both sides of the axis together, less and less outward."""

    model_config = STRICT
    length_mm: Length = Field(description="beyond the tip, to where skin is left as it is, mm")
    spacing_mm: Length = Field(default=4.0, description="between them, the first as far beyond the tip, mm")
    offset_mm: Length = Field(default=4.0, description="of their ends from the axis, mm")
    remaining_mm: NotNegative = Field(
        default=0.0, description="distance of the ends at the tip, mm; at most twice the offset"
    )
    bite_mm: Length = Field(default=3.0, description="width of the skin that an end holds, mm")

    @model_validator(mode="after")
    def possible(self):
        """Refuse sutures that would push, or of which there are none."""
        if self.remaining_mm > 2 * self.offset_mm:
            raise ValueError(f"remaining_mm {self.remaining_mm:g} is more than twice offset_mm, {2 * self.offset_mm:g}")
        if self.spacing_mm >= self.length_mm:
            raise ValueError(f"spacing_mm {self.spacing_mm:g} leaves none within length_mm {self.length_mm:g}")
        return self


class Anchor(BaseModel):
    """A suture at each end that holds the cone down to the bed."""

    model_config = STRICT
    beyond_mm: Distance = Field(default=2.0, description="beyond the tip, mm")
    bite_mm: Length = Field(default=3.0, description="width of the skin that it holds, mm")


class Tension(BaseModel):
    """Natural tension of the uncut skin, as line tension or as stretch."""

    model_config = STRICT
    along_N_per_m: float = Field(
        default=0.0, description="line tension along the skin tension lines, N/m; below 0: skin is squeezed"
    )
    across_N_per_m: float = Field(default=0.0, description="line tension across them, N/m")
    along_stretch: Positive | None = Field(
        default=None, description="instead: how many times longer skin in place is along the lines than without load"
    )
    across_stretch: Positive | None = Field(default=None, description="the same across the lines")
    lines_deg: Annotated[float, Ge(-180), Le(180)] = Field(
        default=0.0,
        description="direction of the lines, degrees counter-clockwise from the wound's long axis (x)",
    )

    @model_validator(mode="after")
    def one_way(self):
        """Refuse one stretch without the other, and stretches beside tensions."""
        stretches = {"along_stretch", "across_stretch"} & self.model_fields_set
        if stretches and (self.along_stretch is None or self.across_stretch is None):
            raise ValueError("needed: along_stretch and across_stretch together")
        if stretches and {"along_N_per_m", "across_N_per_m"} & self.model_fields_set:
            raise ValueError("wanted line tensions or stretches, got both")
        return self


def _site_or_all(known):
    """Change a JSON Schema of the skin: with a site, no other key is needed."""
    known["anyOf"] = [{"required": ["site"]}, {"required": known.pop("required")}]


class Skin(BaseModel):
    """The skin as a sheet; a site fills what is left out."""

    model_config = STRICT | ConfigDict(json_schema_extra=_site_or_all)
    site: Literal[tuple(library.SITES)] | None = Field(  # type: ignore[valid-type]
        default=None, description="entry of the site library, see `flatseam sites`"
    )
    thickness_mm: Positive = Field(description="thickness of the skin in place, mm")
    law: variants(LAWS, "kind") = Field(description="law of elasticity")  # type: ignore[valid-type]
    tension: Tension = Field(default=Tension(), description="natural tension; none if absent")

    @field_validator("tension")
    @classmethod
    def carried(cls, tension, info: ValidationInfo):
        """The tension in N/m; refused if no stretch of the law carries it, or none that skin may have."""
        if not {"thickness_mm", "law"} <= info.data.keys():
            return tension
        chosen, h = law(info.data["law"]), info.data["thickness_mm"]
        if tension.along_stretch is not None:
            stretch = np.array([tension.along_stretch, tension.across_stretch])
        else:
            stretch = natural(tension, chosen, h=h)
        if not (SMALLEST_STRETCH <= stretch.min() and stretch.max() <= LARGEST_STRETCH):
            raise ValueError(
                f"this skin would be stretched {stretch[0]:.3g} times along and {stretch[1]:.3g} times across the "
                f"lines, wanted {SMALLEST_STRETCH:g} to {LARGEST_STRETCH:g}"
            )
        return tension if tension.along_stretch is None else _as_tension(tension, chosen, h=h)


class Bed(BaseModel):
    """Springs below the skin that is not loosened; inside the loosened zone they only push.

    Given, or those of a layer of fat.
    """

    model_config = STRICT
    fat_mm: Positive | None = Field(default=None, description="thickness of the fat that springs follow from, mm")
    fat_shear_kPa: Positive | None = Field(default=None, description="shear modulus of that fat, kPa")
    normal_kPa_per_mm: NotNegative | None = Field(default=None, description="stiffness against lifting, kPa/mm")
    shear_kPa_per_mm: NotNegative | None = Field(default=None, description="stiffness against sliding, kPa/mm")

    @field_validator("normal_kPa_per_mm", "shear_kPa_per_mm")
    @classmethod
    def of_fat(cls, stiffness, info: ValidationInfo):
        """The stiffness, that of the fat if it is left out."""
        fat = {key: info.data.get(key) for key in ("fat_mm", "fat_shear_kPa")}
        if stiffness is not None or None in fat.values():
            return stiffness
        normal, shear = library.springs(**fat)
        return normal if info.field_name == "normal_kPa_per_mm" else shear

    @model_validator(mode="after")
    def complete(self):
        """Refuse a bed without both stiffnesses."""
        if self.normal_kPa_per_mm is None or self.shear_kPa_per_mm is None:
            raise ValueError("needed: normal_kPa_per_mm and shear_kPa_per_mm, or fat_mm and fat_shear_kPa")
        return self


class Prony(BaseModel):
    """A share of every force that fades with time."""

    model_config = STRICT
    share: Annotated[float, Gt(0), Lt(1)] = Field(description="share of the force that fades")
    time_s: Positive = Field(description="time in which all but 1/e of it has faded, s")


class Relax(BaseModel):
    """How forces fall with time while the wound is held closed."""

    model_config = STRICT
    terms: tuple[Prony, ...] = Field(
        default=(Prony(share=SCALP[0], time_s=SCALP[1]),),
        description="1 or 2 terms; by default that of human scalp (Lear 2019)",
        json_schema_extra={"minItems": 1, "maxItems": MAX_TERMS},
    )
    at_s: tuple[NotNegative, ...] = Field(
        default=(60.0, 300.0, 600.0, 1800.0),
        description="times after closure at which forces are reported, s",
        json_schema_extra={"minItems": 1, "maxItems": MAX_TIMES},
    )

    @field_validator("terms")
    @classmethod
    def fading(cls, terms):
        """Refuse no term, too many, or terms that leave no force."""
        if not 1 <= len(terms) <= MAX_TERMS:
            raise ValueError(f"got {len(terms)} terms, wanted 1 or {MAX_TERMS}")
        shares = sum(term.share for term in terms)
        if shares >= 1:
            raise ValueError(f"the shares sum to {shares:g}, wanted less than 1")
        return terms

    @field_validator("at_s")
    @classmethod
    def few(cls, times):
        """Refuse no time, or more than anyone reads."""
        if not 1 <= len(times) <= MAX_TIMES:
            raise ValueError(f"got {len(times)} times, wanted 1 to {MAX_TIMES}")
        return times


class Patch(BaseModel):
    """The round piece of skin that is computed; its rim is held."""

    model_config = STRICT
    radius_mm: Positive = Field(description="radius about the origin, mm")


class MeshSize(BaseModel):
    """Sizes of triangles."""

    model_config = STRICT
    edge_mm: Positive | None = Field(default=None, description="along the wound's edge, mm; at least tip_mm")
    tip_mm: Positive | None = Field(default=None, description="at the tips, mm")
    far_mm: Positive | None = Field(default=None, description="at the rim, mm; at least edge_mm")


COMMON = _keys(undermined) | {  # keys of every technique
    "seam": (
        Literal["continuous", "hinge"],
        Field(default="continuous", description="continuous: the scar carries moment; hinge: it does not"),
    ),
    "sutures": (
        Annotated[Running | Interrupted, Field(discriminator="kind")],
        Field(default={"kind": "running"}, description="how the edges are held together"),
    ),
    "taper": (Taper | None, Field(default=None, description="sutures that draw skin together beyond the tips")),
    "anchor": (Anchor | None, Field(default=None, description="sutures that hold the cones down")),
}
Closure = variants(TECHNIQUES, "technique", COMMON)


class Case(BaseModel):
    """A wound, its closure and the skin around it."""

    model_config = STRICT
    name: str = Field(
        pattern=r"^[A-Za-z0-9_-][A-Za-z0-9_.-]{0,79}$",
        description="name of the results folder: letters, digits, - _ . but no . in front, at most 80",
    )
    wound: Wound = Field(description="what is cut out")
    closure: Closure = Field(default={"technique": "side-to-side"}, description="how it is closed")  # type: ignore[valid-type]
    skin: Skin = Field(description="the skin as a sheet")
    bed: Bed | None = Field(default=None, description="what holds the skin from below; nothing if absent")
    relax: Relax | None = Field(default=None, description="how forces fall with time; not asked if absent")
    patch: Patch | None = Field(default=None, description="the skin that is computed; by default as the wound asks")
    mesh: MeshSize = Field(default=MeshSize(), description="sizes of triangles")
    from_site: tuple[str, ...] | None = Field(
        default=None, description="written by the program: keys whose values came from skin.site"
    )

    @model_validator(mode="before")
    @classmethod
    def of_site(cls, content):
        """The content, what it leaves out filled from its site."""
        return library.filled(content)

    @field_validator("closure", mode="before")
    @classmethod
    def plainest(cls, closure):
        """The closure, side to side if it names no technique."""
        return {"technique": "side-to-side", **closure} if isinstance(closure, dict) else closure

    @field_validator("closure")
    @classmethod
    def drawable(cls, closure, info: ValidationInfo):
        """Refuse a closure that cannot be drawn, cut or sewn, or sutures that cannot be tied in the order given."""
        if "wound" in info.data:
            drawing = _planned(closure, info.data["wound"])
            junctions.check(drawing)
            if not drawing.seams and (closure.sutures.kind == "interrupted" or closure.taper or closure.anchor):
                raise ValueError("nothing is sewn here: no place for interrupted sutures, taper or anchor")
            if closure.sutures.kind == "interrupted":
                _stitches(drawing, closure.sutures)
        return closure

    @field_validator("bed")
    @classmethod
    def below_an_island(cls, bed, info: ValidationInfo):
        """Refuse to do without a bed where the plan cuts out an island of skin, which only its bed holds."""
        if bed is None and {"wound", "closure"} <= info.data.keys():
            if _planned(info.data["closure"], info.data["wound"]).held is not None:
                raise ValueError("this closure cuts an island of skin, which floats away without a bed")
        return bed

    @field_validator("from_site")
    @classmethod
    def of_that_site(cls, keys, info: ValidationInfo):
        """Refuse keys that no site, or not this site, fills."""
        if keys is not None and "skin" in info.data:
            name = info.data["skin"].site
            known = library.offered(library.SITES[name]) if name else {}
            unknown = [key for key in keys if key not in known]
            if unknown or not name:
                raise ValueError(f"no key that {name or 'a case without skin.site'} fills: {', '.join(unknown)}")
        return keys

    @field_validator("patch")
    @classmethod
    def beyond_the_wound(cls, patch, info: ValidationInfo):
        """The patch, its default filled in; refused if the wound or its loosened zone reaches the rim."""
        if not {"wound", "closure", "skin", "bed"} <= info.data.keys():
            return patch
        drawing = _planned(info.data["closure"], info.data["wound"])
        touching = reach(drawing)
        if patch is None:
            return Patch(radius_mm=default_radius(touching, info.data["skin"], info.data["bed"]))
        if touching >= patch.radius_mm:
            zone = "outline" if drawing.loosened is None else "loosened zone"
            raise ValueError(
                f"the {zone} reaches {touching:.4g} mm from the origin, beyond radius_mm {patch.radius_mm:g}"
            )
        return patch

    @field_validator("mesh")
    @classmethod
    def of_use(cls, mesh, info: ValidationInfo):
        """The sizes, their defaults filled in; refused out of order, or out of proportion to the wound."""
        if {"wound", "closure"} <= info.data.keys() and info.data.get("patch"):  # no patch beside a bad skin
            outline, patch = drawn(info.data["wound"].outline), info.data["patch"]
            drawing = _planned(info.data["closure"], info.data["wound"])
            mesh = default_sizes(mesh, outline, drawing, patch.radius_mm)
            _refuse_sizes(mesh, drawing, patch.radius_mm)
        sizes = [size for size in (mesh.tip_mm, mesh.edge_mm, mesh.far_mm) if size is not None]
        if sizes != sorted(sizes):
            raise ValueError("wanted tip_mm <= edge_mm <= far_mm, got " + ", ".join(f"{size:g}" for size in sizes))
        return mesh


def _places(points):
    return tuple((float(x), float(y)) for x, y in points)


def _lengths(plan):
    """Lengths of all edges, sewn or open, mm."""
    return [edge.length for edges in (*plan.seams, plan.open) for edge in edges]


def _refuse_sizes(mesh, plan, radius):
    """Raise ValueError for triangles too large for the plan's edges or the free ring, or too many."""
    edges, touching = _lengths(plan), reach(plan)
    if min(edges) < MIN_SEGMENTS * mesh.edge_mm:
        raise ValueError(
            f"an edge of {min(edges):.4g} mm needs {MIN_SEGMENTS} segments: "
            f"edge_mm of {min(edges) / MIN_SEGMENTS:.3g} or less, got {mesh.edge_mm:g}"
        )
    if max(edges) > MAX_SEGMENTS * mesh.tip_mm:
        raise ValueError(
            f"an edge of {max(edges):.4g} mm takes at most {MAX_SEGMENTS} segments: "
            f"tip_mm of {max(edges) / MAX_SEGMENTS:.3g} or more, got {mesh.tip_mm:g}"
        )
    if radius > MAX_RINGS * mesh.far_mm:
        raise ValueError(
            f"a patch of radius {radius:.4g} mm needs far_mm of {radius / MAX_RINGS:.3g} or more, got {mesh.far_mm:g}"
        )
    if mesh.far_mm > radius - touching:
        raise ValueError(
            f"far_mm {mesh.far_mm:g} is more than the {radius - touching:.3g} mm from the outline "
            "or loosened zone to the rim"
        )


# What follows from a case ---------------------------------------------------------------------------------


def read(path) -> Case:
    """The case in a YAML file; files that it names lie in its own folder or in MESHES. Raises errors.BadCase."""
    return document.parse(document.read(path), Case, path, folders=(Path(path).parent, MESHES))


def drawn(chosen) -> Outline:
    """The outline that a case's `wound.outline` describes. Raises ValueError if it cannot be."""
    return OUTLINES[chosen.kind](**chosen.model_dump(exclude={"kind"}))


def plan(case) -> Plan:
    """The sewing plan of a case."""
    return _planned(case.closure, case.wound)


def excised(case) -> Outline:
    """The outline of what a case takes out: that of the wound, its ends cut further where the closure is trimmed."""
    outline = drawn(case.wound.outline)
    if case.closure.technique != "trimmed":
        return outline
    return extended(outline, **case.closure.model_dump(exclude={"technique", "surplus", "eased_mm", *COMMON}))


def cut_by(case, lengths):
    """The case with trimmed closure whose ends are cut by lengths (2,), mm; an end of 0 is left."""
    cut: dict[str, Any] = {"under_mm": None}
    for end, length in zip(ENDS, lengths, strict=True):
        cut |= {f"{end}_mm": float(length)} if length else {end: "none"}
    return case.model_copy(update={"closure": case.closure.model_copy(update=cut)})


def _planned(closure, wound):
    """The sewing plan of a case's `closure` and `wound`. Raises ValueError if it cannot be drawn."""
    keys = closure.model_dump(exclude={"technique", *COMMON})
    freed = closure.model_dump(include=set(_keys(undermined)))
    return undermined(TECHNIQUES[closure.technique](drawn(wound.outline), **keys), **freed)


def tying(case):
    """The interrupted sutures of a case, in order of tying, as in `fem.plan.plan.stitches`."""
    return _stitches(plan(case), case.closure.sutures)


def _stitches(drawing, sutures):
    return stitches(drawing, spacing=sutures.spacing_mm, order=sutures.numbers or sutures.order)


def reach(plan):
    """Greatest distance of the wound or its loosened zone from the origin, mm."""
    zone = shapely.union(opened(plan), shapely.Polygon() if plan.loosened is None else plan.loosened)
    return float(np.hypot(*shapely.get_coordinates(zone).T).max())


def law(chosen):
    """The law that a case's `skin.law` describes: C (3, ...) -> psi, dpsi/dC, d2psi/dC2."""
    return partial(LAWS[chosen.kind], **chosen.model_dump(exclude={"kind"}))


def natural(tension, law, *, h):
    """Natural stretch (2,) along and across the lines under a case's `skin.tension`. Raises ValueError if none is."""
    return natural_stretch(law, 1e-3 * np.array([tension.along_N_per_m, tension.across_N_per_m]), h=h)


def _as_tension(stretched, law, *, h):
    """The Tension in N/m of one that is given as stretches."""
    along, across = 1e3 * tension(law, [stretched.along_stretch, stretched.across_stretch], h=h)
    return Tension(along_N_per_m=float(along), across_N_per_m=float(across), lines_deg=stretched.lines_deg)


def left(case):
    """Share of every force that is left, by seconds after closure; None if the case does not ask."""
    if case.relax is None:
        return None
    shares, times = zip(*((term.share, term.time_s) for term in case.relax.terms), strict=True)
    found = left_after(case.relax.at_s, shares=shares, times=times)
    return dict(zip(case.relax.at_s, map(float, found), strict=True))


def default_radius(zone, skin, bed):
    """Radius of the patch where the case gives none, mm.

    The wound and its loosened zone reach `zone` mm. Beyond, shear springs k_s below the skin let in-plane
    displacements decay over sqrt(E h / k_s), with E h the resistance of the skin under its natural tension to more
    stretch, in the stiffer direction; without springs they fall with the square of the distance.
    """
    held = 0.0 if bed is None else bed.shear_kPa_per_mm
    chosen, h = law(skin.law), skin.thickness_mm
    compliance = np.linalg.inv(stiffness(chosen, natural(skin.tension, chosen, h=h), h=h))  # mm/N
    decay = math.sqrt(1e3 / compliance.diagonal().min() / held) if held else math.inf
    return float(f"{min(zone + DECAYS * decay, ALONE * zone):.4g}")


def default_sizes(mesh, outline, plan, radius):
    """The sizes of triangles, those that the case leaves open filled in, mm; a slit's length counts as its width."""
    wanted = max((outline.width or outline.length) / SEGMENTS_ACROSS, outline.length / SEGMENTS_ALONG)
    shortest = min(_lengths(plan))
    edge = mesh.edge_mm or min(wanted, shortest / MIN_SEGMENTS)
    return MeshSize(edge_mm=edge, tip_mm=mesh.tip_mm or TIP * edge, far_mm=mesh.far_mm or max(edge, radius / RINGS))


def geometry(case):
    """What is known of a case before any mesh, by the names of the measures."""
    known = facts(excised(case))
    lesion, drawing = case.wound.lesion, plan(case)
    known["removed_area_mm2"] = removed_area(drawing)
    if lesion is not None:
        known["healthy_removed_mm2"] = known["removed_area_mm2"] - math.pi / 4 * lesion.diameter_mm**2
    zone = shapely.Polygon() if drawing.loosened is None else drawing.loosened
    known["loosened_area_mm2"] = zone.difference(removed_skin(drawing)).area
    known["natural_tension_N_per_m"] = [case.skin.tension.along_N_per_m, case.skin.tension.across_N_per_m]
    stretch = natural(case.skin.tension, law(case.skin.law), h=case.skin.thickness_mm)
    known["natural_stretch"] = stretch.tolist()
    known["patch_radius_mm"] = case.patch.radius_mm
    return known


def report(case) -> str:
    """The geometry of a case, how its edges match and where cones are to be expected, as lines of text."""
    rows = [f"{case.name}: {case.wound.outline.kind}, {case.closure.technique}"]
    for name, value in geometry(case).items():
        words, unit = _without_unit(name)
        values = ", ".join(
            f"{v:.2f}" if unit else f"{v:.3f}" for v in (value if isinstance(value, list) else [value]) if v is not None
        )
        rows.append(f"  {words.replace('_', ' '):<18}{values or 'none'} {unit if values else ''}".rstrip())
    if case.closure.technique == "trimmed":
        cut = ", ".join(f"{length:.2f}" for length in lengths(drawn(case.wound.outline), case.closure.model_dump()))
        rows.append(f"  {'cut beyond tips':<18}{cut} mm" + (" at most" if case.closure.under_mm else ""))
    if case.relax is not None:
        shares = ", ".join(f"{100 * share:.0f} % after {t:g} s" for t, share in left(case).items())
        rows.append(f"  {'force left':<18}{shares}")
    return "\n".join([*rows, *_forecast(plan(case))])


def _forecast(drawing):
    """How the edges of each seam match, and the angle deficits where points meet, as lines of text."""
    rows = ["  seams             first edge, second edge, ratio"]
    for k, (seam, ratio) in enumerate(zip(drawing.seams, junctions.ratios(drawing), strict=True), start=1):
        rows.append(f"    {k:<16}{seam[0].length:.2f} mm, {seam[1].length:.2f} mm, {ratio:.3f}")
    rows.append(
        "  points that meet  angle deficit, degrees; above 0 a cone may stand, below 0 the skin dips or saddles"
    )
    met, along = junctions.meetings(drawing), junctions.spread(drawing)
    for k, meeting in enumerate(met, start=1):
        places = " = ".join(f"({x + 0.0:.1f}, {y + 0.0:.1f})" for x, y in meeting.places.T.round(1))
        ending = "" if meeting.closed else ", the end of an open edge"
        rows.append(f"    {k:<16}{_signed(meeting.deficit)}  at {places}{ending}")
    for k, deficit in enumerate(along, start=1):
        if abs(deficit) > junctions.SUM:
            rows.append(f"    {'':<16}{_signed(deficit)}  spread along seam {k}")
    total = sum(m.deficit for m in met) + along.sum()
    return [*rows, f"    {'sum':<16}{_signed(total)}"]


def _signed(angle):
    """An angle in degrees with its sign; 0 without one."""
    return f"{round(math.degrees(angle), 1) + 0.0:>+7.1f}".replace("+0.0", " 0.0")


def _without_unit(name):
    """The words of a measure's name, and its unit as it is written."""
    known = {"_mm": "mm", "_mm2": "mm2", "_deg": "deg", "_N_per_m": "N/m"}
    ending = next((ending for ending in known if name.endswith(ending)), "")
    return name.removesuffix(ending), known.get(ending, "")


def warnings(case) -> list[str]:
    """What is unusual about a case: values outside the ranges of its site, or of any skin; skin that may buckle."""
    return [*library.warnings(case.model_dump()), *_buckling(case)]


def _buckling(case):
    """One warning if skin is squeezed by its natural tension so much that it may not lie flat even uncut."""
    squeezed = -min(case.skin.tension.along_N_per_m, case.skin.tension.across_N_per_m)
    h, modulus = case.skin.thickness_mm, young_modulus(law(case.skin.law))
    flat = 1e3 * buckling_tension(
        D=bending_stiffness(modulus, h=h, poisson=BENDING_POISSON),
        poisson=BENDING_POISSON,
        lift=0.0 if case.bed is None else 1e-3 * case.bed.normal_kPa_per_mm,
        radius=case.patch.radius_mm,
    )
    if squeezed <= flat:
        return []
    return [
        f"skin.tension squeezes the skin by {squeezed:.3g} N/m; even uncut it buckles at about {flat:.3g} N/m, "
        "so cones and dips may be its own"
    ]


def overloaded(case, forces) -> list[str]:
    """A line if one of the forces (n,), N, on sutures between edges is more than the stated thread's knot holds."""
    size = getattr(case.closure.sutures, "thread_size", None)
    if size is None or max(forces) <= KNOT_PULL[size]:
        return []
    return [
        f"a suture carries {max(forces):.2f} N; the knot-pull strength of absorbable {size} is {KNOT_PULL[size]:g} N "
        "(USP <881>, from memory)"
    ]


def schema() -> dict:
    """The JSON Schema of a case file, for editors."""
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **Case.model_json_schema()}


def text(case) -> str:
    """The case as YAML, all defaults filled in; reading it gives an equal case."""
    yaml = YAML(typ="safe", pure=True)
    yaml.default_flow_style = None  # type: ignore[assignment]  # innermost values on one line
    yaml.sort_base_mapping_type_on_output = False  # type: ignore[assignment]
    stream = io.StringIO()
    yaml.dump(case.model_dump(mode="json", exclude_none=True), stream)
    return stream.getvalue()


def key(case) -> str:
    """SHA-256 of everything in a resolved case, its name included."""
    return hashlib.sha256(case.model_dump_json().encode()).hexdigest()


def inputs(case) -> dict[str, float | str | bool]:
    """All values of a resolved case by dotted path; its name and where values came from are none, lists are JSON."""
    flat: dict = {}

    def add(path, value):
        if isinstance(value, dict):
            for key, member in value.items():
                add(f"{path}.{key}" if path else key, member)
        else:
            flat[path] = json.dumps(value) if isinstance(value, list) else value

    add("", case.model_dump(mode="json", exclude_none=True, exclude={"name", "from_site"}))
    return flat
