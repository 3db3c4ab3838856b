"""The player's body, racket and ball as round solids hung on the keypoints.

The keypoints are joint centres inside the body; the surface is laid round them with the widths of an average
adult, as shares of stature. Widths are *from memory* of common anthropometric tables (head 0.13 H high, hip
breadth about 0.19 H, chest depth about 0.13 H) and trimmed by eye; the truth never depends on them.
"""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX, SIDES
from swingmatch.synth.look import Colour, Look
from swingmatch.synth.raster import Builder, Solids

Floats = NDArray[np.float64]

#: Numbers of body parts that are not keypoints; a keypoint's own parts carry its index.
TRUNK, HEAD, RACKET, BALL, OTHER = 100, 101, 102, 103, 104

#: How deep, in statures, the keypoint may lie behind the first surface and still count as in plain view.
DEPTH_OF_KEYPOINT: dict[str, float] = {
    "nose": 0.030,
    "ear": 0.045,
    "shoulder": 0.060,
    "elbow": 0.045,
    "wrist": 0.040,
    "hand": 0.050,
    "hip": 0.090,
    "knee": 0.055,
    "ankle": 0.045,
    "heel": 0.050,
    "toe": 0.045,
}


#: Half the distance between the hip joints, in statures, up to which the thighs start at the keypoints.
_HIP_HALF = 0.060


def unit(vectors: Floats) -> Floats:
    """Vectors (..., 3) of length 1; a zero vector stays zero."""
    return vectors / np.maximum(np.linalg.norm(vectors, axis=-1, keepdims=True), 1e-12)


def _square_to(vectors: Floats, axis: Floats) -> Floats:
    """Unit part of ``vectors`` (..., 3) at right angles to the unit ``axis`` (..., 3)."""
    return unit(vectors - np.sum(vectors * axis, -1, keepdims=True) * axis)


def _shade(colour: Colour, factor: float) -> Colour:
    return (min(colour[0] * factor, 1.0), min(colour[1] * factor, 1.0), min(colour[2] * factor, 1.0))


def body(points: Floats, stature: float, look: Look, gripping: str | None = None) -> Solids:
    """Solids of a body at M moments.

    Parameters
    ----------
    points : (M, K, 3) metres, any axes in which up is not needed (the body carries its own).
    stature : metres.
    look : colours, clothes, width.
    gripping : "left", "right" for the hand that holds a racket, or None.
    """
    b = Builder(len(points))
    p = {name: points[:, i] for name, i in INDEX.items()}
    h, w = stature, stature * look.build
    hips = 0.5 * (p["left_hip"] + p["right_hip"])
    chest = 0.5 * (p["left_shoulder"] + p["right_shoulder"])
    up = unit(chest - hips)
    right_hip = _square_to(p["right_hip"] - p["left_hip"], up)
    right_chest = _square_to(p["right_shoulder"] - p["left_shoulder"], up)
    ears = 0.5 * (p["left_ear"] + p["right_ear"])
    _trunk(b, p, hips, chest, right_hip, right_chest, h, w, look)
    _head(b, p, ears, chest, up, h, look)
    for side in SIDES:
        sign = 1.0 if side == "right" else -1.0
        _arm(b, p, side, sign * right_chest, h, w, look, gripping == side)
        _leg(b, p, side, hips, np.cross(up, right_hip), sign * right_hip, h, w, look)
    if look.bottom == "skirt":
        _skirt(b, p, hips, up, right_hip, h, w, look)
    return b.done()


