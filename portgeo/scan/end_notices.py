"""End notices: what a person is told of how a port's opening was found: cut, trimmed, out of flat, askew.

An Opening comes in; notices go out.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from portgeo.core.notices import Notice
from portgeo.scan.openings import Opening

TILTED = np.radians(3.0)  # an opening farther out of square is told of
LEAST_DOUBT = np.radians(1.0)  # of its angle: what a finger or a square shows
NOT_FLAT = 0.1  # mm that an end is out of flat and is told of: four thousandths
NOISE_BAND = 4.11  # noises: between the lowest and the highest fiftieth of a normal distribution
SHORTER = 0.1  # mm off a ragged end that is told of

EndName = Literal["entry", "exit"]


def opening_notices(opening: Opening, end: EndName, noise: float) -> list[Notice]:
    """Return what is told of an opening: `end` says which it is, noise is the mesh's."""
    found = []
    if opening.how == "step":
        found.append(Notice("spill_cut", end=end))
    elif opening.how == "corner":
        found.append(Notice("seat_cut", end=end))
    elif opening.how == "trimmed" and opening.lost > SHORTER:
        found.append(Notice("end_trimmed", end=end, lost=opening.lost))
    out_of_flat = float(np.sqrt(max(opening.band**2 - (NOISE_BAND * noise) ** 2, 0.0)))
    if out_of_flat > NOT_FLAT:
        found.append(Notice("end_not_flat", end=end, band=out_of_flat, inset=opening.run.inset))
    if opening.square and opening.how != "split":
        tilt, doubt = opening.run.tilt, opening.run.tilt_u
        if tilt > TILTED + 2.0 * doubt:
            found.append(Notice("opening_oblique", end=end, tilt=tilt, doubt=max(2.0 * doubt, LEAST_DOUBT)))
    return found
