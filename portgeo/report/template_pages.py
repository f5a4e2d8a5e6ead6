"""Gauges laid out on paper at 1:1: what goes where, on pages or on one sheet for a cutter.

Gauges come in; pages of lines and words in millimetres from the lower left corner go out, each page
with check bars.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from portgeo.plane import FloatArray
from portgeo.reshape.gauges import Gauge
from portgeo.units import MM_PER_INCH, Display

PAPER_MM: dict[str, tuple[float, float]] = {
    "A4": (210.0, 297.0),
    "Letter": (8.5 * MM_PER_INCH, 11.0 * MM_PER_INCH),
}
MARGIN_MM = 12.0  # what common printers cannot reach, and a little more
GAP_MM = 6.0  # between pieces
WORD_MM = 3.2  # height of letters
LETTER_WIDTH = 0.56  # of their height, on the safe side of a sentence's mean
LINE_MM = 5.0
BAR_TICK_MM = 3.0
LAP_MM = 10.0  # by which pages of a piece that is too large overlap
Style = Literal["cut", "today", "mark", "bar"]


@dataclass(frozen=True)
class Stroke:
    """A line (n, 2) on a page."""

    points: FloatArray
    closed: bool
    style: Style


@dataclass(frozen=True)
class Words:
    """A line of text whose left foot is at `at` (2,)."""

    at: FloatArray
    text: str


@dataclass(frozen=True)
class Page:
    """A sheet: width and height, strokes and words. `clip` keeps strokes in (low, high), (2, 2)."""

    width: float
    height: float
    strokes: tuple[Stroke, ...]
    words: tuple[Words, ...]
    clip: FloatArray | None = None


@dataclass(frozen=True)
class _Piece:
    strokes: tuple[Stroke, ...]
    words: tuple[Words, ...]
    size: FloatArray


def pages(gauges: Sequence[Gauge], display: Display, title: str, paper: str = "A4") -> list[Page]:
    """Return gauges laid out on paper (a name in PAPER_MM), as many to a page as fit, larger ones on several."""
    width, height = PAPER_MM[paper]
    room = np.array([width, height]) - 2.0 * MARGIN_MM
    found: list[Page] = []
    shelf: list[tuple[_Piece, FloatArray]] = []
    x = y = row = 0.0

    def put_out() -> None:
        if shelf:
            found.append(_page(width, height, [_moved(piece, place) for piece, place in shelf]))
        shelf.clear()

    for piece in (_fitting(gauge, display, title, room) for gauge in gauges):
        if (piece.size > room + 1e-9).any():
            put_out()
            x = y = row = 0.0
            found += _tiles(piece, width, height, room)
            continue
        if x + piece.size[0] > room[0] + 1e-9:
            x, y, row = 0.0, y + row + GAP_MM, 0.0
        if y + piece.size[1] > room[1] + 1e-9:
            put_out()
            x = y = row = 0.0
        shelf.append((piece, np.array([MARGIN_MM + x, height - MARGIN_MM - y - piece.size[1]])))
        x, row = x + piece.size[0] + GAP_MM, max(row, piece.size[1])
    put_out()
    return found


def one_sheet(gauges: Sequence[Gauge], display: Display, title: str) -> Page:
    """Return all gauges in rows on one sheet as large as they need, for a cutter."""
    pieces = [_piece(gauge, display, title, turned=False) for gauge in gauges]
    across = max(max(float(piece.size[0]) for piece in pieces), 600.0)
    placed, x, y, row = [], 0.0, 0.0, 0.0
    for piece in pieces:
        if x + piece.size[0] > across + 1e-9:
            x, y, row = 0.0, y + row + GAP_MM, 0.0
        placed.append((piece, np.array([x, -y - piece.size[1]])))
        x, row = x + piece.size[0] + GAP_MM, max(row, float(piece.size[1]))
    height = y + row
    margin = np.full(2, MARGIN_MM)
    moved = [_moved(piece, place + margin + [0.0, height]) for piece, place in placed]
    width = max(float(place[0] + piece.size[0]) for piece, place in placed)
    return _page(width + 2.0 * MARGIN_MM, height + 2.0 * MARGIN_MM, moved)


def _page(width: float, height: float, pieces: list[_Piece]) -> Page:
    return Page(
        width,
        height,
        tuple(stroke for piece in pieces for stroke in piece.strokes),
        tuple(words for piece in pieces for words in piece.words),
    )


def _fitting(gauge: Gauge, display: Display, title: str, room: FloatArray) -> _Piece:
    """Return a gauge's piece, turned a quarter where it fits the paper only so."""
    piece = _piece(gauge, display, title, turned=False)
    if (piece.size <= room + 1e-9).all():
        return piece
    turned = _piece(gauge, display, title, turned=True)
    return turned if (turned.size <= room + 1e-9).all() or turned.size[0] < piece.size[0] else piece