def _trunk(
    b: Builder,
    p: dict[str, Floats],
    hips: Floats,
    chest: Floats,
    right_hip: Floats,
    right_chest: Floats,
    h: float,
    w: float,
    look: Look,
) -> None:
    """Pelvis, waist, rib cage, shoulder girdle and neck."""
    up = unit(chest - hips)
    span = chest - hips

    def across(share: float) -> Floats:
        return _square_to((1 - share) * right_hip + share * right_chest, up)

    # Half depth and half width of the trunk from the seat to the collar, as shares of stature.
    table = (
        (-0.06, 0.066, 0.093),
        (0.10, 0.066, 0.093),
        (0.34, 0.058, 0.082),
        (0.58, 0.063, 0.088),
        (0.80, 0.064, 0.094),
        (0.93, 0.050, 0.090),
    )
    for (s0, depth0, width0), (s1, depth1, width1) in itertools.pairwise(table):
        colour = look.bottom_colour if s1 <= 0.12 else look.shirt
        side = across(0.5 * (s0 + s1))
        front = np.cross(up, side)
        ratio = (depth0 + depth1) / (width0 + width1)
        lean = 0.006 * h * front
        b.add(
            hips + s0 * span + lean * (s0 > 0.4),
            hips + s1 * span + lean * (s1 > 0.4),
            depth0 * w,
            depth1 * w,
            colour,
            axis=side,
            squash=ratio,
            part=TRUNK,
        )
    left, right = (_root(p, side, hips, h) for side in SIDES)
    b.add(left, right, 0.0565 * w, 0.0565 * w, look.bottom_colour, part=TRUNK)
    b.add(
        left + 0.025 * h * up, right + 0.025 * h * up, 0.0545 * w, 0.0545 * w, look.bottom_colour, part=TRUNK
    )
    # Hem of the shirt over the waistband.
    b.add(
        hips + 0.09 * span,
        hips + 0.20 * span,
        0.0675 * w,
        0.064 * w,
        look.shirt,
        axis=across(0.15),
        squash=0.71,
        part=TRUNK,
    )
    front = np.cross(up, right_chest)
    collar = chest + 0.030 * h * up - 0.004 * h * front
    for which in SIDES:
        shoulder = p[f"{which}_shoulder"]
        inner = chest + 0.45 * (shoulder - chest)
        b.add(inner - 0.02 * h * up, shoulder - 0.006 * h * up, 0.046 * w, 0.034 * w, look.shirt, part=TRUNK)
        b.add(collar, shoulder + 0.004 * h * up, 0.026 * w, 0.024 * w, look.shirt, part=TRUNK)
        seat = 0.55 * p[f"{which}_hip"] + 0.45 * hips - 0.02 * h * up
        b.ball(seat - 0.022 * h * np.cross(up, right_hip), 0.056 * w, look.bottom_colour, part=TRUNK)
    head = 0.5 * (p["left_ear"] + p["right_ear"])
    b.add(chest + 0.008 * h * up, head - 0.030 * h * up, 0.035 * w, 0.031 * w, look.skin, part=TRUNK)
    b.add(
        chest + 0.018 * h * up,
        chest + 0.032 * h * up,
        0.038 * w,
        0.036 * w,
        _shade(look.shirt, 0.82),
        part=TRUNK,
    )


