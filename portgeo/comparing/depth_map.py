"""The map of the cut: depth by station and clock position, and which parts of the wall were cut.

Depths at points of the after surface come in; a map unrolled from the wall, its cut and built-up
parts, and what stands out on it (missed spots, steps, ridges) go out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from portgeo.comparing.scatter import NONE, Scatter, robust_sigma, scatter_of
from portgeo.comparing.tube import Places, Tube
from portgeo.core.plane import FloatArray, IntArray

CELL_MM = 1.0  # of the map: finer than a burr's mark is wide, wide enough to average a scan's noise
SMOOTH_CELLS, CLEAN_SMOOTH_CELLS = 1.0, 0.5  # standard deviation of the averaging, cells
FLOOR_MM = 0.01  # two clean meshes of one wall differ by up to their chord errors: less is no cut
DEEP = 4.0  # times what cells scatter by: of the thousand or so that are independent, noise takes none so far
CHANCE = 4.0  # times the noise of its volume: a deep spot that holds less is one
FAINT = 0.3  # of the threshold: the faint edge of a cut, counted with it where it touches it
FAINT_CELLS = 3.0  # standard deviation of the averaging in which that edge is sought: noise frays it less
SOFT_CELLS = 1.5  # edges of what is counted fade like this: a mesh then counts them right, however it lies
MARGIN_CELLS = 5  # round a cut: its very edge lies there, and what is uncut there adds nothing on average
NO_AREA_MM2 = 1e-6  # a cell with less wall in it has none
LEAST_PATCH_MM2 = 4.0  # a smaller patch is a nick, or noise
MISSED_MM = 0.05  # less than this is as cast: no hand grinds so evenly (common practice, no source)
STEP_SLOPE = 0.5  # depth over distance: a wall steeper than this (27 degrees) was not blended
STEP_MM = 0.15  # a step lower than this is felt by no fingernail (common practice, no source)
RIDGE_WIDTH_MM = 6.0  # a ridge is narrower than the burr that left it


@dataclass(frozen=True)
class DepthMap:
    """The wall unrolled: rows by station, columns clockwise from 12 o'clock.

    stations (n,) and turns (m,) of the cells' middles. depth (n, m), averaged over a cell and its
    neighbours. area (n, m) of wall in each cell. cut, built_up (n, m) : weights 0 to 1. noise : of
    one point. scatter : of the cells that nobody cut. threshold : depth that counts as a cut. width : of a
    cell round the tube, mm, on average.
    """

    stations: FloatArray
    turns: FloatArray
    depth: FloatArray
    area: FloatArray
    is_cut: np.ndarray
    is_built_up: np.ndarray
    cut: FloatArray
    built_up: FloatArray
    noise: float
    scatter: Scatter
    threshold: float
    width: float

    @property
    def cell(self) -> tuple[float, float]:
        """Height and width of a cell, mm."""
        return float(self.stations[1] - self.stations[0]), self.width

    def cells(self, where: Places) -> tuple[FloatArray, FloatArray]:
        """Return the row and column (k,), with fractions, of places."""
        step = self.stations[1] - self.stations[0]
        return (where.station - self.stations[0]) / step, (where.round - self.turns[0]) * len(self.turns)

    def at(self, values: FloatArray, where: Places) -> FloatArray:
        """Return cell values (n, m) at places (k,), linear between the cells' middles."""
        row, column = self.cells(where)
        padded = np.pad(values, ((1, 1), (0, 0)), mode="edge")
        padded = np.pad(padded, ((0, 0), (1, 1)), mode="wrap")
        row = np.clip(row + 1.0, 0.0, padded.shape[0] - 1.0)
        return ndimage.map_coordinates(padded, [row, column + 1.0], order=1, mode="nearest")

    def spread(self, amounts: FloatArray, where: Places) -> FloatArray:
        """Return amounts (k,) at places, each shared out among the four cells (n, m) that `at` takes from there.

        So the sum of amounts times values taken from cells is that of cells times what is spread on them.
        """
        row, column = self.cells(where)
        row = np.clip(row, 0.0, len(self.stations) - 1.0)
        low, left = np.floor(row).astype(np.int64), np.floor(column).astype(np.int64)
        share_up, share_right = row - low, column - left
        count = len(self.turns)
        total = np.zeros(self.depth.size)
        for up in (0, 1):
            for right in (0, 1):
                weight = np.abs(1 - up - share_up) * np.abs(1 - right - share_right)
                cell = np.minimum(low + up, len(self.stations) - 1) * count + (left + right) % count
                total += np.bincount(cell, weight * amounts, minlength=total.size)
        return total.reshape(self.depth.shape)


