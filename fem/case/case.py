"""A case: one closure to compute, read from YAML and checked before any work; what is known of it before any mesh."""

import hashlib
import io
import json
import math
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, ClassVar, cast

import numpy as np
from pydantic import Field, ValidationInfo, field_validator, model_validator
from ruamel.yaml import YAML

from fem.case import document, dotted, physical, plausible
from fem.case import site as library
from fem.case.document import Block
from fem.case.keys import COMMON, KNOT_PULL, Bed, MeshSize, Name, Patch, Relax, Skin, Wound, mapped, variants
from fem.geometry.curve import MIN_SEGMENTS, Outline
from fem.geometry.outlines import facts
from fem.geometry.surface import TooWide
from fem.material.skin import N_PER_M, bending_stiffness, buckling_tension, resistance, wave_length
from fem.plan import junctions
from fem.plan.plan import Plan, reach, removed_area, removed_skin
from fem.plan.techniques import TECHNIQUES

MESHES = Path("meshes")  # of the folder that the program runs in: holds outlines that came from outside
# Patch radius where none is given, and sizes of triangles; our choices, tried in README.
DECAYS = 3.0  # decay lengths of the bed's shear beyond the wound and its undermined zone
LEAST_DECAYS = 1.5  # the same where the body carries no wider patch; a fifth of what moves the skin is left there
ALONE = 10.0  # reaches of the wound and its undermined zone, if no bed holds the skin before that
SEGMENTS_ACROSS, SEGMENTS_ALONG, RINGS = 10, 40, 5  # edge_mm in the width or in the length, far_mm in the radius
TIP = 0.15  # tip_mm per edge_mm
PER_WAVE = 5  # edge_mm, at least, in a wave of skin on fat that is not undermined: it folds within 10 % of theory
SHORTEST_WAVE = 4  # thicknesses; our choice: no sheet folds in shorter ones
MAX_SEGMENTS = 2000  # an edge; our choice, ten times the finest that was of use
MAX_RINGS = 300  # patch radius per far_mm; our choice, some 300 000 vertices


