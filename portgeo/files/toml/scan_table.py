"""The table of a job file that says how a mesh is read, as a pydantic model.

What a TOML reader made of the file comes in; frozen models with lengths in millimetres go out.
"""

from __future__ import annotations

from typing import Any, ClassVar

from pydantic import Field, ValidationInfo, field_validator

from portgeo.core.units import LengthUnit
from portgeo.files.toml.checked_table import Limits, Table, refuse

STEM_MM = (1.0, 20.0)
Point = tuple[float, float, float]


def point_of(value: Any) -> Any:
    """Return a point of the file as three numbers."""
    if value is None:
        return None
    numbers = isinstance(value, list) and all(isinstance(v, int | float) and not isinstance(v, bool) for v in value)
    if not numbers or len(value) != 3:
        raise refuse(f"{value!r} is not a point", "Write three numbers: [12.0, 0.0, -3.5]")
    return tuple(float(v) for v in value)


class Scan(Table):
    """What can be said of a mesh, as `portgeo measure` takes it."""

    lengths: ClassVar[Limits] = {"with_stem": STEM_MM}
    units: LengthUnit | None = None
    scale: float | None = Field(default=None, gt=0.0, lt=1000.0)
    shrink_percent: float | None = Field(default=None, ge=-10.0, le=10.0)
    scale_error_percent: float | None = Field(default=None, ge=0.0, le=10.0)
    entry: Point | None = None
    exit: Point | None = None
    up: Point | None = None
    with_stem: float | None = None

    @field_validator("entry", "exit", "up", mode="before")
    @classmethod
    def _point(cls, value: Any) -> Any:
        return point_of(value)

    @field_validator("shrink_percent")
    @classmethod
    def _one(cls, value: float | None, info: ValidationInfo) -> float | None:
        if value is not None and info.data.get("scale") is not None:
            raise refuse("scale and shrink_percent are both given", "Leave one of the two")
        return value

    @field_validator("up")
    @classmethod
    def _somewhere(cls, value: Point | None) -> Point | None:
        if value is not None and not any(value):
            raise refuse("up has no direction", "Write one such as [0, 0, 1]")
        return value
