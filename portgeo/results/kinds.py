"""Kinds of quantity: what a figure's key says of its unit, and how a number of that kind is told.

A key with its unit in its name comes in; unit, size and decimals in the user's unit go out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from portgeo.core.units import FOOT, MM_PER, Display, rounded

# What a key ends in, and the kind that it is of; the longer ones first.
_ENDINGS = {
    "_mm2_per_mm": "taper of area",
    "_mm_per_mm": "taper",
    "_mm2": "area",
    "_mm": "length",
    "_cc": "volume",
    "_m_s": "speed",
    "_cfm": "flow",
    "_percent": "percent",
    "_deg": "angle",
}


@dataclass(frozen=True)
class Kind:
    """How a kind of number is told: what its key ends in, its unit, its size in the core's, its decimals."""

    ending: str
    unit: str
    per: float = 1.0
    decimals: int = 0


_ALIKE = {
    "taper": Kind("_mm_per_mm", "", 1.0, 3),
    "volume": Kind("_cc", "cc", 1.0, 2),
    "flow": Kind("_cfm", "cfm", 1.0, 1),
    "percent": Kind("_percent", "%", 1.0, 1),
    "angle": Kind("_deg", "°", 1.0, 1),
    "ratio": Kind("", "", 1.0, 2),
    "mach": Kind("", "", 1.0, 3),
    "count": Kind("", "", 1.0, 0),
    "text": Kind("", ""),
}  # told alike whatever the unit of lengths


def kind_of(name: str, display: Display) -> Kind:
    """Return how a kind of number is told in the user's unit."""
    unit, inch = display.unit, display.unit == "in"
    if name == "length":
        return Kind(f"_{unit}", unit, MM_PER[unit], 3 if inch else 2)
    if name == "area":
        return Kind(f"_{unit}2", display.area_unit, MM_PER[unit] ** 2, 3 if inch else 1)
    if name == "taper of area":
        return Kind(f"_{unit}2_per_{unit}", f"{display.area_unit}/{unit}", MM_PER[unit], 3)
    if name == "taper" and inch:
        return Kind("_in_per_in", "", 1.0, 3)
    if name == "speed":
        return Kind("_ft_s", "ft/s", FOOT, 0) if inch else Kind("_m_s", "m/s", 1.0, 1)
    return _ALIKE[name]


def kind_of_key(key: str) -> str:
    """Return the kind of the figure under a key: what its unit says, a count where it has none."""
    return _ENDINGS.get(_ending(key), "count")


def stem(key: str) -> str:
    """Return a key without its unit."""
    return key.removesuffix(_ending(key))


def number_of(value: Any, kind: Kind) -> Any:
    """Return a value in the user's unit: a number, text, or None."""
    if value is None or isinstance(value, str):
        return value
    return float(value) / kind.per if math.isfinite(float(value)) else None


def bench_cell(key: str, value: float, display: Display) -> str:
    """Return a figure as the bench's table has it; of an uncertainty, twice: the ± that holds 19 times in 20."""
    kind = kind_of(kind_of_key(key), display)
    return rounded((2.0 if "_u_" in key else 1.0) * float(value) / kind.per, kind.decimals)


def _ending(key: str) -> str:
    return next((ending for ending in _ENDINGS if key.endswith(ending)), "")