def _piece(gauge: Gauge, display: Display, title: str, turned: bool) -> _Piece:
    """Return a gauge with its words and check bars under it, from its lower left corner."""
    lines = [line.points[:, ::-1] * [-1.0, 1.0] if turned else line.points for line in gauge.lines]
    low = np.min([points.min(axis=0) for points in lines], axis=0)
    size = np.max([points.max(axis=0) for points in lines], axis=0) - low
    texts = [title, *_labels(gauge, display), "measure these bars before use:"]
    foot = len(texts) * LINE_MM + 2.0 * (BAR_TICK_MM + LINE_MM) + GAP_MM
    strokes = [
        Stroke(points - low + [0.0, foot], line.closed, line.role)
        for points, line in zip(lines, gauge.lines, strict=True)
    ]
    words = [Words(np.array([0.0, foot - GAP_MM - (k + 1) * LINE_MM + 1.0]), text) for k, text in enumerate(texts)]
    bars, names = _bars(np.array([0.0, 0.0]))
    broadest = max(len(text) for text in texts) * WORD_MM * LETTER_WIDTH
    return _Piece(
        tuple(strokes + bars),
        tuple(words + names),
        np.array([max(size[0], 2.0 * MM_PER_INCH + 14.0, broadest), size[1] + foot]),
    )


def _labels(gauge: Gauge, display: Display) -> list[str]:
    place = "" if gauge.station is None else f", station {display.length(gauge.station)}"
    sizes = ", ".join(f"{name} {display.length(value)}" for name, value in gauge.lengths.items())
    return [gauge.name + place, sizes]


def _bars(at: FloatArray) -> tuple[list[Stroke], list[Words]]:
    strokes, words = [], []
    for k, (length, name) in enumerate(((50.0, "50 mm"), (2.0 * MM_PER_INCH, "2 in"))):
        foot = at + np.array([0.0, k * (BAR_TICK_MM + LINE_MM) + BAR_TICK_MM / 2.0])
        tick = np.array([0.0, BAR_TICK_MM / 2.0])
        end = foot + np.array([length, 0.0])
        strokes += [
            Stroke(np.array([foot, end]), False, "bar"),
            Stroke(np.array([foot - tick, foot + tick]), False, "bar"),
            Stroke(np.array([end - tick, end + tick]), False, "bar"),
        ]
        words.append(Words(end + np.array([2.0, -WORD_MM / 3.0]), name))
    return strokes, words


def _moved(piece: _Piece, by: FloatArray) -> _Piece:
    return _Piece(
        tuple(Stroke(s.points + by, s.closed, s.style) for s in piece.strokes),
        tuple(Words(w.at + by, w.text) for w in piece.words),
        piece.size,
    )


def _tiles(piece: _Piece, width: float, height: float, room: FloatArray) -> list[Page]:
    """Return the pages of a piece too large for one: they overlap by LAP_MM, with marks to join them by."""
    foot = 2.0 * (BAR_TICK_MM + LINE_MM) + LINE_MM
    tile = room - [0.0, foot]
    step = tile - LAP_MM
    count = np.maximum(np.ceil((piece.size - LAP_MM) / step), 1).astype(int)
    found = []
    for row in range(count[1]):
        for column in range(count[0]):
            corner = np.array([column, row]) * step
            origin = np.array([MARGIN_MM, MARGIN_MM + foot])
            clip = np.array([origin, origin + tile])
            shown = _moved(piece, origin - corner)
            words = [w for w in shown.words if (w.at >= clip[0]).all() and (w.at <= clip[1]).all()]
            marks = [Stroke(_cross(place), False, "mark") for place in _joins(clip)]
            bars, names = _bars(np.full(2, MARGIN_MM))
            place = f"column {column + 1} of {count[0]}, row {row + 1} of {count[1]} from the foot"
            name = f"{place}; lay crosses on crosses"
            names.append(Words(np.array([MARGIN_MM, MARGIN_MM + foot - LINE_MM + 1.0]), name))
            found.append(Page(width, height, (*shown.strokes, *marks, *bars), (*words, *names), clip))
    return found


def _joins(clip: FloatArray) -> list[FloatArray]:
    """Return where the crosses of a tile stand: half a lap in from its corners."""
    low, high = clip[0] + LAP_MM / 2.0, clip[1] - LAP_MM / 2.0
    return [np.array([x, y]) for x in (low[0], high[0]) for y in (low[1], high[1])]


def _cross(place: FloatArray) -> FloatArray:
    arm = LAP_MM / 4.0
    return place + arm * np.array([[-1, 0], [1, 0], [0, 0], [0, -1], [0, 1]])
