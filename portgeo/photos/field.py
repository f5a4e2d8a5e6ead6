"""The frame's free field as it lies on the paper: a placed photograph sampled square to it, and lit evenly.

A photograph and where its camera stood come in; a picture of the field in linear light, over the paper's own white, go
out, with where it was too bright to read.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from portgeo.core.plane import FloatArray
from portgeo.photos.camera import Paper, View
from portgeo.photos.frame import GREY_MM

FINEST_MM = 0.05  # of a pixel of the field: finer than any camera that holds the page
MOST_PIXELS = 6_000_000  # of the field
GRID_MM = 4.0  # where the camera's formula is worked out; between, it is as good as straight
COARSE_MM = 0.5  # of the picture that the light is worked out on
CLIPPED = 253  # a level of 8 bits that says no more than: as bright or brighter
LIGHT_PASSES = 6
PAPER_NEAR = 0.12  # of the light: what is so near to it is paper
PAPER_SHARE = 0.5  # of the field's brightest in each part, by which light is first guessed


@dataclass(frozen=True)
class Field:
    """The field of a photograph. corner (2,) : its upper left, mm on the drawn paper. pixel : mm of a pixel of it.

    colour (h, w, 3) : linear blue, green, red over white paper's. clipped (h, w) : too bright to read. white : level of
    the paper, 0 to 1 of what the camera can hold. noise : of the paper, standard deviation. greys (n,) : of the printed
    grey scale, over white; nan where it is hidden.
    """

    corner: FloatArray
    pixel: float
    colour: np.ndarray
    clipped: np.ndarray
    white: float
    noise: float
    greys: FloatArray

    def to_paper(self, places: FloatArray) -> FloatArray:
        """Return points (n, 2) of the paper, mm, at places (n, 2) of the picture, x and y."""
        return self.corner + places * self.pixel * [1.0, -1.0]

    def to_picture(self, points: FloatArray) -> FloatArray:
        """Return places in the picture of points (n, 2) on the paper."""
        return np.asarray((points - self.corner) / self.pixel * [1.0, -1.0])


def pixels_at(view: View, paper: Paper, points: FloatArray) -> FloatArray:
    """Return where points (..., 2) of the paper's surface are seen."""
    return view.pixels(np.concatenate([points, paper.height(points / paper.scale)[..., None]], axis=-1))


def flat_field(photo: np.ndarray, table: np.ndarray, view: View, paper: Paper) -> Field:
    """Return the field of a photograph (h, w, 3) of 8 bits; table (256,) : linear light of its levels.

    The field's coordinates are those of the print, in true mm.
    """
    import cv2

    low, high = paper.frame.field * paper.scale
    middle = (low + high) / 2.0
    around = pixels_at(view, paper, middle + np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]))
    per_mm = float(np.sqrt(abs(np.linalg.det(around[1:] - around[0]))))
    size = high - low
    pixel = max(1.0 / per_mm, FINEST_MM, float(np.sqrt(size.prod() / MOST_PIXELS)))
    shape = np.floor(size / pixel).astype(int)
    corner = np.array([low[0], high[1]])
    # The formula on a grid, and straight lines between: what it bends over 4 mm is far under a pixel.
    steps = np.ceil(shape * pixel / GRID_MM).astype(int) + 1
    gx, gy = (np.linspace(0.0, (n - 1) * pixel, m) for n, m in zip(shape, steps, strict=True))
    nodes = np.stack(np.meshgrid(corner[0] + gx, corner[1] - gy), axis=-1)
    seen = pixels_at(view, paper, nodes).astype(np.float32)
    at = [np.linspace(0.0, m - 1.0, n, dtype=np.float32) for n, m in zip(shape, steps, strict=True)]
    mesh = np.meshgrid(*at)
    maps: Any = cv2.remap(seen, mesh[0], mesh[1], cv2.INTER_LINEAR)
    straight: Any = None
    levels = cv2.LUT(photo, table)
    colour = cv2.remap(levels, maps, straight, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    brightest = cv2.remap(photo.max(axis=2), maps, straight, cv2.INTER_NEAREST, borderMode=cv2.BORDER_REPLICATE)
    light, white = _light(colour, pixel)
    colour = cv2.divide(colour, np.maximum(light, np.float32(1e-4)))
    ring = _grey_levels(levels, view, paper) / white
    return Field(corner, pixel, colour, brightest >= CLIPPED, white, _noise(colour), ring)


def _light(colour: np.ndarray, pixel: float) -> tuple[np.ndarray, float]:
    """Return the light (h, w, 3) that white paper would send everywhere, and its level in the middle.

    A quadratic surface through the logarithm of what is paper: fitted to the bright, then again to what is near it.
    """
    import cv2

    share = min(pixel / COARSE_MM, 1.0)
    small = np.maximum(cv2.resize(colour, None, fx=share, fy=share, interpolation=cv2.INTER_AREA), 1e-4)
    h, w = small.shape[:2]
    y, x = np.meshgrid(np.linspace(-1.0, 1.0, h), np.linspace(-1.0, 1.0, w), indexing="ij")
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)
    grey = small.mean(axis=2)
    tiles = cv2.dilate(cv2.blur(grey, (5, 5)), np.ones((41, 41), np.uint8))
    good = grey > (1.0 - PAPER_SHARE / 2.0) * tiles
    logs = np.log(small)
    found = np.zeros((6, 3))
    for _ in range(LIGHT_PASSES):
        if good.sum() < 50:
            break
        found = np.linalg.lstsq(terms[good], logs[good], rcond=None)[0]
        off = np.abs(np.expm1(logs - terms @ found)).max(axis=2)
        good = off < PAPER_NEAR
    light = cv2.resize(np.exp(terms @ found).astype(np.float32), colour.shape[1::-1], interpolation=cv2.INTER_LINEAR)
    return light, float(np.exp(found[0]).mean())


def _noise(colour: np.ndarray) -> float:
    """Return the standard deviation of one pixel's level on the paper, by neighbours' differences."""
    grey = colour[::2, ::2].mean(axis=2)
    return float(1.4826 * np.median(np.abs(np.diff(grey, axis=1))) / np.sqrt(2.0))


def _grey_levels(levels: np.ndarray, view: View, paper: Paper) -> FloatArray:
    """Return linear levels (n,) of the printed grey squares; nan where one is out of the picture."""
    found = []
    for middle in paper.frame.greys:
        spread = np.linspace(-0.25, 0.25, 5) * GREY_MM
        points = (middle + np.stack(np.meshgrid(spread, spread), axis=-1).reshape(-1, 2)) * paper.scale
        x, y = np.round(pixels_at(view, paper, points)).astype(int).T
        inside = (x >= 0) & (y >= 0) & (x < levels.shape[1]) & (y < levels.shape[0])
        found.append(float(np.median(levels[y[inside], x[inside]].mean(axis=1))) if inside.all() else np.nan)
    return np.array(found)
