"""What the watcher sees, on pictures whose answer is known: edges of a given width, shifts, cuts, light."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from swingmatch.body.skeleton import INDEX, K
from swingmatch.body.track import Track
from swingmatch.clip.clip import Frame
from swingmatch.footage import picture
from swingmatch.footage.picture import Watcher, look

SIZE = (640, 360)


def texture(seed, scale=12, size=SIZE, margin=80):
    """Smooth random patches, larger than the picture by ``margin`` on each side."""
    rng = np.random.default_rng(seed)
    coarse = rng.uniform(30, 220, ((size[1] + 2 * margin) // scale + 2, (size[0] + 2 * margin) // scale + 2))
    fine = cv2.resize(
        coarse.astype(np.float32), (size[0] + 2 * margin, size[1] + 2 * margin), interpolation=cv2.INTER_CUBIC
    )
    return np.clip(fine, 0, 255).astype(np.uint8)


def window(sheet, dx=0, dy=0, margin=80):
    part = sheet[margin + dy : margin + dy + SIZE[1], margin + dx : margin + dx + SIZE[0]]
    return np.ascontiguousarray(np.repeat(part[..., None], 3, axis=2))


def watch(images, rate=10.0, **options):
    watcher = Watcher(every=1, **options)
    for i, image in enumerate(images):
        watcher.see(Frame(i, i / rate, image))
    return watcher.watched()


def still_track(count=40, rate=10.0, box=(250, 60, 390, 320)):
    """Somebody who stands still in a box of the picture."""
    rng = np.random.default_rng(2)
    points = rng.uniform(box[:2], box[2:], (K, 2))
    points[:2] = box[:2], box[2:]
    image = np.repeat(points[None], count, axis=0)
    return Track(np.arange(count) / rate, image, np.zeros((count, K, 3)), np.ones((count, K)), SIZE)


# --- sharpness --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("width", [1, 2, 3, 4, 6])
def test_the_width_of_straight_ramps_is_found(width):
    """Squares far enough apart, their edges spread evenly over ``width`` pixels: the formula is exact for them."""
    x = np.arange(640)
    steps = np.zeros(640)
    for k, at in enumerate(range(20, 620, 30)):
        steps += (1 if k % 2 == 0 else -1) * np.clip((x - at) / width, 0, 1)
    image = np.repeat((40 + 150 * np.repeat(steps[None], 360, axis=0))[..., None], 3, axis=2).astype(np.uint8)
    edges = picture._edges(np.ascontiguousarray(image[..., 1]))
    assert picture._edge_width(edges[:, 2:-2, 2:-2]) == pytest.approx(width, rel=0.1)


def test_a_softer_picture_has_wider_edges():
    sheet = np.where(texture(4, scale=30) > 120, 200, 40).astype(np.uint8)
    widths = []
    for blur in (0, 3, 7):
        soft = cv2.blur(sheet, (blur, blur)) if blur else sheet
        widths.append(look(watch([window(soft)] * 3), still_track()).edge)
    assert widths == sorted(widths)
    assert widths[2] > 2 * widths[0]


def test_a_hand_smeared_while_it_is_fast():
    """A square that stands for a hand: sharp while still, smeared over 7 pixels while it moves."""
    count, rate = 40, 10.0
    place = np.where(np.arange(count) % 10 == 5, 60.0, 0.0).cumsum() % 240 + 200
    moving = np.isin(np.arange(count) % 10, (4, 5))  # the frames beside the jump are the fast ones
    track = still_track(count, rate)
    image = track.image.copy()
    for side in ("left", "right"):
        image[:, INDEX[f"{side}_wrist"]] = np.stack([place, np.full(count, 200.0)], axis=1)
    frames = []
    for i in range(count):
        sheet = np.full((SIZE[1], SIZE[0]), 60, np.uint8)
        left = int(place[i])
        sheet[185:215, left - 15 : left + 15] = 220
        if moving[i]:
            sheet = cv2.blur(sheet, (7, 1))
        frames.append(np.repeat(sheet[..., None], 3, axis=2))
    moved = Track(track.times, image, track.world, track.visibility, SIZE)
    result = look(watch(frames, rate), moved)
    assert result.smear == pytest.approx(6.0, abs=2.0)  # 7 pixels against 1
    sharp = look(watch([np.repeat(f[..., :1], 3, axis=2) for f in frames[:5]] * 8, rate), moved)
    assert not sharp.smear > 0.5


# --- movement ---------------------------------------------------------------------------------------------------------


@settings(max_examples=8, deadline=None)
@given(dx=st.integers(-9, 9), dy=st.integers(-6, 6))
def test_the_way_of_a_moving_camera_is_measured(dx, dy):
    sheet = texture(7)
    images = [window(sheet, dx * min(i, 6), dy * min(i, 6)) for i in range(12)]
    result = look(watch(images), still_track())
    # Each step is known to a tenth of a thumbnail's pixel.
    assert result.travel == pytest.approx(6 * max(abs(dx), abs(dy)) / SIZE[1], abs=6 * 0.1 / 96)


def test_a_still_camera_is_still_though_the_player_moves():
    sheet = texture(8)
    images, points = [], []
    for i in range(30):
        image = window(sheet).copy()
        x = 200 + 8 * i
        image[100:300, x : x + 60] = 250
        images.append(image)
        points.append(np.array([[x, 100.0], [x + 60, 300.0]] + [[x + 30, 200.0]] * (K - 2)))
    track = Track(np.arange(30) / 10, np.array(points), np.zeros((30, K, 3)), np.ones((30, K)), SIZE)
    result = look(watch(images), track)
    assert result.travel < 0.02
    assert result.cuts == ()


# --- cuts -------------------------------------------------------------------------------------------------------------


def test_another_scene_is_a_cut_at_its_time():
    images = [window(texture(1))] * 15 + [window(texture(2))] * 15
    result = look(watch(images), still_track(30))
    assert result.cuts == (1.5,)
    assert result.cut_margin == pytest.approx(0.1)


def test_a_pan_a_flash_and_a_plain_wall_are_no_cut():
    sheet = texture(3, scale=40)
    pan = [window(sheet, 6 * i - 60) for i in range(20)]
    flash = [np.clip(window(sheet) * (1.6 if i == 7 else 1.0), 0, 255).astype(np.uint8) for i in range(20)]
    wall = [np.full((SIZE[1], SIZE[0], 3), 120, np.uint8)] * 20
    for images in (pan, flash, wall):
        assert look(watch(images), still_track(20)).cuts == ()


def test_a_player_who_is_suddenly_elsewhere_is_a_cut():
    """The film goes on in the same place at another time."""
    track = still_track(30, rate=30.0, box=(100, 60, 200, 320))
    image = track.image.copy()
    image[12:, :, 0] += 400
    jumped = Track(track.times, image, track.world, track.visibility, SIZE)
    assert look(watch([window(texture(5))] * 3), jumped).cuts == (12 / 30.0,)
    assert look(watch([window(texture(5))] * 3), track).cuts == ()


# --- light ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("level", "blown", "black"), [(255, 1.0, 0.0), (0, 0.0, 1.0), (128, 0.0, 0.0)])
def test_the_light_on_the_player_counts_not_that_around(level, blown, black):
    image = np.full((SIZE[1], SIZE[0], 3), 255 - level, np.uint8)
    image[50:330, 240:400] = level
    result = look(watch([image] * 3), still_track())
    assert result.blown == pytest.approx(blown, abs=0.02)
    assert result.black == pytest.approx(black, abs=0.02)


# --- keeping little ---------------------------------------------------------------------------------------------------


def test_memory_does_not_grow_with_the_clip(monkeypatch):
    monkeypatch.setattr(picture, "_MOST", 20)
    watcher = Watcher(every=2)
    image = window(texture(1))
    passed = list(watcher.passing(Frame(i, i / 60, image) for i in range(400)))
    assert len(passed) == 400
    watched = watcher.watched()
    assert len(watched.times) <= 21
    assert (np.diff(watched.times) > 0).all()
    assert watched.times[-1] > 5.0


def test_frames_pass_unchanged_and_in_order():
    frames = [Frame(i, i / 60, window(texture(1))) for i in range(5)]
    assert list(Watcher(every=3).passing(frames)) == frames


def test_stretches_of_a_long_clip_are_watched_one_by_one():
    """Between two stretches the camera may have turned: that is no cut."""
    watcher = Watcher(every=1)
    for start, seed in ((10.0, 1), (2.0, 2)):
        list(watcher.passing(Frame(i, start + i / 10, window(texture(seed))) for i in range(5)))
    watched = watcher.watched()
    assert (np.diff(watched.times) > 0).all()
    assert look(watched, still_track(200)).cuts == ()


def test_nothing_watched_says_nothing():
    assert Watcher().watched() is None
    result = look(None, still_track())
    assert np.isnan(result.edge)
    assert result.cuts == ()


@pytest.mark.parametrize("size", [(16, 16), (1, 1), (9, 300)])
def test_tiny_pictures_do_no_harm(size):
    image = np.full((size[1], size[0], 3), 90, np.uint8)
    track = Track(np.arange(4.0), np.full((4, K, 2), np.nan), np.zeros((4, K, 3)), np.zeros((4, K)), size)
    result = look(watch([image] * 4), track)
    assert np.isnan(result.edge)
