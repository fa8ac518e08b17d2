"""Keyframes of a closure → frames from one camera, each with a caption and a plan of the stage → PNG, MP4 and GIF."""

import io
import math
import textwrap
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import av
import numpy as np
import pyvista as pv
import shapely
from matplotlib import font_manager, rc_context
from matplotlib.colors import to_rgb
from PIL import Image, ImageDraw, ImageFont
from scipy.spatial import KDTree

from fem.case import physical
from fem.comparison import chart, style
from fem.comparison.wording import NOTE
from fem.mechanics.triangulation import flat_triangles
from fem.plan.plan import removed_skin
from fem.render import canvas, projection
from fem.render.projection import Ranges
from fem.teaching import timeline
from fem.teaching.solid import rim, rings
from fem.teaching.timeline import CLOSED, CUT, OPEN, UNCUT, Keyframe

Film = list[tuple[np.ndarray, int]]  # frames, and for how many each stands
Watch = Callable[..., None]  # called with how many frames are `done`, `of` how many
KEY = "Blue dots: ends of the wound. Darker skin in the plan: undermined."

# Our choices, all of looks, in pixels.
WIDTH, MARGIN, GAP = 1280, 24, 16
TITLE, TEXT, SMALL = 34, 23, 18  # letters
INSET = 330  # width of the plan beside a single view
FINE = 2  # the plan is drawn so many times as large, then reduced
AROUND = 14  # of what is drawn on the skin: half a dot
FACET = 3.0  # mm: sides of the flat triangles of skin on a curved body that will be cut out
BITE = 2.5  # mm from the edge to the end of a stitch in the pictures
HEAD, FOOT = MARGIN + TITLE + GAP + 2 * (TEXT + 6) + GAP, 2 * (SMALL + 6) + MARGIN  # heights
PAPER, GREY = "white", "#555555"

RATE = 10  # frames a second; GIF counts time in hundredths
HOLD, END, ON = 20, 40, 6  # frames: a kept state stands, the last one stands, between two states
QUALITY = "18"  # of x264, 0 to 51, smaller is better; 23 blurs thin lines
GIF_WIDTH, COLOURS = 800, 128
HUES, LOOKED_AT = 32, 8  # of the scale of heights, kept in a GIF beside COLOURS of so many of its frames
NEAR = 12  # of 255: colours that Pillow, which looks them up roughly, would take for each other
MOST = 4  # closures side by side: columns narrower than a quarter cannot be read
STEPS = 5  # of closing in a film of several closures, each in how many hundredths they please


# The skin in a keyframe -----------------------------------------------------------------------------------------


def view(keyframe: Keyframe, ranges: Ranges, *, finer: int = 1) -> np.ndarray:
    """Image (h, w, 3) of the skin seen as in `chart.height_image`, with both edges, tips and tied sutures."""
    stages = keyframe.of.stages
    skin = projection.surface(keyframe.x, stages.elements, keyframe.of.body)
    lines = [*edges(keyframe), *stitches(keyframe), *keyframe.marked]
    if keyframe.at == UNCUT:
        skin, lines = pv.merge([skin, *_patches(keyframe.of)]), timeline.cut_lines(keyframe.of)
        skin.point_data["height_mm"] = np.zeros(skin.n_points)
    at, skin = projection.oblique(skin, stages.centre, ranges.half_width, keyframe.of.body)
    tips = keyframe.x[:, stages.tips]
    return projection.rendered(at, skin, lines, tips, "height_mm", ranges.heights, finer=finer, **canvas.SHADED)


def edges(keyframe: Keyframe) -> list[np.ndarray]:
    """Lines (3, k) of both edges of every seam; of the whole edge of the wound, if some of it is not sewn."""
    if physical.plan(keyframe.of.case).open:
        chains = rings(*rim(flat_triangles(keyframe.of.stages.elements)))
        outer = max(chains, key=lambda ring: np.ptp(keyframe.of.stages.X[0, ring]))
        return [keyframe.x[:, [*ring, ring[0]]] for ring in chains if ring is not outer]
    return [keyframe.x[:, edge] for seam in keyframe.of.stages.seams for edge in seam]


