"""Frames and films of a small lens, joined all along and tied suture by suture, read back from their files."""

from dataclasses import replace

import av
import numpy as np
import pytest
from matplotlib.colors import to_rgb
from PIL import Image
from pytest import approx
from scipy.spatial import KDTree
from small_cases import case, result_of, text

from fem.case import case as cases
from fem.case import physical
from fem.comparison import chart
from fem.render import canvas
from fem.results.quantities import numbers, shown
from fem.teaching import film, timeline
from fem.teaching.timeline import CLOSED, CUT, OPEN, UNCUT

TIED = text("tied", 28).replace("undermine_mm: 6", "undermine_mm: 6, sutures: {kind: interrupted, spacing_mm: 8}")


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    """A lens joined all along, one with three sutures, and a longer one."""
    into = tmp_path_factory.mktemp("results")
    request = [case(text("lens", 28)), case(TIED), case(text("longer", 36))]
    return [result_of(sample, into) for sample in request]


@pytest.fixture(scope="module", autouse=True)
def few_between():
    """One frame between two states: each takes a third of a second to draw."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(film, "ON", 2)
        yield


@pytest.fixture(scope="module")
def shot(results):
    return film.camera(timeline.keyframes(results[0]))


@pytest.fixture(scope="module")
def kept(results, shot):
    return film.numbered(timeline.keyframes(results[0]), shot)


@pytest.fixture(scope="module")
def filmed(results, shot, kept):
    told: list = []
    watch = lambda *, done, of: told.append((done, of))  # noqa: E731
    made = film.film(timeline.keyframes(results[0]), shot, kept, watch=watch)
    assert told == [(k, len(made) - len(kept)) for k in range(len(made) - len(kept))]
    return made


def decoded(path):
    """Frames of a film, as arrays, and how many a second."""
    with av.open(str(path)) as container:
        assert container.streams.video[0].codec_context.pix_fmt == "yuv420p"
        assert container.streams.video[0].codec_context.name == "h264"
        return [sample.to_ndarray(format="rgb24") for sample in container.decode(video=0)], container.streams.video[
            0
        ].average_rate


def difference(sample, other):
    """Mean difference of two images, of 255."""
    return np.abs(sample.astype(float) - other).mean()


# Keyframes ------------------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_keyframes(results):
    """Uncut, cut, open, then the kept stages in order up to the closed one; captions say the case's own numbers."""
    running, tied = map(timeline.keyframes, results[:2])
    assert [m.at for m in running[:3]] == [UNCUT, CUT, OPEN]
    assert [m.at for m in running[3:]] == approx([0.2, 0.4, 0.6, 0.8, 1.0], abs=0.11)
    assert [m.title for m in tied[3:]] == ["Suture 1 of 3 tied", "Suture 2 of 3 tied", "Closed"]
    assert [m.tied for m in tied] == [0, 0, 0, 1, 2, 3]
    forces = results[1].measures["suture_forces_N"]
    assert tied[4].caption == f"As soon as it is tied it pulls with {shown('_N', forces[1])} N."
    assert running[-1].caption.startswith("It lies flat, scar ")
    high = timeline.ending(numbers(results[0].measures) | {"cone_height_mm": 3.04})
    assert high.startswith("Cones 3.0 mm high, scar ")
    assert f"{shown('_mm', results[0].measures['gape_width_mm'])} mm wide" in running[2].caption
    assert all(phrase == timeline.ON_THE_WAY for phrase in (m.caption for m in running[3:-1]))


def test_first_keyframes_are_flat_and_last_is_the_closed_state(results):
    """Before the cut skin lies where it lay; the gaping wound and the closed one are those of the result."""
    sample = results[0]
    made = timeline.keyframes(sample)
    assert (made[0].x[:2] == sample.stages.X).all() and (made[1].x == made[0].x).all() and not made[0].x[2].any()
    assert (made[2].x == sample.stages.x[0]).all()
    assert (made[-1].x == sample.stages.x[-1]).all()


