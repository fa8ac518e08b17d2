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
PATH_DATA = re.compile(r"[MmZzLlHhVvCcSsQqTtAaEe0-9+.,\s-]*", re.ASCII)
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
        raise BadCase(f"{path}: {len(traced)} points; {MAX_POINTS} at most")
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
    except csv.Error as error:
        raise BadCase(f"{path}:{rows.line_num}: not CSV: {error}") from error
    if not traced:
        raise BadCase(f"{path}: no points")
    return traced


def _geojson(written, path):
    try:
        json.loads(written)  # names the place, and refuses depths that end the other
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
    if any(str(element.tag).split("}")[-1] == "use" for element in elements):
        raise BadCase(f"{path}: <use> is not allowed; draw the outline itself")
    if any(not PATH_DATA.fullmatch(element.get("d", "")) for element in elements):
        raise BadCase(f"{path}: a path holds characters that are no path data")
    try:
        per_mm = svgelements.Length("1mm").value(ppi=1.0)  # so that units are mm to round-off: its inch is not 25.4
        drawing = svgelements.SVG.parse(io.StringIO(written), ppi=1 / per_mm)
        shapes = [svgelements.Path(shape) for shape in drawing.elements() if isinstance(shape, svgelements.Shape)]
        pieces = [piece for shape in shapes for piece in shape.as_subpaths() if len(piece)]
        traced = [_flattened(piece) for piece in pieces[:2]]
    except BROKEN as error:
        raise BadCase(f"{path}: not an SVG drawing: {error}") from error
    if len(traced) != 1:
        raise BadCase(f"{path}: wanted one path in one piece, got {len(pieces)}")
    return traced[0] * [1, -1]  # y points down in SVG


def _to_scale(written):
    """Whether an SVG drawing gives its size in a unit of length."""
    from defusedxml.ElementTree import fromstring

    root = fromstring(written)
    return all(re.fullmatch(LENGTH, root.get(side, "")) for side in ("width", "height"))


def _flattened(piece):
    """Points (n, 2) along one piece of an SVG path."""
    import svgelements

    straight = svgelements.Move | svgelements.Line | svgelements.Close
    fractions = np.linspace(0, 1, CURVE + 1)[1:]
    traced = [
        [[segment.end.x, segment.end.y]] if isinstance(segment, straight) else segment.npoint(fractions).reshape(-1, 2)
        for segment in list(piece)[:MAX_POINTS]
    ]
    return np.vstack(traced)


READERS = {".geojson": _geojson, ".json": _geojson, ".csv": _csv, ".svg": _svg}
