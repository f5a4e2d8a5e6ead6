"""Where the ideal flow is the port's flow: a probe's readings over the computed speed, by station, as a picture.

A ProbedAir comes in; a figure goes out.
"""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from portgeo.core.section import WALLS, wall_at, wall_name
from portgeo.flow.probe import APART
from portgeo.present.pictures.charts import INK, colours
from portgeo.results.probed import ProbedAir

MARKERS = "os^D"  # of the walls, so that they are told apart without colour


def probe_figure(probed: ProbedAir) -> Figure:
    """Return a chart of measured over computed speed by station, a mark for each wall that the tip stood off."""
    d, compared = probed.display, probed.computed
    figure = Figure(figsize=(8.0, 4.6), dpi=130, layout="constrained")
    axes = figure.subplots()
    station = np.array([d.of_length(reading.station) for reading in compared.readings])
    walls = np.array([wall_at(reading.clock) for reading in compared.readings])
    axes.axhspan(1.0 - APART, 1.0 + APART, color="#eef0f2", label=f"within {APART:.0%}")
    axes.axhline(1.0, color=INK, linewidth=0.8)
    for k, (wall, colour) in enumerate(zip(WALLS, colours(len(WALLS)), strict=True)):
        for counted in (True, False):
            here = (walls == wall) & (compared.in_layer != counted) & np.isfinite(compared.ratio)
            if here.any():
                label = f"off the {wall_name(wall)}" + ("" if counted else ", in the air it slows: not counted")
                axes.errorbar(
                    station[here], compared.ratio[here], 2.0 * compared.ratio_u[here], fmt=MARKERS[k], color=colour,
                    markerfacecolor=colour if counted else "none", capsize=3, label=label,
                )  # fmt: skip
    if compared.turn is not None:
        axes.axvline(d.of_length(compared.turn), color=INK, linestyle=":", label="fastest place of the turn")
    axes.set_ylim(bottom=0.0)
    axes.set_xlabel(f"station, {d.unit}")
    axes.set_ylabel("measured over computed speed")
    axes.set_title("What the probe read over the ideal flow, with its ±", color=INK, fontsize=11)
    axes.grid(True, color="#eeeeee")
    axes.spines[["top", "right"]].set_visible(False)
    axes.legend(frameon=False)
    return figure
