"""Air speed as plain records for JSON and tables, in the units that their keys name."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from portgeo.flow.airspeed import WHAT_IT_IS, AirSpeed, Beside, Peak, point_in_source
from portgeo.flow.bench import Run, at_depression, at_valve, change, flattens, in_common, worth_comparing
from portgeo.flow.demand import POWER_RULE_HIGH, POWER_RULE_LOW, Demand, Power
from portgeo.flow.valve import PASSAGES, Valve
from portgeo.results.notices import notices_record
from portgeo.units import FOOT, M3_S_PER, MM_PER, PA_PER, Display, Notice


def airspeed_record(
    result: AirSpeed, source: dict[str, Any], warnings: Sequence[Notice], display: Display
) -> dict[str, Any]:
    """Return the full result of `airspeed`."""
    return {
        "schema": "portgeo.airspeed/1",
        "source": source,
        "warnings": notices_record(warnings, display),
        "what_it_is": WHAT_IT_IS,
        **speed_record(result),
    }


def speed_record(result: AirSpeed) -> dict[str, Any]:
    """Return an AirSpeed's numbers."""
    fall, wall = result.slowing, result.wall
    return {
        "flow": {
            "cfm": result.flow / M3_S_PER["cfm"],
            "depression_in_h2o": result.depression / PA_PER["in_h2o"],
            "kg_s": result.flow * result.air.density,
            "air": {"density_kg_m3": result.air.density, "sound_m_s": result.air.sound},
        },
        "stations": [
            {
                "station_mm": result.stations[k],
                "area_mm2": result.area[k],
                "mean_speed_m_s": result.mean_speed[k],
                "mean_speed_isentropic_m_s": result.mean_isentropic[k],
                "mach": result.mach[k],
                "short_side_over_mean": result.short_over_mean[k],
                "long_side_over_mean": result.long_over_mean[k],
                "highest_over_mean": result.highest_over_mean[k],
                "clock_over_mean": result.clock_over_mean[k],
            }
            for k in range(len(result.stations))
        ],
        "short_side": None if result.side_peak is None else _peak_record(result, result.side_peak),
        "highest": _peak_record(result, result.highest),
        "past_the_ends": {"taken": "straight on", "if_it_keeps_turning": _turning_record(result)},
        "slowing": None
        if fall is None
        else {
            "from_station_mm": wall.stations[fall.from_here],
            "at_exit": result.nearest_at_exit,
            "margin": fall.margin,
            "parts": fall.parts,
            "recovered_pressure_share": fall.recovered,
        },
        "least_area": {
            "station_mm": result.least_station,
            "area_mm2": result.least_area,
            "choke_cfm": result.choke / M3_S_PER["cfm"],
        },
        "throat": {
            "station_mm": result.throat.station,
            "area_mm2": result.throat.area,
            "diameter_mm": result.throat.diameter,
            "from": result.throat.told_by,
            "mean_speed_m_s": result.flow / (result.throat.area * 1e-6),
            "choke_cfm": result.throat_choke / M3_S_PER["cfm"],
        },
        "depression_speed_m_s": result.ideal_speed,
        "grid": {
            "unknowns": wall.unknowns,
            "cell_mm": wall.cell,
            "flux_spread": float(np.ptp(wall.flux)),
        },
    }


def _turning_record(result: AirSpeed) -> dict[str, Any] | None:
    """Return the short side if the port keeps turning past its ends, None where it is straight there."""
    on = result.turning_on
    if on is None:
        return None
    return {
        "at_entry": on.entry,
        "at_exit": on.exit,
        "short_side": _peak_record(result, on.peak),
        "short_side_over_mean": np.interp(result.stations, result.wall.stations, on.line),
    }


def _peak_record(result: AirSpeed, peak: Peak) -> dict[str, Any]:
    return {
        "peak_m_s": peak.speed,
        "peak_u_m_s": peak.u,
        "peak_shape_u_m_s": peak.shape_u,
        "peak_grid_error_m_s": peak.error,
        "peak_over_mean": peak.over_mean,
        "station_mm": peak.station,
        "clock": peak.clock,
        "at_mm": point_in_source(result.path, peak),
    }


def beside_record(planned: AirSpeed, found: Beside, source: dict[str, Any]) -> dict[str, Any]:
    """Return the planned port's numbers and what it does to the peak."""
    return {
        "source": source,
        "peak_drop_m_s": found.peak_drop,
        "removed_cc": found.removed / 1000.0,
        "peak_drop_m_s_per_cc": found.drop_per_cc,
        **speed_record(planned),
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


def airspeed_table(result: AirSpeed, display: Display) -> tuple[list[str], list[list[float]]]:
    """Return the header and rows of the table of stations, in the user's unit."""
    unit = display.unit
    speed, name = (FOOT, "ft_s") if unit == "in" else (1.0, "m_s")
    header = [
        f"station_{unit}", f"area_{unit}2", f"mean_speed_{name}", "mach",
        "short_side_over_mean", "long_side_over_mean", "highest_over_mean",
        *(f"over_mean_at_{hour or 12}" for hour in range(12)), f"mean_speed_isentropic_{name}",
    ]  # fmt: skip
    columns = np.column_stack(
        [
            result.stations / MM_PER[unit],
            result.area / MM_PER[unit] ** 2,
            result.mean_speed / speed,
            result.mach,
            result.short_over_mean,
            result.long_over_mean,
            result.highest_over_mean,
            result.clock_over_mean,
            result.mean_isentropic / speed,
        ]
    )
    return header, columns.tolist()
