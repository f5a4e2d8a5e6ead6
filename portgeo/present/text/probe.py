"""A probe's readings beside the ideal flow, as text for a terminal.

A ProbedAir comes in; lines go out.
"""

from __future__ import annotations

import numpy as np

from portgeo.flow.probe import APART
from portgeo.results.probed import ProbedAir

_HEAD = f"{'station':>9} {'clock':>6} {'off wall':>9} {'measured':>9} {'':<8} {'computed':>9} {'':<8} {'ratio':>9}"


def probe_text(probed: ProbedAir) -> str:
    """Return the answer first, then the readings place by place."""
    display, compared = probed.display, probed.computed
    speed = display.speed
    lines = [
        f"probe: {len(compared.readings)} readings beside the ideal flow",
        f"  fastest     measured {speed(probed.fastest_measured_m_s)} at station "
        f"{display.length(probed.fastest_measured_station_mm)}; all speeds above are computed",
    ]
    for name, ratio in (("to the turn", probed.before_ratio), ("past it", probed.past_ratio)):
        if ratio is not None:
            lines.append(f"  {name:<12} measured is {ratio:.0%} of computed, on average{_says(ratio)}")
    if compared.lowest is not None and compared.parts:
        worst = compared.readings[compared.lowest]
        lines.append(
            f"  slowest     {compared.ratio[compared.lowest]:.0%} of computed at station "
            f"{display.length(worst.station)}, {_clock(worst.clock)} o'clock, past the turn: the air has likely left "
            "the wall there"
        )
    lines += ["", "  each ± is twice the standard uncertainty", f"  {_HEAD}"]
    for k, reading in enumerate(compared.readings):
        there = not np.isnan(compared.computed[k])
        places = f"  {display.length(reading.station, label=False):>9} {_clock(reading.clock):>6} "
        places += f"{display.length(reading.off_wall, label=False):>9}"
        measured = _with_doubt(
            speed(compared.measured[k], label=False), speed(2.0 * compared.measured_u[k], label=False)
        )
        if not there:
            lines.append(f"{places} {measured}  past the middle, or not in the flow: not counted")
            continue
        computed = _with_doubt(
            speed(compared.computed[k], label=False), speed(2.0 * compared.computed_u[k], label=False)
        )
        over = _with_doubt(f"{compared.ratio[k]:.2f}", f"{2.0 * compared.ratio_u[k]:.2f}")
        layer = "  in the air slowed by the wall: not counted" if compared.in_layer[k] else ""
        lines.append(f"{places} {measured} {computed} {over}".rstrip() + layer)
    return "\n".join(lines)


def _with_doubt(value: str, doubt: str) -> str:
    return f"{value:>9} ± {doubt:<6}"


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
