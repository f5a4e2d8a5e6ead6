"""What lies on the field: its outlines as they are seen against the paper, to a part of a pixel.

A field comes in; closed outlines on the paper's plane go out, each with the blur of its edge, its contrast and what of
it could not be seen. Shadows are paper that is darker but of its colour; they are told from a thing by that, and by how
softly they begin.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portgeo.core.errors import GeometryError
from portgeo.core.plane import FloatArray, moments
from portgeo.photos.edges import crossings, profiles
from portgeo.photos.field import Field

LOOK_MM = 0.25  # of the picture that things are looked for on
COLOURED = 2.0  # by how much more a difference in colour counts than one in brightness, which a shadow makes too
LIGHT_COUNTS = 0.3  # of a hue as light as paper: light tints come from lamps and neighbours
SHADOW = 0.3  # of the light: a soft shadow takes so much; what is darker begins to count as dark itself
DARK_COUNTS = 1.2  # so that a shadow that takes half the light stays under STANDS_OUT
STANDS_OUT = 0.25  # difference off the paper that a thing has at the least; a soft shadow has less
FAINT = 0.12  # the same for things of which nothing stands out
NOISES = 6.0  # or so many standard deviations of the paper's
HUE = 0.25  # of a thing's colour off grey, over its brightness: enough to tell it from a shadow by
DARKEST = 0.03  # of the paper: what is darker has no colour that a camera keeps
LEAST_MM2 = 30.0  # what is smaller is dirt
LINE_MM = 1.2  # what is narrower is a printed line or dirt
REACH_MM = 0.8  # of the profile across an edge, either way
STEP_MM = 0.2  # between places on an outline
SMOOTH_MM = 0.25  # along an outline: noise goes, corners of templates stay
PROFILE_POINTS = 33
LOST_CONTRAST = 0.35  # of an outline's usual step: where there is less, the edge is not seen
PASSES = 3
EDGE_MM = 1.0  # a thing so near to the field's edge goes over it
CLIP_SHARE = 0.3  # of a profile's pixels: too bright to say where its edge is


@dataclass(frozen=True)
class Outline:
    """An outline as it is seen on the paper's plane.

    points (n, 2) : counterclockwise, true mm on the print. blur : sigma of its edge, mm. contrast : its usual
    step, over white. lost, clipped : shares of its length where the edge was not seen, or too bright to read.
    ragged : standard deviation of single places off the smoothed outline, mm.
    """

    points: FloatArray
    blur: float
    contrast: float
    lost: float
    clipped: float
    ragged: float


def outlines_on(field: Field, without: FloatArray, clear: float) -> tuple[Outline, ...]:
    """Return the outlines of things on a field, from its top and left.

    without (n, 2) : middles of things that are not meant, mm, with all that lies within `clear` of them. Raises
    GeometryError where a thing goes over the field's edge.
    """
    import cv2

    share = min(field.pixel / LOOK_MM, 1.0)
    small = cv2.resize(field.colour, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)
    pixel = field.pixel / share
    differs = _difference(cv2.GaussianBlur(small, (0, 0), 1.0))
    for place in field.to_picture(without) * share if len(without) else ():
        cv2.circle(differs, tuple(round(v) for v in place), int(np.ceil(clear / pixel)), 0.0, -1)
    least = max(FAINT, NOISES * field.noise * share)
    things = _things(differs, max(STANDS_OUT, least), pixel)
    if not things:
        things = _things(differs, least, pixel)
    outlines = []
    for mask in things:
        x, y, w, h = cv2.boundingRect(mask)
        rim = EDGE_MM / pixel
        if x < rim or y < rim or x + w > mask.shape[1] - rim or y + h > mask.shape[0] - rim:
            what = "what lies on the frame goes over the edge of its field"
            raise GeometryError(what, hint="Lay it in the middle, off the marks, and leave nothing else on the page")
        outlines.append(_traced(field, mask, share))
    return tuple(sorted(outlines, key=_place))


def _place(outline: Outline) -> tuple[float, float]:
    """Return a key that sorts outlines in rows from the top, each from the left."""
    low, high = outline.points.min(axis=0), outline.points.max(axis=0)
    return -round(float(low[1] + high[1]) / 2.0 / 40.0), float(low[0])


def _difference(colour: np.ndarray) -> np.ndarray:
    """Return how unlike the paper each pixel is: its colour off grey, which no shadow changes, and its darkness."""
    level = colour.mean(axis=2)
    hue = np.abs(colour - level[..., None]).max(axis=2) / np.maximum(level, 0.15)
    dark = np.maximum(1.0 - level, 0.0)
    by_hue = COLOURED * hue * np.minimum(1.0, LIGHT_COUNTS + dark)
    return np.asarray(np.maximum(by_hue, (dark - SHADOW) * DARK_COUNTS), dtype=np.float32)


def _tint(colour: np.ndarray) -> np.ndarray:
    """Return colours (h, w, 3) off grey, over their brightness: no shade or shadow changes it."""
    level = colour.mean(axis=2, keepdims=True)
    return np.asarray((colour - level) / np.maximum(level, DARKEST))


def _things(differs: np.ndarray, least: float, pixel: float) -> list[np.ndarray]:
    """Return a mask for each thing that differs from the paper by so much, holes filled."""
    import cv2

    mask: np.ndarray = (differs > least).astype(np.uint8)
    width = max(round(LINE_MM / pixel) | 1, 3)
    brush = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (width, width))
    mask = cv2.morphologyEx(cv2.morphologyEx(mask, cv2.MORPH_CLOSE, brush), cv2.MORPH_OPEN, brush)
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    things = []
    for contour in contours:
        if cv2.contourArea(contour) * pixel**2 < LEAST_MM2:
            continue
        own = np.zeros_like(mask)
        cv2.drawContours(own, [contour], -1, 1, cv2.FILLED)
        things.append(own)
    return things


def _traced(field: Field, mask: np.ndarray, share: float) -> Outline:
    """Return a thing's outline: first where it is half as unlike the paper as it is itself, then by profiles."""
    import cv2

    ring = int(np.ceil(3.0 * share / (field.pixel / LOOK_MM) + 6))
    x, y, w, h = cv2.boundingRect(mask)
    a, b = np.maximum([x - ring, y - ring], 0), np.minimum([x + w + ring, y + h + ring], mask.shape[::-1])
    low, high = (a / share).astype(int), np.ceil(b / share).astype(int)
    part = field.colour[low[1] : high[1], low[0] : high[0]]
    inside = cv2.resize(mask[a[1] : b[1], a[0] : b[0]], part.shape[1::-1], interpolation=cv2.INTER_NEAREST)
    deep = cv2.erode(inside, np.ones((2 * ring // 3 + 1,) * 2, np.uint8)) > 0
    own = np.median(part[deep if deep.sum() > 50 else inside > 0], axis=0)
    way = np.ones(3) - own  # from the thing to white paper
    unlike = ((1.0 - part) @ (way / (way @ way))).astype(np.float32)  # 0 on the paper, 1 on the thing
    # By hue over brightness a shadow is paper and a shaded wall is the thing; brightness shows edges sharper.
    tint = _tint(own[None, None])[0, 0]
    soft = cv2.GaussianBlur(part, (0, 0), 1.5)
    first = _tint(soft) @ (tint / (tint @ tint)) if np.abs(tint).max() > HUE else cv2.GaussianBlur(unlike, (0, 0), 1.5)
    near = cv2.dilate(inside, np.ones((2 * ring + 1,) * 2, np.uint8))
    rough = ((first > 0.5) & (near > 0)).astype(np.uint8)
    contours, _ = cv2.findContours(rough, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    contour = max(contours, key=cv2.contourArea)[:, 0, :].astype(float)
    clipped = field.clipped[low[1] : high[1], low[0] : high[0]].astype(np.float32)
    return _fine(field, contour, unlike, clipped, low)


def _fine(field: Field, contour: FloatArray, unlike: np.ndarray, clipped: np.ndarray, low: np.ndarray) -> Outline:
    """Return an outline whose places are where profiles across it pass the middle level."""
    reach = REACH_MM / field.pixel
    offsets = np.linspace(-reach, reach, PROFILE_POINTS)
    sigma = SMOOTH_MM / STEP_MM
    line = smoothed(resampled(contour, STEP_MM / field.pixel), 2.0 * sigma)
    for k in range(PASSES):
        line = resampled(line, STEP_MM / field.pixel)
        out = _outwards(line)
        offsets_found = crossings(profiles(unlike, line, out, offsets), offsets)
        usual = float(np.nanmedian(np.abs(offsets_found.step)))
        good = np.isfinite(offsets_found.place) & (offsets_found.step < -LOST_CONTRAST * usual)
        if good.mean() < 0.2:
            break
        place = _filled(offsets_found.place, good)
        calm = smoothed(place[:, None], sigma)[:, 0]
        ragged = float(np.std((place - calm)[good]))
        line = line + out * (calm if k else smoothed(place[:, None], 3.0 * sigma)[:, 0])[:, None]
    glare = (profiles(clipped, line, out, offsets) > 0.5).mean(axis=1) > CLIP_SHARE
    points = field.to_paper(line + low)
    blur = float(np.nanmedian(np.abs(offsets_found.blur[good]))) * field.pixel if good.any() else REACH_MM
    points = points if moments(points).area > 0 else points[::-1]
    return Outline(
        np.ascontiguousarray(points), blur, usual, float(1.0 - good.mean()), float(glare.mean()), ragged * field.pixel
    )


def resampled(line: FloatArray, step: float) -> FloatArray:
    """Return a closed line (n, 2) with places at even steps along it."""
    closed = np.vstack([line, line[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))])
    at = np.linspace(0.0, along[-1], max(int(along[-1] / step), 12), endpoint=False)
    return np.column_stack([np.interp(at, along, closed[:, k]) for k in range(2)])


def smoothed(line: FloatArray, sigma: float) -> FloatArray:
    """Return a closed row of values (n, k) smoothed by a Gaussian of `sigma` places, by its Fourier transform."""
    waves = np.fft.rfftfreq(len(line))
    return np.fft.irfft(
        np.fft.rfft(line, axis=0) * np.exp(-2.0 * (np.pi * waves * sigma) ** 2)[:, None], len(line), axis=0
    )


def _outwards(line: FloatArray) -> FloatArray:
    """Return unit vectors (n, 2) square to a closed line, away from what it encloses."""
    along = np.roll(line, -2, axis=0) - np.roll(line, 2, axis=0)
    out = np.column_stack([along[:, 1], -along[:, 0]]) / np.maximum(np.linalg.norm(along, axis=1), 1e-9)[:, None]
    return out if moments(line).area > 0 else -out


def _filled(values: FloatArray, good: np.ndarray) -> FloatArray:
    """Return a closed row of values with those that are not good drawn straight between those that are."""
    n = len(values)
    at = np.flatnonzero(good)
    return np.interp(np.arange(n), np.concatenate([at - n, at, at + n]), np.tile(values[at], 3))
