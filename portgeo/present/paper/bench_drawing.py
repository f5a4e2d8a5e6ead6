"""The bench sheet's two drawings: the port from its right side, and one section with the hours of the clock.

A Planned and axes of a size in inches come in; the axes are drawn on. Cuts are drawn deeper than they are.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.section import WALLS
from portgeo.present.pictures.charts import INK
from portgeo.results.planned import Planned, WallKept, deepest_place

TIMES = (10.0, 5.0, 2.0, 1.0)  # a cut of a hair shows on a port of four inches only where it is drawn deeper than it is
DEEPEST_DRAWN = 0.2  # of the entry's height: no cut is drawn deeper
CUT, RING = "#b3541e", "#8a9199"
MARGIN_IN = 0.3  # inches round the drawn port: a station's figure goes there
LETTERS = 7.0  # points: of figures in a drawing
LETTER_WIDE, LETTER_HIGH = 0.55, 1.3  # of their size: a figure's width on the safe side, its line's height
DOT = 2.6  # points: radius of a wall reading's dot
SAME_DOT = 3.0  # points: readings nearer than this have one dot
AWAY = (8.0, 11.0, 15.0, 20.0, 28.0, 38.0, 50.0)  # points from a dot to the middle of its figure, nearest first
LEADER = 24  # places along the line from a dot to its figure that must be free
WAYS = 24  # directions tried round a dot
HOURS_OUT = 8.0  # points outside the section, where its hours stand
TOWARD = {12: "12", 3: "3 right", 6: "6", 9: "9 left"}
ALONG = {12: "roof", 6: "floor"}
SMOOTH = 5  # rows of the grid over which the drawn edge of a cut is smoothed: its steps are of the grid, not the cut


@dataclass(frozen=True)
class _Drawing:
    """Axes on which figures are placed: `per_point` of the drawing's units make a point of type."""

    axes: Any
    per_point: float

    def box(self, middle: FloatArray, text: str) -> FloatArray:
        """Return the lower left and upper right corners (2, 2) of a text about its middle."""
        lines = text.splitlines()
        half = self.per_point * LETTERS / 2.0 * np.array([LETTER_WIDE * max(map(len, lines)), LETTER_HIGH * len(lines)])
        return np.array([middle - half, middle + half])


def _drawing(axes: Any, points: FloatArray, size: tuple[float, float], margin: float = MARGIN_IN) -> _Drawing:
    """Return axes that hold points (n, 2) at one scale both ways. size : of the axes, inches."""
    low, high = points.min(axis=0), points.max(axis=0)
    room = np.array(size)
    per_inch = float(((high - low) / (room - 2.0 * margin)).max())
    half, middle = per_inch * room / 2.0, (low + high) / 2.0
    axes.set_axis_off()
    axes.set(xlim=(middle[0] - half[0], middle[0] + half[0]), ylim=(middle[1] - half[1], middle[1] + half[1]))
    return _Drawing(axes, per_inch / 72.0)


def times_as_deep(planned: Planned) -> float:
    """Return how many times as deep as it is a cut is drawn."""
    plan = planned.computed
    deepest = max(float(np.abs(plan.depth).max()), 1e-9)
    room = DEEPEST_DRAWN * float(np.ptp(plan.grid.outlines[0][:, 1]))
    return next((times for times in TIMES if times * deepest <= room), TIMES[-1])