@dataclass(frozen=True)
class Spot:
    """A place on the wall that asks for a look.

    kind : "missed", "step" or "ridge". station, clock : of its middle (missed) or its worst place.
    height : how high metal stands over the surface round it, mm. size : its area, mm2 (its length,
    mm, for a step).
    """

    kind: str
    station: float
    clock: float
    height: float
    size: float


def depth_map(
    tube: Tube,
    where: Places,
    depth: FloatArray,
    area: FloatArray,
    noise: float,
    stretch: tuple[float, float],
    *,
    untold: float = 0.0,
) -> DepthMap:
    """Return the map of depths (k,) at places of the wall that stand for areas (k,).

    noise : standard deviation of one depth. untold : depth that readings leave unsure.
    A cell is cut where the averaged depth is over DEEP times what cells scatter by on the wall that nobody
    cut (over FLOOR_MM on clean meshes); its cut runs on to where it fades to FAINT of that.
    """
    rows = max(int(np.ceil((stretch[1] - stretch[0]) / CELL_MM)), 8)
    columns = 8 * max(int(np.ceil(tube.girth / CELL_MM / 8.0)), 2)  # so that walls meet between two cells
    step = (stretch[1] - stretch[0]) / rows
    i = np.clip(((where.station - stretch[0]) / step).astype(np.int64), 0, rows - 1)
    j = np.minimum((where.round * columns).astype(np.int64), columns - 1)
    cell = i * columns + j
    shape = (rows, columns)
    total, lifted = (
        np.asarray(np.bincount(cell, w, minlength=rows * columns), dtype=np.float64).reshape(shape)
        for w in (area, area * depth)
    )
    sigma = SMOOTH_CELLS if noise > 0.0 else CLEAN_SMOOTH_CELLS
    weight = _smooth(total, sigma)
    mean = _smooth(lifted, sigma) / np.maximum(weight, 1e-12)
    # A cell that no point fell near takes the mean of a wider neighbourhood.
    empty = weight < 1e-3 * np.median(total[total > 0])
    if empty.any():
        wide = _smooth(lifted, 3.0) / np.maximum(_smooth(total, 3.0), 1e-12)
        mean = np.where(empty, wide, mean)
    width = float(total.sum() / (step * rows * columns))
    sigma_cell = robust_sigma(mean, total) if noise > 0.0 else 0.0
    threshold = max(FLOOR_MM, DEEP * sigma_cell, untold)
    calm = mean
    if noise > 0.0:
        calm = _smooth(mean * total, FAINT_CELLS) / np.maximum(_smooth(total, FAINT_CELLS), 1e-12)
    cut_part, is_cut = _part(mean, calm, threshold)
    built_part, is_built_up = _part(-mean, -calm, threshold)
    scatter = NONE
    if sigma_cell > 0.0:
        whole = _grown(cut_part | built_part, MARGIN_CELLS)
        scatter = scatter_of(mean, ~whole, sigma_cell, (step, width))
        cut_part = _without_chance(cut_part, mean * total, total, scatter, (step, width))
        built_part = _without_chance(built_part, -mean * total, total, scatter, (step, width))
        is_cut, is_built_up = is_cut & cut_part, is_built_up & built_part
    # The margin of the one ends where the other begins: what was cut is not counted with what was built up.
    cut, built_up = _spread_out(cut_part, built_part), _spread_out(built_part, cut_part)
    over = np.maximum(cut + built_up, 1.0)
    return DepthMap(
        stations=np.asarray(stretch[0] + (np.arange(rows) + 0.5) * step, dtype=np.float64),
        turns=(np.arange(columns) + 0.5) / columns,
        depth=mean,
        area=total,
        is_cut=is_cut,
        is_built_up=is_built_up,
        cut=cut / over,
        built_up=built_up / over,
        noise=noise,
        scatter=scatter,
        threshold=threshold,
        width=width,
    )


