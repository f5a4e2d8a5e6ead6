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
from portgeo.core.units import MM_PER, LengthUnit
from portgeo.files.sheets.numbers import read_number
from portgeo.files.sheets.side_points import PLAN

SHEET = "as-cast.csv"
TITLE_LETTERS = 80
STATIONS = 8  # laid out where it is not said: about what a port of 4 in wants, *common practice, no source*
MOST_STATIONS = 60
LENGTHS_MM = (5.0, 2000.0)  # of a port or a runner
PLACES = {"in": 3, "mm": 2}  # decimals of a station


def first_edits(said: Mapping[str, Any], unit: LengthUnit) -> list[dict[str, Any]]:
    """Return the edits that lay a new job out.

    said : what, valve, by, tool, title, stations, length. Raises InputError where it is unfit.
    """
    what, valve, tool = (str(said.get(key)) for key in ("what", "valve", "tool"))
    title = str(said.get("title") or "").strip()
    if what not in ("port", "runner") or valve not in ("intake", "exhaust", "None"):
        raise InputError("say what is measured: a port or a runner, intake or exhaust", hint="Choose one of each")
    if tool not in TOOLS:
        raise InputError("say what is measured with", hint=f"Choose {', '.join(TOOLS)}")
    if len(title) > TITLE_LETTERS:
        raise InputError("the title is too long", hint=f"Write at most {TITLE_LETTERS} letters")
    edits: list[dict[str, Any]] = []
    if title:
        edits.append({"op": "key", "table": "", "key": "title", "text": title})
    if valve == "exhaust" and what == "port":
        edits.append({"op": "key", "table": "engine", "key": "port", "text": "exhaust"})
    count, points = _count(said.get("stations")), by_points(said)
    header = section_rows(unit, points=points)[0]
    cells: list[list[Any]] = [[row, "tool", tool] for row in range(1, count + 1)]
    if not points:
        cells += _stations(header[0], count, _length(said.get("length"), unit), unit)
    if what == "port":
        ends = [(1, "joint"), (count, "throat")]
        if valve == "exhaust":
            ends = [(1, "throat"), (count, "joint")]
        cells += [[row, "mark", mark] for row, mark in ends]
    sideways = [f"{name}_{unit}" for name in PLAN] if points else ["swing_deg"]  # as a runner swings, and a port seldom
    wanted = ("tool", *(sideways if what == "runner" else ()))
    edits += [{"op": "column", "file": SHEET, "name": name} for name in wanted if name not in header]
    edits.append({"op": "insert", "file": SHEET, "at": 1, "count": count})
    edits.append({"op": "cells", "file": SHEET, "cells": cells})
    return edits


def by_points(said: Mapping[str, Any]) -> bool:
    """Return whether a new job is read off a mold that lies on squared paper."""
    return said.get("by") == "points"


def _stations(column: str, count: int, length: float | None, unit: LengthUnit) -> list[list[Any]]:
    """Return the cells of stations that are spread evenly over a length; of the first alone where it is not known."""
    far = [0.0] if length is None else [length * k / (count - 1) for k in range(count)]
    return [[row, column, f"{station:.{PLACES[unit]}f}"] for row, station in enumerate(far, start=1)]


def _count(said: Any) -> int:
    """Return how many stations are wanted. Raises InputError where that is no such number."""
    text = str(STATIONS if said in (None, "") else said).strip()
    if not (text.isascii() and text.isdigit() and 2 <= int(text) <= MOST_STATIONS):
        raise InputError(f"{text[:40]!r} is not a number of stations", hint=f"Give one from 2 to {MOST_STATIONS}")
    return int(text)


def _length(said: Any, unit: LengthUnit) -> float | None:
    """Return how long the port is, in its unit; None where it is not known. Raises InputError."""
    if said in (None, ""):
        return None
    length = read_number(str(said), unit=unit, decimal_comma=True)
    low, high = (edge / MM_PER[unit] for edge in LENGTHS_MM)
    if not low <= length <= high:
        raise InputError(f"no port is {said} {unit} long", hint=f"Give one from {low:.4g} to {high:.4g}")
    return length


def place_for(parent: Path, title: str) -> Path:
    """Return a folder for a new job that is not there yet."""
    name, k = slug(title), 2
    found = parent / name
    while found.exists():
        found, k = parent / f"{name}-{k}", k + 1
    return found
