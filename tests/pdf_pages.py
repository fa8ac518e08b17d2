"""Sheets as pictures: pages of a PDF, and what a ruler would find on them."""

import numpy as np
import pypdfium2
from scipy.ndimage import binary_opening, find_objects, label

DPI = 300
PIXEL = 25.4 / DPI  # mm
HEAVY = 0.6  # mm, of the line that is cut
LEAST = 18 / PIXEL
BAR_LINE = 0.3  # mm


def pages(path):
    """Each page of a PDF as an array (h, w) of where it is dark."""
    with pypdfium2.PdfDocument(path) as document:
        return [_dark(page) for page in document]


def _dark(page):
    image = np.asarray(page.render(scale=DPI / 72).to_numpy())
    page.close()
    return image[..., :3].mean(axis=2) < 128


def texts(path):
    """The words of each page."""
    with pypdfium2.PdfDocument(path) as document:
        return [page.get_textpage().get_text_range() for page in document]


def sizes(path):
    """Width and height of each page, mm."""
    with pypdfium2.PdfDocument(path) as document:
        return [tuple(25.4 / 72 * side for side in page.get_size()) for page in document]


def bar(dark):
    """Length of the longest level line in the lowest 40 mm of a page, between the middles of its end ticks, mm."""
    low = dark[-round(40 / PIXEL) :]
    longest = 0
    for row in low:
        edges = np.flatnonzero(np.diff(np.concatenate([[0], row.astype(int), [0]])))
        longest = max(longest, int((edges[1::2] - edges[::2]).max(initial=0)))
    return longest * PIXEL - BAR_LINE


def heavy(dark):
    """Width and height of all that is drawn with the heavy line, between the middles of lines, mm.

    Blots, as where letters are thick, and the sample in the key are shorter than LEAST.
    """
    reach = round(0.75 * HEAVY / PIXEL / 2)
    y, x = np.ogrid[-reach : reach + 1, -reach : reach + 1]
    thick = binary_opening(dark, x**2 + y**2 <= reach**2)
    parts = [
        part for part in find_objects(label(thick, np.ones((3, 3)))[0]) if max(s.stop - s.start for s in part) > LEAST
    ]
    high, wide = (max(p[k].stop for p in parts) - min(p[k].start for p in parts) for k in (0, 1))
    return wide * PIXEL - HEAVY, high * PIXEL - HEAVY
