"""What an engine asks of its port as it is given out: every figure of it, declared once.

A Demand, and the power that a flow could feed, come in; a Demanded, which `airspeed` has under `demand`,
goes out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from portgeo.flow.demand import POWER_RULE_HIGH, POWER_RULE_LOW, Demand, Engine, Power
from portgeo.results.figures import Result, figure, inside


@dataclass(frozen=True)
class FlowForPower(Result):
    """The flow that power is estimated from, at 28 inches of water, and whose it is."""

    cfm_at_28_in_h2o: float = figure(lambda power: power.cfm_at_28)
    of_: str = figure(lambda power: power.flow_of)


@dataclass(frozen=True)
class Demanded(Result):
    """What a cylinder asks of its port. Power is an estimate by two rules of thumb, never a forecast."""

    computed: Demand = inside(lambda d, *_: d)
    power: Power | None = inside(lambda d, power, *_: power)
    engine: Engine = inside(lambda d, power, engine: engine)
    mean_piston_speed_m_s: float = figure(lambda d, *_: d.mean_piston_speed)
    peak_piston_speed_m_s: float = figure(lambda d, *_: d.peak_piston_speed)
    mean_flow_m3_s: float = figure(lambda d, *_: d.mean_flow)
    peak_flow_m3_s: float = figure(lambda d, *_: d.peak_flow)
    mach_index: float = figure(lambda d, *_: d.mach_index)
    mean_flow_coefficient: float = figure(lambda d, *_: d.coefficient)
    rpm_at_index_limit: float = figure(lambda d, *_: d.speed_at_limit * 60.0)
    power_estimate_hp: tuple[float, float] | None = figure(lambda d, power, *_: power and (power.low, power.high))
    power_flow: FlowForPower | None = figure(lambda d, power, *_: power and FlowForPower.of(power))
    power_rules_hp_per_cfm: Mapping[str, float] | None = figure(
        lambda d, power, *_: (
            power
            and {
                "ordinary good work, common practice, no source": POWER_RULE_LOW,
                "the ceiling often put, from memory": POWER_RULE_HIGH,
            }
        )
    )
