"""A gasket's opening from what is stamped on its box: height, width and the radius of its corners.

Lengths as they are typed come in; an outline as CSV, as the readers of drawings take it, goes out.
"""

from __future__ import annotations

import numpy as np

from portgeo.core.errors import InputError
from portgeo.core.units import MM_PER, LengthUnit
from portgeo.files.sheets.numbers import read_number

STEPS = 24  # of a corner's quarter: its chords lie within a thousandth of its radius


def rectangle_csv(height: str, width: str, corner: str, unit: LengthUnit) -> bytes:
    """Return a rounded rectangle about its own middle. Raises InputError where the three do not make one."""
    sizes = []
    for name, text in (("height", height), ("width", width), ("corner", corner or "0")):
        try:
            sizes.append(read_number(text, unit=unit, decimal_comma=True))
        except InputError as refusal:
            raise InputError(f"the {name}: {refusal.what}", mend=refusal.mend) from None
    high, wide, radius = sizes
    if not (min(high, wide) * MM_PER[unit] >= 1.0 and max(high, wide) * MM_PER[unit] <= 1000.0):
        raise InputError("no gasket has such an opening", mend=f"Check the sizes: they are in {unit}")
    if not 0.0 <= radius <= min(high, wide) / 2.0:
        raise InputError("the corner is more than half the opening", mend="Check the radius")
    turn = np.linspace(0.0, np.pi / 2.0, STEPS + 1) if radius > 0.0 else np.zeros(1)
    points = []
    for quarter, (x, y) in enumerate(((1, 1), (-1, 1), (-1, -1), (1, -1))):
        at = np.array([x * (wide / 2.0 - radius), y * (high / 2.0 - radius)])
        angle = turn + quarter * np.pi / 2.0
        points.append(at + radius * np.column_stack([np.cos(angle), np.sin(angle)]))
    lines = [f"x_{unit},y_{unit}", *(f"{x:.5f},{y:.5f}" for x, y in np.concatenate(points))]
    return ("\n".join(lines) + "\n").encode()
