"""A stretch is the track where it was seen, bridged where it was not, and refused where too little is left."""

from dataclasses import replace

import numpy as np

from swingmatch.body.skeleton import INDEX
from swingmatch.body.stretch import stretch_of


def test_what_was_seen_is_kept_and_gaps_are_bridged(motion, see):
    track = see(motion, 80.0)
    wrist, gap = INDEX["right_wrist"], slice(100, 106)
    image = track.image.copy()
    image[gap, wrist] = np.nan
    got = stretch_of(replace(track, image=image), 1.0, 3.0)
    inside = (track.times >= 1.0) & (track.times <= 3.0)
    first = int(np.flatnonzero(inside)[0])
    want = track.image[inside].copy()
    line = np.linspace(track.image[99, wrist], track.image[106, wrist], 8)[1:-1]
    want[100 - first : 106 - first, wrist] = line
    np.testing.assert_allclose(got.image, want)
    assert (got.visibility[100 - first : 106 - first, wrist] == 0).all()
    assert (got.visibility[:, 0] == track.visibility[inside, 0]).all()
    np.testing.assert_array_equal(track.image, see(motion, 80.0).image)  # the track itself is as it was


def test_too_little_gives_nothing(motion, see):
    track = see(motion, 80.0)
    assert stretch_of(track, 1.0, 1.05) is None
    never = track.image.copy()
    never[:, INDEX["left_heel"]] = np.nan
    assert stretch_of(replace(track, image=never), 1.0, 3.0) is None
    half = track.image.copy()
    half[60:120] = np.nan
    assert stretch_of(replace(track, image=half), 1.0, 2.5) is None
