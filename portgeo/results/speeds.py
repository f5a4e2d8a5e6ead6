"""Bench runs, an engine's demand and a planned port's air as plain records for JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from portgeo.core.units import M3_S_PER, PA_PER
from portgeo.flow.airspeed import AirSpeed, Beside
from portgeo.flow.bench import Run, at_depression, at_valve, change, flattens, in_common, worth_comparing
from portgeo.flow.demand import POWER_RULE_HIGH, POWER_RULE_LOW, Demand, Power
from portgeo.flow.valve import PASSAGES, Valve
from portgeo.results.air import SpeedFigures


def beside_record(planned: AirSpeed, found: Beside, source: dict[str, Any]) -> dict[str, Any]:
    """Return the planned port's numbers and what it does to the peak."""
    return {
        "source": source,
        "peak_drop_m_s": found.peak_drop,
        "removed_cc": found.removed / 1000.0,
        "peak_drop_m_s_per_cc": found.drop_per_cc,
        **SpeedFigures.of(planned).to_dict(),
    }


def demand_record(found: Demand, power: Power | None) -> dict[str, Any]:
    """Return an engine's demand, and the power that a flow could feed, hp."""
    return {
        "mean_piston_speed_m_s": found.mean_piston_speed,
        "peak_piston_speed_m_s": found.peak_piston_speed,
        "mean_flow_m3_s": found.mean_flow,
        "peak_flow_m3_s": found.peak_flow,
        "mach_index": found.mach_index,
        "mean_flow_coefficient": found.coefficient,
        "rpm_at_index_limit": found.speed_at_limit * 60.0,
        "power_estimate_hp": None if power is None else [power.low, power.high],
        "power_flow": None if power is None else {"cfm_at_28_in_h2o": power.cfm_at_28, "of": power.flow_of},
        "power_rules_hp_per_cfm": None
        if power is None
        else {
            "ordinary good work, common practice, no source": POWER_RULE_LOW,
            "the ceiling often put, from memory": POWER_RULE_HIGH,
        },
    }


def bench_record(runs: Sequence[Run], depression: float, valves: Sequence[Valve | None]) -> list[dict[str, Any]]:
    """Return runs at one depression, each with its changes: from the first of its set-up, from those worth it.

    valves (r,) : what each run is seen against, None where its valve is not known.
    """
    records = [_run_record(run, depression, valve) for run, valve in zip(runs, valves, strict=True)]
    for later, run in enumerate(runs):
        # A manifold's loss is no change of the port: what is set beside a run was flowed as it was.
        alike = (k for k in range(later) if runs[k].setup == run.setup and in_common(runs[k], run).any())
        first = next(alike, None)
        if first is not None:
            records[later]["change_from_first"] = {
                "from_run": first + 1,
                **_change_record(runs[first], run, depression),
            }
    for earlier, later, what in worth_comparing(runs):
        found = _change_record(runs[earlier], runs[later], depression)
        records[later].setdefault("changes", []).append({"from_run": earlier + 1, "differs": what, **found})
    return records


def _run_record(run: Run, depression: float, valve: Valve | None) -> dict[str, Any]:
    flat = flattens(run, depression)
    record: dict[str, Any] = {
        "state": run.state,
        "setup": run.setup,
        "rows": run.rows,
        "depression_in_h2o": depression / PA_PER["in_h2o"],
        "lift_mm": run.lift,
        "flow_cfm": at_depression(run, depression) / M3_S_PER["cfm"],
        "swirl": run.swirl,
        "read_at_in_h2o": run.depression / PA_PER["in_h2o"],
        "flat_from_lift_mm": flat.flat_from,
        "falls_from_lift_mm": flat.falls_from,
    }
    if valve is not None:
        found = at_valve(run, valve)
        record["throat_mm"] = valve.throat
        record["on_curtain"], record["on_throat"] = found.on_curtain, found.on_throat
        record["passage_mm2"], record["on_passage"] = found.passage, found.on_passage
        record["limited_by"] = [PASSAGES[k] for k in found.limits]
    return record


def _change_record(before: Run, after: Run, depression: float) -> dict[str, Any]:
    found = change(before, after, depression)
    return {
        "lift_mm": found.lift,
        "change_cfm": (found.after - found.before) / M3_S_PER["cfm"],
        "change_percent": (found.after / found.before - 1.0) * 100.0,
        "read": found.read,
    }
