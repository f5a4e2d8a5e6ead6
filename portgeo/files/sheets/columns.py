"""Columns of the sheets that people fill in: each declared once, by its name, its units and what a cell of it may say.

A kind of sheet declares a Layout. A header row comes in; each column's meaning, unit and place go out, and every
slip of the header is told with the closest name.
"""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from portgeo.core.errors import InputError, Problems
from portgeo.core.units import MM_PER, LengthUnit
from portgeo.files.sheets.numbers import read_number

LENGTH: Mapping[str, float] = {"in": MM_PER["in"], "mm": 1.0}
ANGLE: Mapping[str, float] = {"deg": float(np.radians(1.0))}
PLAIN: Mapping[str, float] = {"": 1.0}
NEAR = 0.5  # of a name's letters: near enough to ask whether it was meant
SLIP = 0.8  # of them: a slip of the keys; what stands under such a name is read as what it is meant to be


@dataclass(frozen=True)
class Column:
    """A column of a header: what it means, its name as written, its unit ("" where it has none), its index."""

    name: str
    written: str
    unit: str
    index: int


@dataclass(frozen=True)
class Cell:
    """A cell that is not empty."""

    column: Column
    text: str
    decimal_comma: bool

    @property
    def shown(self) -> str:
        """What was written, for a message: its first letters where it is long."""
        return repr(self.text[:40])

    @property
    def size(self) -> float:
        """What its column's unit of length is in mm."""
        return LENGTH[self.column.unit]

    def own(self, value: float) -> str:
        """Return a length in mm in its column's unit."""
        return f"{value / self.size:.6g} {self.column.unit}"

    @property
    def unit_mend(self) -> str:
        """What to do about a length that no port has."""
        other = "mm" if self.column.unit == "in" else "in"
        return f"If it is in {other}, name the column {self.column.name}_{other}; else check what was typed"


@dataclass(frozen=True)
class Quantity:
    """A column of numbers.

    units : what its name may end in, each with its size in the package's own unit. check : raises InputError,
    without a place, for a number (in that unit) that the cell cannot mean. beside : unit that may stand in a cell.
    """

    units: Mapping[str, float]
    check: Callable[[Cell, float], None] | None = None
    beside: re.Pattern[str] | None = None

    def read(self, cell: Cell) -> float:
        """Return the number in a cell. Raises InputError without a place."""
        text = self.beside.sub("", cell.text) if self.beside else cell.text
        unit = cell.column.unit if cell.column.unit in ("in", "mm", "deg") else ""
        value = read_number(text, unit=unit, decimal_comma=cell.decimal_comma) * self.units[cell.column.unit]
        if self.check is not None:
            self.check(cell, value)
        return value


@dataclass(frozen=True)
class Words:
    """A column of text. of : what a cell's text means; raises InputError, without a place, where it means nothing."""

    of: Callable[[Cell], Any] = lambda cell: cell.text
    units: Mapping[str, float] = field(default_factory=lambda: PLAIN)

    def read(self, cell: Cell) -> Any:
        """Return what a cell's text means. Raises InputError without a place."""
        return self.of(cell)


@dataclass(frozen=True)
class Layout:
    """A kind of sheet.

    kind : "a section sheet". columns : by what they mean. needed : those without which nothing can be read, each with
    the hint. instead : columns that stand in for one that is needed. names : what to say where a header's name is
    like none. alike : other ways of writing a name. other_kinds : what a sheet is whose header has columns of all
    these names instead, each with or without a unit. uses : what some of those are for.
    """

    kind: str
    columns: Mapping[str, Quantity | Words]
    needed: Mapping[str, str]
    names: str
    alike: Mapping[str, str] = field(default_factory=dict)
    instead: Mapping[str, str] = field(default_factory=dict)
    other_kinds: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    uses: Mapping[str, str] = field(default_factory=dict)

    @property
    def known(self) -> dict[str, tuple[str, str]]:
        """Every name that a header may have: what it means and its unit."""
        return {
            f"{name}_{unit}" if unit else name: (name, unit)
            for name, column in self.columns.items()
            for unit in column.units
        }


def plain_name(written: str) -> str:
    """Return a header cell in the sheet's way of writing: `Height (in)` is `height_in`."""
    text = unicodedata.normalize("NFKC", written).casefold()
    return re.sub(r"[\s\-_()\[\].,:]+", "_", text).strip("_")


