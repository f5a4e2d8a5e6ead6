"""How far a figure of several grids may be off: the grid convergence index.

Values on grids and the sizes of their cells come in; one standard uncertainty goes out.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

# I. B. Celik and others, J. Fluids Eng. 130 (2008), 078001, from memory; of two grids P. J. Roache's factor.
SAFETY, SAFETY_OF_TWO = 1.25, 3.0
FORMAL = 2.0  # order of the solver's schemes: no better one is believed
LEAST_ORDER = 1.0  # a worse one, or values that swing, tell of grids too coarse to have an order: their spread counts
STEPS = 50  # of the fixed point for the order
BAND = 2.0  # the index is a band that holds 19 times in 20


def order_of(values: Sequence[float], cells: Sequence[float]) -> float | None:
    """Return the order with which three values settle, finest last; None where they have none.

    cells : sizes of the cells on those grids.
    """
    third, second, first = (float(value) for value in values[-3:])
    coarse, middle, fine = cells[-3:]
    near, far = second - first, third - second
    if near == 0.0 or far == 0.0 or near * far < 0.0:
        return None
    order = FORMAL
    for _ in range(STEPS):
        shift = np.log(((middle / fine) ** order - 1.0) / ((coarse / middle) ** order - 1.0))
        order = abs(np.log(abs(far / near)) + shift) / np.log(middle / fine)
        if not 0.05 < order < 20.0:
            return None
    return float(order)


def grid_u(values: Sequence[float], cells: Sequence[float]) -> float | None:
    """Return one standard uncertainty of the value on the finest grid, the last; None of one grid alone."""
    if len(values) < 2:
        return None
    ratio, change = cells[-2] / cells[-1], abs(values[-1] - values[-2])
    if len(values) == 2:
        return float(SAFETY_OF_TWO * change / (ratio**LEAST_ORDER - 1.0) / BAND)
    order = order_of(values, cells)
    index = SAFETY * change / (ratio ** float(np.clip(order or LEAST_ORDER, LEAST_ORDER, FORMAL)) - 1.0)
    if order is None or order < LEAST_ORDER:
        index = max(index, max(values[-3:]) - min(values[-3:]))
    return float(index / BAND)


def model_u(value: float, other: float) -> float:
    """Return one standard uncertainty that two turbulence models leave: the standard deviation of their two answers."""
    return float(abs(value - other) / np.sqrt(2.0))