def draw_port(axes: Any, planned: Planned, rows: IntArray, size: tuple[float, float]) -> None:
    """Draw the port from its right side: its wall, the deepest cut of roof and floor, the stations to scribe."""
    plan, d = planned.computed, planned.display
    grid = plan.grid
    half = grid.outlines.shape[1] // 2
    edges = {k: grid.points[:, column][:, [0, 2]] for k, column in (("roof", 0), ("floor", half))}
    moved, times = {}, times_as_deep(planned)
    for wall, column in (("roof", 0), ("floor", half)):
        depth = plan.depth[:, grid.wall == WALLS.index(wall)]
        deepest = np.take_along_axis(depth, np.abs(depth).argmax(axis=1)[:, None], axis=1)[:, 0]
        way = grid.directions[:, column][:, [0, 2]]
        moved[wall] = edges[wall] + way * (times * _smoothed(deepest) / grid.lean[:, column])[:, None]
    drawing = _drawing(axes, np.concatenate([*edges.values(), *moved.values()]), size)
    for wall, edge in edges.items():
        axes.fill(*np.concatenate([edge, moved[wall][::-1]]).T, color=CUT, alpha=0.55, linewidth=0.0)
        axes.plot(*edge.T, color=INK, linewidth=1.4)
    for end in (0, -1):
        axes.plot(*np.array([edges["roof"][end], edges["floor"][end]]).T, color=INK, linewidth=1.4)
    walls = [drawing.box(place, "0") for edge in (*edges.values(), *moved.values()) for place in edge]
    figures: list[FloatArray] = []
    stations = planned.rows.stations[rows]
    roof, floor, over = (
        np.array([np.interp(stations, grid.stations, edge[:, k]) for k in (0, 1)]).T
        for edge in (*edges.values(), moved["roof"])
    )
    for station, top, foot, start in zip(stations, roof, floor, over, strict=True):
        axes.plot(*np.array([top, foot]).T, color=RING, linewidth=0.6)
        out = (top - foot) / np.linalg.norm(top - foot)
        text = d.length(float(station), label=False)
        reach = np.array([5.0, 5.0 + LETTERS * LETTER_WIDE * len(text)])
        axes.annotate(
            text, start, xytext=out * reach.mean(), textcoords="offset points", fontsize=LETTERS, ha="center",
            va="center", rotation=np.degrees(np.arctan2(out[1], out[0])), rotation_mode="anchor", color=INK,
        )  # fmt: skip
        along = np.linspace(reach[0], reach[1], 5)
        figures += [drawing.box(start + drawing.per_point * step * out, "0") for step in along]
    _wall_readings(drawing, planned, np.array(walls), figures)


def _smoothed(depth: FloatArray) -> FloatArray:
    """Return depths (n,) as the running mean over SMOOTH rows."""
    held = np.pad(depth, SMOOTH // 2, mode="edge")
    return np.convolve(held, np.full(SMOOTH, 1.0 / SMOOTH), mode="valid")


def _wall_readings(drawing: _Drawing, planned: Planned, walls: FloatArray, others: Sequence[FloatArray]) -> None:
    """Put a dot where the wall was read, and beside it what the cut leaves there.

    walls, others : boxes (k, 2, 2) on which no figure may lie; a line to a figure may cross the walls alone.
    """
    dots: list[tuple[FloatArray, list[str]]] = []
    for wall in planned.walls_left:
        place, hour = _on_wall(planned, wall.station_mm, wall.clock_hours), _hour(wall)
        left = planned.display.length(wall.left_mm, label=False)
        text = left if hour in ALONG else f"{hour}: {left}"
        near = [texts for dot, texts in dots if np.linalg.norm(place - dot) < SAME_DOT * drawing.per_point]
        if near:
            near[0].append(text)
        else:
            dots.append((place, [text]))
    figures = np.array([*others, *(drawing.box(place, "0") for place, _ in dots)])
    for place, texts in sorted(dots, key=lambda dot: -len(dot[1])):  # the largest first: it fits in fewer places
        text = "\n".join(texts)
        drawing.axes.plot(*place, marker="o", markersize=2.0 * DOT, color="white", markeredgecolor=INK, zorder=4)
        middle = _free_place(drawing, place, text, walls, figures)
        if middle is None:
            continue
        figures = np.concatenate([figures, drawing.box(middle, text)[None], _leader(place, middle, drawing)])
        drawing.axes.plot(*np.array([place, middle]).T, color=INK, linewidth=0.4, zorder=3)
        drawing.axes.text(
            *middle, text, fontsize=LETTERS, ha="center", va="center", color=INK, zorder=5, linespacing=1.1,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.3},
        )  # fmt: skip


def _hour(wall: WallKept) -> int:
    return round(wall.clock_hours) % 12 or 12


def any_beside(planned: Planned) -> bool:
    """Return whether a wall reading is neither of the roof's nor of the floor's middle, so that its hour is shown."""
    return any(_hour(wall) not in ALONG for wall in planned.walls_left)


