"""Made-up feature matrices for the benchmarks: smooth series in families of style, from a seed."""

from __future__ import annotations

import numpy as np

T, D = 120, 36
_TERMS = 5


def _smooth(rng, count, size):
    """Sums of slow sines, (count, T, D): the k-th is half a wave times k, and 1 / k as strong."""
    waves = np.pi * np.arange(1, _TERMS + 1)[:, None] * np.linspace(0.0, 1.0, T)
    basis = np.concatenate([np.sin(waves), np.cos(waves)])
    strength = rng.normal(size=(count, _TERMS, D)) / np.arange(1, _TERMS + 1)[:, None]
    phase = rng.uniform(0.0, 2.0 * np.pi, strength.shape)
    parts = np.concatenate([strength * np.cos(phase), strength * np.sin(phase)], axis=1)
    return size * np.einsum("nkd,kt->ntd", parts, basis, optimize=True)


class Makes:
    """Draws models of ``families`` styles: a family's curve, its timing shifted, and something of one's own."""

    def __init__(self, families, seed=1, own=3.5, base=10.0):
        self.rng = np.random.default_rng(seed)
        self.families = _smooth(self.rng, families, base)
        self.own = own

    def __call__(self, count):
        """(count, T, D) float32."""
        rng, t = self.rng, np.linspace(0.0, 1.0, T)
        which = rng.integers(0, len(self.families), count)
        shift = 0.03 * rng.normal(size=(count, 1)) * np.sin(np.pi * t)
        shift = shift + 0.015 * rng.normal(size=(count, 1)) * np.sin(2.0 * np.pi * t)
        at = np.clip(t + shift, 0.0, 1.0) * (T - 1)
        left = np.minimum(at.astype(int), T - 2)
        w = (at - left)[..., None]
        curves = self.families[which]
        rows = np.arange(count)[:, None]
        warped = (1.0 - w) * curves[rows, left] + w * curves[rows, left + 1]
        return (warped + _smooth(rng, count, self.own)).astype(np.float32)
