"""What every table of a job file is held to: no key unknown, no text taken for a number, lengths in their own unit.

A table as a TOML reader made it comes in, with the file's unit as context; its keys with lengths in millimetres go
out, or errors with their own words.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from pydantic import BaseModel, ConfigDict, ValidationInfo, field_validator, model_validator
from pydantic_core import PydanticCustomError

from portgeo.core.errors import InputError
from portgeo.core.units import MM_PER, LengthUnit
from portgeo.files.toml.tables import number_of, shown

Limits = Mapping[str, tuple[float, float]]  # of lengths by their keys: least and most, mm


def refuse(what: str, hint: str, key: str | None = None) -> PydanticCustomError:
    """Return an error with its own words. key : where it is, in the table that is being checked."""
    # Words of the user's own must not be read as fields of pydantic's template.
    return PydanticCustomError("refused", "{what}", {"what": what, "hint": hint, "key": key})


@dataclass(frozen=True)
class Length:
    """A length as the file has it: under which name, in which unit (None: the file does not say), its limits, mm."""

    name: str
    value: object
    unit: LengthUnit | None
    limits: tuple[float, float]


@dataclass(frozen=True)
class Twice:
    """A key that is given under two names. name : the second."""

    key: str
    name: str


class Table(BaseModel):
    """A table: no key is unknown, no text is taken for a number, lengths may name their own unit.

    Keys are checked one by one, also those that are not given, so that each slip is told; a key that hangs on others
    looks for them among those that were found good before it.
    """

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False, validate_default=True)
    lengths: ClassVar[Limits] = {}

    @model_validator(mode="before")
    @classmethod
    def _lengths_by_key(cls, data: Any, info: ValidationInfo) -> Any:
        """Return the table with each of its lengths, `key`, `key_in` or `key_mm`, under `key`."""
        if not isinstance(data, dict) or not cls.lengths:
            return data
        unit: LengthUnit | None = (info.context or {}).get("unit", "mm")
        found = dict(data)
        for key, limits in cls.lengths.items():
            units: dict[str, LengthUnit | None] = {key: unit, f"{key}_in": "in", f"{key}_mm": "mm"}
            given = [(name, found.pop(name)) for name in units if name in found]
            if len(given) > 1:
                found[key] = Twice(key, given[1][0])
            for name, value in given[:1] if len(given) == 1 else ():
                found[key] = Length(name, value, units[name], limits)
        return found

    @field_validator("*", mode="before")
    @classmethod
    def _in_mm(cls, value: Any) -> Any:
        """Return a length in mm; refuse a whole number of more digits than a float holds."""
        if isinstance(value, Twice):
            raise refuse(f"{value.key} is given twice", "Leave one of the two", value.name)
        if isinstance(value, Length):
            values = value.value if isinstance(value.value, list) else [value.value]
            scaled = [_scaled(each, value) for each in values]
            return tuple(scaled) if isinstance(value.value, list) else scaled[0]
        for each in value if isinstance(value, list) else [value]:
            if isinstance(each, int):
                _number(each, "", None)
        return value

    @field_validator("*", mode="after")
    @classmethod
    def _plain(cls, value: Any) -> Any:
        """Refuse text that no person typed: control characters in a name or a note."""
        if isinstance(value, str) and any((ord(c) < 32 and c not in "\n\t\r") or 0x7F <= ord(c) < 0xA0 for c in value):
            raise refuse("there are control characters in the text", "Type it again")
        return value


def _scaled(value: object, length: Length) -> float:
    """Return a length of the table, or one of its list, in mm."""
    found = _number(value, length.unit or "", length.name)
    if found is None:
        raise refuse(f"{shown(value)} is not a number", "Write a number such as 1.25, without quotes", length.name)
    if length.unit is None:
        return length.limits[0]  # the file is refused for want of a unit
    scale = MM_PER[length.unit]
    least, most = length.limits
    if not least <= found * scale <= most:
        between = f"{least / scale:.4g} and {most / scale:.4g} {length.unit}"
        raise refuse(f"{shown(value)} is not between {between}", "Check the number and its unit", length.name)
    return found * scale


def _number(value: object, unit: str, key: str | None) -> float | None:
    try:
        return number_of(value, unit)
    except InputError as refusal:
        raise refuse(refusal.what, refusal.hint, key) from None
