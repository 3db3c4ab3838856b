"""Type on pictures: any letter of a name, smooth at any size.

OpenCV's own lettering has no accents, so the text is set by Pillow with the DejaVu fonts that come with
Matplotlib (both are already needed by the pose estimator).
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from PIL import Image as PillowImage
from PIL import ImageDraw, ImageFont

from swingmatch.report.palette import Rgb

Picture = NDArray[np.uint8]
Align = Literal["left", "centre", "right"]


@lru_cache(maxsize=64)
def _font(size: int, bold: bool) -> ImageFont.FreeTypeFont:
    import matplotlib  # only for the place of its fonts

    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return ImageFont.truetype(str(Path(matplotlib.get_data_path()) / "fonts" / "ttf" / name), size)


@lru_cache(maxsize=512)
def _mask(text: str, size: int, bold: bool) -> NDArray[np.float32]:
    """Cover of the text, 0 to 1, as (height, width); the height depends on the font alone."""
    font = _font(size, bold)
    ascent, descent = font.getmetrics()
    width = max(1, int(np.ceil(font.getlength(text))))
    sheet = PillowImage.new("L", (width, ascent + descent))
    ImageDraw.Draw(sheet).text((0, 0), text, fill=255, font=font)
    return np.asarray(sheet, dtype=np.float32) / 255.0


def text_width(text: str, size: int, bold: bool = False) -> int:
    """Width of the text in pixels."""
    return int(_mask(text, size, bold).shape[1])


def fit_text(text: str, size: int, width: int, bold: bool = False) -> str:
    """The text, or its start and an ellipsis where it is wider than ``width`` pixels."""
    if text_width(text, size, bold) <= width:
        return text
    while text and text_width(text + "…", size, bold) > width:
        text = text[:-1]
    return text.rstrip() + "…"


def put_text(
    canvas: Picture,
    text: str,
    x: int,
    y: int,
    size: int,
    colour: Rgb,
    *,
    bold: bool = False,
    align: Align = "left",
) -> None:
    """Write one line on an RGB picture, in place; ``y`` is the middle of the line, ``x`` its ``align`` end."""
    if not text:
        return
    mask = _mask(text, size, bold)
    height, width = mask.shape
    left = x - {"left": 0, "centre": width // 2, "right": width}[align]
    top = y - height // 2
    x0, y0 = max(left, 0), max(top, 0)
    x1, y1 = min(left + width, canvas.shape[1]), min(top + height, canvas.shape[0])
    if x0 >= x1 or y0 >= y1:
        return
    cover = mask[y0 - top : y1 - top, x0 - left : x1 - left, None]
    area = canvas[y0:y1, x0:x1].astype(np.float32)
    canvas[y0:y1, x0:x1] = (area + cover * (np.array(colour, np.float32) - area) + 0.5).astype(np.uint8)
