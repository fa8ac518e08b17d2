"""Line drawings in mm: strokes and texts, what each kind of line means, the bar that shows 1:1; as SVG and as DXF."""

import csv
from dataclasses import dataclass, replace
from pathlib import Path

import ezdxf
import numpy as np
from ezdxf.enums import TextEntityAlignment

from fem.comparison.wording import environment

BAR = 100.0  # mm, of the bar to be measured on paper
REMINDER = "Print at 100 %, no “fit to page”. This bar must measure 100 mm."
LETTER = 0.6  # mean width of a letter, as a share of its size; good enough to keep words apart
ROW = 5.5  # mm, of a key
SAMPLE = 16.0  # mm, of a line in a key
MARGIN = 5.0  # mm around the drawing in SVG
FONT = "DejaVu Sans, Arial, Helvetica, sans-serif"
ALIGNED = {"start": TextEntityAlignment.LEFT, "middle": TextEntityAlignment.CENTER, "end": TextEntityAlignment.RIGHT}


@dataclass(frozen=True)
class Style:
    """How a kind of line looks, and what it says."""

    width: float  # mm
    dashes: tuple[float, ...]  # mm on, off, ...; empty: solid
    meaning: str


with open(Path(__file__).with_name("lines.csv"), encoding="utf-8", newline="") as table:
    STYLES = {  # differ by dashes and weight alone, so that they survive a black-and-white copier
        row["name"]: Style(float(row["width_mm"]), tuple(map(float, row["dashes_mm"].split())), row["meaning"])
        for row in csv.DictReader(table)
    }
TURN = np.linspace(0, 2 * np.pi, 25)
ALONG = (np.array([[0.0, SAMPLE], [0.0, 0.0]]),)
SAMPLES = {  # of kinds that no level line shows
    "removed": tuple(np.array([[x, x + 3.0], [-1.5, 1.5]]) for x in np.arange(0.0, SAMPLE - 3, 2.0)),
    "suture": (np.array([[SAMPLE / 2, SAMPLE / 2], [-1.0, 1.0]]),),
    "thread": (np.array([[SAMPLE / 2, SAMPLE / 2], [-1.0, 1.0]]),),
    "tip": (np.array([SAMPLE / 2 + 1.5 * np.cos(TURN), 1.5 * np.sin(TURN)]),),
}


@dataclass(frozen=True)
class Stroke:
    """A line through points."""

    points: np.ndarray  # (2, n) mm
    style: str  # one of STYLES
    closed: bool = False


@dataclass(frozen=True)
class Text:
    """A line of text; `at` is on its base line."""

    text: str
    at: tuple[float, float]  # mm
    size: float = 3.0  # mm
    anchor: str = "start"  # start, middle or end of the text is at `at`


@dataclass(frozen=True)
class Drawing:
    """Strokes and words, y up."""

    strokes: tuple[Stroke, ...] = ()
    texts: tuple[Text, ...] = ()


def joined(*drawings: Drawing) -> Drawing:
    """One drawing of all of them."""
    return Drawing(tuple(s for d in drawings for s in d.strokes), tuple(w for d in drawings for w in d.texts))


def moved(drawing: Drawing, way: tuple[float, float]) -> Drawing:
    """The drawing moved by way (2,), mm."""
    x, y = way
    return Drawing(
        tuple(replace(s, points=s.points + np.array([[x], [y]])) for s in drawing.strokes),
        tuple(replace(w, at=(w.at[0] + x, w.at[1] + y)) for w in drawing.texts),
    )


def extent(drawing: Drawing) -> np.ndarray:
    """Lowest and highest x and y of everything (2, 2), mm; the width of words is estimated."""
    points = [s.points for s in drawing.strokes]
    for w in drawing.texts:
        long = LETTER * w.size * len(w.text)
        start = w.at[0] - {"start": 0, "middle": long / 2, "end": long}[w.anchor]
        points.append(np.array([[start, start + long], [w.at[1] - 0.25 * w.size, w.at[1] + 0.8 * w.size]]))
    every = np.hstack(points)
    return np.stack([every.min(axis=1), every.max(axis=1)], axis=1)