class Case(Block):
    """A wound, its closure and the skin around it."""

    INSTEAD: ClassVar[Mapping[str, str]] = {"skin": "; a site has all of a skin, as skin: {site: forearm}"}
    name: Name
    wound: Wound = Field(description="what is cut out")
    closure: variants(TECHNIQUES, "technique", COMMON) = Field(  # type: ignore[valid-type]
        {"technique": "side-to-side"}, description="how it is closed"
    )
    skin: Skin = Field(description="the skin as a sheet")
    bed: Bed | None = Field(None, description="what holds the skin from below; nothing if absent")
    relax: Relax | None = Field(None, description="how forces fall with time; not asked if absent")
    patch: Patch | None = Field(None, description="the skin that is computed; by default as the wound asks")
    mesh: MeshSize = Field(MeshSize(), description="sizes of triangles")
    from_site: tuple[str, ...] | None = Field(None, description="written by the program: keys filled from skin.site")

    @model_validator(mode="before")
    def completed(cls, content: Any) -> Any:
        """The content, what it leaves out filled from its site; closed side to side if it names no technique."""
        if isinstance(closure := dotted.get(content, "closure"), dict):
            content = content | {"closure": {"technique": "side-to-side", **closure}}
        return library.filled(content)

    @field_validator("closure")
    def drawable(cls, closure: Any, info: ValidationInfo) -> Any:
        """Refuse a closure that cannot be drawn, cut or sewn, or sutures that cannot be tied in the order given."""
        if "wound" in info.data:
            plan = physical.plan_of(closure, info.data["wound"])
            junctions.check(plan)
            if not plan.seams and (closure.sutures.kind == "interrupted" or closure.taper or closure.anchor):
                raise ValueError("nothing is sewn here: no place for interrupted sutures, taper or anchor")
            if closure.sutures.kind == "interrupted":
                physical.tying(plan, closure.sutures)
        return closure

    @field_validator("bed")
    def below_an_island(cls, bed: Bed | None, info: ValidationInfo) -> Bed | None:
        plan = _plan(info)
        if bed is None and plan is not None and plan.held is not None:
            raise ValueError("this closure cuts an island of skin, which floats away without a bed")
        return bed

    @field_validator("from_site")
    def of_that_site(cls, keys: tuple[str, ...] | None, info: ValidationInfo) -> tuple[str, ...] | None:
        if keys is not None and "skin" in info.data:
            name = info.data["skin"].site
            known = library.fillable(library.SITES[name]) if name else set()
            if unknown := [key for key in keys if key not in known]:
                raise ValueError(f"no key that {name or 'a case without skin.site'} fills: {', '.join(unknown)}")
        return keys

    @field_validator("patch")
    def beyond_the_wound(cls, patch: Patch | None, info: ValidationInfo) -> Patch | None:
        """The patch, its default filled in; refused if the wound or its undermined zone reaches the rim."""
        plan = _plan(info)
        if plan is None or not {"skin", "bed"} <= info.data.keys():
            return patch
        touching, zone = reach(plan), "outline" if plan.undermined is None else "undermined zone"
        patch = patch or Patch()
        if patch.radius_mm is None:
            patch = _wide(patch, touching, info.data["skin"], info.data["bed"])
        if touching >= patch.radius_mm:
            raise ValueError(
                f"the {zone} reaches {touching:.4g} mm from the origin, beyond radius_mm {patch.radius_mm:g}"
            )
        patch = mapped(patch, (info.context or {}).get("folders", ()))
        _below(patch, info.data["skin"], info.data["bed"])
        return patch

    @field_validator("mesh")
    def of_use(cls, mesh: MeshSize, info: ValidationInfo) -> MeshSize:
        """The sizes, their defaults filled in; refused out of order, or out of proportion to the wound."""
        plan, patch = _plan(info), info.data.get("patch")
        if plan is not None and patch is not None:  # none beside a bad skin
            known = {"skin", "bed"} <= info.data.keys()
            wave = _wave(info.data["skin"], info.data["bed"], plan) if known else math.inf
            mesh = _sizes(mesh, physical.outline(info.data["wound"].outline), plan, patch.radius_mm, wave)
        sizes = [size for size in (mesh.tip_mm, mesh.edge_mm, mesh.far_mm) if size is not None]
        if sizes != sorted(sizes):
            raise ValueError("wanted tip_mm <= edge_mm <= far_mm, got " + ", ".join(f"{size:g}" for size in sizes))
        return mesh


def _plan(info):
    """The plan of a case, once its wound and closure are good."""
    wound, closure = info.data.get("wound"), info.data.get("closure")
    return physical.plan_of(closure, wound) if wound and closure else None


def _below(patch: Patch, skin: Skin, bed: Bed | None) -> None:
    """Raise ValueError if the body's surface cannot carry the patch, or nothing below bears what its skin presses."""
    pressed = skin.tension.along_N_per_m or skin.tension.across_N_per_m
    if physical.surface(patch).curved and pressed and not all(physical.springs(bed)[:2]):
        raise ValueError(
            "taut skin on a curved body presses on what lies below, or pulls where it is concave: needed is a bed with "
            "push_kPa_per_mm and pull_kPa_per_mm above 0, or skin without tension"
        )


def _wide(patch: Patch, zone: float, skin: Skin, bed: Bed | None) -> Patch:
    """A patch with its default radius, or with the greatest that the body carries, if it has LEAST_DECAYS."""
    wanted = patch.model_copy(update={"radius_mm": _radius(zone, skin, bed)})
    if wanted.surface is None or wanted.surface.kind == "file":
        return wanted
    try:
        physical.surface(wanted)
    except TooWide as error:
        if error.most >= zone + LEAST_DECAYS * _decay(skin, bed):
            return wanted.model_copy(update={"radius_mm": error.most})
    return wanted


def _radius(zone: float, skin: Skin, bed: Bed | None) -> float:
    """Radius of the patch where the case gives none, mm; the wound and its undermined zone reach `zone` mm: README."""
    return float(f"{min(zone + DECAYS * _decay(skin, bed), ALONE * zone):.4g}")


