"""Points of an outline that was traced elsewhere, from a GeoJSON, CSV or SVG file in mm, which is not trusted."""

import csv
import io
import json
import os
import re
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np
import shapely

from fem.case import document
from fem.errors import BadCase

MAX_BYTES = 2_000_000  # our choice, 20 000 points with all their digits
MAX_POINTS = 20_000  # our choice, a tracing of a metre at every twentieth of a millimetre
FARTHEST = 1000.0  # mm from the file's origin, as for any other place
CURVE = 400  # points on each curve of an SVG path; our choice, within 0.003 mm of a quarter circle of 1 m
NAME = re.compile(r"\w[\w .-]*(/\w[\w .-]*)*")  # no folder above, no hidden file, no drive
# Of SVG. Limits are our choices; a drawing of one outline has some 50 elements, some groups in each other.
MAX_ELEMENTS, MAX_GROUPS, MAX_WORDS = 2000, 50, 1000
GEOMETRY = {
    "d", "points", "x", "y", "width", "height", "r", "cx", "cy", "rx", "ry", "x1", "y1", "x2", "y2", "transform",
    "viewBox", "preserveAspectRatio", "display", "visibility",
}  # fmt: skip
HIDDEN = re.compile(r"display\s*:\s*none")
PIECES = re.compile(r"[Zz][^Zz]*[Zz]|[Mm][^Mm]*[Mm]")  # more than one
LONG, ONE_NUMBER = ("d", "points"), re.compile(r"\d+(\.\d*)?|\.\d+")
FUNCTION = r"[\s,]*(matrix|translate|scale|rotate|skewX|skewY)\s*\([eE0-9+.,\s-]*\)"
SIZE = r"\s*\+?(\d+(\.\d*)?|\.\d+)([eE][-+]?\d+)?\s*(mm|cm|in|pt|pc|px|%)?\s*|auto|"
ATTRIBUTES = (  # what is wanted of them, where they are given
    ("d", re.compile(r"[MmZzLlHhVvCcSsQqTtAaEe0-9+.,\s-]*", re.ASCII), "a path holds characters that are no path data"),
    ("points", re.compile(r"[eE0-9+.,\s-]*", re.ASCII), "wanted numbers"),
    ("transform", re.compile(rf"({FUNCTION})*[\s,]*", re.ASCII), "wanted functions of numbers"),
    ("viewBox", re.compile(r"[eE0-9+.,\s-]*", re.ASCII), "wanted four numbers"),
    *((name, re.compile(SIZE, re.ASCII), "wanted a size") for name in ("width", "height", "r", "rx", "ry")),
)
LENGTH = r"\s*[0-9.eE+-]+\s*(mm|cm|in|pt|pc|Q)\s*"
# What svgelements raises on numbers that are missing or none; it has no error of its own.
BROKEN = AttributeError, TypeError, ValueError, IndexError, ZeroDivisionError, OverflowError


def points(name: str, folders: Sequence[Path], *, unit: float | None = None) -> np.ndarray:
    """Points (n, 2), mm, x to the right and y up, of the outline in the file `name` of the first folder that has it.

    CSV: a line `x_mm,y_mm`, then one of each point. GeoJSON: one polygon without holes, in mm. SVG: one path or shape
    without holes, to scale if its size is given in mm, cm or in, else with a `unit` so long, mm. Raises BadCase.
    """
    path = located(name, folders, kinds=READERS)
    text, kind = document.read(path, limit=MAX_BYTES), path.suffix.lower()
    traced = READERS[kind](text, path)
    unitless = kind == ".svg" and not _to_scale(text)
    if unitless and unit is None:
        raise BadCase(
            f"{path}: an SVG whose size is in px, or not given, has no scale; say beside `file` how long its unit is: "
            "unit_mm: 1 if it was drawn in mm, unit_mm: 0.26458 for px of which 96 are an inch"
        )
    if unit is not None and not unitless:
        raise BadCase(f"{path}: is to scale already, in mm; leave out unit_mm")
    if len(traced) > MAX_POINTS:
        raise BadCase(f"{path}: more than {MAX_POINTS} points")
    X = np.array(traced, float) * (unit or 1.0)
    if not (np.abs(X) <= FARTHEST).all():  # nor if it is no number
        raise BadCase(f"{path}: wanted places within {FARTHEST:g} mm of the origin, in mm")
    return X


def located(name: str, folders: Sequence[Path], *, kinds: Iterable[str]) -> Path:
    """Path of the file `name`, of a kind as `.csv`, in the first folder that has it; BadCase if none has it inside."""
    places = " or ".join(map(str, folders))
    if not NAME.fullmatch(name) or Path(name).suffix.lower() not in kinds:
        below = places or "the case's folder"
        raise BadCase(f"{name!r} is no file below {below}; allowed: folder/name with {', '.join(kinds)}")
    for folder in folders:
        real, root = Path(os.path.realpath(folder / name)), Path(os.path.realpath(folder))
        if os.path.lexists(folder / name) and not real.is_relative_to(root):
            raise BadCase(f"{folder / name}: a link out of the folder")
        if real.is_file():
            return folder / name
    raise BadCase(f"no file {name!r} in {places or 'a case without a folder'}")


