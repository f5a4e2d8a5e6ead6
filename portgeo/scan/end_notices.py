"""End notices: what a person is told of how a port's opening was found: cut, trimmed, out of flat, askew.

An Opening comes in; notices go out.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from portgeo.core.units import Notice
from portgeo.scan.openings import Opening

TILTED = np.radians(3.0)  # an opening farther out of square is told of
NOT_FLAT = 0.1  # mm that an end is out of flat and is told of: four thousandths
NOISE_BAND = 4.11  # noises: between the lowest and the highest fiftieth of a normal distribution
SHORTER = 0.1  # mm off a ragged end that is told of

EndName = Literal["entry", "exit"]


def opening_notices(opening: Opening, end: EndName, noise: float) -> list[Notice]:
    """Return what is told of an opening: `end` says which it is, noise is the mesh's."""
    found = []
    if opening.how == "step":
        text = f"the {end} was cut at the flange face: what is spilled over it was left out"
        found.append(Notice("spill_cut", text))
    elif opening.how == "corner":
        text = f"the {end} was cut square where the tube opens at once (a seat, a chamber)"
        found.append(Notice("seat_cut", text))
    elif opening.how == "trimmed" and opening.lost > SHORTER:
        text = f"the {end} is not flat; it was cut square at the last whole section, {{lost}} in from its end"
        found.append(Notice("end_trimmed", text, lengths={"lost": opening.lost}))
    out_of_flat = float(np.sqrt(max(opening.band**2 - (NOISE_BAND * noise) ** 2, 0.0)))
    if out_of_flat > NOT_FLAT:
        text = (
            f"the {end} is out of flat by {{band}}: its area was read {{inset}} in, where the tube is whole, and the "
            "tube carried on to the plane in which its wall ends"
        )
        found.append(Notice("end_not_flat", text, lengths={"band": out_of_flat, "inset": opening.run.inset}))
    if opening.square:
        tilt, doubt = opening.run.tilt, opening.run.tilt_u
        if tilt > TILTED + 2.0 * doubt:
            text = (
                f"the {end} is {np.degrees(tilt):.0f}\N{DEGREE SIGN} (\N{PLUS-MINUS SIGN} "
                f"{max(np.degrees(2.0 * doubt), 1.0):.0f}\N{DEGREE SIGN}) out of square to the tube: its area is the "
                "slanted one"
            )
            found.append(Notice("opening_oblique", text))
    return found
