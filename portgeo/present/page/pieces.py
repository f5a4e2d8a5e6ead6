"""The files of assets/ that pages are made of, and which of them every page has.

A file's name comes in; its text goes out.
"""

from __future__ import annotations

from importlib.resources import files

# One after the other: elements, charts and the port in 3D.
PIECES = ("dom.js", "charts.js", "models.js", "paint.js", "scale.js", "viewparts.js", "view.js")


def asset(name: str) -> str:
    """Return a file of assets/."""
    return (files("portgeo.present.page") / "assets" / name).read_text(encoding="utf-8")
