"""A survey as text for the bench: the answer first, then what to look at, then the stations.

A Survey comes in; lines of text go out, in the user's unit, no wider than a terminal.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

import numpy as np

from portgeo.core.section import wall_name
from portgeo.core.units import Display
from portgeo.measuring.advice import WORDS
from portgeo.measuring.schedule import Survey
from portgeo.measuring.sides import Bend, Side
from portgeo.present.text.notices import WIDTH, notices_lines
from portgeo.results.kinds import bench_cell, kind_of, kind_of_key
from portgeo.results.measured import Measured

STATIONS_NOTE = "± holds 19 times in 20. Stations run along the centerline from the entry."


def survey_text(measured: Measured, title: str) -> str:
    """Return a survey as text. Each ± is twice the standard uncertainty: it holds 19 times in 20."""
    survey = measured.computed
    d = survey.port.display
    lines = [
        title,
        f"  volume      {survey.volume / 1000.0:.2f} ± {max(_two(survey.volume_u / 1000.0), 0.01):.2f} cc, "
        "stem and guide not counted",
        f"  min area    {d.area(survey.least_area, label=False)} ± {d.area(_two(survey.least_area_u))} "
        f"at station {d.length(survey.least_station)}",
        f"  short side  {side_text(survey.short_side, d, survey.bend)}{_numbered(survey)}",
        f"  long side   {side_text(survey.long_side, d)}",
        *_other_bends(survey, d),
        f"  throat      {throat_text(survey, d)}",
        f"  length      {d.length(survey.length)}; mean area {d.area(survey.mean_area)}; "
        f"entry {d.area(survey.area[0])}, exit {d.area(survey.area[-1])}",
        f"  taper       {_taper_text(survey)}",
    ]
    lines += [f"  {role:<11} {text}" for role, text in _edges(survey, d)]
    lines += _advice_lines(survey, d)
    lines.append("")
    lines += notices_lines(survey.warnings, d)
    lines += table_lines(measured)
    lines += ["", STATIONS_NOTE]
    return "\n".join(lines)


def _doubt(u: float, d: Display) -> str:
    """Return the ± of a tightest radius, where one is known, and the unit."""
    return f" ± {d.length(_two(u))}" if u > 0.0 else f" {d.unit}"


def _two(u: float) -> float:
    return 2.0 * u


def side_text(side: Side | None, d: Display, bend: Bend | None = None) -> str:
    """Return a side's radius and where it is bent; bend : the one whose turn is told with it."""
    if side is None:
        return "none: the port does not turn"
    tightest = f"{d.length(side.least_radius, label=False)}{_doubt(side.least_radius_u, d)}"
    radius = f"radius {d.length(side.radius, label=False)} ± {d.length(_two(side.radius_u))}, tightest {tightest}"
    turns = "bent" if bend is None else f"turns {np.degrees(bend.plane.turn):.0f}°"
    return (
        f"{radius if side.is_round else f'tightest radius {tightest} (no one circle fits it)'};\n"
        f"{'':<14}{turns} from {d.length(side.station_from)} to {d.length(side.station_to)}"
    )


def _numbered(survey: Survey) -> str:
    """Return which of several bends the short side is of, and which wall it is on."""
    if survey.bend is None or len(survey.bends) == 1:
        return ""
    number = survey.bends.index(survey.bend) + 1
    return f" (bend {number}, {wall_name(survey.bend.plane.wall)})"


def _other_bends(survey: Survey, d: Display) -> Iterator[str]:
    """Yield a line for each bend but the one that the short side is of."""
    for k, bend in enumerate(survey.bends):
        if bend is not survey.bend:
            yield f"  {f'bend {k + 1}':<11} {side_text(bend.short, d, bend)} ({wall_name(bend.plane.wall)})"


def throat_text(survey: Survey, d: Display) -> str:
    """Return a throat's area, place and bore, and what tells where it is."""
    throat = survey.throat
    how = "" if throat.told_by == "mark" else f" (minimum near the {survey.port.valve_end})"
    return (
        f"{d.area(throat.area, label=False)} ± {d.area(_two(throat.area_u))} at station {d.length(throat.station)}, "
        f"a bore of {d.length(throat.diameter)}{how}"
    )


def _taper_text(survey: Survey) -> str:
    whole = survey.area[-1] / survey.area[0] - 1.0
    if abs(whole) < 0.005:
        return "none from entry to exit: the two openings have one area"
    word = "grows" if whole > 0 else "shrinks"
    rate = np.sqrt(survey.area[[0, -1]] / np.pi)
    angle = np.degrees(2.0 * np.arctan(abs(rate[1] - rate[0]) / survey.length))
    return f"{word} {abs(whole):.1%} from entry to exit, like a cone of {angle:.1f}° included"


def _edges(survey: Survey, d: Display) -> Iterator[tuple[str, str]]:
    """Yield what is to be said of the openings whose edges are rounded."""
    for role, edge in (("entry edge", survey.entry_edge.radius), ("exit edge", survey.exit_edge.radius)):
        hours = np.flatnonzero(np.isfinite(edge))
        if len(hours):
            low, high = (d.length(r(edge[hours]), label=False) for r in (np.min, np.max))
            spread = f"radius {d.length(float(np.median(edge[hours])))}, {low} to {high}"
            where = "all round" if len(hours) == len(edge) else f"at {', '.join(str(h or 12) for h in hours)} o'clock"
            yield role, f"rounded {where}: {spread}"


def _advice_lines(survey: Survey, d: Display) -> list[str]:
    """Return what makes most of the doubt in each figure, and what to do about it: figures of one answer together."""
    said: dict[str, list[str]] = {}
    for quantity, notice in survey.advice.items():
        said.setdefault(notice.message(d), []).append(WORDS[quantity])
    lines: list[str] = []
    for text, names in said.items():
        head = f"  {'' if lines else 'read again':<12}"
        lines += textwrap.wrap(
            f"{', '.join(names)}: {text}", WIDTH, initial_indent=head, subsequent_indent=" " * len(head)
        )
    return lines


def table_lines(measured: Measured) -> list[str]:
    """Return the stations in the columns that their measures are declared to have at the bench."""
    survey, table = measured.computed, measured.stations
    d, columns = survey.port.display, []
    for key, shown in table.at_the_bench():
        unit = kind_of(kind_of_key(key), d).unit.replace("°", "deg")
        cells = (shown.label.lower(), unit, *(bench_cell(key, value, d) for value in getattr(table, key)))
        columns.append([f"{cell:>{shown.bench}}" for cell in cells])
    head, units, *rows = (" ".join(cells) for cells in zip(*columns, strict=True))
    read_at = survey.port.rows
    is_row = [len(read_at) > 0 and np.abs(read_at - s).min() < 1e-6 for s in survey.stations]
    return [head, units, *(f"{row}  measured" if own else row for row, own in zip(rows, is_row, strict=True))]
