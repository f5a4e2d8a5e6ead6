"""The page to type into: its HTML, the files of assets/ that it loads from its own server, and tables for it.

The page asks its server for all that it shows; a result's table comes in. HTML text and the names of files go out.
"""

from __future__ import annotations

from collections.abc import Sequence
from string import Template
from typing import TYPE_CHECKING

from portgeo.present.page.markup import el, html
from portgeo.present.page.pieces import PIECES, asset

if TYPE_CHECKING:
    from portgeo.core.units import Display
    from portgeo.present.page.tables import Table as Shown
    from portgeo.results.figures import Table

# The answer, in its order: which figure, and what it is called until the server says it.
FIGURES = (
    ("volume", "Volume"),
    ("least_area", "Minimum area"),
    ("short_side", "Short side"),
    ("throat", "Throat"),
)
STYLES = ("pieces.css", "live.css")
SCRIPTS = (
    *PIECES, "cells.js", "choices.js", "table.js", "where.js", "desk.js", "stages.js", "forms.js", "tasks.js",
    "plan.js", "parts.js", "outline.js", "lineover.js", "photographs.js", "asks.js", "first.js", "live.js",
)  # fmt: skip
ASSETS: tuple[str, ...] = (*STYLES, *SCRIPTS)

__all__ = ["ASSETS", "asset", "live_page", "table_html"]


def live_page() -> str:
    """Return the page's HTML. Its styles and scripts are the files ASSETS under assets/, beside it."""
    figures = [
        el(
            "div",
            el("dt", label),
            el("dd", el("output", "—", class_="value"), " ", el("span", class_="sure"), " ", el("span", class_="at"),
               data_figure=name),
        )
        for name, label in FIGURES
    ]  # fmt: skip
    return Template(asset("live.html")).substitute(
        styles=html(el("link", rel="stylesheet", href=f"assets/{name}") for name in STYLES),
        figures=html(figures),
        scripts=html(el("script", src=f"assets/{name}", defer=True) for name in SCRIPTS),
    )


def table_html(
    caption: str,
    table: Table,
    display: Display,
    *,
    only: Sequence[str] = (),
    without: Sequence[str] = (),
    dot_below: float = 0.0,
) -> str:
    """Return a result's table as the report shows it. only, without, dot_below : as `columns_of`, `table_element`."""
    from portgeo.present.page.tables import Table as Shown
    from portgeo.present.page.tables import columns_of, row_of

    kind, columns = type(table), columns_of(type(table), only=only, without=without)
    rows = tuple(row_of(kind, row, only=only, without=without) for row in table.to_rows())
    return shown_html(Shown("", caption, columns, rows), display, dot_below=dot_below)


def shown_html(table: Shown, display: Display, *, dot_below: float = 0.0) -> str:
    """Return one of the report's own tables."""
    from portgeo.present.page.tables import table_element

    return html([table_element(table, display, dot_below=dot_below)])
