"""What would make a sheet's figures surer: the largest source of their doubt, and what to do about it.

Figures under one error at a time come in; notices go out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray
from portgeo.core.section import Reading
from portgeo.measuring.uncertainty import Blame, Budget, Quantity

UNSURE: dict[Quantity, float] = {
    "volume": 0.03,
    "least_area": 0.03,
    "short_side": 0.15,
}  # of itself: a ± past it is told
WORDS: dict[Quantity, str] = {"volume": "volume", "least_area": "minimum area", "short_side": "short side"}
MEASURES = {
    "corner": "corner radius",
    "corner_roof": "roof corner",
    "corner_floor": "floor corner",
    "turn": "turn",
    "swing": "swing",
}
MOST = 0.5  # of what one source makes of the doubt: a reading that makes more is named alone


@dataclass(frozen=True)
class Suspect:
    """One reading: its row among the readings, the name of its measure, its standard uncertainty."""

    row: int
    name: str
    error: float


@dataclass(frozen=True)
class Suspects:
    """What each reading, and each gap between two rows, does to the figures.

    by_reading, by_gap : of each quantity, what one reading's error (n,) and one gap's shape (rows - 1,) move it by.
    """

    readings: tuple[Reading, ...]
    stations: FloatArray
    named: tuple[Suspect, ...]
    by_reading: dict[Quantity, FloatArray]
    by_gap: dict[Quantity, FloatArray]

    def blame(self) -> Blame:
        """Return the reading that moves each figure most, and its share of the readings' variance."""

        def worst(quantity: Quantity) -> tuple[int, str, float] | None:
            squares = self.by_reading.get(quantity, np.zeros(0)) ** 2
            if not squares.any():
                return None
            k = int(squares.argmax())
            return self.readings[self.named[k].row].row, self.named[k].name, float(squares[k] / squares.sum())

        none = (self.readings[0].row, "height", 0.0)
        return Blame(worst("least_area") or none, worst("volume") or none, worst("short_side"))


def advice(suspects: Suspects, budget: dict[Quantity, Budget]) -> dict[Quantity, Notice]:
    """Return for each quantity what to do about its doubt, and what share of it (of the variance) that is about."""
    notices: dict[Quantity, Notice] = {}
    for quantity, shares in budget.items():
        variance = sum(share.u**2 for share in shares)
        if variance == 0.0:
            continue
        largest = max(shares, key=lambda share: share.u)
        share = largest.u**2 / variance
        if largest.source == "between_rows":
            notices[quantity] = _of_gap(suspects, quantity, share)
        elif largest.source == "tool_zero":
            tools = sorted({r.tool for r in suspects.readings})
            if any(r.zero_error is not None for r in suspects.readings):
                notices[quantity] = Notice("advice", case="shared", share=share)
            else:
                notices[quantity] = Notice("advice", case="zero", tools=tools, share=share)
        else:
            notices[quantity] = _of_reading(suspects, quantity, largest.source == "headings", share)
    return notices


def measure_name(name: str) -> str:
    """Return what a person calls a reading's measure."""
    return MEASURES.get(name, name)


def _of_gap(suspects: Suspects, quantity: Quantity, share: float) -> Notice:
    squares = suspects.by_gap[quantity] ** 2
    gap = int(np.argmax(squares))
    start, end = suspects.stations[gap : gap + 2]
    return Notice("advice", case="gap", start=start, end=end, share=share * squares[gap] / squares.sum())


def _of_reading(suspects: Suspects, quantity: Quantity, angles: bool, share: float) -> Notice:
    moved = np.array(
        [
            by if (suspect.name in ("turn", "swing")) == angles else 0.0
            for suspect, by in zip(suspects.named, suspects.by_reading[quantity], strict=True)
        ]
    )
    worst = suspects.named[int(np.abs(moved).argmax())]
    at, name = suspects.stations[worst.row], measure_name(worst.name)
    # The one reading may be most of its kind or one of many that share the doubt alike.
    lead = float(np.abs(moved).max() ** 2 / max(float((moved**2).sum()), 1e-300))
    alone = lead > MOST
    share *= lead if alone else 1.0
    if suspects.readings[worst.row].points is not None and (angles or name in ("height", "station")):
        return Notice("advice", case="points", station=at, share=share)
    if angles:
        return Notice(
            "advice",
            case="angle" if alone else "angles",
            measure=name,
            station=at,
            error=worst.error,
            share=share,
        )
    if not alone:
        return Notice("advice", case="readings", measure=name, station=at, share=share)
    case = "corner" if "corner" in worst.name else "station" if worst.name == "station" else "reading"
    return Notice("advice", case=case, measure=name, station=at, share=share)


def unsure(advice_of: dict[Quantity, Notice], doubts: dict[Quantity, tuple[float, float]]) -> list[Notice]:
    """Return a notice for each figure whose ± is more than UNSURE of it. doubts : value and standard uncertainty."""
    notices = []
    for quantity, (value, u) in doubts.items():
        share = 2.0 * u / max(value, 1e-300)
        if quantity in advice_of and share > UNSURE[quantity]:
            notices.append(Notice("unsure", quantity=WORDS[quantity], share=share, advice=advice_of[quantity]))
    return notices