def _decay(skin: Skin, bed: Bed | None) -> float:
    """Length, mm, over which the bed's shear takes up what moves the skin."""
    law, h, (*_, shear) = physical.law(skin.law), skin.thickness_mm, physical.springs(bed)
    stiffest = resistance(law, physical.prestretch(skin.tension, skin.law, h=h), h=h).max()
    return math.sqrt(stiffest / shear) if shear else math.inf


def _bending(skin: Skin) -> float:
    """Bending stiffness of the skin in place, N mm, in the direction in which it is less."""
    stretch = physical.prestretch(skin.tension, skin.law, h=skin.thickness_mm)
    return float(np.diagonal(bending_stiffness(physical.law(skin.law), stretch, h=skin.thickness_mm))[:2].min())


def _wave(skin: Skin, bed: Bed | None, plan: Plan) -> float:
    """Length of the waves, mm, in which skin may fold at the wound; infinite if it does not, as where undermined."""
    _, lift, _ = physical.springs(bed)
    wave = wave_length(D=_bending(skin), lift=lift)
    return wave if plan.undermined is None and wave > SHORTEST_WAVE * skin.thickness_mm else math.inf


def usual_mesh(case: Case) -> MeshSize | None:
    """The sizes of triangles that a case has by default; None if there are none for its patch."""
    plan, patch = physical.plan(case), cast(Patch, case.patch)
    try:
        return _sizes(
            MeshSize(), physical.outline(case.wound.outline), plan, patch.radius_mm, _wave(case.skin, case.bed, plan)
        )
    except ValueError:
        return None


def _sizes(mesh: MeshSize, outline: Outline, plan: Plan, radius: float, wave: float) -> MeshSize:
    """The sizes of triangles, those left open filled in, a slit's by its length; ValueError if too large or small."""
    lengths = [edge.length for edges in (*plan.seams, plan.open) for edge in edges]  # of all edges, sewn or open
    longest, room = max(lengths), radius - reach(plan)
    wanted = max((outline.width or outline.length) / SEGMENTS_ACROSS, outline.length / SEGMENTS_ALONG)
    edge = mesh.edge_mm or max(mesh.tip_mm or 0.0, min(wanted, longest / MIN_SEGMENTS, wave / PER_WAVE))
    tip, far = mesh.tip_mm or TIP * edge, mesh.far_mm or max(edge, radius / RINGS)
    if longest < MIN_SEGMENTS * edge:
        limit = f"edge_mm of {longest / MIN_SEGMENTS:.3g} or less"
        raise ValueError(f"an edge of {longest:.4g} mm needs {MIN_SEGMENTS} segments: {limit}, got {edge:g}")
    if longest > MAX_SEGMENTS * tip:
        limit = f"tip_mm of {longest / MAX_SEGMENTS:.3g} or more"
        raise ValueError(f"an edge of {longest:.4g} mm takes at most {MAX_SEGMENTS} segments: {limit}, got {tip:g}")
    if radius > MAX_RINGS * far:
        limit = f"far_mm of {radius / MAX_RINGS:.3g} or more"
        raise ValueError(f"a patch of radius {radius:.4g} mm needs {limit}, got {far:g}")
    if far > room:
        raise ValueError(
            f"far_mm {far:g} is more than the {room:.3g} mm from the outline or undermined zone to the rim"
        )
    return MeshSize(edge_mm=edge, tip_mm=tip, far_mm=far)


def read(path: str | Path) -> Case:
    """The case in a YAML file; files that it names lie in its own folder or in MESHES. Raises errors.BadCase."""
    return document.parse(document.read(path), Case, path, folders=(Path(path).parent, MESHES))


def schema() -> dict:
    """The JSON Schema of a case file, for editors."""
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **Case.model_json_schema()}


def text(case: Case) -> str:
    """The case as YAML, all defaults filled in; reading it gives an equal case."""
    yaml, stream = YAML(typ="safe", pure=True), io.StringIO()
    yaml.default_flow_style = None  # type: ignore[assignment]  # innermost values on one line
    yaml.sort_base_mapping_type_on_output = False  # type: ignore[assignment]
    yaml.dump(case.model_dump(mode="json", exclude_none=True), stream)
    return stream.getvalue()


