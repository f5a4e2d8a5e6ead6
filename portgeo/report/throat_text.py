"""Whether the throat that is given of the valve is the one that the port was measured to have.

Two sizes come in; a Notice goes out where they are not of one throat.
"""

from __future__ import annotations

import numpy as np

from portgeo.units import Notice

APART = 0.05  # of the diameter: *a choice, no source*; a slip or another state, not an error of reading


def throat_notice(throat: float, area: float) -> Notice | None:
    """Return what is to be said of a valve's throat, mm, and a port's area there, mm2; None for nothing."""
    measured = float(np.sqrt(4.0 * area / np.pi))
    if abs(measured / throat - 1.0) <= APART:
        return None
    return Notice(
        "throat_differs",
        "the valve's throat is given as {given}, and the port's is {measured} (a circle of its area), "
        f"{abs(measured / throat - 1.0):.0%} {'more' if measured > throat else 'less'}: one of the two is not of this "
        "port, and what is worked out from the valve hangs on it",
        lengths={"given": throat, "measured": measured},
    )