def named_columns(
    layout: Layout,
    header: tuple[int, Sequence[str]],
    body: Sequence[tuple[int, Sequence[str]]],
    problems: Problems,
    unit: LengthUnit | None = None,
) -> dict[str, Column]:
    """Return the columns of a header that can be read, by what they mean; what is wrong with names is told.

    A column whose name is a slip away from one that there is, or lacks its unit alone, is read as that one, so that
    what is wrong with its cells is told with its name.

    header, body : the number and the cells of the header and of the rows under it. unit : of lengths whose name
    says none.
    """
    known = layout.known
    if unit is not None:
        known |= {name: (name, unit) for name, column in layout.columns.items() if column.units is LENGTH}
    columns: dict[str, Column] = {}
    doubtful: set[str] = set()
    slips: list[Column] = []
    number, names = header
    _refuse_other_kind(layout, names)
    for index, written in enumerate(names):

        def tell(what: str, hint: str, name: str = written[:60] or str(index + 1)) -> None:
            problems.add(InputError(what, hint=hint, row=number, column=name))

        if not written:
            filled = next((row for row, cells in body if index < len(cells) and cells[index]), None)
            if filled is not None:
                tell(f"the column has no name but row {filled} has something in it", "Name the column, or clear it")
            continue
        plain = layout.alike.get(plain_name(written), plain_name(written))
        if plain not in known:
            tell(*_unknown(layout, known, plain))
            slip = None if plain in layout.columns else next(iter(_near(plain, known, SLIP)), None)
            name, of = (plain, "") if slip is None else known[slip]
            slips.append(Column(name, written, of, index))
            continue
        name, of = known[plain]
        if name in columns:
            earlier = columns[name]
            twice = f"the column comes twice (also as {earlier.written})"
            two = f"{name} is given in two units, {earlier.written} and {written}"
            tell(twice if earlier.unit == of else two, "Leave one of the two")
            doubtful.add(name)
            continue
        columns[name] = Column(name, written, of, index)
    for column in slips:
        units = layout.columns[column.name].units if column.name in layout.columns else {}
        # A length that says no unit is in that of the others; an angle has one unit alone.
        said = [column.unit, *(other.unit for other in columns.values()), *(units if len(units) == 1 else ())]
        own = next((unit for unit in said if unit in units), None)
        if own is not None:
            columns.setdefault(column.name, replace(column, unit=own))
    if not problems:  # a column that is missing is mostly one that was told to be misspelt
        for name, hint in layout.needed.items():
            if name not in columns and layout.instead.get(name) not in columns:
                problems.add(InputError(f"the header has no {name} column", hint=hint, row=number))
    return {name: column for name, column in columns.items() if name not in doubtful}


def _refuse_other_kind(layout: Layout, names: Sequence[str]) -> None:
    """Raise InputError where a header is that of another kind of sheet."""
    first_words = {plain_name(name).partition("_")[0] for name in names}
    for kind, columns in layout.other_kinds.items():
        if first_words.issuperset(columns):
            has = " and ".join(columns)
            what = f"this is {kind}, not {layout.kind}: it has columns for {has}"
            use = layout.uses.get(kind)
            raise InputError(what, hint=f"Name {layout.kind}" + (f"; {use}" if use else ""))


def _near(plain: str, known: Mapping[str, Any], share: float) -> list[str]:
    """Return the name nearest to what was written, if one shares so much of it."""
    return difflib.get_close_matches(plain[:60], known, n=1, cutoff=share)


def _unknown(layout: Layout, known: Mapping[str, Any], plain: str) -> tuple[str, str]:
    """Return what is said of a name that a header cannot have, and the hint."""
    column = layout.columns.get(plain)
    if column is not None:
        *most, last = (f"{plain}_{unit}" for unit in column.units)
        return "the column does not say its unit", f"Name it {', '.join(most) + ' or ' if most else ''}{last}"
    close = _near(plain, known, NEAR)
    remarks = "; remarks go into note" if "note" in layout.columns else ""
    hint = f"Did you mean {close[0]}? Fix the name or remove the column{remarks}" if close else layout.names
    return f"no column of {layout.kind} has this name", hint
