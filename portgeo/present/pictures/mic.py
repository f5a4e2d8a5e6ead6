"""The picture that goes with a blank section sheet: where to put the micrometer, and what each column is.

Nothing comes in; a PNG goes out.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.patches import FancyArrowPatch

from portgeo.core.plane import FloatArray
from portgeo.present.pictures.charts import INK, png

METAL, AIR, LINE, ACROSS, ASIDE = "#d8d4cc", "#ffffff", "#7a7a7a", "#1f5a8a", "#a8430c"
# A port as good as any to point at, in units of its own: straight leg, turn and its radius, straight leg.
LEGS, RADIUS, TURN = (4.2, 1.0), 2.6, np.radians(68.0)
HEIGHTS = (2.5, 1.9)  # at entry and exit
STATIONS = (0.0, 1.4, 2.8, 4.2, 5.4, 6.6)
SHOWN = 3  # the station that is spelt out
STYLE = {"fontsize": 10, "color": INK, "ha": "center", "va": "center"}


def mic_picture() -> bytes:
    """Return the picture as PNG."""
    figure = Figure(figsize=(11.0, 5.4), dpi=110, facecolor="white")
    side, section = figure.add_axes((0.01, 0.02, 0.56, 0.9)), figure.add_axes((0.59, 0.02, 0.4, 0.9))
    _side(side)
    _section(section)
    for axes, title in ((side, "From the side"), (section, "Looking into the entry, at one station")):
        axes.set_aspect("equal")
        axes.set_axis_off()
        axes.set_title(title, fontsize=12, color=INK, loc="left")
    return png(figure)


def _way(station: float) -> tuple[FloatArray, float]:
    """Return the point (2,) of the centreline at a station, and its heading below the horizontal."""
    turned = float(np.clip((station - LEGS[0]) / RADIUS, 0.0, TURN))
    first, last = min(station, LEGS[0]), max(station - LEGS[0] - RADIUS * TURN, 0.0)
    arc = RADIUS * np.array([np.sin(turned), np.cos(turned) - 1.0])
    return np.array([first, 0.0]) + arc + last * np.array([np.cos(turned), -np.sin(turned)]), turned


def _across(station: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the centreline's point, the roof's and the floor's at a station."""
    length = LEGS[0] + RADIUS * TURN + LEGS[1]
    middle, heading = _way(station)
    half = (HEIGHTS[0] + (HEIGHTS[1] - HEIGHTS[0]) * station / length) / 2.0
    up = np.array([np.sin(heading), np.cos(heading)])
    return middle, middle + half * up, middle - half * up


def _side(axes: Any) -> None:
    length = LEGS[0] + RADIUS * TURN + LEGS[1]
    along = np.linspace(0.0, length, 120)
    line, roof, floor = (np.array(part) for part in zip(*(_across(s) for s in along), strict=True))
    high = roof.max(axis=0)
    axes.fill_between([0.0, high[0] + 1.5], -4.6, high[1] + 1.1, color=METAL, linewidth=0)
    axes.fill(*np.concatenate([roof, floor[::-1]]).T, color=AIR, linewidth=0)
    for wall in (roof, floor):
        axes.plot(*wall.T, color=INK, linewidth=2)
    axes.plot(*line.T, color=LINE, linewidth=1.2, linestyle=(0, (8, 4)))
    for k, station in enumerate(STATIONS):
        middle, top, bottom = _across(station)
        shown = k == SHOWN
        if shown:
            _arrow(axes, bottom, top)
        else:
            axes.plot(*np.array([bottom, top]).T, color=ACROSS, linewidth=0.9)
        away = (top - middle) / np.linalg.norm(top - middle)
        axes.text(*(top + 0.33 * away), f"{k + 1}", **STYLE)
        axes.plot(*middle, "o", color=ACROSS, markersize=3)
    middle, top, bottom = _across(STATIONS[SHOWN])
    axes.text(middle[0] - 0.18, middle[1] + 0.55, "height", rotation=90, **(STYLE | {"color": ACROSS, "ha": "right"}))
    _arrow(axes, np.array([0.0, -0.3]), np.array([STATIONS[2], -0.3]), INK, 1.0)
    axes.text((STATIONS[1] + STATIONS[2]) / 2.0, -0.58, "station 3", **(STYLE | {"fontsize": 9}))
    axes.text(-0.3, 0.0, "entry", rotation=90, **STYLE)
    end, heading = _way(length)
    axes.text(*(end + 0.4 * np.array([np.cos(heading), -np.sin(heading)])), "exit (throat)", **STYLE)
    axes.text(1.4, high[1] + 0.75, "roof: outside of the turn", **STYLE)
    axes.text(1.9, floor[:, 1][0] - 0.4, "floor: inside of the turn", **STYLE)
    start = _way(STATIONS[SHOWN])[0]
    axes.plot([start[0], start[0] + 2.7], [start[1], start[1]], color=LINE, linewidth=0.9, linestyle=":")
    later, turned = _way(STATIONS[SHOWN + 1])
    ahead = np.array([np.cos(turned), -np.sin(turned)])
    axes.plot(*np.array([later, later + 1.35 * ahead]).T, color=LINE, linewidth=0.9, linestyle=":")
    start = _way(STATIONS[SHOWN])[0] + np.array([2.75, 0.45])
    axes.text(*start, "turn: how far from\nthe way it started", **(STYLE | {"fontsize": 9, "ha": "left"}))
    axes.text(
        0.1, -3.5,
        "station: along the dashed line, from the entry.\nMeasure square to it, straight across the middle.\n"
        "Put a station wherever the shape changes: flange, pinch,\n"
        "start of the turn, short side, bowl, throat.",
        **(STYLE | {"ha": "left", "fontsize": 10}),
    )  # fmt: skip
    axes.set_xlim(-0.6, high[0] + 1.5)
    axes.set_ylim(-4.7, high[1] + 1.1)


