"""The page to type into: its HTML, and the files of assets/ that it loads from its own server.

Nothing comes in: the page asks its server for all that it shows. HTML text and the names of files go out.
"""

from __future__ import annotations

from string import Template

from portgeo.present.page.markup import el, html
from portgeo.present.page.pieces import PIECES, asset

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
    "plan.js", "parts.js", "asks.js", "first.js", "live.js",
)  # fmt: skip
ASSETS: tuple[str, ...] = (*STYLES, *SCRIPTS)

__all__ = ["ASSETS", "asset", "live_page"]


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
