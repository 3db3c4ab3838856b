"""Round solids against closed forms and against a slow march along each ray."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from swingmatch.synth.raster import Builder, Lens, draw, normals, smooth, squeeze

LENS = Lens(400.0, 79.5, 59.5, 160, 120)


def _draw(*cones: tuple[list[float], list[float], float, float], axis: object = None, squash: float = 1.0):  # type: ignore[no-untyped-def]
    b = Builder(1)
    for start, end, r0, r1 in cones:
        way = None if axis is None else np.array([axis], dtype=float)
        b.add(np.array([start]), np.array([end]), r0, r1, (1, 1, 1), axis=way, squash=squash)
    s = b.done()
    parts = (s.start[0], s.end[0], s.radii[0], s.axis[0], s.squash)
    return draw(*parts, LENS), parts


def test_silhouette_of_a_capsule_has_its_area() -> None:
    """Seen from far off and square on: rectangle 2 r L plus circle pi r^2, times (f / depth)^2.

    From the lens the outline of a round rod of radius r at depth d is r / sqrt(1 - (r / d)^2) wide: 1 + 5e-5 here.
    """
    far, r, length = 10.0, 0.1, 0.6
    lens = Lens(4000.0, 319.5, 239.5, 640, 480)
    b = Builder(1)
    b.add(np.array([[-length / 2, 0.2, -far]]), np.array([[length / 2, 0.2, -far]]), r, r, (1, 1, 1))
    s = b.done()
    drawn = draw(s.start[0], s.end[0], s.radii[0], s.axis[0], s.squash, lens)
    assert drawn is not None
    area = (drawn.which >= 0).sum() * (far / lens.focal) ** 2
    assert area == pytest.approx(2 * r * length + np.pi * r**2, rel=3e-3)


def test_outline_of_a_sphere_off_the_axis_is_the_ellipse_of_its_cone() -> None:
    """The cone of rays that touch a sphere has half angle asin(r / distance)."""
    centre, r = np.array([0.25, -0.15, -2.0]), 0.1
    drawn, _ = _draw((list(centre), list(centre), r, r))
    rows, cols = np.mgrid[0 : LENS.height, 0 : LENS.width]
    rays = np.stack([(cols - LENS.cx), -(rows - LENS.cy), np.full(rows.shape, -LENS.focal)], -1)
    away = np.linalg.norm(centre)
    cosine = rays @ centre / np.linalg.norm(rays, axis=-1) / away
    expected = cosine > np.sqrt(1 - (r / away) ** 2)
    got = np.zeros(expected.shape, bool)
    h, w = drawn.which.shape
    got[drawn.top : drawn.top + h, drawn.left : drawn.left + w] = drawn.which >= 0
    np.testing.assert_array_equal(got, expected)
    assert drawn.depth.min() == pytest.approx(2.0 - r, abs=2e-3)


def _chain(x: float, y: float, parts: tuple[np.ndarray, ...]) -> float:
    """Slow twin: depth where a ray first meets 4000 spheres strung from one end to the other; infinite for a miss."""
    start, end, radii, axis, squash = (p[0] for p in parts)
    way = squeeze(np.array([x, y, -1.0]), axis, squash)
    a, b = squeeze(start, axis, squash), squeeze(end, axis, squash)
    share = np.linspace(0, 1, 4000)
    centres, r = a + share[:, None] * (b - a), radii[0] + share * (radii[1] - radii[0])
    half, rest = centres @ way, np.sum(centres**2, axis=1) - r**2
    under = half**2 - (way @ way) * rest
    hits = (half[under >= 0] - np.sqrt(under[under >= 0])) / (way @ way)
    return float(hits.min()) if len(hits) else np.inf


@given(st.integers(0, 10**6), st.sampled_from([1.0, 0.6, 1.6]))
@settings(max_examples=40, deadline=None)
def test_depth_is_that_of_a_string_of_spheres(seed: int, squash: float) -> None:
    rng = np.random.default_rng(seed)
    start, end = rng.uniform([-0.2, -0.15, -2.2], [0.2, 0.15, -1.8], (2, 3))
    way = rng.standard_normal(3)
    way /= np.linalg.norm(way)
    drawn, parts = _draw((list(start), list(end), *rng.uniform(0.02, 0.1, 2)), axis=way, squash=squash)
    h, w = drawn.which.shape
    for row, col in rng.integers(0, (h, w), (12, 2)):
        x, y = (col + drawn.left - LENS.cx) / LENS.focal, -(row + drawn.top - LENS.cy) / LENS.focal
        expected, got = _chain(x, y, parts), drawn.depth[row, col]
        if np.isfinite(expected):
            assert got == pytest.approx(expected, abs=1e-4)
        elif np.isfinite(got):
            # Only a grazing ray may slip between two spheres of the string.
            around = [_chain(x + dx, y + dy, parts) for dx in (-1e-3, 1e-3) for dy in (-1e-3, 1e-3)]
            assert np.isfinite(around).any()


def test_near_solid_hides_far_one_whatever_the_order() -> None:
    near, far = (
        ([0.0, 0.0, -1.5], [0.02, 0.0, -1.5], 0.04, 0.04),
        ([0.0, 0.0, -2.5], [0.0, 0.2, -2.5], 0.3, 0.2),
    )
    for first, second, front in ((near, far, 0), (far, near, 1)):
        drawn, _ = _draw(first, second)
        row, col = 60 - drawn.top, 80 - drawn.left
        assert drawn.which[row, col] == front
        assert drawn.depth[row, col] == pytest.approx(1.46, abs=2e-3)


def test_many_small_solids_meet_as_one_by_one() -> None:
    """Small solids are met in groups; drawn alone and put together by depth they must give the same picture."""
    rng = np.random.default_rng(5)
    cones = []
    for _ in range(40):
        at = rng.uniform([-0.3, -0.2, -2.4], [0.3, 0.2, -1.6])
        cones.append((list(at), list(at + rng.uniform(-0.05, 0.05, 3)), *rng.uniform(0.005, 0.06, 2)))
    drawn, _ = _draw(*cones)
    depth = np.full((LENS.height, LENS.width), np.inf)
    for cone in cones:
        one, _ = _draw(cone)
        if one is not None:
            h, w = one.depth.shape
            part = depth[one.top : one.top + h, one.left : one.left + w]
            np.minimum(part, one.depth, out=part)
    h, w = drawn.depth.shape
    np.testing.assert_allclose(
        drawn.depth, depth[drawn.top : drawn.top + h, drawn.left : drawn.left + w], rtol=1e-12
    )


def test_normals_are_the_gradient_of_an_ellipsoid() -> None:
    centre, r, factor = np.array([0.05, 0.02, -2.0]), 0.2, 1.5
    drawn, parts = _draw((list(centre), list(centre), r, r), axis=[1.0, 0.0, 0.0], squash=factor)
    mask, got = normals(drawn, parts[0], parts[1], parts[3], parts[4], LENS)
    rows, cols = np.nonzero(mask)
    t = drawn.depth[mask]
    hit = np.stack(
        [(cols + drawn.left - LENS.cx) / LENS.focal * t, -(rows + drawn.top - LENS.cy) / LENS.focal * t, -t],
        1,
    )
    gradient = (hit - centre) * np.array([factor**2, 1.0, 1.0])
    np.testing.assert_allclose(got, gradient / np.linalg.norm(gradient, axis=1, keepdims=True), atol=1e-4)


def test_nothing_in_view_is_none() -> None:
    assert _draw(([0.0, 0.0, 3.0], [0.0, 0.0, 3.0], 0.1, 0.1))[0] is None


def test_smooth_ignores_what_is_outside() -> None:
    mask = np.zeros((20, 20), bool)
    mask[5:15, 5:15] = True
    image = np.where(mask, 3.0, 1e6).astype(np.float32)
    np.testing.assert_allclose(smooth(image, mask, 2.0)[mask], 3.0, rtol=1e-5)
