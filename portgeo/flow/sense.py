"""Whether a flow goes with a port: what is refused, and what is told of a flow that makes no fair answer.

A flow, a depression and what they make of a path come in; refusals and notices go out.
"""

from __future__ import annotations

import numpy as np

from portgeo.core.errors import InputError
from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray, moments
from portgeo.core.section import Section, area_of
from portgeo.core.units import M3_S_PER, PA_PER, Display
from portgeo.flow.gas import DEPRESSIONS, PARTED, Air, choke_flow, depression_speed, parting_mach, sonic_speed
from portgeo.flow.path import Path, joint_notices

SLOWEST = 0.5  # m/s through the least area: below, the flow's unit must be wrong
STANDS = 1e-3  # of a section's area: a smaller island, as a scan's folds make, moves no speed that is told
UNFAIR_MEAN = 0.5  # Mach number of a mean: a port chokes little past it, with the friction that it has


def check_flow(flow: float, depression: float) -> None:
    """Raise InputError where a flow (m3/s) or a depression (Pa) is none."""
    cfm, water = flow / M3_S_PER["cfm"], depression / PA_PER["in_h2o"]
    if not np.isfinite(cfm) or cfm <= 0.0:
        raise InputError(f"a flow of {cfm:.6g} cfm cannot be measured", hint="Give what the bench read, more than zero")
    if not DEPRESSIONS[0] <= water <= DEPRESSIONS[1]:
        raise InputError(
            f"a depression of {water:.6g} inH2O is outside what a flow bench pulls",
            hint=f"Give it in inches of water, between {DEPRESSIONS[0]:g} and {DEPRESSIONS[1]:g}; 28 is usual",
        )


def refuse_absurd(flow: float, least_mm2: float, air: Air, display: Display) -> None:
    """Raise InputError for a flow (m3/s) that no air can make through a least area, or that hardly moves it."""
    cfm, choke = flow / M3_S_PER["cfm"], choke_flow(least_mm2 * 1e-6, air) / M3_S_PER["cfm"]
    if flow >= choke_flow(least_mm2 * 1e-6, air):
        raise InputError(
            f"{cfm:.1f} cfm is more than chokes the minimum area of {display.area(least_mm2)}: at the most "
            f"{choke:.1f} cfm goes through it",
            hint="Check the flow and its unit, and the readings at the minimum area",
        )
    if flow / (least_mm2 * 1e-6) < SLOWEST:
        raise InputError(
            f"{cfm:.3g} cfm hardly moves the air in a port of this size", hint="Check the flow and its unit"
        )


def stands_in_stream(sections: list[Section]) -> bool:
    """Return whether anything stands in the stream that takes part of a section's area."""
    return any(area_of(s) < (1.0 - STANDS) * moments(s.outline).area for s in sections)


def flow_notices(
    path: Path,
    sections: list[Section],
    flow: float,
    depression: float,
    least: float,
    least_at: float,
    mach: FloatArray,
    air: Air,
    top: tuple[float, float],
) -> tuple[Notice, ...]:
    """Return what is told of a flow that makes no fair answer, or of a path that does not.

    least, least_at : mm2, and its station. mach (n,) : of the means. top : the highest speed on the wall and its
    station.
    """
    notices = list(joint_notices(path))
    if stands_in_stream(sections):
        notices.append(Notice("boss_left_out", case="air"))
    mean, ideal = flow / (least * 1e-6), depression_speed(depression, air)
    if mean > ideal:
        notices.append(
            Notice("more_than_the_depression", station=least_at, mean=mean, ideal=ideal, depression=depression)
        )
    fastest = float(np.nanmax(mach))
    if fastest > parting_mach():
        notices.append(Notice("compressible", mach=fastest, limit=parting_mach(), share=PARTED))
    if fastest > UNFAIR_MEAN:
        notices.append(Notice("mach_mean", mach=fastest, station=least_at, limit=UNFAIR_MEAN))
    if top[0] > sonic_speed(air):
        notices.append(Notice("mach_local", station=top[1], speed=top[0], sonic=sonic_speed(air)))
    return tuple(notices)
