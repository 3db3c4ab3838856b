"""The court in rendered pictures of a made-up player: found where it is painted, not where it is not."""

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from swingmatch.body.skeleton import INDEX, K
from swingmatch.body.track import Track
from swingmatch.clip.reader import open_clip
from swingmatch.clip.writer import FilmWriter
from swingmatch.court.lines import find_lines
from swingmatch.court.still import still
from swingmatch.court.watch import body_of, court_yaw, see_court
from swingmatch.synth.scene import Scene

VIEWS = [
    (150.0, Scene(surface="clay", seed=1)),
    (85.0, Scene(surface="grass", behind_baseline=0.3, aside=-1.5, seed=2)),
    (-140.0, Scene(surface="grey indoor", bystander="walking", noise=4.0, seed=3)),
]


def off(yaw, azimuth):
    return (yaw - azimuth + 45.0) % 90.0 - 45.0


@pytest.mark.parametrize(("azimuth", "scene"), VIEWS)
def test_the_yaw_in_rendered_pictures(filmed, phone, azimuth, scene):
    pictures, masks, body = filmed(replace(phone, azimuth=azimuth, roll=0.8), scene)
    found = court_yaw(pictures, masks, body)
    assert found is not None
    assert abs(off(found.yaw, azimuth)) < min(3.0 * found.sd, 5.0)


def test_a_lens_that_bends_lines_and_a_hand_that_shakes(filmed, phone):
    """Barrel distortion of 2 % at the corners and 0.15 degrees of shake."""
    camera = replace(phone, azimuth=150.0, shake=0.15)
    pictures, masks, body = filmed(camera, VIEWS[0][1])
    w, h = camera.size
    lens = np.array([[camera.focal, 0, w / 2], [0, camera.focal, h / 2], [0, 0, 1.0]])
    x, y = cv2.initUndistortRectifyMap(lens, np.array([0.04, 0, 0, 0, 0.0]), None, lens, (w, h), cv2.CV_32FC1)
    bent = [cv2.remap(p, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE) for p in pictures]
    found = court_yaw(bent, masks, body)
    assert found is not None
    assert abs(off(found.yaw, 150.0)) < min(3.0 * found.sd, 6.0)


@pytest.mark.parametrize(("azimuth", "scene"), VIEWS[1:3])
def test_no_paint_no_court(filmed, phone, azimuth, scene):
    """The same places without their lines: fences, posts, shadows, surfaces that end, and somebody walking."""
    pictures, masks, body = filmed(replace(phone, azimuth=azimuth), scene, painted=False)
    assert court_yaw(pictures, masks, body) is None


def test_clutter_on_the_ground_is_no_court(filmed, phone):
    """A floor strewn with bright sticks in all directions."""
    pictures, masks, body = filmed(replace(phone, azimuth=-140.0), VIEWS[2][1], painted=False)
    pictures = [picture.copy() for picture in pictures]
    rng = np.random.default_rng(5)
    sticks = [
        (m - h * w, m + h * w)
        for m, a, h in zip(rng.uniform((40, 220), (600, 340), (14, 2)), rng.uniform(0, np.pi, 14),
                           rng.uniform(25, 60, 14), strict=True)
        for w in [np.array([np.cos(a), np.sin(a)])]
    ]  # fmt: skip
    for picture in pictures:
        for start, stop in sticks:
            cv2.line(
                picture,
                start.astype(int).tolist(),
                stop.astype(int).tolist(),
                (235, 235, 230),
                3,
                cv2.LINE_AA,
            )
    assert len(find_lines(pictures[0].min(axis=2))) >= 8
    assert court_yaw(pictures, masks, body) is None


def test_what_moves_is_not_in_the_still_picture():
    rng = np.random.default_rng(2)
    ground = cv2.GaussianBlur(rng.integers(0, 250, (240, 320)).astype(np.uint8), (0, 0), 1)
    pictures, masks = [], []
    for k in range(5):
        picture, mask = ground.copy(), np.zeros(ground.shape, bool)
        picture[20:60, 20 * k : 20 * k + 15] = 255  # unmasked, but never twice in one place
        picture[80:100, 10:150] = 255  # a player who covers a place in every picture
        mask[80:100, 10:150] = True
        pictures.append(picture)
        masks.append(mask)
    found, hidden = still(pictures, masks)
    assert np.abs(found[20:60].astype(int) - ground[20:60]).max() <= 3
    assert hidden[82:98, 12:148].all()
    assert not hidden[:78].any()


def test_pictures_of_a_camera_that_turned_away_are_left_out():
    rng = np.random.default_rng(3)
    wide = cv2.GaussianBlur(rng.integers(0, 256, (120, 260)).astype(np.uint8), (0, 0), 2)
    pictures = [wide[:, x : x + 200] for x in (50, 50, 0, 0, 0)]
    found, _ = still(pictures, [np.zeros((120, 200), bool)] * 5)
    assert np.abs(found.astype(int) - pictures[2]).max() <= 1


@pytest.fixture(scope="module")
def clip(filmed, phone, tmp_path_factory):
    """A short clip of ten pictures and a track of somebody who stands in it."""
    camera = replace(phone, azimuth=150.0, roll=0.8)
    pictures, _, body = filmed(camera, VIEWS[0][1])
    path = tmp_path_factory.mktemp("court") / "court.mp4"
    times = np.arange(10) / 10
    with FilmWriter(path, camera.size, 10, crf=22, preset="ultrafast") as film:
        for k, time in enumerate(times):
            film.write(pictures[k // 2], time)
    x, ground = body.feet
    image = np.tile([x, ground - 0.5 * body.height], (len(times), K, 1))
    image[:, INDEX["nose"], 1] = ground - 0.917 * body.height
    for part, high in (("ankle", 0.039), ("heel", 0.0), ("toe", 0.0)):
        for side, way in (("left", -1), ("right", 1)):
            image[:, INDEX[f"{side}_{part}"]] = (x + way * 0.06 * body.height, ground - high * body.height)
    return open_clip(path), Track(times, image, np.zeros((10, K, 3)), np.ones((10, K)), camera.size), body


def test_the_whole_way_from_a_clip(clip):
    film, track, body = clip
    assert body_of(track).height == pytest.approx(body.height, rel=0.01)
    found = see_court(film, track)
    assert found is not None
    assert abs(off(found.yaw, 150.0)) < min(3.0 * found.sd, 5.0)


def test_a_clip_in_slow_motion_is_read_at_its_own_times(clip):
    film, track, _ = clip
    slow = see_court(film, replace(track, times=track.times / 4.0), 4.0)
    assert slow == see_court(film, track)


def test_nothing_to_read_is_none(clip):
    film, track, _ = clip
    assert see_court(replace(film, path=Path("gone.mp4")), track) is None
    assert see_court(film, replace(track, image=track.image * float("nan"))) is None
    assert body_of(replace(track, image=track.image * float("nan"))) is None
