"""Uncertainty of a sheet's survey: what the errors of its readings make.

Readings with their errors come in; standard uncertainties of areas, volume and radii go out, and the
reading that is most to blame.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from portgeo.centreline import at
from portgeo.loft import Surface, correspond, outlines_at, spine_of, surface_on
from portgeo.plane import FloatArray, areas_and_centroids
from portgeo.section import Reading, outline_of
from portgeo.survey.bends import BendPlane
from portgeo.survey.sides import Bend, Side, inward_of, quick_radii
from portgeo.survey.uncertainty import Blame, Uncertainty

SAMPLES = 200  # Monte Carlo trials: a standard uncertainty then has 5 % of its own
SEED = 20260  # any number, so that the same sheet gives the same answer
COARSE_CHORD_MM = 0.05  # outlines of the trials: only differences between them are used
PLANES = 81  # of a trial
STATION_ERRORS = 10.0  # of a row in the gap to the next: no two of thousands of trials then change places


@dataclass(frozen=True)
class _Trial:
    """What one set of readings gives.

    area at the stations, volume, radii (bends, 2, 2): inner and outer, usual and least.
    """

    area: FloatArray
    volume: float
    radii: FloatArray


def from_readings(
    readings: Sequence[Reading],
    stations: FloatArray,
    least_station: float,
    bends: tuple[Bend, ...] = (),
    meant: int | None = None,
) -> Uncertainty:
    """Return the uncertainties that the readings' own errors make.

    Monte Carlo over all readings at once (JCGM 101), seeded; blame by moving one reading at a time
    by its error (JCGM 100). bends, meant : the port's, and the number of the one worked on, from 0.
    Each length of a row has the row's error; a heading, read as a difference of two depths across the
    port, has that of two readings over the height. Where errors are so large beside a gap of stations
    that rows would change places, all are tried out on a smaller scale and what they do is scaled up
    again: first order, as JCGM 100 has it.
    """
    # The least section is looked at itself: it lies between rows of the table, however few there are.
    places = np.union1d(stations, least_station)
    least = int(np.searchsorted(places, least_station))
    model = _Model(readings, places, bends)
    scale = model.scale()
    centre = model.trial(np.zeros(len(model.movable)))
    single = [model.trial(one) for one in scale * np.eye(len(model.movable))]
    errors = np.random.default_rng(SEED).standard_normal((SAMPLES, len(model.movable)))
    trials = [model.trial(row) for row in scale * errors]
    area_u = np.array([t.area for t in trials]).std(axis=0, ddof=1) / scale
    radii_u = np.nanstd([t.radii for t in trials], axis=0, ddof=1) / scale
    at_least = [t.area[least] - centre.area[least] for t in single]
    # Where a moved reading leaves no turn to fit, its radius says nothing.
    of_radius = np.zeros(1) if meant is None else np.nan_to_num([(t.radii - centre.radii)[meant, 0, 0] for t in single])
    return Uncertainty(
        area=area_u[np.searchsorted(places, stations)],
        least_area=float(area_u[least]),
        volume=float(np.std([t.volume for t in trials], ddof=1)) / scale,
        bends=tuple(
            replace(bend, short=_sure(bend.short, u[0]), long=None if bend.long is None else _sure(bend.long, u[1]))
            for bend, u in zip(bends, radii_u, strict=True)
        ),
        blame=Blame(
            model.most(at_least),
            model.most([t.volume - centre.volume for t in single]),
            model.most(of_radius) if of_radius.any() else None,
        ),
    )


def _sure(side: Side, u: FloatArray) -> Side:
    return replace(side, radius_u=float(u[0]), least_radius_u=float(u[1]))


class _Model:
    """A port as a function of its readings' errors, quick enough to try hundreds of times.

    An outline moves in proportion to each of its own readings, so what a reading's error does to
    its row's outline is drawn once; how the port follows from outlines and headings is not
    simplified.
    """

    def __init__(self, readings: Sequence[Reading], stations: FloatArray, bends: tuple[Bend, ...]) -> None:
        self.readings = list(readings)
        self.table = stations
        # The sheet's own frame is not the port's where its first row is turned.
        first = spine_of(readings)[0].frames[0]
        self.bends = [
            (
                replace(b.plane, **{name: getattr(b.plane, name) @ first for name in ("axis", "ahead", "aside")}),
                b.height,
            )
            for b in bends
        ]
        self.movable = list(_movable(readings))
        moved = [_moved(readings[row], name, size) for row, name, size in self.movable]
        every = [*self.readings, *moved]
        outlines = [outline_of(r, COARSE_CHORD_MM) + np.array([r.shift, r.rise]) for r in every]
        stack = correspond(outlines, [r.row for r in every], COARSE_CHORD_MM)
        self.outlines = stack[: len(readings)]
        self.steps = stack[len(readings) :] - self.outlines[[row for row, _, _ in self.movable]]

    def scale(self) -> float:
        """Return what the errors are to be scaled by, at most 1, so that no two rows change places."""
        gaps = np.diff(spine_of(self.readings)[1])
        errors = np.array([r.error for r in self.readings])
        largest = np.maximum(errors[1:], errors[:-1])
        return float(min(1.0, np.min(gaps / np.maximum(STATION_ERRORS * largest, 1e-300))))

    def trial(self, errors: FloatArray) -> _Trial:
        """Return what the port is where each movable reading is off by `errors` of its uncertainty."""
        outlines, readings = self.outlines.copy(), list(self.readings)
        for (row, name, size), step, error in zip(self.movable, self.steps, errors, strict=True):
            if error == 0.0:
                continue
            if name in ("station", "turn", "swing"):
                readings[row] = _moved(readings[row], name, size * error)
            else:
                outlines[row] += error * step
        spine, nodes = spine_of(readings)
        return _trial(surface_on(outlines, spine, nodes, tuple(r.row for r in readings)), self.table, self.bends)

    def most(self, moves: Sequence[float] | FloatArray) -> tuple[int, str, float]:
        """Return row, name and share of variance of the reading that moved a result most."""
        squares = np.array(moves) ** 2
        worst = int(np.argmax(squares))
        row, name, _ = self.movable[worst]
        return self.readings[row].row, name, float(squares[worst] / max(squares.sum(), 1e-300))


def _movable(readings: Sequence[Reading]) -> Iterator[tuple[int, str, float]]:
    """Yield (index of the row, name of the reading, its standard uncertainty) for all that were read."""
    for k, r in enumerate(readings):
        angle_error = r.error * np.sqrt(2.0) / r.height
        if k > 0 and r.place is None:
            yield k, "station", r.error
        yield k, "height", r.error
        if r.shape != "round":
            yield k, "width", r.error
        for name, error in (
            ("corner_roof", r.error),
            ("corner_floor", r.error),
            ("rise", r.error),
            ("shift", r.error),
            ("turn", angle_error),
            ("swing", angle_error),
        ):
            # A column that nobody filled in was not read; the entry's heading is where all start.
            if (k > 0 or "corner" in name) and any(getattr(other, name) for other in readings):
                yield k, name, error


def _moved(reading: Reading, name: str, by: float) -> Reading:
    """Return a reading with one of its values moved."""
    value = getattr(reading, name) + by
    if reading.shape == "round" and name == "height":
        return replace(reading, height=value, width=value)
    if reading.outline is not None and name in ("height", "width"):
        scale = np.ones(2)
        scale[1 if name == "height" else 0] = value / getattr(reading, name)
        reading = replace(reading, outline=reading.outline * scale)
    change: dict[str, Any] = {name: value}
    moved = replace(reading, **change)
    return _with_corners_that_fit(moved) if moved.shape == "rect" else moved


def _with_corners_that_fit(r: Reading) -> Reading:
    """Return a reading with its corner radii cut back to what its height and width leave room for."""
    roof, floor = (min(max(c, 0.0), r.width / 2.0) for c in (r.corner_roof, r.corner_floor))
    over = max((roof + floor) / r.height, 1.0)
    return replace(r, corner_roof=roof / over, corner_floor=floor / over)


def _trial(surface: Surface, stations: FloatArray, bends: Sequence[tuple[BendPlane, float]]) -> _Trial:
    s = np.linspace(surface.stations[0], surface.stations[-1], PLANES)
    points, frames = at(surface.centreline, s)
    outlines = outlines_at(surface, s)
    area, centroid = areas_and_centroids(outlines)
    moment = area[:, None] * np.einsum("ki,kij->kj", centroid, frames[:, 1:])
    # Pappus, slab by slab: area along the spine, less what the turn takes from the inside.
    swept = 0.5 * (area[1:] + area[:-1]) @ np.diff(s)
    swept -= 0.5 * np.einsum("kj,kj->", moment[1:] + moment[:-1], np.diff(frames[:, 0], axis=0))
    radii = np.array([[_radii(s, outlines, points, frames, *b, inner) for inner in (True, False)] for b in bends])
    at_table = np.interp(stations, s, area)
    return _Trial(at_table, float(swept), radii.reshape(len(bends), 2, 2))


def _radii(
    stations: FloatArray,
    outlines: FloatArray,
    points: FloatArray,
    frames: FloatArray,
    plane: BendPlane,
    height: float,
    inner: bool,
) -> tuple[float, float]:
    inward = inward_of(frames, plane) * (1.0 if inner else -1.0)
    in_plane = np.einsum("kij,kj->ki", frames[:, 1:], inward)
    deepest = np.einsum("kmi,ki->km", outlines, in_plane).argmax(axis=1)
    at_wall = outlines[np.arange(len(outlines)), deepest]
    line = points + np.einsum("ki,kij->kj", at_wall, frames[:, 1:])
    return quick_radii(stations, line, plane, height)
