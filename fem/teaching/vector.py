"""Figures of matplotlib on sheets of reportlab, as lines and letters of their own size, not as pixels."""

from typing import Any

from matplotlib.backend_bases import RendererBase
from matplotlib.figure import Figure
from matplotlib.path import Path
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable

from fem.teaching.paper import BOLD, FONT

CAPS = {"butt": 0, "round": 1, "projecting": 2}
JOINS = {"miter": 0, "round": 1, "bevel": 2}


class OnPaper(RendererBase):
    """What draws a figure of 72 dots per inch on a canvas, from the canvas's origin; clips to rectangles only."""

    def __init__(self, canvas: Canvas) -> None:
        super().__init__()
        self.canvas = canvas

    def flipy(self) -> bool:
        """Whether y points down."""
        return False

    def draw_path(self, gc, path, transform, rgbFace=None) -> None:
        """Fill a path, and draw its line."""
        line = gc.get_linewidth() if gc.get_rgb()[3] else 0
        self.canvas.saveState()
        self._look(gc)
        if rgbFace is not None:
            forced = gc.get_forced_alpha() or len(rgbFace) < 4
            self.canvas.setFillColorRGB(*rgbFace[:3], alpha=gc.get_alpha() if forced else rgbFace[3])
        drawn, start = self.canvas.beginPath(), (0.0, 0.0)
        for p, code in path.iter_segments(transform, simplify=False):
            if code == Path.MOVETO:
                drawn.moveTo(*p)
            elif code == Path.CLOSEPOLY:
                drawn.close()
            elif code == Path.LINETO:
                drawn.lineTo(*p)
            else:
                control = p if code == Path.CURVE4 else (*_raised(start, p[:2]), *_raised(p[2:], p[:2]), *p[2:])
                drawn.curveTo(*control)
            start = p[-2:]
        self.canvas.drawPath(drawn, stroke=int(line > 0), fill=int(rgbFace is not None))
        self.canvas.restoreState()

    def _look(self, gc):
        """Take over clip, width, dashes and colour of lines."""
        if box := gc.get_clip_rectangle():
            window = self.canvas.beginPath()
            window.rect(*box.bounds)
            self.canvas.clipPath(window, stroke=0, fill=0)
        start, dashes = gc.get_dashes()
        self.canvas.setDash([] if dashes is None else list(dashes), start or 0)
        self.canvas.setLineWidth(gc.get_linewidth())
        self.canvas.setLineCap(CAPS[gc.get_capstyle()])
        self.canvas.setLineJoin(JOINS[gc.get_joinstyle()])
        self.canvas.setStrokeColorRGB(*gc.get_rgb()[:3], alpha=gc.get_rgb()[3])

    def draw_text(self, gc, x, y, s, prop, angle, ismath=False, mtext=None) -> None:
        """Write words."""
        self.canvas.saveState()
        self.canvas.translate(x, y)
        self.canvas.rotate(angle)
        self.canvas.setFillColorRGB(*gc.get_rgb()[:3], alpha=gc.get_rgb()[3])
        self.canvas.setFont(BOLD if prop.get_weight() == "bold" else FONT, prop.get_size_in_points())
        self.canvas.drawString(0, 0, s)
        self.canvas.restoreState()


def _raised(end, control):
    """A control point of the cubic curve that a quadratic one is, beside one of its ends."""
    return tuple(a + 2 / 3 * (b - a) for a, b in zip(end, control, strict=True))


class Drawn(Flowable):
    """A figure in a sheet."""

    def __init__(self, figure: Figure) -> None:
        super().__init__()
        self.figure: Any = figure
        self.width, self.height = 72 * figure.get_size_inches()

    def draw(self) -> None:
        """Draw it."""
        self.figure.set_dpi(72)
        self.figure.draw(OnPaper(self.canv))