def _patches(result):
    """Pieces of the skin that will be cut out, on the body."""
    triangles = shapely.get_parts(shapely.constrained_delaunay_triangles(removed_skin(physical.plan(result.case))))
    triangles = shapely.orient_polygons(triangles)  # their upper side is lit, as that of the skin around
    places = shapely.get_coordinates(triangles).reshape(-1, 4, 2)[:, :3].reshape(-1, 2)
    if not places.size:
        return []
    flat = np.column_stack([places, np.zeros(len(places))])
    piece = pv.PolyData.from_regular_faces(flat, np.arange(len(flat)).reshape(-1, 3).tolist())
    if result.body.curved:
        piece = piece.subdivide_adaptive(max_edge_len=FACET)
        piece.points = result.body.place(piece.points[:, :2].T).T
    return [piece]


def stitches(keyframe: Keyframe) -> list[np.ndarray]:
    """Lines (3, 4) of the sutures that are tied: from BITE mm beside one edge to as far beside the other."""
    plan, lines = physical.plan(keyframe.of.case), []
    for seam, fraction in timeline.stitched(keyframe.of)[: keyframe.tied]:
        nodes = keyframe.of.stages.seams[seam]
        met = keyframe.x[:, nodes[:, round(fraction * (nodes.shape[1] - 1))]]
        first, second = (
            timeline.moved(keyframe, _beside(curve, fraction, side))
            for curve, side in zip(plan.seams[seam], (BITE, -BITE), strict=True)
        )
        lines.append(np.column_stack([first, met, second]))
    return lines


def _beside(curve, fraction, distance):
    """The place (2,) so many mm to the left of a curve."""
    at = np.array([fraction])
    (x, y), place = curve.tangent(at)[:, 0], curve.point(at)[:, 0]
    return place + distance * np.array([-y, x])