def _smooth(values: FloatArray, sigma: float) -> FloatArray:
    return ndimage.gaussian_filter(values, sigma, mode=("nearest", "wrap"), truncate=3.0)


def _part(mean: FloatArray, calm: FloatArray, threshold: float) -> tuple[np.ndarray, np.ndarray]:
    """Return which cells (n, m) are deep or the faint edge of what is, and which are deep."""
    deep = _without_specks(mean > threshold, CELL_MM)
    labels = _labels((calm > FAINT * threshold) | deep)
    touched = np.unique(labels[deep])
    return np.isin(labels, touched[touched > 0]), deep


def _without_chance(
    part: np.ndarray, volume: FloatArray, area: FloatArray, scatter: Scatter, cell: tuple[float, float]
) -> np.ndarray:
    """Return a part (n, m) without the pieces whose volume, with their margin, noise may make by itself."""
    labels = _labels(part)
    kept = part.copy()
    for k in np.unique(labels[part]):
        weights = _spread_out(labels == k, np.zeros_like(part))
        if (weights * volume).sum() < CHANCE * np.sqrt(scatter.variance(weights * area, cell)):
            kept &= labels != k
    return kept


def _spread_out(part: np.ndarray, other: np.ndarray) -> FloatArray:
    """Return the weights (n, m), soft at their edge, of a part and of its margin as far as the other part."""
    wide = _grown(part, MARGIN_CELLS) & ~other
    return _smooth(wide.astype(float), SOFT_CELLS) if wide.any() else np.zeros(part.shape)


def wider(weights: FloatArray) -> FloatArray:
    """Return weights (n, m) with a margin once more as wide."""
    part = weights > 0.5
    return _smooth(_grown(part, MARGIN_CELLS).astype(float), SOFT_CELLS) if part.any() else weights


def _grown(part: np.ndarray, cells: int) -> np.ndarray:
    around = np.pad(part, ((0, 0), (cells, cells)), mode="wrap")
    grown = ndimage.binary_dilation(around, np.ones((3, 3)), iterations=cells)
    return grown[:, cells:-cells]


def _labels(part: np.ndarray) -> IntArray:
    """Return connected parts (n, m) numbered from 1; left and right edge are one line."""
    labels, count = ndimage.label(part, np.ones((3, 3)))
    joined = np.arange(count + 1)
    for shift in (-1, 0, 1):
        for a, b in zip(labels[:, 0], np.roll(labels[:, -1], shift), strict=True):
            if a and b:
                low, high = sorted((joined[a], joined[b]))
                joined[joined == high] = low
    return joined[labels]


def _without_specks(part: np.ndarray, cell: float) -> np.ndarray:
    labels = _labels(part)
    sizes = np.bincount(labels.ravel()) * cell**2
    keep = sizes >= LEAST_PATCH_MM2
    keep[0] = False
    return keep[labels]


def wall_shares(map_: DepthMap, wall: int, stretch: tuple[float, float] | None) -> FloatArray:
    """Return how far each cell (n, m) belongs to a wall, between two stations: 0 to 1, soft at its edges."""
    columns = (np.floor(map_.turns * 4.0 + 0.5).astype(np.int64) % 4 == wall).astype(float)
    rows = np.ones(len(map_.stations))
    if stretch is not None:
        rows = ((map_.stations >= stretch[0]) & (map_.stations <= stretch[1])).astype(float)
    return np.outer(
        ndimage.gaussian_filter1d(rows, SOFT_CELLS, mode="nearest"),
        ndimage.gaussian_filter1d(columns, SOFT_CELLS, mode="wrap"),
    )


def spots(map_: DepthMap, tube: Tube) -> tuple[Spot, ...]:
    """Return what stands out on a map, the worst of each kind first."""
    found = [*_missed(map_, tube), *_steps(map_, tube), *_ridges(map_, tube)]
    return tuple(found)


def _missed(map_: DepthMap, tube: Tube) -> list[Spot]:
    """Return patches within the noise that cut wall surrounds: they do not reach an opening."""
    labels = _labels(np.abs(map_.depth) < max(MISSED_MM, map_.threshold))
    found = []
    for k in np.unique(labels[labels > 0]):
        here = labels == k
        size = float(map_.area[here].sum())
        if here[0].any() or here[-1].any() or size < LEAST_PATCH_MM2:
            continue
        ring = _grown(here, 3) & map_.is_cut
        height = float(np.median(map_.depth[ring])) if ring.any() else 0.0
        station, clock = _middle(map_, tube, here)
        found.append(Spot("missed", station, clock, height, size))
    return sorted(found, key=lambda spot: -spot.size)


