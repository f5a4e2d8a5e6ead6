"""One state of a port in a few numbers: length, volume, least area, short side.

A Port comes in; a State goes out: what of its survey is set side by side with another's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portgeo.core.plane import FloatArray
from portgeo.core.port import Port
from portgeo.measuring.schedule import Survey, survey
from portgeo.measuring.sheet_change import ChangeUncertainty, change_u
from portgeo.measuring.sides import Bend, Side


@dataclass(frozen=True)
class State:
    """A port's length, volume, areas (n,) at stations (n,), least area, bend (None: none); mm."""

    length: float
    volume: float
    stations: FloatArray
    areas: FloatArray
    least_area: float
    least_station: float
    bend: Bend | None

    @property
    def short_side(self) -> Side | None:
        """The inside of the bend."""
        return None if self.bend is None else self.bend.short

    @property
    def taper(self) -> float:
        """Mean change of area along the port, mm2 per mm, of the straight line that fits it best."""
        return float(np.polyfit(self.stations, self.areas, 1)[0])


def states_of(before: Port, after: Port) -> tuple[State, State, ChangeUncertainty | None]:
    """Return the states of two ports, and of two sheets how sure what changed between them is."""
    one, other = (survey(port, readings_tried=False) for port in (before, after))
    return _state(one), _state(other), change_u(one, other)


def _state(found: Survey) -> State:
    return State(
        length=found.length,
        volume=found.volume,
        stations=found.fine_stations,
        areas=found.fine_area,
        least_area=found.least_area,
        least_station=found.least_station,
        bend=found.bend,
    )