def key(case: Case) -> str:
    """SHA-256 of everything in a resolved case, its name included."""
    return hashlib.sha256(case.model_dump_json().encode()).hexdigest()


def inputs(case: Case) -> dict[str, float | str | bool]:
    """All values of a resolved case by dotted path; its name and where values came from are none, lists are JSON."""
    values = dotted.flat(case.model_dump(mode="json", exclude_none=True, exclude={"name", "from_site"}))
    return {key: json.dumps(value) if isinstance(value, list) else value for key, value in values.items()}


def geometry(case: Case) -> dict[str, Any]:
    """What is known of a case before any mesh, by the names of the measures where they are measures too."""
    known, plan = facts(physical.excised(case)), physical.plan(case)
    skin, lesion, zone = case.skin, case.wound.lesion, plan.undermined
    known["removed_area_mm2"] = removed_area(plan)
    if lesion is not None:
        known["healthy_removed_mm2"] = known["removed_area_mm2"] - math.pi / 4 * lesion.diameter_mm**2
    known["undermined_area_mm2"] = 0.0 if zone is None else zone.difference(removed_skin(plan)).area
    known["pretension_N_per_m"] = [skin.tension.along_N_per_m, skin.tension.across_N_per_m]
    known["prestretch"] = physical.prestretch(skin.tension, skin.law, h=skin.thickness_mm).tolist()
    known["patch_radius_mm"] = case.patch and case.patch.radius_mm
    return known


def warnings(case: Case) -> list[str]:
    """What is unusual about a case: values outside the ranges of its site, or of any skin; skin that may buckle.

    And that nothing is undermined, if the case leaves it open; and what is hardly meant.
    """
    squeezed = -min(case.skin.tension.along_N_per_m, case.skin.tension.across_N_per_m)
    h, radius = case.skin.thickness_mm, cast(Patch, case.patch).radius_mm
    stretch = physical.prestretch(case.skin.tension, case.skin.law, h=h)
    _, lift, _ = physical.springs(case.bed)
    flat = N_PER_M * buckling_tension(D=_bending(case.skin), lift=lift, radius=radius)
    buckles = f"even uncut it buckles at about {flat:.3g} N/m, so cones and dips may be its own"
    unusual = [f"skin.tension squeezes the skin by {squeezed:.3g} N/m; {buckles}"] if squeezed > flat else []
    wave, edge = _wave(case.skin, case.bed, physical.plan(case)), cast(float, case.mesh.edge_mm)
    if edge > 1.001 * wave / PER_WAVE:
        unusual.append(
            f"mesh.edge_mm {edge:.3g} is too large for waves {wave:.3g} mm long, in which skin on this bed may fold "
            f"where it is squeezed; {wave / PER_WAVE:.3g} or less shows them"
        )
    if case.bed is not None and not any(key.startswith("undermine") for key in case.closure.model_fields_set):
        site = case.skin.site
        usual = library.undermining(library.SITES[site] if site else library.LIBRARY.anywhere)
        unusual.append(
            f"closure.undermine_mm is left out, so only flaps are undermined; usual are {usual.low:g} to "
            f"{usual.high:g} mm, {usual.typical:g} mm in between ({usual.tag}: {usual.source}); 0 says none is meant"
        )
    unusual += plausible.warnings(case, stretch, _decay(case.skin, case.bed))
    return library.warnings(case.model_dump(), stretch) + unusual


def overloaded(case: Case, forces: Iterable[float]) -> list[str]:
    """A line if one of the forces (n,), N, on sutures between edges is more than the stated thread's knot holds."""
    size = getattr(case.closure.sutures, "thread_size", None)
    if size is None or max(forces) <= KNOT_PULL[size]:
        return []
    strength = f"the knot-pull strength of absorbable {size} is {KNOT_PULL[size]:g} N (USP <881>, from memory)"
    return [f"a suture carries {max(forces):.2f} N; {strength}"]
