"""Gauges laid out on paper at 1:1: what goes where, on pages or on one sheet for a cutter.

Gauges come in; pages of lines and words in millimetres from the lower left corner go out, each page
with check bars.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely

from portgeo.core.plane import FloatArray
from portgeo.core.units import MM_PER_INCH, Display
from portgeo.reshape.gauges import Gauge

PAPER_MM: dict[str, tuple[float, float]] = {
    "A4": (210.0, 297.0),
    "Letter": (8.5 * MM_PER_INCH, 11.0 * MM_PER_INCH),
}
MARGIN_MM = 12.0  # what common printers cannot reach, and a little more
GAP_MM = 5.0  # between pieces
WORD_MM = 2.8  # height of letters
LETTER_WIDTH = 0.58  # of their height, on the safe side of a sentence's mean
LINE_MM = 4.2
BAR_TICK_MM = 3.0
BAR_ROOM_MM = 22.0  # for a bar's name
LEAST_WORDS_MM = 56.0  # in which words are set
HEAD_MM = 3.0 * LINE_MM + GAP_MM  # title, and how to print
CLOSE_LINE_MM = 3.6  # in a gauge
CLEAR_MM = 1.0  # of a gauge's lines, its words stay
TRY_MM = 0.5  # between places tried for them
MEASURES = {"height": "high", "width": "wide"}  # what a gauge's own words call a length of it
SIZES = {"length": "length of the edge, along the curve,"}  # by a gauge's own name of a length
LAP_MM = 10.0  # by which pages of a piece that is too large overlap
Style = Literal["cut", "edge", "today", "mark", "bar"]
PRINT = (
    "Print at 100 % (actual size, not fitted to the page) and measure both bars below before you use it.",
    "Glue it to card or thin sheet, cut along the lines, and file to the middle of the thick edges.",
)
LEGEND = (
    "Thick line: the edge that works. Thin line: the rest of the gauge. Dashed: the wall now, not to be cut.",
    "+ middle of the section, ^ points to the roof; sections are seen looking in at the entry.",
    "Where a section will not go into the port whole, halve it through the +.",
)
CUTTER = (
    "Units are millimeters: cut at 1:1 and measure a bar before use.",
    "Cut only red lines (layer CUT). Gray (TODAY): the wall now. Blue (MARK, BAR, WORDS): not to be cut.",
)


@dataclass(frozen=True)
class Stroke:
    """A line (n, 2) on a page."""

    points: FloatArray
    closed: bool
    style: Style


@dataclass(frozen=True)
class Words:
    """A line of text whose left foot is at `at` (2,), in heavier letters where `strong`."""

    at: FloatArray
    text: str
    strong: bool = False


@dataclass(frozen=True)
class Fill:
    """A filled shape: its edge (n, 2) and, the other way round, those of its holes; grey from 0, black, to 1, white."""

    rings: tuple[FloatArray, ...]
    grey: float


@dataclass(frozen=True)
class Page:
    """A sheet: width and height, strokes, words and filled shapes. `clip` keeps strokes in (low, high), (2, 2)."""

    width: float
    height: float
    strokes: tuple[Stroke, ...]
    words: tuple[Words, ...]
    clip: FloatArray | None = None
    fills: tuple[Fill, ...] = ()


@dataclass(frozen=True)
class _Piece:
    """A gauge with its words. lettered : whether they are in it, and stay with it when it is cut out."""

    strokes: tuple[Stroke, ...]
    words: tuple[Words, ...]
    size: FloatArray
    lettered: bool


def pages(gauges: Sequence[Gauge], display: Display, title: str, paper: str = "A4") -> list[Page]:
    """Return gauges laid out on paper (a name in PAPER_MM), as many to a page as fit, larger ones on several."""
    width, height = PAPER_MM[paper]
    pieces = [_piece(gauge, display, turned=False) for gauge in gauges]
    notes = [*LEGEND, *_uses(gauges, pieces)]
    notes = [line for note in notes for line in textwrap.wrap(note, int((width - 2.0 * MARGIN_MM) / _width("n")))]
    foot = len(notes) * LINE_MM + BAR_TICK_MM + 2.0 * GAP_MM
    room = np.array([width - 2.0 * MARGIN_MM, height - 2.0 * MARGIN_MM - HEAD_MM - foot])
    pieces = [_fitting(gauge, piece, display, room) for gauge, piece in zip(gauges, pieces, strict=True)]
    corner = np.array([MARGIN_MM, MARGIN_MM + foot + room[1]])
    whole = [piece for piece in pieces if (piece.size <= room + 1e-9).all()]
    laid = [
        _page(width, height, [_moved(piece, corner + place) for piece, place in placed])
        for placed in _filled(whole, room)
    ]
    for piece in pieces:
        if (piece.size > room + 1e-9).any():
            laid += _tiles(piece, width, height, room, MARGIN_MM + foot)
    return [_with_notes(page, title, notes, k + 1, len(laid)) for k, page in enumerate(laid)]


def _uses(gauges: Sequence[Gauge], pieces: Sequence[_Piece]) -> list[str]:
    """Return how gauges are used that have no such words beside them, a line for each kind, each sentence once."""
    uses: dict[str, dict[str, None]] = {}
    for gauge, piece in zip(gauges, pieces, strict=True):
        if piece.lettered and gauge.use:
            uses.setdefault(_capital(gauge.name), {}).update(dict.fromkeys(re.split(r"(?<=\.) ", gauge.use)))
    return [f"{name}: {' '.join(sentences)}" for name, sentences in uses.items()]


def _filled(pieces: Sequence[_Piece], room: FloatArray) -> list[list[tuple[_Piece, FloatArray]]]:
    """Return pieces page by page in their order, so that a station's come together, each with its lower left corner.

    A corner is counted from the room's upper left. Each piece goes as high as it can, then as far left; the first that
    no longer fits begins the next page.
    """
    laid: list[list[tuple[_Piece, FloatArray]]] = []
    boxes = np.zeros((0, 2, 2))  # on the page: low and high corners, down and right of the room's upper left
    for piece in pieces:
        low = _highest_place(boxes, piece.size, room) if laid else None
        if low is None:
            laid.append([])
            boxes, low = np.zeros((0, 2, 2)), np.zeros(2)
        laid[-1].append((piece, np.array([low[0], -low[1] - piece.size[1]])))
        boxes = np.concatenate([boxes, [[low, low + piece.size + GAP_MM]]])
    return laid


def _highest_place(boxes: FloatArray, size: FloatArray, room: FloatArray) -> FloatArray | None:
    """Return where a piece of a size goes beside boxes (k, 2, 2) that are taken, None where it does not fit.

    The highest place, and of those the leftmost, begins where others end.
    """
    rights, downs = (np.unique([0.0, *boxes[:, 1, k]]) for k in (0, 1))
    for place in (np.array([x, y]) for y in downs for x in rights):
        end = place + size
        clear = (place >= boxes[:, 1] - 1e-9) | (end + GAP_MM <= boxes[:, 0] + 1e-9)
        if (end <= room + 1e-9).all() and clear.any(axis=1).all():
            return place
    return None


def _with_notes(page: Page, title: str, notes: Sequence[str], number: int, count: int) -> Page:
    """Return a page with its title, number, what its lines mean, and the bars to check the print by."""
    top = page.height - MARGIN_MM - WORD_MM
    words = [Words(np.array([MARGIN_MM, top]), f"{title}: page {number} of {count}", strong=True)]
    words += [Words(np.array([MARGIN_MM, top - (k + 1) * LINE_MM]), text) for k, text in enumerate(PRINT)]
    foot = MARGIN_MM + BAR_TICK_MM + GAP_MM
    words += [Words(np.array([MARGIN_MM, foot + (len(notes) - 1 - k) * LINE_MM]), text) for k, text in enumerate(notes)]
    bars, names = _bars(np.full(2, MARGIN_MM))
    return Page(page.width, page.height, (*page.strokes, *bars), (*page.words, *words, *names), page.clip)


def one_sheet(gauges: Sequence[Gauge], display: Display, title: str) -> Page:
    """Return all gauges on one sheet as large as they need, for a cutter."""
    pieces = [_piece(gauge, display, turned=False) for gauge in gauges]
    across = max(max(float(piece.size[0]) for piece in pieces), 600.0)
    (placed,) = _filled(pieces, np.array([across, np.inf]))
    height = -min(float(place[1]) for _, place in placed)
    texts = [title, *CUTTER, *_uses(gauges, pieces)]
    foot = len(texts) * LINE_MM + BAR_TICK_MM + 2.0 * GAP_MM
    moved = [_moved(piece, place + [MARGIN_MM, MARGIN_MM + foot + height]) for piece, place in placed]
    words = [
        Words(np.array([MARGIN_MM, MARGIN_MM + foot - GAP_MM - (k + 1) * LINE_MM]), text, strong=k == 0)
        for k, text in enumerate(texts)
    ]
    bars, names = _bars(np.full(2, MARGIN_MM))
    width = max(float(place[0] + piece.size[0]) for piece, place in placed)
    width = max(width, max(_width(text) for text in texts), 2.0 * (2.0 * MM_PER_INCH + BAR_ROOM_MM))
    page = _page(width + 2.0 * MARGIN_MM, height + foot + 2.0 * MARGIN_MM, moved)
    return Page(page.width, page.height, (*page.strokes, *bars), (*page.words, *words, *names))


def _page(width: float, height: float, pieces: list[_Piece]) -> Page:
    return Page(
        width,
        height,
        tuple(stroke for piece in pieces for stroke in piece.strokes),
        tuple(words for piece in pieces for words in piece.words),
    )


def _fitting(gauge: Gauge, piece: _Piece, display: Display, room: FloatArray) -> _Piece:
    """Return a gauge's piece, turned a quarter where it fits the paper only so."""
    if (piece.size <= room + 1e-9).all():
        return piece
    turned = _piece(gauge, display, turned=True)
    return turned if (turned.size <= room + 1e-9).all() or turned.size[0] < piece.size[0] else piece


