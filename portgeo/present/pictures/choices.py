"""What metal buys: the peak of the air's speed against the metal taken, as a picture.

A CalmedAir comes in; a figure goes out.
"""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from portgeo.present.pictures.charts import INK, colours
from portgeo.results.calmed import CalmedAir
from portgeo.results.kinds import kind_of


def choices_figure(calm: CalmedAir) -> Figure:
    """Return a chart of the peak against metal, with its ±, the knee and what is chosen."""
    speed = kind_of("speed", calm.display)
    figure = Figure(figsize=(8.0, 4.6), dpi=130, layout="constrained")
    axes = figure.subplots()
    colour = colours(2)[0]
    metal = np.array([0.0, *(each.metal_cc for each in calm.choices)])
    peak = np.array([calm.today.peak_m_s, *(each.peak_m_s for each in calm.choices)]) / speed.per
    half = np.array([0.0, *(2.0 * each.gain_u_m_s for each in calm.choices)]) / speed.per
    axes.fill_between(metal, peak - half, peak + half, color=colour, alpha=0.2, linewidth=0, label="± of the drop")
    axes.plot(metal, peak, "o-", color=colour, linewidth=2)
    if calm.knee is not None:
        axes.plot(
            metal[calm.knee + 1],
            peak[calm.knee + 1],
            "D",
            markersize=11,
            markerfacecolor="none",
            color=INK,
            label="knee",
        )
    if calm.chosen is not None:
        axes.plot(calm.chosen.metal_cc, calm.chosen.peak_m_s / speed.per, "*", markersize=16, color=INK, label="chosen")
    axes.set_xlabel("metal to come out, cc")
    axes.set_ylabel(f"fastest air on the wall, {speed.unit}")
    axes.set_title(f"What each further cc buys, at {calm.flow.cfm:.0f} cfm", color=INK, fontsize=11)
    axes.set_xlim(left=0.0)
    axes.grid(True, color="#eeeeee")
    axes.spines[["top", "right"]].set_visible(False)
    axes.legend(frameon=False)
    return figure
