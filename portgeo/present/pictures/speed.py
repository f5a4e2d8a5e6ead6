"""Pictures of air speed: the port painted with it, speed by station, and bench curves, as PNG.

Results of `portgeo.flow` come in; picture files go out. Colours are samples of matplotlib's viridis
and cividis, which read the same with any colour vision.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import cycle
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from portgeo.comparing.distance import barycentric, closest, wall_from
from portgeo.core.plane import FloatArray
from portgeo.core.skin import net
from portgeo.core.units import FOOT, M3_S_PER, PA_PER, Display
from portgeo.flow.airspeed import AirSpeed
from portgeo.flow.bench import Run, at_depression
from portgeo.measuring.schedule import Survey
from portgeo.present.pictures.charts import INK, LINE_STYLES, colours, legend_below, tidy
from portgeo.present.pictures.port import draw_painted, render

PEAK = "#c1121f"
ROOM_ABOVE = 1.15  # of the line of what the depression gives: for what is written over it


def speed_picture(
    result: AirSpeed, survey: Survey, display: Display, title: str, path: str, *, force: bool = False
) -> None:
    """Write a picture of the path's last port painted by speed on the wall over mean speed.

    survey : of that port. Raises OutputError where the machine has no working OpenGL.
    """
    values = painted(result, survey.port.vertices)
    peak = result.side_peak or result.highest
    mark = f"peak {peak.over_mean:.2f} x the mean, {display.speed(peak.speed)}"
    render(draw_speed, (survey, values, (peak.point, mark), display, title), path, force=force)


def painted(result: AirSpeed, points: FloatArray) -> FloatArray:
    """Return speed over mean (n,) at points (n, 3) near the wall, in the path's frame."""
    wall = wall_from(result.wall.wall.reshape(-1, 3), net(*result.wall.over_mean.shape))
    foot, face = closest(wall, points)
    corners = wall.faces[face]
    share = barycentric(wall.vertices[corners], foot)
    return np.asarray((share * result.wall.over_mean.ravel()[corners]).sum(axis=1))


def draw_speed(
    plotter: Any,
    survey: Survey,
    values: FloatArray,
    peak: tuple[FloatArray, str],
    display: Display,
    title: str,
) -> None:
    """Draw a port painted by speed over mean, its peak (point (3,) and text) marked."""
    caption = f"{title}\nideal flow: speed on the wall over the mean of its section; dot: {peak[1]}"
    limits = (0.0, float(np.ceil(values.max() / 0.4) * 0.4))  # a scale of five round numbers
    draw_painted(plotter, survey, values, "speed over mean", "viridis", display, caption, limits)
    plotter.add_points(peak[0][None], color=PEAK, point_size=18, render_points_as_spheres=True)


def speed_figure(results: Sequence[tuple[str, AirSpeed]], display: Display, flow: float | None = None) -> Figure:
    """Return a chart of short-side, mean and long-side speed by station for named results.

    A panel is a place in the port, the short side's the large one; a line is a result. flow : m3/s, of all results
    together, where they are the passages of one port.
    """
    figure = Figure(figsize=(9.0, 9.6), dpi=130, layout="constrained")
    short_axes, mean_axes, long_axes = figure.subplots(3, 1, sharex=True, height_ratios=(3.0, 2.0, 2.0))
    unit, name = (FOOT, "ft/s") if display.unit == "in" else (1.0, "m/s")
    marked: dict[str, None] = {}
    for (name_of, result), colour, style in zip(results, colours(len(results)), cycle(LINE_STYLES), strict=False):
        line: Any = {"linestyle": style, "color": colour}
        x = display.of_length(result.wall.stations)
        mean = np.interp(result.wall.stations, result.stations, result.mean_isentropic) / unit
        over = result.wall.over_mean.max(axis=1) if result.side_peak is None else result.short_line
        short_axes.plot(x, mean * over, linewidth=2.5, label=name_of, **line)
        marked |= dict.fromkeys(_mark_short_side(short_axes, result, x, mean, display, unit, colour))
        mean_axes.plot(x, mean, linewidth=1.6, **line)
        if result.side_peak is not None:
            long_axes.plot(x, mean * result.long_line, linewidth=1.6, **line)
    first = results[0][1]
    water = f"{first.depression / PA_PER['in_h2o']:.0f} inH2O"
    ideal = first.ideal_speed / unit
    short_axes.axhline(ideal, color=INK, linewidth=1.0, linestyle=":")
    short_axes.annotate(
        f"{ideal:.0f} {name}: all that {water} gives without loss;\nthe mean stays under it, a wall may pass it",
        (0.01, ideal), (0, 4), xycoords=("axes fraction", "data"), textcoords="offset points", fontsize=8.5, color=INK,
    )  # fmt: skip
    sides = {result.side_peak is not None for _, result in results}
    highest = {True: "on the short side", False: "highest on the wall"}
    on_top = highest[sides.pop()] if len(sides) == 1 else "on the short side; where there is none, highest on the wall"
    mean_of = "mean of the section, of air that thins out with speed"
    places = (on_top, mean_of, "on the long side")
    tidy(short_axes, mean_axes, long_axes)
    for axes, place in zip((short_axes, mean_axes, long_axes), places, strict=True):
        axes.set_title(place, loc="left", fontsize=10, color=INK)
        axes.set_ylabel(name)
        for joint in first.path.starts[1:]:
            axes.axvline(display.of_length(float(joint)), color=INK, linewidth=0.8)
    for joint in first.path.starts[1:]:
        at = display.of_length(float(joint)), 0.03
        short_axes.annotate(" joint", at, xycoords=("data", "axes fraction"), fontsize=8.5, color=INK)
    long_axes.set_visible(any(result.side_peak is not None for _, result in results))
    (long_axes if long_axes.get_visible() else mean_axes).set_xlabel(f"station of the port, {display.unit}")
    mean_axes.tick_params(labelbottom=not long_axes.get_visible())
    short_axes.set_ylim(bottom=0.0, top=max(short_axes.get_ylim()[1], ROOM_ABOVE * ideal))
    flows = dict.fromkeys(
        f"{each / M3_S_PER['cfm']:.0f}" for each in ([flow] if flow else [r.flow for _, r in results])
    )
    title = f"Air speed at {' and '.join(flows)} cfm, {water}: ideal flow, no friction, no valve"
    figure.suptitle("\n".join([title, "; ".join(marked)]).strip(), color=INK, fontsize=11)
    if len(results) > 1:
        legend_below(figure, short_axes)
    return figure