def _head(
    b: Builder, p: dict[str, Floats], ears: Floats, chest: Floats, up: Floats, h: float, look: Look
) -> None:
    """Skull, jaw, face, ears, hair, cap."""
    right = unit(p["right_ear"] - p["left_ear"])
    ahead = _square_to(p["nose"] - ears, right)
    over = np.cross(right, ahead)
    # The tip of the nose lies about 7 degrees below the level of the ear holes.
    tilt = np.radians(7.0)
    ahead, over = np.cos(tilt) * ahead + np.sin(tilt) * over, np.cos(tilt) * over - np.sin(tilt) * ahead

    def at(forward: float, upward: float, sideways: float = 0.0) -> Floats:
        return ears + h * (forward * ahead + upward * over + sideways * right)

    thin = 1.25
    skin = look.skin
    b.add(
        at(0.001, 0.018), at(0.024, -0.032), 0.0535 * h, 0.030 * h, skin, axis=right, squash=thin, part=HEAD
    )
    b.add(
        at(0.028, 0.010), at(0.0315, -0.040), 0.026 * h, 0.0155 * h, skin, axis=right, squash=0.85, part=HEAD
    )
    for side, sign in (("left", -1.0), ("right", 1.0)):
        b.add(
            at(-0.002, 0.010, sign * 0.0425),
            at(0.000, -0.006, sign * 0.041),
            0.013 * h,
            0.009 * h,
            _shade(skin, 0.92),
            axis=right,
            squash=2.5,
            part=INDEX[f"{side}_ear"],
        )
        b.ball(at(0.0465, 0.0085, sign * 0.0175), 0.0072 * h, (0.90, 0.90, 0.89), part=HEAD)
        b.ball(at(0.0525, 0.0085, sign * 0.0178), 0.0040 * h, (0.12, 0.09, 0.07), part=HEAD)
        b.add(
            at(0.0530, 0.0195, sign * 0.0095),
            at(0.0470, 0.0200, sign * 0.0260),
            0.0030 * h,
            0.0024 * h,
            _shade(look.hair, 0.8),
            part=HEAD,
        )
    tip = p["nose"] - 0.0075 * h * ahead
    b.add(at(0.0525, 0.008), tip, 0.0050 * h, 0.0080 * h, skin, part=INDEX["nose"])
    for sign in (-1.0, 1.0):
        b.ball(tip - 0.004 * h * ahead + sign * 0.0065 * h * right, 0.0055 * h, _shade(skin, 0.95), part=HEAD)
    mouth = _shade((0.75, 0.36, 0.34), 0.6 + 0.5 * skin[0])
    b.add(at(0.0485, -0.0290, -0.010), at(0.0500, -0.0295), 0.0036 * h, 0.0046 * h, mouth, part=HEAD)
    b.add(at(0.0500, -0.0295), at(0.0485, -0.0290, 0.010), 0.0046 * h, 0.0036 * h, mouth, part=HEAD)
    if look.hair_style != "none":
        b.add(
            at(-0.006, 0.025),
            at(-0.018, -0.004),
            0.0535 * h,
            0.040 * h,
            look.hair,
            axis=right,
            squash=1.20,
            part=HEAD,
        )
    if look.cap or look.hair_style != "none":
        over_it, more = (look.cap_colour, 0.004 * h) if look.cap else (look.hair, 0.0)
        b.add(
            at(0.012, 0.046),
            at(-0.01, 0.040),
            0.0375 * h + more,
            0.042 * h + more,
            over_it,
            axis=right,
            squash=0.95,
            part=HEAD,
        )
    if look.hair_style == "long":
        tail = at(-0.066, 0.020)
        low = 0.5 * (at(-0.078, -0.05) + tail - 0.07 * h * up) - 0.01 * h * ahead
        b.add(tail, low, 0.017 * h, 0.022 * h, look.hair, part=HEAD)
        b.add(low, low - 0.045 * h * up, 0.022 * h, 0.008 * h, look.hair, part=HEAD)
    if look.cap:
        b.add(
            at(-0.004, 0.030),
            at(-0.010, 0.022),
            0.056 * h,
            0.054 * h,
            look.cap_colour,
            axis=right,
            squash=1.2,
            part=HEAD,
        )
        b.add(
            at(0.040, 0.030),
            at(0.078, 0.024),
            0.026 * h,
            0.020 * h,
            look.cap_colour,
            axis=over,
            squash=5.0,
            part=HEAD,
        )


def _arm(
    b: Builder,
    p: dict[str, Floats],
    side: str,
    outward: Floats,
    h: float,
    w: float,
    look: Look,
    gripping: bool,
) -> None:
    """Upper arm with its sleeve, forearm, hand and fingers."""
    shoulder, elbow, wrist, knuckles = (p[f"{side}_{n}"] for n in ("shoulder", "elbow", "wrist", "hand"))
    i_shoulder, i_elbow, i_wrist, i_hand = (
        INDEX[f"{side}_{n}"] for n in ("shoulder", "elbow", "wrist", "hand")
    )
    skin = look.skin
    b.add(shoulder, shoulder + 0.40 * (elbow - shoulder), 0.0315 * w, 0.0275 * w, skin, part=i_shoulder)
    b.add(shoulder + 0.40 * (elbow - shoulder), elbow, 0.0275 * w, 0.0225 * w, skin, part=i_elbow)
    hem = shoulder + 0.52 * (elbow - shoulder)
    b.add(shoulder, hem, 0.0375 * w, 0.0345 * w, look.shirt, part=i_shoulder)
    b.add(hem, hem + 0.05 * (elbow - shoulder), 0.0345 * w, 0.0340 * w, look.trim, part=i_shoulder)
    belly = elbow + 0.24 * (wrist - elbow)
    b.add(elbow, belly, 0.0225 * w, 0.0250 * w, skin, part=i_elbow)
    b.add(belly, wrist, 0.0250 * w, 0.0160 * w, skin, part=i_wrist)

    along = unit(knuckles - wrist)
    # The palm's direction is not among the keypoints: the back of a relaxed hand faces outward.
    back = _square_to(outward + 1e-3 * np.array([0.3, 0.5, 0.7]), along)
    over = np.cross(along, back)
    b.add(wrist, knuckles, 0.0165 * w, 0.0210 * h, skin, axis=back, squash=1.45, part=i_hand)
    for k, lift in enumerate((-1.5, -0.5, 0.5, 1.5)):
        root = knuckles + 0.0095 * h * lift * over + 0.006 * h * along
        if gripping:
            bend = root + 0.016 * h * along - 0.006 * h * back
            b.add(root, bend, 0.0075 * h, 0.0072 * h, skin, part=i_hand)
            b.add(
                bend, bend - 0.012 * h * along - 0.018 * h * back, 0.0072 * h, 0.0066 * h, skin, part=i_hand
            )
        else:
            long = (0.042, 0.050, 0.048, 0.038)[k]
            bend = root + 0.55 * long * h * along
            b.add(root, bend, 0.0075 * h, 0.0068 * h, skin, part=i_hand)
            b.add(
                bend,
                bend + 0.45 * long * h * unit(along - 0.45 * back),
                0.0068 * h,
                0.0055 * h,
                skin,
                part=i_hand,
            )
    thumb = wrist + 0.012 * h * along + 0.015 * h * over
    b.add(
        thumb,
        thumb + 0.030 * h * unit(along + 0.7 * over - 0.4 * back),
        0.0090 * h,
        0.0068 * h,
        skin,
        part=i_hand,
    )


