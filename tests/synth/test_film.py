"""Rendered clips: times, truth, what is hidden, and the same again for the same seed."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import av
import numpy as np
import pytest

from swingmatch.body.skeleton import INDEX
from swingmatch.synth.camera import Camera
from swingmatch.synth.film import pictures, render
from swingmatch.synth.look import Look
from swingmatch.synth.motion import Motion
from swingmatch.synth.scene import SURFACES, Scene, backdrop
from swingmatch.synth.truth import read_truth, truth_paths

SMALL = Camera(size=(192, 108), fps=30.0, distance=4.0)


def _still(motion: Motion, camera: Camera, scene: Scene | None = None, look: Look | None = None):  # type: ignore[no-untyped-def]
    shots = pictures(motion, camera, look or Look(), scene or Scene(noise=0.0), np.array([0.1]), subframes=2)
    return next(iter(shots))


@pytest.mark.parametrize("jitter", [0.0, 0.6])
def test_clip_has_its_frames_at_their_times(motion: Motion, tmp_path: Path, jitter: float) -> None:
    camera = replace(SMALL, jitter=jitter)
    seen: list[tuple[int, int]] = []
    truth = render(
        motion, camera, Look(), Scene(), tmp_path / "a.mp4", subframes=1, progress=lambda *n: seen.append(n)
    )
    with av.open(str(tmp_path / "a.mp4")) as box:
        stream = box.streams.video[0]
        assert stream.codec_context.name == "h264"
        assert (stream.width, stream.height) == camera.size
        times = [float(f.pts * stream.time_base) for f in box.decode(stream)]
        assert len(box.streams.audio) == 1
    assert len(times) == 15 == len(truth.times)
    np.testing.assert_allclose(times, truth.times, atol=1e-4)
    assert seen == [(n + 1, 15) for n in range(15)]
    assert not truth_paths(tmp_path / "a.mp4")[0].exists()


def test_truth_comes_back_as_it_was_written(motion: Motion, tmp_path: Path) -> None:
    path = tmp_path / "b.mp4"
    truth = render(motion, SMALL, Look.of(4), Scene.of(4), path, subframes=1, sound=False, keep_truth=True)
    again = read_truth(path)
    for name in ("times", "points", "image", "visible", "racket", "racket_image", "ball", "ball_image"):
        np.testing.assert_array_equal(getattr(again, name), getattr(truth, name))
    assert (again.hand, again.stature, again.swings) == (truth.hand, truth.stature, truth.swings)
    assert again.camera["azimuth"] == SMALL.azimuth
    assert again.scene["seed"] == 4


def test_same_seed_same_picture(motion: Motion) -> None:
    camera = replace(SMALL, shake=0.3, seed=3)
    one, two = (_still(motion, camera, Scene.of(2), Look.of(2)) for _ in range(2))
    other = _still(motion, camera, Scene.of(5), Look.of(5))
    np.testing.assert_array_equal(one.rgb, two.rgb)
    assert (one.rgb != other.rgb).any()


@pytest.mark.parametrize(("azimuth", "near", "far"), [(90.0, "right", "left"), (-90.0, "left", "right")])
def test_near_limbs_hide_far_ones(motion: Motion, azimuth: float, near: str, far: str) -> None:
    visible = _still(motion, replace(SMALL, azimuth=azimuth, height=1.0)).visible
    # The hanging hand covers the near hip, so that one is left out.
    for part in ("shoulder", "elbow", "knee", "ankle", "ear"):
        assert visible[INDEX[f"{near}_{part}"]], part
    for part in ("shoulder", "hip", "knee", "ear"):
        assert not visible[INDEX[f"{far}_{part}"]], part


def test_nose_is_hidden_from_behind_and_not_from_in_front(motion: Motion) -> None:
    assert _still(motion, replace(SMALL, azimuth=0.0)).visible[INDEX["nose"]]
    assert not _still(motion, replace(SMALL, azimuth=180.0)).visible[INDEX["nose"]]


def test_out_of_the_picture_is_not_visible(motion: Motion) -> None:
    visible = _still(motion, replace(SMALL, field_of_view=20.0, aim=(0.0, 1.6, 0.0), height=1.6)).visible
    assert visible[INDEX["right_ear"]]
    assert not visible[INDEX["right_ankle"]]


def test_figure_covers_its_keypoints(motion: Motion) -> None:
    """The figure is drawn where the truth says: the visible keypoints' pixels differ from the empty court's."""
    camera, scene = replace(SMALL, azimuth=30.0), Scene(noise=0.0, sun=0.3, ambient=0.7)
    shot = _still(motion, camera, scene)
    empty = np.clip(backdrop(scene, camera) * 255, 0, 255)
    places = np.round(camera.project(motion.points[24])).astype(int)[shot.visible]
    change = np.abs(shot.rgb[places[:, 1], places[:, 0]] - empty[places[:, 1], places[:, 0]]).max(axis=1)
    assert (change > 12).mean() > 0.9
    corner = np.abs(shot.rgb[:15, :15] - empty[:15, :15])
    assert corner.max() <= 1.0


def test_shake_moves_court_and_player_together(motion: Motion) -> None:
    """A pure rotation of the lens moves the far fence and the near body alike: the picture is a shifted still one."""
    scene = Scene(noise=0.0)
    still, moved = (_still(motion, replace(SMALL, shake=s, seed=6), scene).rgb for s in (0.0, 1.0))
    points = np.array([[0.0, 1.0, 0.0], [0.0, 1.5, 0.0]])
    shift = (
        replace(SMALL, shake=1.0, seed=6).project(points[None], np.array([0.1]))[0] - SMALL.project(points)
    ).mean(axis=0)
    dx, dy = np.round(shift).astype(int)
    assert abs(dx) + abs(dy) >= 2
    middle = (slice(20, 88), slice(40, 150))
    back = np.roll(moved, (-dy, -dx), axis=(0, 1))[middle].astype(float)
    assert (
        np.abs(back - still[middle]).mean() < 0.5 * np.abs(moved[middle].astype(float) - still[middle]).mean()
    )


def test_longer_shutter_smears_a_fast_racket(motion: Motion) -> None:
    """At 20 m/s, 1/100 s is 20 cm: the racket (58 cm high as held here, 26 cm wide) touches clearly more pixels."""
    away = replace(motion, racket=motion.racket + np.array([0.0, 50.0, 0.0]))
    rise = np.array([0.0, 20.0, 0.0]) * (motion.times - 0.1)[:, None, None]
    fast = replace(motion, racket=motion.racket + rise)
    touched = []
    for shutter in (1 / 4000, 1 / 100):
        camera = replace(SMALL, shutter=shutter)
        with_it, without = (_still(m, camera, Scene(noise=0.0)).rgb.astype(int) for m in (fast, away))
        touched.append((np.abs(with_it - without).max(axis=2) > 4).sum())
    assert touched[0] > 50
    assert touched[1] > 1.3 * touched[0]


@pytest.mark.parametrize("surface", SURFACES)
def test_baseline_is_where_the_rules_put_it(surface: str) -> None:
    """Baseline white, 23.77 m from the other (ITF Rules, row D2): its middle projects onto a white pixel."""
    scene = Scene(surface=surface, behind_baseline=0.7, aside=0.0, sun=0.0, ambient=1.0)
    camera = Camera(azimuth=90.0, distance=6.0, height=2.0, size=(320, 180))
    view = backdrop(scene, camera, fine=1)
    for x, white in ((0.75, True), (0.70 + 23.77 / 2 - 6.40 - 5.0, False)):
        col, row = np.round(camera.project(np.array([x, 0.0, 1.0]))).astype(int)
        assert (view[row, col].min() > 0.75) == white, x


def test_unknown_surface_is_refused() -> None:
    with pytest.raises(ValueError, match="surface must be one of"):
        Scene(surface="ice")
