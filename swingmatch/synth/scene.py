"""The place: court with its lines, net, fence, trees and sky, the light, and somebody walking behind."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX, SIDES, K, middle
from swingmatch.synth.camera import Camera
from swingmatch.synth.figure import unit
from swingmatch.synth.look import Colour

Floats = NDArray[np.float64]

# ITF Rules of Tennis (sources row D2), metres.
HALF_LENGTH = 23.77 / 2
HALF_SINGLES = 8.23 / 2
HALF_DOUBLES = 10.97 / 2
SERVICE_LINE = 6.40
NET_CENTRE, NET_POST = 0.914, 1.07
POST_OUTSIDE = 0.914
LINE, BASE_LINE = 0.05, 0.10
# Room round the court: 6.40 m behind, 3.66 m beside, the usual recommendation, *from memory*.
RUN_BACK, RUN_SIDE = 6.40, 3.66

#: Name -> colour inside the lines, colour outside.
SURFACES: dict[str, tuple[Colour, Colour]] = {
    "blue hard": ((0.22, 0.38, 0.60), (0.33, 0.50, 0.38)),
    "green hard": ((0.26, 0.46, 0.34), (0.55, 0.32, 0.26)),
    "clay": ((0.71, 0.42, 0.28), (0.68, 0.40, 0.27)),
    "grass": ((0.38, 0.52, 0.24), (0.34, 0.48, 0.22)),
    "grey indoor": ((0.42, 0.46, 0.50), (0.50, 0.52, 0.54)),
}
_SCREEN: tuple[Colour, ...] = ((0.13, 0.28, 0.21), (0.12, 0.19, 0.31), (0.20, 0.21, 0.22))


@dataclass(frozen=True)
class Scene:
    """Where and in what light the clip is filmed.

    Attributes
    ----------
    surface : a key of ``SURFACES``.
    behind_baseline, aside : metres from the player's ready place to the baseline and to the court's middle
        (positive: the player stands to the right of it).
    sun : direct light, 0 (overcast) to 1 (clear). ambient : light from all round.
    sun_azimuth, sun_height : degrees, azimuth as a camera's.
    exposure : gain of the picture. noise : standard deviation of the sensor noise, grey levels of 255.
    screen_height, fence_height : metres, wind-screen and wire.
    bystander : None, "standing" or "walking".
    seed : of textures, trees and noise.
    """

    surface: str = "blue hard"
    behind_baseline: float = 0.7
    aside: float = 1.0
    sun: float = 0.75
    ambient: float = 0.55
    sun_azimuth: float = 60.0
    sun_height: float = 50.0
    exposure: float = 1.0
    noise: float = 2.0
    screen_height: float = 2.2
    fence_height: float = 3.4
    bystander: str | None = None
    seed: int = 0

    def __post_init__(self) -> None:
        if self.surface not in SURFACES:
            raise ValueError(f"surface must be one of {', '.join(SURFACES)} (got {self.surface!r})")
        if self.bystander not in (None, "standing", "walking"):
            raise ValueError(f"bystander must be None, 'standing' or 'walking' (got {self.bystander!r})")

    @staticmethod
    def of(seed: int) -> Scene:
        """A place and a light drawn at random; the same seed gives the same scene."""
        rng = np.random.default_rng([seed, 55])
        sun = float(rng.uniform(0.1, 0.9))
        return Scene(
            surface=tuple(SURFACES)[int(rng.integers(len(SURFACES)))],
            behind_baseline=float(rng.uniform(0.2, 1.5)),
            aside=float(rng.uniform(-2.5, 2.5)),
            sun=sun,
            ambient=0.95 - 0.5 * sun,
            sun_azimuth=float(rng.uniform(-180, 180)),
            sun_height=float(rng.uniform(30, 70)),
            exposure=float(rng.uniform(0.85, 1.12)),
            noise=float(rng.uniform(1.0, 5.0)),
            bystander=(None, None, "standing", "walking")[int(rng.integers(4))],
            seed=seed,
        )

    @property
    def sun_direction(self) -> Floats:
        """(3,) unit vector towards the sun on court axes."""
        a, e = np.radians(self.sun_azimuth), np.radians(self.sun_height)
        return np.array([np.cos(e) * np.cos(a), np.sin(e), np.cos(e) * np.sin(a)])


def _grain(seed: int, size: int = 512) -> NDArray[np.float32]:
    """Tileable smooth noise of several scales, mean 0, standard deviation 1: (size, size)."""
    rng = np.random.default_rng([seed, 9])
    out = np.zeros((size, size), np.float32)
    for step, weight in ((64, 1.0), (16, 0.6), (4, 0.45), (1, 0.5)):
        layer = rng.standard_normal((size // step, size // step)).astype(np.float32)
        layer = np.pad(layer, 1, mode="wrap")
        big = cv2.resize(layer, None, fx=step, fy=step, interpolation=cv2.INTER_CUBIC)
        out += weight * big[step : step + size, step : step + size]
    return ((out - out.mean()) / out.std()).astype(np.float32)


def _look_up(grain: NDArray[np.float32], u: Floats, v: Floats | float, cell: float) -> Floats:
    """Noise at metres ``u``, ``v`` (same shape), one texel every ``cell`` metres."""
    size = grain.shape[0]
    x = np.mod(np.nan_to_num(u) / cell, size).astype(np.float32)
    y = np.mod(np.nan_to_num(np.broadcast_to(v, u.shape)) / cell, size).astype(np.float32)
    return cv2.remap(grain, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP).astype(np.float64)


def _band(distance: Floats, width: float, footprint: Floats) -> Floats:
    """Share 0..1 of a pixel ``footprint`` wide that a line covers whose middle lies ``distance`` away."""
    covered: Floats = np.clip((0.5 * width - np.abs(distance)) / footprint + 0.5, 0.0, 1.0)
    share: Floats = np.minimum(width / footprint, 1.0)
    return covered * share


def backdrop(scene: Scene, camera: Camera, margin: int = 0, fine: int = 2) -> NDArray[np.float32]:
    """The empty court as the unshaken camera sees it: (height + 2 margin, width + 2 margin, 3), 0..1, RGB.

    ``fine`` x ``fine`` rays a pixel are averaged.
    """
    width, height = camera.size[0] + 2 * margin, camera.size[1] + 2 * margin
    total = np.zeros((height, width, 3))
    grain = _grain(scene.seed)
    for row in range(fine):
        for col in range(fine):
            dx, dy = (col + 0.5) / fine - 0.5, (row + 0.5) / fine - 0.5
            x = (np.arange(width) - margin + dx - camera.centre[0]) / camera.focal
            y = -(np.arange(height) - margin + dy - camera.centre[1]) / camera.focal
            rays = np.stack([*np.meshgrid(x, y), np.full((height, width), -1.0)], axis=-1)
            total += _colours(scene, camera, rays @ camera.rotation(), grain)
    return (total / fine**2).astype(np.float32)


def _colours(scene: Scene, camera: Camera, rays: Floats, grain: NDArray[np.float32]) -> Floats:
    """Colour (h, w, 3) met by rays (h, w, 3) on court axes from the lens."""
    lens = camera.position
    out = _sky(scene, rays, grain)
    light = scene.ambient + scene.sun * np.sin(np.radians(scene.sun_height))
    out = _walls(scene, lens, rays, out, grain, light, 1.0 / camera.focal)
    out = _ground(scene, lens, rays, out, grain, light, 1.0 / camera.focal)
    return _net(scene, lens, rays, out, 1.0 / camera.focal, light)


def _sky(scene: Scene, rays: Floats, grain: NDArray[np.float32]) -> Floats:
    """Sky with thin cloud, and tree tops along the horizon."""
    level = np.hypot(rays[..., 0], rays[..., 2])
    rise: Floats = rays[..., 1] / level
    bearing: Floats = np.arctan2(rays[..., 2], rays[..., 0])
    # Whole turns of the bearing are whole tiles of the noise, so that no seam shows.
    tile = grain.shape[0] / (2 * np.pi)
    blue = np.clip(rise * 1.6, 0, 1)[..., None]
    clear = (1 - blue) * np.array([0.80, 0.87, 0.93]) + blue * np.array([0.42, 0.62, 0.86])
    dull = np.array([0.80, 0.82, 0.84])
    share = min(scene.sun / 0.7, 1.0)
    sky = share * clear + (1 - share) * dull
    cloud = np.clip(_look_up(grain, bearing * tile, rise * 120, 1.0) * 0.5, 0, 1)[..., None] * 0.35
    sky = sky * (1 - cloud) + cloud * 0.95
    # Tops of the trees in tan of elevation: crowns of two sizes.
    crown = 0.17 + 0.035 * _look_up(grain, bearing * tile, 7.0, 1.0)
    crown = crown + 0.012 * _look_up(grain, bearing * 3 * tile, 90.0, 1.0)
    leaf = 0.75 + 0.22 * _look_up(grain, bearing * 3 * tile, rise * 220, 1.0)
    leaf *= 0.75 + 0.5 * np.clip(rise / 0.2, 0, 1)
    trees = (
        np.clip(leaf, 0.3, 1.5)[..., None] * np.array([0.20, 0.30, 0.17]) * (scene.ambient + 0.6 * scene.sun)
    )
    cover = np.clip((crown - rise) / 0.004, 0, 1)[..., None]
    return sky * (1 - cover) + trees * cover


def _walls(
    scene: Scene,
    lens: Floats,
    rays: Floats,
    out: Floats,
    grain: NDArray[np.float32],
    light: float,
    pixel: float,
) -> Floats:
    """Four fences with wind-screens; one whose outside faces the camera is left out."""
    net_x = scene.behind_baseline + HALF_LENGTH
    places = (
        (0, net_x - HALF_LENGTH - RUN_BACK, 1.0),
        (0, net_x + HALF_LENGTH + RUN_BACK, -1.0),
        (2, -scene.aside - HALF_DOUBLES - RUN_SIDE, 1.0),
        (2, -scene.aside + HALF_DOUBLES + RUN_SIDE, -1.0),
    )
    screen = np.array(_SCREEN[scene.seed % len(_SCREEN)])
    nearest = np.full(rays.shape[:2], np.inf)
    for axis, place, inward in places:
        if (lens[axis] - place) * inward <= 0.3:
            continue
        with np.errstate(divide="ignore", invalid="ignore"):
            t = (place - lens[axis]) / rays[..., axis]
        high = lens[1] + t * rays[..., 1]
        other = 2 - axis
        along = lens[other] + t * rays[..., other]
        hit = (t > 0) & (high > 0) & (high < scene.fence_height) & (t < nearest)
        nearest = np.where(hit, t, nearest)
        foot = np.maximum(t * pixel, 1e-4)
        fold = 0.04 * np.sin(along * 2.1) + 0.05 * _look_up(grain, along, high, 0.02)
        cloth = np.clip(screen * light * (1.0 + fold[..., None]), 0, 1)
        post = _band(np.mod(along + 1.5, 3.0) - 1.5, 0.07, foot)
        rail = np.maximum(
            _band(high - scene.fence_height + 0.03, 0.05, foot), _band(high - scene.screen_height, 0.03, foot)
        )
        wire = np.maximum(post, rail)[..., None]
        metal = np.array([0.34, 0.36, 0.36]) * light
        mesh = np.where((high > scene.screen_height)[..., None], out * 0.86 + 0.04, cloth)
        face = mesh * (1 - 0.75 * wire) + metal * 0.75 * wire
        out = np.where(hit[..., None], face, out)
    return out


def _ground(
    scene: Scene,
    lens: Floats,
    rays: Floats,
    out: Floats,
    grain: NDArray[np.float32],
    light: float,
    pixel: float,
) -> Floats:
    """Court surface and white lines."""
    with np.errstate(divide="ignore", invalid="ignore"):
        t = -lens[1] / rays[..., 1]
    hit = (t > 0) & np.isfinite(t)
    t = np.where(hit, t, 1.0)
    along = lens[0] + t * rays[..., 0] - scene.behind_baseline - HALF_LENGTH
    across = lens[2] + t * rays[..., 2] + scene.aside
    inside, outside = (np.array(c) for c in SURFACES[scene.surface])
    edge = np.maximum(np.abs(along) - HALF_LENGTH, np.abs(across) - HALF_DOUBLES)
    limit = RUN_BACK - 0.0, RUN_SIDE - 0.0
    beyond = (np.abs(along) > HALF_LENGTH + limit[0]) | (np.abs(across) > HALF_DOUBLES + limit[1])
    colour = np.where((edge < 0)[..., None], inside, outside)
    colour = np.where(beyond[..., None], np.array([0.33, 0.40, 0.24]), colour)
    # A pixel's side on the ground is longer along the line of sight; fine grain fades where it is too small to see.
    length = np.linalg.norm(rays, axis=-1)
    flat = t * length**2 / np.maximum(np.abs(rays[..., 1]), 1e-3) * pixel / length
    near = np.clip(0.03 / np.maximum(t * pixel, 1e-6) / 8, 0, 1)
    rough = 0.030 * _look_up(grain, along, across, 0.11) + 0.030 * near * _look_up(
        grain, along, across, 0.012
    )
    colour = colour * (1 + rough[..., None] * (1.5 if scene.surface in ("clay", "grass") else 1.0))
    # Footprint across a line: between the short and the long side, by the line's direction to the sight.
    level = np.maximum(np.hypot(rays[..., 0], rays[..., 2]), 1e-9)
    c, s = np.abs(rays[..., 0]) / level, np.abs(rays[..., 2]) / level
    short = t * length * pixel
    foot_x, foot_z = np.maximum(c * flat + s * short, 1e-4), np.maximum(s * flat + c * short, 1e-4)
    within = np.abs(across) < HALF_DOUBLES
    white = np.zeros(t.shape)
    for x, wide, reach in (
        (HALF_LENGTH - BASE_LINE / 2, BASE_LINE, HALF_DOUBLES),
        (SERVICE_LINE - LINE / 2, LINE, HALF_SINGLES),
    ):
        stripe = _band(np.abs(along) - x, wide, foot_x) * (np.abs(across) < reach)
        white = np.maximum(white, stripe)
    for z in (HALF_DOUBLES - LINE / 2, HALF_SINGLES - LINE / 2):
        stripe = _band(np.abs(across) - z, LINE, foot_z) * (np.abs(along) < HALF_LENGTH)
        white = np.maximum(white, stripe)
    white = np.maximum(white, _band(across, LINE, foot_z) * (np.abs(along) < SERVICE_LINE))
    mark = _band(across, LINE, foot_z) * (np.abs(np.abs(along) - HALF_LENGTH + 0.1) < 0.1) * within
    white = np.maximum(white, mark)[..., None]
    colour = colour * (1 - white) + np.array([0.90, 0.90, 0.88]) * white
    return np.where(
        hit[..., None] & (t[..., None] < _wall_limit(scene, lens, rays)[..., None]), colour * light, out
    )


def _wall_limit(scene: Scene, lens: Floats, rays: Floats) -> Floats:
    """Ray parameter at which the ground disappears behind a fence that faces the camera; infinite without one."""
    net_x = scene.behind_baseline + HALF_LENGTH
    limit = np.full(rays.shape[:2], np.inf)
    for axis, place, inward in (
        (0, net_x - HALF_LENGTH - RUN_BACK, 1.0),
        (0, net_x + HALF_LENGTH + RUN_BACK, -1.0),
        (2, -scene.aside - HALF_DOUBLES - RUN_SIDE, 1.0),
        (2, -scene.aside + HALF_DOUBLES + RUN_SIDE, -1.0),
    ):
        if (lens[axis] - place) * inward > 0.3:
            with np.errstate(divide="ignore", invalid="ignore"):
                t = (place - lens[axis]) / rays[..., axis]
            limit = np.where(t > 0, np.minimum(limit, t), limit)
    return limit


def _net(scene: Scene, lens: Floats, rays: Floats, out: Floats, pixel: float, light: float) -> Floats:
    """Net with its white band and posts, when it is behind the player as the camera sees it."""
    x = scene.behind_baseline + HALF_LENGTH
    if lens[0] >= x - 0.5:
        return out
    with np.errstate(divide="ignore", invalid="ignore"):
        t = (x - lens[0]) / rays[..., 0]
    high = lens[1] + t * rays[..., 1]
    across = lens[2] + t * rays[..., 2] + scene.aside
    post_at = HALF_DOUBLES + POST_OUTSIDE
    top = NET_CENTRE + (NET_POST - NET_CENTRE) * np.minimum(np.abs(across) / post_at, 1.0) ** 1.0
    foot = np.maximum(t * pixel, 1e-4)
    seen = (t > 0) & (high > 0) & np.isfinite(t)
    reach = seen & (np.abs(across) < post_at)
    mesh = (0.38 * (reach & (high < top)))[..., None]
    out = out * (1 - mesh) + np.array([0.05, 0.06, 0.06]) * mesh
    band = (_band(high - top + 0.03, 0.06, foot) * reach)[..., None]
    out = out * (1 - band) + np.minimum(0.92 * light, 1.0) * band
    strap = (_band(across, 0.05, foot) * (reach & (high < top)))[..., None]
    out = out * (1 - strap) + np.minimum(0.9 * light, 1.0) * strap
    post = (_band(np.abs(across) - post_at, 0.08, foot) * (seen & (high < NET_POST)))[..., None]
    return out * (1 - post) + np.array([0.12, 0.20, 0.15]) * post


def shadow(
    picture: NDArray[np.uint8], points: Floats, camera: Camera, times: Floats, scene: Scene, stature: float
) -> None:
    """Darken ``picture`` (h, w, 3), in place, where one body keeps the light from the ground.

    ``points`` (1, K, 3) metres at the one moment ``times`` (1,); ``stature`` metres.
    """
    p = points[0]
    middle_hip, middle_chest = middle(p, "hip"), middle(p, "shoulder")
    head = middle(p, "ear")
    rods = [(middle_hip, middle_chest, 0.085), (middle_chest, head, 0.03), (head, head, 0.06)]
    for side in SIDES:
        for a, b, r in (
            ("shoulder", "elbow", 0.03),
            ("elbow", "wrist", 0.022),
            ("hip", "knee", 0.045),
            ("knee", "ankle", 0.03),
            ("heel", "toe", 0.025),
        ):
            rods.append((p[INDEX[f"{side}_{a}"]], p[INDEX[f"{side}_{b}"]], r))
    ends = np.array([[a, b] for a, b, _ in rods])
    sun = scene.sun_direction
    fallen = ends - ends[..., 1:2] / sun[1] * sun
    depth = -camera.to_camera(fallen[None], times)[0, ..., 2]
    pixels = camera.project(fallen[None], times)[0]
    if not np.isfinite(pixels).all():
        return
    sigma = max(0.006 * stature * camera.focal / camera.distance, 0.8)
    rim = 4 * sigma + 0.2 * stature * camera.focal / depth.min()
    limit = np.array([picture.shape[1], picture.shape[0]])
    left, top = np.clip(pixels.min(axis=(0, 1)) - rim, 0, limit).astype(int)
    right, bottom = np.clip(pixels.max(axis=(0, 1)) + rim, 0, limit).astype(int)
    if right <= left or bottom <= top:
        return
    mask = np.zeros((bottom - top, right - left), np.uint8)
    for (a, b), z, (_, _, r) in zip(np.round(pixels - (left, top)).astype(int), depth, rods, strict=True):
        thick = max(round(1.4 * r * stature * camera.focal / float(z.mean())), 1)
        cv2.line(mask, (int(a[0]), int(a[1])), (int(b[0]), int(b[1])), 255, thick, cv2.LINE_AA)
    soft = cv2.GaussianBlur(mask, (0, 0), sigma).astype(np.float32) / 255
    direct = scene.sun * sun[1]
    part = picture[top:bottom, left:right]
    part[:] = part * (1 - soft * np.float32(direct / (direct + scene.ambient) + 0.12))[..., None]


def bystander(kind: str, camera: Camera, times: Floats, seed: int, stature: float = 1.72) -> Floats:
    """Somebody well behind the player, standing or walking across: (T, K, 3) metres on court axes.

    A plain gait of sines with a stride of about 1.4 m at 1.3 m/s; good for a figure in the background only.
    """
    rng = np.random.default_rng([seed, 31])
    a = np.radians(camera.azimuth)
    away = -np.array([np.cos(a), 0.0, np.sin(a)])
    right = np.array([np.sin(a), 0.0, -np.cos(a)])
    deep, start = rng.uniform(3.0, 4.2), rng.uniform(-2.6, 2.6)
    if abs(start) < 1.2:
        start = np.copysign(1.6, start)
    walking = kind == "walking"
    pace = 1.3 if walking else 0.0
    way = -np.sign(start) * right if walking else unit(-away)
    base = np.array(camera.aim) * np.array([1.0, 0.0, 1.0]) + deep * away + start * right
    ground = base + (pace * times[:, None]) * way
    side_way = np.cross(way, np.array([0.0, 1.0, 0.0]))
    swing = np.sin(2 * np.pi * times * pace / 1.4)[:, None] * (0.42 if walking else 0.0)
    h = stature
    out = np.zeros((len(times), K, 3))

    def put(name: str, ahead: Floats, high: Floats | float, out_by: float) -> None:
        up = np.zeros((len(times), 3))
        up[:, 1:2] = high
        out[:, INDEX[name]] = ground + ahead * way + up + out_by * side_way

    zero = np.zeros((len(times), 1))
    put("nose", zero + 0.064 * h, 0.922 * h, 0.0)
    for side in SIDES:
        sign = 1.0 if side == "right" else -1.0
        put(f"{side}_ear", zero, 0.930 * h, sign * 0.042 * h)
        put(f"{side}_shoulder", zero, 0.815 * h, sign * 0.105 * h)
        arm = -sign * swing
        put(f"{side}_elbow", 0.186 * h * np.sin(arm), 0.815 * h - 0.186 * h * np.cos(arm), sign * 0.125 * h)
        fore = arm + (0.35 if walking else 0.12)
        wrist = 0.186 * h * np.sin(arm) + 0.146 * h * np.sin(fore)
        drop = 0.815 * h - 0.186 * h * np.cos(arm) - 0.146 * h * np.cos(fore)
        put(f"{side}_wrist", wrist, drop, sign * 0.125 * h)
        put(f"{side}_hand", wrist + 0.05 * h * np.sin(fore), drop - 0.05 * h * np.cos(fore), sign * 0.125 * h)
        put(f"{side}_hip", zero, 0.520 * h, sign * 0.050 * h)
        leg = sign * swing
        bend = np.maximum(-np.sin(2 * np.pi * times * pace / 1.4 + sign * np.pi / 2)[:, None], 0) * (
            0.7 if walking else 0
        )
        bend = bend + 0.05
        put(f"{side}_knee", 0.245 * h * np.sin(leg), 0.520 * h - 0.245 * h * np.cos(leg), sign * 0.052 * h)
        ankle = 0.245 * h * np.sin(leg) + 0.246 * h * np.sin(leg - bend)
        low = 0.520 * h - 0.245 * h * np.cos(leg) - 0.246 * h * np.cos(leg - bend)
        put(f"{side}_ankle", ankle, np.maximum(low, 0.039 * h), sign * 0.052 * h)
        put(f"{side}_heel", ankle - 0.035 * h, np.maximum(low - 0.025 * h, 0.012 * h), sign * 0.052 * h)
        put(f"{side}_toe", ankle + 0.115 * h, np.maximum(low - 0.028 * h, 0.010 * h), sign * 0.062 * h)
    return out
