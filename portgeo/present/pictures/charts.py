"""Charts: the area schedule of one or more surveys, as PNG.

Surveys and the user's unit come in; a picture file goes out. Colours are samples of matplotlib's
cividis, which reads the same with any colour vision and in grey.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from itertools import cycle
from textwrap import shorten
from typing import Any

import matplotlib
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.transforms import Bbox

from portgeo.core.units import Display
from portgeo.files.disk import atomic_write
from portgeo.measuring.schedule import Survey

matplotlib.rcParams["text.parse_math"] = False  # a $ in the name of a state or a file is a $
INK = "#222222"
LEGEND_LETTERS, LEGEND_ROOM = 40, 95  # of a name in a legend under the chart, and of all in a line of it
COMPRESSED = 4  # of 9: a tenth larger than at 6, in half the time
LINE_STYLES = ("-", "--", ":", "-.")  # states differ in line as well as in colour


def colours(count: int) -> list[tuple[float, ...]]:
    """Return `count` colours that differ in lightness."""
    return [tuple(c) for c in matplotlib.colormaps["cividis"](np.linspace(0.0, 0.8, max(count, 2)))[:count]]


def png(figure: Figure) -> bytes:
    """Return a figure as PNG, the same bytes for the same figure."""
    canvas = FigureCanvasAgg(figure)
    if figure.get_layout_engine() is not None:
        _settle(figure)
    stream = io.BytesIO()
    canvas.print_png(stream, metadata={"Software": "portgeo"}, pil_kwargs={"compress_level": COMPRESSED})
    return stream.getvalue()


def _settle(figure: Figure) -> None:
    """Lay a figure out, and put its axes on whole pixels.

    The layout's solver goes through its unknowns in the order of their addresses in memory: places that
    hang on what this process did before differ in their last digits, and then in a pixel here and there.
    """
    layout = figure.get_layout_engine()
    assert layout is not None
    layout.execute(figure)
    figure.set_layout_engine("none")
    size = np.tile(figure.get_size_inches() * figure.dpi, 2)
    for axes in figure.axes:
        corners = np.round(axes.get_position(original=True).extents * size) / size
        axes.set_position(Bbox.from_extents(*corners))


def tidy(*all_axes: Any) -> None:
    """Give axes a faint grid, and no frame but the two sides that have figures."""
    for axes in all_axes:
        axes.grid(True, color="#eeeeee")
        axes.spines[["top", "right"]].set_visible(False)


def legend_below(figure: Figure, axes: Any) -> None:
    """Put the legend of axes under all of a figure, in as many columns as its names leave room for."""
    handles, names = axes.get_legend_handles_labels()
    if names:
        names = [shorten(name, LEGEND_LETTERS, placeholder="…") for name in names]
        figure.legend(
            handles, names, loc="outside lower center", frameon=False, fontsize=10,
            ncols=max(1, min(len(names), LEGEND_ROOM // (max(map(len, names)) + 8))), handlelength=3.5,
        )  # fmt: skip


def save(figure: Figure, path: str, *, force: bool) -> None:
    """Write a figure as PNG, whole or not at all."""
    atomic_write(path, png(figure), force=force)


def schedule_figure(surveys: Sequence[tuple[str, Survey]], display: Display) -> Figure:
    """Return a chart of area, and of height and width, against station for named surveys."""
    figure = Figure(figsize=(9.0, 6.4), dpi=130, layout="constrained")
    area_axes, size_axes = figure.subplots(2, 1, sharex=True, height_ratios=(3, 2))
    for (name, survey), colour, style in zip(surveys, colours(len(surveys)), cycle(LINE_STYLES), strict=False):
        x = display.of_length(survey.stations)
        fine = display.of_length(survey.fine_stations)
        area = display.of_area(survey.fine_area)
        spread = np.interp(survey.fine_stations, survey.stations, 2.0 * survey.area_u)
        half = display.of_area(spread)
        area_axes.fill_between(fine, area - half, area + half, color=colour, alpha=0.25, linewidth=0)
        area_axes.plot(fine, area, style, color=colour, linewidth=2, label=name)
        # A planned port has its rows from the port that it is cut from, and nobody measured it there.
        rows = np.isin(survey.stations, survey.port.rows) & bool(survey.port.readings)
        area_axes.plot(x[rows], display.of_area(survey.area)[rows], "o", color=colour, markersize=5)
        least = display.of_length(survey.least_station), display.of_area(survey.least_area)
        area_axes.plot(*least, "v", color=colour, markersize=10, markeredgecolor="white")
        size_axes.plot(x, display.of_length(survey.height), style, color=colour)
        size_axes.plot(x, display.of_length(survey.width), style, color=colour, linewidth=1, marker="x", markevery=3)
        if survey.short_side is not None and name == surveys[-1][0]:
            for axes in (area_axes, size_axes):
                axes.axvspan(
                    display.of_length(survey.short_side.station_from),
                    display.of_length(survey.short_side.station_to),
                    color="#dddddd",
                    zorder=0,
                    label="short side" if axes is area_axes else None,
                )
    area_axes.set_ylabel(f"area, {display.area_unit}")
    size_axes.set_ylabel(f"across the middle, {display.unit}")
    size_axes.set_xlabel(f"station from the entry, {display.unit}")
    area_axes.set_title(
        "Area schedule (band: 19 times in 20; dots: measured; triangle: minimum)", color=INK, fontsize=11
    )
    size_axes.set_title("height, and width (thin, with crosses)", color=INK, fontsize=10, loc="left")
    legend_below(figure, area_axes)
    tidy(area_axes, size_axes)
    return figure
