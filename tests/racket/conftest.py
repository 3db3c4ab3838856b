"""A struck ball of known flight and drawn pictures of it."""

import cv2
import numpy as np
import pytest

HEIGHT = 240.0  # of the player, pixels
SCALE = HEIGHT / 1.75  # pixels a metre at the player


def fly(times, contact, *, towards=0.0, place=(320.0, 180.0)):
    """Places (T, 2) of a ball struck at ``contact``: 10 m/s in from the right, 27 m/s back, by plain perspective.

    ``towards`` turns the way out of the picture's plane: metres a second towards the camera per metre a second along.
    """
    s = times - contact
    along = np.where(s < 0, -10.0, 27.0)
    up = np.where(s < 0, 1.0, 4.0)
    depth = 6.0 - along * towards * s
    x = along * s * 6.0 / depth
    y = (up * s - 0.5 * 9.81 * s**2) * 6.0 / depth
    return np.stack([place[0] + SCALE * x, place[1] - SCALE * y], axis=1)


def draw(times, contact, *, ball=True, shake=0.0, seed=0):
    """Pictures (h, w, 3) of a textured wall with a swinging bar (the arm) and the ball as a streak of 1/500 s."""
    rng = np.random.default_rng(seed)
    wall = cv2.resize(
        rng.integers(60, 120, (24, 40, 3)).astype(np.uint8), (760, 480), interpolation=cv2.INTER_NEAREST
    )
    out = []
    for t in times:
        dx, dy = np.round(shake * rng.normal(size=2)).astype(int)
        picture = wall[60 + dy : 420 + dy, 60 + dx : 700 + dx].copy()
        angle = 2.0 + 12.0 * (t - contact)
        tip = (int(280 - dx + 60 * np.cos(angle)), int(180 - dy + 60 * np.sin(angle)))
        cv2.line(picture, (280 - dx, 180 - dy), tip, (200, 150, 120), 14, cv2.LINE_AA)
        if ball:
            a, b = fly(np.array([t - 0.001, t + 0.001]), contact) - (dx, dy)
            cv2.line(
                picture, tuple(np.round(16 * a).astype(int)), tuple(np.round(16 * b).astype(int)), (210, 230, 70),
                9, cv2.LINE_AA, 4,
            )  # fmt: skip
        noisy = picture + rng.normal(0.0, 3.0, picture.shape)
        out.append(np.clip(noisy, 0, 255).astype(np.uint8))
    return out


@pytest.fixture(scope="session")
def flight():
    return fly


@pytest.fixture(scope="session")
def drawn():
    return draw
