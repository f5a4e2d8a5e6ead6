"""What everything may be off by that a sheet's port was made from, source by source, tried out many times.

A model of the port comes in; sets of errors go out, seeded, the sources independent of one another.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from portgeo.core.angle_readings import ANGLES
from portgeo.core.headings import UNSEEN_HEADING, heading_errors
from portgeo.core.plane import FloatArray
from portgeo.core.port import Port
from portgeo.core.section import HALF_STEP_MM, PLACE_ERROR_MM, POINT_ERROR_MM, TOOLS, Reading
from portgeo.measuring.between_rows import LEAST_SWING, curves_between
from portgeo.measuring.sheet_model import Model
from portgeo.measuring.sides import RowNoise
from portgeo.measuring.uncertainty import Source

CURVES = 96  # trials of each source: a standard uncertainty then has 7 % of its own
SEED = 20260  # any number, so that the same sheet gives the same answer
STATION_ERROR_MM = 25.4 / 64.0 / 2.0 / float(np.sqrt(3.0))  # off a rule in 1/64 in, to half a step: common practice
LEAST_HEADING = np.radians(0.5)  # that a heading may swing between rows, whatever the rows say
STEEP, UPRIGHT = np.radians((45.0, 6.0))  # a wall that leans out more at an end is a mouth's, till it leans by less
OF_BULGE = 0.25  # of how far a loft bulges off the chords of a mouth's rows: what its shape between them is unsure by
STATION = "station"


@dataclass(frozen=True)
class Errors:
    """What everything may be off by: the measures (count, p, k), the two headings, distances' stretch (count, p)."""

    moves: FloatArray
    turn: FloatArray
    swing: FloatArray
    slide: FloatArray
    stretch: FloatArray


def row_noise(port: Port) -> RowNoise | None:
    """Return how far the points of a sheet's sides are off, None for a scan: at each row by itself."""
    if len(port.readings) < 2:
        return None
    return RowNoise(float(np.median([r.error for r in port.readings])), float(np.median(np.diff(port.rows))))


def errors_by_source(model: Model, set_up: int = 0) -> dict[Source, Errors]:
    """Return what each source may make a sheet's port off by, CURVES times.

    set_up : a number for each time that a port was measured: all but the zeros of the tools is then its own.
    """
    draw = np.random.default_rng([SEED, set_up])
    headings = _heading_draws(model, draw)
    return {
        "readings": errors_of_readings(model, reading_normals(model, draw)),
        "tool_zero": _of_zero(model),
        "headings": replace(no_errors(model, CURVES), **{name: read for name, (read, _) in headings.items()}),
        "between_rows": _of_shape(model, draw, {name: shape for name, (_, shape) in headings.items()}),
    }


def no_errors(model: Model, count: int) -> Errors:
    flat = np.zeros((count, len(model.stations)))
    return Errors(np.zeros((*flat.shape, len(model.names))), flat, flat, flat, flat)


def spread(model: Model, at_rows: FloatArray) -> FloatArray:
    """Return errors at the rows (count, n) carried on between them (count, p)."""
    return np.array([np.interp(model.stations, model.rows, row) for row in at_rows])


def reading_normals(model: Model, draw: np.random.Generator) -> dict[str, FloatArray]:
    """Return standard normals (CURVES, n) of each measure and of the stations, one for every reading."""
    normals = {name: draw.standard_normal((CURVES, len(model.rows))) for name in (*model.names, STATION)}
    if "height" in normals and "width" in normals:
        round_rows = [r.shape == "round" for r in model.readings]
        normals["width"][:, round_rows] = normals["height"][:, round_rows]  # one reading is both
    return normals


def errors_of_readings(model: Model, normals: dict[str, FloatArray]) -> Errors:
    """Return what the readings one by one are off by: sizes, corners and stations; normals (CURVES, n) of each."""
    moves = np.stack([_read_off(model, name, normals[name]) for name in model.names], axis=2)
    slide = spread(model, normals[STATION] * station_errors(model.readings))
    stretch = np.gradient(slide, model.stations, axis=1)
    return replace(no_errors(model, len(slide)), moves=moves, slide=slide, stretch=stretch)


def _read_off(model: Model, name: str, normals: FloatArray) -> FloatArray:
    """Return what a measure's readings are off by at the model's stations (count, p)."""
    if name in model.fits:
        return np.asarray(normals @ model.fits[name].effects_at(model.stations))
    return spread(model, normals * reading_errors(model.readings, name))


