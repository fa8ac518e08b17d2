"""The keys of a case, checked before any work; those of outlines, techniques and laws are made from functions."""

import inspect
import re
from collections.abc import Callable, Mapping, Sequence
from functools import reduce
from operator import or_
from pathlib import Path
from typing import Annotated, Any, Literal, Self, cast, get_type_hints

import numpy as np
import shapely
from annotated_types import Ge, Gt, Le, Len, Lt, MultipleOf
from pydantic import ConfigDict, Field, ValidationInfo, create_model, field_validator, model_validator

from fem.case import body_file, physical, tracing
from fem.case.document import NONE, Block
from fem.case.site import AS_SITE, LIBRARY, SITES, confined, springs
from fem.errors import refuse
from fem.geometry.curve import Length, Place
from fem.geometry.outlines import OUTLINES, boundary
from fem.geometry.polygon import traced_edges
from fem.geometry.surface import BEYOND, SURFACES
from fem.material.laws import LAWS, Positive
from fem.plan.plan import Bite, Distance, Spacing, undermined

# Natural stretch, our choices: skin tears below 2, and one that is pulled one way only narrows by its root.
SMALLEST_STRETCH, LARGEST_STRETCH = 0.4, 5.0
MAX_TERMS, MAX_TIMES = 2, 100  # of a relaxation; our choices: two figures settle no more terms
SCALP = 0.65, 270.0  # share and time constant, s, of human scalp: Lear 2019, README
PLACE_DECIMALS = 5  # of mm, of places on a body that are kept; our choice
INSIDE = 1e-6  # share of the outline's length: a lesion may touch the outline, which is drawn with chords
# Least mean knot-pull strength of synthetic absorbable sutures by size, N: USP <881>, from memory.
KNOT_PULL = {
    "8-0": 0.69, "7-0": 1.37, "6-0": 2.45, "5-0": 6.67, "4-0": 9.32, "3-0": 17.4, "2-0": 26.3, "0": 38.2, "1": 49.8,
    "2": 62.3,
}  # fmt: skip
NotNegative = Annotated[float, Ge(0)]
Number = Annotated[float, MultipleOf(1)]
Degrees = Annotated[float, Ge(-180), Le(180)]
Years = Annotated[float, Ge(0), Le(120)]
FOLDER = "name of the results folder: letters, digits, - _ . but no . in front, at most 80"
Name = Annotated[str, Field(pattern=r"^[A-Za-z0-9_-][A-Za-z0-9_.-]{0,79}$", description=FOLDER)]


def variants(functions: Mapping[str, Callable], tag: str, common: Mapping[str, Any] = NONE) -> Any:
    """The type of a block that names one of the functions under `tag` and gives its keyword arguments and common keys.

    An argument in MPa or rad is a key in kPa or degrees, see `physical.key_of`. Of the key are the range, which is the
    annotation, a positive number without one, and the description, which is the line of the docstring on it.
    """
    models = []
    for name, function in functions.items():
        keys: dict[str, Any] = {tag: (Literal[name], ...)} | _keys(function) | dict(common)
        words = (inspect.getdoc(function) or "").split("\n")[0]
        models.append(create_model(name, __base__=Block, __doc__=words, **keys))
    return Annotated[reduce(or_, models), Field(discriminator=tag)] if len(models) > 1 else models[0]


def _keys(function):
    """The keyword arguments of a function as keys of a case: type and field by name."""
    hints, spec = get_type_hints(function, include_extras=True), inspect.getfullargspec(function)
    keys = {}
    for name in spec.kwonlyargs:
        key, factor = physical.key_of(name)
        meaning = re.search(rf"^ *{key} {{2,}}(.+)$", inspect.getdoc(function) or "", re.MULTILINE)
        start = (spec.kwonlydefaults or {}).get(name, ...)
        start = round(start / factor, 9) if isinstance(start, float) else start  # without the round-off of degrees
        keys[key] = (hints.get(name, Positive), Field(start, description=meaning and meaning[1]))
    return keys


class Lesion(Block):
    """The round lesion that must come out, with a margin."""

    diameter_mm: Length = Field(description="diameter of the lesion, mm")
    margin_mm: Distance = Field(0.0, description="healthy skin to take around it, mm")
    at_mm: Place = Field(default=(0.0, 0.0), description="its middle [x, y], mm; the origin if left out")


