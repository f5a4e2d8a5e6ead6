"""Uncertainty of a sheet's survey: what is not known of the port that its readings describe.

Readings with their errors come in; standard uncertainties of areas, volume and radii go out, each with
what its sources add, and what would make it surer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from portgeo.core.headings import AngleFit, heading_errors
from portgeo.core.plane import FloatArray
from portgeo.core.section import Reading
from portgeo.measuring.advice import Suspect, Suspects, advice
from portgeo.measuring.bends import BendPlane
from portgeo.measuring.sheet_errors import (
    CURVES,
    Errors,
    errors_by_source,
    no_errors,
    reading_errors,
    spread,
    station_errors,
)
from portgeo.measuring.sheet_model import Model, model_of
from portgeo.measuring.sides import Bend, Side, many_radii
from portgeo.measuring.uncertainty import Budget, Quantity, Share, Uncertainty, total

CURVES_OF_GAP = 16  # trials of each gap between two rows: they are only told apart
LONGEST_RADII = 4.0  # times a radius: a trial that straightens the bend out counts as this


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
    own = bends_in(model, bends)
    sources = errors_by_source(model)
    area_u = np.zeros(len(stations))
    budget: dict[Quantity, Budget] = {}
    side_u = np.zeros((len(bends), 2, 2))  # short and long; radius and tightest
    for source, errors in sources.items():
        off = figures(model, own, meant, errors)
        area_u = np.hypot(area_u, np.interp(stations, model.stations, _rms(off.areas)))
        for quantity, values in off.of.items():
            budget[quantity] = (*budget.get(quantity, ()), Share(source, float(_rms(values))))
        side_u = np.hypot(side_u, _rms(off.radii))
    # What each reading and each gap does is tried on the one bend that is told.
    shown = () if meant is None else (replace(own[meant], long=None),)
    suspects = _suspects(model, shown, sources["between_rows"])
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


def bends_in(model: Model, bends: Sequence[Bend]) -> list[Bend]:
    """Return a port's bends in its sheet's own frame, which is not the port's where its first row is turned."""
    return [replace(bend, plane=_turned(bend.plane, model.frames[0])) for bend in bends]


def _turned(plane: BendPlane, first: FloatArray) -> BendPlane:
    return replace(plane, axis=plane.axis @ first, ahead=plane.ahead @ first, aside=plane.aside @ first)


@dataclass(frozen=True)
class Off:
    """How far figures are off under sets of errors.

    areas (count, p); quantities (count,); radii (count, bends, 2, 2): of short and long side, usual and tightest.
    """

    areas: FloatArray
    of: dict[Quantity, FloatArray]
    radii: FloatArray


def figures(model: Model, bends: Sequence[Bend], meant: int | None, errors: Errors) -> Off:
    """Return how far a port's figures are off under errors."""
    none = no_errors(model, 1)
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
        for j, (inner, side) in enumerate(((True, bend.short), (False, bend.long))):
            if side is None:
                continue
            # The first line is the one without errors.
            lines = model.side_lines(
                bend.plane,
                inner,
                np.concatenate([none.moves, errors.moves]),
                np.concatenate([none.stretch, errors.stretch]),
                np.concatenate([none.turn, turns]),
            )
            found = np.column_stack(many_radii(model.stations, lines, bend.plane, side.window, side.evened))
            radii[:, k, j] = np.clip(np.nan_to_num(found[1:]), 0.0, LONGEST_RADII * found[0]) - found[0]
    if meant is not None:
        of["short_side"] = radii[:, meant, 0, 0]
    return Off(area - model.area, of, radii)


def _suspects(model: Model, bends: Sequence[Bend], shape: Errors) -> Suspects:
    """Return what each reading by itself, and each gap between two rows, does to the figures."""
    named, moves, turns, slides = list[Suspect](), [], [], []
    eye = np.eye(len(model.rows))
    bent = {name: _by_error(fit, model.stations) for name, fit in model.fits.items()}
    nothing = no_errors(model, 1)
    for name in (*model.names, "turn", "swing", "station"):
        errors = (
            heading_errors(model.readings, name)
            if name in ("turn", "swing")
            else station_errors(model.readings)
            if name == "station"
            else reading_errors(model.readings, name)
        )
        hats = bent.get(name, [(row, errors[row] * spread(model, eye[row : row + 1])) for row in range(len(eye))])
        for row, hat in ((row, hat) for row, hat in hats if errors[row] > 0.0):
            named.append(Suspect(row, name, float(errors[row])))
            move = nothing.moves.copy()
            if name in model.names:
                move[:, :, model.names.index(name)] = hat
                if name == "height" and model.readings[row].shape == "round":
                    move[:, :, model.names.index("width")] = hat
            moves.append(move)
            turns.append([hat if name == angle else nothing.turn for angle in ("turn", "swing")])
            slides.append(hat if name == "station" else nothing.slide)
    slide = np.concatenate(slides)
    each = Errors(
        np.concatenate(moves),
        np.concatenate([turn for turn, _ in turns]),
        np.concatenate([swing for _, swing in turns]),
        slide,
        np.gradient(slide, model.stations, axis=1),
    )
    few = slice(0, CURVES, CURVES // CURVES_OF_GAP)
    inside = np.array([(model.stations >= a) & (model.stations <= b) for a, b in pairwise(model.rows)])
    here = [(inside[:, None] * part[few]).reshape(-1, len(model.stations)) for part in (shape.turn, shape.swing)]
    moved = (inside[:, None, :, None] * shape.moves[few]).reshape(-1, *shape.moves.shape[1:])
    in_gaps = replace(no_errors(model, len(moved)), moves=moved, turn=here[0], swing=here[1])
    by_gap = {
        quantity: _rms(values.reshape(len(inside), -1).T)
        for quantity, values in figures(model, bends, 0 if bends else None, in_gaps).of.items()
    }
    by_reading = figures(model, bends, 0 if bends else None, each).of
    # Where two places are as small, the least area is moved one way alone: by the one that is read smaller.
    lower = model.areas(-each.moves).min(axis=1) - model.area.min()
    by_reading["least_area"] = np.hypot(by_reading["least_area"], lower) / np.sqrt(2.0)
    return Suspects(model.readings, model.rows, tuple(named), by_reading, by_gap)


def _by_error(fit: AngleFit, stations: FloatArray) -> list[tuple[int, FloatArray]]:
    """Return what each error of a curve's readings makes of it at stations (1, p), and the row it is at."""
    effects = fit.effects_at(stations)
    return [(int(row), effect[None, :]) for row, effect in zip(fit.readings.of_row, effects, strict=True)]


def _rms(values: FloatArray) -> FloatArray:
    """Return the root mean square over the trials."""
    return np.asarray(np.sqrt(np.mean(values**2, axis=0)))
