"""Writing films: H.264 in an MP4 that any browser and phone plays, with true frame times and optional sound.

A film appears under its name only when it is whole: it grows in a hidden file in the same folder, which is
renamed at the end and removed when anything, Ctrl-C included, gets in the way.
"""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
from fractions import Fraction
from pathlib import Path
from types import TracebackType
from typing import Any

import av
import numpy as np
from av.audio.frame import AudioFrame
from av.audio.resampler import AudioResampler
from av.video.frame import VideoFrame
from av.video.reformatter import ColorRange, Colorspace
from numpy.typing import NDArray

from swingmatch.errors import ClipError

#: Ticks a second of the film's clock; 90 kHz holds 24, 25, 30, 50, 60, 120 and 240 fps exactly.
CLOCK = 90_000
_AAC_BLOCK = 1024  # samples in one AAC frame
_AAC_RATES = (8000, 11025, 12000, 16000, 22050, 24000, 32000, 44100, 48000)
_BT709 = "1"  # number of BT.709 in ITU-T H.273, for primaries, transfer and matrix alike


class FilmWriter:
    """Write pictures, one by one, as an H.264 film.

    Parameters
    ----------
    path : the film to make, usually ``*.mp4``; an older file of that name is replaced at the end.
    size : (width, height) of the pictures in pixels. H.264 in 4:2:0 needs even numbers: an odd width or
        height grows by one, the last column or row repeated.
    fps : pictures a second, for pictures that are written without a time.
    crf : x264's constant quality, 0 lossless to 51 worst.
    sound : (samples, rate): (N,) mono in -1..1 starting at film time 0, and samples a second. Cut where the
        pictures end.
    preset : x264's speed against file size, "ultrafast" to "veryslow".

    Raises
    ------
    ClipError
        When the folder is missing or not writable, the disk is full, or no picture was written.

    Examples
    --------
    >>> with FilmWriter("film.mp4", (640, 360), 30) as film:  # doctest: +SKIP
    ...     for picture in pictures:
    ...         film.write(picture)
    """

    def __init__(
        self,
        path: str | os.PathLike[str],
        size: tuple[int, int],
        fps: float | Fraction,
        *,
        crf: float = 23,
        sound: tuple[NDArray[np.floating[Any]], int] | None = None,
        preset: str = "veryfast",
    ) -> None:
        if min(size) < 2:
            raise ValueError(f"size must be at least 2 x 2 pixels, got {size[0]} x {size[1]}")
        if not fps > 0:
            raise ValueError(f"fps must be positive, got {fps}")
        if sound is not None and (np.ndim(sound[0]) != 1 or sound[1] <= 0):
            raise ValueError("sound must be a one-dimensional array and a positive rate")
        self.path = Path(path)
        self.size = (int(size[0]), int(size[1]))
        self._fps = Fraction(fps).limit_denominator(100_000)
        self._crf = crf
        self._preset = preset
        self._sound = sound
        self._sound_done = 0
        self._audio: Any = None
        self._part = self.path.with_name(f".{self.path.name}.{secrets.token_hex(4)}.part")
        self._container: Any = None
        self._last: Fraction | None = None  # when the newest picture appears, ticks
        self._count = 0

    @property
    def count(self) -> int:
        """Pictures written so far."""
        return self._count

    def __enter__(self) -> FilmWriter:
        if not self.path.parent.is_dir():
            raise ClipError(
                f"The film {self.path.name} cannot be written because the folder {self.path.parent} "
                "does not exist; please make it or choose another."
            )
        if self.path.is_dir():
            raise ClipError(
                f"The film cannot be written to {self.path} because that is a folder; "
                "please give it another name."
            )
        try:
            self._open()
        except BaseException as error:
            self._discard()
            self._translate(error)
            raise
        return self

    def _open(self) -> None:
        width, height = self.size
        self._container = av.open(str(self._part), mode="w", format="mp4", options={"movflags": "+faststart"})
        video = self._container.add_stream("libx264", rate=self._fps)
        video.width, video.height = width + width % 2, height + height % 2
        video.pix_fmt = "yuv420p"
        video.codec_context.time_base = Fraction(1, CLOCK)
        video.time_base = Fraction(1, CLOCK)
        video.codec_context.gop_size = max(1, round(2 * self._fps))  # a player can jump to every 2 s
        # Say which matrix turns YUV back into RGB, or players guess from the picture's height.
        video.options = {
            "crf": f"{self._crf:g}",
            "preset": self._preset,
            "colorspace": _BT709,
            "color_primaries": _BT709,
            "color_trc": _BT709,
            "color_range": "tv",
        }
        self._video = video
        if self._sound is not None:
            rate = next((r for r in _AAC_RATES if r >= self._sound[1]), _AAC_RATES[-1])
            self._audio = self._container.add_stream("aac", rate=rate)
            self._audio.codec_context.layout = "mono"
            self._resampler = AudioResampler(format="fltp", layout="mono", rate=rate, frame_size=_AAC_BLOCK)

    def write(self, picture: NDArray[np.uint8], time: float | None = None) -> None:
        """Add one picture.

        Parameters
        ----------
        picture : (height, width, 3) RGB, 0..255, of the film's ``size``.
        time : seconds from the film's start at which it appears, later than the picture before it; without
            it, one frame of ``fps`` after the picture before.
        """
        if self._container is None:
            raise ValueError("a FilmWriter writes inside its with block only")
        width, height = self.size
        if picture.shape != (height, width, 3) or picture.dtype != np.uint8:
            raise ValueError(
                f"a picture must be uint8 of shape ({height}, {width}, 3), "
                f"got {picture.dtype} of shape {picture.shape}"
            )
        tick = self._next_tick(time)
        if width % 2 or height % 2:
            picture = np.pad(picture, ((0, height % 2), (0, width % 2), (0, 0)), mode="edge")
        frame = VideoFrame.from_ndarray(np.ascontiguousarray(picture), format="rgb24").reformat(
            format="yuv420p", dst_colorspace=Colorspace.ITU709, dst_color_range=ColorRange.MPEG
        )
        frame.time_base = Fraction(1, CLOCK)
        frame.pts = round(tick)
        if hasattr(frame, "duration"):  # PyAV 14 and later; tells how long the last picture stays
            frame.duration = round(CLOCK / self._fps)
        try:
            self._write_sound(float(tick) / CLOCK)
            self._container.mux(self._video.encode(frame))
        except (OSError, av.error.FFmpegError) as error:
            self._translate(error)
            raise
        self._last = tick
        self._count += 1

    def _next_tick(self, time: float | None) -> Fraction:
        """When the next picture appears, in ticks; exact, so that rounding does not pile up at 29.97 fps."""
        if time is not None:
            tick = Fraction(round(time * CLOCK))
        else:
            tick = Fraction(0) if self._last is None else self._last + CLOCK / self._fps
        if tick < 0 or (self._last is not None and round(tick) <= round(self._last)):
            raise ValueError(f"the times of a film must rise from 0, got {time} s")
        return tick

    def _write_sound(self, until: float, last: bool = False) -> None:
        """Encode the sound up to ``until`` seconds; interleaved, so that nothing waits in memory."""
        if self._audio is None or self._sound is None:
            return
        samples, rate = self._sound
        end = min(len(samples), max(0, round(until * rate)))
        while end - self._sound_done >= _AAC_BLOCK or (last and end > self._sound_done):
            block = samples[self._sound_done : min(end, self._sound_done + _AAC_BLOCK)]
            planes = np.clip(np.asarray(block, dtype=np.float32), -1.0, 1.0)[None]
            frame = AudioFrame.from_ndarray(np.ascontiguousarray(planes), format="fltp", layout="mono")
            frame.sample_rate = rate
            frame.time_base = Fraction(1, rate)
            frame.pts = self._sound_done
            self._sound_done += len(block)
            self._encode_sound(self._resampler.resample(frame))
        if last:
            self._encode_sound(self._resampler.resample(None))
            self._container.mux(self._audio.encode(None))

    def _encode_sound(self, frames: list[Any]) -> None:
        for frame in frames:
            self._container.mux(self._audio.encode(frame))

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if error is not None:
            self._discard()
            return
        try:
            if self._last is None:
                raise ClipError(f"The film {self.path.name} was not written because it has no pictures.")
            self._write_sound(float(self._last / CLOCK + 1 / self._fps), last=True)
            self._container.mux(self._video.encode(None))
            self._container.close()
            self._container = None
            os.replace(self._part, self.path)
        except BaseException as problem:
            self._discard()
            self._translate(problem)
            raise

    def _discard(self) -> None:
        """Close and remove the unfinished file, whatever state it is in."""
        container, self._container = self._container, None
        if container is not None:
            with contextlib.suppress(Exception):
                container.close()
        with contextlib.suppress(OSError):
            self._part.unlink()

    def _translate(self, error: BaseException) -> None:
        """Raise the sentence for an error of the disk or of the encoder; return when it is neither."""
        if isinstance(error, ClipError) or not isinstance(error, (OSError, av.error.FFmpegError)):
            return
        code = getattr(error, "errno", None)
        if code in (errno.ENOSPC, errno.EDQUOT):
            why = "because the disk is full; please free some space and run it again."
        elif code in (errno.EACCES, errno.EPERM, errno.EROFS):
            why = f"because the folder {self.path.parent} may not be written to; please choose another."
        else:
            reason = getattr(error, "strerror", None) or str(error)
            why = f"({str(reason).rstrip('.')}); please check the disk and try another folder."
        raise ClipError(f"The film {self.path.name} could not be written {why}") from error
