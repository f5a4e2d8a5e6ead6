"""A table of a TOML file whose every key is checked, and named with its line where it is wrong.

What a TOML reader made of a file comes in, with the file's text; numbers in millimetres, words and
paths go out, or a refusal with line, key and mend.
"""

from __future__ import annotations

import difflib
import math
import re
import tomllib
from pathlib import Path
from typing import Any

from portgeo.core.errors import InputError
from portgeo.core.units import MM_PER, LengthUnit
from portgeo.files.sheets.numbers import FRACTION, read_number
from portgeo.files.toml.slips import short, slip, with_fractions_quoted

TOML = ".toml"
LONGEST_MM = 5000.0  # no length of a port is more
LARGEST = 10**300  # a whole number in the file can have more digits than a float holds, and is scaled yet
TOO_LARGE = "the number has too many digits"


def shown(value: object) -> str:
    """Return what was written, for a message: its first letters where it is long."""
    return short(repr(value))


def no_port(path: str | Path) -> InputError:
    """Return the refusal of a job or a target where a port belongs."""
    return InputError(
        "this is a job or a target, not a port",
        file=str(path),
        mend=f"`portgeo report {path} --out report` runs a job, and `portgeo reshape PORT {path}` cuts to a target",
    )


def parsed(text: str) -> dict[str, Any]:
    """Return what a TOML text says; fractions, which TOML has not, as texts. Raises InputError where it is none."""
    said = text
    while True:
        try:
            return tomllib.loads(said)
        except (ValueError, RecursionError) as error:  # a number of thousands of digits, brackets without end
            quoted = with_fractions_quoted(said, str(error))
            if quoted == said:
                raise slip(text, str(error)) from None
            said = quoted


def number_of(value: object, unit: str) -> float | None:
    """Return the number that a value of a file stands for; None where it is none.

    unit : "in", "mm" or "" (neither). A fraction such as "1 5/8" in quotes is one, but not of millimetres.
    Raises InputError, without a place, for one of too many digits and a fraction that cannot be read.
    """
    if isinstance(value, str) and FRACTION.match(value.strip()):
        if unit == "mm":
            mend = "Write a decimal, or name the key ..._in if this is in inches"
            raise InputError(f"{short(value)} is a fraction, of millimetres", mend=mend)
        return read_number(value, unit=unit, decimal_comma=False)
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    if isinstance(value, int) and abs(value) > LARGEST:
        raise InputError(TOO_LARGE, mend="Check the number")
    return float(value) if math.isfinite(value) else None