def _arrow(axes: Any, start: FloatArray, end: FloatArray, colour: str = ACROSS, width: float = 2.0) -> None:
    style: dict[str, Any] = {"arrowstyle": "<|-|>", "mutation_scale": 7 * width, "shrinkA": 0, "shrinkB": 0}
    style |= {"color": colour, "linewidth": width}
    axes.add_patch(FancyArrowPatch(tuple(start), tuple(end), **style))


def _section(axes: Any) -> None:
    width, height, corner = 1.5, 2.4, 0.45  # halves
    angle = np.linspace(0.0, np.pi / 2.0, 24)
    quarter = np.column_stack([width - corner + corner * np.cos(angle), height - corner + corner * np.sin(angle)])
    ring = np.concatenate([quarter, (quarter * [-1, 1])[::-1], quarter * [-1, -1], (quarter * [1, -1])[::-1]])
    axes.fill_between([-3.6, 3.6], -3.5, 3.5, color=METAL, linewidth=0)
    axes.fill(*ring.T, color=AIR, edgecolor=INK, linewidth=2)
    _arrow(axes, np.array([0.0, -height]), np.array([0.0, height]))
    _arrow(axes, np.array([-width, 0.0]), np.array([width, 0.0]))
    _aside(axes)
    axes.text(0.15, 1.1, "height", rotation=90, **(STYLE | {"color": ACROSS, "ha": "left"}))
    axes.text(-0.75, 0.25, "width", **(STYLE | {"color": ACROSS}))
    centre = np.array([width - corner, height - corner])
    axes.plot(*centre, "+", color=INK)
    tip = centre + corner * np.array([np.cos(np.pi / 4), np.sin(np.pi / 4)])
    axes.plot(*np.array([centre, tip]).T, color=INK, linewidth=1)
    axes.text(1.62, height + 0.15, "corner_roof\n(its radius)", **(STYLE | {"ha": "left", "fontsize": 9}))
    axes.text(1.62, -height - 0.15, "corner_floor", **(STYLE | {"ha": "left", "fontsize": 9}))
    for hour, place, name in (
        (12, (0.0, height + 0.38), "roof"), (3, (width + 0.95, 0.15), "right wall"),
        (6, (0.0, -height - 0.38), "floor"), (9, (-width - 0.95, 0.15), "left wall"),
    ):  # fmt: skip
        axes.text(*place, f"{hour} o'clock\n{name}", **(STYLE | {"fontsize": 10}))
    axes.text(
        -3.5, -3.7,
        "rise, shift: how far the section's middle lies above the\ncenterline, and left of it; 0 where the line runs "
        "through it.\nA round section has one diameter: put it under height.",
        **(STYLE | {"ha": "left", "va": "top"}),
    )  # fmt: skip
    axes.set_xlim(-3.6, 3.6)
    axes.set_ylim(-4.9, 3.5)


def _aside(axes: Any) -> None:
    """Draw a centreline that runs beside the section's middle, and how far beside."""
    line = np.array([0.75, -1.1])
    axes.plot(*line, "o", color=LINE, markersize=6)
    axes.text(line[0], line[1] - 0.42, "centerline", **(STYLE | {"color": LINE, "fontsize": 9}))
    for end in (np.array([line[0], 0.0]), np.array([0.0, line[1]])):
        style: dict[str, Any] = {"arrowstyle": "-|>", "mutation_scale": 12, "shrinkA": 4, "shrinkB": 0}
        axes.add_patch(FancyArrowPatch(tuple(line), tuple(end), color=ASIDE, linewidth=1.5, **style))
    named = STYLE | {"color": ASIDE}
    axes.text(line[0] + 0.1, line[1] / 2.0, "rise", **(named | {"ha": "left"}))
    axes.text(line[0] / 2.0, line[1] + 0.22, "shift", **named)
