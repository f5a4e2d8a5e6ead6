"""Uncertainty of a sheet's survey: what is not known of the port that its readings describe.

Readings with their errors come in; standard uncertainties of areas, volume and radii go out, each with
what its sources add, and what would make it surer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from portgeo.headings import ANGLES, UNSEEN_HEADING, heading_errors
from portgeo.plane import FloatArray
from portgeo.section import HALF_STEP_MM, TOOLS, Reading
from portgeo.survey.advice import Suspect, Suspects, advice
from portgeo.survey.bends import BendPlane
from portgeo.survey.between_rows import LEAST_SWING, curves_between
from portgeo.survey.sheet_model import Model, model_of
from portgeo.survey.sides import Bend, Side, many_radii
from portgeo.survey.uncertainty import Budget, Quantity, Share, Source, Uncertainty, total

CURVES = 96  # trials of each source: a standard uncertainty then has 7 % of its own
CURVES_OF_GAP = 16  # trials of each gap between two rows: they are only told apart
SEED = 20260  # any number, so that the same sheet gives the same answer
STATION_ERROR_MM = 25.4 / 64.0 / 2.0 / float(np.sqrt(3.0))  # off a rule in 1/64 in, to half a step: common practice
LEAST_HEADING = np.radians(0.5)  # that a heading may swing between rows, whatever the rows say
LONGEST_RADII = 4.0  # times a radius: a trial that straightens the bend out counts as this


@dataclass(frozen=True)
class _Errors:
    """What everything may be off by: the measures (count, p, k), the two headings, distances' stretch (count, p)."""

    moves: FloatArray
    turn: FloatArray
    swing: FloatArray
    slide: FloatArray
    stretch: FloatArray


def from_readings(
    readings: Sequence[Reading],
    stations: FloatArray,
    bends: tuple[Bend, ...] = (),
    meant: int | None = None,
) -> Uncertainty:
    """Return the uncertainties of a sheet's figures, by source.

    bends, meant : the port's, and the number of the one worked on, from 0. Each source is tried out by
    itself, many times at once and seeded (JCGM 101), and the sources are independent of one another: the
    readings one by one, corners and stations among them; the zero that one tool's readings share; the
    headings; and the shape between rows, which nobody read. Errors are counted from the figure that is
    told, so that what the loft is off by in the mean counts too.
    """
    model = model_of(readings)
    draw = np.random.default_rng(SEED)
    # The sheet's own frame is not the port's where its first row is turned.
    own = [replace(bend, plane=_turned(bend.plane, model.frames[0])) for bend in bends]
    drawn = _heading_draws(model, draw)
    sources: dict[Source, _Errors] = {
        "readings": _of_readings(model, draw),
        "tool_zero": _of_zero(model, draw),
        "headings": _of_headings(model, drawn),
        "between_rows": _of_shape(model, draw, drawn),
    }
    area_u = np.zeros(len(stations))
    budget: dict[Quantity, Budget] = {}
    side_u = np.zeros((len(bends), 2, 2))  # short and long; radius and tightest
    for source, errors in sources.items():
        off = _figures(model, own, meant, errors)
        area_u = np.hypot(area_u, np.interp(stations, model.stations, _rms(off.areas)))
        for quantity, values in off.of.items():
            budget[quantity] = (*budget.get(quantity, ()), Share(source, float(_rms(values))))
        side_u = np.hypot(side_u, _rms(off.radii))
    # What each reading and each gap does is tried on the one bend that is told.
    told = () if meant is None else (own[meant],)
    suspects = _suspects(model, told, sources["between_rows"])
    return Uncertainty(
        area=area_u,
        least_area=total(budget["least_area"]),
        volume=total(budget["volume"]),
        bends=tuple(
            replace(bend, short=_sure(bend.short, u[0]), long=None if bend.long is None else _sure(bend.long, u[1]))
            for bend, u in zip(bends, side_u, strict=True)
        ),
        blame=suspects.blame(),
        budget=budget,
        advice=advice(suspects, budget),
    )


def _sure(side: Side, u: FloatArray) -> Side:
    return replace(side, radius_u=float(u[0]), least_radius_u=float(u[1]))


def _turned(plane: BendPlane, first: FloatArray) -> BendPlane:
    return replace(plane, axis=plane.axis @ first, ahead=plane.ahead @ first, aside=plane.aside @ first)