def _lines(gauge: Gauge, turned: bool) -> list[FloatArray]:
    """Return a gauge's lines from its own lower left corner."""
    lines = [line.points[:, ::-1] * [-1.0, 1.0] if turned else line.points for line in gauge.lines]
    low = np.min([points.min(axis=0) for points in lines], axis=0)
    return [points - low for points in lines]


def _piece(gauge: Gauge, display: Display, turned: bool) -> _Piece:
    """Return a gauge with its words, from its lower left corner: in it where they fit, so that they stay, or under."""
    lines = _lines(gauge, turned)
    size = np.max([points.max(axis=0) for points in lines], axis=0)
    words, foot = _lettering(gauge, lines, display), 0.0
    lettered = bool(words)
    if not lettered:
        wide = max(float(size[0]), LEAST_WORDS_MM)
        texts = _labels(gauge, display, int(wide / _width("n")))
        foot = len(texts) * LINE_MM + GAP_MM
        words = [
            Words(np.array([0.0, foot - GAP_MM / 2.0 - (k + 1) * LINE_MM]), text, strong)
            for k, (text, strong) in enumerate(texts)
        ]
        size = np.array([wide, size[1]])
    strokes = [
        Stroke(points + [0.0, foot], line.closed, line.role) for points, line in zip(lines, gauge.lines, strict=True)
    ]
    return _Piece(tuple(strokes), tuple(words), size + [0.0, foot], lettered)


