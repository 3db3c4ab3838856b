"""The estimators: landmarks to keypoints, a rendered player found, clear sentences for bad model files."""

import time
import zipfile
from pathlib import Path
from types import SimpleNamespace

import mediapipe
import numpy as np
import pytest
from mediapipe.tasks.python.metadata.metadata_writers.metadata_writer import MetadataWriter

from swingmatch.body.estimator import BLAZEPOSE, BundledEstimator, _pose, make_estimator
from swingmatch.body.follow import follow
from swingmatch.body.skeleton import INDEX, KEYPOINTS
from swingmatch.clip.clip import Frame
from swingmatch.errors import SetupError
from swingmatch.series import resample
from swingmatch.synth.camera import Camera
from swingmatch.synth.film import aimed, pictures
from swingmatch.synth.look import Look
from swingmatch.synth.scene import Scene


@pytest.fixture(scope="module")
def rendered(motion):
    """Ten pictures of a player from the side, and where the keypoints are in them."""
    camera = aimed(Camera(azimuth=80.0, distance=5.0, size=(640, 360), shake=0.0), motion)
    times = 0.9 + np.arange(10) / 60
    frames = [
        Frame(i, picture.time, picture.rgb)
        for i, picture in enumerate(pictures(motion, camera, Look.of(3), Scene(seed=3), times, subframes=1))
    ]
    truth = camera.project(resample(motion.points, motion.times, times), times)
    return frames, truth


def share_of_stature(image, truth):
    tall = np.ptp(truth[..., 1], axis=-1)[..., None] / 0.93
    return 100 * np.linalg.norm(image - truth, axis=-1) / tall


def test_every_keypoint_comes_from_its_own_landmarks():
    marks = [SimpleNamespace(x=i / 100, y=0.5, z=0.25, visibility=0.5) for i in range(33)]
    pose = _pose(marks, marks, 1000, 500)
    for name in KEYPOINTS:
        assert pose.image[INDEX[name], 0] == pytest.approx(10 * np.mean(BLAZEPOSE[name]))
    # Camera axes: y up and z towards the camera, both against the estimator's.
    np.testing.assert_allclose(pose.world[:, 1:], [[-0.5, -0.25]] * len(KEYPOINTS))
    # MediaPipe's published list: left is odd, right is even from 11 on; hand is the mean of two knuckles.
    assert BLAZEPOSE["left_wrist"] == (15,)
    assert BLAZEPOSE["right_wrist"] == (16,)
    assert BLAZEPOSE["right_hand"] == (18, 20)


def test_a_rendered_player_is_found_where_it_is(rendered):
    frames, truth = rendered
    with BundledEstimator() as estimator:
        track = follow(frames, estimator)
    assert track.found.all()
    assert np.median(share_of_stature(track.image, truth)) < 4.0


def test_nobody_in_a_grey_picture():
    with BundledEstimator() as estimator:
        assert estimator.estimate(np.full((240, 320, 3), 128, np.uint8), 0.0) is None


def test_after_a_restart_nothing_is_left_of_the_person_before(rendered):
    """Whoever was followed in other pictures, a restart answers as if there had been none, and so does what follows."""
    frames, _ = rendered
    far = np.roll(frames[0].image, 200, axis=1)
    with BundledEstimator() as fresh:
        alone = [fresh.estimate(frame.image, frame.time).image for frame in frames[:3]]
    with BundledEstimator() as used:
        for _ in range(3):
            used.estimate(far, 0.0)
        used.restart()
        again = [used.estimate(frame.image, frame.time).image for frame in frames[:3]]
    np.testing.assert_allclose(again, alone, atol=1e-3)


def test_no_chatter_reaches_the_terminal(capfd):
    with BundledEstimator() as estimator:
        estimator.estimate(np.zeros((120, 200, 3), np.uint8), 0.0)
        estimator.restart()
        estimator.estimate(np.zeros((120, 200, 3), np.uint8), 1.0)
        # What the runtime's threads still say comes within moments.
        time.sleep(0.5)
    said = capfd.readouterr().err
    assert "W0000" not in said
    assert "INFO" not in said


def test_missing_and_rubbish_model_files(tmp_path):
    with pytest.raises(SetupError, match="no pose model file"):
        make_estimator(tmp_path / "none.task")
    rubbish = tmp_path / "rubbish.task"
    rubbish.write_bytes(b"not a model" * 100)
    with pytest.raises(SetupError, match=r"rubbish\.task is not a pose landmark model"):
        make_estimator(rubbish)


def with_input_range(network, mean, sd):
    """A network with the note that the Tasks interface needs: how pixels become its input."""
    writer = MetadataWriter(bytearray(network.read_bytes()))
    writer.add_image_input([mean], [sd])
    return writer.populate()[0]


def test_a_task_file_of_the_same_networks_agrees(rendered, tmp_path):
    """A ``.task`` file is a zip of two networks; the wheel ships both, so one can be put together here."""
    modules = Path(mediapipe.__file__).parent / "modules"
    detector = with_input_range(modules / "pose_detection" / "pose_detection.tflite", 127.5, 127.5)
    landmarks = with_input_range(modules / "pose_landmark" / "pose_landmark_full.tflite", 0.0, 255.0)
    task = tmp_path / "pose.task"
    with zipfile.ZipFile(task, "w", zipfile.ZIP_STORED) as bundle:
        bundle.writestr("pose_detector.tflite", detector)
        bundle.writestr("pose_landmarks_detector.tflite", landmarks)
    frames, truth = rendered
    estimator = make_estimator(task)
    try:
        track = follow(frames, estimator)
        first, backwards = (estimator.estimate(frames[i].image, frames[i].time) for i in (9, 0))
        estimator.restart()
        again = estimator.estimate(frames[0].image, frames[0].time)
    finally:
        estimator.close()
    with BundledEstimator() as bundled:
        own = bundled.estimate(frames[9].image, frames[9].time)
    assert first is not None
    assert own is not None
    # Both ways to run the same networks agree, in shares of stature.
    tall = np.ptp(truth[9][:, 1]) / 0.93
    assert np.median(np.linalg.norm(first.image - own.image, axis=1)) < 0.02 * tall
    # Every picture by itself: time may run backwards, and nothing is remembered.
    np.testing.assert_array_equal(backwards.image, again.image)
    assert track.found.mean() >= 0.9
    assert np.nanmedian(share_of_stature(track.image, truth)) < 4.0
