"""The bench sheet: one printed side with what to take where, drawn on the port, and room to write what was read.

A Planned comes in; one page of PDF goes out. What is not cut is not on it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.figure import Figure

from portgeo.core.plane import FloatArray, IntArray
from portgeo.present.paper.sheet import SOFT, Sheet, broken, printed
from portgeo.present.pictures.charts import INK
from portgeo.present.text.cut_sheet import SHOWN_MM, answer_lines, stops_texts
from portgeo.reshape.cut_table import HOURS, TOO_CLOSE_MM
from portgeo.results.planned import Planned

EDGE = 0.5  # inches: a printer's own margin, and a thumb's
SMALL, PLAIN, BIG = 8.0, 9.0, 15.0  # points
NAMES = 0.85  # inches: the column of the answer's names
ANSWER, DRAWING = 0.54, 0.44  # of the page's width: the answer, and the port beside it
DRAWN = 2.7  # inches high: the port
ROW, LEAST_ROW = 0.2, 0.14  # inches: a line of the table, high enough to write in; as low as it can be read
ACROSS = 10.0  # times: a cut of a hair shows on a port of four inches only where it is drawn deeper than it is
CUT, RING, SHADE = "#b3541e", "#8a9199", "#e8b48f"
LEAST_SHADE = 0.12  # of the shade: the shallowest cut still shows on a printer
CELL = 7.6  # points: of the table
HEADS = 2  # lines of the table's head
TABLE = 0.6  # of what is left of the page: the table, at most, so that the order of work follows it
FINISHED = "finished"
TAPE = {"in": 2, "mm": 0}  # decimals: as a tape laid in a port is read
FILL_IN = "head ______________     port ________     date ______________     by ______________"
ON_SCREEN = " (portgeo measure shows where the port turns)"  # of an answer: nothing to paper
BESIDE = 0.16  # of the drawing's height: two figures of wall left nearer than this would lie on each other


def bench_sheet(planned: Planned, title: str, metal: str, more: Sequence[tuple[str, str]] = ()) -> bytes:
    """Return the bench sheet as PDF.

    title : what is cut, and to what. metal : what the grams are of. more : lines of the answer, a name and a sentence.
    """
    return printed(lambda: _pages(planned, title, [*answer_lines(planned, metal), *more]), title)


def _pages(planned: Planned, title: str, lines: Sequence[tuple[str, str]]) -> list[Figure]:
    """Return one page, or two where what limits the cut and the order of work do not go on the first."""
    sheet = _first(planned, title, lines)
    _lists(sheet, planned)
    if not sheet.full:
        return [sheet.figure]
    first, second = _first(planned, title, lines), Sheet(planned.display, EDGE)
    _cautions(first, planned)
    _lists(second, planned)
    return [first.figure, second.figure]


def _first(planned: Planned, title: str, lines: Sequence[tuple[str, str]]) -> Sheet:
    """Return the first page as far as the table."""
    sheet = Sheet(planned.display, EDGE)
    sheet.write(title, BIG)
    sheet.write(FILL_IN, PLAIN, colour=SOFT)
    sheet.down += 0.04
    top, room = sheet.down, sheet.room
    rows = np.flatnonzero((np.abs(planned.rows.depth) >= SHOWN_MM).any(axis=1))
    if len(rows):
        sheet.room = ANSWER * room
    for name, text in lines:
        line = sheet.down
        sheet.write(name, PLAIN, bold=True)
        sheet.down = line
        sheet.write(text.replace(ON_SCREEN, ""), PLAIN, indent=NAMES)
    sheet.room = room
    if len(rows):
        below = sheet.down
        sheet.down = top
        _port(sheet, planned, rows)
        sheet.down = max(sheet.down, below)
        _table(sheet, planned, rows)
    return sheet


def _lists(sheet: Sheet, planned: Planned) -> None:
    record = planned.to_dict()
    _list(
        sheet,
        "What limits the cut",
        stops_texts(record["areas"], record["limits"], record["warnings"], planned.display),
    )
    _list(sheet, "Order of work", planned.order_of_work)
    _cautions(sheet, planned)


def _cautions(sheet: Sheet, planned: Planned) -> None:
    _list(sheet, "Take care", planned.cautions)


def _list(sheet: Sheet, heading: str, texts: Sequence[str]) -> None:
    if not texts:
        return
    sheet.down += 0.06
    sheet.write(heading, PLAIN, bold=True)
    for k, text in enumerate(texts, start=1):
        top = sheet.down
        sheet.write(f"{k}.", SMALL, colour=SOFT)
        if not sheet.full:
            sheet.down = top
            sheet.write(text, SMALL, indent=0.18)


def _port(sheet: Sheet, planned: Planned, rows: IntArray) -> None:
    """Draw the port from its right side: its wall, the cut drawn deeper than it is, the stations to scribe."""
    d, plan = planned.display, planned.computed
    grid = plan.grid
    axes = sheet.axes(1.0 - DRAWING, DRAWING, DRAWN)
    axes.set_axis_off()
    axes.set_aspect("equal")
    half = grid.outlines.shape[1] // 2
    ends = {}
    for hour, column in ((12, 0), (6, half)):
        line = grid.points[:, column][:, [0, 2]]
        way = grid.directions[:, column][:, [0, 2]]
        moved = line + way * (ACROSS * plan.depth[:, column] / grid.lean[:, column])[:, None]
        axes.fill(*np.concatenate([line, moved[::-1]]).T, color=CUT, alpha=0.55, linewidth=0.0)
        axes.plot(*line.T, color=INK, linewidth=1.4)
        ends[hour] = np.array([np.interp(planned.rows.stations, grid.stations, line[:, k]) for k in (0, 1)]).T
    for end in (0, -1):
        axes.plot(*grid.points[end][[0, half]][:, [0, 2]].T, color=INK, linewidth=1.4)
    for row in rows:
        roof, floor = ends[12][row], ends[6][row]
        axes.plot(*np.array([roof, floor]).T, color=RING, linewidth=0.6)
        out = (roof - floor) / np.linalg.norm(roof - floor)
        station = d.length(float(planned.rows.stations[row]), label=False)
        axes.annotate(
            station, roof, xytext=9.0 * out, textcoords="offset points", fontsize=7, ha="center", va="center",
            rotation=np.degrees(np.arctan2(out[1], out[0])), rotation_mode="anchor", color=INK,
        )  # fmt: skip
    height = float(np.ptp(grid.points[..., 2]))
    labeled: list[FloatArray] = []
    for wall in planned.walls_left:  # thinnest first
        place = _on_wall(planned, wall.station_mm, wall.clock_hours)
        axes.plot(*place, marker="o", markersize=3.5, color="white", markeredgecolor=INK, markeredgewidth=0.9)
        if all(np.linalg.norm(place - other) > BESIDE * height for other in labeled):
            labeled.append(place)
            text = d.length(wall.left_mm, label=False)
            axes.annotate(text, place, xytext=(0, 5), textcoords="offset points", fontsize=7, ha="center")
    axes.margins(0.06)
    told = f"From the right side. Colored: the cut, drawn {ACROSS:.0f} times as deep as it is."
    if planned.walls_left:
        told += " Dots: wall left where it was read."
    axes.text(0.5, -0.02, "\n".join(broken(told, DRAWING * sheet.room, SMALL, "normal")), transform=axes.transAxes,
              fontsize=SMALL, color=SOFT, ha="center", va="top")  # fmt: skip
    sheet.down += DRAWN + 0.3


def _on_wall(planned: Planned, station: float, clock: float) -> FloatArray:
    """Return where a place of the wall is in the side view (2,)."""
    grid = planned.computed.grid
    row = int(np.argmin(np.abs(grid.stations - station)))
    off = np.abs((grid.clock[row] - clock + 6.0) % 12.0 - 6.0)
    return np.asarray(grid.points[row, int(np.argmin(off))][[0, 2]])


@dataclass(frozen=True)
class _Column:
    """A column of the table: what it stands under, its name, width in inches, cells; depths where they are shaded."""

    group: str
    name: str
    width: float
    cells: Sequence[str]
    shades: FloatArray | None = None


def _columns(planned: Planned, rows: IntArray, room: float) -> list[_Column]:
    """Return the columns: where, what to read now and when finished, room to write it, how deep at each hour."""
    d, table = planned.display, planned.rows

    def lengths(values: FloatArray) -> list[str]:
        return [d.length(float(value), label=False) for value in values[rows]]

    def tape(values: FloatArray) -> list[str]:
        return [f"{d.of_length(float(value)):.{TAPE[d.unit]}f}" for value in values[rows]]

    columns = [_Column("", "station", 0.48, lengths(table.stations))]
    columns += [
        _Column("tape from entry", name, 0.42, tape(table.tape[:, k])) for k, name in enumerate(("roof", "floor"))
    ]
    for name, size in (("height", table.height), ("width", table.width)):
        columns += [
            _Column(name, "now", 0.40, lengths(size[:, 0])),
            _Column(name, FINISHED, 0.46, lengths(size[:, 1])),
            _Column(name, "read", 0.5, [""] * len(rows)),
        ]
    columns.append(_Column("rise", FINISHED, 0.46, lengths(table.rise[:, 1])))
    depth = np.where(np.abs(table.depth[rows]) >= SHOWN_MM, table.depth[rows], 0.0)
    width = (room - sum(column.width for column in columns)) / len(HOURS)
    for k, hour in enumerate(HOURS):
        cells = [d.length(float(value), label=False).removeprefix("0") if value else "" for value in depth[:, k]]
        columns.append(
            _Column(f"depth, square to the wall ({d.unit}), by clock", f"{hour:.0f}", width, cells, depth[:, k])
        )
    return columns


def _table(sheet: Sheet, planned: Planned, rows: IntArray) -> None:
    """Write the table of what is cut."""
    columns, lines = _columns(planned, rows, sheet.room), len(rows) + HEADS
    typed = planned.computed.port.rows
    read = [not len(typed) or bool(np.abs(typed - s).min() < TOO_CLOSE_MM) for s in planned.rows.stations[rows]]
    sheet.down += 0.07
    below = sheet.height - sheet.margin - sheet.down
    height = min(ROW, max(LEAST_ROW, TABLE * below / lines)) * lines
    axes = sheet.axes(0.0, 1.0, height)
    axes.set(xlim=(0.0, sheet.room), ylim=(lines, 0.0))
    axes.set_axis_off()
    lefts = np.concatenate([[0.0], np.cumsum([column.width for column in columns])])
    deepest = max(float(np.abs(planned.rows.depth).max()), SHOWN_MM)
    for left, column in zip(lefts, columns, strict=False):
        middle = left + column.width / 2.0
        axes.text(middle, 1.5, column.name, fontsize=CELL, ha="center", va="center", color=SOFT)
        for row, cell in enumerate(column.cells, start=HEADS):
            if column.shades is not None and cell:
                shade = LEAST_SHADE + (1.0 - LEAST_SHADE) * abs(column.shades[row - HEADS]) / deepest
                across = [left, left + column.width]
                axes.fill_between(across, row, row + 1, color=SHADE, alpha=shade, linewidth=0.0)
            weight = "bold" if column.name in ("station", FINISHED) else "normal"
            ink = SOFT if column.name == "now" and not read[row - HEADS] else INK
            axes.text(middle, row + 0.52, cell, fontsize=CELL, ha="center", va="center", color=ink, fontweight=weight)
    for group in dict.fromkeys(column.group for column in columns if column.group):
        members = [k for k, column in enumerate(columns) if column.group == group]
        start, end = lefts[members[0]], lefts[members[-1] + 1]
        axes.text((start + end) / 2.0, 0.5, group, fontsize=CELL, ha="center", va="center", color=INK)
        axes.plot([start + 0.03, end - 0.03], [0.98, 0.98], color=RING, linewidth=0.5)
    for row in range(HEADS, lines + 1):
        axes.plot([0.0, sheet.room], [row, row], color=RING, linewidth=0.8 if row in (HEADS, lines) else 0.3)
    sheet.down += height + 0.03
    if not all(read):
        sheet.write("Gray: not read, computed between your readings.", SMALL, colour=SOFT)