def _lettering(gauge: Gauge, lines: Sequence[FloatArray], display: Display) -> list[Words]:
    """Return what is written in a gauge, clear of its lines, as near to its middle as may be; nothing if too small."""
    if gauge.station is None or not set(gauge.lengths) <= set(MEASURES):
        return []
    place = f"at {display.length(gauge.station)}"
    texts = [place, *(f"{display.length(v, label=False)} {MEASURES[k]}" for k, v in gauge.lengths.items())]
    if len(gauge.lengths) == 1:  # a strip has room for two lines
        texts = [*(f"{_capital(name)} {display.length(value)}" for name, value in gauge.lengths.items()), place]
    plate = shapely.Polygon(lines[0]).buffer(-CLEAR_MM)
    drawn = shapely.union_all([
        shapely.LineString(points).buffer(CLEAR_MM / 2.0)
        for points, line in zip(lines, gauge.lines, strict=True)
        if line.role in ("today", "mark") or (line.role == "cut" and points is not lines[0])
    ])  # fmt: skip
    free = plate.difference(drawn)
    shapely.prepare(free)
    block = np.array([_width(max(texts, key=len)), (len(texts) - 1) * CLOSE_LINE_MM + WORD_MM])
    ends = zip(lines[0].min(axis=0), lines[0].max(axis=0) - block, strict=True)
    places = np.stack(np.meshgrid(*(np.arange(low, high + 1e-9, TRY_MM) for low, high in ends)), axis=-1).reshape(-1, 2)
    places = places[shapely.contains(free, shapely.box(*places.T, *(places + block).T))]
    if not len(places):
        return []
    middle = np.array(plate.centroid.coords[0])
    at = places[np.argmin(np.linalg.norm(places + block / 2.0 - middle, axis=1))]
    return [
        Words(at + [0.0, (len(texts) - 1 - k) * CLOSE_LINE_MM], text, strong=k == 0) for k, text in enumerate(texts)
    ]