@dataclass(frozen=True)
class _Off:
    """How far figures are off under sets of errors.

    areas (count, p); quantities (count,); radii (count, bends, 2, 2): of short and long side, usual and tightest.
    """

    areas: FloatArray
    of: dict[Quantity, FloatArray]
    radii: FloatArray


def _figures(model: Model, bends: Sequence[Bend], meant: int | None, errors: _Errors) -> _Off:
    """Return how far a port's figures are off under errors."""
    none = _none(model, 1)
    sized = model.areas(errors.moves)
    area = sized - np.gradient(model.area, model.stations) * errors.slide  # at its station; the least is where it is
    of: dict[Quantity, FloatArray] = {
        "volume": model.volumes(errors.moves, errors.stretch) - model.volumes(none.moves, none.stretch),
        "least_area": sized.min(axis=1) - model.area.min(),
    }
    radii = np.zeros((len(area), len(bends), 2, 2))
    for k, bend in enumerate(bends):
        ends = [bend.plane.turns_from, bend.plane.turns_to]
        turned = np.array([np.diff(np.interp(ends, model.rows, model.values[name]))[0] for name in ("turn", "swing")])
        towards = turned / max(float(np.linalg.norm(turned)), 1e-300)
        turns = errors.turn * towards[0] + errors.swing * towards[1]
        for j, inner in enumerate((True, False)):
            base = model.side_lines(bend.plane, inner, none.moves, none.stretch, none.turn)
            lines = model.side_lines(bend.plane, inner, errors.moves, errors.stretch, turns)
            every = np.concatenate([base, lines])
            found = np.column_stack(many_radii(model.stations, every, bend.plane, bend.height))
            radii[:, k, j] = np.clip(np.nan_to_num(found[1:]), 0.0, LONGEST_RADII * found[0]) - found[0]
    if meant is not None:
        of["short_side"] = radii[:, meant, 0, 0]
    return _Off(area - model.area, of, radii)


