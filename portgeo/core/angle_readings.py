"""What a person read of an angle along a port, and how far each reading may be off.

Readings come in; what they see of a curve, and their errors in common terms, go out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from portgeo.core.plane import FloatArray

ANGLES = ("turn", "swing")
LEAST_ERROR = float(np.radians(1e-3))  # of a heading that is said to be exact


@dataclass(frozen=True)
class AngleReadings:
    """What was read of an angle along a port: each reading is a mean of it over some stretch, or the angle at a row.

    stations (n,) : of the rows. angles (m,) : as read, radians; the first at the entry. places (q,), weights (m, q) :
    each reading is so much of the angle at each of these stations. effects (m, h) : what one standard uncertainty of
    each independent error makes of every reading. of_row (h,) : the row whose error it is. unit : what counts as a
    radian, of what is read in another unit.
    """

    stations: FloatArray
    angles: FloatArray
    places: FloatArray
    weights: FloatArray
    effects: FloatArray
    of_row: np.ndarray
    unit: float = 1.0

    @classmethod
    def at_rows(cls, stations: FloatArray, angles: FloatArray, errors: FloatArray, unit: float = 1.0) -> AngleReadings:
        """Return what was read at the rows themselves (n,), each with an error of its own."""
        each = np.eye(len(stations))
        effects = np.diag(np.maximum(errors, LEAST_ERROR * unit))
        return cls(stations, angles, stations, each, effects, np.arange(len(stations)), unit)

    @property
    def of_rows(self) -> bool:
        """Whether each row has one reading, and no reading is of anything else."""
        return len(self.angles) == len(self.stations)

    @cached_property
    def covariance(self) -> FloatArray:
        """Of the readings (m, m)."""
        return self.effects @ self.effects.T

    @cached_property
    def whitener(self) -> FloatArray:
        """What makes of the readings as many (m, m) that are independent, with errors of size one."""
        return np.linalg.inv(np.linalg.cholesky(self.covariance))

    @cached_property
    def shift(self) -> FloatArray:
        """How far the port has turned since the entry (m,)."""
        return self.angles - self.angles[0]

    def read_of(self, of_places: FloatArray) -> FloatArray:
        """Return what the readings (..., m, k) see of functions (..., q, k)."""
        return np.asarray(self.weights @ of_places)

    def covaried(self, covariance: Callable[[FloatArray, FloatArray], FloatArray]) -> FloatArray:
        """Return the covariance (m, m) of what the readings see of a curve, but for their own errors."""
        return np.asarray(self.weights @ covariance(self.places, self.places) @ self.weights.T)