def inset(keyframe: Keyframe, half_width: float, width: int) -> Image.Image:
    """Image of the keyframe's plan: skin from above, its undermined zone, edges or planned lines, tied sutures."""
    stages, scale = keyframe.of.stages, FINE * width / (2 * half_width)
    high = round(FINE * width * canvas.SHAPE)
    image = Image.new("RGB", (FINE * width, high), PAPER)
    draw = ImageDraw.Draw(image)

    def at(places: np.ndarray) -> np.ndarray:
        x, y = places[:2] - stages.centre[:2, None]
        return np.column_stack([FINE * width / 2 + scale * x, high / 2 - scale * y])

    plan, triangles = physical.plan(keyframe.of.case), stages.elements[:3]
    middle = stages.X[:, triangles].mean(axis=1)
    zone = plan.undermined or shapely.Polygon()
    for corners, undermined in zip(at(keyframe.x)[triangles.T], shapely.contains_xy(zone, *middle), strict=True):
        draw.polygon(corners.ravel().tolist(), fill=canvas.UNDERMINED if undermined else canvas.SKIN)
    uncut = keyframe.at == UNCUT
    if uncut:
        for part in shapely.get_parts(removed_skin(plan)):
            draw.polygon(at(shapely.get_coordinates(part).T).ravel().tolist(), fill=canvas.FLAP)
    for line in timeline.cut_lines(keyframe.of) if uncut else [*edges(keyframe), *keyframe.marked]:
        draw.line(at(line).ravel().tolist(), fill=canvas.INK, width=2 * FINE, joint="curve")
    for line in stitches(keyframe):
        draw.line(at(line).ravel().tolist(), fill=canvas.TIP, width=3 * FINE)
    length, edge = canvas.round_number(half_width / 2), 8 * FINE  # of a bar in the lower left corner: mm, pixels
    draw.line((edge, high - edge, edge + scale * length, high - edge), fill=canvas.INK, width=3 * FINE)
    font = _font(FINE * SMALL * 3 // 4)
    draw.text((edge, high - edge - 3 * FINE), f"{length:g} mm", font=font, fill=canvas.INK, anchor="ld")
    draw.rectangle((0, 0, FINE * width - 1, high - 1), outline=GREY, width=FINE)
    return image.resize((width, round(high / FINE)), Image.Resampling.LANCZOS)


# Frames -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Camera:
    """What all frames of a film share."""

    ranges: Ranges
    rows: tuple[int, int]  # of the views that are shown: some skin is in them at some keyframe


def camera(made: Sequence[Keyframe]) -> Camera:
    """The camera that suits all of some keyframes."""
    ranges, high = chart.common_ranges([keyframe.of for keyframe in made]), canvas.VIEW[1]
    lows, tops = zip(*(_rows(keyframe, ranges.half_width) for keyframe in made), strict=True)
    return Camera(ranges, (max(0, high // 2 - max(tops) - AROUND), min(high, high // 2 - min(lows) + AROUND)))


def _rows(keyframe, half_width):
    """How far the skin reaches below and above the middle of its view, pixels."""
    middle = keyframe.of.stages.centre
    half = half_width * np.array([[1.0], [projection.DEPTH]])
    corners = np.vstack([half * [[-1, -1, 1, 1], [-1, 1, -1, 1]], np.zeros(4)]) + middle[:, None]
    inside = (np.abs(keyframe.x[:2] - middle[:2, None]) < half).all(axis=0)
    seen, _ = projection.oblique(pv.PolyData(corners.T), middle, half_width, keyframe.of.body)
    up = projection.projected(seen, np.hstack([corners, keyframe.x[:, inside]]))[1]
    up = up * canvas.VIEW[0] / (2 * seen.half_width)
    return math.floor(up.min()), math.ceil(up.max())


def frame(keyframe: Keyframe, shot: Camera, place: str = "") -> np.ndarray:
    """Frame of one closure: its place as "3 of 8", title and caption, the skin, beside it plan and scale of colours."""
    skin = reduced(cropped(keyframe, shot), WIDTH - 3 * MARGIN - INSET)
    scale = colour_scale(shot.ranges.heights, INSET)
    plan = inset(keyframe, shot.ranges.half_width, INSET)
    high = even(HEAD + max(skin.height, plan.height + scale.height + 3 * GAP + SMALL) + GAP + FOOT)
    image, draw = _sheet(high, f"{place}   {keyframe.title}".strip(), keyframe.caption)
    image.paste(skin, (MARGIN, HEAD + (high - HEAD - FOOT - skin.height) // 2))
    right = WIDTH - MARGIN - INSET
    _write(draw, (right, HEAD), "From above", SMALL)
    image.paste(plan, (right, HEAD + SMALL + GAP // 2))
    image.paste(scale, (right, HEAD + SMALL + plan.height + 2 * GAP))
    _foot(draw, high, keyframe.of.name)
    return np.asarray(image)


def side_by_side(made: Sequence[Sequence[Keyframe]], at: float, shot: Camera, names: Sequence[str]) -> np.ndarray:
    """Frame of several closures, given by their keyframes and names, at one place in time, a column each."""
    now = [timeline.keyframe_at(each, at) for each in made]
    wide = (WIDTH - (len(made) + 1) * MARGIN) // len(made)
    views = [reduced(cropped(keyframe, shot), wide) for keyframe in now]
    plans = [inset(keyframe, shot.ranges.half_width, min(wide, INSET)) for keyframe in now]
    text = 6 * (SMALL + 6)
    high = even(HEAD + text + views[0].height + plans[0].height + 2 * GAP + FOOT)
    titles = {keyframe.title for keyframe in now}
    phase = "Cut" if at < OPEN else "Closing" if at < CLOSED else "Closed" if at == CLOSED else "Cones are cut off"
    caption = "" if all(keyframe.kept for keyframe in now) else timeline.BETWEEN
    image, draw = _sheet(high, titles.pop() if len(titles) == 1 else phase, caption)
    for k, keyframe in enumerate(now):
        left = MARGIN + k * (wide + MARGIN)
        _write(draw, (left, HEAD), names[k], SMALL, bold=True, wide=wide)
        line = f"{keyframe.title}. {keyframe.caption}" if keyframe.kept else keyframe.title
        _write(draw, (left, HEAD + 2 * (SMALL + 6)), line, SMALL, wide=wide)
        image.paste(views[k], (left, HEAD + text))
        image.paste(plans[k], (left, HEAD + text + views[k].height + GAP))
    image.paste(colour_scale(shot.ranges.heights, INSET), (WIDTH - MARGIN - INSET, MARGIN))
    _foot(draw, high)
    return np.asarray(image)


def cropped(keyframe: Keyframe, shot: Camera, *, finer: int = 1) -> Image.Image:
    """The view of a keyframe, without the rows in which there is never anything; so many times as many pixels."""
    low, top = finer * shot.rows[0], finer * shot.rows[1]
    return Image.fromarray(view(keyframe, shot.ranges, finer=finer)[low:top])


def reduced(image: Image.Image, wide: int) -> Image.Image:
    """An image made so many pixels wide."""
    return image.resize((wide, round(image.height * wide / image.width)), Image.Resampling.LANCZOS)


def even(n: float) -> int:
    """The least even number that is not below n: half as many points of colour are in a film."""
    return 2 * math.ceil(n / 2)


def colour_scale(heights: tuple[float, float], wide: int) -> Image.Image:
    """Image of the colours of height and what they mean."""
    stream = io.BytesIO()
    with rc_context(style.STYLE):
        plot = chart.colour_scale("height", heights)
        plot.savefig(stream, dpi=wide / plot.get_figwidth())
    return Image.open(stream).convert("RGB")


def _sheet(high, title, text):
    """A white frame with its title and caption, and what draws on it."""
    image = Image.new("RGB", (WIDTH, high), PAPER)
    draw = ImageDraw.Draw(image)
    _write(draw, (MARGIN, MARGIN), title, TITLE, bold=True)
    _write(draw, (MARGIN, MARGIN + TITLE + GAP), text, TEXT, wide=WIDTH - 2 * MARGIN)
    return image, draw


def _foot(draw, high, name=""):
    """Write the last two lines, whose height is FOOT."""
    _write(draw, (MARGIN, high - FOOT), KEY, SMALL, fill=GREY)
    _write(draw, (MARGIN, high - FOOT + SMALL + 6), f"{name}. {NOTE}" if name else NOTE, SMALL, fill=GREY)


def _write(draw, place, text, size, *, bold=False, wide=None, fill=canvas.INK):
    """Write words from a place on, in lines not much wider than `wide`."""
    font = _font(size, bold)
    if wide:
        letters = max(10, int(wide / (draw.textlength("n", font) * 0.97)))
        text = "\n".join(textwrap.wrap(text, letters))
    draw.multiline_text(place, text, font=font, fill=fill, spacing=6)


def _font(size, bold=False):
    chosen = font_manager.FontProperties(family="DejaVu Sans", weight="bold" if bold else "normal")
    return ImageFont.truetype(font_manager.findfont(chosen), size)


# What is shown ------------------------------------------------------------------------------------------------


def numbered(made: Sequence[Keyframe], shot: Camera) -> list[tuple[str, np.ndarray]]:
    """Title and frame of every keyframe of a closure, in order."""
    return [(m.title, frame(m, shot, f"{k} of {len(made)}")) for k, m in enumerate(made, start=1)]


def film(
    made: Sequence[Keyframe], shot: Camera, kept: Sequence[tuple[str, np.ndarray]], *,
    watch: Watch = lambda **frames: None,
) -> Film:  # fmt: skip
    """Frames and for how many each stands: those kept, as from `numbered`, the skin moving from one to the next."""
    shown = []
    moves = [before.at != UNCUT and before.of is after.of for before, after in pairwise(made)]
    drawn, count = 0, sum(moves) * (ON - 1)
    for k, (before, after) in enumerate(pairwise(made)):
        shown.append((kept[k][1], HOLD))
        for j in range(1, ON) if moves[k] else ():
            watch(done=drawn, of=count)
            shown.append((frame(timeline.between(before, after, j / ON), shot), 1))
            drawn += 1
    return [*shown, (kept[-1][1], END)]


def film_of_several(
    made: Sequence[Sequence[Keyframe]], names: Sequence[str], *, watch: Watch = lambda **frames: None
) -> Film:
    """Film of several closures, given by their keyframes and names, side by side and in step: each as far closed."""
    shot = camera([keyframe for each in made for keyframe in each])
    last = max(each[-1].at for each in made)
    stops = [UNCUT, CUT, OPEN, *(np.arange(1, STEPS) / STEPS), *np.arange(CLOSED, last + 0.5)]

    places: list[tuple[float, int]] = []  # in time, and for how many frames
    for before, after in pairwise(stops):
        places.append((before, HOLD if before <= OPEN or before >= CLOSED else 1))
        if UNCUT < before < CLOSED:
            places += [(before + (after - before) * j / ON, 1) for j in range(1, ON)]
    shown = []
    for done, (at, times) in enumerate(places := [*places, (last, END)]):
        watch(done=done, of=len(places))
        shown.append((side_by_side(made, at, shot, names), times))
    return shown


# Files --------------------------------------------------------------------------------------------------------


def write_numbered(kept: Sequence[tuple[str, np.ndarray]], folder: Path) -> None:
    """Write the frames into a folder as PNG files, whose names say place and title."""
    folder.mkdir(parents=True, exist_ok=True)
    for k, (title, image) in enumerate(kept, start=1):
        slug = "-".join("".join(c if c.isalnum() and c.isascii() else " " for c in title.lower()).split())
        Image.fromarray(image).save(folder / f"{k:02d}-{slug}.png")


def write_mp4(shown: Film, path: Path) -> None:
    """Write frames as H.264 in 4:2:0, which every player shows; their sides are even."""
    high, wide = shown[0][0].shape[:2]
    with av.open(str(path), "w", options={"movflags": "+faststart"}) as container:
        stream = container.add_stream("libx264", rate=Fraction(RATE), options={"crf": QUALITY, "threads": "1"})
        stream.width, stream.height, stream.pix_fmt = wide, high, "yuv420p"
        for image, times in shown:
            for _ in range(times):
                container.mux(stream.encode(av.VideoFrame.from_ndarray(image, format="rgb24")))
        container.mux(stream.encode())


def write_gif(shown: Film, path: Path) -> None:
    """Write frames as a GIF that runs for ever, at most GIF_WIDTH wide."""
    full = (Image.fromarray(image) for image, _ in shown)
    fitting = (reduced(image, GIF_WIDTH) if image.width > GIF_WIDTH else image for image in full)
    colours = palette(kept := list(fitting))
    images = [image.quantize(palette=colours, dither=Image.Dither.NONE) for image in kept]
    durations = [1000 * times // RATE for _, times in shown]
    images[0].save(path, save_all=True, append_images=images[1:], duration=durations, loop=0)


def palette(images: Sequence[Image.Image]) -> Image.Image:
    """An image whose palette suits some frames and has the colours that mean something, even if few pixels do."""
    marks = (canvas.INK, canvas.SKIN, canvas.UNDERMINED, canvas.TIP, canvas.FLAP, PAPER, GREY)
    fixed = np.rint(255 * np.array([*map(to_rgb, marks), *canvas.HEIGHTS(np.linspace(0, 1, HUES))[:, :3]]))
    seen = np.vstack([np.asarray(image) for image in images[:: max(1, len(images) // LOOKED_AT)]])
    chosen = np.reshape(Image.fromarray(seen).quantize(COLOURS).getpalette() or [], (-1, 3))
    chosen = chosen[KDTree(fixed).query(chosen)[0] > NEAR]
    made = Image.new("P", (1, 1))
    made.putpalette(np.vstack([fixed, chosen]).astype(int).ravel().tolist())
    return made