def _suspects(model: Model, bends: Sequence[Bend], shape: _Errors) -> Suspects:
    """Return what each reading by itself, and each gap between two rows, does to the figures."""
    named, moves, turns, slides = list[Suspect](), [], [], []
    hats = np.eye(len(model.rows))
    gains = {name: model.fits[name].gains(model.stations).T for name in model.fits}
    nothing = _none(model, 1)
    for name in (*model.names, "turn", "swing", "station"):
        errors = (
            heading_errors(model.readings, name)
            if name in ("turn", "swing")
            else _station_errors(model.readings)
            if name == "station"
            else reading_errors(model.readings, name)
        )
        for row in np.flatnonzero(errors):
            hat = errors[row] * (gains[name][row : row + 1] if name in gains else _spread(model, hats[row : row + 1]))
            named.append(Suspect(int(row), name, float(errors[row])))
            move = nothing.moves.copy()
            if name in model.names:
                move[:, :, model.names.index(name)] = hat
                if name == "height" and model.readings[row].shape == "round":
                    move[:, :, model.names.index("width")] = hat
            moves.append(move)
            turns.append([hat if name == angle else nothing.turn for angle in ("turn", "swing")])
            slides.append(hat if name == "station" else nothing.slide)
    slide = np.concatenate(slides)
    each = _Errors(
        np.concatenate(moves),
        np.concatenate([turn for turn, _ in turns]),
        np.concatenate([swing for _, swing in turns]),
        slide,
        np.gradient(slide, model.stations, axis=1),
    )
    by_gap: dict[Quantity, list[float]] = {}
    few = slice(0, CURVES, CURVES // CURVES_OF_GAP)
    for a, b in pairwise(model.rows):
        inside = (model.stations >= a) & (model.stations <= b)
        here = (shape.moves[few] * inside[:, None], shape.turn[few] * inside, shape.swing[few] * inside)
        in_gap = replace(_none(model, len(here[0])), moves=here[0], turn=here[1], swing=here[2])
        for quantity, values in _figures(model, bends, 0 if bends else None, in_gap).of.items():
            by_gap.setdefault(quantity, []).append(float(_rms(values)))
    by_reading = _figures(model, bends, 0 if bends else None, each).of
    return Suspects(
        model.readings, model.rows, tuple(named), by_reading, {name: np.array(by) for name, by in by_gap.items()}
    )


def _rms(values: FloatArray) -> FloatArray:
    """Return the root mean square over the trials."""
    return np.asarray(np.sqrt(np.mean(values**2, axis=0)))


def _none(model: Model, count: int) -> _Errors:
    flat = np.zeros((count, len(model.stations)))
    return _Errors(np.zeros((*flat.shape, len(model.names))), flat, flat, flat, flat)


def _spread(model: Model, at_rows: FloatArray) -> FloatArray:
    """Return errors at the rows (count, n) carried on between them (count, p)."""
    return np.array([np.interp(model.stations, model.rows, row) for row in at_rows])


def _of_readings(model: Model, draw: np.random.Generator) -> _Errors:
    """Return what the readings one by one are off by: sizes, corners and stations."""
    count, rows = CURVES, len(model.rows)
    free = draw.standard_normal((len(model.names), count, rows))
    if "height" in model.names and "width" in model.names:
        round_rows = [r.shape == "round" for r in model.readings]
        free[1][:, round_rows] = free[0][:, round_rows]  # one reading is both
    moves = np.stack(
        [_spread(model, free[k] * reading_errors(model.readings, name)) for k, name in enumerate(model.names)], axis=2
    )
    off = draw.standard_normal((count, rows)) * _station_errors(model.readings)
    slide = _spread(model, off)
    none = _none(model, count)
    return replace(none, moves=moves, slide=slide, stretch=np.gradient(slide, model.stations, axis=1))


def reading_errors(readings: Sequence[Reading], name: str) -> FloatArray:
    """Return the standard uncertainty of one measure at each row (n,), on its own.

    A corner is read by template, to the nearest step. One that fills its section is no reading of its own.
    """
    if not name.startswith("corner"):
        return np.array([r.error for r in readings])
    own = "corner_roof" if name == "corner" else name
    full = [r.shape != "rect" or getattr(r, own) >= r.width / 2.0 - 2.0 * r.error for r in readings]
    return np.where(full, 0.0, HALF_STEP_MM)


def _station_errors(readings: Sequence[Reading]) -> FloatArray:
    """Return the standard uncertainty of each row's station (n,): the entry's is where all are counted from."""
    read = [0.0 if r.place is not None else max(r.error, STATION_ERROR_MM) for r in readings]
    return np.array([0.0, *read[1:]])


def _of_zero(model: Model, draw: np.random.Generator) -> _Errors:
    """Return what the zeros are off by that all readings of one tool share."""
    none = _none(model, CURVES)
    moves = none.moves
    for tool, (_, zero) in TOOLS.items():
        share = np.interp(model.stations, model.rows, [float(r.tool == tool) for r in model.readings])
        off = zero * draw.standard_normal(CURVES)
        for k, name in enumerate(model.names):
            if name in ("height", "width"):
                moves[:, :, k] += off[:, None] * share
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
            read = _spread(model, draw.standard_normal((CURVES, rows)) * errors)
            normals = draw.standard_normal((CURVES, rows + count))
            unsure = np.maximum(errors, UNSEEN_HEADING)
            curves = curves_between(model.rows, values, unsure, model.stations, size, LEAST_HEADING, normals)
            drawn[name] = read, curves - model.lofted[name]
    return drawn


def _of_headings(model: Model, drawn: dict[str, tuple[FloatArray, FloatArray]]) -> _Errors:
    """Return what the headings are off by."""
    return replace(_none(model, CURVES), **{name: read for name, (read, _) in drawn.items()})


def _of_shape(model: Model, draw: np.random.Generator, drawn: dict[str, tuple[FloatArray, FloatArray]]) -> _Errors:
    """Return what the port may be off by between its rows, as rough as the rows show it to be."""
    none = _none(model, CURVES)
    size = float(np.sqrt(np.mean(model.area)))

    def between(name: str, errors: FloatArray, floor: float) -> FloatArray:
        values = model.values[name]
        known = np.isfinite(values)
        if known.sum() < 2:
            return none.turn
        draws = draw.standard_normal((CURVES, int(known.sum()) + len(model.stations)))
        curves = curves_between(model.rows[known], values[known], errors[known], model.stations, size, floor, draws)
        if name.startswith("corner"):
            fullest = np.maximum(np.minimum(model.lofted["height"], model.lofted["width"]) / 2.0, model.lofted[name])
            curves = np.clip(curves, 0.0, fullest)  # a corner is no rounder than its section
        return np.asarray(curves - model.lofted[name])

    moves = [between(name, reading_errors(model.readings, name), LEAST_SWING * size) for name in model.names]
    headings = {name: shape for name, (_, shape) in drawn.items()}
    return replace(none, moves=np.stack(moves, axis=2), **headings)
