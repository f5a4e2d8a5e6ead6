"""A job begun from nothing: what is measured is said, and its first sheet is laid out.

What the first page asked comes in; where the job goes, and the edits that lay it out, go out.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from portgeo.app.job.blanks import section_rows
from portgeo.app.live.draft import slug
from portgeo.core.errors import InputError
from portgeo.core.section import TOOLS
from portgeo.core.units import LengthUnit

SHEET = "as-cast.csv"
TITLE_LETTERS = 80
FIRST_ROWS = 9  # laid out; any can be changed, taken out or added to
APART = {"in": "0.400", "mm": "10.00"}  # about what resolves a turn in a port of 4 in: *common practice, no source*


def first_edits(said: Mapping[str, Any], unit: LengthUnit) -> list[dict[str, Any]]:
    """Return the edits that lay a new job out. said : what, valve, tool, title. Raises InputError where it is unfit."""
    what, valve, tool = (str(said.get(key)) for key in ("what", "valve", "tool"))
    title = str(said.get("title") or "").strip()
    if what not in ("port", "runner") or valve not in ("intake", "exhaust", "None"):
        raise InputError("say what is measured: a port or a runner, intake or exhaust", mend="Choose one of each")
    if tool not in TOOLS:
        raise InputError("say what is measured with", mend=f"Choose {', '.join(TOOLS)}")
    if len(title) > TITLE_LETTERS:
        raise InputError("the title is too long", mend=f"Write at most {TITLE_LETTERS} letters")
    edits: list[dict[str, Any]] = []
    if title:
        edits.append({"op": "key", "table": "", "key": "title", "text": title})
    if valve == "exhaust" and what == "port":
        edits.append({"op": "key", "table": "engine", "key": "port", "text": "exhaust"})
    header = section_rows(unit)[0]
    station = header[0]
    places = APART[unit].partition(".")[2]
    cells: list[list[Any]] = []
    for row in range(1, FIRST_ROWS + 1):
        cells.append([row, station, f"{(row - 1) * float(APART[unit]):.{len(places)}f}"])
        cells.append([row, "tool", tool])
    if what == "port":
        ends = [(1, "joint"), (FIRST_ROWS, "throat")]
        if valve == "exhaust":
            ends = [(1, "throat"), (FIRST_ROWS, "joint")]
        cells += [[row, "mark", mark] for row, mark in ends]
    wanted = ("tool", "swing_deg") if what == "runner" else ("tool",)
    edits += [{"op": "column", "file": SHEET, "name": name} for name in wanted if name not in header]
    edits.append({"op": "insert", "file": SHEET, "at": 1, "count": FIRST_ROWS})
    edits.append({"op": "cells", "file": SHEET, "cells": cells})
    return edits


def place_for(parent: Path, title: str) -> Path:
    """Return a folder for a new job that is not there yet."""
    name, k = slug(title), 2
    found = parent / name
    while found.exists():
        found, k = parent / f"{name}-{k}", k + 1
    return found
