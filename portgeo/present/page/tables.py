"""Tables of the report: their columns with kind and unit, and how the page shows them.

Rows in the core's units come in; cells as a person reads them, in the user's unit, go out.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from portgeo.core.units import FOOT, MM_PER, Display, rounded
from portgeo.present.page.markup import Element, el

NOT_KNOWN = "–"


@dataclass(frozen=True)
class Kind:
    """How a kind of number is told: what its key ends in, its unit, its size in the core's, its decimals."""

    suffix: str
    unit: str
    per: float = 1.0
    decimals: int = 0


def kind_of(name: str, display: Display) -> Kind:
    """Return how a kind of number is told in the user's unit."""
    inch = display.unit == "in"
    if name == "length":
        return Kind(f"_{display.unit}", display.unit, MM_PER[display.unit], 3 if inch else 2)
    if name == "area":
        return Kind(f"_{display.unit}2", display.area_unit, MM_PER[display.unit] ** 2, 3 if inch else 1)
    if name == "speed":
        return Kind("_ft_s", "ft/s", FOOT, 0) if inch else Kind("_m_s", "m/s", 1.0, 1)
    return _OTHER_KINDS[name]


_OTHER_KINDS = {
    "volume": Kind("_cc", "cc", 1.0, 2),
    "flow": Kind("_cfm", "cfm", 1.0, 1),
    "percent": Kind("_percent", "%", 1.0, 1),
    "angle": Kind("_deg", "°", 1.0, 1),
    "ratio": Kind("", "", 1.0, 2),
    "mach": Kind("", "", 1.0, 3),
    "count": Kind("", "", 1.0, 0),
    "text": Kind("", ""),
}


@dataclass(frozen=True)
class Column:
    """A column: its key without the unit, its heading, its kind, and the heading it stands under."""

    key: str
    heading: str
    kind: str
    group: str = ""


@dataclass(frozen=True)
class Table:
    """Rows of numbers in mm, mm2, m/s, cc, cfm; None or nan where nothing is known."""

    name: str
    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Any, ...], ...]


def number_of(value: Any, kind: Kind) -> Any:
    """Return a value in the user's unit: a number, text, or None."""
    if value is None or isinstance(value, str):
        return value
    return float(value) / kind.per if math.isfinite(float(value)) else None


def cell_text(value: Any, kind: Kind) -> str:
    """Return a cell as a person reads it."""
    number = number_of(value, kind)
    if number is None:
        return NOT_KNOWN
    if isinstance(number, str):
        return number
    text = rounded(number, kind.decimals)
    return text.removeprefix("-") if text.strip("-0.") == "" else text.replace("-", "−")


def table_element(
    table: Table,
    display: Display,
    *,
    classes: Mapping[tuple[int, int], str] | None = None,
    dot_below: float = 0.0,
) -> Element:
    """Return a table for the page: first column heads its rows; it scrolls inside its own box on a phone.

    classes : of single cells, by row and column. dot_below : smaller numbers past the first column show as a dot.
    """
    kinds = [kind_of(column.kind, display) for column in table.columns]
    body = []
    for r, row in enumerate(table.rows):
        cells = []
        for c, (value, kind, column) in enumerate(zip(row, kinds, table.columns, strict=True)):
            class_ = " ".join(x for x in ("" if column.kind == "text" else "n", (classes or {}).get((r, c))) if x)
            text = "·" if c and dot_below and value is not None and abs(value) < dot_below else cell_text(value, kind)
            cells.append(
                el("th", text, scope="row", class_=class_ or None) if c == 0 else el("td", text, class_=class_ or None)
            )
        body.append(el("tr", cells))
    made = el(
        "table", el("caption", el("span", table.caption)), el("thead", _head(table.columns, kinds)), el("tbody", body)
    )
    made.set("data-table", table.name)
    return el("div", made, class_="scroll", tabindex="0", role="region", aria_label=table.caption)


def _head(columns: Sequence[Column], kinds: Sequence[Kind]) -> list[Element]:
    names = [
        el(
            "th",
            column.heading,
            el("span", kind.unit, class_="unit") if kind.unit else None,
            scope="col",
            class_=None if column.kind == "text" else "n",
        )
        for column, kind in zip(columns, kinds, strict=True)
    ]
    if not any(column.group for column in columns):
        return [el("tr", names)]
    groups: list[tuple[str, int]] = []
    for column in columns:
        if groups and groups[-1][0] == column.group:
            groups[-1] = (column.group, groups[-1][1] + 1)
        else:
            groups.append((column.group, 1))
    over = [
        el("th", group, colspan=count, scope="colgroup", class_="group") if group else el("td", colspan=count)
        for group, count in groups
    ]
    return [el("tr", over), el("tr", names)]
