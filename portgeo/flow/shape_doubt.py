"""What a survey's own doubt leaves open in a peak speed.

A port's Survey and a peak's place come in; the peak's relative standard uncertainty goes out.
"""

from __future__ import annotations

import numpy as np

from portgeo.measuring.schedule import Survey


def relative_shape_u(survey: Survey, station: float, height: float | None) -> float:
    """Return the standard uncertainty that a port's shape leaves in a peak speed on its wall, over the speed.

    station : of the peak, the port's own. height : across the turn there, None for a peak that no turn makes.
    To first order (JCGM 100, 5.1.2): the mean speed goes as one over the area of the section, and at the
    inside of a turn speed over mean is that of a free vortex (any textbook), x / ln(1 + x) with x = height
    over the tightest radius of the short side. Area and radius are taken to be off by themselves. A short turn,
    or one in a section of round corners, answers to its radius less than a vortex does: the ± is then wide.
    """
    of_area = float(np.interp(station, survey.stations, survey.area_u / survey.area))
    side = survey.short_side
    if height is None or side is None:
        return of_area
    return float(np.hypot(of_area, vortex_slope(height / side.least_radius) * side.least_radius_u / side.least_radius))


def vortex_slope(x: float) -> float:
    """Return by how much of itself x / ln(1 + x) changes where x changes by so much of itself.

    From 0 in a straight duct to nearly 1 at a sharp edge.
    """
    return float(1.0 - x / ((1.0 + x) * np.log1p(x)))