def _csv(written, path):
    rows = csv.reader(io.StringIO(written, newline=""), strict=True)
    traced: list = []
    try:
        for row in rows:
            cells = [cell.strip() for cell in row]
            if rows.line_num == 1:
                if cells != ["x_mm", "y_mm"]:
                    raise BadCase(f"{path}:1: wanted the heading x_mm,y_mm")
            elif any(cells):
                if len(cells) != 2 or not all(document.NUMBER.fullmatch(cell) for cell in cells):
                    raise BadCase(f"{path}:{rows.line_num}: wanted two numbers, got {','.join(row)[:40]!r}")
                traced.append([float(cell) for cell in cells])
                if len(traced) > MAX_POINTS:
                    raise BadCase(f"{path}:{rows.line_num}: more than {MAX_POINTS} points")
    except csv.Error as error:
        raise BadCase(f"{path}:{rows.line_num}: not CSV: {error}") from error
    if not traced:
        raise BadCase(f"{path}: no points")
    return traced


def _geojson(written, path):
    try:
        json.loads(written, parse_int=float)  # names the place, and refuses depths that end the other
        content = shapely.from_geojson(written)
    except json.JSONDecodeError as error:
        raise BadCase(f"{path}:{error.lineno}:{error.colno}: not JSON: {error.msg}") from error
    except RecursionError as error:
        raise BadCase(f"{path}: nested too deep") from error
    except shapely.errors.GEOSException as error:
        raise BadCase(f"{path}: not GeoJSON: {error}") from error
    parts = shapely.get_parts(shapely.get_parts(content))  # features, then the pieces of each
    kinds = [part.geom_type for part in parts]
    if kinds != ["Polygon"] or len(parts[0].interiors) or parts[0].is_empty:
        raise BadCase(f"{path}: wanted one polygon without holes, got {', '.join(kinds[:5]) or 'nothing'}")
    return shapely.get_coordinates(parts[0])


def _svg(written, path):
    import xml.etree.ElementTree as ET

    import svgelements
    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import fromstring

    try:
        elements = list(fromstring(written).iter())
    except ET.ParseError as error:
        line, column = error.position
        raise BadCase(f"{path}:{line}:{column + 1}: not XML: {str(error).split(':')[0]}") from error
    except DefusedXmlException as error:
        raise BadCase(f"{path}: entities are not allowed") from error
    _check(elements, path)
    for element in elements:  # words, styles and whatever else says nothing of the shape
        element.text = element.tail = None
        hidden = HIDDEN.search(element.get("style", "")[:MAX_WORDS])
        kept = {name: value for name, value in element.items() if name in GEOMETRY}
        element.attrib.clear()
        element.attrib.update(kept | ({"display": "none"} if hidden else {}))
    try:
        per_mm = svgelements.Length("1mm").value(ppi=1.0)  # so that units are mm to round-off: its inch is not 25.4
        drawing = svgelements.SVG.parse(io.BytesIO(ET.tostring(elements[0])), ppi=1 / per_mm)
        shapes = [svgelements.Path(shape) for shape in drawing.elements() if isinstance(shape, svgelements.Shape)]
        pieces = [piece for shape in shapes for piece in shape.as_subpaths() if len(piece)]
        if sum(_points(segment) for piece in pieces[:2] for segment in piece) > MAX_POINTS:
            raise BadCase(f"{path}: more than {MAX_POINTS} points; a curve has {CURVE}")
        traced = [_flattened(piece) for piece in pieces[:2]]
    except BROKEN as error:
        if isinstance(error, BadCase):
            raise
        raise BadCase(f"{path}: not an SVG drawing: {error}") from error
    if len(traced) != 1:
        raise BadCase(f"{path}: wanted one path in one piece, got {len(pieces)}")
    return traced[0] * [1, -1]  # y points down in SVG


def _to_scale(written):
    """Whether an SVG drawing gives its size in a unit of length."""
    from defusedxml.ElementTree import fromstring

    root = fromstring(written)
    return all(re.fullmatch(LENGTH, root.get(side, "")) for side in ("width", "height"))


def _check(elements, path):
    """Refuse what svgelements takes long for, or reads as if it were absent."""
    if len(elements) > MAX_ELEMENTS:
        raise BadCase(f"{path}: more than {MAX_ELEMENTS} elements")
    depth = {elements[0]: 1}
    for element in elements:  # parents come before what is in them
        if depth[element] > MAX_GROUPS:
            raise BadCase(f"{path}: nested more than {MAX_GROUPS} deep")
        depth |= dict.fromkeys(element, depth[element] + 1)
        if str(element.tag).split("}")[-1] == "use":
            raise BadCase(f"{path}: <use> is not allowed; draw the outline itself")
        for name, wanted, what in ATTRIBUTES:
            if not wanted.fullmatch(element.get(name, "")):
                raise BadCase(f"{path}: {what}, got {name}={element.get(name)[:40]!r}")
            if name not in LONG and len(element.get(name, "")) > MAX_WORDS:
                raise BadCase(f"{path}: {name} has more than {MAX_WORDS} characters")
        for text in (element.get(name, "") for name in LONG):
            if PIECES.search(text):
                raise BadCase(f"{path}: wanted one path in one piece, got more")
            if len(ONE_NUMBER.findall(text)) > 3 * MAX_POINTS:
                raise BadCase(f"{path}: more than {MAX_POINTS} points")


def _flattened(piece):
    """Points (n, 2) along one piece of an SVG path."""
    fractions = np.linspace(0, 1, CURVE + 1)[1:]
    traced = [
        [[segment.end.x, segment.end.y]] if _points(segment) == 1 else segment.npoint(fractions).reshape(-1, 2)
        for segment in piece
    ]
    return np.vstack(traced)


def _points(segment):
    """Number of points along a segment of an SVG path."""
    import svgelements

    return 1 if isinstance(segment, svgelements.Move | svgelements.Line | svgelements.Close) else CURVE


READERS = {".geojson": _geojson, ".json": _geojson, ".csv": _csv, ".svg": _svg}
