"""Uncertainty of a survey: what its figures are sure to, and the reading that is most to blame."""

from __future__ import annotations

from dataclasses import dataclass

from portgeo.plane import FloatArray
from portgeo.survey.sides import Side


@dataclass(frozen=True)
class Blame:
    """The single reading that moves a result most: row, the name of the reading, and its share.

    Shares are of the result's variance, first order. short_side : of its radius, None where there is none.
    """

    least_area: tuple[int, str, float]
    volume: tuple[int, str, float]
    short_side: tuple[int, str, float] | None


@dataclass(frozen=True)
class Uncertainty:
    """Standard uncertainties: area (n,), least area, volume; the sides with theirs; who is to blame."""

    area: FloatArray
    least_area: float
    volume: float
    short_side: Side | None
    long_side: Side | None
    blame: Blame | None
