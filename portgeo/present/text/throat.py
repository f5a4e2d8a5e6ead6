"""A throat's size against its valve's, and whether the one that is given is the one that was measured.

Sizes come in; words go out, and a Notice where two are not of one throat.
"""

from __future__ import annotations

from portgeo.core.notices import Notice

APART = 0.05  # of the diameter: *a choice, no source*; a slip or another state, not an error of reading


def of_valve_text(percent: float) -> str:
    """Return a throat's diameter in percent of its valve's, in words."""
    return f"{percent:.0f}% of the valve"


def throat_notice(throat: float, measured: float, *, marked: bool, counts: str) -> Notice | None:
    """Return what is to be said of a valve's throat and of a port's, diameters in mm; None for nothing.

    marked : whether a row is marked as the port's. counts : which of the two coefficients go by, in words.
    """
    if abs(measured / throat - 1.0) <= APART:
        return None
    return Notice(
        "throat_differs",
        case="marked" if marked else "unmarked",
        given=throat,
        measured=measured,
        off=measured / throat - 1.0,
        counts=counts,
    )
