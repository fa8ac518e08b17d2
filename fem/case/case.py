"""A case: one closure to compute, read from YAML and checked before any work."""

import hashlib
import io
import json
from pathlib import Path
from typing import Any

from pydantic import Field, ValidationInfo, field_validator, model_validator
from ruamel.yaml import YAML

from fem.case import defaults, document, dotted, physical
from fem.case import site as library
from fem.case.document import Block
from fem.case.keys import Bed, Closure, MeshSize, Name, Patch, Relax, Skin, Wound
from fem.plan import junctions
from fem.plan.plan import reach

MESHES = Path("meshes")  # of the folder that the program runs in: holds outlines that came from outside


class Case(Block):
    """A wound, its closure and the skin around it."""

    name: Name
    wound: Wound = Field(description="what is cut out")
    closure: Closure = Field(default={"technique": "side-to-side"}, description="how it is closed")
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
    def completed(cls, content: Any) -> Any:
        """The content, what it leaves out filled from its site; closed side to side if it names no technique."""
        if isinstance(closure := dotted.get(content, "closure"), dict):
            content = content | {"closure": {"technique": "side-to-side", **closure}}
        return library.filled(content)

    @field_validator("closure")
    @classmethod
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
    @classmethod
    def below_an_island(cls, bed: Bed | None, info: ValidationInfo) -> Bed | None:
        """Refuse to do without a bed where the plan cuts out an island of skin, which only its bed holds."""
        plan = _plan(info)
        if bed is None and plan is not None and plan.held is not None:
            raise ValueError("this closure cuts an island of skin, which floats away without a bed")
        return bed

    @field_validator("from_site")
    @classmethod
    def of_that_site(cls, keys: tuple[str, ...] | None, info: ValidationInfo) -> tuple[str, ...] | None:
        """Refuse keys that no site, or not this site, fills."""
        if keys is not None and "skin" in info.data:
            name = info.data["skin"].site
            known = library.offered(library.SITES[name]) if name else {}
            if unknown := [key for key in keys if key not in known]:
                raise ValueError(f"no key that {name or 'a case without skin.site'} fills: {', '.join(unknown)}")
        return keys

    @field_validator("patch")
    @classmethod
    def beyond_the_wound(cls, patch: Patch | None, info: ValidationInfo) -> Patch | None:
        """The patch, its default filled in; refused if the wound or its undermined zone reaches the rim."""
        plan = _plan(info)
        if plan is None or not {"skin", "bed"} <= info.data.keys():
            return patch
        touching = reach(plan)
        if patch is None:
            return Patch(radius_mm=defaults.radius(touching, info.data["skin"], info.data["bed"]))
        if touching >= patch.radius_mm:
            zone = "outline" if plan.undermined is None else "undermined zone"
            far = f"the {zone} reaches {touching:.4g} mm from the origin"
            raise ValueError(f"{far}, beyond radius_mm {patch.radius_mm:g}")
        return patch

    @field_validator("mesh")
    @classmethod
    def of_use(cls, mesh: MeshSize, info: ValidationInfo) -> MeshSize:
        """The sizes, their defaults filled in; refused out of order, or out of proportion to the wound."""
        plan, patch = _plan(info), info.data.get("patch")
        if plan is not None and patch is not None:  # none beside a bad skin
            mesh = defaults.sizes(mesh, physical.outline(info.data["wound"].outline), plan, patch.radius_mm)
        sizes = [size for size in (mesh.tip_mm, mesh.edge_mm, mesh.far_mm) if size is not None]
        if sizes != sorted(sizes):
            raise ValueError("wanted tip_mm <= edge_mm <= far_mm, got " + ", ".join(f"{size:g}" for size in sizes))
        return mesh


def _plan(info):
    """The plan of a case, once its wound and closure are good."""
    known = info.data
    return physical.plan_of(known["closure"], known["wound"]) if {"wound", "closure"} <= known.keys() else None


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
