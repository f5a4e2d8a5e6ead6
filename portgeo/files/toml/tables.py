"""A table of a TOML file whose every key is checked, and named with its line where it is wrong.

What a TOML reader made of a file comes in, with the file's text; numbers in millimetres, words and
paths go out, or a refusal with line, key and hint.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, get_args

from portgeo.core.errors import InputError, Problems
from portgeo.core.units import MM_PER, LengthUnit
from portgeo.files.sheets.numbers import FRACTION, read_number
from portgeo.files.toml.slips import NEWER, content_of, short, tell

TOML = ".toml"
LONGEST_MM = 5000.0  # no length of a port is more
LARGEST = 10**300  # a whole number in the file can have more digits than a float holds, and is scaled yet
LENGTH_UNITS: tuple[LengthUnit, ...] = get_args(LengthUnit)
TOO_LARGE = "the number has too many digits"


def shown(value: object) -> str:
    """Return what was written, for a message: its first letters where it is long."""
    return short(repr(value))


def no_port(path: str | Path) -> InputError:
    """Return the refusal of a job or a target where a port belongs."""
    return InputError(
        "this is a job or a target, not a port",
        file=str(path),
        hint=f"`portgeo report {path} --out report` runs a job, and `portgeo reshape PORT {path}` cuts to a target",
    )


def parsed(text: str) -> dict[str, Any]:
    """Return what a TOML text says; fractions, which TOML has not, as texts. Raises InputError where it is none."""
    content, slips = content_of(text)
    problems = Problems()
    tell(slips, problems)
    problems.refuse()
    assert content is not None
    return content


def number_of(value: object, unit: str) -> float | None:
    """Return the number that a value of a file stands for; None where it is none.

    unit : "in", "mm" or "" (neither). A fraction such as "1 5/8" in quotes is one, but not of millimetres.
    Raises InputError, without a place, for one of too many digits and a fraction that cannot be read.
    """
    if isinstance(value, str) and FRACTION.match(value.strip()):
        if unit == "mm":
            hint = "Write a decimal, or name the key ..._in if this is in inches"
            raise InputError(f"{short(value)} is a fraction, of millimeters", hint=hint)
        return read_number(value, unit=unit, decimal_comma=False)
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    if isinstance(value, int) and abs(value) > LARGEST:
        raise InputError(TOO_LARGE, hint="Check the number")
    return float(value) if math.isfinite(value) else None


@dataclass(frozen=True)
class Lacking:
    """What a table lacks: the keys that would do, and what is told of it unless one of them is there misspelt."""

    keys: tuple[str, ...]
    what: str
    hint: str


class TomlTable:
    """One table of the file, which knows what was asked of it and where its keys stand.

    What is wrong with a key is told, and the default, or nan in place of a number, is given for it: no comparison
    holds with nan, so that nothing more is told of it. unit : of bare lengths, None where the file does not say it.
    """

    def __init__(
        self, content: dict[str, Any], name: str, index: int, text: str, unit: LengthUnit | None, problems: Problems
    ) -> None:
        self.content, self.name, self.index, self.lines, self.unit = content, name, index, text, unit
        self.problems = problems
        self.known: set[str] = set()
        self.lacking: list[Lacking] = []

    def where(self, key: str | None = None) -> str:
        """Return the place of a key, or of the table: its line and name."""
        return place_of(self.lines, self.name, self.index, key)[0]

    def tell(self, key: str | None, what: str, hint: str) -> None:
        """Tell what is wrong with a key, or with the table."""
        where, line = place_of(self.lines, self.name, self.index, key)
        self.problems.add(InputError(what, where=where, row=line, column=key, hint=hint))

    def lack(self, keys: Sequence[str], what: str, hint: str) -> None:
        """Note what is missing, which `finish` tells unless it is there misspelt."""
        self.lacking.append(Lacking(tuple(keys), what, hint))

    def take(self, key: str, required: bool = False) -> Any:
        self.known.add(key)
        if key not in self.content and required:
            self.lack((key,), f"{key} is missing", f"Write a line  {key} = ...  there")
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
            self.tell(key, refusal.what, refusal.hint)
            return math.nan
        if number is None:
            self.tell(key, f"{shown(value)} is not a number", "Write a number such as 1.25, without quotes")
            return math.nan
        found = number * scale
        if not least <= found <= most:
            limits = f"{least / scale:.4g} and {most / scale:.4g} {unit}".rstrip()
            self.tell(key, f"{shown(value)} is not between {limits}", "Check the number and its unit")
            return math.nan
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
        return self._measured(key, 1, default, required, least, most)

    def area(self, key: str) -> float | None:
        """Return an area in mm2: `key` in the file's unit squared, or `key_in2` or `key_mm2`."""
        return self._measured(key, 2, None, False, 1.0, LONGEST_MM**2)

    def signed(self, key: str) -> float | None:
        """Return a length in mm that may be negative, 0 where it is not given."""
        return self._measured(key, 1, 0.0, False, -LONGEST_MM, LONGEST_MM)

    def _measured(
        self, key: str, power: int, default: float | None, required: bool, least: float, most: float
    ) -> float | None:
        names = {key: self.unit, **{f"{key}_{unit}{'2' * (power - 1)}": unit for unit in LENGTH_UNITS}}
        given = [name for name in names if name in self.content]
        self.known.update(names)
        if len(given) > 1:
            self.tell(given[1], f"{key} is given twice", "Leave one of the two")
            return math.nan
        if not given:
            if required:
                self.lack(list(names), f"{key} is missing", f"Write a line  {key} = ...  there")
                return math.nan
            return default
        unit = names[given[0]]
        if unit is None:  # which the file does not say: whether it is a number can be seen all the same
            return self.number(given[0], least=-math.inf, most=math.inf)
        # An area's fraction is of square inches, or of anything.
        said = unit if power == 1 else ""
        return self.number(given[0], least=least, most=most, scale=MM_PER[unit] ** power, unit=said)

    def boolean(self, key: str, default: bool) -> bool:
        value = self.take(key)
        if value is None or isinstance(value, bool):
            return default if value is None else value
        self.tell(key, f"{shown(value)} is not true or false", "Write true or false, without quotes")
        return default

    def text(self, key: str, default: str) -> str:
        value = self.take(key)
        if value is None or (isinstance(value, str) and value.strip()):
            return default if value is None else value.strip()
        self.tell(key, f"{shown(value)} is not a word", "Write it between quotes")
        return default

    def choice(self, key: str, allowed: tuple[str, ...], required: bool = False) -> str | None:
        value = self.take(key, required)
        if value is None or value in allowed:
            return value
        self.tell(key, f"{shown(value)} is not known here", "Write one of " + ", ".join(f'"{a}"' for a in allowed))
        return None

    def words(self, key: str, allowed: tuple[str, ...]) -> tuple[str, ...]:
        value = self.take(key)
        if value is None:
            return allowed
        if not isinstance(value, list) or not value or any(word not in allowed for word in value):
            example = str([*allowed]).replace("'", '"')
            self.tell(key, f"{shown(value)} is not a list of walls", f"Write for example {example}")
            return allowed
        return tuple(word for word in allowed if word in value)

    def file(self, key: str, beside: Path, required: bool = False) -> Path | None:
        self.take(key, required)
        name = self.text(key, "")
        return beside / name if name else None

    def files(self, key: str, beside: Path) -> tuple[Path, ...]:
        value = self.take(key)
        names = value if isinstance(value, list) else [] if value is None else [value]
        if any(not isinstance(name, str) or not name.strip() for name in names):
            self.tell(key, f"{shown(value)} is not a file name or a list of them", "Write names between quotes")
            return ()
        return tuple(beside / name for name in names)

    def table(self, key: str) -> TomlTable | None:
        value = self.take(key)
        if value is not None and not isinstance(value, dict):
            self.tell(key, f"{key} is not a table", f"Write it under a line [{key}]")
            return None
        return None if value is None else TomlTable(value, key, 0, self.lines, self.unit, self.problems)

    def tables(self, key: str) -> list[TomlTable]:
        value = self.take(key)
        if value is not None and (not isinstance(value, list) or any(not isinstance(each, dict) for each in value)):
            self.tell(key, f"{key} is not a list of tables", f"Write each under a line [[{key}]]")
            return []
        return [TomlTable(each, key, k, self.lines, self.unit, self.problems) for k, each in enumerate(value or ())]

    def finish(self) -> None:
        """Tell of keys that nobody asked for, and of what is missing where none of them is it, misspelt."""
        for key in [key for key in self.content if key not in self.known]:
            missing = [name for lack in self.lacking for name in lack.keys]
            close = difflib.get_close_matches(key, missing, 1) or difflib.get_close_matches(key, sorted(self.known), 1)
            hint = f"Did you mean {close[0]}?" if close else "Known here: " + ", ".join(sorted(self.known))
            self.tell(key, "there is no such key", hint)
            self.lacking = [lack for lack in self.lacking if not {*lack.keys} & {*close}]
        for lack in self.lacking:
            self.tell(None, lack.what, lack.hint)


def place_of(text: str, table: str, index: int, key: str | None) -> tuple[str, int | None]:
    """Return the place of a key in the index-th table of a name ("" for the top), or of the table: words and line."""
    named = NEWER.get(table, table)
    line = _line_of(text, table, index, key)
    if line is None and named != table:
        table, line = named, _line_of(text, named, index, key)
    newer = NEWER.get(key or "")
    if line is None and newer is not None:
        newer_line = _line_of(text, table, index, newer)
        key, line = (newer, newer_line) if newer_line is not None else (key, None)
    name = " ".join(part for part in (f"[{table}]" if table else "", key) if part)
    return ", ".join(part for part in (f"line {line}" if line else "", name) if part), line


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