def reading_errors(readings: Sequence[Reading], name: str) -> FloatArray:
    """Return the standard uncertainty of one measure at each row (n,), on its own.

    A corner is read by template, to the nearest step. One that fills its section is no reading of its own.
    """
    if not name.startswith("corner"):
        by_points = [
            r.width_error if name == "width" else r.drawn[1] if r.drawn and name == "height" else None for r in readings
        ]
        return np.array([r.error if u is None else u for r, u in zip(readings, by_points, strict=True)])
    own = "corner_roof" if name == "corner" else name
    full = [r.shape != "rect" or getattr(r, own) >= r.width / 2.0 - 2.0 * r.error for r in readings]
    return np.where(full, 0.0, HALF_STEP_MM)


def station_errors(readings: Sequence[Reading]) -> FloatArray:
    """Return the standard uncertainty of each row's station (n,): the entry's is where all are counted from."""
    drawn = POINT_ERROR_MM / np.sqrt(2.0)  # of the middle between two points
    read = [
        PLACE_ERROR_MM if r.place is not None else drawn if r.points is not None else max(r.error, STATION_ERROR_MM)
        for r in readings
    ]
    return np.array([0.0, *read[1:]])


def _of_zero(model: Model) -> Errors:
    """Return what the zeros are off by that all readings of one tool share, the same each time it is used."""
    draw = np.random.default_rng(SEED)
    none = no_errors(model, CURVES)
    moves = none.moves
    for tool in TOOLS:
        zero = np.interp(model.stations, model.rows, [r.zero * (r.tool == tool) for r in model.readings])
        off = draw.standard_normal(CURVES)
        for k, name in enumerate(model.names):
            if name in ("height", "width"):
                moves[:, :, k] += off[:, None] * zero
    return replace(none, moves=moves)


def _heading_draws(model: Model, draw: np.random.Generator) -> dict[str, tuple[FloatArray, FloatArray]]:
    """Return how far headings (CURVES, p) may be off, by their readings and by the shape between rows."""
    drawn = {}
    rows, count = len(model.rows), len(model.stations)
    size = float(np.sqrt(np.mean(model.area)))
    for name in ANGLES:
        if name in model.fits:
            drawn[name] = model.fits[name].draws(model.stations, CURVES, draw)
        elif model.values[name].any():
            # Places say how the port runs: headings are as read, and free only between them.
            errors, values = heading_errors(model.readings, name), model.values[name]
            read = spread(model, draw.standard_normal((CURVES, rows)) * errors)
            normals = draw.standard_normal((CURVES, rows + count))
            unsure = np.maximum(errors, UNSEEN_HEADING)
            curves = curves_between(model.rows, values, unsure, model.stations, size, LEAST_HEADING, normals)
            drawn[name] = read, curves - model.lofted[name]
    return drawn


def _past_mouths(rows: FloatArray, size: FloatArray) -> slice:
    """Return the rows of the tube itself, without those in a mouth that is rounded out steeply at an end.

    How a size shoots up over a few stations says nothing of how rough it is between rows elsewhere.
    """
    lean = np.arctan2(-np.diff(size) / 2.0, np.diff(rows))
    ends = []
    for opens in (lean, -lean[::-1]):
        past = np.flatnonzero(opens < UPRIGHT)
        ends.append(int(past[0]) if opens[0] >= STEEP and len(past) else 0)
    first, last = ends[0], len(rows) - ends[1]
    return slice(first, last) if last - first >= 2 else slice(None)


def _of_shape(model: Model, draw: np.random.Generator, headings: dict[str, FloatArray]) -> Errors:
    """Return what the port may be off by between its rows, as rough as the rows show it to be."""
    none = no_errors(model, CURVES)
    size = float(np.sqrt(np.mean(model.area)))

    def between(name: str, errors: FloatArray, floor: float) -> FloatArray:
        values = model.values[name]
        known = np.isfinite(values)
        if known.sum() < 2:
            return none.turn
        draws = draw.standard_normal((CURVES, int(known.sum()) + len(model.stations)))
        rows, read = model.rows[known], values[known]
        tube = _past_mouths(rows, read) if name in ("height", "width") else slice(None)
        inner, far = rows[tube], errors[known][tube]
        curves = curves_between(
            inner, read[tube], far, model.stations, size, floor, draws[:, known.sum() - len(inner) :]
        )
        mouth = (model.stations < inner[0]) | (model.stations > inner[-1])
        bulge = np.abs(model.lofted[name] - np.interp(model.stations, rows, read)) * OF_BULGE
        curves = np.where(mouth, model.lofted[name] + bulge * draws[:, -len(model.stations) :], curves)
        if name.startswith("corner"):
            fullest = np.maximum(np.minimum(model.lofted["height"], model.lofted["width"]) / 2.0, model.lofted[name])
            curves = np.clip(curves, 0.0, fullest)  # a corner is no rounder than its section
        return np.asarray(curves - model.lofted[name])

    moves = [between(name, reading_errors(model.readings, name), LEAST_SWING * size) for name in model.names]
    return replace(none, moves=np.stack(moves, axis=2), **headings)
