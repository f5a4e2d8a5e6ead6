"""Marks of the frame in a photograph: which are seen, and where their corners lie to a part of a pixel.

A photograph's levels come in; numbers and corners of marks go out. OpenCV finds and reads the marks; each side is then
fitted anew by the edges across it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from portgeo.core.plane import FloatArray
from portgeo.photos.edges import crossings, profiles
from portgeo.photos.frame import BLOCK_IDS, CELLS, FIRST_ID, frame_on

LOOK_AT = (1600, 2800)  # pixels of a picture's longer side in which marks are looked for, and again where few are found
ENOUGH = 0.75  # of the marks: found so many, no one looks again
SIDE_PROFILES = 25  # across each side of a mark
SIDE_ENDS = 0.12  # of a side at either end: there the other sides' blur is in the profile
REACH_CELLS = 0.85  # of a profile, either way: the black border is one cell wide, the white round it more
PROFILE_POINTS = 25
OUTLIER = 3.0  # robust standard deviations off a side's line
PASSES = 2


@dataclass(frozen=True)
class Marks:
    """Marks in a photograph: their numbers (n,), corners (n, 4, 2) in pixels, in the order of `frame.corners_of`."""

    numbers: np.ndarray
    corners: FloatArray

    def __len__(self) -> int:
        return len(self.numbers)

    def only(self, chosen: np.ndarray) -> Marks:
        """Return some of the marks."""
        return Marks(self.numbers[chosen], self.corners[chosen])


def find_marks(picture: np.ndarray, light: np.ndarray) -> Marks:
    """Return the frame's marks in a grey picture (h, w) of 8 bits; light (h, w) : the same in linear light."""
    import cv2

    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    known = {m for paper in FIRST_ID for m in frame_on(paper).marks} | set(BLOCK_IDS)
    longest = max(picture.shape)
    marks = Marks(np.zeros(0, dtype=int), np.zeros((0, 4, 2)))
    for size in LOOK_AT:
        share = min(size / longest, 1.0)
        small = picture if share == 1.0 else cv2.resize(picture, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)
        corners, numbers, _ = cv2.aruco.ArucoDetector(dictionary, _settings()).detectMarkers(small)
        if numbers is not None and len(numbers) > len(marks):
            which = np.asarray(numbers).ravel()
            places = (np.array(corners, dtype=float).reshape(-1, 4, 2) + 0.5) / share - 0.5
            kept = np.array([number in known and (which == number).sum() == 1 for number in which])
            marks = Marks(which[kept], places[kept])
        if len(marks) >= ENOUGH * len(frame_on("a4").marks) or share == 1.0:
            break
    order = np.argsort(marks.numbers)
    return _refined(marks.only(order), light)


def _settings() -> Any:
    import cv2

    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_NONE
    settings.minMarkerPerimeterRate = 0.02
    return settings


def _refined(marks: Marks, light: np.ndarray) -> Marks:
    """Return marks whose corners are where lines meet that are fitted to the edges across their sides."""
    corners = marks.corners
    for _ in range(PASSES if len(marks) else 0):
        start, end = corners, np.roll(corners, -1, axis=1)
        along = end - start
        length = np.linalg.norm(along, axis=2, keepdims=True)
        out = np.stack([along[..., 1], -along[..., 0]], axis=2) / length  # corners run clockwise, y is down
        shares = np.linspace(SIDE_ENDS, 1.0 - SIDE_ENDS, SIDE_PROFILES)
        at = start[:, :, None, :] + shares[None, None, :, None] * along[:, :, None, :]
        reach = REACH_CELLS / CELLS * float(np.median(length))
        offsets = np.linspace(-reach, reach, PROFILE_POINTS)
        across = np.broadcast_to(out[:, :, None, :], at.shape)
        levels = profiles(light, at.reshape(-1, 2), across.reshape(-1, 2), offsets)
        place = crossings(levels, offsets).place.reshape(at.shape[:3])
        heights = np.apply_along_axis(_line, 2, place, shares)  # of a side's two ends, outwards
        moved_start, moved_end = (end_ + heights[..., k, None] * out for k, end_ in enumerate((start, end)))
        corners = _meet(np.roll(moved_start, 1, axis=1), np.roll(moved_end, 1, axis=1), moved_start, moved_end)
    sound = np.isfinite(corners).all(axis=(1, 2)) & (
        np.abs(corners - marks.corners).max(axis=(1, 2), initial=0.0) < 12.0
    )
    return Marks(marks.numbers[sound], corners[sound])


def _line(place: FloatArray, shares: FloatArray) -> FloatArray:
    """Return the heights of a line at its ends, 0 and 1, through places that may hold a few that are wrong."""
    good = np.isfinite(place)
    for _ in range(3):
        if good.sum() < SIDE_PROFILES // 3:
            return np.full(2, np.nan)
        slope, height = np.polyfit(shares[good], place[good], 1)
        off = place - (slope * shares + height)
        spread = 1.4826 * np.median(np.abs(off[good])) + 1e-3
        good = np.isfinite(place) & (np.abs(off) < OUTLIER * spread)
    return np.array([height, height + slope])


def _meet(a: FloatArray, b: FloatArray, c: FloatArray, d: FloatArray) -> FloatArray:
    """Return where lines through a and b (..., 2) meet those through c and d."""
    u, v, w = b - a, d - c, c - a
    with np.errstate(invalid="ignore", divide="ignore"):
        t = (w[..., 0] * v[..., 1] - w[..., 1] * v[..., 0]) / (u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0])
    return np.asarray(a + t[..., None] * u)
