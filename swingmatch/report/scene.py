"""The 3-D view: player and model as stick figures through the stroke, on one slider.

The page carries each swing's joints as numbers; a small script puts them into a Plotly figure as the slider
moves. Nothing is computed in the browser but the drawing.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX, KEYPOINTS, SEGMENTS, K, middle
from swingmatch.findings.review import Pair, Review
from swingmatch.report.clock import differences_at, progress, shown_span
from swingmatch.report.framing import azimuth_of
from swingmatch.report.labels import joint_label, milliseconds, sentence_case
from swingmatch.report.palette import (
    FULL_SCALE_DEG,
    MODEL,
    NOT_VISIBLE,
    PLAYER,
    STAGE,
    VIRIDIS,
    colour_scale,
)
from swingmatch.series import resample

STEPS = 56
_RING = 14
#: Bones of the stick figure, then the neck and the ring of the skull (see ``_with_head``).
BONES: tuple[tuple[int, int], ...] = (
    *((INDEX[a], INDEX[b]) for _, a, b in SEGMENTS),
    (K, K + 2 + _RING // 2),
    (K + 1, INDEX["nose"]),
    *((K + 2 + i, K + 2 + (i + 1) % _RING) for i in range(_RING)),
)
_RACKET_LINES: tuple[tuple[int, int], ...] = ((0, 1), (1, 3), (3, 2), (2, 4), (4, 1))


def _plot_axes(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Court axes (X target, Y up, Z right) to Plotly's with z up: (X, -Z, Y); right-handed both."""
    return np.stack([points[..., 0], -points[..., 2], points[..., 1]], axis=-1)


def _rounded(values: NDArray[np.float64], digits: int) -> list[Any]:
    """Nested lists with None for NaN, as JSON wants them."""
    boxed = np.round(values, digits).astype(object)
    boxed[~np.isfinite(values)] = None
    out: list[Any] = boxed.tolist()
    return out


