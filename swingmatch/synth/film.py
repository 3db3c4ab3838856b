"""Films a ``Motion``: pictures, sound and the truth of what was filmed."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import KEYPOINTS, K
from swingmatch.clip.writer import FilmWriter
from swingmatch.series import resample
from swingmatch.synth import figure, raster
from swingmatch.synth.camera import Camera
from swingmatch.synth.look import Look
from swingmatch.synth.motion import Motion
from swingmatch.synth.scene import Scene, backdrop, bystander, shadow
from swingmatch.synth.sound import RATE, soundtrack
from swingmatch.synth.truth import ClipTruth, write_truth

Floats = NDArray[np.float64]

_REACH = np.array([figure.DEPTH_OF_KEYPOINT[name.split("_")[-1]] for name in KEYPOINTS])
#: Sub-frames are added until the racket moves less than this many pixels between two of them.
_STEP_PIXELS = 6.0
_MOST_SUBFRAMES = 8


@dataclass(frozen=True)
class Picture:
    """One frame: its time (s), (h, w, 3) RGB, and (K,) which keypoints are in plain view."""

    time: float
    rgb: NDArray[np.uint8]
    visible: NDArray[np.bool_]


@dataclass
class _Layer:
    """Sum of sub-frames over a whole picture: colour times cover (h, w, 3), and cover (h, w)."""

    colour: NDArray[np.float32]
    cover: NDArray[np.float32]

    @staticmethod
    def empty(size: tuple[int, int]) -> _Layer:
        return _Layer(np.zeros((size[1], size[0], 3), np.float32), np.zeros((size[1], size[0]), np.float32))


def pictures(
    motion: Motion,
    camera: Camera,
    look: Look,
    scene: Scene,
    times: Floats,
    *,
    subframes: int = 3,
) -> Iterator[Picture]:
    """Frames of a motion, one after another.

    Parameters
    ----------
    times : (T,) seconds, middles of the exposures.
    subframes : rays a pixel, each with its own moment of the exposure and place in the pixel; more are taken
        where the racket is fast.
    """
    margin = int(np.ceil(camera.focal * np.tan(np.radians(3.0 * camera.shake)))) + 2 if camera.shake else 0
    empty = backdrop(scene, camera, margin)
    rng = np.random.default_rng([scene.seed, 3])
    grain = rng.standard_normal((6, camera.size[1], camera.size[0], 3)).astype(np.float32) * scene.noise
    walk = None
    if scene.bystander:
        walk = bystander(scene.bystander, camera, times, scene.seed)
    other = Look.of(scene.seed + 1000)
    for k, time in enumerate(times):
        now = np.array([time])
        base = _shaken(empty, camera, now, margin)
        points = resample(motion.points, motion.times, now)
        base *= 1 - shadow(points, camera, now, scene, motion.stature, base.shape[:2])[..., None]
        if walk is not None:
            there = walk[k : k + 1]
            base *= 1 - shadow(there, camera, now, scene, 1.72, base.shape[:2])[..., None]
            layer = _Layer.empty(camera.size)
            for shift in ((-0.25, 0.25), (0.25, -0.25)):
                _add(layer, figure.body(there, 1.72, other), camera, now, 0, shift, scene, 0.5)
            base = base * (1 - layer.cover[..., None]) + layer.colour
        moments = _moments(motion, camera, float(time), subframes)
        solids = _solids(motion, look, moments)
        rackets = resample(motion.racket, motion.times, moments)
        layer, visible = _Layer.empty(camera.size), np.zeros(K, dtype=bool)
        for m in range(len(moments)):
            shift = _place_in_pixel(m, len(moments))
            drawn = _add(layer, solids, camera, moments, m, shift, scene, 1 / len(moments), rackets[m])
            if m == len(moments) // 2:
                visible = _in_view(drawn, camera, points, now, motion.stature)
        rgb = (base * (1 - layer.cover[..., None]) + layer.colour) * (255 * scene.exposure)
        if scene.noise:
            rgb += np.roll(grain[k % 6], (37 * k) % camera.size[1], axis=0)
        yield Picture(float(time), np.clip(rgb + 0.5, 0, 255).astype(np.uint8), visible)


def _moments(motion: Motion, camera: Camera, time: float, subframes: int) -> Floats:
    """Middles of the sub-frames of the exposure round ``time``: (S,) seconds."""
    ends = np.array([time - camera.shutter / 2, time + camera.shutter / 2])
    tip = camera.project(resample(motion.racket[:, 2], motion.times, ends), ends)
    moved = float(np.nan_to_num(np.linalg.norm(tip[1] - tip[0])))
    count = int(np.clip(np.ceil(moved / _STEP_PIXELS), subframes, max(_MOST_SUBFRAMES, subframes)))
    return time + camera.shutter * ((np.arange(count) + 0.5) / count - 0.5)


def _place_in_pixel(m: int, count: int) -> tuple[float, float]:
    """Where in the pixel the rays of sub-frame ``m`` go: even steps one way, the golden ratio the other."""
    return ((m * 0.618034 + 0.5) % 1.0 - 0.5, (m + 0.5) / count - 0.5)


def _solids(motion: Motion, look: Look, moments: Floats) -> raster.Solids:
    """Body, racket and ball at every sub-frame."""
    groups = [
        figure.body(resample(motion.points, motion.times, moments), motion.stature, look, motion.hand),
        figure.racket(resample(motion.racket, motion.times, moments), look),
    ]
    half = 0.5 * (moments[1] - moments[0]) if len(moments) > 1 else 0.0
    before = resample(motion.ball, motion.times, moments - half)
    after = resample(motion.ball, motion.times, moments + half)
    if np.isfinite(before).all() and np.isfinite(after).all():
        groups.append(figure.ball(before, after))
    return raster.Solids.join(groups)


def _shaken(empty: NDArray[np.float32], camera: Camera, now: Floats, margin: int) -> NDArray[np.float32]:
    """The backdrop as the shaken camera sees it; shake is a rotation, so a homography is exact."""
    if margin == 0:
        return empty.copy()
    flip = np.diag([1.0, -1.0, -1.0])
    turn = flip @ camera.rotation(now)[0] @ camera.rotation().T @ flip
    lens = np.array([[camera.focal, 0, camera.centre[0]], [0, camera.focal, camera.centre[1]], [0, 0, 1.0]])
    wide = lens + np.array([[0, 0, margin], [0, 0, margin], [0, 0, 0.0]])
    return cv2.warpPerspective(
        empty,
        lens @ turn @ np.linalg.inv(wide),
        camera.size,
        flags=cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )


def _add(
    layer: _Layer,
    solids: raster.Solids,
    camera: Camera,
    moments: Floats,
    m: int,
    shift: tuple[float, float],
    scene: Scene,
    weight: float,
    racket: Floats | None = None,
) -> raster.Drawn | None:
    """Draw the solids at moment ``m``, shade them and add them to the layer."""
    turn = camera.rotation(moments[m : m + 1])[0]
    start, end = ((v[m] - camera.position) @ turn.T for v in (solids.start, solids.end))
    axis = solids.axis[m] @ turn.T
    lens = raster.Lens(
        camera.focal, camera.centre[0] + shift[0], camera.centre[1] + shift[1], camera.size[0], camera.size[1]
    )
    drawn = raster.draw(start, end, solids.radii[m], axis, solids.squash, lens)
    if drawn is None:
        return None
    rgb, cover = _shade(drawn, start, end, axis, solids, lens, turn, scene)
    if racket is not None:
        _strings(rgb, cover, drawn, (racket - camera.position) @ turn.T, lens, scene)
    h, w = cover.shape
    window = (slice(drawn.top, drawn.top + h), slice(drawn.left, drawn.left + w))
    layer.colour[window] += weight * rgb
    layer.cover[window] += weight * cover
    return drawn


def _shade(
    drawn: raster.Drawn,
    start: Floats,
    end: Floats,
    axis: Floats,
    solids: raster.Solids,
    lens: raster.Lens,
    turn: Floats,
    scene: Scene,
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Colour (h, w, 3) and cover (h, w) of what was drawn: sun, light from all round, darker in the hollows."""
    mask, facing = raster.normals(drawn, start, end, axis, solids.squash, lens)
    n = np.zeros((*mask.shape, 3), np.float32)
    n[mask] = facing
    depth = np.where(mask, drawn.depth, 0.0).astype(np.float32)
    near = float(np.median(drawn.depth[mask]))
    scale = lens.focal / near  # pixels a metre
    # Blurring the normals rounds off the seams between neighbouring solids.
    n = raster.smooth(n, mask, max(0.010 * scale, 0.6))
    n /= np.maximum(np.linalg.norm(n, axis=2, keepdims=True), 1e-6)
    # Where the neighbourhood is nearer to the camera, less light gets in (Luft, Colditz, Deussen 2006,
    # "Image enhancement by unsharp masking the depth buffer").
    hollow = np.clip(depth - raster.smooth(depth, mask, max(0.035 * scale, 1.0)), 0.0, 0.12) / 0.12
    sun, up = turn @ scene.sun_direction, turn @ np.array([0.0, 1.0, 0.0])
    lit = np.maximum(0.85 * (n @ sun) + 0.15, 0.0)
    light = scene.ambient * (0.80 + 0.20 * (n @ up) + 0.10 * n[..., 2]) + scene.sun * lit
    light *= 1.0 - 0.42 * hollow
    rgb = np.zeros((*mask.shape, 3), np.float32)
    rgb[mask] = np.minimum(solids.colour[drawn.which[mask]] * light[mask][:, None], 1.0)
    return rgb, mask.astype(np.float32)


