"""Pictures of air speed: the port painted with it, speed by station, and bench curves, as PNG.

Results of `portgeo.flow` come in; picture files go out. Colours are samples of matplotlib's viridis
and cividis, which read the same with any colour vision.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from portgeo.compare.distance import barycentric, closest, wall_from
from portgeo.flow.airspeed import AirSpeed
from portgeo.flow.bench import Run, at_depression
from portgeo.plane import FloatArray
from portgeo.report.charts import INK, LINE_STYLES, colours, save
from portgeo.report.pictures import draw_painted, render
from portgeo.skin import net
from portgeo.survey.schedule import Survey
from portgeo.units import FOOT, M3_S_PER, PA_PER, Display

PEAK = "#c1121f"


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


def speed_chart(results: Sequence[tuple[str, AirSpeed]], display: Display, path: str, *, force: bool = False) -> None:
    """Write a chart of mean, short-side and long-side speed by station for named results."""
    save(speed_figure(results, display), path, force=force)


def speed_figure(results: Sequence[tuple[str, AirSpeed]], display: Display) -> Figure:
    """Return a chart of mean, short-side and long-side speed by station for named results."""
    figure = Figure(figsize=(9.0, 5.2), dpi=130, layout="constrained")
    axes = figure.subplots()
    feet = display.unit == "in"
    unit, name = (FOOT, "ft/s") if feet else (1.0, "m/s")
    for (label, result), colour, style in zip(results, colours(len(results)), LINE_STYLES, strict=False):
        x = np.array([display.of_length(s) for s in result.wall.stations])
        mean = np.interp(result.wall.stations, result.stations, result.mean_speed) / unit
        at = np.array([display.of_length(s) for s in result.stations])
        axes.plot(at, result.mean_speed / unit, style, color=colour, linewidth=1.5, label=f"mean, {label}")
        if result.side_peak is None:
            axes.plot(
                x,
                mean * result.wall.over_mean.max(axis=1),
                style,
                color=colour,
                linewidth=2.5,
                label=f"highest, {label}",
            )
            continue
        axes.plot(x, mean * result.short_line, style, color=colour, linewidth=2.5, label=f"short side, {label}")
        axes.plot(x, mean * result.long_line, style, color=colour, linewidth=0.8, label=f"long side, {label}")
        peak = result.side_peak
        axes.errorbar(
            display.of_length(peak.station), peak.speed / unit, yerr=peak.error / unit, fmt="v", color=colour, capsize=4
        )
        if result.slowing is not None and result.slowing.parts:
            k = result.slowing.from_here
            axes.plot(x[k], mean[k] * result.short_line[k], "X", color=colour, markersize=10, label=f"parts, {label}")
    first = results[0][1]
    axes.axhline(first.ideal_speed / unit, color=INK, linewidth=0.8, linestyle=":")
    axes.annotate(
        "without loss, from the depression", (0.01, first.ideal_speed / unit), xycoords=("axes fraction", "data"),
        va="bottom", fontsize=8, color=INK,
    )  # fmt: skip
    for joint in first.path.starts[1:]:
        axes.axvline(display.of_length(float(joint)), color=INK, linewidth=0.8)
        axes.annotate(
            " joint", (display.of_length(float(joint)), 0.01), xycoords=("data", "axes fraction"), fontsize=8, color=INK
        )
    axes.set_xlabel(f"station of the port, {display.unit}")
    axes.set_ylabel(f"speed, {name}")
    axes.set_ylim(bottom=0.0)
    axes.set_title(
        f"Air speed at {first.flow / M3_S_PER['cfm']:.0f} cfm, {first.depression / PA_PER['in_h2o']:.0f} inH2O: "
        "ideal flow, no friction, no valve",
        color=INK,
        fontsize=11,
    )
    return _finished(figure, axes)


def bench_chart(runs: Sequence[Run], depression: float, display: Display, path: str, *, force: bool = False) -> None:
    """Write a chart of flow against lift, all runs at one depression, with swirl below where it was read."""
    save(bench_figure(runs, depression, display), path, force=force)


def bench_figure(runs: Sequence[Run], depression: float, display: Display) -> Figure:
    """Return a chart of flow against lift, all runs at one depression, with swirl below where it was read."""
    swirl = any(run.swirl is not None for run in runs)
    figure = Figure(figsize=(9.0, 6.4 if swirl else 5.0), dpi=130, layout="constrained")
    rows = figure.subplots(2 if swirl else 1, 1, sharex=True, squeeze=False)[:, 0]
    for run, colour, style in zip(runs, colours(len(runs)), LINE_STYLES * (len(runs) // 4 + 1), strict=False):
        lift = np.array([display.of_length(x) for x in run.lift])
        rows[0].plot(
            lift, at_depression(run, depression) / M3_S_PER["cfm"], style, marker="o", color=colour, label=run.name
        )
        if run.swirl is not None:
            rows[1].plot(lift, run.swirl, style, marker="o", color=colour)
    rows[0].set_ylim(bottom=0.0)
    rows[0].set_xlim(left=0.0)
    rows[0].set_ylabel(f"cfm at {depression / PA_PER['in_h2o']:.0f} inH2O")
    rows[0].set_title("Bench runs", color=INK, fontsize=11)
    if swirl:
        rows[1].set_ylabel("swirl, as read")
        rows[1].grid(True, color="#eeeeee")
        rows[1].spines[["top", "right"]].set_visible(False)
    rows[-1].set_xlabel(f"lift, {display.unit}")
    return _finished(figure, rows[0])


def _finished(figure: Figure, axes: Any) -> Figure:
    axes.grid(True, color="#eeeeee")
    axes.spines[["top", "right"]].set_visible(False)
    axes.legend(loc="upper left", bbox_to_anchor=(1.01, 1.0), frameon=False, fontsize=9)
    return figure