def _with_head(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Add points that only the drawing needs: middle of the shoulders, of the ears, a ring for the skull.

    ``points`` is (T, K, 3); the result is (T, K + 2 + ``_RING``, 3).
    """
    neck, ears = middle(points, "shoulder"), middle(points, "ear")
    up = ears - neck
    up = up / np.maximum(np.linalg.norm(up, axis=1, keepdims=True), 1e-9)
    face = points[:, INDEX["nose"]] - ears
    face = face - up * (face * up).sum(axis=1, keepdims=True)
    face = face / np.maximum(np.linalg.norm(face, axis=1, keepdims=True), 1e-9)
    angles = np.linspace(0, 2 * np.pi, _RING, endpoint=False)[None, :, None]
    ring = ears[:, None] + 0.062 * (np.sin(angles) * face[:, None] + np.cos(angles) * 1.15 * up[:, None])
    return np.concatenate([points, neck[:, None], ears[:, None], ring], axis=1)


def step_times(pair: Pair, steps: int = STEPS) -> NDArray[np.float64]:
    """(steps,) seconds from the player's contact: even within each part of the stroke, contact among them."""
    start, stop = shown_span(pair)
    before = max(2, round(steps * 0.64))
    return np.concatenate([np.linspace(start, 0.0, before), np.linspace(0.0, stop, steps - before + 1)[1:]])


def swing_data(pair: Pair, steps: int = STEPS) -> dict[str, Any]:
    """One swing's numbers for the page: both bodies at every step, differences, and the slider's words.

    Bodies are (steps, K + extra, 3) statures on Plotly's axes with the middle of the hips over the same
    spot of the ground; ``differences`` are degrees, None where this view cannot tell.
    """
    times = step_times(pair, steps)
    own_at = pair.player.contact + times
    model_at = pair.model.contact + pair.alignment.to_model(times)
    out: dict[str, Any] = {
        "labels": [],
        "phases": [],
        "contact": int(np.argmin(np.abs(times))),
        "differences": _rounded(np.stack([differences_at(pair, float(t)) for t in times]), 1),
    }
    for t in times:
        _, phase = progress(pair.events, pair.player.contact + float(t))
        out["labels"].append(sentence_case(milliseconds(float(t))))
        out["phases"].append(sentence_case(phase))
    for name, swing, at in (("player", pair.player, own_at), ("model", pair.model, model_at)):
        points = swing.at(at)
        hips = middle(points, "hip")
        hips[:, 1] = 0.0
        spot = np.where(np.isfinite(hips), hips, 0.0)
        out[name] = _rounded(_plot_axes(_with_head(points - spot[:, None])), 3)
        if swing.racket is not None:
            racket = resample(swing.racket, swing.times, at)
            out[name + "_racket"] = _rounded(_plot_axes(racket - spot[:, None]), 3)
    return out


def _ground() -> dict[str, Any]:
    """Ground grid: lines half a stature apart, and the way to the target."""
    x: list[float | None] = []
    y: list[float | None] = []
    reach = np.arange(-1.0, 1.01, 0.25)
    for a in reach:
        x += [float(a), float(a), None, -1.0, 1.0, None]
        y += [-1.0, 1.0, None, float(a), float(a), None]
    return {
        "type": "scatter3d",
        "mode": "lines",
        "x": x,
        "y": y,
        "z": [None if v is None else 0.0 for v in x],
        "line": {"color": "#4F6B62", "width": 1},
        "hoverinfo": "skip",
        "showlegend": False,
        "name": "ground",
    }


def _arrow() -> dict[str, Any]:
    return {
        "type": "scatter3d",
        "mode": "lines+text",
        "x": [0.78, 1.0, 0.93, None, 1.0, 0.93],
        "y": [-0.9, -0.9, -0.86, None, -0.9, -0.94],
        "z": [0.0, 0.0, 0.0, None, 0.0, 0.0],
        "text": ["to the target", "", "", "", "", ""],
        "textposition": "top center",
        "textfont": {"color": "#E8E2D0", "size": 12},
        "line": {"color": "#E8E2D0", "width": 4},
        "hoverinfo": "skip",
        "showlegend": False,
        "name": "direction",
    }


def scene_figure(review: Review) -> dict[str, Any]:
    """Plotly data and layout, empty of bodies: the page's script fills them in from ``swing_data``."""

    def line(name: str, colour: str, width: float, legend: bool, dash: str = "solid") -> dict[str, Any]:
        return {
            "type": "scatter3d",
            "mode": "lines",
            "x": [],
            "y": [],
            "z": [],
            "name": name,
            "line": {"color": colour, "width": width, "dash": dash},
            "hoverinfo": "skip",
            "showlegend": legend,
        }

    dots = {"type": "scatter3d", "mode": "markers", "x": [], "y": [], "z": [], "showlegend": False}
    model = f"Model: {review.model_name}"
    data = [
        _ground(),
        _arrow(),
        line(model, MODEL, 7, True),
        line(f"{model} racket", MODEL, 3, False),
        line(review.player, PLAYER, 9, True),
        line(f"{review.player} racket", PLAYER, 3, False),
        {
            **dots,
            "name": f"{model} joints",
            "marker": {"size": 3.5, "color": MODEL},
            "hovertemplate": "%{text}<extra></extra>",
        },
        {
            **dots,
            "name": "grey joints",
            "marker": {"size": 5.5, "color": NOT_VISIBLE, "line": {"color": "#FFFFFF", "width": 1}},
            "hovertemplate": "%{text}<extra></extra>",
        },
        {
            **dots,
            "name": f"{review.player} joints",
            "marker": {
                "size": 8,
                "color": [],
                "cmin": 0,
                "cmax": FULL_SCALE_DEG,
                "colorscale": colour_scale(VIRIDIS),
                "line": {"color": "#FFFFFF", "width": 1},
            },
            "hovertemplate": "%{text}<extra></extra>",
        },
    ]
    a = np.deg2rad(azimuth_of(review.pairs[review.best].player))
    hidden = {"visible": False, "showspikes": False}
    layout = {
        "paper_bgcolor": STAGE,
        "plot_bgcolor": STAGE,
        "font": {"color": "#E8E2D0", "size": 14},
        "margin": {"l": 0, "r": 0, "t": 0, "b": 0},
        "legend": {"orientation": "h", "x": 0.5, "xanchor": "center", "y": 1.0, "yanchor": "top",
                   "bgcolor": "rgba(30,43,42,0.6)", "itemclick": "toggle"},
        "uirevision": "keep",
        "hoverlabel": {"font": {"size": 14}},
        "scene": {
            "xaxis": {**hidden, "range": [-1.0, 1.0]},
            "yaxis": {**hidden, "range": [-1.0, 1.0]},
            "zaxis": {**hidden, "range": [0.0, 1.35]},
            "aspectmode": "manual",
            "aspectratio": {"x": 1.0, "y": 1.0, "z": 0.675},
            "dragmode": "orbit",
            "camera": {
                "eye": {"x": 0.86 * float(np.cos(a)), "y": -0.86 * float(np.sin(a)), "z": 0.12},
                "center": {"x": 0.0, "y": 0.0, "z": -0.03},
                "projection": {"type": "perspective"},
            },
        },
    }  # fmt: skip
    return {"data": data, "layout": layout}


def scene_payload(review: Review) -> dict[str, Any]:
    """Everything that the page's script needs for the 3-D view."""
    return {
        "figure": scene_figure(review),
        "bones": [list(b) for b in BONES],
        "racket": [list(b) for b in _RACKET_LINES],
        "joints": [joint_label(k) for k in KEYPOINTS],
        "dots": [i for i, k in enumerate(KEYPOINTS) if not k.endswith(("ear", "heel"))],
        "player": review.player,
        "model": f"Model: {review.model_name}",
        "best": review.best,
        "swings": [swing_data(pair) for pair in review.pairs],
    }
