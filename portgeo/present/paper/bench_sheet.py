"""The bench sheet: one printed side with what to take where, drawn on the port, and room to write what was read.

A Planned comes in; one page of PDF goes out. What is not cut is not on it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.figure import Figure

from portgeo.core.plane import FloatArray, IntArray
from portgeo.present.paper.bench_drawing import RING, any_beside, draw_clock, draw_port, times_as_deep
from portgeo.present.paper.sheet import SOFT, Sheet, broken, printed
from portgeo.present.pictures.charts import INK
from portgeo.present.text.cut_sheet import BLEND, SHOWN_MM, UNREAD, answer_lines, blend_legend, depth_text, stops_texts
from portgeo.reshape.cut_table import HOURS, TOO_CLOSE_MM
from portgeo.results.planned import Planned

EDGE = 0.5  # inches: a printer's own margin, and a thumb's
SMALL, PLAIN, BIG = 8.0, 9.0, 15.0  # points
NAMES = 0.85  # inches: the column of the answer's names
ANSWER, DRAWING = 0.54, 0.44  # of the page's width: the answer, and the port beside it
DRAWN = 2.7  # inches high: the port
ROW, LEAST_ROW = 0.2, 0.13  # inches: a line of the table, high enough to write in; as low as it can be read
CLOCK = 1.32  # inches: the section with its hours
SHADE = "#e8b48f"
LEAST_SHADE = 0.12  # of the shade: the shallowest cut still shows on a printer
CELL, WORD_CELL = 7.6, 6.4  # points: of the table; of a word or a mark in a column of figures
HEADS = 2  # lines of the table's head
SPARE = 0.4  # inches: the table's gap and legend, and the line that a page keeps free at its foot
FINISHED = "finished"
TAPE = {"in": 2, "mm": 0}  # decimals: as a tape laid in a port is read
FILL_IN = "head ______________     port ________     date ______________     by ______________"
ON_SCREEN = " (portgeo measure shows where the port turns)"  # of an answer: nothing to paper


def bench_sheet(planned: Planned, title: str, metal: str, more: Sequence[tuple[str, str]] = ()) -> bytes:
    """Return the bench sheet as PDF.

    title : what is cut, and to what. metal : what the grams are of. more : lines of the answer, a name and a sentence.
    """
    return printed(lambda: _pages(planned, title, [*answer_lines(planned, metal), *more]), title)


def _pages(planned: Planned, title: str, lines: Sequence[tuple[str, str]]) -> list[Figure]:
    """Return one page, or two where what limits the cut and the order of work do not go on the first."""
    first = _first(planned, title, lines, _lists)
    _lists(first, planned)
    if not first.full:
        return [first.figure]
    first, second = _first(planned, title, lines, _cautions), Sheet(planned.display, EDGE)
    _cautions(first, planned)
    _lists(second, planned)
    return [first.figure, second.figure]


def _first(
    planned: Planned, title: str, lines: Sequence[tuple[str, str]], after: Callable[[Sheet, Planned], None]
) -> Sheet:
    """Return the first page as far as the table, whose lines are as high as leaves room for what comes after."""
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
        _clock(sheet, planned)
        below = sheet.down
        sheet.down = top
        _port(sheet, planned, rows)
        sheet.down = max(sheet.down, below)
        blank = Sheet(planned.display, EDGE)
        after(blank, planned)
        _table(sheet, planned, rows, sheet.height - sheet.down - blank.down - SPARE)
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
    """Draw the port with the cut and the stations to scribe, and what the drawing means."""
    size = (DRAWING * sheet.room, DRAWN)
    draw_port(sheet.axes(1.0 - DRAWING, DRAWING, DRAWN), planned, rows, size)
    times = times_as_deep(planned)
    meaning = f"From the right side. Colored: the deepest cut of roof and floor, {times:.0f} times as deep as it is."
    if planned.walls_left:
        meaning += " Dots: wall left where it was read"
        meaning += ", with the hour where that is not 12 or 6." if any_beside(planned) else "."
    _small(sheet, meaning, 1.0 - DRAWING / 2.0, DRAWING, DRAWN)
    sheet.down += DRAWN + 0.3


def _small(sheet: Sheet, text: str, middle: float, width: float, below: float) -> None:
    """Write a drawing's meaning under it. middle, width : of the room; below : inches from here down."""
    sheet.figure.text(
        (sheet.margin + middle * sheet.room) / sheet.width, 1.0 - (sheet.down + below) / sheet.height,
        "\n".join(broken(text, width * sheet.room, SMALL, "normal")), fontsize=SMALL, color=SOFT, ha="center", va="top",
    )  # fmt: skip


