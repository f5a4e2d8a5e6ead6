"""What a viscous solution begins with: the ideal flow through its own grid, or a solution on another grid.

A tube comes in; values inside its hexahedra go out.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from scipy.spatial import cKDTree

from portgeo.core.plane import FloatArray
from portgeo.flow.potential import elements_of, solve
from portgeo.viscous.tube import Tube


def ideal_velocity(tube: Tube, flow: float) -> FloatArray:
    """Return the velocities (c, 3), m/s, of the ideal flow of a flow, m3/s, in a tube's hexahedra."""
    elements = elements_of(tube.grid)
    values = solve(tube.grid).values.ravel()[elements.corners]
    # The potential is of unit flow, and lengths are mm: its gradient is in 1 / mm2.
    gradient = np.einsum("hi,hijq,hq->hj", values, elements.gradients, elements.part, optimize=True)
    return np.asarray(gradient / elements.volume[:, None] * flow * 1e6)


def carried_over(values: Mapping[str, FloatArray], there: FloatArray, here: FloatArray) -> dict[str, FloatArray]:
    """Return fields (c, ...) at hexahedra's middles here (c, 3), of the nearest there (d, 3)."""
    _, nearest = cKDTree(there).query(here)
    return {name: value[nearest] for name, value in values.items()}
