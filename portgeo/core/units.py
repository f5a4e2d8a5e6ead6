"""The only place that knows an inch. Inside the package lengths are millimetres.

Comes in: numbers and unit names from the edge. Goes out: millimetres, or text for a person.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, TypeVar

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

LengthUnit = Literal["mm", "in"]
Numbers = TypeVar("Numbers", float, "NDArray[np.float64]")

MM_PER_INCH = 25.4  # exact by definition (NIST SP 811)
MM_PER: dict[str, float] = {"mm": 1.0, "in": MM_PER_INCH, "cm": 10.0, "m": 1000.0}

FOOT = 12.0 * MM_PER_INCH / 1000.0  # m, exact
M3_S_PER: dict[str, float] = {"cfm": FOOT**3 / 60.0, "m3_h": 1.0 / 3600.0, "l_s": 1e-3}
WATER_MM = 9.80665  # Pa in a conventional millimetre of water (NIST SP 811)
SAME_DIGITS = 4  # past those shown: what is alike to so many is shown alike
PA_PER: dict[str, float] = {"in_h2o": WATER_MM * MM_PER_INCH, "mm_h2o": WATER_MM, "kpa": 1000.0, "pa": 1.0}


def rounded(value: float, decimals: int) -> str:
    """Return a number with so many decimals, the same for two values that differ by an arithmetic's last digits.

    1.5375 in and 39.0525 mm are one reading, and what a result keeps of it has nine digits. Nothing has no sign.
    """
    text = f"{round(value, decimals + SAME_DIGITS):.{decimals}f}"
    return text if text.strip("-0.") else text.removeprefix("-")


@dataclass(frozen=True)
class Display:
    """How lengths, areas and volumes are shown: the user's unit and its usual decimals.

    Volumes are cubic centimetres in both systems, as a burette reads. asks : what a notice names that the user may
    give, the options of a command or the keys of a job's file.
    """

    unit: LengthUnit
    asks: Literal["option", "key"] = "option"

    def length(self, mm: float, *, label: bool = True) -> str:
        """Return a length: inches to three decimals or millimeters to two."""
        value = rounded(mm / MM_PER_INCH, 3) if self.unit == "in" else rounded(mm, 2)
        return f"{value} {self.unit}" if label else value

    def area(self, mm2: float, *, label: bool = True) -> str:
        """Return an area: square inches to three decimals or square millimeters to one."""
        value = rounded(mm2 / MM_PER_INCH**2, 3) if self.unit == "in" else rounded(mm2, 1)
        return f"{value} {self.area_unit}" if label else value

    def volume(self, mm3: float) -> str:
        """Return a volume in cubic centimetres to two decimals."""
        return f"{rounded(mm3 / 1000.0, 2)} cc"

    def speed(self, m_s: float, *, label: bool = True) -> str:
        """Return a speed in m/s, or in ft/s where the unit is the inch."""
        value, unit = (rounded(m_s / FOOT, 0), "ft/s") if self.unit == "in" else (rounded(m_s, 1), "m/s")
        return f"{value} {unit}" if label else value

    @property
    def area_unit(self) -> str:
        """Name of the area unit."""
        return "sq in" if self.unit == "in" else "mm²"

    def of_length(self, mm: Numbers) -> Numbers:
        """Return the plain numbers of lengths, for charts and tables."""
        return mm / MM_PER[self.unit]

    def of_area(self, mm2: Numbers) -> Numbers:
        """Return the plain numbers of areas, for charts and tables."""
        return mm2 / MM_PER[self.unit] ** 2


def clock_text(hours: float) -> str:
    """Return a clock position as a person says it, to the half hour: 6 o'clock, 1:30 o'clock."""
    half = round(hours * 2.0) % 24
    return f"{half // 2 or 12}{':30' if half % 2 else ''} o'clock"


MILLIMETRES = Display("mm")  # where nobody has said how lengths are to be shown
