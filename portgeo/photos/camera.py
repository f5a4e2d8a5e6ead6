"""The camera and the paper, from marks: where it stood, its focal length and lens, how the paper bulges.

Corners of marks in photographs come in; one least-squares fit of all of them goes out, with what each part of it may be
off by. The lens is a pinhole with two terms of radial distortion (D. C. Brown, 1971). What one photograph says little
of is held by how phones and papers are: standard deviations of those are below.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from portgeo.core.plane import FloatArray
from portgeo.photos.frame import BAR_MM, BLOCK_IDS, MARK_MM, Frame, corners_of
from portgeo.photos.marks import Marks

FOCAL = 0.85  # of the longer side of a picture: between a phone's wide lens (0.75) and a normal one (1.2)
FOCAL_SPREAD = 0.35  # of its logarithm
CENTRE_SPREAD = 0.015  # of the diagonal: where the lens's axis meets the picture; stabilised lenses move so much
LENS_SPREAD = 0.06  # of the terms of distortion: what phones leave in
WAVES = 6  # highest order of a paper's terms: waves as short as half the page; a plane through it is the camera's place
ORDERS = [(i, n - i) for n in range(2, WAVES + 1) for i in range(n, -1, -1)]
BULGE_MM = np.array([0.8 / (i + j) for i, j in ORDERS])  # it lies flat to about a millimetre, and short waves are low
GROWTH_MM = 0.04  # ink runs, and black grows, by so much on each side
BAR_ERROR_MM = 0.05  # of a bar that was calipered
PRINT_ERROR = 0.0015  # of a print's scale that nobody measured, each way: common practice, no source
THICK_MM = 0.1  # of a slice's thickness, calipered: soft, and not the same all round
BLOCK_MM = 0.1  # a block is as high as the slice to so much
UNKNOWN_THICK_MM = 20.0
CORNER_PIXELS = 0.05  # the least that a corner is off by
CAMERA, PAPER = 5, len(ORDERS) + 3  # numbers of a fit for a camera and for the paper; the thickness is the last of them
CORNERS_ALIKE = 4.0  # corners of a mark are off alike, by the paper under it and the blur round it: four say as one
CHANCE = 1e-4  # of photographs of one camera being taken for those of two
LARGE = 3.0  # residuals past so many standard deviations count less and less (soft L1)


@dataclass(frozen=True)
class View:
    """A photograph that was placed. rotation (3, 3), shift (3,) : paper to camera. size : (width, height), pixels."""

    rotation: FloatArray
    shift: FloatArray
    focal: float
    centre: FloatArray
    lens: FloatArray
    size: tuple[int, int]

    @property
    def position(self) -> FloatArray:
        """Where the camera stood, in the paper's own axes, mm."""
        return np.asarray(-self.rotation.T @ self.shift)

    @property
    def tilt(self) -> float:
        """Angle of the camera's axis off the paper's normal, radians."""
        return float(np.arccos(np.clip(-self.rotation[2, 2], -1.0, 1.0)))

    def pixels(self, points: FloatArray) -> FloatArray:
        """Return where points (..., 3) on and over the paper are seen (..., 2)."""
        seen = points @ self.rotation.T + self.shift
        flat = seen[..., :2] / seen[..., 2:]
        r2 = (flat**2).sum(axis=-1, keepdims=True)
        return np.asarray(self.focal * flat * (1.0 + r2 * (self.lens[0] + r2 * self.lens[1])) + self.centre)

    def on_level(self, pixels: FloatArray, level: FloatArray | float) -> FloatArray:
        """Return the points (n, 2) at a level over the paper, mm, that are seen at pixels (n, 2)."""
        bent = (pixels - self.centre) / self.focal
        flat = bent.copy()
        for _ in range(12):  # a fixed point: distortion is a few percent, so each pass leaves a few percent of it
            r2 = (flat**2).sum(axis=1, keepdims=True)
            flat = bent / (1.0 + r2 * (self.lens[0] + r2 * self.lens[1]))
        ways = np.column_stack([flat, np.ones(len(flat))]) @ self.rotation
        eye = self.position
        return np.asarray(eye[:2] + ways[:, :2] * ((level - eye[2]) / ways[:, 2])[:, None])


