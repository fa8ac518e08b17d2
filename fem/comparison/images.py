"""Pictures and charts of closures as pages hold them: SVG text and WebP bytes, by name."""

import io
from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.figure import Figure
from PIL import Image

from fem.comparison import chart, style
from fem.render import canvas
from fem.render.projection import Ranges
from fem.results.result import Result

PROFILES = "heights_along", "heights_across", "tensions_along"
QUALITY = 88  # of WebP images; our choice


def profiles(results: Sequence[Result]) -> dict[str, Figure]:
    """Charts of heights and tension along lines; none if nothing is sewn."""
    if not any(r.profiles.get("seams") for r in results):
        return {}
    return {name: getattr(chart, name)(results) for name in PROFILES}


def pictures(done: Sequence[Result], ranges: Ranges) -> dict[str, dict[str, Any]]:
    """Plans as figures, and images (h, w, 3) of heights and stresses, by the names of the cases."""
    every: dict[str, Sequence] = {
        "plans": [chart.plan(r, ranges.half_width) for r in done],
        "height": chart.height_images(done, ranges),
        "stress": [chart.stress_image(r, ranges) for r in done],
    }
    return {kind: dict(zip((r.name for r in done), some, strict=True)) for kind, some in every.items()}


def embedded(charts: dict[str, Figure], pictures: dict[str, dict[str, Any]], ranges: Ranges) -> dict[str, Any]:
    """All of them, and their scales, as SVG text or bytes of WebP; `sizes` of pictures in pixels."""
    ends = {"height": ranges.heights, "stress": ranges.stresses}
    scales = {f"{kind}_scale": chart.colour_scale(kind, end) for kind, end in ends.items()}
    lines = [charts[name] for name in PROFILES if name in charts]  # side by side, their key beside them
    alone = len(pictures["plans"]) == 1
    images: dict[str, Any] = {n: style.svg(f, keyed=n not in PROFILES) for n, f in (charts | scales).items()}
    images["key"] = [] if alone else style.shared_key(lines)
    images["plans"] = {name: style.svg(plan) for name, plan in pictures["plans"].items()}
    images["sizes"] = {"plans": canvas.VIEW.tolist()}
    for kind in ends:
        images[kind] = {name: webp(image) for name, image in pictures[kind].items()}
        images["sizes"][kind] = next(iter(pictures[kind].values())).shape[1::-1]
    return images


def webp(image: np.ndarray) -> bytes:
    """An image (h, w, 3) as the bytes of a WebP file."""
    stream = io.BytesIO()
    Image.fromarray(image).save(stream, "webp", quality=QUALITY, method=6)
    return stream.getvalue()