def _steps(map_: DepthMap, tube: Tube) -> list[Spot]:
    """Return where the depth changes steeply: the unblended edge of a cut."""
    along = map_.stations[1] - map_.stations[0]
    across = _across(map_, tube)
    rise = np.hypot(np.gradient(map_.depth, along, axis=0), _round_gradient(map_.depth) / across)
    least = max(STEP_MM, 3.0 * map_.noise)
    reach = 5
    around = np.pad(map_.depth, ((0, 0), (reach, reach)), mode="wrap")
    jump = (ndimage.maximum_filter(around, reach) - ndimage.minimum_filter(around, reach))[:, reach:-reach]
    steep = (rise > STEP_SLOPE) & (jump > least)
    labels = _labels(steep)
    found = []
    for k in np.unique(labels[labels > 0]):
        here = labels == k
        cells = float(here.sum())
        if cells < 2 * LEAST_PATCH_MM2:
            continue
        worst = np.unravel_index(np.argmax(np.where(here, jump, -np.inf)), jump.shape)
        station, clock = _place(map_, tube, int(worst[0]), int(worst[1]))
        length = float((along * across[:, :1] * here).sum()) / 3.0  # the averaging spreads an edge over about 3 mm
        found.append(Spot("step", station, clock, float(jump[worst]), length))
    return sorted(found, key=lambda spot: -spot.height)


def _ridges(map_: DepthMap, tube: Tube) -> list[Spot]:
    """Return narrow strips that stand over the cut on both sides of them."""
    along = map_.stations[1] - map_.stations[0]
    size = max(round(RIDGE_WIDTH_MM / along), 3)
    around = np.pad(map_.depth, ((size, size), (0, 0)), mode="edge")
    around = np.pad(around, ((0, 0), (size, size)), mode="wrap")
    closed = ndimage.grey_closing(around, (size, size))[size:-size, size:-size]
    height = closed - map_.depth
    least = max(STEP_MM, 3.0 * map_.noise)
    labels = _labels((height > least) & map_.is_cut)
    found = []
    for k in np.unique(labels[labels > 0]):
        here = labels == k
        area = float(map_.area[here].sum())
        if area < LEAST_PATCH_MM2:
            continue
        worst = np.unravel_index(np.argmax(np.where(here, height, -np.inf)), height.shape)
        station, clock = _place(map_, tube, int(worst[0]), int(worst[1]))
        found.append(Spot("ridge", station, clock, float(height[worst]), area))
    return sorted(found, key=lambda spot: -spot.height)


def _round_gradient(values: FloatArray) -> FloatArray:
    return (np.roll(values, -1, axis=1) - np.roll(values, 1, axis=1)) / 2.0


def _across(map_: DepthMap, tube: Tube) -> FloatArray:
    """Return the width of a cell (n, 1) round the section, mm."""
    halves = np.column_stack([np.interp(map_.stations, tube.stations, tube.halves[:, k]) for k in range(2)])
    return (4.0 * halves.sum(axis=1) / len(map_.turns))[:, None]


def _middle(map_: DepthMap, tube: Tube, here: np.ndarray) -> tuple[float, float]:
    row, column = np.nonzero(here)
    angle = 2.0 * np.pi * map_.turns[column]
    turn = np.arctan2(np.sin(angle).mean(), np.cos(angle).mean()) / (2.0 * np.pi) % 1.0
    return _place(map_, tube, round(float(row.mean())), int(turn * len(map_.turns)) % len(map_.turns))


def _place(map_: DepthMap, tube: Tube, row: int, column: int) -> tuple[float, float]:
    """Return the station and the clock position of a cell."""
    station = float(map_.stations[row])
    half = np.array([np.interp(station, tube.stations, tube.halves[:, k]) for k in range(2)])
    angle = 2.0 * np.pi * map_.turns[column]
    clock = float(np.arctan2(np.sin(angle) * half[0], np.cos(angle) * half[1]) * 6.0 / np.pi % 12.0)
    return station, clock
