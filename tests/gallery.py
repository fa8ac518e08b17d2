"""Draws the README's outlines: `PYTHONPATH=.:tests python tests/gallery.py` writes configs/outlines/gallery.png."""

from pathlib import Path

import numpy as np
from matplotlib.figure import Figure
from problems import EVERY_KIND

from fem.plan.plan import side_to_side
from fem.render.plan_figure import draw_plan

COLUMNS = 4
NAMES = {"lens-with-two-ms": "lens-with-m, m_at: both"}


if __name__ == "__main__":
    rows = -(-len(EVERY_KIND) // COLUMNS)
    figure = Figure(figsize=(10, 1.8 * rows), layout="constrained")
    for axes in figure.subplots(rows, COLUMNS).flat:
        axes.axis("off")
    for axes, (name, outline) in zip(figure.axes, EVERY_KIND.items(), strict=False):
        axes.axis("on")
        axes.set(aspect="equal", xlim=(-34, 34), ylim=(-21, 21), xticks=[], yticks=[])
        draw_plan(axes, side_to_side(outline), np.zeros((2, 1)), scale=0.4)
        axes.set_title(NAMES.get(name, name), size=11)
    figure.savefig(Path(__file__).parent.parent / "configs" / "outlines" / "gallery.png", dpi=80)
