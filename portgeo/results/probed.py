"""The result of a probe's readings beside the ideal flow: every figure of it, declared once.

A Probed with its air comes in; a ProbedAir, which is the `probe` of `airspeed`'s JSON, goes out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from portgeo.core.plane import FloatArray
from portgeo.core.units import M3_S_PER, Display
from portgeo.flow.probe import Probed
from portgeo.results.figures import Result, Table, figure, inside


@dataclass(frozen=True)
class ProbePlaces(Table):
    """The readings, place by place. A computed speed is of the ideal flow at that place, off the wall."""

    station_mm: FloatArray = figure(lambda p: _each(p, "station"))
    clock: FloatArray = figure(lambda p: _each(p, "clock"))
    off_wall_mm: FloatArray = figure(lambda p: _each(p, "off_wall"))
    flow_cfm: FloatArray = figure(lambda p: p.flow / M3_S_PER["cfm"])
    measured_m_s: FloatArray = figure(lambda p: p.measured)
    measured_u_m_s: FloatArray = figure(lambda p: p.measured_u)
    computed_m_s: FloatArray = figure(lambda p: p.computed)
    computed_u_m_s: FloatArray = figure(lambda p: p.computed_u)
    ratio: FloatArray = figure(lambda p: p.ratio)
    ratio_u: FloatArray = figure(lambda p: p.ratio_u)
    in_layer: tuple[bool, ...] = figure(lambda p: tuple(bool(b) for b in p.in_layer))


@dataclass(frozen=True)
class ProbedAir(Result):
    """A pitot probe's readings beside the ideal flow.

    `before` and `past` are mean ratios, measured over computed, of readings in the stream up to the fastest place of
    the turn and past it, `lowest_past_ratio` the least one there; None where there are none. `turn_station_mm` is
    that place.
    """

    computed: Probed = inside(lambda p, *_: p)
    display: Display = inside(lambda p, display, source: display)
    source: Mapping[str, Any] = figure(lambda p, display, source: source)
    turn_station_mm: float | None = figure(lambda p, *_: p.turn)
    before_ratio: float | None = figure(lambda p, *_: _known(p.mean_ratio(past=False)))
    past_ratio: float | None = figure(lambda p, *_: _known(p.mean_ratio(past=True)))
    lowest_past_ratio: float | None = figure(lambda p, *_: None if p.lowest is None else p.ratio[p.lowest])
    fastest_measured_m_s: float = figure(lambda p, *_: float(p.measured.max()))
    fastest_measured_station_mm: float = figure(lambda p, *_: p.readings[int(np.argmax(p.measured))].station)
    places: ProbePlaces = figure(lambda p, *_: ProbePlaces.of(p))


def _each(probed: Probed, name: str) -> FloatArray:
    return np.array([getattr(reading, name) for reading in probed.readings])


def _known(value: float) -> float | None:
    return None if np.isnan(value) else value