def _root(p: dict[str, Floats], side: str, hips: Floats, h: float) -> Floats:
    """Where the flesh of a thigh starts, (M, 3): at the keypoint, or further in where the keypoints lie wide apart.

    Otherwise the pelvis would be broader than anybody's.
    """
    out = p[f"{side}_hip"] - hips
    half = np.linalg.norm(out, axis=1, keepdims=True)
    return p[f"{side}_hip"] - 0.5 * np.maximum(half - _HIP_HALF * h, 0.0) * unit(out)


def _leg(
    b: Builder,
    p: dict[str, Floats],
    side: str,
    hips: Floats,
    front: Floats,
    outward: Floats,
    h: float,
    w: float,
    look: Look,
) -> None:
    """Thigh with its shorts, shank, sock and shoe."""
    knee, ankle, heel, toe = (p[f"{side}_{n}"] for n in ("knee", "ankle", "heel", "toe"))
    i_hip, i_knee, i_ankle, i_heel, i_toe = (
        INDEX[f"{side}_{n}"] for n in ("hip", "knee", "ankle", "heel", "toe")
    )
    skin = look.skin
    root = _root(p, side, hips, h)
    thigh = knee - root
    b.add(root, root + 0.55 * thigh, 0.049 * w, 0.043 * w, skin, part=i_hip)
    b.add(root + 0.55 * thigh, knee, 0.043 * w, 0.0305 * w, skin, part=i_knee)
    b.ball(root, 0.0545 * w, look.bottom_colour, part=i_hip)
    if look.bottom == "shorts":
        hem = root + 0.62 * thigh
        b.add(root, hem, 0.0545 * w, 0.0525 * w, look.bottom_colour, part=i_hip)
    else:
        b.add(root, root + 0.40 * thigh, 0.0545 * w, 0.0485 * w, look.bottom_colour, part=i_hip)
    shank = ankle - knee
    foot = unit(toe - heel)
    behind = -_square_to(
        np.where(np.abs(np.sum(foot * unit(shank), -1, keepdims=True)) > 0.95, front, foot), unit(shank)
    )
    b.ball(knee - 0.004 * h * behind, 0.0295 * w, skin, part=i_knee)
    calf = knee + 0.28 * shank + 0.008 * h * behind
    b.add(knee, calf, 0.0295 * w, 0.0315 * w, skin, part=i_knee)
    thin = knee + 0.86 * shank
    b.add(calf, thin, 0.0315 * w, 0.0180 * w, skin, part=i_ankle)
    b.add(knee + 0.76 * shank, thin, 0.0225 * w, 0.0186 * w, look.socks, part=i_ankle)
    b.add(thin, ankle, 0.0186 * w, 0.0195 * w, look.socks, part=i_ankle)
    bone = unit(np.cross(unit(shank), behind))
    for sign in (-1.0, 1.0):
        b.ball(ankle + sign * 0.012 * h * bone, 0.0115 * h, look.socks, part=i_ankle)

    # Shoe: the keypoints are the back of the heel and the tip of the foot, so the spheres sit inside them.
    down = -_square_to(-shank, foot)
    top = -down
    r_heel, r_toe = 0.0215 * h, 0.0160 * h
    seat = heel + r_heel * foot + 0.004 * h * top
    ball = heel + 0.68 * (toe - heel) + 0.004 * h * top
    tip = toe - r_toe * foot + 0.001 * h * top
    side_way = np.cross(foot, top)
    b.add(ankle + 0.020 * h * down, seat + 0.004 * h * top, 0.0225 * h, r_heel, look.shoes, part=i_heel)
    b.add(ankle + 0.021 * h * down, ball, 0.0235 * h, 0.0180 * h, look.shoes, part=i_toe)
    b.add(seat, ball, r_heel, 0.0200 * h, look.shoes, part=i_heel)
    b.add(ball, tip, 0.0200 * h, r_toe, look.shoes, axis=side_way, squash=0.78, part=i_toe)
    sole0, sole1 = heel + 0.020 * h * foot, toe - 0.018 * h * foot
    drop = 0.012 * h * down
    b.add(
        sole0 + drop,
        ball + drop - 0.004 * h * top,
        0.0225 * h,
        0.0255 * h,
        look.sole,
        axis=top,
        squash=2.6,
        part=i_heel,
    )
    b.add(
        ball + drop - 0.004 * h * top,
        sole1 + drop,
        0.0255 * h,
        0.0190 * h,
        look.sole,
        axis=top,
        squash=2.6,
        part=i_toe,
    )