def test_trimmed(results):
    """A closure whose cones are cut off starts as the untrimmed one; then the cuts are drawn on the closed skin, where
    the skin under them has gone, and the last is the trimmed skin; nothing moves from one skin to the other."""
    before, longer = results[0], results[2]
    measured = longer.measures | {"trim_skin_removed_mm2": 31.4, "trim_scar_added_mm": 7.25}
    made = timeline.keyframes(replace(longer, measures=measured), before)
    assert [m.title for m in made[-3:]] == ["Closed", "Cones to be cut off", "Trimmed and closed again"]
    assert [m.at for m in made[-3:]] == [CLOSED, CLOSED + 1, CLOSED + 2]
    assert "31 mm² of skin more" in made[-2].caption and "7.2 mm longer" in made[-1].caption
    assert all(m.of is before for m in made[:-1]) and (made[-1].x == longer.stages.x[-1]).all()
    tree = KDTree(made[-2].x.T)
    assert tree.query(np.hstack(made[-2].marked).T)[0].max() < 2  # on the skin, whose nodes are about 1 mm apart
    tip = made[-2].marked[0][:, [0, -1]]
    assert np.abs(tip[0]).min() > np.abs(made[-2].x[0, before.stages.tips]).max()
    assert timeline.keyframe_at(made, CLOSED + 1.5) is made[-2]


def test_left_open(results):
    """A wound whose edge is not sewn shows all of that edge, and says nothing of a scar; nor does it of folds if there
    are none, for what is 0 or unknown is left out."""
    sample = results[0]
    round_wound = {"outline": {"kind": "circle", "diameter_mm": 10}}
    purse = {"technique": "purse-string", "thread_mm": 24, "undermine_mm": 6}
    content = sample.case.model_dump(mode="json", exclude_none=True) | {"wound": round_wound, "closure": purse}
    opened = replace(
        sample, case=cases.Case.model_validate(content), measures={"open_area_mm2": 52.4, "cone_height_mm": 0}
    )
    assert timeline.ending({"cone_height_mm": 1e-9, "scar_length_mm": 30.0}) == "It lies flat, scar 30.0 mm long."
    opened = replace(opened, stages=replace(sample.stages, seams=()))
    last = timeline.ending(numbers(opened.measures))
    assert last == "52 mm² left open." and timeline.done(opened) == "Drawn together, left open"
    keyframe = timeline.keyframes(sample)[1]
    edge = np.unique(sample.stages.pairs)
    lines = film.edges(replace(keyframe, of=opened))
    assert len(lines) == 1 and lines[0].shape[1] == edge.size + 1 and (lines[0][:, 0] == lines[0][:, -1]).all()
    assert (np.unique(lines[0], axis=1) == np.unique(keyframe.x[:, edge], axis=1)).all()


def test_between(results):
    """Half way between two keyframes every point is half way, and the caption says that it was not computed."""
    made = timeline.keyframes(results[0])
    middle = timeline.keyframe_at(made, (made[3].at + made[4].at) / 2)
    assert middle.x == approx((made[3].x + made[4].x) / 2)
    assert (middle.kept, middle.caption) == (False, timeline.BETWEEN)
    assert timeline.keyframe_at(made, made[3].at) is made[3]
    assert timeline.keyframe_at(made, CLOSED + 1) is made[-1]


def test_stitches(results):
    """Where the plan has a suture, the stitch runs from BITE mm above the edge to as far below it, on the skin."""
    tied = results[1]
    uncut = timeline.keyframes(tied)[1]
    lines = film.stitches(replace(uncut, tied=3))
    drawing = physical.plan(tied.case)
    for line, (_, fraction) in zip(lines, physical.tying(drawing, tied.case.closure.sutures), strict=True):
        upper, lower = (curve.point(np.array([fraction]))[:, 0] for curve in drawing.seams[0])
        above, below = line[:2, 0] - upper, line[:2, 3] - lower
        assert np.hypot(*above) == approx(film.BITE, rel=0.01) and np.hypot(*below) == approx(film.BITE, rel=0.01)
        assert above[1] > 0 > below[1]
        assert line[:2, 1:3].T == approx(np.array([upper, lower]), abs=1.1)  # the edge's nearest node, 2 mm triangles
    assert len(film.stitches(replace(uncut, tied=1))) == 1
    assert film.stitches(timeline.keyframes(results[0])[-1]) == []