def _labels(gauge: Gauge, display: Display, letters: int) -> list[tuple[str, bool]]:
    """Return what is written under a gauge, in lines of so many letters, and which are strong."""
    place = "" if gauge.station is None else f", station {display.length(gauge.station)}"
    sizes = ", ".join(f"{SIZES.get(name, name)} {display.length(value)}" for name, value in gauge.lengths.items())
    labels: list[tuple[str, bool]] = []
    for text, strong in ((_capital(gauge.name) + place, True), (sizes, False), (gauge.use, False)):
        # Strong letters are broader.
        labels += [(line, strong) for line in textwrap.wrap(text, letters - 3 if strong else letters)]
    return labels


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _width(text: str) -> float:
    return len(text) * WORD_MM * LETTER_WIDTH


def _bars(at: FloatArray) -> tuple[list[Stroke], list[Words]]:
    """Return the two bars side by side, from a lower left corner."""
    strokes, words = [], []
    foot = at + np.array([0.0, BAR_TICK_MM / 2.0])
    tick = np.array([0.0, BAR_TICK_MM / 2.0])
    for length, name in ((50.0, "50 mm"), (2.0 * MM_PER_INCH, "2 in")):
        end = foot + np.array([length, 0.0])
        strokes += [
            Stroke(np.array([foot, end]), False, "bar"),
            Stroke(np.array([foot - tick, foot + tick]), False, "bar"),
            Stroke(np.array([end - tick, end + tick]), False, "bar"),
        ]
        words.append(Words(end + np.array([2.0, -WORD_MM / 3.0]), name))
        foot = end + np.array([BAR_ROOM_MM, 0.0])
    return strokes, words


def _moved(piece: _Piece, by: FloatArray) -> _Piece:
    return _Piece(
        tuple(Stroke(s.points + by, s.closed, s.style) for s in piece.strokes),
        tuple(Words(w.at + by, w.text, w.strong) for w in piece.words),
        piece.size,
        piece.lettered,
    )


def _tiles(piece: _Piece, width: float, height: float, room: FloatArray, foot: float) -> list[Page]:
    """Return the pages of a piece too large for one: they overlap by LAP_MM, with marks to join them by.

    foot : where the room begins, from the page's own foot.
    """
    tile = room - [0.0, LINE_MM]
    step = tile - LAP_MM
    count = np.maximum(np.ceil((piece.size - LAP_MM) / step), 1).astype(int)
    parts = []
    for row in range(count[1]):
        for column in range(count[0]):
            corner = np.array([column, row]) * step
            origin = np.array([MARGIN_MM, foot + LINE_MM])
            clip = np.array([origin, origin + tile])
            shown = _moved(piece, origin - corner)
            words = [w for w in shown.words if (w.at >= clip[0]).all() and (w.at <= clip[1]).all()]
            marks = [Stroke(_cross(place), False, "mark") for place in _joins(clip)]
            place = (
                f"Part in column {column + 1} of {count[0]} from the left, row {row + 1} of {count[1]} from the foot: "
                "lay crosses on crosses and tape."
            )
            words.append(Words(np.array([MARGIN_MM, foot]), place))
            parts.append(Page(width, height, (*shown.strokes, *marks), tuple(words), clip))
    return parts


def _joins(clip: FloatArray) -> list[FloatArray]:
    """Return where the crosses of a tile stand: half a lap in from its corners."""
    low, high = clip[0] + LAP_MM / 2.0, clip[1] - LAP_MM / 2.0
    return [np.array([x, y]) for x in (low[0], high[0]) for y in (low[1], high[1])]


def _cross(place: FloatArray) -> FloatArray:
    arm = LAP_MM / 4.0
    return place + arm * np.array([[-1, 0], [1, 0], [0, 0], [0, -1], [0, 1]])