@dataclass(frozen=True)
class Paper:
    """A paper with the frame. scale (2,) : printed over drawn. bulge (m,) : of its surface's terms, mm.

    growth : by which black is larger on each side, mm. thick : height of the blocks or the slice, mm.
    """

    frame: Frame
    scale: FloatArray
    bulge: FloatArray
    growth: float
    thick: float

    def height(self, points: FloatArray) -> FloatArray:
        """Return how high the paper is at points (..., 2)."""
        return np.asarray(_terms(points, self.frame) @ self.bulge)


@dataclass(frozen=True)
class Placed:
    """Photographs of one paper, placed: the fit of all marks.

    steps : as many views and papers as the fit has independent errors, each one standard deviation away.
    residual : rms of the corners, pixels. used : marks of the frame in each view. blocks : marks on blocks seen.
    focal_errors : standard deviation of the logarithm of each view's focal length. alike : the views are of one camera.
    """

    views: tuple[View, ...]
    paper: Paper
    steps: tuple[tuple[tuple[View, ...], Paper], ...]
    residual: float
    used: tuple[int, ...]
    blocks: int
    focal_errors: tuple[float, ...]
    alike: bool


def _terms(points: FloatArray, frame: Frame) -> FloatArray:
    """Return the terms (..., m) of a paper's bulge: products of Legendre's polynomials over it from -1 to 1.

    Of lower orders waves are left over, which the fit takes for how far away the camera was.
    """
    u, v = np.moveaxis(np.polynomial.legendre.legvander(2.0 * points / frame.size - 1.0, WAVES), -2, 0)
    return np.stack([u[..., i] * v[..., j] for i, j in ORDERS], axis=-1)


def print_error(measured: bool) -> float:
    """Return the standard deviation of a print's scale either way, whose bars were measured or not."""
    return BAR_ERROR_MM / BAR_MM if measured else PRINT_ERROR


def rotation_of(vector: FloatArray) -> FloatArray:
    """Return the rotation (3, 3) by a vector: its axis, and its length the angle (Rodrigues' formula)."""
    angle = float(np.linalg.norm(vector))
    if angle < 1e-12:
        return np.eye(3)
    x, y, z = vector / angle
    k = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    return np.eye(3) + np.sin(angle) * k + (1.0 - np.cos(angle)) * (k @ k)


@dataclass(frozen=True)
class _Setting:
    """What a fit is of: the marks of each view, split in the frame's and the blocks'; how its numbers are laid out."""

    frame: Frame
    scale: FloatArray
    flat: tuple[FloatArray, ...]  # drawn corners (n, 4, 2) of the frame's marks seen
    terms: tuple[FloatArray, ...]  # of the paper's bulge there (n, 4, m)
    seen: tuple[FloatArray, ...]  # where they are seen
    raised: tuple[FloatArray, ...]  # where the corners of blocks' marks are seen
    block: tuple[np.ndarray, ...]  # which block each is of
    sizes: tuple[tuple[int, int], ...]
    cameras: tuple[int, ...]  # which camera each view is of
    blocks: tuple[int, ...]
    scale_error: float
    thick: float | None

    @property
    def known(self) -> int:
        """How many of a fit's numbers something is known of beforehand: they come first."""
        return CAMERA * (max(self.cameras) + 1) + PAPER

    def unpack(self, numbers: FloatArray) -> tuple[tuple[View, ...], Paper, FloatArray]:
        """Return views, paper and the blocks' places (n, 3) of a fit's numbers."""
        lenses, rest = np.split(numbers, [self.known - PAPER])
        m = len(ORDERS)
        # Of a camera square to the paper only this tells where it stands to a side: a print taken to be stretched the
        # same both ways moves it by centimetres. What both bars are off by alike moves nothing but the size.
        uneven = float(rest[m + 1]) * self.scale_error / np.sqrt(2.0) * np.array([1.0, -1.0])
        scale = self.scale * (1.0 + uneven)
        paper = Paper(self.frame, scale, rest[:m] * BULGE_MM, float(rest[m]) * GROWTH_MM, float(rest[m + 2]))
        rest = rest[PAPER:]
        views = []
        for size, camera in zip(self.sizes, self.cameras, strict=True):
            lens = lenses[CAMERA * camera : CAMERA * (camera + 1)]
            longest, diagonal = max(size), float(np.hypot(*size))
            centre = (np.array(size) - 1.0) / 2.0 + lens[1:3] * CENTRE_SPREAD * diagonal
            focal = longest * FOCAL * float(np.exp(lens[0] * FOCAL_SPREAD))
            views.append(View(rotation_of(rest[:3]), rest[3:6] * 100.0, focal, centre, lens[3:5] * LENS_SPREAD, size))
            rest = rest[6:]
        return tuple(views), paper, rest.reshape(-1, 3)

    def residuals(self, numbers: FloatArray, pixels: float) -> FloatArray:
        """Return corners' misses over their standard deviation, and those of what is known beforehand."""
        views, paper, blocks = self.unpack(numbers)
        if self.thick is not None:
            known = (paper.thick - self.thick) / float(np.hypot(THICK_MM, BLOCK_MM))
        else:
            known = (paper.thick - UNKNOWN_THICK_MM / 2.0) / UNKNOWN_THICK_MM
        found = [numbers[: self.known - 1], np.array([known])]
        run = corners_of(np.zeros(2), 2.0 * paper.growth)
        turned = [np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]]) for a in blocks[:, 2]]
        square = corners_of(np.zeros(2), MARK_MM) * paper.scale + run
        tops = [square @ turn.T + place for turn, place in zip(turned, blocks[:, :2], strict=True)]
        for k, view in enumerate(views):
            flat = self.flat[k] * paper.scale + run
            points = np.concatenate([flat, (self.terms[k] @ paper.bulge)[..., None]], axis=-1)
            found.append(((view.pixels(points) - self.seen[k]) / pixels).ravel())
            for which, corners in zip(self.block[k], self.raised[k], strict=True):
                level = paper.height(blocks[which, :2] / paper.scale) + paper.thick
                top = np.column_stack([tops[which], np.full(4, level)])
                found.append(((view.pixels(top) - corners) / pixels).ravel())
        return np.concatenate(found)