def _mark_short_side(
    axes: Any, result: AirSpeed, x: FloatArray, mean: FloatArray, display: Display, unit: float, colour: Any
) -> list[str]:
    """Mark the short side's peak with its doubt, and where the air is to leave the wall; return what the marks say."""
    peak = result.side_peak
    if peak is None:
        return []
    short, says = mean * result.short_line, ["triangle: peak", *([] if peak.u is None else ["bar: its ±"])]
    if result.turning_on is not None:
        kept = mean * result.turning_on.line
        axes.fill_between(x, short, kept, where=kept > 1.01 * short, color=colour, alpha=0.15, linewidth=0)
        says.append("shaded: if the turn goes on past the end")
    axes.errorbar(
        display.of_length(peak.station), peak.speed / unit, yerr=None if peak.u is None else 2.0 * peak.u / unit,
        fmt="v", color=colour, capsize=4,
        markerfacecolor="white",
    )  # fmt: skip
    if result.slowing is not None and result.slowing.parts:
        k = result.slowing.from_here
        axes.plot(x[k], short[k], "X", color=PEAK, markersize=9, markeredgecolor="white")
        says.append("cross: expect the air to leave the wall")
    return says


def bench_figure(runs: Sequence[Run], depression: float, display: Display) -> Figure:
    """Return a chart of flow against lift, all runs at one depression, with swirl below where it was read."""
    swirl = any(run.swirl is not None for run in runs)
    figure = Figure(figsize=(9.0, 6.4 if swirl else 5.0), dpi=130, layout="constrained")
    rows = figure.subplots(2 if swirl else 1, 1, sharex=True, squeeze=False)[:, 0]
    for run, colour, style in zip(runs, colours(len(runs)), cycle(LINE_STYLES), strict=False):
        lift = display.of_length(run.lift)
        rows[0].plot(
            lift, at_depression(run, depression) / M3_S_PER["cfm"], style, marker="o", color=colour, label=run.name
        )
        if run.swirl is not None:
            read = np.isfinite(run.swirl)
            rows[1].plot(lift[read], run.swirl[read], style, marker="o", color=colour)
    rows[0].set_ylim(bottom=0.0)
    rows[0].set_xlim(left=0.0)
    rows[0].set_ylabel(f"cfm at {depression / PA_PER['in_h2o']:.0f} inH2O")
    rows[0].set_title("Bench runs", color=INK, fontsize=11)
    if swirl:
        read_at = {f"{water:.3g}" for r in runs if r.swirl is not None for water in r.depression / PA_PER["in_h2o"]}
        names = {r.swirl_name for r in runs if r.swirl is not None}
        name = names.pop() if len(names) == 1 else "swirl"
        rows[1].set_ylabel(f"{name}, as read" + (f"\nat {read_at.pop()} inH2O" if len(read_at) == 1 else ""))
        rows[1].set_ylim(bottom=min(0.0, *(float(np.nanmin(r.swirl)) for r in runs if r.swirl is not None)))
    rows[-1].set_xlabel(f"lift, {display.unit}")
    tidy(*rows)
    legend_below(figure, rows[0])
    return figure
