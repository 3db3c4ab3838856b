"""Segment masses and the centre of mass against de Leva's table (row C2) by hand, and by the laws that must hold."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from swingmatch.body.skeleton import INDEX, SIDES, K, mirror
from swingmatch.stroke.mass import SEGMENTS, centre_of_mass, segment_centres, segment_masses

SEXES = ("male", "female", None)


def standing(heights, ahead=None):
    """A body (K, 3) of points on two vertical lines 10 to either side; ``heights`` by part."""
    points = np.full((K, 3), np.nan)
    for part, height in heights.items():
        for side, sign in zip(SIDES, (-1.0, 1.0), strict=True):
            points[INDEX[f"{side}_{part}"]] = ((ahead or {}).get(part, 0.0), height, 10.0 * sign)
    return points


#: Heights in centimetres, chosen so that the sums below can be done on paper.
HEIGHTS = {
    "ear": 160.0,
    "shoulder": 140.0,
    "elbow": 110.0,
    "wrist": 85.0,
    "hand": 77.0,
    "hip": 90.0,
    "knee": 48.0,
    "ankle": 7.0,
    "heel": 2.0,
    "toe": 2.0,
}


def test_worked_example_of_a_man():
    """By hand with the male column of C2, height of each centre (cm) times share of mass:

    head       160                                 x 0.0694     = 11.1040
    trunk      140 - 0.4310 x 50 = 118.4500        x 0.4346     = 51.4784
    upper arms 140 - 0.5772 x 30 = 122.6840        x 2 x 0.0271 =  6.6495
    forearms   110 - 0.4574 x 25 =  98.5650        x 2 x 0.0162 =  3.1935
    hands       85 - 0.7900 x  8 =  78.6800        x 2 x 0.0061 =  0.9599
    thighs      90 - 0.4095 x 42 =  72.8010        x 2 x 0.1416 = 20.6172
    shanks      48 - 0.4395 x 41 =  29.9805        x 2 x 0.0433 =  2.5963
    feet         2                                 x 2 x 0.0137 =  0.0548
    all                                              1.0000     = 96.6536

    The toes are 15 cm ahead of the heels, all else in one plane: 15 x 0.4415 x 2 x 0.0137 = 0.18146 cm ahead.
    """
    com = centre_of_mass(standing(HEIGHTS, {"toe": 15.0}), "male")
    np.testing.assert_allclose(com, [0.18146, 96.6536, 0.0], atol=5e-5)


def test_worked_example_of_a_woman():
    """As above with the female column, whose masses sum to 0.9999:

    head 10.6880; trunk (140 - 0.3782 x 50 = 121.0900) x 0.4257 = 51.5480; upper arms (122.7380) x 0.0510 = 6.2596;
    forearms (98.6025) x 0.0276 = 2.7214; hands (79.0208) x 0.0112 = 0.8850; thighs (74.8296) x 0.2956 = 22.1196;
    shanks (30.1568) x 0.0962 = 2.9011; feet 2 x 0.0258 = 0.0516; sum 97.1744; over 0.9999 = 97.1841.
    """
    com = centre_of_mass(standing(HEIGHTS), "female")
    np.testing.assert_allclose(com, [0.0, 97.1841, 0.0], atol=5e-4)


def test_masses_sum_to_one_and_limbs_come_in_pairs():
    for sex in SEXES:
        masses = segment_masses(sex)
        assert sum(masses.values()) == pytest.approx(1.0, abs=1e-12)
        assert len(masses) == 14
        for name in ("upper_arm", "forearm", "hand", "thigh", "shank", "foot"):
            assert masses[f"left_{name}"] == masses[f"right_{name}"]
    # The table's own sums (C2).
    table = [sum(segment.mass[i] for segment in SEGMENTS.values()) for i in (0, 1)]
    assert table == pytest.approx([1.0000, 0.9999], abs=1e-9)


def test_against_another_table():
    """Dempster via Winter (C3), another sample and another method: the whole body's centre within 2 % of stature.

    Head and neck 1.000 from C7 to the ear canal, here all at the ears; trunk 0.500 from the shoulders to the hips (that
    of greater trochanter and glenohumeral joint).
    """
    dempster = {
        "head": (0.081, 0.0),
        "trunk": (0.497, 0.500),
        "upper_arm": (0.028, 0.436),
        "forearm": (0.016, 0.430),
        "hand": (0.006, 0.506),
        "thigh": (0.100, 0.433),
        "shank": (0.0465, 0.433),
        "foot": (0.0145, 0.500),
    }
    points = standing(HEIGHTS, {"toe": 15.0})
    total = np.zeros(3)
    for name, segment in SEGMENTS.items():
        mass, share = dempster[name.removeprefix("left_").removeprefix("right_")]
        start, end = (
            points[[INDEX[n] for n in names]].mean(axis=0) for names in (segment.start, segment.end)
        )
        total += mass * (start + share * (end - start))
    assert np.linalg.norm(total - centre_of_mass(points, "male")) < 0.02 * 172.0


def test_the_sex_makes_little():
    """Average proportions (C1): the sexes' tables differ by 0.32 % of stature, the mean is half of that off.

    That is 7 % of the variance that keypoints 30 mm off (E6), each by itself, give the centre.
    """
    heights = {
        "ear": 0.930,
        "shoulder": 0.818,
        "elbow": 0.632,
        "wrist": 0.486,
        "hand": 0.4365,
        "hip": 0.530,
        "knee": 0.285,
        "ankle": 0.039,
        "heel": 0.012,
        "toe": 0.012,
    }
    man, woman, both = (centre_of_mass(standing(heights, {"toe": 0.152}), sex) for sex in SEXES)
    assert np.linalg.norm(man - woman) == pytest.approx(0.0032, abs=2e-4)
    assert woman[1] > both[1] > man[1]
    off = max(np.linalg.norm(man - both), np.linalg.norm(woman - both))
    assert off < 0.0018
    noise = np.random.default_rng(3).normal(0.0, 0.030 / 1.75, (4000, K, 3))
    moved = centre_of_mass(noise).std(axis=0).mean()
    assert 1.75 * moved == pytest.approx(0.0103, abs=3e-4)
    assert (off / moved) ** 2 == pytest.approx(0.07, abs=0.01)


bodies = st.integers(0, 2**32 - 1).map(lambda seed: np.random.default_rng(seed).normal(size=(3, K, 3)))


@settings(max_examples=40, deadline=None)
@given(bodies, st.sampled_from(SEXES), st.floats(0.1, 10.0))
def test_laws(points, sex, scale):
    com = centre_of_mass(points, sex)
    assert com.shape == (3, 3)
    shift = np.array([3.0, -2.0, 0.5])
    np.testing.assert_allclose(centre_of_mass(points + shift, sex), com + shift, atol=1e-12)
    np.testing.assert_allclose(centre_of_mass(scale * points, sex), scale * com, atol=1e-11)
    np.testing.assert_allclose(
        centre_of_mass(mirror(points), sex), com * np.array([1.0, 1.0, -1.0]), atol=1e-12
    )
    # The long way round: the centres of the segments, weighed one by one.
    masses = segment_masses(sex)
    sum_of_parts = sum(masses[name] * centre for name, centre in segment_centres(points, sex).items())
    np.testing.assert_allclose(com, sum_of_parts, atol=1e-12)


def test_missing_keypoints_are_not_made_up():
    points = np.random.default_rng(1).normal(size=(4, K, 3))
    points[1, INDEX["left_knee"]] = np.nan
    points[2, INDEX["nose"]] = np.nan  # has no mass of its own
    known = np.isfinite(centre_of_mass(points)).all(axis=1)
    assert known.tolist() == [True, False, True, True]
