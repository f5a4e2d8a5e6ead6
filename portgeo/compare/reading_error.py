"""What the readings of two sheets leave uncertain in their comparison.

Two Ports come in, each lofted from readings or not; standard uncertainties of the removed volume and
of a depth go out. Rows that both sheets have alike are one reading and cancel.
"""

from __future__ import annotations

import numpy as np

from portgeo.port import Port
from portgeo.section import TOOLS, Reading


def readings_u(before: Port, after: Port) -> tuple[float, float]:
    """Return the standard uncertainties of the removed volume, mm3, and of a depth, mm.

    First order (JCGM 100, 5.1.2): an error of the height counts over the width and the reach of its
    row, half way to its neighbours; one of the width over the height. 0 where neither has readings.
    """
    own = [_unlike(before, after), _unlike(after, before)]
    variance, depth = 0.0, [0.0, 0.0]
    by_zero = dict.fromkeys(TOOLS, 0.0)  # what the zero of each tool does to the removed volume, mm3 per mm
    for side, port in enumerate((before, after)):
        if not own[side]:
            continue
        reach = np.gradient(np.array([reading.station for reading in port.readings]))
        reach[[0, -1]] /= 2.0
        for k in own[side]:
            reading = port.readings[k]
            height, width = _size(reading)
            variance += (reach[k] * reading.error) ** 2 * (height**2 + width**2)
            by_zero[reading.tool] += (-1.0, 1.0)[side] * reach[k] * (height + width)
            depth[side] = max(depth[side], reading.error)
    # One tool's zero moves both walls alike: in the difference only what the section grew by is left of it.
    variance += sum((by * TOOLS[tool][1]) ** 2 for tool, by in by_zero.items())
    return float(np.sqrt(variance)), float(np.hypot(depth[0], depth[1]))


def _unlike(port: Port, other: Port) -> list[int]:
    """Return which of a port's readings the other port does not have."""
    known = {_key(reading) for reading in other.readings}
    return [k for k, reading in enumerate(port.readings) if _key(reading) not in known]


def _key(reading: Reading) -> tuple[object, ...]:
    outline = None if reading.outline is None else reading.outline.tobytes()
    sizes = (reading.height, reading.width, reading.corner_roof, reading.corner_floor)
    return (reading.station, reading.shape, *sizes, reading.rise, reading.shift, outline)


def _size(reading: Reading) -> tuple[float, float]:
    if reading.outline is not None:
        width, height = np.ptp(reading.outline, axis=0)
        return float(height), float(width)
    return reading.height, reading.width