class Wound(Block):
    """What is cut out."""

    outline: variants(OUTLINES, "kind") = Field(description="edge of the removed skin")  # type: ignore[valid-type]
    lesion: Lesion | None = Field(None, description="must lie inside the outline with its margin")

    @field_validator("outline")
    def possible(cls, outline: Any, info: ValidationInfo) -> Any:
        """The outline, the points of its file filled in; refused if it cannot be drawn."""
        if outline.kind == "traced" and outline.file is not None and outline.points_mm is None:
            points = tracing.points(outline.file, (info.context or {}).get("folders", ()), unit=outline.unit_mm)
            upper, lower = traced_edges(points, outline.ends_mm, outline.tolerance_mm)
            around, ends = np.hstack([lower[:, :-1], upper[:, :0:-1]]), lower[:, [0, -1]]
            known = {key: tuple(map(tuple, X.T.tolist())) for key, X in (("points_mm", around), ("ends_mm", ends))}
            outline = outline.model_copy(update={"file": None, "unit_mm": None, "traced_from": outline.file, **known})
        physical.outline(outline)
        return outline

    @field_validator("lesion")
    def inside(cls, lesion: Lesion | None, info: ValidationInfo) -> Lesion | None:
        if lesion is None or "outline" not in info.data:
            return lesion
        outline = physical.outline(info.data["outline"])
        if not outline.width:
            raise ValueError("a slit takes no skin, so no lesion is inside")
        excised, middle, (x, y) = boundary(outline), shapely.Point(lesion.at_mm), lesion.at_mm
        room = excised.exterior.distance(middle) if excised.contains(middle) else 0.0
        wanted = lesion.diameter_mm / 2 + lesion.margin_mm
        if wanted > room + INSIDE * outline.length:
            place = "the origin" if x == y == 0 else f"({x:g}, {y:g})"
            raise ValueError(f"lesion and margin reach {wanted:g} mm from {place}, the outline leaves {room:.4g} mm")
        return lesion


class Running(Block):
    """Edges joined all along by a running suture."""

    kind: Literal["running"] = Field("running", description="running: edges joined all along")


class Interrupted(Block):
    """Edges joined by sutures that are tied one by one."""

    kind: Literal["interrupted"]
    spacing_mm: Spacing = Field(5.0, description="between sutures, mm, about")
    bite_mm: Bite = Field(3.0, description="of edge that a suture holds, mm")
    order: Literal["halves", "along"] = Field("halves", description="of tying: the middle, then of halves; or in a row")
    numbers: tuple[Number, ...] | None = Field(None, description="instead: sutures as tied, 1 the first from the left")
    thread_size: Literal[tuple(KNOT_PULL)] | None = Field(  # type: ignore[valid-type]
        None, description="USP size of an absorbable thread; its knot-pull strength is held against the forces"
    )


Sutures = Annotated[Running | Interrupted, Field(discriminator="kind")]


class Taper(Block):
    """Buried sutures beyond each tip that draw both sides of the axis together, less and less outward."""

    length_mm: Length = Field(description="beyond the tip, to where skin is left as it is, mm")
    spacing_mm: Length = Field(4.0, description="between them, the first as far beyond the tip, mm")
    offset_mm: Length = Field(4.0, description="of their ends from the axis, mm")
    remaining_mm: NotNegative = Field(0.0, description="between the ends at the tip, mm; at most 2 offset_mm")
    bite_mm: Length = Field(3.0, description="width of the skin that an end holds, mm")

    @model_validator(mode="after")
    def possible(self) -> Self:
        problems: list[tuple] = []
        if self.remaining_mm > 2 * self.offset_mm:
            most = f"is more than twice offset_mm, {2 * self.offset_mm:g}"
            problems.append((("remaining_mm",), f"remaining_mm {self.remaining_mm:g} {most}"))
        if self.spacing_mm >= self.length_mm:
            none = f"leaves none within length_mm {self.length_mm:g}"
            problems.append((("spacing_mm",), f"spacing_mm {self.spacing_mm:g} {none}"))
        refuse(problems)
        return self


class Anchor(Block):
    """A suture at each end that holds the cone down to the bed."""

    beyond_mm: Distance = Field(2.0, description="beyond the tip, mm")
    bite_mm: Length = Field(3.0, description="width of the skin that it holds, mm")