def _setting(
    frame: Frame,
    marks: Sequence[Marks],
    sizes: Sequence[tuple[int, int]],
    scale: FloatArray,
    scale_error: float,
    thick: float | None,
) -> _Setting:
    blocks = tuple(sorted({int(n) for m in marks for n in m.numbers if int(n) in BLOCK_IDS}))
    own = [m.only(np.isin(m.numbers, list(frame.marks))) for m in marks]
    raised = [m.only(np.isin(m.numbers, BLOCK_IDS)) for m in marks]
    flat = tuple(np.array([corners_of(frame.marks[int(n)]) for n in m.numbers]) for m in own)
    return _Setting(
        frame,
        scale,
        flat,
        tuple(_terms(corners, frame) for corners in flat),
        tuple(m.corners for m in own),
        tuple(m.corners for m in raised),
        tuple(np.array([blocks.index(int(n)) for n in m.numbers], dtype=int) for m in raised),
        tuple(sizes),
        (0,) * len(sizes),
        blocks,
        scale_error,
        thick,
    )


def place(
    frame: Frame,
    marks: Sequence[Marks],
    sizes: Sequence[tuple[int, int]],
    scale: FloatArray,
    scale_error: float,
    thick: float | None,
) -> Placed:
    """Return where the cameras of photographs of one paper stood.

    scale (2,) : of the print, from its bars, and the standard deviation of either. thick : height of the slice, mm,
    None where it is not known. Marks on blocks are at the slice's height, wherever they stand. Photographs are of one
    camera at one zoom, unless with a camera for each they fit better by more than noise explains.
    """
    from scipy.stats import chi2

    setting = _setting(frame, marks, sizes, scale, scale_error, thick)
    fit = _fitted(setting, _start(setting))
    alike = True
    if len(sizes) > 1:
        cameras = tuple(range(len(sizes)))
        apart = replace(setting, cameras=cameras)
        lens, rest = np.split(fit.numbers, [CAMERA])
        own = _fitted(apart, np.concatenate([*[lens] * len(cameras), rest]))
        better = _off(setting, fit.numbers, own.pixels) - _off(apart, own.numbers, own.pixels)
        alike = better < CORNERS_ALIKE * float(chi2.isf(CHANCE, apart.known - setting.known))
        if not alike:
            setting, fit = apart, own
    jacobian = _jacobian(setting, fit.numbers, fit.pixels)
    covariance = np.linalg.pinv(jacobian.T @ jacobian)
    values, vectors = np.linalg.eigh(covariance)
    steps = vectors * np.sqrt(np.maximum(values, 0.0))
    views, paper, _ = setting.unpack(fit.numbers)
    moved = [setting.unpack(fit.numbers + step)[:2] for step in steps.T]
    used = tuple(len(flat) for flat in setting.flat)
    focal_errors = tuple(float(np.sqrt(covariance[CAMERA * k, CAMERA * k]) * FOCAL_SPREAD) for k in setting.cameras)
    return Placed(views, paper, tuple(moved), fit.rms, used, len(setting.blocks), focal_errors, alike)