def _clock(sheet: Sheet, planned: Planned) -> None:
    """Draw a section with the hours of the clock under the answer."""
    axes = sheet.axes(0.0, CLOCK / sheet.room, CLOCK)
    station = draw_clock(axes, planned, (CLOCK, CLOCK))
    text = (
        f"The clock, looking in at the entry: the section at {planned.display.length(station)}, where the cut is "
        f"deepest. Colored: the cut, {times_as_deep(planned):.0f} times as deep as it is."
    )
    lines = broken(text, ANSWER * sheet.room - CLOCK - 0.1, SMALL, "normal")
    sheet.figure.text(
        (sheet.margin + CLOCK + 0.05) / sheet.width, 1.0 - (sheet.down + CLOCK / 2.0) / sheet.height, "\n".join(lines),
        fontsize=SMALL, color=SOFT, va="center",
    )  # fmt: skip
    sheet.down += CLOCK


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
    depth, unknown = table.depth[rows], table.wall_unknown[rows]
    width = (room - sum(column.width for column in columns)) / len(HOURS)
    for k, hour in enumerate(HOURS):
        texts = [depth_text(float(v), bool(u), d) for v, u in zip(depth[:, k], unknown[:, k], strict=True)]
        cells = [text.removeprefix("0") for text in texts]
        columns.append(
            _Column(f"depth, square to the wall ({d.unit}), by clock", f"{hour:.0f}", width, cells, depth[:, k])
        )
    return columns


def _table(sheet: Sheet, planned: Planned, rows: IntArray, high: float) -> None:
    """Write the table of what is cut, as high as that at most while its lines can be read."""
    columns, lines = _columns(planned, rows, sheet.room), len(rows) + HEADS
    typed = planned.computed.port.rows
    read = [not len(typed) or bool(np.abs(typed - s).min() < TOO_CLOSE_MM) for s in planned.rows.stations[rows]]
    sheet.down += 0.07
    height = min(ROW, max(LEAST_ROW, high / lines)) * lines
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
            size = WORD_CELL if cell.endswith((BLEND, UNREAD)) else CELL
            axes.text(middle, row + 0.52, cell, fontsize=size, ha="center", va="center", color=ink, fontweight=weight)
    for group in dict.fromkeys(column.group for column in columns if column.group):
        members = [k for k, column in enumerate(columns) if column.group == group]
        start, end = lefts[members[0]], lefts[members[-1] + 1]
        axes.text((start + end) / 2.0, 0.5, group, fontsize=CELL, ha="center", va="center", color=INK)
        axes.plot([start + 0.03, end - 0.03], [0.98, 0.98], color=RING, linewidth=0.5)
    for row in range(HEADS, lines + 1):
        axes.plot([0.0, sheet.room], [row, row], color=RING, linewidth=0.8 if row in (HEADS, lines) else 0.3)
    sheet.down += height + 0.03
    beside = [each.name for each in planned.metal_between]
    legend = blend_legend(planned.display, bool(planned.rows.wall_unknown[rows].any()), beside)
    gray = "" if all(read) else " Gray: not read, computed between your readings."
    sheet.write(f"{legend[:1].upper()}{legend[1:]}.{gray}", SMALL, colour=SOFT)