def _round_about(place: FloatArray, drawing: _Drawing) -> Iterable[FloatArray]:
    """Yield where a dot's figure may stand, the nearest first."""
    for away in AWAY:
        for turn in 2.0 * np.pi * np.arange(WAYS) / WAYS:
            yield place + drawing.per_point * away * np.array([1.5 * np.cos(turn), np.sin(turn)])


def _free_place(
    drawing: _Drawing, place: FloatArray, text: str, walls: FloatArray, figures: FloatArray
) -> FloatArray | None:
    """Return where a dot's figure goes: off walls and figures, else on a wall, else with its line over a figure."""
    around = [(m, drawing.box(m, text), _leader(place, m, drawing)) for m in _round_about(place, drawing)]
    for on_no, crossing_no in (((walls, figures), (figures,)), ((figures,), (figures,)), ((figures,), ())):
        for middle, box, line in around:
            if _is_free(box, *on_no) and _is_free(line, *crossing_no):
                return middle
    return None


def _leader(place: FloatArray, middle: FloatArray, drawing: _Drawing) -> FloatArray:
    """Return boxes (k, 2, 2) along the line from a dot's edge to its figure."""
    along = middle - place
    start = min(1.6 * DOT * drawing.per_point / float(np.linalg.norm(along)), 1.0)
    points = place + np.linspace(start, 1.0, LEADER)[:, None] * along
    half = drawing.per_point * 0.5
    return np.stack([points - half, points + half], axis=1)


def _is_free(box: FloatArray, *taken: FloatArray) -> bool:
    """Return whether a box (2, 2), or several (j, 2, 2), lie on none of boxes (k, 2, 2)."""
    each = box.reshape(-1, 1, 2, 2)
    return not any(
        ((each[:, :, 0] < boxes[:, 1]).all(axis=2) & (boxes[:, 0] < each[:, :, 1]).all(axis=2)).any() for boxes in taken
    )


def _on_wall(planned: Planned, station: float, clock: float) -> FloatArray:
    """Return where a place of the wall is in the side view (2,)."""
    grid = planned.computed.grid
    row = int(np.argmin(np.abs(grid.stations - station)))
    off = np.abs((grid.clock[row] - clock + 6.0) % 12.0 - 6.0)
    return np.asarray(grid.points[row, int(np.argmin(off))][[0, 2]])


def draw_clock(axes: Any, planned: Planned, size: tuple[float, float]) -> float:
    """Draw the section where the cut is deepest, looking in at the entry, with its hours; return its station."""
    plan = planned.computed
    grid, row = plan.grid, deepest_place(plan)[0]
    to_right = np.array([-1.0, 1.0])
    line = grid.outlines[row] * to_right
    cut = (grid.outlines[row] + grid.outward[row] * (times_as_deep(planned) * plan.travel[row])[:, None]) * to_right
    drawing = _drawing(axes, np.concatenate([line, cut]), size)
    axes.fill(*cut.T, color=CUT, alpha=0.55, linewidth=0.0)
    axes.fill(*line.T, facecolor="white", edgecolor=INK, linewidth=1.2)
    middle = line.mean(axis=0)
    axes.plot(*middle, marker="+", color=RING, markersize=6)
    for hour in range(1, 13):
        off = np.abs((grid.clock[row] - hour + 6.0) % 12.0 - 6.0)
        place = cut[int(np.argmin(off))]
        way = np.array([np.sin(hour * np.pi / 6.0), np.cos(hour * np.pi / 6.0)])
        side = "center" if hour not in (3, 9) else "left" if hour == 3 else "right"
        out = HOURS_OUT - 4.0 * (hour in (3, 9))
        text = f"{hour} {ALONG[hour]}" if hour in ALONG else TOWARD.get(hour, str(hour))
        axes.text(
            *(place + drawing.per_point * out * way), text, fontsize=LETTERS, ha=side, va="center", color=INK,
            fontweight="bold" if hour % 3 == 0 else "normal",
        )  # fmt: skip
    return float(grid.stations[row])