class TomlTable:
    """One table of the file, which knows what was asked of it and where its keys stand."""

    def __init__(self, content: dict[str, Any], name: str, index: int, text: str, unit: LengthUnit) -> None:
        self.content, self.name, self.index, self.lines, self.unit = content, name, index, text, unit
        self.known: set[str] = set()

    def where(self, key: str | None = None) -> str:
        """Return the place of a key, or of the table: its line and name."""
        line = _line_of(self.lines, self.name, self.index, key)
        table = f"[{self.name}]" if self.name else ""
        parts = [f"line {line}" if line else "", " ".join(part for part in (table, key) if part)]
        return ", ".join(part for part in parts if part)

    def refuse(self, key: str, what: str, mend: str) -> InputError:
        return InputError(what, where=self.where(key), mend=mend)

    def take(self, key: str, required: bool = False) -> Any:
        self.known.add(key)
        if key not in self.content and required:
            self.misspelt(key)
            raise InputError(f"{key} is missing", where=self.where(), mend=f"Write a line  {key} = ...  there")
        return self.content.get(key)

    def number(
        self,
        key: str,
        default: float | None = None,
        *,
        least: float = 0.0,
        most: float = LONGEST_MM,
        scale: float = 1.0,
        unit: str = "",
    ) -> float | None:
        value = self.take(key)
        if value is None:
            return default
        try:
            number = number_of(value, unit)
        except InputError as refusal:
            raise self.refuse(key, refusal.what, refusal.mend) from None
        if number is None:
            raise self.refuse(key, f"{shown(value)} is not a number", "Write a number such as 1.25, without quotes")
        found = number * scale
        if not least <= found <= most:
            limits = f"{least / scale:.4g} and {most / scale:.4g}"
            raise self.refuse(key, f"{shown(value)} is not between {limits}", "Check the number and its unit")
        return found

    def length(
        self,
        key: str,
        default: float | None = None,
        *,
        required: bool = False,
        least: float = 0.0,
        most: float = LONGEST_MM,
    ) -> float | None:
        """Return a length in mm: `key` in the file's unit, or `key_in` or `key_mm`."""
        return self._measured(
            key, {"": MM_PER[self.unit], "_in": MM_PER["in"], "_mm": 1.0}, default, required, least, most
        )

    def area(self, key: str) -> float | None:
        """Return an area in mm2: `key` in the file's unit squared, or `key_in2` or `key_mm2`."""
        scales = {"": MM_PER[self.unit] ** 2, "_in2": MM_PER["in"] ** 2, "_mm2": 1.0}
        return self._measured(key, scales, None, False, 1.0, LONGEST_MM**2)

    def signed(self, key: str) -> float | None:
        """Return a length in mm that may be negative, 0 where it is not given."""
        scales = {"": MM_PER[self.unit], "_in": MM_PER["in"], "_mm": 1.0}
        return self._measured(key, scales, 0.0, False, -LONGEST_MM, LONGEST_MM)

    def _measured(
        self,
        key: str,
        scales: dict[str, float],
        default: float | None,
        required: bool,
        least: float,
        most: float,
    ) -> float | None:
        given = [suffix for suffix in scales if key + suffix in self.content]
        self.known.update(key + suffix for suffix in scales)
        if len(given) > 1:
            raise self.refuse(key + given[1], f"{key} is given twice", "Leave one of the two")
        if not given:
            self.take(key, required)
            return default
        of = {"_in": "in", "_mm": "mm", "": self.unit}.get(given[0], "")
        unit = "" if "_in2" in scales else of  # an area's fraction is of square inches, or of anything
        return self.number(key + given[0], least=least, most=most, scale=scales[given[0]], unit=unit)

    def boolean(self, key: str, default: bool) -> bool:
        value = self.take(key)
        if value is None:
            return default
        if not isinstance(value, bool):
            raise self.refuse(key, f"{shown(value)} is not true or false", "Write true or false, without quotes")
        return value

    def text(self, key: str, default: str) -> str:
        value = self.take(key)
        if value is None:
            return default
        if not isinstance(value, str) or not value.strip():
            raise self.refuse(key, f"{shown(value)} is not a word", "Write it between quotes")
        return value.strip()

    def choice(self, key: str, allowed: tuple[str, ...], required: bool = False) -> str | None:
        value = self.take(key, required)
        if value is not None and value not in allowed:
            raise self.refuse(
                key, f"{shown(value)} is not known here", "Write one of " + ", ".join(f'"{a}"' for a in allowed)
            )
        return value

    def words(self, key: str, allowed: tuple[str, ...]) -> tuple[str, ...]:
        value = self.take(key)
        if value is None:
            return allowed
        if not isinstance(value, list) or not value or any(word not in allowed for word in value):
            raise self.refuse(
                key,
                f"{shown(value)} is not a list of walls",
                "Write for example " + str([*allowed]).replace("'", '"'),
            )
        return tuple(word for word in allowed if word in value)

    def file(self, key: str, beside: Path, required: bool = False) -> Path | None:
        self.take(key, required)
        name = self.text(key, "")
        return beside.parent / name if name else None

    def files(self, key: str, beside: Path) -> tuple[Path, ...]:
        value = self.take(key)
        names = value if isinstance(value, list) else [] if value is None else [value]
        if any(not isinstance(name, str) or not name.strip() for name in names):
            raise self.refuse(key, f"{shown(value)} is not a file name or a list of them", "Write names between quotes")
        return tuple(beside.parent / name for name in names)

    def table(self, key: str) -> TomlTable | None:
        value = self.take(key)
        if value is None:
            return None
        if not isinstance(value, dict):
            raise self.refuse(key, f"{key} is not a table", f"Write it under a line [{key}]")
        return TomlTable(value, key, 0, self.lines, self.unit)

    def tables(self, key: str) -> list[TomlTable]:
        value = self.take(key)
        if value is None:
            return []
        if not isinstance(value, list) or any(not isinstance(each, dict) for each in value):
            raise self.refuse(key, f"{key} is not a list of tables", f"Write each under a line [[{key}]]")
        return [TomlTable(each, key, k, self.lines, self.unit) for k, each in enumerate(value)]

    def _like(self, key: str) -> list[str]:
        """Return the key that nobody asked for and that is closest to one, if any is close."""
        return difflib.get_close_matches(key, [k for k in self.content if k not in self.known], 1)

    def misspelt(self, *keys: str) -> None:
        """Refuse a key that nobody asked for and that is close to one of those missing."""
        for key in keys:
            close = self._like(key)
            if close:
                raise self.refuse(close[0], "there is no such key", f"Did you mean {key}?")

    def finish(self) -> None:
        """Refuse keys that nobody asked for."""
        for key in self.content:
            if key not in self.known:
                close = difflib.get_close_matches(key, sorted(self.known), 1)
                mend = f"Did you mean {close[0]}?" if close else "Known here: " + ", ".join(sorted(self.known))
                raise self.refuse(key, "there is no such key", mend)


def _line_of(text: str, table: str, index: int, key: str | None) -> int | None:
    """Return the line of a key in the index-th table of a name (the top for ""), or of the table."""
    current, seen = "", -1
    header = re.compile(r"\s*\[\[?\s*([\w\-]+)\s*\]\]?")
    for number, line in enumerate(text.splitlines(), start=1):
        found = header.match(line)
        if found:
            current = found[1]
            seen += current == table
            if current == table and seen == index and key is None:
                return number
            if key == current and table == "":
                return number
        elif key is not None and current == table and (not table or seen == index):
            if re.match(rf"\s*\"?{re.escape(key)}\"?\s*=", line):
                return number
    return None