def _strings(
    rgb: NDArray[np.float32],
    cover: NDArray[np.float32],
    drawn: raster.Drawn,
    marks: Floats,
    lens: raster.Lens,
    scene: Scene,
) -> None:
    """Lay half-transparent strings over the picture, in place, where they are nearer than what was drawn.

    ``marks`` (5, 3) are butt, throat, tip, left and right edge in camera axes.
    """
    _, throat, tip, left, right = marks
    middle = 0.5 * (throat + tip)
    half_long, half_wide = 0.5 * (tip - throat), 0.5 * (right - left)
    if (marks[:, 2] > -0.1).any():
        return
    oval = middle + np.array([half_long, -half_long, half_wide, -half_wide])
    oval = np.concatenate(
        [
            oval,
            middle
            + np.array(
                [half_long + half_wide, half_long - half_wide, -half_long + half_wide, -half_long - half_wide]
            ),
        ]
    )
    px = lens.cx + lens.focal * oval[:, 0] / -oval[:, 2] - drawn.left
    py = lens.cy - lens.focal * oval[:, 1] / -oval[:, 2] - drawn.top
    x0, x1 = np.clip([np.floor(px.min()), np.ceil(px.max()) + 1], 0, cover.shape[1]).astype(int)
    y0, y1 = np.clip([np.floor(py.min()), np.ceil(py.max()) + 1], 0, cover.shape[0]).astype(int)
    if x1 <= x0 or y1 <= y0:
        return
    rays = np.stack(
        np.broadcast_arrays(
            (np.arange(x0, x1) + drawn.left - lens.cx) / lens.focal,
            -((np.arange(y0, y1) + drawn.top - lens.cy) / lens.focal)[:, None],
            -1.0,
        ),
        axis=-1,
    )
    normal = np.cross(half_long, half_wide)
    with np.errstate(divide="ignore", invalid="ignore"):
        t = (middle @ normal) / (rays @ normal)
    at = rays * t[..., None] - middle
    u, v = at @ half_long / (half_long @ half_long), at @ half_wide / (half_wide @ half_wide)
    inside = (u**2 + v**2 < 1.0) & (t > 0) & (t < drawn.depth[y0:y1, x0:x1])
    alpha = np.where(inside, 0.30, 0.0)[..., None].astype(np.float32)
    colour = np.float32(0.82 * min(scene.ambient + 0.6 * scene.sun, 1.0))
    rgb[y0:y1, x0:x1] = rgb[y0:y1, x0:x1] * (1 - alpha) + alpha * colour
    cover[y0:y1, x0:x1] = cover[y0:y1, x0:x1] * (1 - alpha[..., 0]) + alpha[..., 0]


