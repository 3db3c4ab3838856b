"""Courts as a camera of known place sees them: as exact lines, and as rendered pictures with a player."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from swingmatch.court.lines import Line
from swingmatch.court.still import player_mask
from swingmatch.court.yaw import Body
from swingmatch.synth import scene as place
from swingmatch.synth.camera import Camera
from swingmatch.synth.cast import DEMO
from swingmatch.synth.film import pictures
from swingmatch.synth.look import Look

# ITF Rules of Tennis (row D2), metres: baseline, service line and net from the middle, sidelines.
BASE, SERVICE = 11.885, 6.40
DOUBLES, SINGLES = 5.485, 4.115
PAINT = [
    ((-BASE, -DOUBLES), (-BASE, DOUBLES), 0.10),
    ((-SERVICE, -SINGLES), (-SERVICE, SINGLES), 0.05),
    ((-BASE, -DOUBLES), (BASE, -DOUBLES), 0.05),
    ((-BASE, DOUBLES), (BASE, DOUBLES), 0.05),
    ((-BASE, -SINGLES), (BASE, -SINGLES), 0.05),
    ((-BASE, SINGLES), (BASE, SINGLES), 0.05),
    ((-SERVICE, 0.0), (SERVICE, 0.0), 0.05),
]


def seen(camera, paint=PAINT, behind=0.7, aside=1.0, turned=0.0):
    """The lines of a court as ``camera`` sees them, those that are in view for at least 40 pixels.

    The player stands ``behind`` the baseline, the court is ``turned`` by degrees about the player.
    """
    a = np.radians(turned)
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    out = []
    for start, stop, wide in paint:
        share = np.linspace(0.0, 1.0, 400)[:, None]
        at = (np.array(start) * (1 - share) + np.array(stop) * share + (BASE + behind, -aside)) @ turn.T
        places = camera.project(np.column_stack([at[:, 0], np.zeros(len(at)), at[:, 1]]))
        with np.errstate(invalid="ignore"):
            inside = ((places >= 0) & (places < np.array(camera.size) - 1)).all(axis=1)
        if inside.sum() < 2:
            continue
        first, last = places[inside][[0, -1]]
        length = float(np.linalg.norm(last - first))
        if length < 40.0:
            continue
        # The two edges of the paint, half a width to either side, tell how wide it looks in the middle.
        way = (at[-1] - at[0]) / np.linalg.norm(at[-1] - at[0])
        centre = at[inside][inside.sum() // 2]
        edges = centre + np.array([[-way[1], way[0]], [way[1], -way[0]]]) * wide / 2
        sides = camera.project(np.column_stack([edges[:, 0], np.zeros(2), edges[:, 1]]))
        normal = np.array([-(last - first)[1], (last - first)[0]]) / length
        out.append(Line(first, last, float(abs((sides[1] - sides[0]) @ normal)), length))
    return out


def someone(camera, stature=1.75):
    """The place and height in the picture of somebody who stands where the player stands."""
    feet, head = camera.project(np.array([[0.0, 0.0, 0.0], [0.0, stature, 0.0]]))
    return Body(feet, float(feet[1] - head[1]))


@pytest.fixture(scope="session")
def seen_lines():
    return seen


@pytest.fixture(scope="session")
def body():
    return someone


@pytest.fixture(scope="session")
def motion():
    return DEMO[0].perform(swings=1)


@pytest.fixture(scope="session")
def filmed(motion):
    """Five pictures of a made-up player on a court, the player's masks and the body, for a camera and a scene."""

    @cache
    def film(camera, scene, painted=True):
        # Films are slow to make and are shared; without paint the lines have no width.
        with pytest.MonkeyPatch.context() as change:
            if not painted:
                change.setattr(place, "LINE", 0.0)
                change.setattr(place, "BASE_LINE", 0.0)
            return made(camera, scene)

    def made(camera, scene):
        times = np.linspace(0.1, 0.9, 5) * motion.times[-1]
        views = list(pictures(motion, camera, Look.of(3), scene, times, subframes=1))
        rows = [int(np.argmin(abs(motion.times - time))) for time in times]
        places = [camera.project(motion.points[row]) for row in rows]
        masks = [player_mask(place, camera.size[::-1]) for place in places]
        return [view.rgb for view in views], masks, someone(camera, motion.stature)

    return film


@pytest.fixture(scope="session")
def phone():
    """A phone on a tripod, small pictures."""
    return Camera(size=(640, 360), height=1.4, distance=6.0, field_of_view=65.0)
