"""The result of tracing a whole mold: rows of a section sheet, declared once.

Rows and how the photographs were taken come in; a TracedMoldSheet, which is the JSON of `trace` for a mold, goes out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from portgeo.core.notices import Notice
from portgeo.core.units import Display
from portgeo.photos.mold_rows import TOOL, TracedMold
from portgeo.results.figures import Result, figure, inside
from portgeo.results.notices import Remark, remarks

LEAST_SWING = 0.05  # degrees: less is none
LEAST_ERROR_MM = 0.03  # of a reading: what is written to a thousandth of an inch


@dataclass(frozen=True)
class TracedSection(Result):
    """One section of a mold: a row of the sheet, its corner left to be read by template."""

    station_mm: float = figure(lambda row: row.station)
    height_mm: float = figure(lambda row: row.height)
    width_mm: float = figure(lambda row: row.width)
    turn_deg: float = figure(lambda row: float(np.degrees(row.turn)))
    swing_deg: float = figure(lambda row: float(np.degrees(row.swing)))
    reading_error_mm: float = figure(lambda row: row.error)
    zero_error_mm: float = figure(lambda row: row.shared)
    turn_error_deg: float = figure(lambda row: float(np.degrees(row.turn_error)))


@dataclass(frozen=True)
class TracedMoldSheet(Result):
    """The section sheet that photographs of a mold from the side and from above give."""

    computed: TracedMold = inside(lambda mold, *_: mold)
    computed_notices: tuple[Notice, ...] = inside(lambda mold, *_: mold.notices)
    display: Display = inside(lambda mold, display: display)
    schema: str = figure(lambda *_: "portgeo.trace/1")
    source: Mapping[str, Any] = figure(
        lambda mold, *_: {
            "file": mold.traced.photos[0].name,
            "photos": [photo.name for photo in mold.traced.photos],
        }
    )
    warnings: tuple[Remark, ...] = figure(lambda mold, display: remarks(mold.notices, display))
    camera_height_mm: float = figure(lambda mold, *_: min(float(v.position[2]) for v in mold.traced.placed.views))
    length_mm: float = figure(lambda mold, *_: mold.rows[-1].station)
    sections: tuple[TracedSection, ...] = figure(lambda mold, *_: tuple(TracedSection.of(row) for row in mold.rows))


def traced_mold(mold: TracedMold, display: Display) -> TracedMoldSheet:
    """Return the result of tracing a mold."""
    return TracedMoldSheet.of(mold, display)


def sheet_table(mold: TracedMoldSheet) -> tuple[list[str], list[list[object]]]:
    """Return header and rows of the section sheet in the user's unit, its corners empty."""
    unit, length = mold.display.unit, mold.display.length
    swings = any(abs(section.swing_deg) > LEAST_SWING for section in mold.sections)
    header = [f"station_{unit}", f"height_{unit}", f"width_{unit}", f"corner_{unit}", "turn_deg"]
    header += [*(["swing_deg"] if swings else []), f"reading_error_{unit}", f"zero_error_{unit}"]
    header += ["turn_error_deg", "tool", "note"]
    rows: list[list[object]] = []
    for k, section in enumerate(mold.sections, start=1):
        sizes = [length(mm, label=False) for mm in (section.station_mm, section.height_mm, section.width_mm)]
        angles = [section.turn_deg, *([section.swing_deg] if swings else [])]
        errors = [
            length(max(mm, LEAST_ERROR_MM), label=False) for mm in (section.reading_error_mm, section.zero_error_mm)
        ]
        note = f"section {k} of the pictures; read its corner by template"
        rows.append([*sizes, "", *(round(a, 2) for a in angles), *errors, round(section.turn_error_deg, 2), TOOL, note])
    return header, rows