class Tension(Block):
    """Natural tension of the uncut skin, as line tension or as stretch."""

    along_N_per_m: float = Field(0.0, description="line tension along the skin tension lines, N/m; below 0: squeezed")
    across_N_per_m: float = Field(0.0, description="line tension across them, N/m")
    along_stretch: Positive | None = Field(None, description="instead: length along the lines per that without load")
    across_stretch: Positive | None = Field(None, description="the same across the lines")
    lines_deg: Degrees = Field(
        0.0, description="of the lines, degrees counter-clockwise from the wound's long axis (x)"
    )

    @model_validator(mode="after")
    def one_way(self) -> Self:
        stretches = {"along_stretch", "across_stretch"} & self.model_fields_set
        if stretches and (self.along_stretch is None or self.across_stretch is None):
            raise ValueError("needed: along_stretch and across_stretch together")
        if stretches and {"along_N_per_m", "across_N_per_m"} & self.model_fields_set:
            raise ValueError("wanted line tensions or stretches, got both")
        return self


def _site_or_all(known):
    """Change a JSON Schema of the skin: with a site, no other key is needed."""
    known["anyOf"] = [{"required": ["site"]}, {"required": known.pop("required")}]


class Skin(Block):
    """The skin as a sheet; a site fills what is left out."""

    model_config = ConfigDict(json_schema_extra=_site_or_all)
    INSTEAD = dict.fromkeys(("thickness_mm", "law"), "; or a site, as forearm, which has both")
    site: Literal[tuple(SITES)] | None = Field(None, description="entry of `flatseam sites`")  # type: ignore[valid-type]
    age_years: Years | None = Field(None, description="changes the site's natural stretch, as far as age is known to")
    thickness_mm: Positive = Field(description="thickness of the skin in place, mm")
    law: variants(LAWS, "kind") = Field(description="law of elasticity")  # type: ignore[valid-type]
    tension: Tension = Field(Tension(), description="natural tension; none if absent")

    @field_validator("age_years")
    def of_a_site(cls, age: float | None, info: ValidationInfo) -> float | None:
        if age is not None and "site" in info.data and info.data["site"] is None:
            raise ValueError("needed: a site, whose natural stretch it changes")
        return age

    @field_validator("tension")
    def carried(cls, tension: Tension, info: ValidationInfo) -> Tension:
        """The tension in N/m; refused if no stretch of the law carries it, or none that skin may have."""
        if not {"thickness_mm", "law"} <= info.data.keys():
            return tension
        law, h = info.data["law"], info.data["thickness_mm"]
        given = tension.along_stretch, tension.across_stretch
        stretch = physical.prestretch(tension, law, h=h) if None in given else np.array(given)
        if not (SMALLEST_STRETCH <= stretch.min() and stretch.max() <= LARGEST_STRETCH):
            stretched = f"stretched {stretch[0]:.3g} times along and {stretch[1]:.3g} times across the lines"
            raise ValueError(f"this skin would be {stretched}, wanted {SMALLEST_STRETCH:g} to {LARGEST_STRETCH:g}")
        if None in given:
            return tension
        along, across = physical.pretension_N_per_m(physical.law(law), stretch, h=h)
        return Tension(along_N_per_m=along, across_N_per_m=across, lines_deg=tension.lines_deg)


class Bed(Block):
    """Springs below the skin, given or those of fat; where skin is undermined they only push."""

    fat_mm: Positive | None = Field(None, description="thickness of the fat that springs follow from, mm")
    fat_shear_kPa: Positive | None = Field(None, description="shear modulus of that fat, kPa")
    fat_poisson: Annotated[float, Ge(0), Lt(0.5)] = Field(
        LIBRARY.fat["fat_poisson"].typical, description="Poisson's ratio of that fat: how hard it is pressed together"
    )
    push_kPa_per_mm: NotNegative | None = Field(None, description="stiffness against pressing, kPa/mm")
    pull_kPa_per_mm: NotNegative | None = Field(None, description="stiffness against lifting, kPa/mm")
    shear_kPa_per_mm: NotNegative | None = Field(None, description="stiffness against sliding, kPa/mm")

    @model_validator(mode="after")
    def complete(self) -> Self:
        """The bed, stiffnesses that are left out those of its fat; without, only push is, from pull as in fat."""
        known = {"push_kPa_per_mm": self.push_kPa_per_mm, "pull_kPa_per_mm": self.pull_kPa_per_mm}
        known["shear_kPa_per_mm"] = self.shear_kPa_per_mm
        if self.fat_mm is not None and self.fat_shear_kPa is not None:
            of_fat = springs(fat_mm=self.fat_mm, fat_shear_kPa=self.fat_shear_kPa, fat_poisson=self.fat_poisson)
        elif self.pull_kPa_per_mm is not None and self.shear_kPa_per_mm is not None:
            of_fat = confined(self.fat_poisson) * self.pull_kPa_per_mm, 0.0, 0.0
        else:
            raise ValueError("needed: pull_kPa_per_mm and shear_kPa_per_mm, or fat_mm and fat_shear_kPa")
        left_out = {key: k for (key, given), k in zip(known.items(), of_fat, strict=True) if given is None}
        return self.model_copy(update=left_out)


