"""A drawing as DXF, in mm, for cutters and drawing programs."""

import ezdxf
from ezdxf.enums import TextEntityAlignment

from fem.teaching.drawing import STYLES, Drawing

ALIGNED = {
    "start": TextEntityAlignment.LEFT,
    "middle": TextEntityAlignment.CENTER,
    "end": TextEntityAlignment.RIGHT,
}


def dxf(drawing: Drawing, path):
    """Write the drawing as DXF (R2010): a layer each kind of line, one for words; a cutter takes the layer `cut`."""
    document = ezdxf.new("R2010", units=ezdxf.units.MM)
    space = document.modelspace()
    used = {stroke.style for stroke in drawing.strokes}
    for name in [name for name in STYLES if name in used]:
        style = STYLES[name]
        if style.dashes:
            signed = [length if k % 2 == 0 else -length for k, length in enumerate(style.dashes)]
            document.linetypes.add(name, pattern=[sum(style.dashes), *signed])
        kind = name if style.dashes else "Continuous"
        document.layers.add(name, linetype=kind, lineweight=_weight(style.width))
    document.layers.add("words")
    for stroke in drawing.strokes:
        space.add_lwpolyline(stroke.points.T.tolist(), close=stroke.closed, dxfattribs={"layer": stroke.style})
    for w in drawing.texts:
        text = space.add_text(w.text, height=0.7 * w.size, dxfattribs={"layer": "words"})
        text.set_placement(w.at, align=ALIGNED[w.anchor])
    document.saveas(path)


def _weight(width):
    """The nearest line weight that DXF knows, in hundredths of a millimetre."""
    return min(ezdxf.lldxf.const.VALID_DXF_LINEWEIGHTS, key=lambda known: abs(known - 100 * width))
