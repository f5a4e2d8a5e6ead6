"""A probe's readings beside the ideal flow, as text for a terminal.

A ProbedAir comes in; lines go out.
"""

from __future__ import annotations

import numpy as np

from portgeo.flow.probe import APART
from portgeo.results.probed import ProbedAir


def probe_text(probed: ProbedAir) -> str:
    """Return the answer first, then the readings place by place."""
    display, found = probed.display, probed.computed
    speed = display.speed
    lines = [
        f"probe: {len(found.readings)} readings beside the ideal flow",
        f"  fastest     measured {speed(probed.fastest_measured_m_s)} at station "
        f"{display.length(probed.fastest_measured_station_mm)}; the speeds above are computed",
    ]
    for name, ratio in (("to the turn", probed.before_ratio), ("past it", probed.past_ratio)):
        if ratio is not None:
            lines.append(f"  {name:<12} measured is {ratio:.0%} of computed, on average{_says(ratio)}")
    if found.lowest is not None and found.ratio[found.lowest] < 1.0 - APART:
        worst = found.readings[found.lowest]
        lines.append(
            f"  slowest     {found.ratio[found.lowest]:.0%} of computed at station {display.length(worst.station)}, "
            f"{_clock(worst.clock)} o'clock, past the turn: the air has likely left the wall there"
        )
    head = f"  {'station':>9} {'clock':>6} {'off wall':>9} {'measured':>9} {'computed':>9} {'ratio':>6}"
    lines += ["", head]
    for reading, measured, computed, ratio, layer in zip(
        found.readings, found.measured, found.computed, found.ratio, found.in_layer, strict=True
    ):
        there = not np.isnan(computed)
        lines.append(
            f"  {display.length(reading.station, label=False):>9} {_clock(reading.clock):>6} "
            f"{display.length(reading.off_wall, label=False):>9} {speed(measured, label=False):>9} "
            f"{speed(computed, label=False) if there else '-':>9} {f'{ratio:.2f}' if there else '-':>6}"
            + ("  in the air slowed by the wall: not counted" if layer and there else "")
            + ("" if there else "  past the middle, or not in the flow: not counted")
        )
    return "\n".join(lines)


def _says(ratio: float) -> str:
    """Return what a ratio means."""
    if abs(ratio - 1.0) <= APART:
        return ""
    slow = ratio < 1.0
    return (
        ": there the air does not follow the wall as an ideal flow does"
        if slow
        else ": check the flow, the unit and the tip's aim; air squeezed past a place that it has left is faster too"
    )


def _clock(hours: float) -> str:
    minutes = round(hours * 60.0) % 720
    return f"{minutes // 60 or 12}:{minutes % 60:02d}"
