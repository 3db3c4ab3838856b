"""HDR: light against the ITU's own levels and another library, then real films of 10 bits."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from swingmatch.clip.hdr import PEAK, TO_709, WHITE, ToneMap, hlg_scene, pq_light, pq_signal, roll_off
from swingmatch.clip.reader import frames, open_clip

# Signal, cd/m2: grey cards of 18 and 83 %, white card of 100 %. Report ITU-R BT.2408, Table 1.
CARDS_PQ = [(0.38, 26), (0.56, 162), (0.58, 203)]
CARDS_HLG = [(0.38, 26), (0.71, 162), (0.75, 203)]
TO_2020 = np.linalg.inv(TO_709)


@pytest.mark.parametrize(("signal", "light"), CARDS_PQ)
def test_pq_levels_of_the_report(signal: float, light: float) -> None:
    """The report gives whole per cent; the light must lie within half a per cent of signal."""
    assert pq_light(np.array(signal - 0.005)) <= light <= pq_light(np.array(signal + 0.005))


def test_light_against_another_library() -> None:
    """Made with colour-science 0.4.7: eotf_BT2100_PQ and oetf_inverse_BT2100_HLG."""
    signal = np.array([0.1, 0.38, 0.5, 0.58, 0.75, 0.9])
    np.testing.assert_allclose(
        pq_light(signal), [0.3246, 25.9906, 92.2457, 201.6663, 983.3779, 3905.6447], atol=1e-4
    )
    np.testing.assert_allclose(
        hlg_scene(signal), [0.003333, 0.048133, 0.083333, 0.116963, 0.264963, 0.581838], atol=1e-6
    )


@given(st.floats(0, 10_000))
def test_pq_there_and_back(light: float) -> None:
    assert float(pq_light(pq_signal(np.array(light)))) == pytest.approx(light, rel=1e-6, abs=1e-6)


def test_the_roll_off_keeps_shadows_and_order_and_ends_at_the_peak() -> None:
    light = np.linspace(0, 1500, 4001)
    rolled = roll_off(light)
    assert (np.diff(rolled[light <= PEAK]) > 0).all()
    assert rolled.max() == pytest.approx(WHITE, rel=1e-6)
    assert roll_off(np.array(PEAK)) == pytest.approx(WHITE, rel=1e-6)
    dark = light < 70  # the knee lies at 0.66 of the peak's signal: 80 cd/m2
    np.testing.assert_allclose(rolled[dark], light[dark], rtol=1e-6)


def shown(light: np.ndarray) -> np.ndarray:
    """8-bit levels of a BT.1886 screen for BT.2020 light in cd/m2, by the chain's plain formulas."""
    linear = np.clip(roll_off(light) / WHITE @ TO_709.T, 0, 1)
    return 255 * linear ** (1 / 2.4)


def test_hlg_of_a_colour_against_another_library() -> None:
    """Light by colour-science 0.4.7, eotf_BT2100_HLG, display of 1000 cd/m2."""
    signal = np.array([[[0.7, 0.4, 0.3], [0.75, 0.75, 0.75]]])
    light = np.array([[127.9279, 33.1008, 18.6192], [203.1521, 203.1521, 203.1521]])
    out = np.zeros((1, 2, 3), np.uint8)
    ToneMap("HLG")(np.round(signal * 65535).astype(np.uint16), out)
    np.testing.assert_allclose(out[0], shown(light), atol=1)


def test_strips_of_a_large_picture_join() -> None:
    picture = np.random.default_rng(1).integers(0, 65536, (700, 1000, 3)).astype(np.uint16)
    for curve in ("PQ", "HLG"):
        whole, row = np.zeros(picture.shape, np.uint8), np.zeros((1, 1000, 3), np.uint8)
        tone = ToneMap(curve)
        tone(picture, whole)
        for y in (0, 261, 262, 263, 699):
            tone(picture[y : y + 1], row)
            np.testing.assert_array_equal(whole[y], row[0])


def film(path: Path, curve: str, signal: np.ndarray) -> Path:
    """HEVC of 10 bits in which every pixel has the R'G'B' ``signal``: BT.2100 codes it (Table 6, limited range)."""
    luma = signal @ [0.2627, 0.6780, 0.0593]
    cb, cr = (signal[2] - luma) / 1.8814, (signal[0] - luma) / 1.4746
    codes = [round(64 + 876 * luma), round(512 + 896 * cb), round(512 + 896 * cr)]
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx265", rate=30)
        stream.width, stream.height, stream.pix_fmt = 64, 48, "yuv420p10le"
        trc = {"PQ": "smpte2084", "HLG": "arib-std-b67"}[curve]
        stream.options = {
            "x265-params": "log-level=none:lossless=1",
            "color_trc": trc,
            "color_primaries": "bt2020",
            "colorspace": "bt2020nc",
            "color_range": "tv",
        }
        for i in range(3):
            frame = av.VideoFrame(64, 48, "yuv420p10le")
            for plane, code in zip(frame.planes, codes, strict=True):
                plane.update(np.full(plane.buffer_size // 2, code, "<u2").tobytes())
            frame.pts, frame.time_base = i, Fraction(1, 30)
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return path


@pytest.mark.skipif("libx265" not in av.codecs_available, reason="no HEVC encoder in this PyAV")
@pytest.mark.parametrize(
    ("curve", "signal", "light"),
    [
        *[("PQ", [s] * 3, None) for s, _ in CARDS_PQ],
        *[("HLG", [s] * 3, [x] * 3) for s, x in CARDS_HLG],
        ("HLG", [0.7, 0.4, 0.3], [127.9279, 33.1008, 18.6192]),
        ("PQ", [0.5, 0.38, 0.1], [92.2457, 25.9906, 0.3246]),
        ("PQ", [0.75] * 3, [983.3779] * 3),
    ],
)
def test_films_in_hdr_look_as_they_should(
    tmp_path: Path, curve: str, signal: list[float], light: list[float] | None
) -> None:
    clip = open_clip(film(tmp_path / "a.mov", curve, np.array(signal)))
    assert clip.notes == ()
    image = next(frames(clip)).image
    expected = shown(pq_light(np.array(signal)) if light is None else np.array(light, dtype=float))
    # Ten bits of YCbCr and the report's rounded levels leave three of 255.
    np.testing.assert_allclose(image[8:40, 8:56].reshape(-1, 3).mean(axis=0), expected, atol=3)
