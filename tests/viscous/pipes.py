"""Pipes and bends for the viscous solution, and cases of them run in the solver where it is installed."""

from pathlib import Path

import numpy as np
import pytest

from portgeo.core.port import port_from_readings
from portgeo.core.section import Reading
from portgeo.flow.gas import STANDARD
from portgeo.flow.path import path_of
from portgeo.viscous.run import Machine, Question, trial_of
from portgeo.viscous.solver import find_solver

SOLVER = find_solver()
needs_solver = pytest.mark.skipif(SOLVER is None, reason="OpenFOAM is not installed: only the written case is checked")


def pipe(diameter, legs, radius=0.0, degrees=0.0):
    """A round pipe: straight, a turn of a centreline radius, straight."""
    turn = np.radians(degrees)
    places = np.cumsum([0.0, legs[0], radius * turn, legs[1]]) if degrees else np.array([0.0, sum(legs)])
    turns = (0.0, 0.0, turn, turn) if degrees else (0.0, 0.0)
    return port_from_readings(
        tuple(
            Reading(row=k + 2, station=float(s), shape="round", height=diameter, width=diameter, turn=t)
            for k, (s, t) in enumerate(zip(places, turns, strict=True))
        )
    )


def question(port, speed, roughness=0.0, runs=(1.0, 6.0)):
    """A mean speed, m/s, through a pipe's least section."""
    area = port.section_at(0.0)
    size = float(np.pi * np.ptp(area.outline[:, 0]) ** 2 / 4.0)
    return Question(path_of(port), speed * size * 1e-6, (0.0, size), roughness, STANDARD, runs)


def write(path: Path, data: bytes):
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)


def solved(asked, block, folder, model=None, cores=1):
    """What one grid and model tell."""
    return trial_of(asked, block, model or asked.models[0], folder, Machine(SOLVER, cores), write)


def gradient(trial, first, last):
    """Mean total pressure lost by length, Pa/m, between two stations, mm, well inside a straight pipe."""
    tube = trial.solution.tube
    a, b = np.searchsorted(tube.stations, (first, last))
    drop = trial.solution.total_pressure[a - 1] - trial.solution.total_pressure[b - 1]
    return STANDARD.density * drop / ((tube.stations[b] - tube.stations[a]) * 1e-3)


def bend_loss(trial, upstream, recovered):
    """Loss of a bend over the velocity head, as the correlations have it: what a pipe with the bend loses over a
    straight one as long, up to a station, mm, where the stream has recovered. Friction past a bend is more than a
    straight pipe's, and that is the bend's. upstream : stations, mm, between which the straight pipe's line is fitted.
    """
    tube, solution = trial.solution.tube, trial.solution
    stations, total = tube.stations[1:-1], solution.total_pressure
    inside = (stations >= upstream[0]) & (stations <= upstream[1])
    slope, at_zero = np.polyfit(stations[inside], total[inside], 1)
    start, end = tube.stations[tube.first], tube.stations[tube.last]
    straight = slope * (recovered - end)
    lost = slope * start + at_zero - np.interp(recovered, stations, total) + straight
    return float(lost) * STANDARD.density / trial.lost.throat_head
