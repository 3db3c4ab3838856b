"""The player about the racket, made of tubes: limbs, clothes, a hand that grips. Nobody's likeness."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX, SIDES
from swingmatch.study.sight.rackets import any_colour
from swingmatch.study.sight.tubes import TubeList, Tubes

Array = NDArray[np.float64]

#: Skin from light to dark, 0..255.
_SKIN = np.array(
    [(237, 200, 172), (219, 168, 135), (194, 143, 107), (153, 107, 79), (112, 77, 51), (70, 48, 36)]
)


def _unit(vectors: Array) -> Array:
    return vectors / np.maximum(np.linalg.norm(vectors, axis=-1, keepdims=True), 1e-9)


def person(
    rng: np.random.Generator, points: Array, stature: float, hand: str, grip: Array, along: Array, holds: bool
) -> Tubes:
    """A body at M moments: ``points`` (M, K, 3) metres; ``grip`` (M, 3) the hitting hand, ``along`` (M, 3)
    the handle's direction; ``holds`` whether the fingers close round it."""
    out = TubeList()
    skin = np.clip(
        _SKIN[int(rng.integers(len(_SKIN)))] * rng.uniform(0.85, 1.15) + rng.normal(0, 5, 3), 0, 255
    )
    shirt, trim, bottom, shoes, hair = (any_colour(rng) for _ in range(5))
    hair = hair * 0.35 if rng.random() < 0.8 else hair
    w = stature * rng.uniform(0.88, 1.2)
    sleeve = float(rng.choice([0.0, 0.35, 0.55, 0.55, 1.0, 2.0], p=[0.15, 0.1, 0.25, 0.25, 0.05, 0.2]))
    p = {name: points[:, i] for name, i in INDEX.items()}
    hips, chest = 0.5 * (p["left_hip"] + p["right_hip"]), 0.5 * (p["left_shoulder"] + p["right_shoulder"])
    for share in (0.0, 0.3, 0.6):
        out.add(
            hips + share * (chest - hips),
            hips + (share + 0.34) * (chest - hips),
            0.075 * w,
            0.078 * w,
            shirt if share else bottom,
            0.9,
        )
    out.add(
        0.8 * p["left_shoulder"] + 0.2 * chest,
        0.8 * p["right_shoulder"] + 0.2 * chest,
        0.042 * w,
        0.042 * w,
        shirt,
    )
    for side in SIDES:
        out.add(
            hips + 0.5 * (p[f"{side}_hip"] - hips),
            chest + 0.5 * (p[f"{side}_shoulder"] - chest),
            0.06 * w,
            0.055 * w,
            shirt,
        )
    ears = 0.5 * (p["left_ear"] + p["right_ear"])
    out.add(chest, ears, 0.034 * w, 0.032 * w, skin)
    out.add(
        ears + 0.02 * (ears - chest), 0.6 * ears + 0.4 * p["nose"], 0.056 * stature, 0.045 * stature, skin
    )
    out.add(
        ears + 0.16 * (ears - chest),
        ears + 0.18 * (ears - chest) + 0.3 * (ears - p["nose"]),
        0.050 * stature,
        0.050 * stature,
        hair,
        0.5,
    )
    for side in SIDES:
        shoulder, elbow, wrist, knuckle = (p[f"{side}_{n}"] for n in ("shoulder", "elbow", "wrist", "hand"))
        upper, fore = elbow - shoulder, wrist - elbow
        out.add(shoulder, elbow, 0.031 * w, 0.024 * w, skin)
        out.add(elbow, elbow + 0.3 * fore, 0.0235 * w, 0.025 * w, skin)
        out.add(elbow + 0.3 * fore, wrist, 0.025 * w, 0.016 * w, skin)
        if sleeve:
            reach = min(sleeve, 1.0)
            out.add(shoulder, shoulder + reach * upper, 0.037 * w, (0.036 - 0.010 * reach) * w, shirt)
            out.add(
                shoulder + 0.93 * reach * upper, shoulder + reach * upper, 0.036 * w, 0.035 * w, trim, 0.6
            )
        if sleeve > 1.0:
            out.add(elbow, elbow + 0.92 * fore, 0.028 * w, 0.019 * w, shirt)
        if rng.random() < 0.25:  # a band or a watch
            out.add(elbow + 0.86 * fore, elbow + 0.97 * fore, 0.019 * w, 0.018 * w, any_colour(rng), 0.6)
        out.add(wrist, knuckle, 0.017 * w, 0.019 * w, skin)
        if side != hand or not holds:
            ends = knuckle + 0.05 * stature * _unit(knuckle - wrist)
            out.add(knuckle, ends, 0.017 * w, 0.008 * w, skin, 0.7)
    if holds:
        _fingers(rng, out, grip, along, p[f"{hand}_wrist"], stature, skin)
    for side in SIDES:
        hip, knee, ankle, heel, toe = (p[f"{side}_{n}"] for n in ("hip", "knee", "ankle", "heel", "toe"))
        out.add(hip, knee, 0.048 * w, 0.032 * w, skin)
        out.add(hip, hip + 0.6 * (knee - hip), 0.056 * w, 0.052 * w, bottom)
        out.add(knee, ankle, 0.031 * w, 0.019 * w, skin)
        out.add(heel, toe, 0.024 * stature, 0.018 * stature, shoes)
    return out.done()


def _fingers(
    rng: np.random.Generator,
    out: TubeList,
    grip: Array,
    along: Array,
    wrist: Array,
    stature: float,
    skin: Array,
) -> None:
    """Four fingers and a thumb round the handle, their knuckles on the far side from the wrist."""
    arm = grip - wrist
    outward = _unit(arm - np.sum(arm * along, -1, keepdims=True) * along + 1e-6)
    round_it = np.cross(along, outward)
    turn = rng.uniform(0, 2 * np.pi)
    for k in range(5):
        off = (k - 2.0) * 0.0115 * stature + rng.normal(0, 0.002)
        angles = turn + np.array([0.0, 1.4, 2.8]) + (2.6 if k == 4 else 0.0) + rng.normal(0, 0.1)
        places = [grip + off * along + 0.0225 * (np.cos(a) * outward + np.sin(a) * round_it) for a in angles]
        out.add(places[0], places[1], 0.0088, 0.0085, skin, 0.7)
        out.add(places[1], places[2], 0.0085, 0.0075, 0.93 * skin, 0.7)