def _in_view(
    drawn: raster.Drawn | None, camera: Camera, points: Floats, now: Floats, stature: float
) -> NDArray[np.bool_]:
    """Which keypoints (K,) lie in the picture with no surface further in front than their own flesh is thick."""
    pixel = camera.project(points, now)[0]
    depth = -camera.to_camera(points, now)[0, :, 2]
    inside = (
        np.isfinite(pixel).all(axis=1)
        & (pixel > -0.5).all(axis=1)
        & (pixel < np.array(camera.size) - 0.5).all(axis=1)
    )
    if drawn is None:
        return inside
    h, w = drawn.depth.shape
    col = np.nan_to_num(np.round(pixel[:, 0])).astype(int) - drawn.left
    row = np.nan_to_num(np.round(pixel[:, 1])).astype(int) - drawn.top
    within = (col >= 0) & (col < w) & (row >= 0) & (row < h)
    front = np.full(K, np.inf)
    front[within] = drawn.depth[row[within], col[within]]
    return inside & (depth - front < _REACH * stature)


def render(
    motion: Motion,
    camera: Camera,
    look: Look,
    scene: Scene,
    path: str | Path,
    *,
    crf: float = 23,
    preset: str = "veryfast",
    sound: bool = True,
    subframes: int = 3,
    keep_truth: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> ClipTruth:
    """Film a whole motion into an H.264 clip with its true frame times.

    Parameters
    ----------
    path : the clip to write.
    crf, preset : as in ``FilmWriter``; a higher ``crf`` makes a smaller file.
    sound : whether the clip has a sound track.
    subframes : as in ``pictures``.
    keep_truth : write the truth to ``NAME.truth.npz`` and ``NAME.truth.json`` beside the clip.
    progress : called with (frames done, frames in all) after every frame.

    Returns
    -------
    The truth of the clip.
    """
    path = Path(path)
    times = camera.frame_times(float(motion.times[-1]))
    audio = (soundtrack(motion, camera, float(motion.times[-1]), seed=scene.seed), RATE) if sound else None
    visible = np.zeros((len(times), K), dtype=bool)
    with FilmWriter(path, camera.size, camera.fps, crf=crf, sound=audio, preset=preset) as film:
        for k, picture in enumerate(pictures(motion, camera, look, scene, times, subframes=subframes)):
            film.write(picture.rgb, picture.time)
            visible[k] = picture.visible
            if progress is not None:
                progress(k + 1, len(times))
    truth = truth_of(motion, camera, look, scene, times, visible)
    if keep_truth:
        write_truth(path, truth)
    return truth


def truth_of(
    motion: Motion, camera: Camera, look: Look, scene: Scene, times: Floats, visible: NDArray[np.bool_]
) -> ClipTruth:
    """The truth of frames at ``times`` (T,) seconds; ``visible`` is (T, K)."""
    points = resample(motion.points, motion.times, times)
    racket = resample(motion.racket, motion.times, times)
    ball = resample(motion.ball, motion.times, times)
    return ClipTruth(
        times=times,
        points=points,
        image=camera.project(points, times),
        visible=visible,
        racket=racket,
        racket_image=camera.project(racket, times),
        ball=ball,
        ball_image=camera.project(ball, times),
        hand=motion.hand,
        stature=motion.stature,
        swings=motion.swings,
        camera=camera.as_dict(),
        scene=asdict(scene),
        look=asdict(look),
    )


def aimed(camera: Camera, motion: Motion) -> Camera:
    """The camera turned and moved so that the whole motion, body and racket, lies about the middle of the picture."""
    reach = np.concatenate([motion.points, motion.racket], axis=1)
    low, high = np.nanmin(reach, axis=(0, 1)), np.nanmax(reach, axis=(0, 1))
    middle = 0.5 * (low + high)
    return replace(camera, aim=(float(middle[0]), float(middle[1]), float(middle[2])))
