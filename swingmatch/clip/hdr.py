"""HDR pictures made fit for an SDR screen and for pose models that were trained on such.

Light on the display by ITU-R BT.2100 (PQ: Table 4; HLG: Table 5, with its OOTF for a display of 1000 cd/m2),
brought under the SDR peak by the curve of report ITU-R BT.2390 (section "EETF": straight below a knee, a
Hermite spline above, both in PQ), with the peak at the reference white of 203 cd/m2 (report ITU-R BT.2408),
primaries turned from BT.2020 to BT.709 (ITU-R BT.2087), and coded for a BT.1886 screen. Each colour channel
is compressed by itself: highlights lose colour, as on film, and no channel clips early.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

#: Light of a white sheet, cd/m2 (BT.2408).
WHITE = 203.0
#: Brightest light that is kept apart, cd/m2: HLG's nominal peak, and what phones master PQ for (common practice).
PEAK = 1000.0
#: Transfer characteristics in ITU-T H.273 -> what people call them.
CURVES = {16: "PQ", 18: "HLG"}
#: Linear BT.2020 -> linear BT.709 (BT.2087, Annex 2, to four digits).
TO_709 = np.array([[1.6605, -0.5876, -0.0728], [-0.1246, 1.1329, -0.0083], [-0.0182, -0.1006, 1.1187]])
_LUMA = np.array([0.2627, 0.6780, 0.0593])  # BT.2100, Table 5
_GAMMA = 1.2  # HLG system gamma at 1000 cd/m2, BT.2100 Table 5
_M1, _M2 = 2610 / 16384, 2523 / 4096 * 128
_C1, _C2, _C3 = 3424 / 4096, 2413 / 4096 * 32, 2392 / 4096 * 32
_A = 0.17883277
_B, _C = 1 - 4 * _A, 0.5 - _A * np.log(4 * _A)
_STRIP = 1 << 18  # pixels handled at a time, so that a 4K picture takes no 300 MB
_FULL = 65535

Floats = NDArray[np.float64]


def pq_light(signal: Floats) -> Floats:
    """cd/m2 of a PQ signal 0..1: the EOTF of BT.2100."""
    root = np.asarray(signal, dtype=float) ** (1 / _M2)
    return 10_000 * (np.maximum(root - _C1, 0) / (_C2 - _C3 * root)) ** (1 / _M1)


def pq_signal(light: Floats) -> Floats:
    """PQ signal 0..1 of a light in cd/m2: the inverse EOTF of BT.2100."""
    power = (np.asarray(light, dtype=float) / 10_000) ** _M1
    return ((_C1 + _C2 * power) / (1 + _C3 * power)) ** _M2


def hlg_scene(signal: Floats) -> Floats:
    """Scene light 0..1 of an HLG signal 0..1: the inverse OETF of BT.2100."""
    signal = np.asarray(signal, dtype=float)
    return np.where(signal <= 0.5, signal**2 / 3, (np.exp((signal - _C) / _A) + _B) / 12)


def roll_off(light: Floats) -> Floats:
    """Light between 0 and ``PEAK`` brought under ``WHITE``, cd/m2: the EETF of BT.2390 with black at 0."""
    peak = pq_signal(np.array(PEAK))
    highest = pq_signal(np.array(WHITE)) / peak
    knee = 1.5 * highest - 0.5
    level = pq_signal(np.minimum(light, PEAK)) / peak
    t = np.clip((level - knee) / (1 - knee), 0, 1)
    spline = (
        (2 * t**3 - 3 * t**2 + 1) * knee
        + (t**3 - 2 * t**2 + t) * (1 - knee)
        + (-2 * t**3 + 3 * t**2) * highest
    )
    return pq_light(peak * np.where(level < knee, level, spline))


class ToneMap:
    """Turn 16-bit RGB in BT.2100 coding into 8-bit RGB for an SDR screen.

    Parameters
    ----------
    curve : "PQ" or "HLG".
    wide : the colours are BT.2020's, as BT.2100 demands; some files keep those of BT.709.
    """

    def __init__(self, curve: str, wide: bool = True) -> None:
        self._hlg = curve == "HLG"
        codes = np.arange(_FULL + 1) / _FULL
        rolled = roll_off(codes * PEAK if self._hlg else np.minimum(pq_light(codes), PEAK)) / WHITE
        self._rolled = rolled.astype(np.float32)  # by light / PEAK for HLG, by signal for PQ
        self._scene = hlg_scene(codes).astype(np.float32)
        self._luma = _LUMA.astype(np.float32)
        self._gain = (codes ** (_GAMMA - 1)).astype(np.float32)  # by luminance of the scene: BT.2100's OOTF
        self._matrix = (TO_709.T if wide else np.eye(3)).astype(np.float32)
        self._coded = np.round(255 * codes ** (1 / 2.4)).astype(np.uint8)

    def __call__(self, picture: NDArray[np.uint16], out: NDArray[np.uint8]) -> None:
        """Map ``picture`` (height, width, 3) into ``out`` of the same shape."""
        rows = max(1, _STRIP // max(1, picture.shape[1]))
        for begin in range(0, len(picture), rows):
            strip = picture[begin : begin + rows]
            if self._hlg:
                scene = self._scene[strip]
                gain = self._gain[_index(scene @ self._luma)]
                light = self._rolled[_index(scene * gain[..., None])]
            else:
                light = self._rolled[strip]
            out[begin : begin + rows] = self._coded[_index(light @ self._matrix)]


def _index(share: NDArray[np.float32]) -> NDArray[np.uint16]:
    return (np.clip(share, 0, 1) * np.float32(_FULL) + np.float32(0.5)).astype(np.uint16)