class Prony(Block):
    """A share of every force that fades with time."""

    share: Annotated[float, Gt(0), Lt(1)] = Field(description="share of the force that fades")
    time_s: Positive = Field(description="time in which all but 1/e of it has faded, s")


class Relax(Block):
    """How forces fall with time while the wound is held closed."""

    terms: Annotated[tuple[Prony, ...], Len(1, MAX_TERMS)] = Field(
        (Prony(share=SCALP[0], time_s=SCALP[1]),), description="1 or 2 terms; by default human scalp's (Lear 2019)"
    )
    at_s: Annotated[tuple[NotNegative, ...], Len(1, MAX_TIMES)] = Field(
        (60.0, 300.0, 600.0, 1800.0), description="times after closure at which forces are reported, s"
    )

    @field_validator("terms")
    def fading(cls, terms: tuple[Prony, ...]) -> tuple[Prony, ...]:
        if (shares := sum(term.share for term in terms)) >= 1:
            raise ValueError(f"the shares sum to {shares:g}, wanted less than 1")
        return terms


def _or_the_word_site(known):
    """Change the JSON Schema of a surface: it may be a word."""
    known["anyOf"] = [*known.get("anyOf", []), {"const": AS_SITE}]


class Patch(Block):
    """The round piece of skin that is computed; its rim is held."""

    radius_mm: Positive = Field(  # reading a case fills it in
        cast(float, None),
        validate_default=False,
        description="radius about the origin, mm; by default as the wound asks",
    )
    surface: variants(SURFACES, "kind") | None = Field(  # type: ignore[valid-type]
        None,
        description="of the body, on which the plan is laid; flat if absent; the word site: as skin.site is typically",
        json_schema_extra=_or_the_word_site,
    )

    @field_validator("surface", mode="before")
    def of_a_site(cls, surface: Any) -> Any:
        """Refuse the word that a site with a body has replaced."""
        if surface == AS_SITE:
            known = ", ".join(name for name, site in SITES.items() if site.body)
            raise ValueError(f"needed for a surface like the site's: skin.site, one of {known}")
        return surface


def mapped(patch: Patch, folders: Sequence[Path]) -> Patch:
    """The patch, of whose body the file, if any, is read, from the first of the folders that has it. Raises BadCase."""
    body = patch.surface
    if body is None or body.kind != "file" or None in (body.file, body.at_mm, body.along):
        return patch
    reach = BEYOND * patch.radius_mm
    X = body_file.places(body.file, folders, at=body.at_mm, along=body.along, reach=reach)
    places = tuple(map(tuple, X.reshape(3, -1).T.round(PLACE_DECIMALS).tolist()))
    known = {"file": None, "mapped_from": body.file, "places_mm": places, "reach_mm": reach}
    return patch.model_copy(update={"surface": body.model_copy(update=known)})


class MeshSize(Block):
    """Sizes of triangles."""

    edge_mm: Positive | None = Field(None, description="along the wound's edge, mm; at least tip_mm")
    tip_mm: Positive | None = Field(None, description="at the tips, mm")
    far_mm: Positive | None = Field(None, description="at the rim, mm; at least edge_mm")


COMMON = _keys(undermined) | {  # keys of every technique
    "seam": (Literal["continuous", "hinge"], Field("continuous", description="hinge: the scar carries no moment")),
    "sutures": (Sutures, Field({"kind": "running"}, description="how the edges are held together")),
    "taper": (Taper | None, Field(None, description="sutures that draw skin together beyond the tips")),
    "anchor": (Anchor | None, Field(None, description="sutures that hold the cones down")),
}