def check_bar() -> Drawing:
    """A bar of BAR mm from the origin, with a tick every 10 mm, and the reminder above it."""
    lines = [[[0.0, BAR], [0.0, 0.0]]]
    lines += [[[x, x], [0.0, 4.0 if x % (BAR / 2) == 0 else 2.0]] for x in np.arange(0, BAR + 1, 10)]
    ends = [Text(text, (x, -3.6), 2.8, "middle") for x, text in ((0.0, "0"), (BAR / 2, "50"), (BAR, "100 mm"))]
    return Drawing(tuple(Stroke(np.array(line), "bar") for line in lines), (Text(REMINDER, (0.0, 5.4), 3.2), *ends))


def key(drawing: Drawing) -> Drawing:
    """What the kinds of line in a drawing mean, a row each, from the origin downwards."""
    used = [name for name in STYLES if STYLES[name].meaning and any(s.style == name for s in drawing.strokes)]
    strokes = {name: tuple(Stroke(line, name) for line in SAMPLES.get(name, ALONG)) for name in used}
    rows = [Drawing(strokes[name], (Text(STYLES[name].meaning, (SAMPLE + 3, -1.0), 3.0),)) for name in used]
    return joined(*(moved(row, (0.0, 1 - ROW * k)) for k, row in enumerate(rows, start=1)))


def with_key(drawing: Drawing) -> Drawing:
    """The drawing with its key below it."""
    (left, _), (bottom, _) = extent(drawing)
    return joined(drawing, moved(key(drawing), (left, bottom - 4)))


def on_one_canvas(drawing: Drawing) -> Drawing:
    """The drawing with its key and the check bar below it."""
    keyed = with_key(drawing)
    return joined(keyed, moved(check_bar(), (extent(drawing)[0, 0], extent(keyed)[1, 0] - 14)))


# Files --------------------------------------------------------------------------------------------------------


def svg(drawing: Drawing, *, title: str, description: str) -> str:
    """SVG whose user unit is 1 mm, a group each kind of line; what it is in words, for those who do not see it."""
    (left, right), (bottom, top) = extent(drawing)
    size = right - left + 2 * MARGIN, top - bottom + 2 * MARGIN
    corner = np.array([[left - MARGIN], [top + MARGIN]])
    kinds = {name: [s for s in drawing.strokes if s.style == name] for name in STYLES}
    paths = {
        name: [(((s.points - corner) * [[1], [-1]]).T.tolist(), s.closed) for s in strokes]  # y down
        for name, strokes in kinds.items()
    }
    texts = [(w, w.at[0] - corner[0, 0], corner[1, 0] - w.at[1]) for w in drawing.texts]
    values = {"title": title, "description": description, "size": size, "paths": paths, "texts": texts}
    return environment().get_template("teaching/drawing.svg").render(values, styles=STYLES, font=FONT) + "\n"


def dxf(drawing: Drawing, path: Path) -> None:
    """Write the drawing as DXF (R2010): a layer each kind of line, one for words; a cutter takes the layer `cut`."""
    document = ezdxf.new("R2010", units=ezdxf.units.MM)
    space = document.modelspace()
    used, weights = {stroke.style for stroke in drawing.strokes}, ezdxf.lldxf.const.VALID_DXF_LINEWEIGHTS
    for name in [name for name in STYLES if name in used]:
        style = STYLES[name]
        if style.dashes:
            signed = [length if k % 2 == 0 else -length for k, length in enumerate(style.dashes)]
            document.linetypes.add(name, pattern=[sum(style.dashes), *signed])
        kind = name if style.dashes else "Continuous"
        weight = min(weights, key=lambda known: abs(known - 100 * style.width))  # hundredths of a millimetre
        document.layers.add(name, linetype=kind, lineweight=weight)
    document.layers.add("words")
    for stroke in drawing.strokes:
        space.add_lwpolyline(stroke.points.T.tolist(), close=stroke.closed, dxfattribs={"layer": stroke.style})
    for w in drawing.texts:
        text = space.add_text(w.text, height=0.7 * w.size, dxfattribs={"layer": "words"})
        text.set_placement(w.at, align=ALIGNED[w.anchor])
    document.saveas(path)
