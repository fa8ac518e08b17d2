"""Drawings as files for other programs: SVG read back with svgelements, DXF with ezdxf; both in mm."""

import ezdxf
import numpy as np
import pytest
from defusedxml import ElementTree
from pytest import approx
from small_cases import case, text
from svgelements import SVG, Path

from fem.teaching.drawing import STYLES, Drawing, Text, dxf, on_one_canvas, svg
from fem.teaching.template import template

EVIL = "<script>alert('&')</script>"


@pytest.fixture(scope="module")
def drawing():
    return on_one_canvas(
        template(
            case(text("lens", 60).replace("width_mm: 10", "width_mm: 20").replace("radius_mm: 40", "radius_mm: 90"))
        )
    )


def from_svg(written, tmp_path, style):
    """Points (2, n) in mm of the first path in a group, y up."""
    path = tmp_path / "a.svg"
    path.write_text(written, encoding="utf-8")
    pixels = 96 / 25.4
    (group,) = [e for e in SVG.parse(path, ppi=96).elements() if e.values.get("id") == style and len(e)]
    first = next(e for e in group if isinstance(e, Path))
    return np.array([[p.x, -p.y] for p in (segment.end for segment in first) if p is not None]).T / pixels


def from_dxf(drawing, tmp_path, style):
    """Points (2, n) of the first line on a layer; the unit of the file is checked to be mm."""
    dxf(drawing, tmp_path / "a.dxf")
    document = ezdxf.readfile(tmp_path / "a.dxf")
    assert document.units == ezdxf.units.MM and not document.audit().errors
    first = document.modelspace().query(f'LWPOLYLINE[layer=="{style}"]').first
    return np.array([point[:2] for point in first.get_points()]).T


@pytest.mark.parametrize("kind", ["svg", "dxf"])
@pytest.mark.parametrize(("style", "size"), [("cut", (60, 20)), ("bar", (100, 0))])
def test_true_to_scale(drawing, tmp_path, kind, style, size):
    """The outline is 60 mm long and 20 mm wide, the bar 100 mm."""
    if kind == "svg":
        points = from_svg(svg(drawing, title="lens", description=""), tmp_path, style)
    else:
        points = from_dxf(drawing, tmp_path, style)
    assert np.ptp(points, axis=1) == approx(size, abs=1e-3)


def test_same_shape(drawing, tmp_path):
    """Point by point, the outline in both files is the one that was drawn; the SVG is only moved."""
    (outline,) = [s.points for s in drawing.strokes if s.style == "cut" and s.closed]
    traced = from_svg(svg(drawing, title="lens", description=""), tmp_path, "cut")[:, : outline.shape[1]]
    read = from_dxf(drawing, tmp_path, "cut")
    assert read == approx(outline, abs=1e-9)
    assert traced - traced[:, :1] == approx(outline - outline[:, :1], abs=2e-4)


def test_layers(drawing, tmp_path):
    """Each kind of line is a group of the SVG and a layer of the DXF with its dashes; a cutter can take one."""
    used = {s.style for s in drawing.strokes}
    root = ElementTree.fromstring(svg(drawing, title="lens", description=""))
    groups = {g.get("id"): g for g in root.iter("{http://www.w3.org/2000/svg}g")}
    assert set(groups) == {*used, "words"}
    assert all((groups[name].get("stroke-dasharray") is not None) == bool(STYLES[name].dashes) for name in used)
    dxf(drawing, tmp_path / "a.dxf")
    document = ezdxf.readfile(tmp_path / "a.dxf")
    space = document.modelspace()
    assert {e.dxf.layer for e in space.query("LWPOLYLINE")} == used
    assert {t.dxf.text for t in space.query("TEXT")} == {w.text for w in drawing.texts}
    for name in used:
        known = document.layers.get(name).dxf.linetype
        assert known == (name if STYLES[name].dashes else "Continuous")
        if STYLES[name].dashes:
            assert document.linetypes.get(name).simplified_line_pattern() == approx(STYLES[name].dashes)


def test_words_are_escaped():
    """Text that looks like markup stays text."""
    written = svg(Drawing((), (Text(EVIL, (0.0, 0.0)),)), title=EVIL, description=EVIL)
    assert "<script" not in written
    root = ElementTree.fromstring(written)
    assert [e.text for e in root.iter() if e.text and e.text.strip()] == [EVIL] * 3
