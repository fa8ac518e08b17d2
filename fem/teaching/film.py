"""Frames → numbered PNG files, an MP4 and a GIF (PyAV, which brings its encoder; pillow)."""

from fractions import Fraction
from itertools import pairwise

import av
import numpy as np
from PIL import Image

from fem.teaching import frame
from fem.teaching.frame import camera, side_by_side
from fem.teaching.timeline import CLOSED, CUT, OPEN, UNCUT, between

# Our choices.
RATE = 10  # frames a second; GIF counts time in hundredths
HOLD, END, ON = 20, 40, 6  # frames: a kept state stands, the last one stands, between two states
QUALITY = "18"  # of x264, 0 to 51, smaller is better; 23 blurs thin lines
GIF_WIDTH, COLOURS = 800, 128
MOST = 4  # closures side by side: columns narrower than a quarter cannot be read
STEPS = 5  # of closing in a film of several closures, each in how many hundredths they please


# What is shown ------------------------------------------------------------------------------------------------


def numbered(made, shot):
    """Title and frame of every keyframe of a closure, in order."""
    return [(m.title, frame.frame(m, shot, f"{k} of {len(made)}")) for k, m in enumerate(made, start=1)]


def film(made, shot, kept):
    """Frames and for how many each stands: the keyframes' own in order, the skin moving from one to the next.

    kept   of the keyframes, as from `numbered`
    """
    shown = []
    for k, (before, after) in enumerate(pairwise(made)):
        shown.append((kept[k][1], HOLD))
        if before.at != UNCUT and before.of is after.of:
            shown += [(frame.frame(between(before, after, j / ON), shot), 1) for j in range(1, ON)]
    return [*shown, (kept[-1][1], END)]


def film_of_several(made, names):
    """Frames, and for how many each stands, of several closures side by side and in step: each as far closed.

    made    keyframes of each;  names   of each
    """
    shot = camera([keyframe for each in made for keyframe in each])
    last = max(each[-1].at for each in made)
    stops = [UNCUT, CUT, OPEN, *(np.arange(1, STEPS) / STEPS), *np.arange(CLOSED, last + 0.5)]

    def drawn(at):
        return side_by_side(made, at, shot, names)

    shown = []
    for before, after in pairwise(stops):
        shown.append((drawn(before), HOLD if before <= OPEN or before >= CLOSED else 1))
        if UNCUT < before < CLOSED:
            shown += [(drawn(before + (after - before) * j / ON), 1) for j in range(1, ON)]
    return [*shown, (drawn(last), END)]


# Files --------------------------------------------------------------------------------------------------------


def write_numbered(kept, folder):
    """Paths of the frames as PNG files, whose names say place and title, written into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for k, (title, image) in enumerate(kept, start=1):
        words = "-".join("".join(c if c.isalnum() and c.isascii() else " " for c in title.lower()).split())
        paths.append(folder / f"{k:02d}-{words}.png")
        Image.fromarray(image).save(paths[-1])
    return paths


def write_mp4(shown, path):
    """Write frames as H.264 in 4:2:0, which every player shows; their sides are even."""
    high, wide = shown[0][0].shape[:2]
    with av.open(str(path), "w", options={"movflags": "+faststart"}) as container:
        stream = container.add_stream("libx264", rate=Fraction(RATE), options={"crf": QUALITY, "threads": "1"})
        stream.width, stream.height, stream.pix_fmt = wide, high, "yuv420p"
        for image, times in shown:
            for _ in range(times):
                container.mux(stream.encode(av.VideoFrame.from_ndarray(image, format="rgb24")))
        container.mux(stream.encode())


def write_gif(shown, path):
    """Write frames as a GIF that runs for ever, at most GIF_WIDTH wide."""
    images = [_small(image) for image, _ in shown]
    durations = [1000 * times // RATE for _, times in shown]
    images[0].save(path, save_all=True, append_images=images[1:], duration=durations, loop=0)


def _small(image):
    made = Image.fromarray(image)
    if made.width > GIF_WIDTH:
        made = made.resize((GIF_WIDTH, round(made.height * GIF_WIDTH / made.width)), Image.Resampling.LANCZOS)
    return made.quantize(COLOURS, dither=Image.Dither.NONE)
