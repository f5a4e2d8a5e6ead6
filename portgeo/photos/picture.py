"""A photograph with lines drawn on it, small enough to look at.

Levels and lines in their pixels come in; a picture goes out.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from portgeo.core.plane import FloatArray
from portgeo.photos.camera import View

LONGEST = 2000  # pixels of the picture's longer side
LINE = (255, 0, 255)  # blue, green, red: no silicone and no paper has it
NUMBER_PIXELS = 33  # height of a number
SMALL_NUMBER = 15  # where lines stand close
FINER = 4  # bits of a pixel's parts that lines are drawn to


def with_lines(levels: np.ndarray, lines: Sequence[FloatArray], plain: Sequence[FloatArray] = ()) -> np.ndarray:
    """Return a photograph (h, w, 3) of 8 bits with closed lines (n, 2), pixels, drawn on it.

    Several lines are numbered in their middle, sections (2, 2) at their end; those of `plain` are not.
    """
    import cv2

    share = min(LONGEST / max(levels.shape[:2]), 1.0)
    picture = cv2.resize(levels, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)
    for number, line in enumerate([*lines, *plain], start=1):
        places = (line + 0.5) * share - 0.5
        fixed = np.round(places * 2**FINER).astype(np.int32)[:, None]
        cv2.polylines(picture, [fixed], True, LINE, 2, cv2.LINE_AA, FINER)
        if 1 < len(lines) >= number:
            _write(picture, str(number), places)
    return np.asarray(picture)


def straightened(
    levels: np.ndarray, view: View, level: float, low: FloatArray, high: FloatArray, pixel: float
) -> np.ndarray:
    """Return a photograph (h, w, 3) of 8 bits as it is seen square to the paper, at a level over it, mm.

    low, high (2,) : corners of what is shown, mm; up is up in the picture. pixel : mm of a pixel of it.
    """
    import cv2

    wide, tall = (round(n) for n in (high - low) / pixel)
    x, y = np.meshgrid(low[0] + (np.arange(wide) + 0.5) * pixel, high[1] - (np.arange(tall) + 0.5) * pixel)
    seen = view.pixels(np.stack([x, y, np.full_like(x, level)], axis=-1)).astype(np.float32)
    return np.asarray(cv2.remap(levels, seen[..., 0], seen[..., 1], cv2.INTER_LINEAR))


def _write(picture: np.ndarray, number: str, places: FloatArray) -> None:
    """Write a line's number in its middle, a section's past its end."""
    import cv2

    font = cv2.FONT_HERSHEY_SIMPLEX
    if len(places) > 2:
        middle = tuple(int(v) for v in places.mean(axis=0))
        cv2.putText(
            picture, number, middle, font, cv2.getFontScaleFromHeight(font, NUMBER_PIXELS, 3), LINE, 3, cv2.LINE_AA
        )
        return
    scale = cv2.getFontScaleFromHeight(font, SMALL_NUMBER, 2)
    (wide, high), _ = cv2.getTextSize(number, font, scale, 2)
    way = (places[1] - places[0]) / np.linalg.norm(places[1] - places[0])
    x, y = places[1] + 1.5 * SMALL_NUMBER * way
    cv2.putText(picture, number, (round(x - wide / 2.0), round(y + high / 2.0)), font, scale, LINE, 2, cv2.LINE_AA)


def jpeg(picture: np.ndarray) -> bytes:
    """Return a picture as the bytes of a JPEG file."""
    import cv2

    return bytes(cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 90])[1].tobytes())
