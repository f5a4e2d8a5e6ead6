"""One runner of a set against the mean of the others: how far off it is, and what the readings can tell of that.

Surveys of a set come in; differences with their standard uncertainties go out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from portgeo.core.plane import FloatArray
from portgeo.measuring.schedule import Survey
from portgeo.measuring.split import SHARED_SOURCES
from portgeo.measuring.uncertainty import Quantity


@dataclass(frozen=True)
class Against:
    """A figure of each runner (k,) less the mean of the others', and its standard uncertainty (nan: unknown)."""

    off: FloatArray
    off_u: FloatArray


def others_of(count: int, odd: int | None = None) -> FloatArray:
    """Return the shares (k, k) by which the others make the mean that each runner is set against.

    odd : the one that stands out, which is left out of the mean, or all others would seem off the other way.
    """
    shares = 1.0 - np.eye(count)
    if odd is not None and count > 2:
        shares[:, odd] = 0.0
    return np.asarray(shares / shares.sum(axis=1, keepdims=True), dtype=np.float64)


def of_figure(values: FloatArray, own: FloatArray, others: FloatArray) -> Against:
    """Return how far each of values (k,) is off the others. own (k,) : what each is unsure by, alone."""
    return Against(values - others @ values, np.sqrt(own**2 + others**2 @ own**2))


def of_quantity(surveys: Sequence[Survey], quantity: Quantity, others: FloatArray) -> Against:
    """Return how far a figure of each runner is off the others'.

    What one tool or scale is off by is in all of them, and only what of it differs is in the difference.
    """
    values = np.array([survey.volume if quantity == "volume" else survey.least_area for survey in surveys])
    alone = of_figure(values, np.array([own_u(survey, quantity) for survey in surveys]), others)
    squares = alone.off_u**2
    for source in SHARED_SOURCES:
        shares = np.array([_share(survey, quantity, source) for survey in surveys])
        squares += (shares - others @ shares) ** 2
    return Against(alone.off, np.sqrt(squares))


def own_areas_u(surveys: Sequence[Survey], depths: FloatArray) -> FloatArray:
    """Return the standard uncertainty (k, n) of each runner's areas at depths (n,) from its entry that it has alone.

    The share of a tool in it is taken to be what it is at the minimum area.
    """
    found = []
    for survey in surveys:
        whole = survey.least_area_u
        alone = own_u(survey, "least_area") / whole if whole > 0.0 else 1.0
        found.append(alone * np.interp(survey.stations[0] + depths, survey.stations, survey.area_u))
    return np.array(found)


def own_u(survey: Survey, quantity: Quantity) -> float:
    """Return the standard uncertainty of a figure that one runner has alone; nan where none was worked out."""
    if quantity not in survey.budget:
        return float("nan")
    return float(np.linalg.norm([s.u for s in survey.budget[quantity] if s.source not in SHARED_SOURCES]))


def _share(survey: Survey, quantity: Quantity, source: str) -> float:
    return sum(share.u for share in survey.budget.get(quantity, ()) if share.source == source)