# Frames -------------------------------------------------------------------------------------------------------


def test_last_view_is_that_of_the_comparison(results, shot):
    """The closed skin from the same camera in the same colours as on the comparison page, to the pixel."""
    sample = results[0]
    picture = film.view(timeline.keyframes(sample)[-1], shot.ranges)
    assert (picture == chart.height_image(sample, shot.ranges)).all()


def test_nothing_is_cut_off(results):
    """The rows that the camera leaves out are white in all keyframes, those at its ends are not far from skin."""
    both = film.camera([keyframe for sample in results[:2] for keyframe in timeline.keyframes(sample)])
    low, high = both.rows
    skins = []
    for sample in results[:2]:
        for keyframe in (timeline.keyframes(sample)[0], timeline.keyframes(sample)[-1]):
            skins.append((film.view(keyframe, both.ranges) < 255).any(axis=(1, 2)))
    rows = np.flatnonzero(np.any(skins, axis=0))
    assert low <= rows[0] < low + 2 * film.AROUND and high - 2 * film.AROUND < rows[-1] + 1 <= high


def test_uncut_skin_is_whole(results, shot):
    """Where the wound will be, skin is seen before the cut and the white ground after it."""
    sample = results[0]
    before, after = (film.view(keyframe, shot.ranges) for keyframe in timeline.keyframes(sample)[:2])
    middle = np.array(before.shape[:2]) // 2
    assert (after[tuple(middle)] == 255).all()
    assert (before[tuple(middle)] < 255).any()


def test_frames(kept):
    """As many as keyframes, all of one even size; from one to the next both the title and the skin below change."""
    images = [image for _, image in kept]
    assert len(kept) == 8
    assert {image.shape for image in images} == {images[0].shape}
    assert images[0].shape[0] % 2 == images[0].shape[1] % 2 == 0
    assert images[0].shape[1] == film.WIDTH
    assert all(
        (a[:80] != b[:80]).any() and (a[150:] != b[150:]).any() for a, b in zip(images[1:], images, strict=False)
    )


def test_plan_shows_the_stage(results):
    """The share of white in the plan is the open wound's: the area cut out, none of it when uncut or closed."""
    sample = results[0]
    made, half = timeline.keyframes(sample), sample.stages.half_width
    white = [(np.asarray(film.inset(m, half, 300)) > 250).all(axis=2).mean() for m in (made[0], made[1], made[-1])]
    whole = 4 * half**2 * film.canvas.SHAPE
    assert white[1] == approx(sample.measures["removed_area_mm2"] / whole, rel=0.15)  # the line covers some of it
    assert max(white[0], white[2]) < 1e-3


# Files --------------------------------------------------------------------------------------------------------


def test_numbered_files(kept, tmp_path):
    """Names sort in the order of the keyframes, the first uncut, the last closed; read back they are the frames."""
    film.write_numbered(kept, tmp_path / "frames")
    paths = sorted((tmp_path / "frames").iterdir())
    assert [paths[0].name, paths[-1].name] == ["01-uncut-skin.png", "08-closed.png"]
    for path, (_, image) in zip(paths, kept, strict=True):
        assert (np.asarray(Image.open(path)) == image).all()


