"""Thin bright bands are found to a fraction of a pixel, and nothing else is taken for one."""

import numpy as np
import pytest

from swingmatch.court.lines import find_lines, whiteness

GROUND, PAINT = 90, 200


def plain(level=GROUND, seed=0):
    noise = np.random.default_rng(seed).normal(0.0, 2.0, (360, 640))
    return np.clip(level + noise, 0, 255).astype(np.uint8)


def band(picture, start, stop, width, level=PAINT):
    """Paint a band whose edges lie half a width to either side of the way from start to stop; edges are smooth."""
    start, stop = np.array(start, float), np.array(stop, float)
    way = (stop - start) / np.linalg.norm(stop - start)
    y, x = np.indices(picture.shape)
    away = np.stack([x, y], axis=-1) - start
    aside, along = np.abs(away @ [-way[1], way[0]]), away @ way
    beyond = np.maximum(aside - width / 2, np.maximum(-along, along - np.linalg.norm(stop - start)))
    share = np.clip(0.5 - beyond, 0.0, 1.0)
    picture[:] = np.round(picture * (1 - share) + level * share).astype(np.uint8)
    return picture


@pytest.mark.parametrize("width", [3.0, 6.0, 14.0])
@pytest.mark.parametrize(
    ("start", "stop"), [((80, 60), (560, 130)), ((150, 340), (260, 30)), ((40, 200), (600, 200))]
)
def test_a_band_is_found_where_it_is_and_as_wide_as_it_is(start, stop, width):
    lines = find_lines(band(plain(), start, stop, width))
    assert len(lines) == 1
    (line,) = lines
    way = (np.array(stop, float) - start) / np.linalg.norm(np.array(stop, float) - start)
    normal = np.array([-way[1], way[0]])
    assert np.abs((np.stack([line.start, line.stop]) - start) @ normal).max() < 0.7
    assert line.length == pytest.approx(np.linalg.norm(np.array(stop) - start), rel=0.06)
    assert line.width == pytest.approx(width, abs=1.2)


def test_a_line_in_two_parts_is_one_line_and_the_gap_is_not_counted():
    picture = band(band(plain(), (60, 100), (250, 150), 5), (345, 175), (535, 225), 5)
    lines = find_lines(picture)
    assert len(lines) == 1
    assert lines[0].length == pytest.approx(491, rel=0.05)
    assert lines[0].seen == pytest.approx(393, rel=0.06)


def test_parallel_lines_stay_apart():
    picture = band(band(plain(), (60, 100), (560, 100), 4), (60, 130), (560, 130), 4)
    assert sorted(round(line.middle[1]) for line in find_lines(picture)) == [100, 130]


def test_a_shadow_an_edge_and_a_wide_patch_are_no_lines():
    dark = band(plain(), (60, 100), (560, 140), 6, level=40)
    edge = plain()
    edge[180:] = PAINT
    patch = band(plain(), (60, 180), (560, 180), 120)
    assert find_lines(dark) == []
    assert find_lines(edge) == []
    assert find_lines(patch) == []


def test_noise_alone_has_no_lines():
    rough = np.random.default_rng(4).normal(110.0, 25.0, (360, 640))
    assert find_lines(np.clip(rough, 0, 255).astype(np.uint8)) == []


def test_what_is_masked_is_not_looked_at():
    picture = band(plain(), (80, 60), (560, 130), 5)
    mask = np.zeros(picture.shape, bool)
    mask[40:160] = True
    assert find_lines(picture, mask) == []


def test_whiteness_sees_white_on_a_court_as_bright_as_the_paint():
    """Clay's red is as bright as white paint; its blue is not."""
    picture = np.zeros((4, 4, 3), np.uint8)
    picture[:2] = (235, 120, 80)
    picture[2:] = (235, 235, 230)
    white = whiteness(picture)
    assert white[0, 0] == 80
    assert white[3, 0] == 230
