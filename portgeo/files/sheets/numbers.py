"""Numbers as people write them: `1.625"`, `1 5/8`, `41,3`, `22½`.

The text of one cell comes in; a float in the cell's own unit goes out, or a refusal that says why.
"""

from __future__ import annotations

import re
import unicodedata

from portgeo.core.errors import InputError

DECIMAL = re.compile(r"([+-]?)([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]{1,3})?")
FRACTION = re.compile(r"([+-]?)(?:([0-9]{1,9})(?:\s+|\s*-\s*))?([0-9]{1,9})\s*/\s*([0-9]{1,9})")
UNIT_MARKS = {
    '"': "in", "''": "in", "in": "in", "in.": "in", "inch": "in", "inches": "in",
    "mm": "mm", "mm.": "mm", "cm": "cm", "m": "m", "ft": "ft",
    "°": "deg", "deg": "deg", "deg.": "deg", "degrees": "deg",
}  # fmt: skip
UNIT_NAMES = {
    "in": "inches",
    "mm": "millimeters",
    "cm": "centimeters",
    "m": "meters",
    "ft": "feet",
    "deg": "degrees",
}
EXAMPLES = {"in": "1.625 or 1 5/8", "mm": "41.3", "deg": "22.5", "": "22.5"}
INCH_PARTS = (2, 4, 8, 16, 32, 64, 128)  # as rules and drills have them: another denominator is a slip
INCH_MEND = f"Look for a slip: the parts are {', '.join(map(str, INCH_PARTS))}; else write a decimal"
TRAILING_UNIT = re.compile(r"\s*(\"|''|°|[a-zA-Z]+\.?)$")
DATE = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}.*|[0-9]{1,2}([-./])[0-9]{1,2}\1[0-9]{2,4}"
    r"|[0-9]{1,2}[-. ]*(jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*([-. ]+[0-9]{2,4})?"
    r"|(jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*[-. ]*[0-9]{1,4}",
    re.IGNORECASE,
)
ALIKE = str.maketrans(
    {
        "−": "-",
        "–": "-",
        "‐": "-",
        "‑": "-",
        "⁄": "/",
        "∕": "/",
        "”": '"',
        "“": '"',
        "″": '"',
        "’": "'",
        "′": "'",
        "º": "°",
    }
)


def read_number(text: str, *, unit: str, decimal_comma: bool) -> float:
    """Return the number that a cell's text stands for.

    unit : "mm", "in", "deg" or "" (neither), what the column is in; a unit in the cell must agree.
    decimal_comma : whether a comma can be a decimal mark (not where it separates fields). Fractions
    are read except in millimetres, in inches of the parts a rule has. Raises InputError,
    without a place.
    """
    shown = f"'{text.strip()[:40]}'"
    plain = _plain(text)
    plain = _without_unit(plain, shown, unit)
    if "," in plain:
        plain = _with_point(plain, shown, decimal_comma)
    decimal = DECIMAL.fullmatch(plain)
    if decimal:
        return _finite(float(plain), shown)
    fraction = FRACTION.fullmatch(plain)
    if fraction:
        return _fraction(fraction, shown, unit)
    if DATE.fullmatch(plain):
        raise InputError(
            f"{shown} is a date (spreadsheets take a fraction such as 5/8 for one)",
            hint="Write a decimal point, or format the column as text before typing fractions",
        )
    raise InputError(
        f"{shown} is not a number",
        hint=f"Write a number such as {EXAMPLES[unit]}",
    )


def _plain(text: str) -> str:
    """Return text with one kind of space, minus, slash and quote, and no one-character fractions."""
    spread = "".join(" " + c if unicodedata.decomposition(c).startswith("<fraction>") else c for c in text)
    return unicodedata.normalize("NFKC", spread.translate(ALIKE)).translate(ALIKE).strip()


def _without_unit(plain: str, shown: str, unit: str) -> str:
    mark = TRAILING_UNIT.search(plain)
    if not mark or mark[1].lower() not in UNIT_MARKS:
        return plain
    written = UNIT_MARKS[mark[1].lower()]
    if not unit:
        what = f"{shown} is in {UNIT_NAMES[written]}, and this is neither a length nor an angle"
        raise InputError(what, hint="Check what was typed, and write the number alone")
    if written != unit:
        raise InputError(
            f"{shown} is in {UNIT_NAMES[written]}, but the column is in {UNIT_NAMES[unit]}",
            hint=f"Write it in {UNIT_NAMES[unit]}",
        )
    return plain[: mark.start()]


def _with_point(plain: str, shown: str, decimal_comma: bool) -> str:
    if plain.count(",") > 1 or "." in plain:
        raise InputError(
            f"{shown} has more than one decimal mark",
            hint="Write it without marks between thousands",
        )
    if not decimal_comma:
        raise InputError(
            f"{shown} has a comma, which separates columns in this file",
            hint="Write a decimal point, or save the sheet with semicolons between columns",
        )
    return plain.replace(",", ".")


def _fraction(match: re.Match[str], shown: str, unit: str) -> float:
    sign, whole, top, bottom = match.groups()
    if unit == "mm":
        raise InputError(
            f"{shown} is a fraction, in a column of millimeters",
            hint="Write millimeters with a decimal point, or name the column ..._in if this is in inches",
        )
    if int(bottom) == 0 or (whole is not None and int(top) >= int(bottom)):
        raise InputError(f"{shown} is not a fraction that can be read", hint="Write it as 1 5/8")
    if unit == "in" and int(bottom) not in INCH_PARTS:
        raise InputError(f"{shown} is a fraction, and no rule has an inch in {bottom} parts", hint=INCH_MEND)
    value = float(whole or 0) + int(top) / int(bottom)
    return -value if sign == "-" else value


def _finite(value: float, shown: str) -> float:
    if value in (float("inf"), float("-inf")):
        raise InputError(f"{shown} is too large a number", hint="Check what was typed")
    return value
