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
_NOISES = 6  # pictures of sensor noise, used in turn and shifted
_OTHER_STATURE = 1.72  # of the bystander, metres


@dataclass(frozen=True)
class Picture:
    """One frame: its time (s), (h, w, 3) RGB, and (K,) which keypoints are in plain view."""

    time: float
    rgb: NDArray[np.uint8]
    visible: NDArray[np.bool_]


class _Layer:
    """Sub-frames added up: colour times cover, and cover, of the part of the picture that was drawn on."""

    def __init__(self, size: tuple[int, int]) -> None:
        self._colour = np.zeros((size[1], size[0], 3), np.float32)
        self._cover = np.zeros((size[1], size[0]), np.float32)
        self._low, self._high = np.array([size[1], size[0]]), np.array([0, 0])

    def add(
        self, top: int, left: int, rgb: NDArray[np.float32], cover: NDArray[np.float32], weight: float
    ) -> None:
        """Add one sub-frame's window, premultiplied colour (h, w, 3) and cover (h, w)."""
        h, w = cover.shape
        self._low, self._high = (
            np.minimum(self._low, (top, left)),
            np.maximum(self._high, (top + h, left + w)),
        )
        self._colour[top : top + h, left : left + w] += np.float32(weight) * rgb
        self._cover[top : top + h, left : left + w] += np.float32(weight) * cover

    def over(self, base: NDArray[np.uint8], gain: float) -> None:
        """Lay it over ``base`` (h, w, 3), in place; ``gain`` makes grey levels of the colours."""
        if (self._high <= self._low).any():
            return
        part = (slice(self._low[0], self._high[0]), slice(self._low[1], self._high[1]))
        mixed = base[part] * (1 - self._cover[part])[..., None] + self._colour[part] * np.float32(gain)
        base[part] = np.clip(mixed + 0.5, 0, 255)


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
    gain = 255 * scene.exposure
    margin = int(np.ceil(camera.focal * np.tan(np.radians(3.0 * camera.shake)))) + 2 if camera.shake else 0
    empty = np.clip(backdrop(scene, camera, margin) * gain + 0.5, 0, 255).astype(np.uint8)
    rng = np.random.default_rng([scene.seed, 3])
    noise = rng.standard_normal((_NOISES, camera.size[1], camera.size[0], 3), dtype=np.float32)
    grain = np.round(noise * scene.noise).astype(np.int16)
    walk = None
    if scene.bystander:
        walk = bystander(scene.bystander, camera, times, scene.seed)
    other = Look.of(scene.seed + 1000)
    for k, time in enumerate(times):
        now = np.array([time])
        base = _shaken(empty, camera, now, margin)
        points = resample(motion.points, motion.times, now)
        shadow(base, points, camera, now, scene, motion.stature)
        if walk is not None:
            there = walk[k : k + 1]
            shadow(base, there, camera, now, scene, _OTHER_STATURE)
            layer = _Layer(camera.size)
            body = figure.body(there, _OTHER_STATURE, other)
            for shift in ((-0.25, 0.25), (0.25, -0.25)):
                _add(layer, body, camera, now, 0, shift, scene, 0.5)
            layer.over(base, gain)
        moments = _moments(motion, camera, float(time), subframes)
        solids = _solids(motion, look, moments)
        rackets = resample(motion.racket, motion.times, moments)
        layer, visible = _Layer(camera.size), np.zeros(K, dtype=bool)
        for m in range(len(moments)):
            shift = _place_in_pixel(m, len(moments))
            drawn = _add(layer, solids, camera, moments, m, shift, scene, 1 / len(moments), rackets[m])
            if m == len(moments) // 2:
                visible = _in_view(drawn, camera, points, now, motion.stature)
        layer.over(base, gain)
        if scene.noise:
            speckle = np.roll(grain[k % _NOISES], (37 * k) % camera.size[1], axis=0)
            base = np.clip(base + speckle, 0, 255).astype(np.uint8)
        yield Picture(float(time), base, visible)


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


def _shaken(empty: NDArray[np.uint8], camera: Camera, now: Floats, margin: int) -> NDArray[np.uint8]:
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
    layer.add(drawn.top, drawn.left, rgb, cover, weight)
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
    mask, n = raster.normals(drawn, start, end, axis, solids.squash, lens)
    hollow = np.zeros(len(n), np.float32)
    body = mask & (solids.part[drawn.which] != figure.BALL)
    if body.any():
        rows, cols = (np.flatnonzero(body.any(axis=a)) for a in (1, 0))
        part = (slice(rows[0], rows[-1] + 1), slice(cols[0], cols[-1] + 1))
        inner, chosen = body[part], body[mask]
        scale = lens.focal / float(drawn.depth[part][inner].mean())  # pixels a metre
        # Blurring the normals rounds off the seams between neighbouring solids. Only directions matter, so the
        # blur need not be told about the edge of the mask.
        field = np.zeros((*inner.shape, 3), np.float32)
        field[inner] = n[chosen]
        soft = cv2.GaussianBlur(field, (0, 0), max(0.010 * scale, 0.6))[inner]
        n[chosen] = soft / np.sqrt(np.einsum("ij,ij->i", soft, soft) + 1e-9)[:, None]
        # Where the neighbourhood is nearer to the camera, less light gets in (Luft, Colditz, Deussen 2006,
        # "Image enhancement by unsharp masking the depth buffer").
        depth = np.where(inner, drawn.depth[part], 0.0).astype(np.float32)
        near = raster.smooth(depth, inner, max(0.035 * scale, 1.0))
        hollow[chosen] = np.clip((depth - near)[inner], 0.0, 0.12) / 0.12
    sun, up = (turn @ v for v in (scene.sun_direction, np.array([0.0, 1.0, 0.0])))
    lit = np.maximum(n @ (0.85 * sun).astype(np.float32) + np.float32(0.15), 0.0)
    round_about = 0.80 + n @ (0.20 * up + np.array([0.0, 0.0, 0.10])).astype(np.float32)
    light = (scene.ambient * round_about + scene.sun * lit) * (1.0 - 0.42 * hollow)
    rgb = np.zeros((*mask.shape, 3), np.float32)
    rgb[mask] = np.minimum(solids.colour.astype(np.float32)[drawn.which[mask]] * light[:, None], 1.0)
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
