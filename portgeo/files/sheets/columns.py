"""The columns of a section sheet, by the names people give them.

A header row comes in; each column's meaning, unit and place go out, or a refusal with the closest name.
"""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

from portgeo.core.errors import InputError

LENGTHS = (
    "station", "height", "width", "diameter", "corner", "corner_roof", "corner_floor",
    "rise", "shift", "reading_error", "x", "y", "z",
)  # fmt: skip
ANGLES = ("turn", "swing", "turn_error")
TEXTS = ("shape", "outline", "tool", "mark", "note")
KNOWN: dict[str, tuple[str, str]] = {
    **{f"{name}_{unit}": (name, unit) for name in LENGTHS for unit in ("in", "mm")},
    **{f"{name}_deg": (name, "deg") for name in ANGLES},
    **{name: (name, "") for name in TEXTS},
}


@dataclass(frozen=True)
class Column:
    """A column: its name as written, its unit ("mm", "in", "deg" or "" for text), its index."""

    written: str
    unit: str
    index: int


def plain_name(written: str) -> str:
    """Return a header cell in the sheet's way of writing: `Height (in)` is `height_in`."""
    text = unicodedata.normalize("NFKC", written).casefold()
    return re.sub(r"[\s\-_()\[\].,:]+", "_", text).strip("_")


def named_columns(header: Sequence[str], row: int, body: Sequence[tuple[int, Sequence[str]]]) -> dict[str, Column]:
    """Return the columns of a header, meaning to Column.

    row : where the header stands. body : the rows under it. Raises InputError for a name that is
    not known, that lacks its unit, that comes twice, or in two units, and where the station is
    missing.
    """
    columns: dict[str, Column] = {}
    for index, written in enumerate(header):
        where = f"row {row}, column {written[:60] or index + 1}"
        if not written:
            filled = next((number for number, cells in body if index < len(cells) and cells[index]), None)
            if filled is None:
                continue
            raise InputError(
                f"the column has no name but row {filled} has something in it",
                where=where,
                mend="Name the column, or empty it",
            )
        plain = plain_name(written)
        if plain not in KNOWN:
            raise _unknown(plain, where)
        name, unit = KNOWN[plain]
        if name in columns:
            other = columns[name]
            raise InputError(
                f"the column comes twice (also as {other.written})"
                if other.unit == unit
                else f"{name} is given in two units, {other.written} and {written}",
                where=where,
                mend="Leave one of the two",
            )
        columns[name] = Column(written, unit, index)
    if "station" not in columns:
        raise InputError(
            "the header has no station column",
            where=f"row {row}",
            mend="Add station_in or station_mm, the distance along the centreline from the entry",
        )
    return columns


def _unknown(plain: str, where: str) -> InputError:
    if plain in LENGTHS or plain in ANGLES:
        units = "deg" if plain in ANGLES else "in or " + plain + "_mm"
        return InputError("the column does not say its unit", where=where, mend=f"Name it {plain}_{units}")
    close = difflib.get_close_matches(plain[:60], KNOWN, n=1, cutoff=0.5)
    mend = (
        f"Did you mean {close[0]}? Mend the name or remove the column; remarks go into note"
        if close
        else "The first row that is no # comment holds the names of the columns: station, height, width, "
        "diameter, corner, corner_roof, corner_floor, rise, shift, "
        "reading_error, x, y, z (each with _in or _mm), turn_deg, swing_deg, turn_error_deg, "
        "shape, outline, tool and note"
    )
    return InputError("no column of a section sheet has this name", where=where, mend=mend)
