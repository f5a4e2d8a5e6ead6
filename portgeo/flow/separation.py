"""Whether the air can follow a wall along which it slows: Stratford's turbulent criterion.

Speeds along a wall line come in; the margin past the peak goes out, and where it is least.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portgeo.core.plane import FloatArray

RISING, EASING = 0.39, 0.35  # k where the pressure curve bends up, and where it bends down
HIGHEST_CP = 4.0 / 7.0  # the criterion's inner layer holds up to here; the rest of the rise is beyond it
LEAST_RISE = 1e-3  # of Cp: no rise at all


@dataclass(frozen=True)
class Slowing:
    """The fall in speed past a peak.

    peak, worst : places in the line, of the peak and of the least margin; from_here : where the margin
    is first used up, or `worst`. margin : 1 where the speed
    does not fall, 0 where the turbulent layer is about to part, negative past that. recovered : how
    much of the peak's dynamic pressure is asked back, the greatest Cp. parts : margin below 0.
    """

    peak: int
    worst: int
    from_here: int
    margin: float
    recovered: float
    parts: bool


def slowing(along: FloatArray, speed: FloatArray, peak: int, viscosity: float, before: float = 0.0) -> Slowing:
    """Return the fall in speed past a peak against Stratford's criterion.

    along (n,) distances in m from where the layer begins, speed (n,) m/s along a wall line, viscosity kinematic.
    before : of a layer that begins farther ahead, the integral of speed cubed over the wall it has come along already.
    The layer parts where Cp sqrt(x dCp/dx) reaches k (1e-6 Re)^0.1, with Cp = 1 - (u/um)^2, Re = um x / viscosity, and
    x counted so that the layer ahead of the peak has the thickness it would have at constant speed, int (u/um)^3 dx
    (B. S. Stratford, J. Fluid Mech. 5, 1959; from memory, checked against the same paper's flow of zero wall friction).
    """
    top = float(speed[peak])
    ahead = np.trapezoid((speed[: peak + 1] / top) ** 3, along[: peak + 1]) + before / top**3
    x = np.maximum(along[peak:] - along[peak] + ahead, 1e-12)
    cp = 1.0 - (speed[peak:] / top) ** 2
    recovered = float(cp.max())
    if len(cp) < 3 or recovered < LEAST_RISE:
        return Slowing(peak, peak, peak, 1.0, max(recovered, 0.0), False)
    bend = np.gradient(np.gradient(cp, x), x)
    limit = np.where(bend < 0.0, EASING, RISING) * (1e-6 * top * x / viscosity) ** 0.1
    # Cp sqrt(x dCp/dx) with Cp^2 dCp = d(Cp^3) / 3, which has no steep start to take differences of.
    load = np.sqrt(np.maximum(x * np.gradient(np.maximum(cp, 0.0) ** 3, x), 0.0) / 3.0) / limit
    load = np.where(np.maximum.accumulate(cp) <= HIGHEST_CP, load, 0.0)
    worst = int(np.argmax(load))
    margin = 1.0 - float(load[worst])
    first = int(np.argmax(load >= 1.0)) if margin < 0.0 else worst
    return Slowing(peak, peak + worst, peak + first, margin, recovered, margin < 0.0)
