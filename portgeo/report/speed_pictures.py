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
    """Return a chart of mean, short-side and long-side speed by station for named results.

    A colour is a place in the port, a line style a result.
    """
    figure = Figure(figsize=(9.0, 5.2), dpi=130, layout="constrained")
    axes = figure.subplots()
    unit, name = (FOOT, "ft/s") if display.unit == "in" else (1.0, "m/s")
    of_short, of_mean, of_long = colours(3)
    for (name_of, result), style in zip(results, LINE_STYLES, strict=False):
        label = f", {name_of}" if len(results) > 1 else ""
        x = np.array([display.of_length(s) for s in result.wall.stations])
        mean = np.interp(result.wall.stations, result.stations, result.mean_speed) / unit
        if result.side_peak is None:
            highest = mean * result.wall.over_mean.max(axis=1)
            axes.plot(x, highest, style, color=of_short, linewidth=2.5, label=f"highest{label}")
        else:
            short = mean * result.short_line
            axes.plot(x, short, style, color=of_short, linewidth=2.5, label=f"short side{label}")
            _mark_short_side(axes, label, result, x, short, display, unit, of_short)
            if result.turning_on is not None:
                kept = mean * result.turning_on.line
                says = f"short side{label}, if the turn\ngoes on past the end"
                axes.fill_between(x, short, kept, where=kept > 1.01 * short, color=of_short, alpha=0.15, label=says)
        axes.plot(x, mean, style, color=of_mean, linewidth=1.8, label=f"mean of the section{label}")
        if result.side_peak is not None:
            axes.plot(x, mean * result.long_line, style, color=of_long, linewidth=1.8, label=f"long side{label}")
    first = results[0][1]
    water = f"{first.depression / PA_PER['in_h2o']:.0f} inH2O"
    axes.axhline(
        first.ideal_speed / unit, color=INK, linewidth=1.0, linestyle=":",
        label=f"{first.ideal_speed / unit:.0f} {name}: all that {water} gives\nwithout loss. The mean stays\n"
        "under it; a wall may pass it",
    )  # fmt: skip
    for joint in first.path.starts[1:]:
        axes.axvline(display.of_length(float(joint)), color=INK, linewidth=0.8)
        axes.annotate(
            " joint", (display.of_length(float(joint)), 0.01), xycoords=("data", "axes fraction"), fontsize=8, color=INK
        )
    axes.set_xlabel(f"station of the port, {display.unit}")
    axes.set_ylabel(f"speed, {name}")
    axes.set_ylim(bottom=0.0)
    flows = dict.fromkeys(f"{result.flow / M3_S_PER['cfm']:.0f}" for _, result in results)
    axes.set_title(
        f"Air speed at {' and '.join(flows)} cfm, {water}: ideal flow, no friction, no valve",
        color=INK,
        fontsize=11,
    )
    return _finished(figure, axes)


def _mark_short_side(
    axes: Any,
    label: str,
    result: AirSpeed,
    x: FloatArray,
    short: FloatArray,
    display: Display,
    unit: float,
    colour: Any,
) -> None:
    """Mark the short side's peak with its doubt, and where the air is to leave the wall."""
    peak = result.side_peak
    assert peak is not None
    axes.errorbar(
        display.of_length(peak.station), peak.speed / unit, yerr=peak.error / unit, fmt="v", color=colour, capsize=4,
        markerfacecolor="white", label=f"peak and its doubt{label}",
    )  # fmt: skip
    if result.slowing is not None and result.slowing.parts:
        k = result.slowing.from_here
        axes.plot(x[k], short[k], "X", color=PEAK, markersize=9, label=f"leaves the wall{label}")


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
            read = np.isfinite(run.swirl)
            rows[1].plot(lift[read], run.swirl[read], style, marker="o", color=colour)
    rows[0].set_ylim(bottom=0.0)
    rows[0].set_xlim(left=0.0)
    rows[0].set_ylabel(f"cfm at {depression / PA_PER['in_h2o']:.0f} inH2O")
    rows[0].set_title("Bench runs", color=INK, fontsize=11)
    if swirl:
        rows[1].set_ylabel("swirl, as read")
        rows[1].set_ylim(bottom=min(0.0, *(float(np.nanmin(r.swirl)) for r in runs if r.swirl is not None)))
        rows[1].grid(True, color="#eeeeee")
        rows[1].spines[["top", "right"]].set_visible(False)
    rows[-1].set_xlabel(f"lift, {display.unit}")
    return _finished(figure, rows[0])


def _finished(figure: Figure, axes: Any) -> Figure:
    axes.grid(True, color="#eeeeee")
    axes.spines[["top", "right"]].set_visible(False)
    axes.legend(loc="upper left", bbox_to_anchor=(1.01, 1.0), frameon=False, fontsize=9)
    return figure
