"""Draws the README's outlines: `PYTHONPATH=.:tests python tests/gallery.py` writes configs/outlines/gallery.png."""

from pathlib import Path

import numpy as np
from matplotlib.figure import Figure
from problems import EVERY_KIND

from fem.geometry.outlines import boundary
from fem.plan.plan import side_to_side
from fem.render.canvas import EDGES, INK, SKIN

COLUMNS, PAIRS = 4, 8  # pairs of points that are sewn together, shown of the longest seam
NAMES = {"lens-with-two-ms": "lens-with-m, m_at: both"}


def drawn(axes, name, outline):
    """Draw an outline with some of the points that are sewn together."""
    axes.fill(*boundary(outline, n=400).exterior.xy, fc="white")
    for edge, colour in zip((outline.upper, outline.lower), EDGES, strict=True):
        axes.plot(*edge.point(np.union1d(np.linspace(0, 1, 400), edge.corners)), color=colour, lw=2)
    seams = side_to_side(outline).seams
    longest = max(first.length for first, _ in seams)
    for first, second in seams:
        s = np.linspace(0, 1, max(2, round(PAIRS * first.length / longest)) + 1)[:-1]
        axes.plot(*np.stack([first.point(s), second.point(s)], axis=1), color=INK, lw=0.6)
    axes.set(aspect="equal", xlim=(-34, 34), ylim=(-21, 21), xticks=[], yticks=[], facecolor=SKIN)
    axes.set_title(NAMES.get(name, name), size=11)


if __name__ == "__main__":
    rows = -(-len(EVERY_KIND) // COLUMNS)
    figure = Figure(figsize=(10, 1.8 * rows), layout="constrained")
    for axes in figure.subplots(rows, COLUMNS).flat:
        axes.axis("off")
    for axes, (name, outline) in zip(figure.axes, EVERY_KIND.items(), strict=False):
        axes.axis("on")
        drawn(axes, name, outline)
    figure.savefig(Path(__file__).parent.parent / "configs" / "outlines" / "gallery.png", dpi=80)