@dataclass(frozen=True)
class _Fit:
    """A fit's numbers (n,), the standard deviation of a corner by it and the rms of those that fit, pixels."""

    numbers: FloatArray
    pixels: float
    rms: float


def _fitted(setting: _Setting, start: FloatArray) -> _Fit:
    """Return the fit of all marks, from numbers (n,) near it."""
    from scipy.optimize import least_squares

    numbers, pixels = start, 1.0
    for _ in range(2):
        fit: Any = least_squares(
            setting.residuals, numbers, x_scale="jac", loss="soft_l1", f_scale=LARGE, args=(pixels,), max_nfev=60
        )
        numbers = fit.x
        misses = setting.residuals(numbers, 1.0)[setting.known :]
        good = np.abs(misses) < 5.0 * np.median(np.abs(misses)) + CORNER_PIXELS
        freedom = max(int(good.sum()) - (len(numbers) - setting.known), 4)
        pixels = float(np.sqrt(CORNER_PIXELS**2 + (misses[good] ** 2).sum() / freedom))
    return _Fit(numbers, pixels, float(np.sqrt((misses[good] ** 2).mean())))


def _off(setting: _Setting, numbers: FloatArray, pixels: float) -> float:
    """Return the sum of squared residuals, large ones counting less as in the fit."""
    residuals = setting.residuals(numbers, pixels) / LARGE
    return float(2.0 * LARGE**2 * (np.sqrt(1.0 + residuals**2) - 1.0).sum())


def _jacobian(setting: _Setting, numbers: FloatArray, pixels: float) -> FloatArray:
    """Return the slope of the residuals, by differences."""
    columns = []
    for k in range(len(numbers)):
        step = np.zeros(len(numbers))
        step[k] = 1e-5
        up, down = (setting.residuals(numbers + way * step, pixels) for way in (1.0, -1.0))
        columns.append((up - down) / 2e-5)
    return np.column_stack(columns)


def _start(setting: _Setting) -> FloatArray:
    """Return numbers to begin a fit with: each view by OpenCV's pose of a plane, with a usual focal length."""
    import cv2

    numbers = [np.zeros(setting.known)]
    numbers[0][-1] = UNKNOWN_THICK_MM / 2.0 if setting.thick is None else setting.thick
    places: dict[int, FloatArray] = {}
    for k, size in enumerate(setting.sizes):
        flat = setting.flat[k].reshape(-1, 2) * setting.scale
        focal, centre = max(size) * FOCAL, (np.array(size) - 1.0) / 2.0
        matrix = np.array([[focal, 0.0, centre[0]], [0.0, focal, centre[1]], [0.0, 0.0, 1.0]])
        points, seen = np.column_stack([flat, np.zeros(len(flat))]), setting.seen[k].reshape(-1, 2)
        pose = cv2.solvePnP(points, seen, matrix, None, flags=cv2.SOLVEPNP_IPPE)
        turn, shift = (np.asarray(part, dtype=float).ravel() for part in pose[1:])
        numbers.append(np.concatenate([turn, shift / 100.0]))
        view = View(rotation_of(turn), shift, focal, centre, np.zeros(2), size)
        for which, corners in zip(setting.block[k], setting.raised[k], strict=True):
            square = view.on_level(corners, np.full(4, numbers[0][-1]))
            along = square[1] - square[0]
            places[int(which)] = np.array([*square.mean(axis=0), np.arctan2(along[1], along[0])])
    return np.concatenate([*numbers, *(places[n] for n in range(len(setting.blocks)))])
