"""A smooth port of the family as portgeo has it where it is told everything: for trials of what follows from a shape.

A SmoothPort comes in; the Port through many of its sections, each without an error, goes out.
"""

from __future__ import annotations

import numpy as np

from portgeo.core.port import Port, port_from_readings
from portgeo.core.section import Reading
from tests.sheets_family import SmoothPort

TRUE_UNKNOWNS = 15_000  # of the grid on which its air speed is solved


def exact_port(true: SmoothPort, count: int = 61) -> Port:
    """The port through sections of the true shape, at many stations and without any error."""
    stations = np.linspace(0.0, true.station[-1], count)
    height, width, corner, turn = (
        np.interp(stations, true.station, values) for values in (true.height, true.width, true.corner, true.heading)
    )
    return port_from_readings(
        tuple(
            Reading(
                k + 2, float(stations[k]), height=float(height[k]), width=float(width[k]), turn=float(turn[k]),
                corner_roof=float(corner[k]), corner_floor=float(corner[k]),
            )
            for k in range(count)
        )
    )  # fmt: skip
