"""A racket fitted over a stroke that is known exactly, filmed by OpenCV's projection with errors added."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from swingmatch.racket.fit import Arm, fit_racket
from swingmatch.racket.hoop import RacketShape
from swingmatch.racket.path import RacketPath, face_normal, head_centre, velocity
from swingmatch.racket.points import RacketPoints, nothing
from swingmatch.racket.pose import place
from swingmatch.racket.turning import turn
from swingmatch.racket.view import View

VIEW = View((1280, 720), tilt=0.05)
CONTACT = 0.7
GRIP = 0.09 / 1.75
MODEL = RacketShape().points() / 1.75


class Stroke:
    """A made-up swing about a hand that moves along the picture, whose turning jumps at contact."""

    def __init__(self, rate: float = 60.0, aside: float = 35.0) -> None:
        self.times = np.arange(0.0, 1.1, 1.0 / rate)
        away = self.times - CONTACT
        # Degrees about the vertical: back, then through the ball fast; after contact only half as fast.
        fast = 1400.0
        swing = np.where(
            away <= 0, fast * 0.08 * (np.exp(np.minimum(away, 0) / 0.08) - 1.0), 0.5 * fast * away
        )
        swing = np.minimum(swing, 110.0)
        drop = 25.0 * np.sin(2.0 * np.pi * np.clip(self.times / 0.9, 0, 1))
        yaw = Rotation.from_euler("y", aside + swing, degrees=True)
        base = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]])  # flat on, lying to the side
        lie = Rotation.from_matrix(base) * Rotation.from_euler("x", 8.0, degrees=True)
        tip = Rotation.from_euler("z", -60.0 - drop, degrees=True)
        self.turns = (yaw * tip * lie).as_matrix()
        x = 0.5 * np.clip(away, -0.4, 0.3)
        self.hand = np.stack([x, 0.1 * np.sin(2 * self.times), -3.4 + 0.2 * self.times], axis=-1)
        self.points = place(self.turns, self.hand, MODEL, GRIP)

    @property
    def arm(self) -> Arm:
        # A forearm that the racket leaves at half a right angle.
        fore = (turn(np.radians(45) * self.turns[..., 0]) @ self.turns[..., 2][..., None])[..., 0]
        wrist = self.hand - 0.05 * fore
        return Arm(self.times, wrist - 0.146 * fore, wrist, self.hand, np.zeros((0, len(self.times), 3)))

    def filmed(self, noise: float, seed: int = 0, missing: float = 0.1) -> RacketPoints:
        own = (self.points @ VIEW.turn.T) * np.array([1.0, -1.0, -1.0])
        image, _ = cv2.projectPoints(own.reshape(-1, 1, 3), np.zeros(3), np.zeros(3), VIEW.matrix, None)
        image = image.reshape(len(self.times), 5, 2)
        generator = np.random.default_rng(seed)
        image = image + noise * generator.standard_normal(image.shape)
        swapped = generator.random(len(image)) < 0.5
        image[swapped] = image[swapped][:, [0, 1, 2, 4, 3]]
        image[generator.random(image.shape[:2]) < missing] = np.nan
        return RacketPoints(self.times, image, np.full(image.shape[:2], max(noise, 0.5)))

    def off(self, path: RacketPath) -> np.ndarray:
        """(T,) degrees of the face normal; its sign is that of the face that goes through the ball."""
        true = face_normal(self.points)
        speed = velocity(self.times, head_centre(self.points), CONTACT)
        near = np.abs(self.times - CONTACT) < 0.03
        if (true[near] * speed[near]).sum() < 0:
            true = -true
        return np.degrees(np.arccos(np.clip((face_normal(path.points) * true).sum(-1), -1, 1)))


#: The jump at contact leaves two ways of turning that the fit does not tell apart, so it says too little after contact.
AFTER_CONTACT = pytest.mark.xfail(strict=True, reason="after contact the fit doubts more than its error")


@pytest.fixture(scope="module")
def stroke() -> Stroke:
    return Stroke()


@pytest.fixture(scope="module")
def fitted(stroke: Stroke) -> RacketPath:
    return fit_racket(stroke.arm, VIEW, stroke.filmed(1.5), CONTACT)


def test_the_racket_is_found_under_noise(stroke, fitted):
    assert fitted.seen.mean() > 0.9
    off = stroke.off(fitted)
    assert np.nanmedian(off) < 5.0
    assert np.nanmean(off > 20.0) < 0.05


@AFTER_CONTACT
def test_its_error_is_about_what_is_said(stroke, fitted):
    off = stroke.off(fitted)[fitted.seen]
    said = fitted.face_sd[fitted.seen]
    assert 0.5 < np.sqrt(np.mean(off**2)) / np.sqrt(np.mean(said**2)) < 1.6
    assert np.isfinite(fitted.draws[:, fitted.seen]).all()


def test_it_stays_a_racket(fitted):
    points = fitted.points[fitted.seen]
    shape = RacketShape()
    long = np.linalg.norm(points[:, 2] - points[:, 0], axis=-1)
    wide = np.linalg.norm(points[:, 4] - points[:, 3], axis=-1)
    assert np.allclose(long, fitted.length)
    assert np.allclose(wide / long, shape.hoop_width / shape.length)
    assert fitted.length == pytest.approx(0.685 / 1.75, rel=0.06)


@AFTER_CONTACT
def test_contact_is_not_smeared(stroke, fitted):
    """The racket turns half as fast right after contact; one fit over both sides keeps that (row E18)."""
    true = velocity(stroke.times, stroke.points[:, 2], CONTACT)
    found = velocity(stroke.times, fitted.points[:, 2], CONTACT)
    last = int(np.flatnonzero(stroke.times <= CONTACT + 1e-9)[-1])
    for frame in (last - 1, last + 2):
        assert np.linalg.norm(found[frame]) == pytest.approx(np.linalg.norm(true[frame]), rel=0.2)
    drop = np.linalg.norm(found[last + 2]) / np.linalg.norm(found[last - 1])
    assert drop < 0.85


def test_a_later_clock_changes_nothing(stroke, fitted):
    late = Stroke()
    late.times = late.times + 12.0
    points = stroke.filmed(1.5)
    moved = RacketPoints(late.times, points.image, points.sd)
    again = fit_racket(late.arm, VIEW, moved, CONTACT + 12.0)
    assert np.array_equal(again.seen, fitted.seen)
    assert np.allclose(again.points, fitted.points, atol=1e-6, equal_nan=True)


def test_a_picture_of_twice_the_size_changes_nothing(stroke, fitted):
    points = stroke.filmed(1.5)
    large = RacketPoints(stroke.times, 2.0 * points.image, 2.0 * points.sd)
    again = fit_racket(stroke.arm, View((2560, 1440), tilt=0.05), large, CONTACT)
    assert np.allclose(again.points, fitted.points, atol=1e-4, equal_nan=True)


def test_mirrored_left_to_right_the_racket_is_mirrored(stroke, fitted):
    """A left-hander's racket is a right-hander's in a mirror, with the edges exchanged."""
    flip = np.array([-1.0, 1.0, 1.0])
    arm = stroke.arm
    other = Arm(arm.times, arm.elbow * flip, arm.wrist * flip, arm.hand * flip, arm.hands)
    points = stroke.filmed(1.5)
    image = points.image * np.array([-1.0, 1.0]) + np.array([1280.0, 0.0])
    again = fit_racket(other, VIEW, RacketPoints(points.times, image, points.sd), CONTACT)
    both = again.seen & fitted.seen
    expected = fitted.points[:, [0, 1, 2, 4, 3]] * flip
    assert np.median(np.linalg.norm(again.points - expected, axis=-1)[both]) < 5e-3


def test_nothing_seen_is_nothing_said(stroke):
    path = fit_racket(stroke.arm, VIEW, nothing(stroke.times), CONTACT)
    assert not path.seen.any()
    assert np.isnan(path.points).all()
    assert fit_racket(stroke.arm, VIEW, None, CONTACT).draws.shape[1:] == (len(stroke.times), 5, 3)


def test_frames_far_from_any_pose_are_not_called_seen(stroke):
    points = stroke.filmed(1.0)
    gone = (stroke.times > 0.2) & (stroke.times < 0.5)
    points.image[gone] = np.nan
    path = fit_racket(stroke.arm, VIEW, points, CONTACT)
    assert not path.seen[(stroke.times > 0.32) & (stroke.times < 0.38)].any()


def test_drawn_rackets_are_held_by_the_drawn_hands(stroke):
    shift = np.array([0.03, -0.02, 0.05])
    arm = stroke.arm
    hands = np.stack([arm.hand + shift, arm.hand - shift])
    path = fit_racket(
        Arm(arm.times, arm.elbow, arm.wrist, arm.hand, hands), VIEW, stroke.filmed(1.0), CONTACT
    )
    assert len(path.draws) == 2
    held = path.draws[..., 0, :] + (path.draws[..., 2, :] - path.draws[..., 0, :]) * (0.09 / 0.685)
    apart = np.nanmean(held[0] - held[1], axis=0)
    # Across the picture the racket's own points say where it is; in depth it goes with the hand.
    assert apart[2] == pytest.approx(0.10, abs=0.05)


@pytest.mark.xfail(strict=True, reason="some frames between the marks are called not seen")
def test_three_marks_alone_give_a_face_angle(stroke):
    """No network: five points in three frames, 2 pixels off."""
    seen = stroke.filmed(2.0, seed=4, missing=0.0)
    rows = [int(np.abs(stroke.times - t).argmin()) for t in (CONTACT - 0.12, CONTACT - 0.05, CONTACT)]
    marks = RacketPoints(seen.times[rows], seen.image[rows], np.full((3, 5), 1.5))
    path = fit_racket(stroke.arm, VIEW, None, CONTACT, marks=marks)
    between = (stroke.times >= CONTACT - 0.12) & (stroke.times <= CONTACT)
    assert path.seen[between].all()
    assert np.median(stroke.off(path)[between]) < 12.0


def test_a_mark_overrules_the_network(stroke):
    points = stroke.filmed(1.0, missing=0.0)
    row = int(np.abs(stroke.times - 0.55).argmin())
    true = points.image[row].copy()
    points.image[row - 2 : row + 3] += 60.0
    mark = RacketPoints(points.times[row : row + 1], true[None], np.full((1, 5), 1.5))
    plain = fit_racket(stroke.arm, VIEW, points, CONTACT)
    marked = fit_racket(stroke.arm, VIEW, points, CONTACT, marks=mark)

    def miss(path: RacketPath) -> float:
        return float(np.linalg.norm(path.points[row, 2] - stroke.points[row, 2]))

    assert np.isnan(miss(plain)) or miss(marked) <= miss(plain)
    assert miss(marked) < 0.06
