"""Edges to a part of a pixel: where a profile across one passes the middle between what is on its two sides.

A picture in linear light and lines across its edges come in; places along those lines go out. Blur adds up light, so
the middle level stands on the edge in linear light alone: after a camera's tone curve it moves towards the dark side.
The curve is taken for that of sRGB (IEC 61966-2-1), which pictures are written for.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portgeo.core.plane import FloatArray

PLATEAU = 0.55  # of a profile's half length: what lies beyond is a side of the edge, not the edge
LEAST_CONTRAST = 1e-3  # of a profile, below which there is no edge to be found


@dataclass(frozen=True)
class Crossings:
    """Of n profiles: how far along each its edge lies, the step in level there, and the edge's blur (one sigma).

    nan where a profile has no edge.
    """

    place: FloatArray
    step: FloatArray
    blur: FloatArray


def linear_table() -> np.ndarray:
    """Return linear light (256,) of the levels of sRGB (IEC 61966-2-1)."""
    level = np.arange(256) / 255.0
    return np.where(level <= 0.04045, level / 12.92, ((level + 0.055) / 1.055) ** 2.4).astype(np.float32)


def profiles(picture: np.ndarray, at: FloatArray, across: FloatArray, offsets: FloatArray) -> FloatArray:
    """Return levels (n, m) of a picture along lines through `at` (n, 2), pixels, at `offsets` (m,) along `across`."""
    import cv2

    places = at[:, None, :] + offsets[None, :, None] * across[:, None, :]
    maps = places.astype(np.float32)
    levels = cv2.remap(picture, maps[..., 0], maps[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(levels, dtype=np.float64)


def crossings(levels: FloatArray, offsets: FloatArray) -> Crossings:
    """Return where profiles (n, m) pass from one side's level to the other's, the crossing nearest to their middle.

    The levels of the sides are means past PLATEAU of the half length. The blur is that of a step blurred by a
    Gaussian: its slope in the middle is the step over sqrt(2 pi) sigma.
    """
    reach = float(offsets[-1])
    near, far = offsets <= -PLATEAU * reach, offsets >= PLATEAU * reach
    low, high = levels[:, near].mean(axis=1), levels[:, far].mean(axis=1)
    step = high - low
    steep = np.where(np.abs(step) > LEAST_CONTRAST, step, np.nan)
    share = (levels - low[:, None]) / steep[:, None] - 0.5
    up = (share[:, :-1] <= 0.0) & (share[:, 1:] > 0.0)
    middle = (offsets[:-1] + offsets[1:]) / 2.0
    nearness = np.where(up, np.abs(middle)[None, :], np.inf)
    k = np.argmin(nearness, axis=1)
    rows = np.arange(len(levels))
    below, above = share[rows, k], share[rows, k + 1]
    with np.errstate(invalid="ignore", divide="ignore"):
        spacing = offsets[1] - offsets[0]
        place = offsets[k] - below / (above - below) * spacing
        slope = (above - below) / spacing
        blur = 1.0 / (np.sqrt(2.0 * np.pi) * slope)
    lost = ~np.isfinite(nearness[rows, k]) | ~np.isfinite(place)
    return Crossings(np.where(lost, np.nan, place), step, np.where(lost, np.nan, blur))
