"""Uncertainty of a survey: what its figures are sure to, and the reading that is most to blame."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray
from portgeo.measuring.sides import Bend

Source = Literal["readings", "tool_zero", "headings", "between_rows", "scan_noise", "scale"]
Quantity = Literal["volume", "least_area", "short_side"]


@dataclass(frozen=True)
class Share:
    """What one source adds to a quantity: its standard uncertainty, in the quantity's own unit (mm3, mm2 or mm)."""

    source: Source
    u: float


Budget = tuple[Share, ...]


def total(budget: Budget) -> float:
    """Return the standard uncertainty that sources independent of one another make together (JCGM 100, 5.1.2)."""
    return float(np.sqrt(sum(share.u**2 for share in budget)))


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
    """Standard uncertainties: area (n,), least area, volume; the bends with theirs; who is to blame.

    budget : of each quantity, what each source adds to it; the total is the quantity's uncertainty. advice : what
    makes most of each, and what to do about it.
    """

    area: FloatArray
    least_area: float
    volume: float
    bends: tuple[Bend, ...]
    blame: Blame | None
    budget: dict[Quantity, Budget] = field(default_factory=dict)
    advice: dict[Quantity, Notice] = field(default_factory=dict)
