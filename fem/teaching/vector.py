"""A drawing as SVG, in mm."""

from xml.etree import ElementTree as ET

from fem.teaching.drawing import STYLES, Drawing, extent

MARGIN = 5.0  # mm around the drawing
FONT = "DejaVu Sans, Arial, Helvetica, sans-serif"


def svg(drawing: Drawing, *, title, description) -> str:
    """The drawing as the text of an SVG file whose user unit is 1 mm, each kind of line a group of its name.

    title, description   what it is, for programs and for those who do not see it
    """
    (left, right), (bottom, top) = extent(drawing)
    wide, high = right - left + 2 * MARGIN, top - bottom + 2 * MARGIN
    root = ET.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "width": f"{wide:.4f}mm",
            "height": f"{high:.4f}mm",
            "viewBox": f"0 0 {wide:.4f} {high:.4f}",
        },
    )
    ET.SubElement(root, "title").text = title
    ET.SubElement(root, "desc").text = description

    def place(x, y):
        return f"{x - left + MARGIN:.4f}", f"{top - y + MARGIN:.4f}"  # y down

    for name, style in STYLES.items():
        strokes = [s for s in drawing.strokes if s.style == name]
        if not strokes:
            continue
        looks = {
            "id": name,
            "fill": "none",
            "stroke": "black",
            "stroke-linejoin": "round",
            "stroke-width": f"{style.width:g}",
        }
        if style.dashes:
            looks["stroke-dasharray"] = " ".join(f"{length:g}" for length in style.dashes)
        group = ET.SubElement(root, "g", looks)
        for s in strokes:
            path = "M" + " L".join(",".join(place(x, y)) for x, y in s.points.T) + (" Z" if s.closed else "")
            ET.SubElement(group, "path", {"d": path})
    written = ET.SubElement(root, "g", {"id": "words", "font-family": FONT})
    for w in drawing.texts:
        x, y = place(*w.at)
        looks = {"x": x, "y": y, "font-size": f"{w.size:g}", "text-anchor": w.anchor}
        ET.SubElement(written, "text", looks).text = w.text
    ET.indent(root)
    return ET.tostring(root, encoding="unicode", xml_declaration=True) + "\n"