@pytest.mark.slow
def test_mp4(filmed, kept, tmp_path):
    """Frame count, size and rate as asked; every kept frame is there in its order; the last is the final picture,
    within what 4:2:0 and the encoder lose."""
    film.write_mp4(filmed, tmp_path / "a.mp4")
    images, rate = decoded(tmp_path / "a.mp4")
    assert rate == film.RATE
    assert len(images) == sum(times for _, times in filmed) == 7 * film.HOLD + 6 * (film.ON - 1) + film.END
    assert {image.shape for image in images} == {kept[0][1].shape}
    assert difference(images[-1], kept[-1][1]) < 1
    ends = np.cumsum([times for _, times in filmed]) - 1
    held = [end for end, (_, times) in zip(ends, filmed, strict=True) if times >= film.HOLD]
    nearest = [np.argmin([difference(images[end], sample) for _, sample in kept]) for end in held]
    assert nearest == list(range(len(kept)))


def test_gif(filmed, kept, tmp_path):
    """As long as the film, for ever, and it ends with the final picture, within what 128 colours lose."""
    film.write_gif(filmed, tmp_path / "a.gif")
    with Image.open(tmp_path / "a.gif") as made:
        assert (made.width, made.info["loop"]) == (film.GIF_WIDTH, 0)
        durations = []
        for k in range(made.n_frames):
            made.seek(k)
            durations.append(made.info["duration"])
        last = np.asarray(made.convert("RGB"))
    assert sum(durations) == sum(times for _, times in filmed) * 1000 / film.RATE
    wanted = np.asarray(Image.fromarray(kept[-1][1]).resize(last.shape[1::-1], Image.Resampling.LANCZOS))
    assert difference(last, wanted) < 2


def test_colours_that_mean_something_stay(tmp_path):
    """In a GIF of pale frames a few dots stay blue, and the scale of heights keeps its hues from end to end."""
    frame = np.full((200, 300, 3), 255, np.uint8)
    frame[20:] = np.random.default_rng(1).integers(190, 250, (180, 300, 3))  # shades that take all that is chosen
    frame[100:103, 50:53] = dot = np.rint(255 * np.array(to_rgb(canvas.TIP)))
    frame[5:8, 10:210] = hues = np.rint(255 * canvas.HEIGHTS(np.linspace(0, 1, 200))[:, :3])
    film.write_gif([(frame, 1), (frame[:, ::-1], 1)], tmp_path / "a.gif")
    with Image.open(tmp_path / "a.gif") as made:
        seen = np.asarray(made.convert("RGB")).astype(int)
    assert np.abs(seen[101, 51] - dot).max() <= 1 and np.abs(seen[6, 10:210] - hues).max() <= 20


@pytest.mark.slow
def test_several_in_step(results, tmp_path, monkeypatch):
    """Two closures side by side: both are uncut, open and closed at the same time, and each half shows its own."""
    monkeypatch.setattr(film, "ON", 1)  # nothing between two states
    made = [timeline.keyframes(sample) for sample in results[:2]]
    told: list = []
    watch = lambda *, done, of: told.append((done, of))  # noqa: E731
    shown = film.film_of_several(made, ["all along", "by three sutures"], watch=watch)
    assert told == [(k, len(shown)) for k in range(len(shown))]
    film.write_mp4(shown, tmp_path / "a.mp4")
    images, _ = decoded(tmp_path / "a.mp4")
    assert len(images) == sum(times for _, times in shown)
    shot = film.camera([*made[0], *made[1]])
    last = film.side_by_side(made, CLOSED, shot, ["all along", "by three sutures"])
    assert (shown[-1][0] == last).all() and difference(images[-1], last) < 1
    swapped = film.side_by_side(made[::-1], CLOSED, shot, ["by three sutures", "all along"])
    half = (film.WIDTH - film.MARGIN) // 2
    text = slice(film.HEAD, None)
    left = last[text, film.MARGIN : film.MARGIN + half - film.MARGIN]
    right = swapped[text, film.MARGIN + half : 2 * half]
    foot = film.FOOT
    assert (left[:-foot] == right[:-foot]).all() and (last[:-foot] != swapped[:-foot]).any()
