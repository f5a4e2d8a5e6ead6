"""Tables of the report: their columns, out of what results declare, and how the page shows them.

Rows in the core's units come in; cells as a person reads them, in the user's unit, go out.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from portgeo.core.units import Display, rounded
from portgeo.present.page.markup import Element, el
from portgeo.results.figures import Column, Result, on_the_page
from portgeo.results.kinds import Kind, kind_of, number_of

NOT_KNOWN = "–"


@dataclass(frozen=True)
class Table:
    """Rows of numbers in mm, mm2, m/s, cc, cfm; None or nan where nothing is known."""

    name: str
    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Any, ...], ...]


def slug(name: str) -> str:
    """Return a name as a file's: letters, digits and hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-") or "state"


def columns_of(result: type[Result], *, only: Sequence[str] = (), without: Sequence[str] = ()) -> tuple[Column, ...]:
    """Return the columns of the figures that a result declares for the page. only, without : figures to choose."""
    return tuple(column for _, column in on_the_page(result, only=only, without=without))


def row_of(
    result: type[Result],
    record: Mapping[str, Any],
    *,
    only: Sequence[str] = (),
    without: Sequence[str] = (),
    doubts: bool = True,
) -> tuple[Any, ...]:
    """Return a record's figures for those columns; a ± is twice the standard uncertainty, None without doubts."""
    return tuple(_figure(record, path, doubts) for path, _ in on_the_page(result, only=only, without=without))


def _figure(record: Any, path: Sequence[str | int], doubts: bool) -> Any:
    for key in path:
        record = None if record is None else record[key]
    if "_u_" in str(path[-1]):
        return 2.0 * record if record and doubts else None
    return record


def cell_text(value: Any, kind: Kind) -> str:
    """Return a cell as a person reads it."""
    number = number_of(value, kind)
    if number is None:
        return NOT_KNOWN
    if isinstance(number, str):
        return number
    return rounded(number, kind.decimals).replace("-", "−")


def table_element(
    table: Table,
    display: Display,
    *,
    classes: Mapping[tuple[int, int], str] | None = None,
    texts: Mapping[tuple[int, int], str] | None = None,
    dot_below: float = 0.0,
    headed: bool = False,
) -> Element:
    """Return a table for the page: first column heads its rows; it scrolls inside its own box on a phone.

    classes, texts : of single cells, by row and column; a text stands for the number there. dot_below : smaller
    numbers past the first column show as a dot.
    headed : the heading over it says what the caption would.
    """
    kinds = [kind_of(column.kind, display) for column in table.columns]
    body = []
    for r, row in enumerate(table.rows):
        cells = []
        for c, (value, kind, column) in enumerate(zip(row, kinds, table.columns, strict=True)):
            class_ = " ".join(x for x in ("" if column.kind == "text" else "n", (classes or {}).get((r, c))) if x)
            text = "·" if c and dot_below and value is not None and abs(value) < dot_below else cell_text(value, kind)
            text = (texts or {}).get((r, c), text)
            cells.append(
                el("th", text, scope="row", class_=class_ or None) if c == 0 else el("td", text, class_=class_ or None)
            )
        body.append(el("tr", cells))
    caption = [] if headed else [el("caption", el("span", table.caption))]
    made = el("table", *caption, el("thead", _head(table.columns, kinds)), el("tbody", body))
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


def fold(summary: str, *inside: Any) -> Element:
    """Return what is folded away, on the screen and on paper, until it is opened."""
    return el("details", el("summary", summary), list(inside))


def folds(tables: Sequence[Table], d: Display) -> Element:
    """Return tables folded away."""
    return el("div", [fold(table.caption, table_element(table, d)) for table in tables], class_="folds")


def named(tables: Mapping[str, Table], start: str) -> list[Table]:
    """Return the tables whose name begins so."""
    return [table for name, table in tables.items() if name.startswith(start)]
