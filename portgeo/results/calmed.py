"""The result of calming the air: the cuts to choose from and the one chosen, every figure declared once.

A Calmed comes in; a CalmedAir, which is the JSON of `calm`, goes out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from portgeo.calming.air import CutAir
from portgeo.calming.calm import Calmed, Choice
from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray
from portgeo.core.units import Display
from portgeo.flow.airspeed import WHAT_IT_IS, AirSpeed
from portgeo.reshape.plan import Plan
from portgeo.results.air import FlowAsked
from portgeo.results.figures import CC, Result, Table, figure, inside
from portgeo.results.lost import PressureLost
from portgeo.results.notices import Remark, remarks
from portgeo.results.planned import Planned


def slowing_percent(air: CutAir) -> float | None:
    """Return how much of what the air can follow it is asked to slow past the short side; over 100 it parts."""
    return None if air.slowing is None else 100.0 * (1.0 - air.slowing.margin)


@dataclass(frozen=True)
class AirNow(Result):
    """The fastest place on the wall, and how much of what air can follow it must slow past the short side."""

    peak_m_s: float = figure(lambda a: a.highest.speed)
    peak_u_m_s: float | None = figure(lambda a: a.highest.u)
    peak_over_mean: float = figure(lambda a: a.highest.over_mean)
    station_mm: float = figure(lambda a: a.highest.station)
    clock_hours: float = figure(lambda a: a.highest.clock)
    slowing_percent: float | None = figure(slowing_percent)


@dataclass(frozen=True)
class Held(Result):
    """A limit that holds a cut back, where most, and what 0.25 mm more of it would bring off the peak."""

    name: str = figure(lambda held: held.name)
    station_mm: float = figure(lambda held: held.station)
    clock_hours: float = figure(lambda held: held.clock)
    gain_m_s: float = figure(lambda held: held.gain)
    measured: bool = figure(lambda held: not held.unmeasured)


@dataclass(frozen=True)
class CutChoice(Result):
    """The cut that does most for its metal, and the air in the port that it leaves."""

    metal_cc: float = figure(lambda c, most: CC * c.metal)
    deepest_mm: float = figure(lambda c, most: c.plan.depth.max())
    peak_m_s: float = figure(lambda c, most: c.air.highest.speed)
    peak_over_mean: float = figure(lambda c, most: c.air.highest.over_mean)
    station_mm: float = figure(lambda c, most: c.air.highest.station)
    clock_hours: float = figure(lambda c, most: c.air.highest.clock)
    gain_m_s: float = figure(lambda c, most: c.gain)
    gain_u_m_s: float = figure(lambda c, most: c.gain_u)
    sure: bool = figure(lambda c, most: c.sure)
    next_cc_gain_m_s: float = figure(lambda c, most: c.next_cc)
    of_all_percent: float = figure(lambda c, most: 100.0 * c.gain / most)
    slowing_percent: float | None = figure(lambda c, most: slowing_percent(c.air))
    held_by: tuple[Held, ...] = figure(lambda c, most: tuple(Held.of(held) for held in c.held_by))


@dataclass(frozen=True)
class ChoiceRows(Table):
    """The choices as a table."""

    metal_cc: FloatArray = figure(lambda cs: _each(cs, lambda c: CC * c.metal), "metal", csv=True)
    deepest_mm: FloatArray = figure(lambda cs: _each(cs, lambda c: c.plan.depth.max()), "deepest", csv=True)
    peak_m_s: FloatArray = figure(lambda cs: _each(cs, lambda c: c.air.highest.speed), "peak", csv=True)
    gain_m_s: FloatArray = figure(lambda cs: _each(cs, lambda c: c.gain), "gain", csv=True)
    gain_u_m_s: FloatArray = figure(lambda cs: _each(cs, lambda c: c.gain_u), csv=True)
    slowing_percent: FloatArray = figure(
        lambda cs: _each(cs, lambda c: np.nan if c.air.slowing is None else slowing_percent(c.air)), "slowing", csv=True
    )


def _each(choices: Sequence[Choice], of: Any) -> FloatArray:
    return np.array([of(choice) for choice in choices], dtype=float)


@dataclass(frozen=True)
class AreasAfter(Table):
    """Area and mean speed down the port, now and with the chosen cut."""

    station_mm: FloatArray = figure(lambda now, plan: now.stations)
    area_mm2: FloatArray = figure(lambda now, plan: now.area)
    area_after_mm2: FloatArray = figure(lambda now, plan: _area_after(now, plan))
    mean_speed_m_s: FloatArray = figure(lambda now, plan: now.mean_isentropic)
    mean_speed_after_m_s: FloatArray = figure(lambda now, plan: now.means_through(_area_after(now, plan)))


def _area_after(now: AirSpeed, plan: Plan) -> FloatArray:
    """Return the areas (n,) with a plan's cut at the stations of the air now: what the plan gains, on what is there."""
    return now.area + np.interp(now.stations, plan.grid.stations, plan.area_after - plan.area_before)


@dataclass(frozen=True)
class CalmedAir(Result):
    """Cuts that calm the air, least metal first, and the one chosen, as a plan. An ideal flow: no flow bench."""

    computed: Calmed = inside(lambda c, *_: c)
    plans: tuple[Planned, ...] = inside(lambda c, plans, *_: plans)  # of each choice
    planned: Planned | None = inside(lambda c, plans, *_: None if c.chosen is None else plans[c.chosen])
    display: Display = inside(lambda c, plans, display, *_: display)
    notices: tuple[Notice, ...] = inside(lambda c, plans, display, notices, lost: notices)
    rows: ChoiceRows = inside(lambda c, *_: ChoiceRows.of(c.choices))
    schema: str = figure(lambda *_: "portgeo.calm/1")
    source: Mapping[str, Any] = figure(lambda c, *_: c.today.path.ports[-1].source)
    warnings: tuple[Remark, ...] = figure(lambda c, plans, display, notices, lost: remarks(notices, display))
    what_it_is: str = figure(lambda *_: WHAT_IT_IS)
    flow: FlowAsked = figure(lambda c, *_: FlowAsked.of(c.today))
    today: AirNow = figure(lambda c, *_: AirNow.of(c.now))
    choices: tuple[CutChoice, ...] = figure(lambda c, *_: _choices(c))
    knee: int | None = figure(lambda c, *_: c.knee)
    chosen: CutChoice | None = figure(lambda c, *_: None if c.chosen is None else _choices(c)[c.chosen])
    areas: AreasAfter | None = figure(
        lambda c, *_: None if c.chosen is None else AreasAfter.of(c.today, c.choices[c.chosen].plan)
    )
    plan: Planned | None = figure(lambda c, plans, *_: None if c.chosen is None else plans[c.chosen])
    loss: PressureLost | None = figure(lambda c, plans, display, notices, lost: lost)


def _choices(calmed: Calmed) -> tuple[CutChoice, ...]:
    return tuple(CutChoice.of(choice, calmed.choices[-1].gain) for choice in calmed.choices)
