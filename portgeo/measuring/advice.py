"""What would make a sheet's figures surer: the largest source of their doubt, and what to do about it.

Figures under one error at a time come in; notices in words go out, lengths left for the user's unit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portgeo.core.plane import FloatArray
from portgeo.core.section import Reading
from portgeo.core.units import Notice
from portgeo.measuring.uncertainty import Blame, Budget, Quantity

UNSURE: dict[Quantity, float] = {
    "volume": 0.03,
    "least_area": 0.03,
    "short_side": 0.15,
}  # of itself: a ± past it is told
WORDS: dict[Quantity, str] = {"volume": "volume", "least_area": "least area", "short_side": "short side"}
MEASURES = {
    "corner": "corner radius",
    "corner_roof": "roof corner",
    "corner_floor": "floor corner",
    "turn": "turn",
    "swing": "swing",
}
MOST = 0.5  # of the doubt: what makes more is most of it


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
    """Return for each quantity what makes most of its doubt and what to do about it."""
    told: dict[Quantity, Notice] = {}
    for quantity, shares in budget.items():
        variance = sum(share.u**2 for share in shares)
        if variance == 0.0:
            continue
        largest = max(shares, key=lambda share: share.u)
        amount = largest.u**2 / variance
        much = "most of it" if amount > MOST else f"the largest part of it ({amount:.0%})"
        if largest.source == "between_rows":
            told[quantity] = _of_gap(suspects, quantity, much)
        elif largest.source == "tool_zero":
            tools = " and ".join(sorted({r.tool for r in suspects.readings}))
            text = f"the zero of the {tools} is {much}: check it against a ring or a block before you read on"
            told[quantity] = Notice("advice", text)
        else:
            told[quantity] = _of_reading(suspects, quantity, largest.source == "headings", much)
    return told


def measure_name(name: str) -> str:
    """Return what a person calls a reading's measure."""
    return MEASURES.get(name, name)


def _of_gap(suspects: Suspects, quantity: Quantity, much: str) -> Notice:
    gap = int(np.argmax(suspects.by_gap[quantity]))
    at = {"a": float(suspects.stations[gap]), "b": float(suspects.stations[gap + 1])}
    text = f"what the port does between {{a}} and {{b}}, where nobody read, is {much}: one more row there helps most"
    return Notice("advice", text, at)


def _of_reading(suspects: Suspects, quantity: Quantity, angles: bool, much: str) -> Notice:
    moved = np.array(
        [
            by if (suspect.name in ("turn", "swing")) == angles else 0.0
            for suspect, by in zip(suspects.named, suspects.by_reading[quantity], strict=True)
        ]
    )
    worst = suspects.named[int(np.abs(moved).argmax())]
    at = {"at": float(suspects.stations[worst.row])}
    name = measure_name(worst.name)
    # The one reading may be most of its kind or one of many that share the doubt alike.
    lead = float(np.abs(moved).max() ** 2 / max(float((moved**2).sum()), 1e-300))
    if angles:
        degrees = np.degrees(worst.error)
        doubt = "a degree" if abs(degrees - 1.0) < 0.05 else f"{degrees:.2g} degrees"
        if lead > MOST:
            return Notice("advice", f"{doubt} of doubt in the {name} at {{at}} is {much}: measure that angle again", at)
        mend = "measure the angles again, first that at {at}, with a gauge if you can; more rows in the bend help too"
        text = f"{doubt} of doubt in each {name} read is {much}: {mend}"
        return Notice("advice", text, at)
    mend = "try the templates on each side of it" if "corner" in worst.name else "read it again, twice if you can"
    if worst.name == "station":
        mend = "lay it off again"
    if lead > MOST:
        return Notice("advice", f"the {name} at {{at}} is {much}: {mend}", at)
    return Notice("advice", f"the readings one by one are {much}, and first the {name} at {{at}}: {mend}", at)


def unsure(told: dict[Quantity, Notice], doubts: dict[Quantity, tuple[float, float]]) -> list[Notice]:
    """Return a notice for each figure whose ± is more than UNSURE of it. doubts : value and standard uncertainty."""
    found = []
    for quantity, (value, u) in doubts.items():
        share = 2.0 * u / max(value, 1e-300)
        if quantity in told and share > UNSURE[quantity]:
            why = told[quantity]
            text = f"{WORDS[quantity]}: sure to ± {share:.0%} only; {why.text}"
            found.append(Notice("unsure", text, why.lengths))
    return found