def _skirt(
    b: Builder, p: dict[str, Floats], hips: Floats, up: Floats, right: Floats, h: float, w: float, look: Look
) -> None:
    """A short pleated skirt whose hem follows both thighs: a ring of narrow folds from the waist down."""
    front = np.cross(up, right)
    hang = [0.42 * (p[f"{side}_knee"] - p[f"{side}_hip"]) for side in SIDES]
    root = [_root(p, side, hips, h) for side in SIDES]
    middle, half = 0.5 * (root[0] + root[1]), 0.5 * (root[1] - root[0])
    drop, part_way = 0.5 * (hang[0] + hang[1]), 0.5 * (hang[1] - hang[0])
    for angle in np.linspace(0, 2 * np.pi, 30, endpoint=False):
        c, s = np.cos(angle), np.sin(angle)
        waist = hips + 0.035 * h * up + w * (0.058 * c * front + 0.080 * s * right)
        hip = middle + 0.9 * s * half + w * (0.058 * c * front + 0.046 * s * right) - 0.01 * h * up
        hem = middle + s * half + drop + s * part_way + w * (0.072 * c * front + 0.056 * s * right)
        b.add(waist, hip, 0.016 * w, 0.017 * w, look.bottom_colour, part=TRUNK)
        b.add(hip, hem, 0.018 * w, 0.0185 * w, look.bottom_colour, part=TRUNK)


def racket(marks: Floats, look: Look) -> Solids:
    """Solids of a racket at M moments from its marks (M, 5, 3): butt, throat, tip, left edge, right edge; metres."""
    b = Builder(len(marks))
    butt, throat, tip, left, right = (marks[:, i] for i in range(5))
    along = unit(tip - butt)
    middle, half_long = 0.5 * (throat + tip), 0.5 * np.linalg.norm(tip - throat, axis=1, keepdims=True)
    across, half_wide = unit(right - left), 0.5 * np.linalg.norm(right - left, axis=1, keepdims=True)
    top = butt + 0.42 * (throat - butt) * 1.35
    b.add(butt, butt + 0.02 * along, 0.0195, 0.0170, look.grip, part=RACKET)
    b.add(butt, top, 0.0165, 0.0155, look.grip, part=RACKET)
    angles = np.linspace(0, 2 * np.pi, 25)
    ring = [middle + half_long * np.cos(a) * along + half_wide * np.sin(a) * across for a in angles]
    for p0, p1 in itertools.pairwise(ring):
        b.add(p0, p1, 0.0105, 0.0105, look.frame, part=RACKET)
    for a in (np.pi - 0.75, np.pi + 0.75):
        b.add(
            top,
            middle + half_long * np.cos(a) * along + half_wide * np.sin(a) * across,
            0.0115,
            0.0105,
            look.frame,
            part=RACKET,
        )
    return b.done()


def ball(start: Floats, end: Floats) -> Solids:
    """The ball between two moments close together, drawn as the streak it leaves: (M, 3) metres each.

    Radius 3.35 cm (sources row D2: diameter 6.54-6.86 cm).
    """
    b = Builder(len(start))
    b.add(start, end, 0.0335, 0.0335, (0.83, 0.93, 0.25), part=BALL)
    return b.done()
